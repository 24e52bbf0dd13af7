//! A running board that does the same again and again: a pump that starts, a bus that is polled, a screen that is drawn.
//!
//! Where the first time comes as long after the start on every board, each of them looks like a stage that all captures
//! have in common. They are one stage, the last, whose activity is theirs.

use crate::reference::capture::Run;
use crate::reference::course::{self, Course, Stage};

/// Levels of the same thing done again differ by no more than this, as a log: half of what tells two stages apart at a
/// glance.
const SAME_LEVEL: f64 = 0.12;
/// ... and its lengths by no more than this, as a log. A boot that loads twice seldom does so for as long.
const SAME_LENGTH: f64 = 0.3;

/// `course` with all that its last stages repeat as one stage.
pub(super) fn as_one_stage(runs: &[Run], course: Course) -> Course {
    match repeats_from(&course.stages) {
        Some(first) => course::joined(runs, &course, first + 1),
        None => course,
    }
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
}
