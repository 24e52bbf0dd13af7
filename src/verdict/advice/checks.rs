//! What to probe next: the profile's checks, what may only look like a fault, then what is usual at repair benches.

use super::COMMON;
use super::heat::{WARMS_W, shows};
use super::look_alikes::{look_alikes, pack_lines, press_at_first, press_at_last};
use super::path::is_for_the_eye;
use super::toss_up::tells_apart;
use super::usual::usual;
use crate::reference::Quantity;
use crate::units::with_and;
use crate::verdict::evidence::spike;
use crate::verdict::presses::switching_off;
use crate::verdict::seen::Seen;
use crate::verdict::{Class, Departure, Direction, SectionProof, SectionState};

/// What to probe next, most telling first.
pub(in crate::verdict) fn next_checks(seen: &Seen, path: &[SectionProof]) -> Vec<String> {
    let own = own(seen);
    let suspect = suspects(seen, path);
    let mut common = usual(seen, suspect.as_deref(), !own.is_empty());
    common.splice(common.len().min(1)..common.len().min(1), by_its_heat(seen).or_else(|| by_its_spike(seen)));
    let eye = by_eye(seen, path);
    let pack = if own.iter().any(|own| names_the_pack(own)) { Vec::new() } else { pack_lines(seen) };
    let marked = |texts: Vec<String>| texts.into_iter().map(|text| format!("{text}{COMMON}"));
    let last = marked(press_at_last(seen).into_iter().chain(eye).chain(pack).collect());
    let first =
        marked([press_once(seen), press_at_first(seen), tells_apart(seen)].into_iter().flatten().collect());
    first.into_iter().chain(own).chain(marked(look_alikes(seen))).chain(marked(common)).chain(last).collect()
}

/// What a board that runs draws beyond the usual there, in watts, where that is a departure and enough to be felt.
pub(super) fn running_surplus(seen: &Seen) -> Option<f64> {
    let running = seen.analysis.model.stages.last().filter(|_| seen.class() == Class::FullBoot)?;
    let more = |departure: &&Departure| {
        let drawn =
            departure.quantity == Quantity::MeanPower.name() && departure.direction == Direction::Above;
        drawn && departure.phase == running.name
    };
    seen.departures.iter().find(more)?;
    Some(seen.last_level()?.watts - running.watts).filter(|surplus| *surplus >= WARMS_W)
}

/// Where what a board that runs draws too much turns to heat.
fn by_its_heat(seen: &Seen) -> Option<String> {
    let surplus = running_surplus(seen)?;
    let watts = format!("a surplus of {}", seen.watts(surplus, seen.analysis.run.set_v));
    Some(format!(
        "thermal camera as it runs, beside a good board: {} (a fan or drive that turns draws it too)",
        shows(&watts, surplus)
    ))
}

/// What draws more for a moment than good boards ever do.
fn by_its_spike(seen: &Seen) -> Option<String> {
    let spike = spike(seen)?;
    let (amps, at) = (seen.amps(spike.amps), seen.time(spike.at_s));
    Some(format!(
        "repeat, and see whether the {amps} at {at} comes again, and what starts then (drive, fan, radio)"
    ))
}

/// Before a board is suspected that a press may have switched off.
fn press_once(seen: &Seen) -> Option<String> {
    let off = switching_off(seen);
    let times = with_and(off.iter().map(|off| seen.mark(off.press_s)));
    let noun = if off.len() == 1 { "the press" } else { "the presses" };
    (!off.is_empty()).then(|| {
        format!("repeat, and do not press once it is on: {noun} at {times} may have switched it off")
    })
}

/// Whether a check of the profile already names the lines of a pack.
fn names_the_pack(check: &str) -> bool {
    let check = check.to_lowercase();
    ["pack", "identification", "thermistor"].iter().any(|word| check.contains(word))
}

/// What amps do not tell of a board that boots, a look does.
fn by_eye(seen: &Seen, path: &[SectionProof]) -> Option<String> {
    let dark = |proof: &&SectionProof| proof.state == SectionState::Unknown && is_for_the_eye(&proof.section);
    let proof = path.iter().find(dark).filter(|_| seen.class() == Class::FullBoot)?;
    Some(format!(
        "look whether image and light show ({}), and mark it in the log: amps do not tell",
        proof.section
    ))
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

/// Words for sections that power only goes through: they have no enable, reset or power-good.
const GOES_THROUGH: [&str; 7] = ["terminal", "fuse", "connector", "contact", "inlet", "protection", "socket"];

/// The suspect sections by name: `the suspect sections (main regulators; storage)`; where the checks ask for signals,
/// only those that have some.
fn suspects(seen: &Seen, path: &[SectionProof]) -> Option<String> {
    let signals =
        matches!(seen.class(), Class::StandbyOnly | Class::LatchOff | Class::Cycling | Class::Stalled);
    let goes_through = |section: &str| GOES_THROUGH.iter().any(|word| section.to_lowercase().contains(word));
    let asked = |proof: &&SectionProof| !(signals && goes_through(&proof.section));
    let suspect = path.iter().filter(|proof| proof.state == SectionState::Suspect).filter(asked);
    let names: Vec<&str> = suspect.map(|proof| proof.section.as_str()).collect();
    let noun = if names.len() == 1 { "section" } else { "sections" };
    let shown = match names.as_slice() {
        [first, second, _, _, ..] => format!("{first}; {second}; and {} more", names.len() - 2),
        _ => names.join("; "),
    };
    (!names.is_empty()).then(|| format!("the suspect {noun} ({shown})"))
}
