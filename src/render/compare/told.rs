//! The moments that the common time axis of two runs tells.

use super::super::align::{self, Moment, Zero};
use super::super::axis::TimeAxis;
use super::super::geometry::Rect;
use super::super::parts::{Subject, Told, notes, time_axis};
use super::super::scene::Shape;
use super::super::sheet::Sheet;
use super::NAMES;

/// When each run left what good boards do, and when both were pressed, where one is set beside the other by that.
pub(super) fn told(
    sheet: &Sheet,
    (runs, zeros): (&[Subject; 2], &[Zero]),
    faults: [Option<f64>; 2],
) -> Vec<Told> {
    let of = |index: usize| {
        let (run, zero, at) = (&runs[index], zeros[index], faults[index]?);
        // Below the lower panel it would be taken for that of the run after; `before 15 s` would be a time.
        let words = format!("{}: {}", NAMES[index], moment_in_words(run, zero, at));
        Some((at - zero.at, words, notes::color(sheet, run)))
    };
    let mut told: Vec<Told> = [of(0), of(1)].into_iter().flatten().collect();
    if let Some(at) =
        pressed(runs, zeros).filter(|at| told.iter().all(|(other, ..)| (other - at).abs() > AT_ONCE))
    {
        told.push((at, "both pressed".into(), sheet.palette.text));
    }
    told
}

/// When both are pressed, on the common time, where one is set beside the other by that.
pub(super) fn pressed(runs: &[Subject; 2], zeros: &[Zero]) -> Option<f64> {
    let (run, zero) = runs.iter().zip(zeros).find(|(_, zero)| zero.moment == Moment::AsOthersPressed)?;
    Some(align::press(run)? - zero.at)
}

/// A moment on the common time; of a run that is set beside a wake which it does not have, what happens then: seconds from
/// another run's wake tell nothing of it.
pub(super) fn moment_in_words(run: &Subject, zero: Zero, at: f64) -> String {
    let log = &run.finding.log;
    let step = log.update_s().unwrap_or(0.0).max(AT_ONCE);
    let own = at - align::switch_on(run);
    let is_press =
        || align::press(run).is_some_and(|press| (at - press).abs() <= log.update_s().unwrap_or(0.0));
    match zero.moment {
        Moment::AsOthersPressed if is_press() => "at the press".into(),
        Moment::AsOthers | Moment::AsOthersPressed if own.abs() <= step => "at switch-on".into(),
        Moment::AsOthers | Moment::AsOthersPressed => format!("{} after switch-on", log.time(own)),
        _ => log.time(at - zero.at),
    }
}

/// What follows the switch-on within so many seconds happens at it: the feed takes as long to rise (common practice, no
/// source).
const AT_ONCE: f64 = 0.5;

/// The time axis with what it tells; where that leaves no room for a zero within it, without what is said by the switch-on
/// or the press, which the mark of that run shows.
pub(super) fn axis(sheet: &mut Sheet, (time, row): (TimeAxis, Rect), told: &[Told]) {
    let first = sheet.scene.shapes.len();
    let mut told = told.to_vec();
    // As few of them as can be.
    for start in ["", "at switch-on", "after switch-on", "press"] {
        told.retain(|(_, words, _)| start.is_empty() || !words.contains(start));
        sheet.scene.shapes.truncate(first);
        time_axis(sheet, time, row, &told);
        let has_zero = |shape: &Shape| matches!(shape, Shape::Text(label) if is_zero(&label.text));
        if !time.shows(0.0) || sheet.scene.shapes[first..].iter().any(has_zero) {
            break;
        }
    }
}

/// `0 s`, `0.0 s`, `0 min`.
fn is_zero(text: &str) -> bool {
    text.split_once(' ').is_some_and(|(number, _)| number.parse() == Ok(0.0))
}
