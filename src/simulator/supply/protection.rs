//! Over-voltage and over-current protection: latches that switch the output off.

use super::output::Feed;

/// How long the current must stay above its level before the protection trips, in seconds.
const AMPS_DELAY_S: f64 = 0.02;

/// What tripped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::simulator) enum Trip {
    /// Too many volts.
    Volts,
    /// Too many amps for too long.
    Amps,
}

/// The protection of an output. Levels that are not set protect nothing.
#[derive(Debug, Clone, Copy, Default)]
pub(in crate::simulator) struct Protection {
    /// Volts above which the output goes off.
    pub(in crate::simulator) volts: Option<f64>,
    /// Amps above which the output goes off.
    pub(in crate::simulator) amps: Option<f64>,
    /// What tripped, until it is cleared.
    pub(in crate::simulator) tripped: Option<Trip>,
    above_s: f64,
}

impl Protection {
    /// Looks at a moment, `step` seconds after the last; `true` if the output must go off now.
    pub(in crate::simulator) fn watch(&mut self, step: f64, feed: Feed) -> bool {
        let over = |level: Option<f64>, value: f64| level.is_some_and(|level| value > level);
        self.above_s = if over(self.amps, feed.amps) { self.above_s + step } else { 0.0 };
        let trip = if over(self.volts, feed.terminal_volts) {
            Some(Trip::Volts)
        } else {
            (self.above_s > AMPS_DELAY_S).then_some(Trip::Amps)
        };
        self.tripped = self.tripped.or(trip);
        trip.is_some()
    }
}
