//! Change points: where the trace's level or spread changes.
//!
//! A [`Segment`] is a stretch between two statistical changes and has no meaning yet; giving it one is the work of
//! `verdict`. Nothing outside this folder looks for change points.
//!
//! [`segment`] cuts a trace at two scales that nest: every boundary of a coarse segment is a boundary of a fine one.
//! *Fine* segments are every change of level that the readback can carry, down to attempts of 100 ms; *coarse* ones
//! are what a person would call a stage.

mod describe;
mod hierarchy;
mod noise;
pub mod optimum;
mod settings;

pub use settings::Settings;

use crate::trace::Trace;

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
pub enum SegmentError {
    /// There is nothing to cut.
    #[error("no samples to segment; at least 1 is needed")]
    NoSamples,
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
    if trace.is_empty() {
        return Err(SegmentError::NoSamples);
    }
    let noise = noise::Noise::of(trace.amps(), settings);
    let stable: Vec<f64> = trace.amps().iter().map(|amps| noise.stable(*amps)).collect();
    let penalty = noise::penalty(stable.len());
    let mut engine = optimum::Optimum::new(optimum::Loss::Squares, penalty)?;
    engine.extend(&stable)?;
    let fine = engine.changes();
    let coarse = hierarchy::merge(&stable, trace.time(), &fine, settings.shortest_phase.value(), penalty);
    Ok(Segmentation {
        fine: describe::segments(trace, &fine),
        coarse: describe::segments(trace, &coarse),
        spikes: Vec::new(),
        noise_a: noise.floor(),
        rounding_a: noise.rounding(),
    })
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
