//! What the run proves of the board's sections, what to probe next, and what to mind.

mod asleep;
mod cautions;
mod checks;
mod groups;
mod heat;
mod look_alikes;
mod path;
mod shorts;
mod stalls;
mod toss_up;
mod usual;
mod words;

pub(super) use asleep::standby_surplus;
pub(super) use cautions::cautions;
pub(super) use checks::next_checks;
pub use groups::CheckGroup;
pub(super) use look_alikes::limit_may_stop;
pub(super) use path::power_path;
pub(super) use usual::loaded_from_switch_on;

use super::Attempt;
use super::engine::Analysis;
use super::seen::Seen;

/// Marks advice that comes with the program and not from the board's profile.
pub(crate) const COMMON: &str = " (common practice)";

/// The furthest stage that was reached, by the alignment or by the level at which a start ended; none where tries leave
/// open which it was, and the one before where most end at the step into it.
pub(super) fn reached(seen: &Seen) -> Option<usize> {
    if seen.ends.is_some_and(|ends| !ends.told()) {
        return None;
    }
    let stages = &seen.analysis.model.stages;
    let ended_in = seen.attempts.iter().filter_map(|attempt| attempt.ended_in.as_ref());
    let ended = ended_in.filter_map(|name| stages.iter().position(|stage| stage.name == *name)).max();
    let furthest = aligned(seen.analysis).max(ended)?;
    let ends_before = seen.ends.filter(|ends| ends.into == Some(furthest) && few_end_in(seen, furthest));
    Some(ends_before.map_or(furthest, |ends| ends.last))
}

/// Whether less than half of the starts that were given up show that stage, and none that is still on.
pub(super) fn few_end_in(seen: &Seen, stage: usize) -> bool {
    let name = &seen.analysis.model.stages[stage].name;
    let here = |attempt: &&Attempt| attempt.ended_in.as_ref() == Some(name);
    let given_up = seen.attempts.iter().filter(|attempt| attempt.given_up);
    let (all, shown) = (given_up.clone().count(), given_up.filter(here).count());
    let on = seen.attempts.iter().filter(|attempt| !attempt.given_up).any(|attempt| here(&attempt));
    !on && 2 * shown < all
}

/// The furthest stage of the alignment.
pub(super) fn aligned(analysis: &Analysis) -> Option<usize> {
    if !analysis.model.of_this_board {
        return None;
    }
    analysis.path.iter().filter_map(|step| step.state.stage()).max()
}
