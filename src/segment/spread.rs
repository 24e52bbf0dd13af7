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
use super::changes::{level, ranges};
use super::noise;
use super::optimum::{Loss, Optimum};

/// Added to the squared distance, in noise variances.
const AT_LEAST: f64 = 0.25;

/// ... or this share of the squared rounding step if that is more: a quiet level near the border of two codes toggles
/// by a whole step, one in the middle of a code does not move, and neither says anything of the load.
const STEP_SHARE: f64 = 0.5;

/// Smallest ratio of the spreads on both sides that is a change: below it lies what the estimate of the noise does
/// from one level to the next.
const LEAST_RATIO: f64 = 1.4;

/// Updates that a spread must last to be one (a variance from fewer is uncertain by half).
const SHORTEST: usize = 10;

/// Where the spread of `scaled` about the levels between `coarse` changes; `step` is the rounding step on that scale.
pub(super) fn changes(scaled: &[f64], coarse: &[usize], step: f64) -> Result<Vec<usize>, SegmentError> {
    let logs = logs(scaled, coarse, AT_LEAST.max(STEP_SHARE * step * step));
    let Some(noise) = noise::long_run(&logs).filter(|noise| *noise > 0.0) else { return Ok(Vec::new()) };
    let values: Vec<f64> = logs.iter().map(|log| log / noise.sqrt()).collect();
    let mut engine = Optimum::new(Loss::Squares, noise::penalty(values.len()))?;
    engine.extend(&values)?;
    Ok(notable(&logs, &engine.changes()))
}

fn logs(scaled: &[f64], coarse: &[usize], at_least: f64) -> Vec<f64> {
    let mut logs = Vec::with_capacity(scaled.len());
    for range in ranges(coarse, scaled.len()) {
        let middle = level(&scaled[range.clone()]);
        logs.extend(scaled[range].iter().map(|value| ((value - middle).powi(2) + at_least).ln()));
    }
    logs
}

/// Drops changes to a spread that is hardly another or hardly lasts.
fn notable(logs: &[f64], changes: &[usize]) -> Vec<usize> {
    let mean = |range: std::ops::Range<usize>| {
        #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
        let count = range.len() as f64;
        logs[range].iter().sum::<f64>() / count
    };
    let least = 2.0 * LEAST_RATIO.ln();
    let mut kept: Vec<usize> = Vec::new();
    let ends = changes.iter().copied().skip(1).chain(std::iter::once(logs.len()));
    let mut start = 0;
    for (at, end) in changes.iter().copied().zip(ends) {
        let long = at - start >= SHORTEST && end - at >= SHORTEST;
        if long && (mean(at..end) - mean(start..at)).abs() >= least {
            kept.push(at);
            start = at;
        }
    }
    kept
}
