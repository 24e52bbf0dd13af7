//! What the run proves of the board's sections, what to probe next, and what to mind.

mod cautions;
mod checks;
mod look_alikes;
mod path;
mod usual;

pub(super) use cautions::cautions;
pub(super) use checks::next_checks;
pub(super) use path::power_path;

use super::engine::Analysis;

/// Marks advice that comes with the program and not from the board's profile.
const COMMON: &str = " (common practice)";

/// The furthest stage that was reached.
pub(super) fn reached(analysis: &Analysis) -> Option<usize> {
    if !analysis.model.of_this_board {
        return None;
    }
    analysis.path.iter().filter_map(|step| step.state.stage()).max()
}
