//! Change points of one series of readings: every step of the method in order.

use super::noise::{self, Noise};
use super::optimum::{Loss, Optimum};
use super::updates::Updates;
use super::{SegmentError, Settings, spread, stages};
use rayon::prelude::*;
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
    fresh: impl Fn(usize) -> bool,
    settings: &Settings,
) -> Result<Changes, SegmentError> {
    admit(time, values)?;
    let updates = Updates::of(time, values, fresh);
    let levels = Levels::of(&updates, values, settings);
    levels.changes(time, &updates, settings)
}

fn admit(time: &[f64], values: &[f64]) -> Result<(), SegmentError> {
    if values.is_empty() {
        return Err(SegmentError::NoSamples);
    }
    if time.len() != values.len() {
        return Err(SegmentError::Lengths { times: time.len(), values: values.len() });
    }
    let mut before = None;
    for (index, (time, value)) in time.iter().zip(values).enumerate() {
        admit_next(index, before, *time, *value)?;
        before = Some(*time);
    }
    Ok(())
}

/// Whether a sample may follow `count` others, the last of them at `before`.
pub(super) fn admit_next(
    count: usize,
    before: Option<f64>,
    time: f64,
    value: f64,
) -> Result<(), SegmentError> {
    let limit = u32::MAX as usize;
    if count >= limit {
        return Err(SegmentError::TooMany { found: count + 1, limit });
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

/// A series on the scale where its noise has long-run standard deviation 1, with its penalty.
pub(super) struct Levels {
    pub(super) noise: Noise,
    pub(super) scaled: Vec<f64>,
    pub(super) penalty: f64,
}

impl Levels {
    pub(super) fn of(updates: &Updates, values: &[f64], settings: &Settings) -> Self {
        let rounding = noise::rounding_step(values);
        // Noise below a quarter of what matters would only find changes that are dropped afterwards.
        let noise = Noise::of(&updates.value, rounding, settings.smallest_change.value() / 4.0, noise::FEW);
        let scaled = each(&updates.value, |value| noise.stable(value));
        Self { noise, scaled, penalty: noise::penalty(updates.len()) }
    }

    fn changes(&self, time: &[f64], updates: &Updates, settings: &Settings) -> Result<Changes, SegmentError> {
        let found = optimum(&self.scaled, &updates.weight, self.penalty)?;
        let fine = notable(&updates.value, &found, settings.smallest_change.value());
        let spikes = self.spikes(updates, &fine);
        let stages::Stages { starts: coarse, wander } = stages::stages(time, updates, &fine, settings)?;
        let spread = spread::changes(&updates.value, &coarse, &self.noise)?;
        let spread: Vec<usize> = spread.into_iter().filter(|at| is_apart(*at, &fine)).collect();
        let sample = |update: &usize| updates.sample(*update);
        let samples = |changes: &[usize]| changes.iter().map(sample).collect();
        Ok(Changes {
            fine: samples(&merged(&fine, &spread)),
            coarse: samples(&merged(&coarse, &spread)),
            spread: samples(&spread),
            spikes,
            noise: self.noise.floor(),
            rounding: self.noise.rounding(),
            wander,
        })
    }

    /// The updates that the bounded loss holds to be off their level.
    fn spikes(&self, updates: &Updates, fine: &[usize]) -> Vec<Range<usize>> {
        let mut spikes = Vec::new();
        for range in ranges(fine, self.scaled.len()) {
            let level = level(&self.scaled[range.clone()]);
            let wild = |update: &usize| (self.scaled[*update] - level).abs() > bound(self.penalty);
            spikes.extend(range.filter(wild).map(|update| updates.samples(&(update..update + 1))));
        }
        spikes
    }
}

fn optimum(values: &[f64], weights: &[f64], penalty: f64) -> Result<Vec<usize>, SegmentError> {
    let mut engine = Optimum::new(Loss::Bounded(bound(penalty)), penalty)?;
    engine.extend_weighted(values, weights)?;
    Ok(engine.changes())
}

/// Drops changes between levels that differ by less than matters.
fn notable(values: &[f64], changes: &[usize], least: f64) -> Vec<usize> {
    let mut kept: Vec<usize> = Vec::with_capacity(changes.len());
    let ends = changes.iter().copied().skip(1).chain(std::iter::once(values.len()));
    let mut before = level(&values[..changes.first().copied().unwrap_or(values.len())]);
    for (start, end) in changes.iter().copied().zip(ends) {
        let after = level(&values[start..end]);
        if (after - before).abs() >= least {
            kept.push(start);
            before = after;
        }
    }
    kept
}

/// The middle of a stretch of readings, which single wild ones do not move.
pub(super) fn level(values: &[f64]) -> f64 {
    crate::stats::robust::median_at(values.len(), |index| values[index]).unwrap_or(0.0)
}

/// `work` on each value; long series are shared out among processors.
///
/// Readings are rounded and come again and again: what was worked out for one is kept for a while, for most of `work`
/// takes longer than to look it up.
pub(super) fn each(values: &[f64], work: impl Fn(f64) -> f64 + Sync) -> Vec<f64> {
    /// With fewer, sharing the work out takes longer than doing it.
    const WORTH_SHARING: usize = 100_000;
    if values.len() < WORTH_SHARING {
        return values.iter().map(|value| work(*value)).collect();
    }
    let mut done = vec![0.0; values.len()];
    let parts = done.par_chunks_mut(WORTH_SHARING).zip(values.par_chunks(WORTH_SHARING));
    parts.for_each_init(Known::new, |known, (done, values)| {
        for (done, value) in done.iter_mut().zip(values) {
            *done = known.get(*value, &work);
        }
    });
    done
}

/// What was worked out for the last values: one for each of a fixed number of places.
struct Known(Vec<(u64, f64)>);

impl Known {
    const PLACES_LOG: u32 = 12;

    fn new() -> Self {
        // No place holds its own number, so that nothing is known: the bits of zero go to place 0, and of one not.
        let empty = |place: u64| if place == 0 { 1.0_f64.to_bits() } else { 0 };
        Self((0..1 << Self::PLACES_LOG).map(|place| (empty(place), 0.0)).collect())
    }

    fn get(&mut self, value: f64, work: impl Fn(f64) -> f64) -> f64 {
        let bits = value.to_bits();
        let place = &mut self.0[Self::place(bits)];
        if place.0 != bits {
            *place = (bits, work(value));
        }
        place.1
    }

    /// Fibonacci hashing (Knuth, "The Art of Computer Programming" vol. 3, section 6.4).
    fn place(bits: u64) -> usize {
        const GOLDEN: u64 = 0x9E37_79B9_7F4A_7C15;
        (bits.wrapping_mul(GOLDEN) >> (64 - Self::PLACES_LOG)) as usize
    }
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
