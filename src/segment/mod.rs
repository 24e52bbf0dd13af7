//! Change points: where the trace's level or spread changes.
//!
//! A [`Segment`] is a stretch between two statistical changes and has no meaning yet; giving it one is the work of
//! `verdict`. Nothing outside this folder looks for change points.
//!
//! # The method, step by step
//!
//! 1. **Updates** (`updates`). Polled faster than its supply renews it, a readback repeats. One update is one
//!    observation; readings that follow each other faster than the updates count for the time they stand for.
//! 2. **Noise** (`noise`). The scatter of one update is estimated from the trace at each level, rounding included, and
//!    values go on a scale where it is 1 everywhere. There is nothing to tune to a supply.
//! 3. **The optimum** ([`optimum`]). The partition with the least penalised cost, over all partitions, exactly: the
//!    recursion of Jackson et al. ("An algorithm for optimal partitioning of data on an interval", IEEE Signal Process.
//!    Lett. 12 (2005) 105), pruned as a function of the level (Maidstone, Hocking, Rigaill & Fearnhead, "On optimal
//!    multiple changepoint algorithms for large data", Stat. Comput. 27 (2017) 519; pruning by inequality, which it
//!    improves on, is Killick, Fearnhead & Eckley, "Optimal detection of changepoints with a linear computational
//!    cost", J. Am. Stat. Assoc. 107 (2012) 1590). The loss is the biweight of Fearnhead & Rigaill ("Changepoint
//!    detection in the presence of outliers", J. Am. Stat. Assoc. 114 (2019) 169): it stops growing between one and two
//!    penalties, so one wild update cannot buy itself a segment and two can. What stays beyond the bound is a [`Spike`].
//! 4. **Stages** (`stages`). The coarse scale: the same engine on the fine segments, each weighing the time it lasts. Here
//!    the noise is what the load does from one shortest stage to the next, and the penalty is in long-run variances, which
//!    count how many averages of a wandering load are worth one that is independent.
//! 5. **Spread** (`spread`). The same engine on the logarithm of the squared distance from the stage's level.
//!
//! Gaps split nothing: an observation is one, however long it was waited for, and a level that comes back after a gap
//! goes on.
//!
//! # The two scales
//!
//! *Fine* segments are every change of level that the readback can carry, down to attempts of 100 ms: what can be told
//! from the noise of the readback itself. A busy load wanders, and on the fine scale its ups and downs may be seen as
//! levels of their own. *Coarse* segments are what a person would call a stage: they hold a busy load together. Every
//! boundary of a coarse segment is a boundary of a fine one.
//!
//! # One sample at a time
//!
//! [`Stream`] takes samples as they come, with a bounded amount of work for each, and in the end gives exactly what
//! [`changes`] gives.

mod changes;
mod describe;
mod noise;
pub mod optimum;
mod parts;
mod settings;
mod spread;
mod stages;
mod stream;
mod updates;

pub use changes::{Changes, changes};
pub use settings::Settings;
pub use stream::Stream;

use crate::trace::Trace;
use std::ops::Range;

/// A stretch of samples between two changes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Segment {
    /// Index of its first sample.
    pub start: usize,
    /// Index one past its last sample.
    pub end: usize,
    /// Time of its first sample, in seconds on the log's clock.
    pub start_s: f64,
    /// Time of the first sample of the next segment, or of the last sample of the trace.
    pub end_s: f64,
    /// Time-weighted mean current in amps.
    pub mean_a: f64,
    /// Time-weighted mean volts.
    pub mean_v: f64,
    /// Time-weighted mean power in watts.
    pub mean_w: f64,
    /// Median current in amps, which a spike does not move.
    pub level_a: f64,
    /// Robust standard deviation of the current within the segment, in amps.
    pub spread_a: f64,
}

/// A short excursion that is an event of its own and no change of level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spike {
    /// Index of its first sample.
    pub start: usize,
    /// Index one past its last sample.
    pub end: usize,
    /// Its furthest current, in amps.
    pub peak_a: f64,
    /// The level that it departs from, in amps.
    pub level_a: f64,
}

/// A trace cut at its changes.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Segmentation {
    /// Every change of level that the readback can carry. In order, without gaps, covering every sample.
    pub fine: Vec<Segment>,
    /// Stages, each a run of whole fine segments. In order, without gaps, covering every sample.
    pub coarse: Vec<Segment>,
    /// Single-update excursions, in order.
    pub spikes: Vec<Spike>,
    /// Noise of the readback at low current, in amps, with the rounding step counted in.
    pub noise_a: f64,
    /// Step that the supply rounds its current readback to, in amps; zero if none can be seen.
    pub rounding_a: f64,
}

impl Segmentation {
    /// The sample ranges of the fine segments, with every spike a range of its own.
    #[must_use]
    pub fn stretches(&self) -> Vec<Range<usize>> {
        let fine = self.fine.iter().map(|segment| segment.start);
        let spikes = self.spikes.iter().flat_map(|spike| [spike.start, spike.end]);
        let mut bounds: Vec<usize> = fine.chain(spikes).collect();
        bounds.extend(self.fine.last().map(|segment| segment.end));
        bounds.sort_unstable();
        bounds.dedup();
        bounds.windows(2).map(|pair| pair[0]..pair[1]).collect()
    }

    /// The fine segments that make up coarse segment `index` (empty past the end).
    #[must_use]
    pub fn fine_within(&self, index: usize) -> &[Segment] {
        let Some(coarse) = self.coarse.get(index) else { return &[] };
        let first = self.fine.partition_point(|fine| fine.start < coarse.start);
        let last = self.fine.partition_point(|fine| fine.start < coarse.end);
        &self.fine[first..last]
    }
}

/// Why a trace has no segments.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SegmentError {
    /// There is nothing to cut.
    #[error("no samples to segment; at least 1 is needed")]
    NoSamples,
    /// Times and values do not belong together.
    #[error("{times} times for {values} values; give each value its time")]
    Lengths {
        /// How many times.
        times: usize,
        /// How many values.
        values: usize,
    },
    /// More samples than an index has room for.
    #[error("{found} samples, at most {limit} can be taken; cut the series into parts")]
    TooMany {
        /// How many there are.
        found: usize,
        /// The most that can be taken.
        limit: usize,
    },
    /// A time or value that is no number, or too large to be squared.
    #[error("{what} of sample {index} is {found}; it must be finite and less than 1e80 in size")]
    NotANumber {
        /// Index of the sample, from 0.
        index: usize,
        /// `time` or `value`.
        what: &'static str,
        /// What was given.
        found: f64,
    },
    /// Time stands still or runs back.
    #[error(
        "sample {index} is at {found} s, not after the one before at {before} s; sort the samples by time"
    )]
    Time {
        /// Index of the sample, from 0.
        index: usize,
        /// Its time in seconds.
        found: f64,
        /// The time before in seconds.
        before: f64,
    },
    /// The optimum could not be had.
    #[error(transparent)]
    Optimum(#[from] optimum::OptimumError),
}

/// Cuts a trace at its changes.
///
/// A trace too short for any change, or without one, is one segment.
///
/// # Errors
/// [`SegmentError::NoSamples`] for an empty trace.
pub fn segment(trace: &Trace, settings: &Settings) -> Result<Segmentation, SegmentError> {
    // Volts are renewed with the amps, so either tells of an update.
    let fresh = |index: usize| trace.is_fresh(index);
    let found = changes::changes_between(trace.time(), trace.amps(), fresh, settings)?;
    Ok(describe::segmentation(trace, &found))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::{Header, Mode, Sample, TraceBuilder};
    use crate::units::{Amps, Seconds, Volts};

    fn trace(levels: &[(usize, f64)]) -> Trace {
        let mut builder = TraceBuilder::new(Header::default());
        let amps = levels.iter().flat_map(|(count, level)| std::iter::repeat_n(*level, *count));
        for (index, level) in amps.enumerate() {
            let wobble = 0.0005 * f64::from(u8::try_from(index * 7 % 5).unwrap()) - 0.001;
            #[expect(clippy::cast_precision_loss, reason = "a few hundred samples")]
            let time = Seconds::constant(index as f64 * 0.05);
            let (volts, amps) = (Volts::constant(12.8), Amps::constant(level + wobble));
            builder.sample(Sample { time, volts, amps, mode: Mode::Unknown, span: None }).unwrap();
        }
        builder.finish()
    }

    #[test]
    fn levels_of_a_boot_are_found_to_the_sample() {
        let trace = trace(&[(40, 0.0), (60, 0.024), (80, 0.4), (100, 1.1)]);
        let found = segment(&trace, &Settings::default()).unwrap();
        let starts: Vec<usize> = found.coarse.iter().map(|segment| segment.start).collect();
        assert_eq!(starts, [0, 40, 100, 180]);
        assert!((found.coarse[3].mean_w - 1.1 * 12.8).abs() < 0.01);
        assert_eq!(found.coarse[3].end, trace.len());
    }

    #[test]
    fn nothing_to_cut_is_an_error_and_one_sample_a_segment() {
        assert_eq!(segment(&Trace::default(), &Settings::default()), Err(SegmentError::NoSamples));
        let found = segment(&trace(&[(1, 0.5)]), &Settings::default()).unwrap();
        assert_eq!((found.fine.len(), found.coarse.len()), (1, 1));
    }

    #[test]
    fn coarse_segments_are_runs_of_fine_ones() {
        let found =
            segment(&trace(&[(40, 0.0), (2, 0.3), (60, 0.024), (80, 0.4)]), &Settings::default()).unwrap();
        let nested: usize = (0..found.coarse.len()).map(|index| found.fine_within(index).len()).sum();
        assert_eq!(nested, found.fine.len());
        assert!(found.fine.len() > found.coarse.len());
    }
}
