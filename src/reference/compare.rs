//! What one capture measured of a stage against the envelopes of good boards.
//!
//! **Many envelopes are looked at.** Five stages have about 25, and one board in twenty is outside any one of them, so
//! most sound boards would be outside something. A quantity is called outside only where it is beyond the envelope of
//! the content that all envelopes of the board need together: with m envelopes each of content 1 − 0.05/m, 95 % of good
//! boards keep within all of them (Bonferroni's inequality; for simultaneous tolerance intervals Krishnamoorthy & Mathew,
//! *Statistical Tolerance Regions* (2009), chapter 9, from memory). At the same confidence a tolerance factor grows with
//! the content as the normal quantile does, to within a per cent (Howe, JASA 64 (1969) 610: k = z·√((1 + 1/n)·ν/χ²), the
//! content being in z alone), so the envelope is stretched in its logarithm by the ratio of the quantiles. The envelopes do not
//! share what is outside evenly: those in which a fault shows first are given more of it (Bonferroni's inequality holds for
//! any weights; Rosenthal & Rubin, Psychological Bulletin 94 (1983) 540, from memory).
//!
//! **A supply sees what it can.** What it leaves open, and what a feed away from that of the reference does where the law
//! between volts and power is not known, is given in favour of the board. A slow supply averages peaks away and a short
//! look misses them: a peak or an activity is too high only if the capture could see no more of it than the reference,
//! and too low only if it could see no less.

use super::envelope::{CONTENT, EXPANSION};
use super::model::{Envelope, PhaseReference, Profile, Quantity, StageMeasure};
use crate::stats::robust;
use crate::stats::tolerance::normal_quantile;
use crate::units::Volts;

/// A level needs this many renewals: one at each edge holds both sides.
const LEVEL_UPDATES: f64 = 5.0;
/// A peak or an activity needs this many.
const LIVELY_UPDATES: f64 = 8.0;
/// Two rates of renewal, or two lengths of a look, within this factor see the same.
const ALIKE: f64 = 1.25;
/// Gain error that two supplies may differ by: data sheets of bench supplies give 0.1 to 0.5 % of reading each (common
/// practice, no source).
pub const GAIN_ERROR: f64 = 0.01;

/// A quantity outside its envelope; SI units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outside {
    /// The quantity.
    pub quantity: Quantity,
    /// Above the envelope, else below.
    pub above: bool,
    /// What was measured.
    pub measured: f64,
    /// The envelope at the feed of the capture.
    pub envelope: Envelope,
    /// How far from typical, in half-widths of the envelope (of the logarithm): the larger, the more telling.
    pub excess: f64,
}

impl Profile {
    /// The quantities of `phase` that `measured` at `feed` shows to be outside what good boards do.
    #[must_use]
    pub fn outside(&self, phase: &PhaseReference, measured: &StageMeasure, feed: Volts) -> Vec<Outside> {
        let sight = Sight::of(self, phase);
        let one = |quantity| {
            let envelope = self.at_feed(phase, phase.envelope(quantity)?, quantity, feed);
            let room = Room {
                stretch: self.stretch(quantity),
                doubt: self.doubt(phase, quantity, feed),
                margin: margin(quantity, measured)?,
            };
            outside(quantity, measured.value(quantity)?, envelope, room)
                .filter(|found| sight.carries(quantity, found.above, measured))
        };
        Quantity::ALL.into_iter().filter_map(one).collect()
    }

    /// The mean power of `phase`, where `measured` at `feed` shows it outside its own envelope for certain and yet inside
    /// what all envelopes of the board together allow.
    #[must_use]
    pub fn just_inside(
        &self,
        phase: &PhaseReference,
        measured: &StageMeasure,
        feed: Volts,
    ) -> Option<Outside> {
        let quantity = Quantity::MeanPower;
        let envelope = self.at_feed(phase, phase.envelope(quantity)?, quantity, feed);
        margin(quantity, measured)?;
        let room = Room { stretch: 1.0, doubt: 0.0, margin: EXPANSION * measured.uncertainty };
        let alone = outside(quantity, measured.value(quantity)?, envelope, room)?;
        let together = self.outside(phase, measured, feed).iter().any(|found| found.quantity == quantity);
        (!together).then_some(alone)
    }

    /// By what the logarithm of an envelope of `quantity` is stretched.
    fn stretch(&self, quantity: Quantity) -> f64 {
        let of = |phase: &PhaseReference, (alike, _): Family| {
            alike.iter().filter(|quantity| phase.envelope(**quantity).is_some()).count()
        };
        let family = FAMILIES.into_iter().find(|(alike, _)| alike.contains(&quantity));
        let counted = |family: Family| (self.phases.iter().map(|phase| of(phase, family)).sum(), family.1);
        family.map_or(1.0, |family| stretched(counted(family)))
    }

    fn at_feed(&self, phase: &PhaseReference, at: Envelope, quantity: Quantity, feed: Volts) -> Envelope {
        let factor = if quantity == Quantity::Duration { 1.0 } else { self.power_factor(phase, feed) };
        Envelope { low: at.low * factor, typical: at.typical * factor, high: at.high * factor }
    }

    /// What the feed may change beyond the law that is assumed (of the logarithm).
    fn doubt(&self, phase: &PhaseReference, quantity: Quantity, feed: Volts) -> f64 {
        let learned_at = self.learned.feed.unwrap_or(self.feed.nominal).value();
        if quantity == Quantity::Duration || feed.value() <= 0.0 || learned_at <= 0.0 {
            return 0.0;
        }
        EXPANSION * phase.volts_exponent_sd.unwrap_or(0.0) * (feed.value() / learned_at).ln().abs()
    }
}

/// Quantities that are looked at alike, and the share of the boards outside something that is given to them together.
type Family = (&'static [Quantity], f64);

/// A fault shows in how long a stage lasts and in what it draws; how lively it is mostly follows from these, and energy does.
/// How long a stage lasts moves least with the supply and its leads, and most from board to board, so that it is given most
/// (by judgement).
const FAMILIES: [Family; 3] = [
    (&[Quantity::Duration], 0.6),
    (&[Quantity::MeanPower], 0.3),
    (&[Quantity::PeakPower, Quantity::Activity, Quantity::Energy], 0.1),
];

/// Factor on the logarithm of one of `count` envelopes that share the boards outside something by `share`.
fn stretched((count, share): (usize, f64)) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a few dozen envelopes")]
    let count = count.max(1) as f64;
    let two_sided = |outside: f64| normal_quantile(1.0 - outside / 2.0);
    two_sided(share * (1.0 - CONTENT) / count) / two_sided(1.0 - CONTENT)
}

/// What is given in favour of the board.
#[derive(Debug, Clone, Copy)]
struct Room {
    /// Factor on the logarithm of the envelope.
    stretch: f64,
    /// Added to that logarithm.
    doubt: f64,
    /// What measuring leaves open, in the quantity's unit.
    margin: f64,
}

fn outside(quantity: Quantity, measured: f64, envelope: Envelope, room: Room) -> Option<Outside> {
    let Envelope { low, typical, high } = envelope;
    let above = measured - room.margin > typical;
    let nearest = if above { measured - room.margin } else { (measured + room.margin).min(typical) };
    let half = if above { (high / typical).ln() } else { (typical / low).ln() };
    let off = (nearest / typical).ln().abs();
    let limit = half * room.stretch + room.doubt;
    // An envelope from 0 on has no lower bound that could be missed; a typical of 0 has no logarithm.
    (off > limit && limit.is_finite() && typical > 0.0).then(|| Outside {
        quantity,
        above,
        measured,
        envelope,
        excess: off / half.max(f64::MIN_POSITIVE),
    })
}

/// What measuring leaves open of `quantity`; `None` where the stage was seen too briefly for it.
fn margin(quantity: Quantity, measured: &StageMeasure) -> Option<f64> {
    /// An edge may be off by one renewal at each end.
    const EDGES: f64 = 2.0;
    /// A cut that is off by a renewal moves energy from one stage to the next, mostly not all of it.
    const MOVED: f64 = 1.5;
    let updates = measured.updates()?;
    let update = measured.update?;
    let level = EXPANSION * measured.uncertainty + GAIN_ERROR * measured.mean_power;
    match quantity {
        Quantity::MeanPower => (updates >= LEVEL_UPDATES).then_some(level),
        Quantity::PeakPower => (updates >= LIVELY_UPDATES).then_some(2.0 * level),
        Quantity::Activity => (updates >= LIVELY_UPDATES).then_some(EXPANSION * measured.uncertainty),
        Quantity::Duration => Some(EDGES * update),
        Quantity::Energy => Some(level * measured.duration? + MOVED * update * measured.mean_power),
    }
}

/// What the captures that the reference rests on could see of a stage.
#[derive(Debug, Clone, Copy)]
struct Sight {
    /// Median time between renewals, seconds.
    update: Option<f64>,
    /// Fewest and most renewals.
    updates: Option<(f64, f64)>,
}

impl Sight {
    fn of(profile: &Profile, phase: &PhaseReference) -> Self {
        let stages = || {
            let all = profile.learned.logs.iter().flat_map(|log| &log.stages);
            all.filter(|stage| stage.phase == phase.name)
        };
        let mut periods: Vec<f64> = stages().filter_map(|stage| stage.update).collect();
        let counts: Vec<f64> = stages().filter_map(StageMeasure::updates).collect();
        let fewest = counts.iter().copied().min_by(f64::total_cmp);
        let most = counts.iter().copied().max_by(f64::total_cmp);
        Self { update: robust::median(&mut periods), updates: fewest.zip(most) }
    }

    /// Whether a capture that could see what `measured` says can show `quantity` to be out on that side.
    fn carries(self, quantity: Quantity, above: bool, measured: &StageMeasure) -> bool {
        if !matches!(quantity, Quantity::PeakPower | Quantity::Activity) {
            return true;
        }
        let (Some(reference), Some((fewest, most))) = (self.update, self.updates) else { return false };
        let (Some(update), Some(updates)) = (measured.update, measured.updates()) else { return false };
        let longer_look = quantity == Quantity::PeakPower;
        if above {
            update * ALIKE >= reference && (!longer_look || updates <= most * ALIKE)
        } else {
            update <= reference * ALIKE && (!longer_look || updates * ALIKE >= fewest)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_fault_shows_first_is_held_to_the_closest_envelope_and_one_alone_to_its_own() {
        let shares: f64 = FAMILIES.iter().map(|(_, share)| share).sum();
        assert!((shares - 1.0).abs() < 1e-12, "all boards outside something are shared out");
        let all: usize = FAMILIES.iter().map(|(alike, _)| alike.len()).sum();
        assert_eq!(all, Quantity::ALL.len());
        let [length, mean, lively] = FAMILIES.map(|(alike, share)| stretched((5 * alike.len(), share)));
        assert!(length < mean && mean < lively, "{length} {mean} {lively}");
        // Of a normal distribution 0.1 % are beyond 3.2905 standard deviations, 5 % beyond 1.9600 (NIST/SEMATECH e-Handbook of
        // Statistical Methods, 1.3.6.7.1).
        assert!((stretched((50, 1.0)) - 3.2905 / 1.9600).abs() < 1e-4);
        assert!((stretched((1, 1.0)) - 1.0).abs() < 1e-12);
    }
}
