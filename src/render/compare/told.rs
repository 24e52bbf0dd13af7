//! The moments that the common time axis of two runs tells.

use super::super::align::{self, Moment, Zero};
use super::super::axis::TimeAxis;
use super::super::geometry::Rect;
use super::super::parts::{Subject, Told, notes, time_axis};
use super::super::scene::Shape;
use super::super::sheet::Sheet;
use super::super::theme::Color;
use super::NAMES;

/// A moment with its words from the most to the fewest, and how much is lost without any.
#[derive(Debug, Clone)]
pub(super) struct Wanted {
    at: f64,
    words: Vec<String>,
    color: Color,
    weight: u32,
}

/// What is lost without the words of a moment that the mark of a run shows, with those of a press, which its line alone does
/// not tell, and with a number; beside these fewer words are nothing.
const AT_SWITCH_ON: u32 = 10;
const AT_PRESS: u32 = 20;
const NUMBER: u32 = 100;

/// When each run left what good boards do, and when both were pressed, where one is set beside the other by that.
pub(super) fn wanted(
    sheet: &Sheet,
    (runs, zeros): (&[Subject; 2], &[Zero]),
    faults: [Option<f64>; 2],
) -> Vec<Wanted> {
    let of = |index: usize| {
        let (run, zero, at) = (&runs[index], zeros[index], faults[index]?);
        let said = moment_in_words(run, zero, at);
        let weight = match said.as_str() {
            _ if said.contains(PRESS) => AT_PRESS,
            _ if said.contains(SWITCH_ON) => AT_SWITCH_ON,
            _ => NUMBER,
        };
        let fewer = match said.as_str() {
            AT_SWITCH_ON_IN_WORDS => Some("fed".to_owned()),
            _ => said.strip_prefix("at the ").map(str::to_owned),
        };
        // Below the lower panel it would be taken for that of the run after; `before 15 s` would be a time.
        let words = [said].into_iter().chain(fewer).map(|said| format!("{}: {said}", NAMES[index])).collect();
        Some(Wanted { at: at - zero.at, words, color: notes::color(sheet, run), weight })
    };
    let mut wanted: Vec<Wanted> = [of(0), of(1)].into_iter().flatten().collect();
    if let Some(at) = pressed(runs, zeros).filter(|at| !wanted.iter().any(|other| other.is_press_at(*at))) {
        let words = if are_several(runs) {
            vec!["last press of both".to_owned(), "last press".to_owned()]
        } else {
            vec!["both pressed".to_owned(), "pressed".to_owned()]
        };
        wanted.push(Wanted { at, words, color: sheet.palette.text, weight: AT_PRESS });
    }
    wanted
}

impl Wanted {
    fn is_press_at(&self, at: f64) -> bool {
        (self.at - at).abs() <= AT_ONCE && self.words.iter().any(|words| words.contains(PRESS))
    }

    /// What may be said of it with what that loses.
    fn ways(&self) -> impl Iterator<Item = (u32, Option<Told>)> {
        let told = |words: &String| Some((self.at, words.clone(), self.color));
        (0..).zip(self.words.iter().map(told)).chain([(self.weight, None)])
    }
}

/// The word by which a press is told, and that of the feed.
const PRESS: &str = "press";
const SWITCH_ON: &str = "switch-on";
const AT_SWITCH_ON_IN_WORDS: &str = "at switch-on";

/// Whether one of them was pressed in vain before the press that counts.
fn are_several(runs: &[Subject; 2]) -> bool {
    runs.iter().any(|run| is_pressed_again(run))
}

fn is_pressed_again(run: &Subject) -> bool {
    let counts = align::press(run).unwrap_or(f64::NEG_INFINITY);
    align::presses(run).iter().any(|press| *press < counts)
}

/// When both are pressed, on the common time, where one is set beside the other by that.
pub(super) fn pressed(runs: &[Subject; 2], zeros: &[Zero]) -> Option<f64> {
    let (run, zero) = runs.iter().zip(zeros).find(|(_, zero)| zero.moment == Moment::AsOthersPressed)?;
    Some(align::press(run)? - zero.at)
}

/// The same where the axis has a word for its line: one without would be taken for anything.
pub(super) fn pressed_and_told(runs: &[Subject; 2], zeros: &[Zero], told: &[Told]) -> Option<f64> {
    let says =
        |at: f64| told.iter().any(|(of, words, _)| (of - at).abs() <= AT_ONCE && words.contains(PRESS));
    pressed(runs, zeros).filter(|at| says(*at))
}

/// A moment on the common time; of a run that is set beside a wake which it does not have, what happens then: seconds from
/// another run's wake tell nothing of it.
pub(super) fn moment_in_words(run: &Subject, zero: Zero, at: f64) -> String {
    let log = &run.finding.log;
    let step = log.update_s().unwrap_or(0.0).max(AT_ONCE);
    let on = align::switch_on(run);
    let is_press =
        || align::press(run).is_some_and(|press| (at - press).abs() <= log.update_s().unwrap_or(0.0));
    match zero.moment {
        Moment::AsOthersPressed if is_press() && is_pressed_again(run) => "at the last press".into(),
        Moment::AsOthersPressed if is_press() => "at the press".into(),
        Moment::AsOthers | Moment::AsOthersPressed if (at - on).abs() <= step => AT_SWITCH_ON_IN_WORDS.into(),
        Moment::AsOthers | Moment::AsOthersPressed => {
            format!("{} after {SWITCH_ON}", align::span(log, on, at))
        }
        _ => zero.until(log, at),
    }
}

/// What follows the switch-on within so many seconds happens at it: the feed takes as long to rise (common practice, no
/// source).
const AT_ONCE: f64 = 0.5;

/// Of what is wanted that for which the axis has room beside a zero within it, in as many words as can be.
pub(super) fn that_fit(sheet: &mut Sheet, place: (TimeAxis, Rect), wanted: &[Wanted]) -> Vec<Told> {
    let mut ways: Vec<(u32, Vec<Told>)> = vec![(0, Vec::new())];
    for one in wanted.iter().filter(|one| place.0.shows(one.at)) {
        let with = |(lost, told): &(u32, Vec<Told>)| {
            let more =
                |(less, way): (u32, Option<Told>)| (lost + less, told.iter().cloned().chain(way).collect());
            one.ways().map(more).collect::<Vec<_>>()
        };
        ways = ways.iter().flat_map(with).collect();
    }
    let lost = |(lost, told): (u32, Vec<Told>)| Some((lost + lost_beside(sheet, place, &told)?, told));
    let fit = ways.into_iter().filter_map(lost).min_by_key(|(lost, _)| *lost);
    fit.map(|(_, told)| told).unwrap_or_default()
}

/// What is lost of the zero where the axis tells all of that; `None` where it has no room for that.
fn lost_beside(sheet: &mut Sheet, place: (TimeAxis, Rect), told: &[Told]) -> Option<u32> {
    /// Without its word nobody knows what the line is that both runs have; a number beside it leaves little to be asked.
    const ZERO: u32 = 50;
    let first = sheet.scene.shapes.len();
    axis(sheet, place, told);
    let drawn = sheet.scene.shapes.split_off(first);
    let text = |shape: &Shape| match shape {
        Shape::Text(label) => Some(label.text.clone()),
        _ => None,
    };
    let said: Vec<String> = drawn.iter().filter_map(text).collect();
    let has_zero = !place.0.shows(0.0) || said.iter().any(|text| is_zero(text));
    told.iter().all(|(_, words, _)| said.contains(words)).then_some(if has_zero { 0 } else { ZERO })
}

/// The time axis with what it tells, which may stand as far to the left as the figure goes.
pub(super) fn axis(sheet: &mut Sheet, (time, row): (TimeAxis, Rect), told: &[Told]) {
    /// From where words stand else to the edge, in units of the layout.
    const TO_THE_EDGE: f64 = 18.0;
    time_axis(sheet, time, Rect { left: row.left - sheet.u(TO_THE_EDGE), ..row }, told);
}

/// `0 s`, `0.0 s`, `0 min`.
fn is_zero(text: &str) -> bool {
    text.split_once(' ').is_some_and(|(number, _)| number.parse() == Ok(0.0))
}
