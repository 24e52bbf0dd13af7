//! The lane of events: marks by the person at the bench, output on and off, changes of the settings.

use super::super::axis::TimeAxis;
use super::super::font::{Weight, clean};
use super::super::geometry::Rect;
use super::super::scene::{Anchor, Style};
use super::super::sheet::{Sheet, em};
use super::super::theme::Color;
use super::{Areas, Subject};
use crate::trace::EventKind;
use crate::units::{how_often, volts_as_set};
use std::collections::BTreeSet;

/// An event with its word and its place.
#[derive(Debug)]
struct Flag {
    x: i32,
    /// The word, its left end and its row; `None` where there was no room.
    word: Option<(String, i32, i32)>,
}

/// All events of the window.
#[derive(Debug)]
pub(in crate::render) struct Lane {
    flags: Vec<Flag>,
    /// Where the run left what good boards do, and the colour of its line.
    fault: Option<(i32, Color)>,
    style: Style,
}

/// Rows that the words may take on an upright figure; others have the height for fewer.
const MOST_ROWS: usize = 3;
const MOST_ROWS_ELSE: usize = 2;

/// Lines that stand nearer to one another than this on average are a pattern, not moments, in units of the layout.
const CLOSEST: f64 = 8.0;

impl Lane {
    /// Of a log that was switched too often for the lines to be told apart, only how often that was.
    pub(in crate::render) fn new(sheet: &Sheet, subject: &Subject, time: TimeAxis) -> Self {
        let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.text);
        let upright = sheet.scene.height > sheet.scene.width;
        let ends = vec![i32::MIN; if upright { MOST_ROWS } else { MOST_ROWS_ELSE }];
        let events = || subject.trace.events().iter().filter(|event| time.shows(event.time.value()));
        let switched = events().filter(|event| is_switching(&event.kind)).count();
        let crowded = switched > usize::try_from((time.right - time.left) / sheet.u(CLOSEST)).unwrap_or(0);
        let summary = crowded.then(|| {
            let on = events().filter(|event| event.kind == EventKind::OutputOn).count();
            (time.left, format!("▶ output on, {}", how_often(on)))
        });
        let shown = events().filter(|event| !(crowded && is_switching(&event.kind)));
        let named = shown.filter_map(|event| Some((time.x_within(event.time.value()), word(&event.kind)?)));
        let named: Vec<(i32, String)> =
            summary.into_iter().chain(named).chain(end_of(subject, time)).collect();
        let flags = |signs_alone: bool| {
            let mut ends = ends.clone();
            let next = named.iter().skip(1).map(Some).chain([None]);
            let flag = |((x, word), next): (&(i32, String), Option<&(i32, String)>)| {
                let next = next.filter(|_| signs_alone);
                let alone = next.and_then(|next| sign_alone(sheet, style, (*x, word), next));
                let alone = alone.and_then(|sign| place_sign(sheet, style, (time, *x), &mut ends, sign));
                alone.unwrap_or_else(|| place(sheet, style, time, &mut ends, *x, word))
            };
            named.iter().zip(next).map(flag).collect::<Vec<_>>()
        };
        // Each in words of its own as far as there is room for every sign.
        let without_sign = |flags: &[Flag]| {
            let lacks = |((_, word), flag): &(&(i32, String), &Flag)| {
                signed(word).is_some_and(|(sign, _)| {
                    !flag.word.as_ref().is_some_and(|(said, ..)| said.contains(sign))
                })
            };
            named.iter().zip(flags).filter(lacks).count()
        };
        let flags = [false, true].map(flags).into_iter().min_by_key(|flags| without_sign(flags));
        Self { flags: flags.unwrap_or_default(), fault: None, style }
    }

    /// With lines only, where the figure has no lane for words.
    pub(in crate::render) fn of_lines(sheet: &Sheet, lines: impl Iterator<Item = i32>) -> Self {
        let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.text);
        Self { flags: lines.map(|x| Flag { x, word: None }).collect(), fault: None, style }
    }

    /// With the line at which the run left what good boards do.
    pub(in crate::render) fn with_fault(self, fault: Option<(i32, Color)>) -> Self {
        Self { fault, ..self }
    }

    /// The column of the line at which the run left what good boards do, and its colour.
    pub(in crate::render) const fn fault(&self) -> Option<(i32, Color)> {
        self.fault
    }

    /// How many rows of words there are.
    pub(in crate::render) fn rows(&self) -> i32 {
        self.flags.iter().filter_map(|flag| flag.word.as_ref()).map(|(_, _, row)| row + 1).max().unwrap_or(0)
    }

    /// The lines of the events across one panel; drawn before the readings, so that they hide none.
    pub(in crate::render) fn lines(&self, sheet: &mut Sheet, panel: Rect) {
        let pen = sheet.pen(1.0, 3.0, sheet.palette.mark);
        // However often a long log was switched, a column has one line.
        let columns: BTreeSet<i32> = self.flags.iter().map(|flag| flag.x).collect();
        for x in columns {
            sheet.scene.down(x, (panel.top, panel.bottom), pen);
        }
    }

    pub(in crate::render) fn words(&self, sheet: &mut Sheet, areas: &Areas) {
        let row_height = sheet.u(20.0);
        for flag in &self.flags {
            let Some((word, left, row)) = &flag.word else { continue };
            let top = areas.events.top + sheet.u(3.0) + row * row_height;
            if top + row_height > areas.events.bottom + sheet.u(3.0) {
                continue;
            }
            let baseline = self.style.baseline_at(top + row_height / 2);
            let area = Rect::new(
                *left - sheet.u(2.0),
                top + 1,
                left + self.style.width(word) + sheet.u(3.0),
                top + row_height - 1,
            );
            sheet.scene.fill(area, sheet.palette.paper);
            sheet.scene.text(word.clone(), (*left, baseline), Anchor::Start, self.style);
        }
    }
}

/// Where the readings end before the picture does: what follows is no reading of nothing.
fn end_of(subject: &Subject, time: TimeAxis) -> Option<(i32, String)> {
    let end = subject.trace.time().last().filter(|end| time.shows(**end) && **end < time.to)?;
    Some((time.x_within(*end), "log ends".into()))
}

/// The sign of an event whose words would hide that of the next, where that has the same words: it says them for both.
fn sign_alone<'a>(
    sheet: &Sheet,
    style: Style,
    (x, word): (i32, &'a str),
    (next, same): &(i32, String),
) -> Option<&'a str> {
    let (sign, _) = signed(word).filter(|_| word == same)?;
    let half = style.width(sign) / 2;
    (x - half + style.width(word) + sheet.u(APART) > next - half).then_some(sign)
}

/// The sign of a word, and the rest of it.
fn signed(word: &str) -> Option<(&str, &str)> {
    word.split_once(' ').filter(|(sign, _)| !sign.starts_with(char::is_alphanumeric))
}

/// Puts a sign on its line, in the first row where it is free, and the next of its kind may stand right beside it.
fn place_sign(
    sheet: &Sheet,
    style: Style,
    (time, x): (TimeAxis, i32),
    ends: &mut [i32],
    sign: &str,
) -> Option<Flag> {
    /// From one to the next, in units of the layout.
    const BESIDE: f64 = 2.0;
    let width = style.width(sign);
    let left = (x - width / 2).max(time.left);
    let row = ends.iter().position(|end| end.saturating_add(sheet.u(APART)) <= left)?;
    ends[row] = left + width + sheet.u(BESIDE) - sheet.u(APART);
    let word = Some((sign.to_owned(), left, i32::try_from(row).ok()?));
    (left + width <= time.right).then_some(Flag { x, word })
}

/// Room between the words of two events, in units of the layout.
const APART: f64 = 10.0;

/// Puts a word at its line, in the first row where it is free, shortened if need be: with its sign on the line or, where
/// other words hold it off, without.
fn place(sheet: &Sheet, style: Style, time: TimeAxis, ends: &mut [i32], x: i32, word: &str) -> Flag {
    let space = sheet.u(APART);
    // Words stand in the order of their moments, from left to right or from above: none above an earlier one that reaches
    // as far.
    let above = ends.iter().rposition(|end| *end > x).filter(|_| ends.len() > MOST_ROWS_ELSE).unwrap_or(0);
    let rows = || (0..).zip(ends.iter()).skip(above).map(|(row, end)| (row, end.saturating_add(space)));
    let signed = signed(word);
    let at_line = signed.and_then(|parts| {
        rows().find_map(|(row, from)| Some((row, on_line(sheet, style, (time, x, from), parts)?)))
    });
    let bare = signed.map_or(word, |(_, rest)| rest);
    let beside = || rows().find_map(|(row, from)| Some((row, beside(sheet, style, (time, x, from), bare)?)));
    let Some((row, (text, left))) = at_line.or_else(beside) else { return Flag { x, word: None } };
    if let Some(end) = usize::try_from(row).ok().and_then(|row| ends.get_mut(row)) {
        *end = left + style.width(&text);
    }
    Flag { x, word: Some((text, left, row)) }
}

/// Words are not shortened below this, in units of the layout.
const LEAST_WIDTH: f64 = 50.0;

/// The words and their left end with the middle of the sign on the line at `x`, to the right of it or, at the end of the
/// axis, to the left, if they find room there from column `from` on.
fn on_line(
    sheet: &Sheet,
    style: Style,
    (time, x, from): (TimeAxis, i32, i32),
    (sign, rest): (&str, &str),
) -> Option<(String, i32)> {
    let half = style.width(sign) / 2;
    let (word, turned) = (format!("{sign} {rest}"), format!("{rest} {sign}"));
    // At the very start of the axis the line runs through the sign, if not through its middle: before it stand numbers.
    let (left, width) = ((x - half).max(time.left), style.width(&word));
    if left >= from && left + width <= time.right {
        return Some((word, left));
    }
    let aside = x + half - style.width(&turned);
    if left >= from && aside >= from.max(time.left) {
        return Some((turned, aside));
    }
    let shortened = style.fit(&word, time.right - left).filter(|_| left >= from)?;
    (time.right - left >= sheet.u(LEAST_WIDTH)).then_some((shortened, left))
}

/// The words and their left end to the right of their line, from column `from` on.
fn beside(
    sheet: &Sheet,
    style: Style,
    (time, x, from): (TimeAxis, i32, i32),
    word: &str,
) -> Option<(String, i32)> {
    let width = style.width(word);
    let left = (x + sheet.u(4.0)).min(time.right - width).max(from).max(time.left);
    let room = time.right - left;
    // A word belongs to the line on its left; further away it would seem to belong to nothing.
    let near = left - x <= sheet.u(16.0);
    let text = if width <= room { Some(word.to_owned()) } else { style.fit(word, room) };
    text.filter(|_| near && room >= width.min(sheet.u(LEAST_WIDTH))).map(|text| (text, left))
}

const fn is_switching(kind: &EventKind) -> bool {
    matches!(kind, EventKind::OutputOn | EventKind::OutputOff)
}

/// The word for an event; gaps are drawn as gaps.
fn word(kind: &EventKind) -> Option<String> {
    match kind {
        EventKind::OutputOn => Some("▶ output on".into()),
        EventKind::OutputOff => Some("■ output off".into()),
        EventKind::Mark(mark) => Some(format!("● {}", clean(mark))),
        EventKind::SetVolts(volts) => Some(format!("set {}", volts_as_set(volts.value()))),
        EventKind::Limit(amps) => Some(format!("limit {amps}")),
        EventKind::Gap => None,
        EventKind::LinkLost => Some("link lost".into()),
        EventKind::LinkBack => Some("link back".into()),
        EventKind::Trip(reason) => Some(format!("trip: {}", clean(reason))),
        EventKind::Other(word) => Some(clean(word)),
    }
}
