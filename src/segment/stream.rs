//! One sample at a time.
//!
//! The engine is the same; what it needs to know beforehand, the noise and the update period, is learned as the trace
//! grows: at 32, 64, 128, … samples both are taken anew, from a bounded number of the newest samples, and a second
//! engine is set up with them. It is fed the past a few samples with each new one, so that no sample waits for the
//! whole of it, and takes over when it has caught up. [`Stream::changes`] cuts everything at once and so says to the
//! last digit what [`changes`] says.

use super::changes::{Changes, Levels, changes};
use super::noise::{self, Noise};
use super::optimum::{Loss, Optimum};
use super::updates::Renewal;
use super::{SegmentError, Settings};

/// Samples before the noise is first estimated.
const FIRST: usize = 32;

/// Newest samples that noise and update period are taken from while the trace grows.
const LOOKED_AT: usize = 4096;

/// Past samples that a new engine is fed with each new sample: it catches up within a quarter of the trace.
const CATCH_UP: usize = 5;

/// A trace that grows, cut as far as it goes.
#[derive(Debug, Clone)]
pub struct Stream {
    settings: Settings,
    time: Vec<f64>,
    values: Vec<f64>,
    now: Option<Cutter>,
    next: Option<Cutter>,
}

/// An engine with what it was set up with.
#[derive(Debug, Clone)]
struct Cutter {
    engine: Optimum,
    noise: Noise,
    renewal: Renewal,
    /// First sample of every update given to the engine.
    first: Vec<u32>,
    /// Samples looked at.
    taken: usize,
}

impl Stream {
    /// Nothing given yet.
    #[must_use]
    pub fn new(settings: Settings) -> Self {
        Self { settings, time: Vec::new(), values: Vec::new(), now: None, next: None }
    }

    /// Takes one more sample, read at `time` (seconds).
    ///
    /// # Errors
    /// [`SegmentError`] for a value that is no number or a time that is not after the last; nothing was taken then.
    pub fn push(&mut self, time: f64, value: f64) -> Result<(), SegmentError> {
        super::changes::admit_next(self.time.len(), self.time.last().copied(), time, value)?;
        self.time.push(time);
        self.values.push(value);
        let count = self.values.len();
        if count >= FIRST && count.is_power_of_two() {
            self.next = Some(Cutter::of(&self.time, &self.values, &self.settings)?);
        }
        if let Some(now) = &mut self.now {
            now.take(&self.time, &self.values, CATCH_UP)?;
        }
        if let Some(mut next) = self.next.take() {
            next.take(&self.time, &self.values, CATCH_UP)?;
            let caught_up = next.taken == count;
            *(if caught_up { &mut self.now } else { &mut self.next }) = Some(next);
        }
        Ok(())
    }

    /// How many samples were given.
    #[must_use]
    pub fn len(&self) -> usize {
        self.values.len()
    }

    /// Whether no sample was given.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.values.is_empty()
    }

    /// The first sample of the segment now open, as far as the samples so far tell.
    #[must_use]
    pub fn open_since(&self) -> usize {
        let begins = |now: &Cutter| now.first.get(now.engine.last_change()).map(|first| *first as usize);
        self.now.as_ref().and_then(begins).unwrap_or(0)
    }

    /// Every change so far, at both scales: what [`changes`] says of the same samples.
    ///
    /// # Errors
    /// [`SegmentError::NoSamples`] if none was given.
    pub fn changes(&self) -> Result<Changes, SegmentError> {
        changes(&self.time, &self.values, &self.settings)
    }
}

impl Cutter {
    fn of(time: &[f64], values: &[f64], settings: &Settings) -> Result<Self, SegmentError> {
        let from = values.len().saturating_sub(LOOKED_AT);
        let (time, newest) = (&time[from..], &values[from..]);
        let renewal = Renewal::of(time, |index| differs(newest, index), settings);
        let levels =
            Levels::of(&renewal.updates(time, newest, |index| differs(newest, index)), newest, settings);
        let penalty = noise::penalty(values.len());
        let engine = Optimum::new(Loss::Bounded(super::changes::bound(penalty)), penalty)?;
        Ok(Self { engine, noise: levels.noise, renewal, first: Vec::new(), taken: 0 })
    }

    /// Takes up to `most` of the samples that were not taken yet.
    fn take(&mut self, time: &[f64], values: &[f64], most: usize) -> Result<(), SegmentError> {
        let end = (self.taken + most).min(values.len());
        for index in self.taken..end {
            let fresh = index == 0 || differs(values, index);
            if self.renewal.renews(time[index], fresh) {
                self.engine.push(self.noise.stable(values[index]))?;
                #[expect(
                    clippy::cast_possible_truncation,
                    reason = "the engine takes at most u32::MAX samples"
                )]
                self.first.push(index as u32);
            }
        }
        self.taken = end;
        Ok(())
    }
}

fn differs(values: &[f64], index: usize) -> bool {
    values[index].total_cmp(&values[index - 1]).is_ne()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};

    /// Levels one after the other with normal noise of standard deviation 1.
    fn signal(levels: &[(usize, f64)], seed: u64) -> Vec<f64> {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let mut normal = move || -> f64 { (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0 };
        let each = levels.iter().flat_map(|(count, level)| std::iter::repeat_n(*level, *count));
        each.map(|level| level + normal()).collect()
    }

    fn times(count: usize) -> Vec<f64> {
        (0..count).map(|index| f64::from(u32::try_from(index).unwrap()) * 0.05).collect()
    }

    #[test]
    fn the_last_word_is_that_of_the_batch() {
        let values = signal(&[(300, 0.0), (200, 8.0), (3, 40.0), (400, 2.0)], 5);
        let time = times(values.len());
        let mut stream = Stream::new(Settings::default());
        for (time, value) in time.iter().zip(&values) {
            stream.push(*time, *value).unwrap();
        }
        assert_eq!(stream.changes().unwrap(), changes(&time, &values, &Settings::default()).unwrap());
        assert!(stream.open_since().abs_diff(503) <= 1, "{}", stream.open_since());
    }

    #[test]
    fn a_large_change_is_told_with_its_second_sample() {
        let values = signal(&[(300, 0.0), (50, 30.0)], 6);
        let time = times(values.len());
        let mut stream = Stream::new(Settings::default());
        let mut told = None;
        for (index, (time, value)) in time.iter().zip(&values).enumerate() {
            stream.push(*time, *value).unwrap();
            if told.is_none() && index >= 300 && stream.open_since() == 300 {
                told = Some(index + 1 - 300);
            }
        }
        assert!(told.is_some_and(|samples| samples <= 2), "{told:?}");
    }

    #[test]
    fn what_is_no_sample_is_refused_and_leaves_no_trace() {
        let mut stream = Stream::new(Settings::default());
        stream.push(0.0, 1.0).unwrap();
        assert!(stream.push(0.0, 1.0).is_err());
        assert!(stream.push(1.0, f64::NAN).is_err());
        assert!(stream.push(f64::INFINITY, 1.0).is_err());
        assert_eq!(stream.len(), 1);
    }
}
