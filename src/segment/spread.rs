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
use super::changes::{middles, ranges};
use super::noise::{self, Noise};
use super::optimum::{Loss, Optimum};
use super::parts::by_parts;
use crate::stats::robust::Middle;
use rayon::prelude::*;
use std::ops::Range;

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
    let distances = Distances::of(values, coarse, noise);
    let at_least = AT_LEAST.max(toggling(noise.step()));
    let own = noise::long_run(values.len(), |index| (distances.at(index).powi(2) + at_least).ln());
    let Some(own) = own.filter(|own| *own > 0.0) else { return Ok(Vec::new()) };
    let together = if values.len() > LONG { TOGETHER } else { 1 };
    let scale = own.sqrt();
    let of = |index: usize| index * together..((index + 1) * together).min(values.len());
    let mean = |index: usize| distances.mean_log(&of(index), at_least) / scale;
    let work = |observed: &mut Observed, range: Range<usize>| {
        observed.weights.clear();
        observed.weights.extend(range.clone().map(|index| count(of(index).len())));
        observed.means.clear();
        observed.means.extend(range.map(mean));
    };
    let mut engine = Optimum::new(Loss::Squares, noise::penalty(values.len()))?;
    let take = |observed: &Observed| engine.extend_weighted(&observed.means, &observed.weights);
    by_parts(values.len().div_ceil(together), work, take)?;
    let changes: Vec<usize> = engine.changes().into_iter().map(|change| change * together).collect();
    Ok(notable(&distances, noise.step(), &changes))
}

/// Observations of the spread.
#[derive(Default)]
struct Observed {
    means: Vec<f64>,
    weights: Vec<f64>,
}

/// The distances from the level of the stage, in noise standard deviations at that level: within a stage the scale is
/// the same for near and far, or the far readings of a busy load would be drawn in.
struct Distances<'a> {
    values: &'a [f64],
    stages: Vec<Stage>,
}

struct Stage {
    start: usize,
    level: f64,
    noise: f64,
}

impl<'a> Distances<'a> {
    fn of(values: &'a [f64], coarse: &[usize], noise: &Noise) -> Self {
        let stages = ranges(coarse, values.len()).zip(middles(values, coarse));
        let stage = |(range, middle): (Range<usize>, Middle)| {
            let level = middle.median();
            Stage { start: range.start, level, noise: noise.at(level) }
        };
        Self { values, stages: stages.map(stage).collect() }
    }

    fn len(&self) -> usize {
        self.values.len()
    }

    fn at(&self, index: usize) -> f64 {
        let stage = self.stage(index);
        (self.values[index] - stage.level) / stage.noise
    }

    /// The stage that holds `index`.
    fn stage(&self, index: usize) -> &Stage {
        let after = self.stages.partition_point(|stage| stage.start <= index);
        &self.stages[after - 1]
    }

    /// Mean over a few updates of the logarithm of the squared distance, with `at_least` beside it.
    fn mean_log(&self, range: &Range<usize>, at_least: f64) -> f64 {
        let (first, last) = (self.stage(range.start), self.stage(range.end - 1));
        if first.start == last.start {
            let square = |value: &f64| ((value - first.level) / first.noise).powi(2) + at_least;
            let product: f64 = self.values[range.clone()].iter().map(square).product();
            // One logarithm does for all, unless they are so large that their product is no number any more.
            if product.is_finite() {
                return product.ln() / count(range.len());
            }
        }
        let logs = range.clone().map(|index| (self.at(index).powi(2) + at_least).ln());
        logs.sum::<f64>() / count(range.len())
    }

    /// The distances in `range`, squared and summed up.
    fn squares(&self, range: &Range<usize>) -> Squares {
        const FURTHEST: f64 = 5.0;
        let mut sum = 0.0;
        let mut at = range.start;
        while at < range.end {
            let after = self.stages.partition_point(|stage| stage.start <= at);
            let end = self.stages.get(after).map_or(range.end, |next| next.start.min(range.end));
            let stage = &self.stages[after - 1];
            let square = |value: &f64| ((value - stage.level) / stage.noise).abs().min(FURTHEST).powi(2);
            sum += self.values[at..end].iter().map(square).sum::<f64>();
            at = end;
        }
        Squares { count: range.len(), sum }
    }
}

/// Squared distances, of which no wild one counts for more than the furthest of a busy load would.
#[derive(Debug, Clone, Copy)]
struct Squares {
    count: usize,
    sum: f64,
}

impl Squares {
    fn mean(self) -> f64 {
        self.sum / count(self.count)
    }

    fn and(self, other: Self) -> Self {
        Self { count: self.count + other.count, sum: self.sum + other.sum }
    }
}

/// Drops changes to a spread that is hardly another or hardly lasts, or that so few readings may show by chance.
fn notable(distances: &Distances, step: f64, changes: &[usize]) -> Vec<usize> {
    let parts: Vec<Range<usize>> = ranges(changes, distances.len()).collect();
    let squares: Vec<Squares> = parts.par_iter().map(|part| distances.squares(part)).collect();
    let Some((first, others)) = squares.split_first() else { return Vec::new() };
    let (mut kept, mut before) = (Vec::new(), *first);
    for (at, after) in changes.iter().zip(others) {
        let long = before.count >= SHORTEST && after.count >= SHORTEST;
        let penalty = noise::penalty(distances.len());
        if long && differ(before, *after, step) && gain(before, *after, step) >= penalty {
            kept.push(*at);
            before = *after;
        } else {
            before = before.and(*after);
        }
    }
    kept
}

/// Whether the larger of two mean squares is more than the smaller and rounding explain.
fn differ(one: Squares, other: Squares, step: f64) -> bool {
    let (one, other) = (one.mean(), other.mean());
    one.max(other) + AT_LEAST >= LEAST_RATIO.powi(2) * (one.min(other) + AT_LEAST) + toggling(step)
}

/// Mean square that rounding alone may make.
fn toggling(step: f64) -> f64 {
    STEP_SHARE * step * step
}

/// Twice the logarithm of the likelihood ratio of two variances to one, for normal readings (Bartlett, "Properties of
/// sufficiency and statistical tests", Proc. R. Soc. Lond. A 160 (1937) 268).
fn gain(one: Squares, other: Squares, step: f64) -> f64 {
    let part = |part: Squares| (count(part.count), part.mean() + AT_LEAST + toggling(step));
    let ((n, v), (m, w)) = (part(one), part(other));
    (n + m) * ((n * v + m * w) / (n + m)).ln() - n * v.ln() - m * w.ln()
}

#[expect(clippy::cast_precision_loss, reason = "a count of samples")]
fn count(samples: usize) -> f64 {
    samples as f64
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
