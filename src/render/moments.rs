//! The moments that a common time axis of several runs tells, in as many words as it has room for.

use super::align::{self, Moment, Zero};
use super::axis::TimeAxis;
use super::geometry::Rect;
use super::parts::{Subject, Told, time_axis};
use super::scene::Shape;
use super::sheet::Sheet;
use super::theme::Color;

/// A moment with its words from the most to the fewest, and how much is lost without any.
#[derive(Debug, Clone)]
pub(super) struct Wanted {
    pub(super) at: f64,
    pub(super) words: Vec<String>,
    pub(super) color: Color,
    pub(super) weight: u32,
}

/// What is lost without the words of a moment that the mark of a run shows, with those of a press, which its line alone does
/// not tell, and with a number; beside these fewer words are nothing.
const AT_SWITCH_ON: u32 = 10;
pub(super) const AT_PRESS: u32 = 20;
const NUMBER: u32 = 100;

/// The word by which a press is told, and that of the feed.
pub(super) const PRESS: &str = "press";
pub(super) const SWITCH_ON: &str = "switch-on";
const AT_SWITCH_ON_IN_WORDS: &str = "at switch-on";

/// What follows the switch-on within so many seconds happens at it: the feed takes as long to rise (common practice, no
/// source).
pub(super) const AT_ONCE: f64 = 0.5;

impl Wanted {
    /// What is lost without the words of a moment as they are said.
    pub(super) fn weight_of(said: &str) -> u32 {
        match said {
            _ if said.contains(PRESS) => AT_PRESS,
            _ if said.contains(SWITCH_ON) => AT_SWITCH_ON,
            _ => NUMBER,
        }
    }

    /// What may be said of it with what that loses.
    fn ways(&self) -> impl Iterator<Item = (u32, Option<Told>)> {
        let told = |words: &String| Some((self.at, words.clone(), self.color));
        (0..).zip(self.words.iter().map(told)).chain([(self.weight, None)])
    }
}

/// The same moment in fewer words, where there are any.
pub(super) fn in_fewer_words(said: &str) -> Option<String> {
    match said {
        AT_SWITCH_ON_IN_WORDS => Some(SWITCH_ON.to_owned()),
        _ => said.strip_prefix("at the ").map(str::to_owned),
    }
}

/// `switch-on`, `the press`, `3.0 s after switch-on`, `12 s`: the same behind a `from`.
pub(super) fn behind_from(said: &str) -> &str {
    said.strip_prefix("at ").unwrap_or(said)
}

pub(super) fn is_pressed_again(run: &Subject) -> bool {
    let counts = align::press(run).unwrap_or(f64::NEG_INFINITY);
    align::presses(run).iter().any(|press| *press < counts)
}

/// A moment on the common time; of a run that is set beside a wake which it does not have, what happens then: seconds from
/// another run's wake tell nothing of it.
pub(super) fn in_words(run: &Subject, zero: Zero, at: f64) -> String {
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
        _ => zero.until(run, at),
    }
}

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
    let mut said: Vec<String> = drawn.iter().filter_map(text).collect();
    let has_zero = !place.0.shows(0.0) || said.iter().any(|text| is_zero(text));
    // Two moments may have the same words.
    let mut take = |words: &String| said.iter().position(|text| text == words).map(|at| said.swap_remove(at));
    told.iter().all(|(_, words, _)| take(words).is_some()).then_some(if has_zero { 0 } else { ZERO })
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
