//! More names than the captures show stages, of a board whose standby they do show.

use super::repeats;
use crate::reference::capture::Run;
use crate::reference::course::{self, Course};

/// The course of `count` stages that begins with the whole standby of `found`, a course of fewer.
///
/// A standby is the longest and calmest stage, in which a step of the readback looks most like a stage; those that are close
/// together are after it.
pub(super) fn undivided(runs: &[Run], found: &Course, count: usize) -> Option<Course> {
    let after: Vec<Run> = runs
        .iter()
        .zip(&found.starts)
        .map(|(run, starts)| from_piece(run, *starts.get(1)?))
        .collect::<Option<_>>()?;
    let course = repeats::fit_count(&after, count.checked_sub(1)?)?;
    let stages = found.stages.first().copied().into_iter().chain(course.stages).collect();
    course::trained(runs, stages)
}

/// `run` from its piece number `first` on; `None` if that is all of it.
fn from_piece(run: &Run, first: usize) -> Option<Run> {
    let pieces = run.pieces.get(first..).filter(|pieces| first > 0 && !pieces.is_empty())?.to_vec();
    Some(Run { pieces, ..run.clone() })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A standby with a step of the readback in it, rails that do not differ by more than that, and a running level.
    fn run(seconds: usize) -> Run {
        let level = |watts: f64, halves: usize| vec![(0.5, watts.ln()); halves];
        let standby = [level(0.1, seconds), level(0.108, 2 * seconds)].concat();
        Run::of_pieces(&[standby, level(1.0, 2), level(1.05, 3), level(5.0, 20)].concat())
    }

    #[test]
    fn a_step_within_standby_is_no_stage_where_a_name_is_left_over() {
        let runs: Vec<Run> = [9, 10, 11, 12].map(run).to_vec();
        let found = course::fit_count(&runs, 3).unwrap();
        let course = undivided(&runs, &found, 4).unwrap();
        let levels: Vec<f64> = course.stages.iter().map(|stage| stage.level.exp()).collect();
        assert!(levels[0] < 0.12 && levels[1] > 0.9, "{levels:?}");
        assert_eq!(levels.len(), 4);
    }

    #[test]
    fn a_course_of_one_stage_has_no_standby_to_keep() {
        let runs = vec![run(9)];
        let found = course::fit_count(&runs, 1).unwrap();
        assert!(undivided(&runs, &found, 2).is_none());
    }
}
