//! What the run proves of the board's sections, what to probe next, and what to mind.

mod cautions;
mod checks;
mod groups;
mod look_alikes;
mod path;
mod shorts;
mod stalls;
mod usual;
mod words;

pub(super) use cautions::cautions;
pub(super) use checks::next_checks;
pub use groups::CheckGroup;
pub(super) use path::power_path;

use super::engine::Analysis;
use super::seen::Seen;

/// Marks advice that comes with the program and not from the board's profile.
pub(crate) const COMMON: &str = " (common practice)";

/// The furthest stage that was reached, by the alignment or by the level at which a start ended; none where tries leave
/// open which it was.
pub(super) fn reached(seen: &Seen) -> Option<usize> {
    if seen.ends.is_some_and(|ends| !ends.told()) {
        return None;
    }
    let stages = &seen.analysis.model.stages;
    let ended_in = seen.attempts.iter().filter_map(|attempt| attempt.ended_in.as_ref());
    let ended = ended_in.filter_map(|name| stages.iter().position(|stage| stage.name == *name)).max();
    aligned(seen.analysis).max(ended)
}

/// The furthest stage of the alignment.
pub(super) fn aligned(analysis: &Analysis) -> Option<usize> {
    if !analysis.model.of_this_board {
        return None;
    }
    analysis.path.iter().filter_map(|step| step.state.stage()).max()
}
