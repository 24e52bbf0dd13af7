//! A running board that does the same again and again: a pump that starts, a bus that is polled, a screen that is drawn.
//!
//! Where the first time comes as long after the start on every board, each of them looks like a stage that all captures
//! have in common. They are one stage, the last, whose activity is theirs.

use crate::reference::capture::{Piece, Run};
use crate::reference::course::{self, Course, Stage};

/// Levels of the same thing done again differ by no more than this, as a log: half of what tells two stages apart at a
/// glance.
const SAME_LEVEL: f64 = 0.12;
/// ... and its lengths by no more than this, as a log. A boot that loads twice seldom does so for as long.
const SAME_LENGTH: f64 = 0.3;

/// `course` with all that its last stages repeat as one stage, and the first of the running level's pulses with it.
pub(super) fn as_one_stage(runs: &[Run], course: Course) -> Course {
    let course = match repeats_from(&course.stages) {
        Some(first) => course::joined(runs, &course, first + 1),
        None => course,
    };
    if cuts_the_running_level(runs, &course) {
        course::joined(runs, &course, course.stages.len() - 1)
    } else {
        course
    }
}

/// The course of `count` stages, none of which is a part of the running level, unless there is no other.
pub(super) fn fit_count(runs: &[Run], count: usize) -> Option<Course> {
    let course = course::fit_count(runs, count)?;
    if !cuts_the_running_level(runs, &course) {
        return Some(course);
    }
    let more = course::fit_count(runs, count + 1).map(|more| as_one_stage(runs, more));
    let more = more.filter(|more| more.stages.len() == count);
    if ends_with_a_pulse(runs, &course) {
        return Some(more.unwrap_or(course));
    }
    let others = course::fits_of_count(runs, count).chain(more.map(|more| trained_or(runs, more)));
    let uncut = others.filter(|course| !cuts_the_running_level(runs, course));
    Some(uncut.min_by(|a, b| a.cost.total_cmp(&b.cost)).unwrap_or(course))
}

/// The same course with its stages trained, so that its cost is that of as many.
fn trained_or(runs: &[Run], course: Course) -> Course {
    course::trained(runs, course.stages.clone()).unwrap_or(course)
}

/// Whether the stage before the running level is a part of it.
fn cuts_the_running_level(runs: &[Run], course: &Course) -> bool {
    ends_with_a_pulse(runs, course) || ends_with_a_drift(course)
}

/// Whether the stage before the running level is no more than that level before a chance change of it: at hardly another level,
/// and of any length.
fn ends_with_a_drift(course: &Course) -> bool {
    /// A stage that is one ends at about its own time: lengths that differ by more than this, as a log (standard deviation), say
    /// when a busy load happened to change (by judgement: twice what the length of a stage differs by in known-good captures).
    const ANY_LENGTH: f64 = 0.3;
    let [_, .., stage, last] = course.stages.as_slice() else { return false };
    let Some((length, spread)) = stage.length else { return false };
    let middle = stage.level + stage.slope * length.exp() / 2.0;
    spread > ANY_LENGTH && (middle - last.level).abs() < SAME_LEVEL
}

/// Whether the stage before the running level is no more than the first of the pulses that the running level goes on with:
/// short, above it, and in most captures seen in it again and again.
fn ends_with_a_pulse(runs: &[Run], course: &Course) -> bool {
    /// A stage before it and the running level.
    const FEWEST: usize = 3;
    /// What lasts longer is a stage, in seconds (common practice, no source).
    const PULSE_S: f64 = 1.5;
    /// A pulse goes this far above its level, as a log (by judgement).
    const ABOVE: f64 = 0.15;
    let Some((last, stage)) = course.stages.len().checked_sub(2).map(|k| (k + 1, &course.stages[k])) else {
        return false;
    };
    let Some((length, _)) = stage.length.filter(|_| last + 1 >= FEWEST) else { return false };
    let above = stage.level - course.stages[last].level;
    if length > PULSE_S.ln() || above < ABOVE {
        return false;
    }
    let again = |(run, starts): &(&Run, &Vec<usize>)| {
        pulses_again(&run.pieces[starts[last]..], stage.level, above, length)
    };
    2 * runs.iter().zip(&course.starts).filter(again).count() > runs.len()
}

/// Whether `pieces` go up again to `level` or so, which is `above` the rest of them, for about as long.
fn pulses_again(pieces: &[Piece], level: f64, above: f64, length: f64) -> bool {
    /// Once may be chance (by judgement).
    const TIMES: usize = 2;
    /// Lengths of pulses of a few readings are known no better than this, as a log (by judgement).
    const ABOUT: f64 = 0.8;
    let high = |piece: &Piece| piece.level > level - above / 2.0;
    let lasts = |group: &[Piece]| group.iter().map(|piece| piece.to - piece.from).sum::<f64>().ln();
    let groups = pieces.chunk_by(|a, b| high(a) == high(b));
    groups.filter(|group| high(&group[0]) && (lasts(group) - length).abs() < ABOUT).count() >= TIMES
}

/// The first of the stages that are repeated to the end: at least high, low, high, and the running one, which holds
/// whatever else was repeated and is compared with nothing.
fn repeats_from(stages: &[Stage]) -> Option<usize> {
    /// Fewer stages than this show nothing done again.
    const FEWEST: usize = 3;
    let ends = stages.len().checked_sub(1)?;
    let again =
        (0..ends.saturating_sub(2)).rev().take_while(|k| alike(&stages[*k], &stages[*k + 2])).last()?;
    (ends - again >= FEWEST).then_some(again)
}

fn alike(a: &Stage, b: &Stage) -> bool {
    let (Some((a_length, _)), Some((b_length, _))) = (a.length, b.length) else { return false };
    (a.level - b.level).abs() < SAME_LEVEL && (a_length - b_length).abs() < SAME_LENGTH
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Stages of so many watts and seconds, the last without an end.
    fn stages(of: &[(f64, f64)]) -> Vec<Stage> {
        let one = |(k, (watts, seconds)): (usize, &(f64, f64))| Stage {
            level: watts.ln(),
            slope: 0.0,
            spread: 0.1,
            length: (k + 1 < of.len()).then(|| (seconds.ln(), 0.15)),
        };
        of.iter().enumerate().map(one).collect()
    }

    #[test]
    fn what_is_done_again_in_the_same_time_is_one_stage() {
        let again = [(1.0, 2.0), (9.0, 4.0), (5.0, 5.0), (9.2, 1.1), (7.0, 5.9), (9.2, 1.0), (7.3, 20.0)];
        assert_eq!(repeats_from(&stages(&again)), Some(3));
    }

    #[test]
    fn two_loads_that_differ_are_stages_of_a_boot() {
        let longer = [(1.0, 2.0), (9.0, 4.0), (5.0, 5.0), (9.0, 8.0), (5.0, 20.0)];
        assert_eq!(repeats_from(&stages(&longer)), None);
        let heavier = [(1.0, 2.0), (9.0, 4.0), (5.0, 5.0), (12.0, 4.0), (5.0, 20.0)];
        assert_eq!(repeats_from(&stages(&heavier)), None);
        assert_eq!(repeats_from(&stages(&[(1.0, 2.0), (9.0, 4.0), (5.0, 20.0)])), None);
    }

    #[test]
    fn a_course_without_its_repeats_keeps_what_came_before() {
        let again = [
            (1.0, 2.0),
            (9.0, 4.0),
            (3.0, 5.0),
            (9.2, 1.0),
            (7.0, 6.0),
            (9.2, 1.0),
            (7.0, 6.0),
            (9.2, 1.0),
            (7.0, 9.0),
        ];
        let runs = vec![Run::of_pieces(&again.map(|(watts, seconds)| (seconds, f64::ln(watts)))); 4];
        let course = course::fit(&runs, 9).expect("stages");
        assert_eq!(course.stages.len(), 9, "each looks like a stage");
        let one = as_one_stage(&runs, course);
        assert_eq!(one.stages.len(), 4);
        assert_eq!(one.starts, vec![vec![0, 1, 2, 3]; 4]);
        assert!(one.stages[3].length.is_none());
    }

    /// Captures with a stage of 0.6 s at 1.5 times the running level before it, which goes up as far `times` times more.
    fn pulsing(times: usize) -> Vec<Run> {
        let level = |watts: f64, fifths: usize| vec![(0.2, watts.ln()); fifths];
        let run = |rest: usize| {
            let pulse = [level(9.0, 3), level(6.0, rest)].concat();
            let start = [level(1.0, 10), level(12.0, 20)].concat();
            Run::of_pieces(&[start, pulse.repeat(1 + times), level(6.0, 100)].concat())
        };
        [15, 19, 24, 28].map(run).to_vec()
    }

    #[test]
    fn the_first_pulse_of_the_running_level_is_no_stage_but_one_load_is() {
        let stages = |times: usize| {
            let runs = pulsing(times);
            let starts = vec![vec![0, 10, 30, 33]; 4];
            let course = course::joined(&runs, &Course { stages: Vec::new(), starts, cost: 0.0 }, 4);
            as_one_stage(&runs, course).stages.len()
        };
        assert_eq!((stages(5), stages(0)), (3, 4));
    }

    /// Captures of a board that runs at 6 W, at `watts` before that for so many halves of a second in each.
    fn drifting(halves: [usize; 4], watts: f64) -> Vec<Run> {
        let level = |watts: f64, halves: usize| vec![(0.5, watts.ln()); halves];
        let start = [level(1.0, 6), level(12.0, 10), level(15.0, 4)].concat();
        halves
            .map(|halves| [start.clone(), level(watts, halves), level(6.0, 80 - halves)].concat())
            .map(|pieces| Run::of_pieces(&pieces))
            .to_vec()
    }

    #[test]
    fn what_the_running_level_drifts_by_at_any_time_is_no_stage() {
        let levels = |halves: [usize; 4], watts: f64| {
            let course = fit_count(&drifting(halves, watts), 4).expect("four stages");
            course.stages.iter().map(|stage| stage.level.exp().round()).collect::<Vec<_>>()
        };
        assert_eq!(levels([8, 20, 31, 50], 5.4), [1.0, 12.0, 15.0, 6.0]);
        assert_eq!(levels([8, 8, 8, 8], 3.0), [1.0, 12.0, 3.0, 6.0], "that one is");
        let cut = |halves: [usize; 4]| {
            let runs = drifting(halves, 5.4);
            let starts = halves.map(|halves| vec![0, 6, 20, 20 + halves]).to_vec();
            cuts_the_running_level(
                &runs,
                &course::joined(&runs, &Course { stages: Vec::new(), starts, cost: 0.0 }, 4),
            )
        };
        assert!(cut([8, 20, 31, 50]) && !cut([20, 21, 19, 20]), "one that ends at its time may be a stage");
    }
}
