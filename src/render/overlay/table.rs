//! The table below an overlay: the odd runs one by one, or by kind where they are many, and the others in one row.

use super::super::font::clean;
use super::super::parts::table::{self, Table};
use super::super::parts::{Subject, foot};
use super::super::sheet::Sheet;
use super::super::words;
use super::said::{by_kind, is_sound, name};
use super::{CROWD, MOST_NAMED, Member, letter, read_there};

/// Headings of the table and their shares of the width.
const COLUMNS: [table::Column; 6] = [
    ("board", 0.14),
    ("verdict", 0.22),
    ("from", 0.08),
    ("read there", 0.22),
    ("unlike good boards", 0.2),
    ("log", 0.14),
];

/// The same of many odd runs.
const COLUMNS_BY_KIND: [table::Column; 3] = [("verdict", 0.36), ("logs", 0.1), ("which", 0.54)];

/// More odd runs than these are told by their kinds: nobody reads twenty rows, and there is no room for them.
const MOST_ROWS: usize = 8;

/// A cell with nothing to say.
const NOTHING: &str = "–";

/// The table; `None` where the key says the same, and there is no room to say it twice.
pub(super) fn table(sheet: &Sheet, members: &[Member], odd: &[bool]) -> Option<Table> {
    let odd_ones = odd.iter().filter(|odd| **odd).count();
    let wide = table::is_wide(sheet, sheet.inside().width());
    if odd_ones > MOST_ROWS {
        return Some(Table::new(&COLUMNS_BY_KIND, &rows_by_kind(members, odd)));
    }
    let in_the_key = (2..=MOST_NAMED).contains(&odd_ones);
    // On a narrow figure only the first two columns keep their words.
    let most = if wide { COLUMNS.len() } else { 2 };
    (wide || !in_the_key).then(|| without_empty(&rows(members, odd), most))
}

/// Without the columns that say nothing of any run, or what the first says.
fn without_empty(rows: &[Vec<String>], most: usize) -> Table {
    let says = |index: &usize| {
        rows.iter().any(|row| row[*index] != NOTHING && !row[*index].is_empty()) || *index == 0
    };
    let kept: Vec<usize> = (0..COLUMNS.len()).filter(says).take(most).collect();
    let row = |row: &Vec<String>| kept.iter().map(|index| row[*index].clone()).collect();
    let columns: Vec<table::Column> = kept.iter().map(|index| COLUMNS[*index]).collect();
    Table::new(&columns, &rows.iter().map(row).collect::<Vec<_>>())
}

/// Odd ones one by one, then the others: a crowd of these in one row.
fn rows(members: &[Member], odd: &[bool]) -> Vec<Vec<String>> {
    let of = |wanted: bool| members.iter().zip(odd).filter(move |(_, odd)| **odd == wanted).map(|(of, _)| of);
    let alike: Vec<&Subject> = of(false).map(|member| &member.run).collect();
    let counted_only = alike.len() >= CROWD && alike.len() < members.len();
    let rest = if counted_only {
        vec![together(&alike)]
    } else {
        of(false).map(|member| row(member, members)).collect()
    };
    of(true).map(|member| row(member, members)).chain(rest).collect()
}

/// The kinds of odd runs, the most frequent first, then the others in one row.
fn rows_by_kind(members: &[Member], odd: &[bool]) -> Vec<Vec<String>> {
    let of = |wanted: bool| -> Vec<&Subject> {
        members.iter().zip(odd).filter(|(_, odd)| **odd == wanted).map(|(of, _)| &of.run).collect()
    };
    let names = |runs: &[&Subject]| some(&runs.iter().map(|run| name(run)).collect::<Vec<_>>());
    let kinds = by_kind(&of(true)).into_iter();
    let odd_ones = kinds.map(|(kind, runs)| vec![kind, runs.len().to_string(), names(&runs)]);
    let rest = of(false);
    let rest = rest.first().map(|first| {
        vec![words::short(&first.finding.verdict), format!("{} {}", rest.len(), kind(&rest)), names(&rest)]
    });
    odd_ones.chain(rest).collect()
}

fn row(member: &Member, members: &[Member]) -> Vec<String> {
    let (finding, verdict) = (member.run.finding, &member.run.finding.verdict);
    let departures: Vec<String> = finding.departures.iter().map(words::departure).collect();
    let or_nothing = |text: Option<String>| text.unwrap_or_else(|| NOTHING.into());
    let called = letter(member, members).map_or_else(String::new, |letter| format!("{letter}: "));
    vec![
        called + &name(&member.run),
        words::short_and_sure(verdict),
        or_nothing(member.since()),
        or_nothing(read_there(member, members)),
        or_nothing(Some(departures.join(", ")).filter(|said| !said.is_empty())),
        log_of(&member.run).unwrap_or_default(),
    ]
}

/// The file of a run that is not called by it already.
fn log_of(run: &Subject) -> Option<String> {
    let file = foot::file_name(&run.finding.log.path);
    (clean(&file) != name(run)).then_some(file)
}

/// What runs that are as most are called.
fn kind(runs: &[&Subject]) -> &'static str {
    if runs.iter().any(|run| is_sound(run)) { "good" } else { "as most" }
}

/// Several runs that are as most, in one row.
fn together(runs: &[&Subject]) -> Vec<String> {
    let said = runs.first().map(|run| words::short(&run.finding.verdict)).unwrap_or_default();
    let nothing = || NOTHING.to_owned();
    vec![format!("{} {}", runs.len(), kind(runs)), said, nothing(), nothing(), nothing(), nothing()]
}

/// The first few names, and how many more there are.
fn some(names: &[String]) -> String {
    const MOST: usize = 6;
    let rest = names.len().saturating_sub(MOST);
    let said = names[..names.len() - rest].join(", ");
    if rest > 0 { format!("{said} and {rest} more") } else { said }
}
