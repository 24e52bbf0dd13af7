//! Phase quantities outside their envelopes, shown in amps at the capture's feed volts.

use super::align::{State, Step};
use super::engine::Analysis;
use super::readout::Readout;
use super::{Class, Departure, Direction};
use crate::reference::{Envelope, PhaseReference, Profile, Quantity};
use crate::units::{Seconds, Volts};

/// Gain error that two supplies may differ by: data sheets of bench supplies give 0.1 to 0.5 % of reading each (common
/// practice, no source).
pub(super) const GAIN_ERROR: f64 = 0.01;

/// A stay shorter than this many updates is not measured: averaging over its edges decides what it shows.
const LEAST_UPDATES: f64 = 4.0;

/// The departures of one run, first in time first.
pub(super) fn departures(analysis: &Analysis, readout: &Readout, profile: &Profile) -> Vec<Departure> {
    if matches!(analysis.class(), Class::NoDraw | Class::HardShort | Class::PartialShort) {
        // The verdict itself says that no phase is what it should be.
        return Vec::new();
    }
    let mut found: Vec<Departure> = Vec::new();
    for step in &analysis.path {
        let Some(phase) = reference(analysis, step, profile) else { continue };
        let departures = [mean(analysis, readout, profile, step, phase), duration(readout, step, phase)];
        for departure in departures.into_iter().flatten() {
            let known = found.iter().any(|d| d.phase == departure.phase && d.quantity == departure.quantity);
            if !known {
                found.push(departure);
            }
        }
    }
    found.sort_by(|a, b| a.starts_s.value().total_cmp(&b.starts_s.value()));
    found
}

/// The stage of the profile that a stay is to be compared with.
fn reference<'a>(analysis: &Analysis, step: &Step, profile: &'a Profile) -> Option<&'a PhaseReference> {
    let name = match step.state {
        // After an attempt a board may rest at less than its standby.
        State::Low if step.rested => return None,
        State::Low | State::Excess => &analysis.model.standby.name,
        State::Done(stage) | State::Held(stage) => &analysis.model.stages[stage].name,
        _ => return None,
    };
    profile.phases.iter().find(|phase| phase.name == *name)
}

fn mean(
    analysis: &Analysis,
    readout: &Readout,
    profile: &Profile,
    step: &Step,
    phase: &PhaseReference,
) -> Option<Departure> {
    let stretch = &step.stretch;
    let updates = stretch.duration() / readout.update_s();
    // A stage that was broken off did not show its mean.
    let broken_off = matches!(step.state, State::Held(stage) if stage != analysis.model.last());
    if updates < LEAST_UPDATES || broken_off {
        return None;
    }
    let volts = analysis.run.set_v;
    let factor = profile.power_factor(phase, Volts::new(volts).ok()?) / volts;
    // A leak stays when the board wakes: it is one departure, that of standby, and not one of every stage.
    let leak = if step.state.stage().is_some() { analysis.leak_w } else { 0.0 };
    let measured = (stretch.watts - leak) / volts;
    let Envelope { low, high, .. } = phase.mean_power;
    let margin = readout.uncertainty_a(updates) * 2.0 + readout.step_a / 4.0;
    let (low, high) = (low * factor, high * factor);
    let out = beyond(measured, low, high, margin + GAIN_ERROR * measured.abs())?;
    let direction = if out { Direction::Above } else { Direction::Below };
    departure(step, phase, Quantity::MeanPower, direction, [measured, low, high], "A")
}

fn duration(readout: &Readout, step: &Step, phase: &PhaseReference) -> Option<Departure> {
    let State::Done(_) = step.state else { return None };
    let Envelope { low, high, .. } = phase.duration?;
    let measured = step.stretch.duration();
    let out = beyond(measured, low, high, 2.0 * readout.update_s())?;
    let direction = if out { Direction::Longer } else { Direction::Shorter };
    departure(step, phase, Quantity::Duration, direction, [measured, low, high], "s")
}

/// Whether `measured` is beyond `high` (true) or `low` (false) by more than `margin`; `None` within.
fn beyond(measured: f64, low: f64, high: f64, margin: f64) -> Option<bool> {
    match measured {
        m if m - margin > high => Some(true),
        m if m + margin < low => Some(false),
        _ => None,
    }
}

fn departure(
    step: &Step,
    phase: &PhaseReference,
    quantity: Quantity,
    direction: Direction,
    [measured, low, high]: [f64; 3],
    unit: &str,
) -> Option<Departure> {
    Some(Departure {
        phase: phase.name.clone(),
        quantity: quantity.name().into(),
        direction,
        measured,
        low,
        high,
        unit: unit.into(),
        starts_s: Seconds::new(step.stretch.start_s).ok()?,
    })
}
