//! Adding captures to a profile.

use super::evidence::{compute_envelopes, fed_volts, measured, source_log};
use super::{LearnError, Learning, Taken, refuse, take};
use crate::reference::capture::{Capture, Unfit};
use crate::reference::course;
use crate::reference::model::{Profile, SourceLog};

/// Adds captures to a profile: names, feed, power path and checks stay, envelopes are computed anew from all evidence.
///
/// # Errors
/// [`LearnError`] if the profile keeps no evidence, or no new capture fits.
pub fn update(
    profile: &Profile,
    captures: &[Capture],
    keep_all: bool,
    date: &str,
) -> Result<Learning, LearnError> {
    if profile.learned.logs.iter().all(|log| log.stages.is_empty()) {
        return Err(LearnError::NoEvidence);
    }
    let (taken, mut refused) = take(captures, &profile.board, keep_all);
    let mut updated = profile.clone();
    let mut added = 0;
    for one in taken {
        match fitting(profile, &updated.learned.logs, &one, keep_all) {
            Ok(log) => {
                updated.learned.logs.push(log);
                added += 1;
            }
            Err(reason) => refused.push((one.capture.name.clone(), reason)),
        }
    }
    if added == 0 && !captures.is_empty() {
        return Err(LearnError::AllUnfit { refused });
    }
    date.clone_into(&mut updated.learned.date);
    let notes = compute_envelopes(&mut updated);
    Ok(Learning { profile: updated, refused, notes })
}

/// What `one` measured of the profile's stages, if it goes through them as a good board does.
fn fitting(profile: &Profile, known: &[SourceLog], one: &Taken, keep_all: bool) -> Result<SourceLog, Unfit> {
    if known.iter().any(|log| log.sha256 == one.capture.sha256) {
        return Err(Unfit::Duplicate);
    }
    let feed = fed_volts(&one.capture.trace, &one.run).unwrap_or(profile.feed.nominal);
    let stages = profile.stages(feed);
    let (starts, _) = course::align(&one.run, &stages).ok_or(Unfit::TooFewPieces)?;
    let names: Vec<String> = profile.phases.iter().map(|phase| phase.name.clone()).collect();
    let log = source_log(one, &starts, &names, profile.phases[0].waits_for_person);
    let seen: Vec<_> = (0..names.len()).map(|k| measured(one, &starts, k, &names[k], true)).collect();
    let factors: Vec<f64> = profile.phases.iter().map(|phase| profile.power_factor(phase, feed)).collect();
    match refuse::from_profile(&profile.phases, &seen, &factors) {
        Some(reason) if !keep_all => Err(reason),
        _ => Ok(log),
    }
}
