//! Change points: where the trace's level or spread changes.
//!
//! A [`Segment`] is a stretch between two statistical changes and has no meaning yet; giving it one is the work of
//! `verdict`. Nothing outside this folder looks for change points.

/// A stretch of samples between two changes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Segment {
    /// Index of its first sample.
    pub start: usize,
    /// Index one past its last sample.
    pub end: usize,
    /// Time-weighted mean current in amps.
    pub mean_a: f64,
    /// Time-weighted mean volts.
    pub mean_v: f64,
    /// Time-weighted mean power in watts.
    pub mean_w: f64,
    /// Robust standard deviation of the current within the segment, in amps.
    pub spread_a: f64,
}
