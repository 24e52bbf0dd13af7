//! Phase quantities outside their envelopes, shown in amps at the capture's feed volts.
//!
//! One cause is told once: a stage that draws too much has too high a peak and takes too much energy as well, so of a
//! stay's quantities its mean is told before its energy, peak and activity, and energy not where its factors already
//! say it. A boundary between two stages that falls elsewhere than usual makes one longer and the next shorter: that is
//! no departure if both together last as long as usual.

use super::attempts::RISES_S;
use super::engine::Analysis;
use super::piece::RAMP_S;
use super::places::{Place, places};
use super::readout::Readout;
use super::{Class, Departure, Direction};
use crate::reference::{
    Envelope, Outside, PhaseReference, Profile, Quantity, Readback, StageMeasure, measure,
};
use crate::stats::extent;
use crate::trace::Trace;
use crate::units::{Seconds, Volts};

/// What the comparison with good boards found, each first in time first.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Compared {
    /// What is outside its envelope.
    pub outside: Vec<Departure>,
    /// Means and lengths outside the band of their stage, which is what a picture shows, and inside what all stages
    /// together allow.
    pub just_inside: Vec<Departure>,
}

/// The departures of one run.
pub(super) fn departures(
    trace: &Trace,
    analysis: &Analysis,
    readout: &Readout,
    profile: &Profile,
) -> Compared {
    let class = analysis.class();
    if matches!(class, Class::NoDraw | Class::HardShort | Class::PartialShort | Class::Inconclusive) {
        // The verdict itself says that no phase is what it should be, or that none can be known.
        return Compared::default();
    }
    let steady: Vec<_> = analysis.pieces.iter().map(|piece| piece.samples.clone()).collect();
    let readback = Readback::of(trace, readout.step_a, &steady);
    let run = Comparison { trace, analysis, readback, profile };
    let stays = run.stays();
    let all = stays.iter().enumerate().flat_map(|(index, stay)| of_stay(&stays, index, stay));
    let found = first_of_each(run.of_most_tries(&stays, all.collect()));
    let just_inside = run.all_just_inside(&stays, &found);
    let (mut found, mut just_inside) = (found, run.of_most_tries(&stays, just_inside));
    found.extend(just_inside.extract_if(.., |near| run.is_the_verdict(near)));
    found.sort_by(|a, b| a.starts_s.value().total_cmp(&b.starts_s.value()));
    Compared { just_inside, outside: found }
}

/// The first of each kind.
fn first_of_each(all: Vec<Departure>) -> Vec<Departure> {
    let mut first: Vec<Departure> = Vec::new();
    for departure in all {
        let known = first.iter().any(|d| d.phase == departure.phase && d.quantity == departure.quantity);
        if !known {
            first.push(departure);
        }
    }
    first
}

impl Departure {
    /// Whether two say the same of a stage.
    fn is_like(&self, other: &Self) -> bool {
        (&self.phase, &self.quantity, self.direction) == (&other.phase, &other.quantity, other.direction)
    }
}

/// A stay in a stage of the profile and what is outside its envelopes.
struct Stay<'a> {
    start_s: f64,
    phase: &'a PhaseReference,
    measured: StageMeasure,
    outside: Vec<Outside>,
    /// Whether there is a level in it that a mean can be of.
    has_level: bool,
}

struct Comparison<'a> {
    trace: &'a Trace,
    analysis: &'a Analysis,
    readback: Readback,
    profile: &'a Profile,
}

impl<'a> Comparison<'a> {
    fn stays(&self) -> Vec<Stay<'a>> {
        let places = places(self.trace, self.analysis, self.profile, &self.readback);
        places.iter().filter_map(|place| self.stay(place)).collect()
    }

    fn stay(&self, place: &Place) -> Option<Stay<'a>> {
        let phase = self.profile.phases.get(place.phase)?;
        let measured = self.measured(place, phase)?;
        let mut outside = self.profile.outside(phase, &measured, Volts::new(measured.volts).ok()?);
        // How lively a board is that did not boot says nothing of the stage: it may wait, or try in vain.
        let lively = |found: &Outside| matches!(found.quantity, Quantity::PeakPower | Quantity::Activity);
        outside.retain(|found| self.analysis.class() == Class::FullBoot || !lively(found));
        // What moves in a short stage is its ramp, and a supply that averages over it shows less of it.
        let ramp = phase.duration.as_ref().is_some_and(|duration| duration.typical < RAMP_S);
        outside.retain(|found| !ramp || found.quantity != Quantity::Activity);
        // What charges the board's capacitors at switch-on is the highest reading of the first stage.
        outside.retain(|found| place.phase > 0 || found.quantity != Quantity::PeakPower);
        outside.retain(|found| !self.stands_by() || found.quantity != Quantity::Duration);
        let end_s = self.trace.time().get(place.samples.end.checked_sub(1)?)?;
        // What ends while the feed still rises is no stage that a board left.
        let rises = place.phase == 0 && self.tries() && *end_s < self.analysis.run.start_s + RISES_S;
        outside.retain(|found| !rises || found.quantity != Quantity::Duration);
        let has_level = !self.tries() || has_a_level(self.trace.amps().get(place.samples.clone())?);
        outside.retain(|found| has_level || found.quantity == Quantity::Duration);
        let start_s = *self.trace.time().get(place.samples.start)?;
        Some(Stay { start_s, phase, measured, outside, has_level })
    }

    /// That a board stands by too long is the verdict.
    fn stands_by(&self) -> bool {
        matches!(self.analysis.class(), Class::StandbyOnly | Class::ExcessStandby)
    }

    /// Whether the verdict is of a board that tries and gives up: how far it gets is what is wrong with it.
    fn tries(&self) -> bool {
        matches!(self.analysis.class(), Class::LatchOff | Class::Cycling | Class::FeedLimited)
    }

    /// Those of `all` that most stays in their stage show, of a board that tries again and again: a try whose start or end the
    /// readings do not tell apart shows the mean of two stages.
    fn of_most_tries(&self, stays: &[Stay], mut all: Vec<Departure>) -> Vec<Departure> {
        if !self.tries() {
            return all;
        }
        let counts = all.clone();
        all.retain(|departure| {
            let there = stays.iter().filter(|stay| stay.phase.name == departure.phase).count();
            let show = counts.iter().filter(|other| departure.is_like(other)).count();
            2 * show > there
        });
        all
    }

    /// What the picture shows outside its band, and is no departure, of stages that are not among `found`.
    fn all_just_inside(&self, stays: &[Stay], found: &[Departure]) -> Vec<Departure> {
        let told = |near: &Departure| found.iter().any(|departure| departure.phase == near.phase);
        let of_stay = |(index, stay): (usize, &Stay)| {
            let lasts = lasts_just_inside(stay).filter(|near| !is_evened_out(stays, index, near));
            let lasts = lasts.filter(|_| !self.stands_by());
            [self.draws_just_inside(stay), lasts.and_then(|near| departure(stay, &near))]
        };
        let near = stays.iter().enumerate().flat_map(of_stay).flatten();
        near.filter(|near| !told(near)).collect()
    }

    /// Whether the verdict is about just this: it looks at the standby alone, so that what all stages together allow is
    /// not to be given as well.
    fn is_the_verdict(&self, near: &Departure) -> bool {
        self.analysis.class() == Class::ExcessStandby
            && near.phase == self.analysis.model.standby.name
            && near.direction == Direction::Above
    }

    fn draws_just_inside(&self, stay: &Stay) -> Option<Departure> {
        let volts = Volts::new(stay.measured.volts).ok()?;
        let near = self.profile.just_inside(stay.phase, &stay.measured, volts)?;
        // What a load beside the board adds is not the stage's.
        let leaks = self.analysis.leak_w > 0.0;
        let told = stay.outside.iter().any(|outside| outside.quantity == Quantity::MeanPower);
        if leaks || told || !stay.has_level { None } else { departure(stay, &near) }
    }

    fn measured(&self, place: &Place, phase: &PhaseReference) -> Option<StageMeasure> {
        let ends = place.ends && phase.duration.is_some();
        let found = measure(self.trace, place.samples.clone(), &phase.name, ends, &self.readback)?;
        // A leak stays when the board wakes: it is one departure, that of standby, and not one of every stage.
        let leak = if phase.name == self.analysis.model.standby.name { 0.0 } else { self.analysis.leak_w };
        let found = without(leak, found);
        // What charges the board's capacitors at switch-on is in the first stage's energy, as much of it as the supply
        // caught.
        Some(StageMeasure { energy: found.energy.filter(|_| place.phase > 0), ..found })
    }
}

/// Whether so few `amps` are no ramp, of which a mean is what its first and last reading happen to be.
fn has_a_level(amps: &[f64]) -> bool {
    let Some((low, high)) = extent(amps) else { return false };
    amps.len() >= MEAN_OF || high - low <= NO_LEVEL * f64::midpoint(low, high)
}

/// From here on a reading more or less does not move a mean by much (by judgement).
pub(super) const MEAN_OF: usize = 10;

/// Share of the mean that readings differ by, from which there is no level in them (by judgement).
pub(super) const NO_LEVEL: f64 = 0.5;

/// The departures of one stay: at most one of its length, and one of what it draws.
fn of_stay(stays: &[Stay], index: usize, stay: &Stay) -> Vec<Departure> {
    let find = |quantity| stay.outside.iter().find(|outside| outside.quantity == quantity);
    let length = find(Quantity::Duration);
    let told_by_length = |outside: &&Outside| length.is_none() || outside.quantity != Quantity::Energy;
    let most_telling = || {
        let others = stay.outside.iter().filter(|outside| outside.quantity != Quantity::Duration);
        others.filter(told_by_length).max_by(|a, b| a.excess.total_cmp(&b.excess))
    };
    let draw = find(Quantity::MeanPower).or_else(most_telling);
    let length = length.filter(|outside| !is_a_boundary_moved(stays, index, outside));
    [draw, length].into_iter().flatten().filter_map(|outside| departure(stay, outside)).collect()
}

/// The length of a stay, if that is outside its own envelope for certain; it is no departure.
fn lasts_just_inside(stay: &Stay) -> Option<Outside> {
    /// Each edge may be off by one renewal of the readings.
    const EDGES: f64 = 2.0;
    let (measured, envelope) = (stay.measured.duration?, stay.phase.envelope(Quantity::Duration)?);
    let room = EDGES * stay.measured.update?;
    let above = measured > envelope.typical;
    let off = if above { measured - room > envelope.high } else { measured + room < envelope.low };
    let told = stay.outside.iter().any(|outside| outside.quantity == Quantity::Duration);
    let near = Outside { quantity: Quantity::Duration, above, measured, envelope, excess: 1.0 };
    (off && !told).then_some(near)
}

/// Whether a neighbouring stay is off the other way, by however little, and both together last as long as good boards do.
fn is_evened_out(stays: &[Stay], index: usize, near: &Outside) -> bool {
    neighbours(stays, index).any(|other| {
        let length = other.measured.duration.zip(other.phase.envelope(Quantity::Duration));
        length.is_some_and(|(theirs, envelope)| {
            let opposite = (theirs > envelope.typical) != near.above;
            opposite && both_as_usual(near, theirs, envelope)
        })
    })
}

/// The stays before and after.
fn neighbours<'s, 'p>(stays: &'s [Stay<'p>], index: usize) -> impl Iterator<Item = &'s Stay<'p>> {
    [index.checked_sub(1), Some(index + 1)].into_iter().flatten().filter_map(|other| stays.get(other))
}

/// Whether a length and that of a neighbour come to what good boards take for both.
fn both_as_usual(one: &Outside, theirs: f64, envelope: Envelope) -> bool {
    let low = one.envelope.low + envelope.low;
    let high = one.envelope.high + envelope.high;
    (low..=high).contains(&(one.measured + theirs))
}

/// Whether a neighbouring stay is off the other way, and both together last as long as good boards do.
fn is_a_boundary_moved(stays: &[Stay], index: usize, outside: &Outside) -> bool {
    neighbours(stays, index).any(|other| {
        let opposite =
            |found: &&Outside| found.quantity == Quantity::Duration && found.above != outside.above;
        let theirs = other.outside.iter().find(opposite);
        theirs.is_some_and(|theirs| both_as_usual(outside, theirs.measured, theirs.envelope))
    })
}

/// The measure with a steady load beside the board taken off.
fn without(leak: f64, found: StageMeasure) -> StageMeasure {
    StageMeasure {
        mean_power: (found.mean_power - leak).max(0.0),
        peak_power: (found.peak_power - leak).max(0.0),
        energy: found.energy.zip(found.duration).map(|(energy, length)| (energy - leak * length).max(0.0)),
        ..found
    }
}

/// The departure in the user's units: what is drawn in amps at the capture's volts.
fn departure(stay: &Stay, outside: &Outside) -> Option<Departure> {
    let amps = 1.0 / stay.measured.volts.max(f64::MIN_POSITIVE);
    let (unit, factor, direction) = match (outside.quantity, outside.above) {
        (Quantity::Duration, true) => ("s", 1.0, Direction::Longer),
        (Quantity::Duration, false) => ("s", 1.0, Direction::Shorter),
        (Quantity::Energy, true) => ("J", 1.0, Direction::Above),
        (Quantity::Energy, false) => ("J", 1.0, Direction::Below),
        (_, true) => ("A", amps, Direction::Above),
        (_, false) => ("A", amps, Direction::Below),
    };
    Some(Departure {
        phase: stay.phase.name.clone(),
        quantity: outside.quantity.name().into(),
        direction,
        measured: outside.measured * factor,
        low: outside.envelope.low * factor,
        high: outside.envelope.high * factor,
        unit: unit.into(),
        starts_s: Seconds::new(stay.start_s).ok()?,
    })
}
