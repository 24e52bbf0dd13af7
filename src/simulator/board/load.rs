//! What a state draws from moment to moment: a level that wanders, bursts at random, pulses by the clock.

use super::model::{Load, Pulse};
use crate::simulator::noise::{Drift, Noise};

/// A [`Load`] at work.
#[derive(Debug, Clone)]
pub(super) struct Draw {
    load: Load,
    drift: Drift,
    /// Whether a burst is on, and when that changes.
    burst: (bool, f64),
    /// Start of the pulse at hand or to come.
    pulse_at: f64,
}

impl Draw {
    /// The load from `now` on.
    pub(super) fn new(load: Load, now: f64, noise: &mut Noise) -> Self {
        let first_burst = load.burst.map_or(f64::INFINITY, |burst| now + noise.wait(burst.every_s));
        // The clock that pulses go by does not start with the state.
        let pulse_at =
            load.pulse.map_or(f64::INFINITY, |pulse| now + noise.between(0.1, 1.0) * pulse.period_s);
        Self { load, drift: Drift::default(), burst: (false, first_burst), pulse_at }
    }

    /// Watts at `now`, `step` seconds after the last call.
    pub(super) fn watts(&mut self, now: f64, step: f64, noise: &mut Noise) -> f64 {
        let mut watts = self.load.watts;
        if self.load.flutter_share > 0.0 {
            let wander = self.drift.after(step, self.load.flutter_s, noise);
            watts *= (self.load.flutter_share * wander).exp();
        }
        watts + self.burst_watts(now, noise) + self.pulse_watts(now, noise)
    }

    fn burst_watts(&mut self, now: f64, noise: &mut Noise) -> f64 {
        let Some(burst) = self.load.burst else { return 0.0 };
        while now >= self.burst.1 {
            let on = !self.burst.0;
            let wait = noise.wait(if on { burst.mean_s } else { burst.every_s });
            self.burst = (on, self.burst.1 + wait);
        }
        if self.burst.0 { burst.watts } else { 0.0 }
    }

    fn pulse_watts(&mut self, now: f64, noise: &mut Noise) -> f64 {
        let Some(pulse) = self.load.pulse else { return 0.0 };
        if now >= self.pulse_at + pulse.seconds {
            self.pulse_at += next_period(pulse, noise);
        }
        if now >= self.pulse_at && now < self.pulse_at + pulse.seconds { pulse.watts } else { 0.0 }
    }
}

/// The time to the next pulse, never shorter than the pulse itself.
fn next_period(pulse: Pulse, noise: &mut Noise) -> f64 {
    (pulse.period_s * (1.0 + pulse.jitter_share * noise.normal())).max(pulse.seconds)
}
