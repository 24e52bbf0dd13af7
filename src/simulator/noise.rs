//! Random numbers of the bench, from one repeatable source.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// A repeatable source of random numbers.
#[derive(Debug, Clone)]
pub(super) struct Noise {
    source: ChaCha8Rng,
    spare: Option<f64>,
}

impl Noise {
    /// The source of that seed; different `stream`s of one seed are independent of each other.
    pub(super) fn new(seed: u64, stream: u64) -> Self {
        let mut source = ChaCha8Rng::seed_from_u64(seed);
        source.set_stream(stream);
        Self { source, spare: None }
    }

    /// Uniform from 0 up to 1.
    pub(super) fn uniform(&mut self) -> f64 {
        self.source.random()
    }

    /// Uniform from `low` up to `high`.
    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// Uniform in the logarithm, from `low` up to `high`, both positive.
    pub(super) fn between_log(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    /// True with probability `share`.
    pub(super) fn chance(&mut self, share: f64) -> bool {
        self.uniform() < share
    }

    /// Whole number from 0 up to `count - 1`.
    pub(super) fn pick(&mut self, count: usize) -> usize {
        self.source.random_range(0..count.max(1))
    }

    /// Normal with mean 0 and standard deviation 1 (Box and Muller, Ann. Math. Stat. 29, 1958).
    pub(super) fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        let (sine, cosine) = (std::f64::consts::TAU * self.uniform()).sin_cos();
        self.spare = Some(radius * sine);
        radius * cosine
    }

    /// Log-normal with median 1: a factor that is off by about `share`.
    pub(super) fn factor(&mut self, share: f64) -> f64 {
        (share * self.normal()).exp()
    }

    /// Exponential with that mean: the wait for something that may happen at any time.
    pub(super) fn wait(&mut self, mean: f64) -> f64 {
        -mean * (1.0 - self.uniform()).ln()
    }
}

/// First-order autocorrelated noise of unit variance (an Ornstein-Uhlenbeck process, stepped exactly).
#[derive(Debug, Clone, Default)]
pub(super) struct Drift {
    value: f64,
}

impl Drift {
    /// The value after another `step` seconds, where the correlation falls to 1/e in `correlation` seconds.
    pub(super) fn after(&mut self, step: f64, correlation: f64, noise: &mut Noise) -> f64 {
        let keep = (-step / correlation).exp();
        self.value = keep * self.value + (1.0 - keep * keep).sqrt() * noise.normal();
        self.value
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    fn mean_and_deviation(values: &[f64]) -> (f64, f64) {
        let count = f64::from(u32::try_from(values.len()).unwrap());
        let mean = values.iter().sum::<f64>() / count;
        let variance = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (count - 1.0);
        (mean, variance.sqrt())
    }

    #[test]
    fn the_same_seed_gives_the_same_numbers_and_another_stream_others() {
        let draw = |stream| {
            let mut noise = Noise::new(7, stream);
            [(); 4].map(|()| noise.normal().to_bits())
        };
        assert_eq!(draw(1), draw(1));
        assert_ne!(draw(1), draw(2));
    }

    #[test]
    fn normal_numbers_have_mean_0_and_deviation_1() {
        let mut noise = Noise::new(1, 0);
        let values: Vec<f64> = (0..40_000).map(|_| noise.normal()).collect();
        let (mean, deviation) = mean_and_deviation(&values);
        // Four standard errors: 1/√n and 1/√(2n).
        assert!(mean.abs() < 0.02, "mean {mean}");
        assert!((deviation - 1.0).abs() < 0.0142, "deviation {deviation}");
    }

    #[test]
    fn drift_keeps_unit_variance_and_forgets_at_its_own_pace() {
        let (step, correlation) = (Seconds::constant(0.001).value(), 0.01);
        let mut noise = Noise::new(3, 0);
        let mut drift = Drift::default();
        let values: Vec<f64> = (0..200_000).map(|_| drift.after(step, correlation, &mut noise)).collect();
        let (_, deviation) = mean_and_deviation(&values);
        let lag = 10;
        let covariance = values.iter().zip(&values[lag..]).map(|(a, b)| a * b).sum::<f64>() / 2e5;
        // 200 000 steps are about 10 000 independent ones.
        assert!((deviation - 1.0).abs() < 0.05, "deviation {deviation}");
        assert!((covariance - (-1.0_f64).exp()).abs() < 0.06, "correlation {covariance}");
    }
}
