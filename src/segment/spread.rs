//! Changes of spread: a busy load and an idle one may have the same mean.
//!
//! The method is again that of the levels, on the logarithm of the squared distance of each reading from the level of
//! its stage (as the logarithm of squares is taken for a variance in stochastic volatility models: Harvey, Ruiz &
//! Shephard, Rev. Econ. Stud. 61 (1994) 247). A quarter of the noise variance is added first, so that readings which
//! rounding puts right on the level do not count for infinitely quiet, and one wild reading moves a logarithm little. Its
//! own noise is estimated like any other, by differences, with its correlation.
//!
//! A cost of mean and variance at once, the usual way, breaks down on rounded data: a stretch of equal readings has no
//! variance and buys itself a segment at any price.

use super::SegmentError;
use super::changes::{each, level, ranges};
use super::noise::{self, Noise};
use super::optimum::{Loss, Optimum};

/// Added to the squared distance, in noise variances.
const AT_LEAST: f64 = 0.25;

/// ... or this share of the squared rounding step if that is more: a quiet level at the border of two codes lies a whole
/// step from its median half of the time, one in the middle of a code does not move, and neither says anything of the load.
const STEP_SHARE: f64 = 0.5;

/// Smallest ratio of the spreads on both sides that is a change, each with [`AT_LEAST`]: below it lies what the estimate
/// of the noise does from one level to the next.
const LEAST_RATIO: f64 = 1.4;

/// From so many updates on, [`TOGETHER`] of them are one observation: the engine's work is in the single squares of noise,
/// which scatter over decades, and their means are nearly normal. No change of spread can be told finer than that.
const LONG: usize = 1 << 18;

/// Updates of one observation in a long series, half of what a spread must last.
const TOGETHER: usize = SHORTEST / 2;

/// Updates that a spread must last to be one (a variance from fewer is uncertain by half).
const SHORTEST: usize = 10;

/// Where the spread of `values` about the levels between `coarse` changes.
pub(super) fn changes(values: &[f64], coarse: &[usize], noise: &Noise) -> Result<Vec<usize>, SegmentError> {
    let distances = distances(values, coarse, noise);
    let at_least = AT_LEAST.max(toggling(noise.step()));
    let mut logs = each(&distances, |distance| (distance.powi(2) + at_least).ln());
    let Some(own) = noise::long_run(&logs).filter(|own| *own > 0.0) else { return Ok(Vec::new()) };
    let scale = own.sqrt();
    for log in &mut logs {
        *log /= scale;
    }
    let mut engine = Optimum::new(Loss::Squares, noise::penalty(logs.len()))?;
    let together = if logs.len() > LONG { TOGETHER } else { 1 };
    let mean = |part: &[f64]| part.iter().sum::<f64>() / count(part);
    let (means, weights): (Vec<f64>, Vec<f64>) =
        logs.chunks(together).map(|part| (mean(part), count(part))).unzip();
    engine.extend_weighted(&means, &weights)?;
    let changes: Vec<usize> = engine.changes().into_iter().map(|change| change * together).collect();
    Ok(notable(&distances, noise.step(), &changes))
}

/// The distances from the level of the stage, in noise standard deviations at that level: within a stage the scale is
/// the same for near and far, or the far readings of a busy load would be drawn in.
fn distances(values: &[f64], coarse: &[usize], noise: &Noise) -> Vec<f64> {
    let mut distances = Vec::with_capacity(values.len());
    for range in ranges(coarse, values.len()) {
        let middle = level(&values[range.clone()]);
        let noise = noise.at(middle);
        distances.extend(values[range].iter().map(|value| (value - middle) / noise));
    }
    distances
}

/// Drops changes to a spread that is hardly another or hardly lasts, or that so few readings may show by chance.
fn notable(distances: &[f64], step: f64, changes: &[usize]) -> Vec<usize> {
    let mut kept: Vec<usize> = Vec::new();
    let ends = changes.iter().copied().skip(1).chain(std::iter::once(distances.len()));
    let mut start = 0;
    for (at, end) in changes.iter().copied().zip(ends) {
        let (before, after) = (&distances[start..at], &distances[at..end]);
        let long = before.len() >= SHORTEST && after.len() >= SHORTEST;
        if long && differ(before, after, step) && gain(before, after, step) >= noise::penalty(distances.len())
        {
            kept.push(at);
            start = at;
        }
    }
    kept
}

/// Whether the larger of two mean squares is more than the smaller and rounding explain.
fn differ(one: &[f64], other: &[f64], step: f64) -> bool {
    let (one, other) = (square(one), square(other));
    one.max(other) + AT_LEAST >= LEAST_RATIO.powi(2) * (one.min(other) + AT_LEAST) + toggling(step)
}

/// Mean square that rounding alone may make.
fn toggling(step: f64) -> f64 {
    STEP_SHARE * step * step
}

/// Twice the logarithm of the likelihood ratio of two variances to one, for normal readings (Bartlett, "Properties of
/// sufficiency and statistical tests", Proc. R. Soc. Lond. A 160 (1937) 268).
fn gain(one: &[f64], other: &[f64], step: f64) -> f64 {
    let part = |part: &[f64]| (count(part), square(part) + AT_LEAST + toggling(step));
    let ((n, v), (m, w)) = (part(one), part(other));
    (n + m) * ((n * v + m * w) / (n + m)).ln() - n * v.ln() - m * w.ln()
}

#[expect(clippy::cast_precision_loss, reason = "a count of samples")]
fn count(values: &[f64]) -> f64 {
    values.len() as f64
}

/// Mean square of the distances, of which no wild one counts for more than the furthest of a busy load would.
fn square(distances: &[f64]) -> f64 {
    const FURTHEST: f64 = 5.0;
    distances.iter().map(|distance| distance.abs().min(FURTHEST).powi(2)).sum::<f64>() / count(distances)
}

#[cfg(test)]
mod tests {
    use crate::segment::{Settings, changes};
    use rand::{RngExt, SeedableRng};

    #[test]
    fn in_a_long_series_a_spread_that_doubles_is_found_to_a_few_updates() {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(3);
        let mut normal = move || -> f64 { (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0 };
        let (count, at) = (300_000, 123_457);
        let values: Vec<f64> =
            (0..count).map(|index| 1.0 + if index < at { 0.01 } else { 0.02 } * normal()).collect();
        let time: Vec<f64> = (0..300_000_u32).map(|index| f64::from(index) * 0.01).collect();
        let found = changes(&time, &values, &Settings::default()).unwrap();
        assert_eq!(found.spread.len(), 1, "{:?}", found.spread);
        assert!(found.spread[0].abs_diff(at) < 50, "{:?}", found.spread);
    }
}
