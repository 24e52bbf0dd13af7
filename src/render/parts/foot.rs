//! The foot: on what the verdict stands.

use super::super::font::{Weight, clean};
use super::super::geometry::Rect;
use super::super::scene::Anchor;
use super::super::sheet::{Sheet, em};
use super::super::words;
use super::Subject;
use crate::units::{Amps, counted, figures, volts_as_set};

/// A fact: what it is, and what it says.
pub(in crate::render) type Entry = (&'static str, String);

/// The facts of a run, in the order in which a person asks for them; what the log does not say is left out.
pub(in crate::render) fn entries(subject: &Subject) -> Vec<Entry> {
    let log = &subject.finding.log;
    let given = |text: &Option<String>| text.clone().filter(|text| !text.trim().is_empty());
    let limit = log.limit_a.map(|limit| format!(", limit {limit}")).unwrap_or_default();
    let feed = log.set_v.map(|volts| format!("{}{limit}", volts_as_set(volts.value())));
    let profile = subject.finding.profile.as_ref().map(|profile| {
        let boards = counted(profile.boards, "board");
        format!("{} ({boards}, {})", profile.name, counted(profile.captures, "capture"))
    });
    let all: [(&'static str, Option<String>); 13] = [
        ("board", given(&log.board)),
        ("serial", given(&log.serial)),
        ("ticket", given(&log.ticket)),
        ("fed at", given(&log.feed_point)),
        ("set", feed),
        ("supply", given(&log.supply)),
        ("read", rates(subject)),
        ("in steps of", log.resolution_a.map(|step| words::amps(step.value(), Some(step)))),
        ("its zero, taken off,", zero(subject)),
        ("good boards", profile.or(Some("none to compare with".into()))),
        ("started", given(&log.started).map(|started| moment(&started))),
        ("log", Some(file_name(&log.path))),
        ("drawn by", Some(format!("{} {}", subject.finding.tool.name, subject.finding.tool.version))),
    ];
    all.into_iter().filter_map(|(key, value)| Some((key, clean(&value?)))).collect()
}

/// What the supply reads with nothing drawn, where that shows.
fn zero(subject: &Subject) -> Option<String> {
    let log = &subject.finding.log;
    let least = log.resolution_a.map_or(0.0, |step| step.value() / 2.0);
    let zero = log.zero_a.map(Amps::value).filter(|zero| zero.abs() > 0.0 && zero.abs() >= least)?;
    Some(words::amps(zero, log.resolution_a))
}

/// Poll rate and update rate of the readback.
fn rates(subject: &Subject) -> Option<String> {
    let log = &subject.finding.log;
    let rate = |hertz: f64| figures(hertz, 2);
    let parts: Vec<String> = [
        log.poll_hz.map(|hz| format!("{} times a second", rate(hz))),
        log.changed_hz.map(|hz| format!("a new value {} times", rate(hz))),
    ]
    .into_iter()
    .flatten()
    .collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

/// Date and time of day to the minute; what is no RFC 3339 date stays as it is.
fn moment(started: &str) -> String {
    let parsed = chrono::DateTime::parse_from_rfc3339(started);
    parsed.map_or_else(|_| started.to_owned(), |moment| moment.format("%Y-%m-%d %H:%M").to_string())
}

/// The last part of a path.
pub(in crate::render) fn file_name(path: &str) -> String {
    path.rsplit(['/', '\\']).next().unwrap_or(path).to_owned()
}

/// A fact in pixels.
#[derive(Debug, Clone)]
struct Fact {
    key: &'static str,
    /// The value, on more lines than one where it is long.
    lines: Vec<String>,
    key_width: i32,
    width: i32,
}

/// The facts row by row, in their order; where rows are short, what is left of one takes the next fact that fits.
fn rows(mut facts: Vec<Fact>, width: i32, space: i32, short: bool) -> Vec<Vec<Fact>> {
    let mut rows = Vec::new();
    while !facts.is_empty() {
        let mut row = vec![facts.remove(0)];
        let mut left = width - row[0].width - space;
        let mut next = 0;
        while next < facts.len() {
            if facts[next].width <= left {
                left -= facts[next].width + space;
                row.push(facts.remove(next));
            } else if short {
                next += 1;
            } else {
                break;
            }
        }
        rows.push(row);
    }
    rows
}

/// What a low figure can do without, the first that goes first: the finding and the figure's larger sizes have it all.
const DISPENSABLE: [&str; 7] =
    ["drawn by", "its zero, taken off,", "in steps of", "read", "supply", "started", "0 s:"];

/// The facts in at most two rows, without those that matter least, as far as that helps.
fn few_rows(mut facts: Vec<Fact>, width: i32, space: i32) -> Vec<Vec<Fact>> {
    const MOST: usize = 2;
    let needed = |facts: &[Fact]| rows(facts.to_vec(), width, space, true).len();
    for key in DISPENSABLE {
        if needed(&facts) <= MOST {
            break;
        }
        facts.retain(|fact| fact.key != key);
    }
    rows(facts, width, space, true)
}

/// Draws the facts in as few rows as they need and returns where the foot begins.
pub(in crate::render) fn draw(sheet: &mut Sheet, entries: &[Entry]) -> i32 {
    /// Lines that one fact may take where there is height: half a sentence may say the opposite of the whole.
    const MOST_LINES: usize = 3;
    let area = sheet.inside();
    let key_style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let value_style = sheet.style(em::SMALL, Weight::Bold, sheet.palette.text);
    let space = sheet.u(22.0);
    let most = if sheet.is_low() { 1 } else { MOST_LINES };
    // One fact may take half a row, so that a long name leaves room for another.
    let room = (area.width() / 2).max(sheet.u(460.0)).min(area.width());
    let facts = entries.iter().filter_map(|(key, value)| {
        let key_width = key_style.width(&format!("{key} "));
        let lines = value_style.wrap(value, room - key_width, most);
        let width = key_width + lines.iter().map(|line| value_style.width(line)).max()?;
        Some(Fact { key, lines, key_width, width })
    });
    let short = sheet.is_narrow(area.width());
    let rows = if sheet.is_low() {
        few_rows(facts.collect(), area.width(), space)
    } else {
        rows(facts.collect(), area.width(), space, short)
    };
    let height = sheet.u(20.0);
    let of_row = |row: &Vec<Fact>| row.iter().map(|fact| fact.lines.len()).max().unwrap_or(1);
    let count = i32::try_from(rows.iter().map(of_row).sum::<usize>()).unwrap_or(1);
    let top = area.bottom - count * height;
    let mut baseline = top + sheet.u(15.0);
    for row in rows {
        let next = baseline + i32::try_from(of_row(&row)).unwrap_or(1) * height;
        let mut x = area.left;
        for fact in row {
            sheet.scene.text(fact.key, (x, baseline), Anchor::Start, key_style);
            for (index, line) in (0..).zip(fact.lines) {
                let at = (x + fact.key_width, baseline + index * height);
                sheet.scene.text(line, at, Anchor::Start, value_style);
            }
            x += fact.width + space;
        }
        baseline = next;
    }
    let line = top - sheet.u(4.0);
    let rule = Rect::new(area.left, line, area.right, line + sheet.u(1.0));
    sheet.scene.fill(rule, sheet.palette.grid);
    line - sheet.u(4.0)
}
