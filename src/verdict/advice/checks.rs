//! What to probe next: what may only look like a fault, the profile's checks, then common practice.

use super::COMMON;
use super::look_alikes::look_alikes;
use super::usual::usual;
use crate::verdict::seen::Seen;
use crate::verdict::{SectionProof, SectionState};

/// What to probe next, most telling first.
pub(in crate::verdict) fn next_checks(seen: &Seen, path: &[SectionProof]) -> Vec<String> {
    let own = own(seen);
    let suspect = suspects(path);
    let common = usual(seen, suspect.as_deref(), !own.is_empty());
    let marked = |texts: Vec<String>| texts.into_iter().map(|text| format!("{text}{COMMON}"));
    marked(look_alikes(seen)).chain(own).chain(marked(common)).collect()
}

/// The profile's checks for this verdict and this stage.
fn own(seen: &Seen) -> Vec<String> {
    let analysis = seen.analysis;
    let last = analysis.path.last().and_then(|step| step.state.stage());
    let stage = last.map(|stage| analysis.model.stages[stage].name.clone());
    let stage = stage.or_else(|| seen.tries().and_then(|tries| tries.ended_in));
    let fits = |wanted: &String| stage.as_ref() == Some(wanted);
    let of_profile = seen.profile.into_iter().flat_map(|profile| &profile.checks);
    let own = of_profile
        .filter(|check| check.class == seen.class().name() && check.stage.as_ref().is_none_or(fits));
    own.map(|check| check.probe.clone()).collect()
}

/// The suspect sections by name: `the suspect sections (main regulators; storage)`.
fn suspects(path: &[SectionProof]) -> Option<String> {
    let suspect = path.iter().filter(|proof| proof.state == SectionState::Suspect);
    let names: Vec<&str> = suspect.map(|proof| proof.section.as_str()).collect();
    let noun = if names.len() == 1 { "section" } else { "sections" };
    (!names.is_empty()).then(|| format!("the suspect {noun} ({})", names.join("; ")))
}
