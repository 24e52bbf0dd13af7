//! The stages of a profile: their names, and whether the first waits for a person.

use super::Request;
use crate::reference::capture::Run;
use crate::reference::course::Course;
use crate::reference::model::{Envelope, PhaseReference, STANDBY};
use crate::stats::robust;

/// A first stage below this share of the running level may be a standby.
pub(super) const STANDBY_SHARE: f64 = 0.25;
/// ... and below this one that waits for nobody, which nothing but its level sets apart from the first rails (common
/// practice, no source).
const BRIEF_STANDBY_SHARE: f64 = 0.2;
/// A standby that waits for a person differs in length by more than this between captures (standard deviation of the
/// log), or lasts longer than any start-up of a rail.
const WAIT_SPREAD: f64 = 0.25;
const WAIT_FROM_S: f64 = 1.5;
/// No hand is as regular as this (from the shortest to the longest, as a log), seen in as many captures: the board goes
/// on by itself.
const REGULAR_RANGE: f64 = 0.25;
const REGULAR_FROM: usize = 3;
/// The button's mark and the end of standby are at most this far apart, seconds.
pub(super) const BUTTON_NEAR_S: f64 = 1.0;

/// Whether the first stage lasts until a person does something.
pub(super) fn waits(runs: &[Run], course: &Course) -> bool {
    if course.stages.len() < 2 {
        return false;
    }
    let ends: Vec<(f64, f64)> = runs
        .iter()
        .zip(&course.starts)
        .filter_map(|(run, starts)| Some((run.pieces.first()?.from, run.pieces.get(starts[1])?.from)))
        .collect();
    let at_button = runs
        .iter()
        .zip(&ends)
        .filter(|(run, (_, end))| run.button.is_some_and(|at| (at - end).abs() <= BUTTON_NEAR_S))
        .count();
    if at_button > 0 {
        return true;
    }
    let lengths: Vec<f64> = ends.iter().map(|(start, end)| (end - start).max(1e-3).ln()).collect();
    let longest_usual = robust::median(&mut lengths.clone()).unwrap_or(0.0) > WAIT_FROM_S.ln();
    let low = begins_below(STANDBY_SHARE, course);
    let spread = deviation(&lengths);
    let regular = regular(runs, &ends);
    low && (longest_usual && !regular || spread > WAIT_SPREAD)
}

/// Whether the first stage draws as little, beside the running board, as a standby that a board leaves by itself.
pub(super) fn begins_low(course: &Course) -> bool {
    begins_below(BRIEF_STANDBY_SHARE, course)
}

/// Whether the first stage is at one level, as a standby is: one that holds the first rails as well goes up to several times as
/// much.
pub(super) fn begins_level(course: &Course) -> bool {
    /// Standard deviation of log power beyond that of one level, also where it is read in steps of a third of it (by judgement).
    const SEVERAL_LEVELS: f64 = 0.4;
    course.stages.first().is_some_and(|first| first.spread < SEVERAL_LEVELS)
}

fn begins_below(share: f64, course: &Course) -> bool {
    let (Some(first), Some(last)) = (course.stages.first(), course.stages.last()) else { return false };
    first.level - last.level < share.ln()
}

/// Whether the first stage lies clearly below the second, as a standby does.
pub(super) fn begins_with_standby(course: &Course) -> bool {
    /// Share of the next stage's power below which the first is a standby and not a part of it.
    const CLEARLY_BELOW: f64 = 0.6;
    let [first, second, ..] = course.stages.as_slice() else { return false };
    first.level - second.level < CLEARLY_BELOW.ln()
}

/// Whether the waits, with their start and end, are as regular as no hand is: each may be one renewal of its readback longer
/// or shorter than it was read, and one of few renewals tells nothing.
fn regular(runs: &[Run], ends: &[(f64, f64)]) -> bool {
    /// Share of a wait that a renewal may take.
    const TOLD_SHARE: f64 = 0.25;
    let waits = runs.iter().zip(ends).map(|(run, (start, end))| (end - start, run.readback.update_s));
    let told: Vec<(f64, f64)> = waits.filter(|(wait, update)| *update <= TOLD_SHARE * wait).collect();
    let shortest = told.iter().map(|(wait, update)| wait + update).fold(f64::INFINITY, f64::min);
    let longest = told.iter().map(|(wait, update)| wait - update).fold(0.0, f64::max);
    told.len() >= REGULAR_FROM && longest < shortest * REGULAR_RANGE.exp()
}

fn deviation(values: &[f64]) -> f64 {
    robust::deviation(&mut values.to_vec()).unwrap_or(0.0)
}

/// Names of `count` stages: those asked for (the last ones, if there are more), else made ones.
pub(super) fn names(request: &Request, count: usize, waits: bool) -> Vec<String> {
    if request.names.len() >= count {
        return request.names[request.names.len() - count..].to_vec();
    }
    if !request.names.is_empty() {
        return std::iter::once(STANDBY.to_owned()).chain(request.names.iter().cloned()).collect();
    }
    (0..count)
        .map(|k| match k {
            0 if waits => STANDBY.to_owned(),
            last if last + 1 == count => "running".to_owned(),
            other => format!("stage {}", other + usize::from(!waits)),
        })
        .collect()
}

/// A stage of which nothing is known yet.
pub(super) fn blank(name: &str, waits_for_person: bool) -> PhaseReference {
    let nothing = Envelope { low: 0.0, typical: 0.0, high: 0.0 };
    PhaseReference {
        name: name.to_owned(),
        waits_for_person,
        mean_power: nothing,
        peak_power: nothing,
        activity: nothing,
        duration: None,
        energy: None,
        volts_exponent: 0.0,
        volts_exponent_sd: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::course::Stage;

    /// A first stage of so many seconds in each capture, at `share` of the running level.
    fn waits_for(seconds: &[f64], share: f64) -> bool {
        let run = |seconds: &f64| Run::of_pieces(&[(*seconds, share.ln()), (10.0, 0.0)]);
        let runs: Vec<Run> = seconds.iter().map(run).collect();
        waits(&runs, &course(&[share, 1.0], runs.len()))
    }

    fn course(watts: &[f64], captures: usize) -> Course {
        let stage = |watts: &f64| Stage { level: watts.ln(), slope: 0.0, spread: 0.1, length: None };
        let starts = vec![(0..watts.len()).collect(); captures];
        Course { stages: watts.iter().map(stage).collect(), starts, cost: 0.0 }
    }

    #[test]
    fn no_hand_is_as_regular_as_a_board_that_goes_on_by_itself() {
        assert!(!waits_for(&[3.0, 3.1, 2.9], 0.05));
        assert!(waits_for(&[3.0, 4.1, 2.5], 0.05));
        assert!(waits_for(&[3.0, 3.0], 0.05), "two captures may be alike by chance");
    }

    #[test]
    fn a_wait_may_be_one_renewal_of_its_readback_longer_than_it_was_read() {
        let read_every = |update_s: f64| {
            let run = |seconds: &f64| {
                let mut run = Run::of_pieces(&[(*seconds, 0.05_f64.ln()), (10.0, 0.0)]);
                run.readback.update_s = update_s;
                run
            };
            let runs: Vec<Run> = [2.25, 3.0, 2.5, 2.4].iter().map(run).collect();
            waits(&runs, &course(&[0.05, 1.0], runs.len()))
        };
        assert!(read_every(0.01), "a hand");
        assert!(!read_every(0.2), "from 2.45 to 2.8 s: no hand");
        assert!(read_every(1.0), "waits of two or three renewals are as regular as one likes");
    }

    #[test]
    fn what_is_short_or_draws_much_waits_for_nobody() {
        assert!(!waits_for(&[0.5, 0.51, 0.5], 0.05));
        assert!(!waits_for(&[3.0, 4.1, 2.5], 0.5));
    }

    #[test]
    fn a_standby_lies_clearly_below_what_follows() {
        assert!(begins_with_standby(&course(&[0.4, 1.0, 3.0], 1)));
        assert!(!begins_with_standby(&course(&[0.8, 1.0, 3.0], 1)));
        assert!(!begins_with_standby(&course(&[0.4], 1)));
    }
}
