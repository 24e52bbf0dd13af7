//! How much the readback varies where the board does not.

use super::Settings;
use crate::stats::robust;

/// Share of the level that a supply's and a board's noise grow with.
const RELATIVE_NOISE: f64 = 0.01;

/// Noise of a readback: a floor at low current, growing with the level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Noise {
    floor: f64,
    rounding: f64,
}

impl Noise {
    /// Estimated from the differences of neighbouring readings, which a change of level touches only once.
    pub(super) fn of(amps: &[f64], settings: &Settings) -> Self {
        let rounding = rounding_step(amps);
        let mut steps: Vec<f64> =
            amps.windows(2).map(|pair| pair[1] - pair[0]).filter(|step| *step != 0.0).collect();
        let from_steps = robust::deviation(&mut steps).unwrap_or(0.0) / std::f64::consts::SQRT_2;
        // A reading within half a step of the border between two codes toggles: half a step is its noise.
        let floor = from_steps.max(rounding / 2.0).max(settings.smallest_change.value() / 4.0);
        Self { floor, rounding }
    }

    /// Noise at low current, in amps.
    pub(super) fn floor(self) -> f64 {
        self.floor
    }

    /// Rounding step in amps.
    pub(super) fn rounding(self) -> f64 {
        self.rounding
    }

    /// Amps on a scale where the noise has standard deviation 1 at every level.
    ///
    /// With a noise of √(floor² + (share·level)²), that scale is the integral of 1/noise: asinh(share·level/floor)/share.
    pub(super) fn stable(self, amps: f64) -> f64 {
        (RELATIVE_NOISE * amps / self.floor).asinh() / RELATIVE_NOISE
    }
}

/// What one more change must save, in squared noise standard deviations.
pub(super) fn penalty(samples: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a logarithm needs no more than 53 bits of a count")]
    let count = samples.max(2) as f64;
    4.0 * count.ln() + 6.0
}

/// Smallest distance between two readings that occur.
fn rounding_step(amps: &[f64]) -> f64 {
    let mut sorted: Vec<f64> = amps.iter().copied().take(1 << 16).collect();
    sorted.sort_unstable_by(f64::total_cmp);
    let range = sorted.last().zip(sorted.first()).map_or(0.0, |(last, first)| last - first);
    let gaps = sorted.windows(2).map(|pair| pair[1] - pair[0]).filter(|gap| *gap > range * 1e-9);
    gaps.min_by(f64::total_cmp).unwrap_or(0.0)
}
