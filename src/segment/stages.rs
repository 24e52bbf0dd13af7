//! The coarse scale: what a person would call a stage.
//!
//! The same method once more, on the readings averaged over the shortest stage: their noise is what the load itself
//! does from one such stretch to the next, so the ups and downs of a busy processor belong to its stage. A change can
//! only lie where the fine scale has one, for the observations of this second run are the fine segments, each with the
//! weight of the time it lasts. One that is short against the shortest stage weighs too little to buy two changes.

use super::SegmentError;
use super::Settings;
use super::changes::{Fine, bound, level, ranges};
use super::noise::{self, LARGEST_CORRELATION, Noise};
use super::optimum::{Loss, Optimum};
use super::updates::Updates;
use crate::share::both;
use crate::stats::robust;
use rayon::prelude::*;
use std::ops::Range;

/// Where stages begin.
pub(super) struct Stages {
    /// The changes among the fine ones that begin a stage.
    pub(super) starts: Vec<usize>,
    /// Long-run variance of averages about their stages, in variances of one.
    pub(super) wander: f64,
}

/// The stages that whole fine segments make up.
pub(super) fn stages(updates: &Updates, fine: &Fine, settings: &Settings) -> Result<Stages, SegmentError> {
    let changes = &fine.starts;
    if changes.is_empty() {
        return Ok(Stages { starts: Vec::new(), wander: 1.0 });
    }
    let shortest = settings.shortest_phase.value().max(LEAST_UPDATES * updates.period);
    let blocks = blocks(updates, shortest);
    let block_mean = |block: &Range<usize>| mean(&updates.value[block.clone()]);
    let averages: Vec<f64> = blocks.par_iter().with_min_len(WORTH_SHARING).map(block_mean).collect();
    let noise = Noise::of(&averages, 0.0, settings.smallest_change.value() / 4.0, noise::MANY);
    let observed = Observed {
        values: fine.middles.iter().map(|middle| noise.stable(middle.median())).collect(),
        weights: ranges(changes, updates.len())
            .map(|range| (lasts(updates, &range) / shortest).clamp(LEAST_WEIGHT, MOST_WEIGHT))
            .collect(),
        penalty: STAGE_PENALTY * noise::penalty(averages.len()),
    };
    let averages: Vec<f64> = averages.into_iter().map(|average| noise.stable(average)).collect();
    let mut stages = Stages { starts: observed.changes(changes, 1.0)?, wander: 1.0 };
    for _ in 0..ROUNDS {
        stages.wander = wander(&averages, &blocks, &stages.starts);
        stages.starts = observed.changes(changes, stages.wander)?;
    }
    Ok(stages)
}

/// With fewer averages than this, sharing the work out takes longer than doing it.
const WORTH_SHARING: usize = 1 << 12;

/// Rounds of placing the stages and measuring how the load wanders within them. The second removes what the first, with
/// independent readings supposed, cut too finely; a third changes hardly anything.
const ROUNDS: usize = 2;

/// Share of the fine scale's penalty that a stage costs, in long-run variances: the fine scale's margin covers a load that
/// is not independent noise, which is measured here.
const STAGE_PENALTY: f64 = 0.75;

/// The fine segments as observations.
struct Observed {
    values: Vec<f64>,
    weights: Vec<f64>,
    penalty: f64,
}

impl Observed {
    /// The changes among `fine` that are worth a stage where averages vary with this long-run variance.
    fn changes(&self, fine: &[usize], long_run: f64) -> Result<Vec<usize>, SegmentError> {
        let penalty = self.penalty * long_run;
        let mut engine = Optimum::new(Loss::Bounded(bound(penalty)), penalty)?;
        engine.extend_weighted(&self.values, &self.weights)?;
        Ok(engine.changes().into_iter().map(|index| fine[index - 1]).collect())
    }
}

/// Long-run variance of averages about the levels of their stages, at least 1.
///
/// Variance and correlation of neighbours come from the squares of sums and differences of neighbours, trimmed (Ma &
/// Genton, "Highly robust estimation of the autocovariance function", J. Time Ser. Anal. 21 (2000) 663).
fn wander(averages: &[f64], blocks: &[Range<usize>], stages: &[usize]) -> f64 {
    let (mut sums, mut differences) = (Vec::new(), Vec::new());
    let starts = stages.iter().map(|stage| blocks.partition_point(|block| block.start < *stage));
    let bounds: Vec<usize> = std::iter::once(0).chain(starts).chain(std::iter::once(blocks.len())).collect();
    for pair in bounds.windows(2) {
        // The block that a stage begins in holds some of the stage before.
        let within = &averages[(pair[0] + usize::from(pair[0] > 0)).min(pair[1])..pair[1]];
        let middle = level(within);
        for neighbours in within.windows(2) {
            let (one, other) = (neighbours[0] - middle, neighbours[1] - middle);
            sums.push(one + other);
            differences.push(one - other);
        }
    }
    let (sum, difference) = both(
        averages.len(),
        || robust::trimmed_square(&mut sums, noise::MANY),
        || robust::trimmed_square(&mut differences, noise::MANY),
    );
    let Some((sum, difference)) = sum.zip(difference).filter(|(sum, difference)| sum + difference > 0.0)
    else {
        return 1.0;
    };
    let near = ((sum - difference) / (sum + difference)).clamp(0.0, LARGEST_CORRELATION);
    (((sum + difference) / 4.0) * (1.0 + near) / (1.0 - near)).max(1.0)
}

/// Updates that a stage lasts at the least: from fewer, a level cannot be told from an excursion.
const LEAST_UPDATES: f64 = 5.0;

/// What the engine takes as a weight.
const LEAST_WEIGHT: f64 = 1e-6;
const MOST_WEIGHT: f64 = 1e8;

/// Seconds from the first sample of `range` to the first after it, or to the last.
fn lasts(updates: &Updates, range: &Range<usize>) -> f64 {
    updates.start_or_end(range.end) - updates.start_or_end(range.start)
}

/// Stretches of `shortest` seconds.
fn blocks(updates: &Updates, shortest: f64) -> Vec<Range<usize>> {
    let mut found = Vec::new();
    let (mut from, mut length) = (0, 1);
    while from < updates.len() {
        let end = updates.start(from) + shortest;
        let is_within = |update: usize| update < updates.len() && updates.start(update) < end;
        // Nearly all are as long as the one before, so the end is looked for from there.
        while is_within(from + length) {
            length += 1;
        }
        while length > 1 && !is_within(from + length - 1) {
            length -= 1;
        }
        found.push(from..from + length);
        from += length;
    }
    found
}

fn mean(values: &[f64]) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
    let count = values.len() as f64;
    values.iter().sum::<f64>() / count
}
