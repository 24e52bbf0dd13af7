//! Whether what was learned from is sound by the program's own verdict: a log of a sick board makes a profile that clears
//! the next sick one.

use crate::reference::{Capture, Learning, Profile};
use crate::verdict::{Class, Sources, diagnose};
use rayon::prelude::*;

/// A course that no more boards than this show may be that of a sick one: nothing outvotes it, and against itself it
/// reads as sound.
const FEW_BOARDS: usize = 2;

/// A question for each capture that was learned from and does not read as one of a board that came up.
pub(super) fn doubts(captures: &[Capture], learning: &Learning) -> Vec<String> {
    let logs = &learning.profile.learned.logs;
    let taken = captures.len().saturating_sub(learning.refused.len());
    // What was taken now comes after what the profile had.
    let taken = &logs[logs.len().saturating_sub(taken)..];
    taken
        .par_iter()
        .filter_map(|log| captures.iter().find(|capture| capture.sha256 == log.sha256))
        .filter_map(|capture| doubt(capture, &learning.profile))
        .collect()
}

fn doubt(capture: &Capture, profile: &Profile) -> Option<String> {
    let class = |profile| diagnose(&capture.trace, profile, &Sources::default()).verdict.class;
    let name = &capture.name;
    if profile.learned.boards <= FEW_BOARDS {
        let alone = class(None);
        if matches!(alone, Class::Cycling | Class::LatchOff) {
            return Some(format!("{name} reads as {alone}: is that board sound?"));
        }
    }
    match (class(Some(profile)), profile.learned.captures) {
        (Class::FullBoot, _) => None,
        (class, 1) => Some(format!("{name} reads as {class} against itself: is that board sound?")),
        (class @ Class::Inconclusive, _) => {
            Some(format!("{name} reads as {class} against the others: do they belong together?"))
        }
        (class, _) => Some(format!("{name} reads as {class} against the others: is that board sound?")),
    }
}
