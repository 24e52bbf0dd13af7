//! How far the board got, on what evidence, and what that proves.
//!
//! The result of an analysis is a [`Finding`]: one document that the picture, the ticket and other programs are made
//! from. [`diagnose`] makes it from a whole log, [`Live`] from one that still grows, by the same code.
//!
//! The way of an analysis: the readback is sized up (`readout`), the log is cut into runs, each with feed from
//! switch-on to switch-off (`run`), each run into pieces (`piece`): the fine segments, cut besides where a load goes up
//! and down and beside readings that average over an edge. A semi-Markov alignment (`align`) finds the best explanation
//! of the pieces for every end that the run may have come to, with the stages of the profile (`model`) or what is common
//! for the kind of board (`kind`; for a kind that the feed volts do not tell, in proportion to the limit that somebody
//! set). It is asked twice where the board draws more than its standby before it wakes, the second time with that taken
//! for a load beside the board (`engine`). Every end is read as one or more classes (`explain`), which compete as
//! probabilities (`posterior`).
//!
//! Every run has its own verdict; that of the finding is the last which carries one (`assemble`). The winner is turned
//! into numbers: phases (`phases`), starts and where each came to its end (`attempts`), departures from the envelopes
//! (`departures`, with the readings that show them, `places`; what presses did, `presses`; what a rest
//! pulses with, `pulses`); and into words: the facts that decided (`evidence`), what
//! to probe and what that proves (`advice`), what the capture cannot show (`limits`). All words are made from the same
//! view of one run (`seen`), so that text, picture and ticket agree.

mod advice;
mod align;
mod assemble;
mod attempts;
mod departures;
mod engine;
mod evidence;
mod explain;
mod feed;
mod finding;
mod kind;
mod limits;
mod live;
mod model;
mod period;
mod phases;
mod piece;
mod places;
mod posterior;
mod presses;
mod pulses;
mod readout;
mod run;
mod seen;
#[cfg(test)]
mod tests;

pub(crate) use advice::COMMON;
pub use advice::CheckGroup;
pub(crate) use attempts::{RISES_S, visible_below};
pub use attempts::{Spread, Tries};
pub use finding::{
    Attempt, Class, Departure, Direction, Fall, Finding, Gap, LogFacts, Phase, ProfileFacts, RunVerdict,
    RunnerUp, SectionProof, SectionState, Tool, Verdict,
};
pub(crate) use finding::{EVEN, is_toss_up};
pub use kind::Family;
pub use live::Live;
pub(crate) use phases::is_mostly_edges;

use crate::reference::Profile;
use crate::segment::{Settings, segment};
use crate::trace::Trace;
use readout::Readout;

/// Where a log and a profile came from; copied into the finding.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Sources {
    /// Path of the log as given; `-` for standard input.
    pub log_path: String,
    /// SHA-256 of the log, in hexadecimal.
    pub log_sha256: String,
    /// Path of the profile.
    pub profile_path: String,
    /// SHA-256 of the profile, in hexadecimal.
    pub profile_sha256: String,
}

/// Says how far the board of `trace` got, compared with `profile` if there is one.
///
/// A log that cannot carry a verdict is a finding too: its class is [`Class::Inconclusive`], with the reason.
#[must_use]
pub fn diagnose(trace: &Trace, profile: Option<&Profile>, sources: &Sources) -> Finding {
    let (segmentation, timing) =
        rayon::join(|| segment(trace, &Settings::default()), || Readout::timing(trace));
    let Ok(segmentation) = segmentation else {
        return assemble::empty(trace, profile, sources);
    };
    let readout = Readout::of(trace, timing, &segmentation);
    let analyses: Vec<engine::Analysis> = run::runs(trace, &readout)
        .into_iter()
        .map(|run| engine::analyse(trace, &segmentation, &readout, run, profile))
        .collect();
    assemble::finding(trace, &readout, &analyses, profile, sources)
}
