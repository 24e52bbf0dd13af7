//! Trips: what a driven output must not go on doing.
//!
//! The levels are engineering choices of this program, not a standard's: each is named with its reason.

use super::condition::Held;
use crate::trace::{Mode, Sample};
use crate::units::{Amps, Seconds, Volts};

/// Share of the set volts by which readback may exceed them: readback of bench supplies is good to well under 1 %, so
/// 3 % is no reading error.
const OVER_VOLTS_SHARE: f64 = 0.03;
/// And at least this much, so that the error of a coarse readback at low volts does not trip.
const OVER_VOLTS_LEAST: Volts = Volts::constant(0.15);
/// Share of the set volts below which a feed in current limit counts as collapsed: no board boots on half its feed,
/// while a starved but working one sags by a quarter at the most.
const COLLAPSED_SHARE: f64 = 0.5;
/// Share of the limit from which the output counts as in limit, where the supply does not say.
const AT_LIMIT_SHARE: f64 = 0.95;
/// How long a collapsed feed is let be: input capacitors charge in well under a second, and a short of a few watts
/// does no further harm in two.
pub const USUAL_COLLAPSE: Seconds = Seconds::constant(2.0);

/// What a driven run is held to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TripLevels {
    /// Volts that the output was set to; readback above them trips at once.
    pub set_volts: Volts,
    /// Current limit that was set.
    pub limit: Amps,
    /// Amps that must not be exceeded for longer than the time beside them, if any.
    pub most_amps: Option<(Amps, Seconds)>,
    /// For how long the output may sit in current limit with the feed collapsed.
    pub collapse: Seconds,
}

/// Why a driven output was switched off.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Trip {
    /// More volts than were set.
    #[error("{found} at the output, set to {set}")]
    OverVolts {
        /// What was read.
        found: Volts,
        /// What was set.
        set: Volts,
    },
    /// More amps than allowed, for longer than allowed.
    #[error("over {level} for {held} ({found})")]
    OverAmps {
        /// What was read last.
        found: Amps,
        /// The level.
        level: Amps,
        /// The time allowed.
        held: Seconds,
    },
    /// In current limit with the feed collapsed.
    #[error("in current limit with the feed at {found} of {set} for {held}: a short")]
    Collapsed {
        /// Volts read last.
        found: Volts,
        /// Volts set.
        set: Volts,
        /// The time allowed.
        held: Seconds,
    },
    /// The supply stopped answering.
    #[error("link lost: {0}")]
    LinkLost(String),
}

/// Watches the readings of a driven output.
#[derive(Debug, Clone)]
pub(super) struct TripWatch {
    levels: TripLevels,
    over_amps: Held,
    collapsed: Held,
}

impl TripWatch {
    pub(super) fn new(levels: TripLevels) -> Self {
        Self { levels, over_amps: Held::default(), collapsed: Held::default() }
    }

    /// The trip that `sample` completes, if any; the most dangerous first.
    pub(super) fn update(&mut self, sample: &Sample) -> Option<Trip> {
        let levels = self.levels;
        let set = levels.set_volts;
        let margin = (set.value() * OVER_VOLTS_SHARE).max(OVER_VOLTS_LEAST.value());
        let over_amps = levels
            .most_amps
            .is_some_and(|(level, held)| self.over_amps.update(sample.amps > level, sample.time, held));
        let collapsed = self.collapsed.update(levels.is_collapsed(sample), sample.time, levels.collapse);
        if sample.volts.value() > set.value() + margin {
            return Some(Trip::OverVolts { found: sample.volts, set });
        }
        if let Some((level, held)) = levels.most_amps.filter(|_| over_amps) {
            return Some(Trip::OverAmps { found: sample.amps, level, held });
        }
        collapsed.then_some(Trip::Collapsed { found: sample.volts, set, held: levels.collapse })
    }
}

impl TripLevels {
    fn is_collapsed(&self, sample: &Sample) -> bool {
        let in_limit = match sample.mode {
            Mode::ConstantCurrent => true,
            Mode::ConstantVoltage | Mode::Off => false,
            Mode::Unknown => sample.amps.value() >= self.limit.value() * AT_LIMIT_SHARE,
        };
        in_limit && sample.volts.value() < self.set_volts.value() * COLLAPSED_SHARE
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn levels() -> TripLevels {
        TripLevels {
            set_volts: Volts::constant(12.8),
            limit: Amps::constant(3.0),
            most_amps: Some((Amps::constant(2.0), Seconds::constant(0.5))),
            collapse: Seconds::constant(2.0),
        }
    }

    fn sample(time: f64, volts: f64, amps: f64, mode: Mode) -> Sample {
        Sample {
            time: Seconds::constant(time),
            volts: Volts::constant(volts),
            amps: Amps::constant(amps),
            mode,
            span: None,
        }
    }

    fn first_trip(readings: &[(f64, f64, f64, Mode)], levels: TripLevels) -> Option<(usize, Trip)> {
        let mut watch = TripWatch::new(levels);
        readings
            .iter()
            .enumerate()
            .find_map(|(i, (t, v, a, mode))| Some((i, watch.update(&sample(*t, *v, *a, *mode))?)))
    }

    #[test]
    fn volts_above_set_trip_on_the_first_reading() {
        let readings = [(0.0, 13.1, 0.1, Mode::ConstantVoltage), (0.1, 13.3, 0.1, Mode::ConstantVoltage)];
        let (at, trip) = first_trip(&readings, levels()).unwrap();
        assert_eq!((at, trip.to_string().as_str()), (1, "13.3 V at the output, set to 12.8 V"));
    }

    #[test]
    fn amps_above_the_level_trip_only_when_they_stay() {
        let peak = [(0.0, 12.8, 2.5), (0.4, 12.8, 1.0), (0.6, 12.8, 2.5), (1.0, 12.8, 2.5), (1.1, 12.8, 2.5)]
            .map(|(t, v, a)| (t, v, a, Mode::ConstantVoltage));
        let (at, trip) = first_trip(&peak, levels()).unwrap();
        assert_eq!(at, 4);
        assert!(matches!(trip, Trip::OverAmps { .. }), "{trip:?}");
        assert_eq!(first_trip(&peak, TripLevels { most_amps: None, ..levels() }), None);
    }

    #[test]
    fn a_collapsed_feed_trips_whether_or_not_the_supply_says_that_it_is_in_limit() {
        for mode in [Mode::ConstantCurrent, Mode::Unknown] {
            let short: Vec<_> = (0..30_u32).map(|i| (f64::from(i) * 0.1, 0.6, 2.99, mode)).collect();
            let levels = TripLevels { most_amps: None, ..levels() };
            let (at, trip) = first_trip(&short, levels).unwrap();
            assert_eq!(at, 20, "{trip}");
        }
    }

    #[test]
    fn charging_capacitors_a_sagging_feed_and_an_output_that_is_off_do_not_trip() {
        let levels = TripLevels { most_amps: None, ..levels() };
        let charging =
            (0..20_u32).map(|i| (f64::from(i) * 0.05, f64::from(i) * 0.6, 3.0, Mode::ConstantCurrent));
        let sagging = (0..40_u32).map(|i| (1.0 + f64::from(i) * 0.1, 9.5, 3.0, Mode::ConstantCurrent));
        let off = (0..40_u32).map(|i| (5.0 + f64::from(i) * 0.1, 0.0, 0.0, Mode::Off));
        let readings: Vec<_> = charging.chain(sagging).chain(off).collect();
        assert_eq!(first_trip(&readings, levels), None);
    }
}
