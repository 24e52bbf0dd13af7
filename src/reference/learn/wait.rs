//! A wait for a person is one stage: what comes before it, as the feed comes up and settles, is part of it.

use super::stages::{BUTTON_NEAR_S, STANDBY_SHARE};
use crate::reference::capture::Run;
use crate::reference::course::{self, Course};

/// `course` without a first stage of its own before the one in which the button is pressed: where a board draws so little that
/// the last of its inrush stands out of it, the two are fitted apart.
pub(super) fn as_one_stage(runs: &[Run], course: Course) -> Course {
    let undivided = || course::trained(runs, course.stages[1..].to_vec());
    if is_pressed_in_the_second(runs, &course) { undivided().unwrap_or(course) } else { course }
}

/// Whether most of the presses come in the second stage, well after its start, and that is low enough for a standby.
fn is_pressed_in_the_second(runs: &[Run], course: &Course) -> bool {
    let [_, second, .., last] = course.stages.as_slice() else { return false };
    let within = |(run, starts): (&Run, &Vec<usize>)| {
        let (at, from) = (run.button?, run.pieces.get(*starts.get(1)?)?.from);
        let to = run.pieces.get(*starts.get(2)?)?.from;
        Some((from + BUTTON_NEAR_S..to).contains(&at))
    };
    let presses: Vec<bool> = runs.iter().zip(&course.starts).filter_map(within).collect();
    let most = 2 * presses.iter().filter(|within| **within).count() > presses.len();
    most && second.level - last.level < STANDBY_SHARE.ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is left of an inrush, a standby, rails and a running level, with a press so many seconds after switch-on.
    fn run(pressed_s: Option<f64>) -> Run {
        let level = |watts: f64, halves: usize| vec![(0.5, watts.ln()); halves];
        let pieces = [level(0.3, 1), level(0.05, 12), level(1.0, 4), level(5.0, 20)].concat();
        Run { button: pressed_s, ..Run::of_pieces(&pieces) }
    }

    fn stages_of(pressed_s: Option<f64>) -> usize {
        let runs = vec![run(pressed_s); 4];
        let apart = course::fit_count(&runs, 4).unwrap();
        as_one_stage(&runs, apart).stages.len()
    }

    #[test]
    fn what_comes_before_the_stage_in_which_the_button_is_pressed_is_part_of_it() {
        assert_eq!(stages_of(Some(6.2)), 3, "the press ends the standby");
        assert_eq!(stages_of(Some(0.6)), 4, "the press begins what comes after it");
        assert_eq!(stages_of(None), 4, "without marks nothing tells");
    }
}
