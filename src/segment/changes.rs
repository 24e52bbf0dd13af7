//! Change points of one series of readings: every step of the method in order.

use super::noise::{self, Noise};
use super::optimum::{Loss, Optimum};
use super::parts::{Scaled, by_parts};
use super::updates::Updates;
use super::{SegmentError, Settings, spread, stages};
use crate::share::{self, each};
use crate::stats::extent;
use crate::stats::robust::{self, Middle};
use std::ops::Range;

/// A bound of the loss between one and two penalties: an update that lies off its level costs less than the two
/// changes that would cut it out, and more than the one that begins a new level; two such updates cost more than two
/// changes. So an excursion of one update is a spike and one of two is a segment (the choice of Fearnhead & Rigaill
/// 2019, section 2.3, for segments of at least two).
const BOUND_PENALTIES: f64 = 1.5;

/// The bound of the loss at a penalty.
pub(super) fn bound(penalty: f64) -> f64 {
    (BOUND_PENALTIES * penalty).sqrt()
}

/// Where a series changes, by index of sample.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Changes {
    /// First sample of every fine segment after the first.
    pub fine: Vec<usize>,
    /// First sample of every coarse segment after the first; each is among `fine`.
    pub coarse: Vec<usize>,
    /// Those of `fine` at which the spread changes and the level need not.
    pub spread: Vec<usize>,
    /// Excursions of a single update, which are no change of level.
    pub spikes: Vec<Range<usize>>,
    /// Standard deviation of one reading at low level, rounding included.
    pub noise: f64,
    /// Step that the readings are rounded to; zero if none can be seen.
    pub rounding: f64,
    /// Long-run variance of averages over the shortest stage, in variances of one: 1 for a steady load, more for one
    /// that wanders.
    pub wander: f64,
}

/// Finds the changes of `values`, read at `time` (seconds).
///
/// # Errors
/// [`SegmentError`] for no samples, a time that does not increase, lengths that differ, or a value that is no number.
pub fn changes(time: &[f64], values: &[f64], settings: &Settings) -> Result<Changes, SegmentError> {
    let fresh = |index: usize| values[index].total_cmp(&values[index - 1]).is_ne();
    changes_between(time, values, fresh, settings)
}

/// The same where `fresh` tells better than the values alone whether the readback was renewed at a sample.
pub(super) fn changes_between(
    time: &[f64],
    values: &[f64],
    fresh: impl Fn(usize) -> bool + Sync,
    settings: &Settings,
) -> Result<Changes, SegmentError> {
    admit(time, values)?;
    let updates = Updates::of(time, values, fresh, settings);
    let levels = Levels::of(&updates, values, settings);
    levels.changes(&updates, settings)
}

fn admit(time: &[f64], values: &[f64]) -> Result<(), SegmentError> {
    if values.is_empty() {
        return Err(SegmentError::NoSamples);
    }
    if time.len() != values.len() {
        return Err(SegmentError::Lengths { times: time.len(), values: values.len() });
    }
    let before = |index: usize| index.checked_sub(1).map(|before| time[before]);
    let admit = |index: usize| admit_next(index, before(index), time[index], values[index]);
    let is_fine = |index: usize| {
        let rises = before(index).is_none_or(|before| time[index] > before);
        rises && is_usable(time[index]) && is_usable(values[index])
    };
    if values.len() <= MOST_SAMPLES && share::all(0..values.len(), is_fine) {
        return Ok(());
    }
    (0..values.len()).try_for_each(admit)
}

/// What an index of the engine has room for.
const MOST_SAMPLES: usize = u32::MAX as usize;

/// Whether a sample may follow `count` others, the last of them at `before`.
pub(super) fn admit_next(
    count: usize,
    before: Option<f64>,
    time: f64,
    value: f64,
) -> Result<(), SegmentError> {
    if count >= MOST_SAMPLES {
        return Err(SegmentError::TooMany { found: count + 1, limit: MOST_SAMPLES });
    }
    for (what, found) in [("time", time), ("value", value)] {
        if !is_usable(found) {
            return Err(SegmentError::NotANumber { index: count, what, found });
        }
    }
    match before {
        Some(before) if time <= before => Err(SegmentError::Time { index: count, found: time, before }),
        _ => Ok(()),
    }
}

/// Whether a time or value is a number whose square, summed up over the scale of the noise, stays finite.
fn is_usable(number: f64) -> bool {
    const LARGEST: f64 = 1e80;
    number.is_finite() && number.abs() < LARGEST
}

/// The scale on which the noise of a series has long-run standard deviation 1, with the penalty of a change.
pub(super) struct Levels {
    pub(super) noise: Noise,
    penalty: f64,
}

impl Levels {
    pub(super) fn of(updates: &Updates, values: &[f64], settings: &Settings) -> Self {
        let rounding = noise::rounding_step(values, settings.coarsest_step.value());
        // Noise below a quarter of what matters would only find changes that are dropped afterwards.
        let noise = Noise::of(&updates.value, rounding, settings.smallest_change.value() / 4.0, noise::FEW);
        Self { noise, penalty: noise::penalty(updates.len()) }
    }

    fn changes(&self, updates: &Updates, settings: &Settings) -> Result<Changes, SegmentError> {
        let found = self.optimum(updates)?;
        let fine = Fine::notable(&updates.value, &found, settings.smallest_change.value());
        let (spikes, stages) = share::both(
            updates.len(),
            || self.spikes(updates, &fine),
            || stages::stages(updates, &fine, settings),
        );
        let stages::Stages { starts: coarse, wander } = stages?;
        let spread = spread::changes(&updates.value, &coarse, &self.noise)?;
        let spread: Vec<usize> = spread.into_iter().filter(|at| is_apart(*at, &fine.starts)).collect();
        let sample = |update: &usize| updates.sample(*update);
        let samples = |changes: &[usize]| changes.iter().map(sample).collect();
        Ok(Changes {
            fine: samples(&merged(&fine.starts, &spread)),
            coarse: samples(&merged(&coarse, &spread)),
            spread: samples(&spread),
            spikes,
            noise: self.noise.floor(),
            rounding: self.noise.rounding(),
            wander,
        })
    }

    fn optimum(&self, updates: &Updates) -> Result<Vec<usize>, SegmentError> {
        let mut engine = Optimum::new(Loss::Bounded(bound(self.penalty)), self.penalty)?;
        let work = |scaled: &mut Scaled, range: Range<usize>| scaled.work_out(self, updates, range);
        let take = |scaled: &Scaled| engine.extend_weighted(&scaled.values, &scaled.weights);
        by_parts(updates.len(), work, take)?;
        Ok(engine.changes())
    }

    /// The updates that the bounded loss holds to be off their level.
    fn spikes(&self, updates: &Updates, fine: &Fine) -> Vec<Range<usize>> {
        /// Updates that are looked at by their ends first.
        const TOGETHER: usize = 1024;
        let level = |middle: &Middle| middle.on(|value| self.noise.stable(value)).median();
        let parts = |(range, level): (Range<usize>, f64)| {
            let end = range.end;
            range.step_by(TOGETHER).map(move |start| (start..end.min(start + TOGETHER), level))
        };
        let is_wild = |value: f64, level: f64| (self.noise.stable(value) - level).abs() > bound(self.penalty);
        let wild = |(range, level): &(Range<usize>, f64)| {
            // The scale rises with the value: if neither the lowest nor the highest is off, none is.
            let (low, high) = extent(&updates.value[range.clone()]).unwrap_or((0.0, 0.0));
            let any = is_wild(low, *level) || is_wild(high, *level);
            let found = range.clone().filter(|update| any && is_wild(updates.value[*update], *level));
            found.map(|update| updates.samples(&(update..update + 1))).collect::<Vec<_>>()
        };
        let ranges = ranges(&fine.starts, updates.len()).zip(fine.middles.iter().map(level));
        let parts: Vec<_> = ranges.flat_map(parts).collect();
        each(&parts, updates.len(), wild).concat()
    }
}

/// The changes of level that matter, with the levels between them.
pub(super) struct Fine {
    /// First update of every segment after the first.
    pub(super) starts: Vec<usize>,
    /// The middle of every segment.
    pub(super) middles: Vec<Middle>,
}

impl Fine {
    /// Of `changes`, those between levels that differ by no less than matters.
    fn notable(values: &[f64], changes: &[usize], least: f64) -> Self {
        let middles = middles(values, changes);
        let mut starts: Vec<usize> = Vec::with_capacity(changes.len());
        let mut levels = middles.iter().map(|middle| middle.median());
        let mut before = levels.next().unwrap_or(0.0);
        for (start, after) in changes.iter().zip(levels) {
            if (after - before).abs() >= least {
                starts.push(*start);
                before = after;
            }
        }
        let middles = if starts == changes { middles } else { self::middles(values, &starts) };
        Self { starts, middles }
    }
}

/// The middle of every segment between `changes`, none of which is empty: a level that single wild readings do not move.
pub(super) fn middles(values: &[f64], changes: &[usize]) -> Vec<Middle> {
    let ranges: Vec<Range<usize>> = ranges(changes, values.len()).collect();
    let middle = |range: &Range<usize>| robust::middle_at(range.len(), |index| values[range.start + index]);
    each(&ranges, values.len(), middle).into_iter().flatten().collect()
}

/// The middle of a stretch of readings, which single wild ones do not move.
pub(super) fn level(values: &[f64]) -> f64 {
    robust::median_at(values.len(), |index| values[index]).unwrap_or(0.0)
}

/// The stretches between `changes`.
pub(super) fn ranges(changes: &[usize], count: usize) -> impl Iterator<Item = Range<usize>> {
    let starts = std::iter::once(0).chain(changes.iter().copied());
    let ends = changes.iter().copied().chain(std::iter::once(count));
    starts.zip(ends).map(|(start, end)| start..end)
}

/// Whether a change of spread is one of its own and not the edge of a change of level.
fn is_apart(at: usize, fine: &[usize]) -> bool {
    /// Updates.
    const NEAR: usize = 5;
    let next = fine.partition_point(|change| *change + NEAR < at);
    fine.get(next).is_none_or(|change| *change > at + NEAR)
}

fn merged(a: &[usize], b: &[usize]) -> Vec<usize> {
    let mut all = [a, b].concat();
    all.sort_unstable();
    all.dedup();
    all
}
