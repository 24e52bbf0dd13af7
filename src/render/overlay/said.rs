//! What is said of the runs in an overlay: which are odd, and what each is called.

use super::super::font::clean;
use super::super::parts::{Subject, foot};
use super::super::words;
use super::CROWD;
use crate::units::counted;
use crate::verdict::Class;

/// Which runs are not as the good ones. Where none is a full boot without departure, those that are not as most are.
pub(in super::super) fn odd_ones(runs: &[Subject]) -> Vec<bool> {
    if runs.iter().any(is_sound) {
        return runs.iter().map(|run| !is_sound(run)).collect();
    }
    let count = |class: Class| runs.iter().filter(|run| run.finding.verdict.class == class).count();
    let usual = Class::ALL.into_iter().max_by_key(|class| count(*class));
    runs.iter().map(|run| Some(run.finding.verdict.class) != usual).collect()
}

/// Whether a run boots fully and departs nowhere.
pub(super) fn is_sound(run: &Subject) -> bool {
    run.finding.verdict.class == Class::FullBoot && run.finding.departures.is_empty()
}

/// What tells a run from the others: serial number, else the log's file name.
pub(super) fn name(run: &Subject) -> String {
    let serial = run.finding.log.serial.clone().filter(|serial| !serial.trim().is_empty());
    clean(&serial.unwrap_or_else(|| foot::file_name(&run.finding.log.path)))
}

pub(super) fn model(runs: &[Subject]) -> String {
    let first = runs.first().and_then(|run| run.finding.log.board.clone());
    first.filter(|board| !board.trim().is_empty()).unwrap_or_else(|| "unnamed board".into())
}

/// Kinds of odd runs that are read at a glance.
const MOST_KINDS: usize = 3;

pub(in super::super) fn headline(runs: &[Subject], odd: &[bool]) -> String {
    headline_of(runs, odd, MOST_KINDS)
}

/// The same from the longest to the shortest, for where there is less room.
pub(super) fn headlines(runs: &[Subject], odd: &[bool]) -> impl Iterator<Item = String> {
    let few: Vec<&Subject> = runs.iter().zip(odd).filter(|(_, odd)| **odd).map(|(run, _)| run).collect();
    let are = if few.len() == 1 { "is" } else { "are" };
    let undecided = matches!(few.as_slice(), [one] if is_undecided(one));
    let state = if undecided { "cannot be judged".into() } else { format!("{are} odd") };
    let counted = format!("{} of {} {state}", few.len(), runs.len());
    // Without their names, which the notes below have.
    let kinds = by_kind(&few).into_iter().map(|(kind, of_kind)| match of_kind.len() {
        1 => kind,
        several => format!("{several} {kind}"),
    });
    let nameless = format!("{counted}: {}", kinds.collect::<Vec<_>>().join(", "));
    let nameless = if undecided { counted.clone() } else { nameless };
    let shorter = [nameless, counted].into_iter().filter(move |_| !few.is_empty());
    (1..=MOST_KINDS).rev().map(|most| headline_of(runs, odd, most)).chain(shorter)
}

fn headline_of(runs: &[Subject], odd: &[bool], most: usize) -> String {
    let odd: Vec<&Subject> = runs.iter().zip(odd).filter(|(_, odd)| **odd).map(|(run, _)| run).collect();
    let alike = runs.iter().zip(runs.iter().skip(1)).all(|(a, b)| summary(a) == summary(b));
    let named = |run: &&Subject| format!("{} {}", name(run), summary(run));
    match odd.as_slice() {
        [] if runs.is_empty() => "no logs".into(),
        [] if alike => format!("All {} alike: {}", runs.len(), summary(&runs[0])),
        [] if runs.iter().all(is_sound) => boot_fully(runs),
        [] => format!("None of {} boots fully", counted(runs.len(), "log")),
        [one] if is_undecided(one) => {
            let why = too_short(one).map_or_else(String::new, |why| format!(", {why}"));
            format!("1 of {} cannot be judged: {}{why}", runs.len(), name(one))
        }
        [one] => format!("1 of {} is odd: {}", runs.len(), named(one)),
        few if few.len() < CROWD => {
            let all: Vec<String> = few.iter().map(named).collect();
            format!("{} of {} are odd: {}", odd.len(), runs.len(), all.join(", "))
        }
        many => format!("{} of {} are odd: {}", odd.len(), runs.len(), kinds(many, most)),
    }
}

/// Of runs that all boot, how sure that is of each: `All 4 boot fully (S-3 only probably)`.
fn boot_fully(runs: &[Subject]) -> String {
    let mut doubts: Vec<(&str, Vec<String>)> = Vec::new();
    for run in runs.iter().filter(|run| words::is_toss_up(&run.finding.verdict)) {
        let doubt = words::doubt(&run.finding.verdict);
        match doubts.iter_mut().find(|(other, _)| *other == doubt) {
            Some((_, names)) => names.push(name(run)),
            None => doubts.push((doubt, vec![name(run)])),
        }
    }
    let said = doubts.iter().map(|(doubt, names)| match names.as_slice() {
        [one] => format!("{one} only {doubt}"),
        several => format!("{} only {doubt}", several.len()),
    });
    let said = said.collect::<Vec<_>>().join(", ");
    let doubtful = if said.is_empty() { said } else { format!(" ({said})") };
    format!("All {} boot fully{doubtful}", runs.len())
}

/// Whether a run carries no verdict: of that nobody can say that it is odd.
pub(super) fn is_undecided(run: &Subject) -> bool {
    run.finding.verdict.class == Class::Inconclusive
}

/// `only 1.4 s of feed`, where that is why a run carries no verdict.
fn too_short(run: &Subject) -> Option<String> {
    let why = run.finding.verdict.because.first()?;
    why.strip_suffix(" were captured").map(|much| format!("only {much}"))
}

/// The runs of each kind, the most frequent kind first.
pub(super) fn by_kind<'a, 'b>(runs: &[&'b Subject<'a>]) -> Vec<(String, Vec<&'b Subject<'a>>)> {
    let mut kinds: Vec<(String, Vec<&Subject>)> = Vec::new();
    for run in runs {
        let kind = kind(run);
        match kinds.iter_mut().find(|(other, _)| *other == kind) {
            Some((_, of_kind)) => of_kind.push(run),
            None => kinds.push((kind, vec![run])),
        }
    }
    kinds.sort_by_key(|(_, of_kind)| std::cmp::Reverse(of_kind.len()));
    kinds
}

/// `3 hard short, 2 no draw, and 4 more`: how many runs there are of each kind, of so many kinds at most.
fn kinds(runs: &[&Subject], most: usize) -> String {
    let kinds = by_kind(runs);
    let rest: usize = kinds.iter().skip(most).map(|(_, of_kind)| of_kind.len()).sum();
    let said = kinds.iter().take(most).map(|(kind, of_kind)| format!("{} {kind}", of_kind.len()));
    let rest = (rest > 0).then(|| format!("and {rest} more"));
    said.chain(rest).collect::<Vec<_>>().join(", ")
}

/// The verdict with what departs, in a few words.
pub(super) fn summary(run: &Subject) -> String {
    format!("{}{}{}", verdict(run), words::where_tries_end(run.finding).unwrap_or_default(), departs(run))
}

/// The same without where tries end by their times alone: that makes no kind of its own.
fn kind(run: &Subject) -> String {
    format!("{}{}", verdict(run), departs(run))
}

fn verdict(run: &Subject) -> String {
    words::short(&run.finding.verdict)
}

fn departs(run: &Subject) -> String {
    words::departures_clause(run.finding)
}
