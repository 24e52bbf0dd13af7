//! Times of rows that were stamped together, and pauses between rows.

use super::{ConvertError, Reading};
use crate::units::Seconds;

/// A pause this many times the usual spacing, and longer than a second, is a gap.
const GAP_SPACINGS: f64 = 20.0;
/// Pauses up to here are no gaps, in seconds.
const SHORTEST_GAP: f64 = 1.0;
/// Times are kept to the nanosecond, so that differences of dates have no binary fractions.
const NANOSECONDS: f64 = 1e9;

/// Times in seconds from the first row, strictly increasing.
///
/// Rows with one stamp came in a burst, or are finer than the clock: they are spread evenly from their stamp on, up to
/// the next stamp but no wider than rows usually are apart.
pub(super) fn times(readings: &[Reading], assumed: &mut Vec<String>) -> Result<Vec<f64>, ConvertError> {
    let stamps = unwrapped(readings)?;
    let bursts: Vec<&[f64]> = stamps.chunk_by(|a, b| a.total_cmp(b).is_eq()).collect();
    let mut steps: Vec<f64> =
        bursts.windows(2).map(|pair| (pair[1][0] - pair[0][0]) / count(pair[0])).collect();
    let usual = median(&mut steps).unwrap_or(1.0);
    let shared: usize = bursts.iter().filter(|burst| burst.len() > 1).map(|burst| burst.len()).sum();
    if shared > 0 {
        assumed.push(format!("{shared} rows share their time with others and were spread evenly from it on"));
    }
    let mut times = Vec::with_capacity(stamps.len());
    for (index, burst) in bursts.iter().enumerate() {
        let room = bursts.get(index + 1).map_or(f64::INFINITY, |next| (next[0] - burst[0]) / count(burst));
        let step = room.min(usual);
        times.extend((0_u32..).zip(*burst).map(|(row, stamp)| rounded(stamp + f64::from(row) * step)));
    }
    Ok(times)
}

fn unwrapped(readings: &[Reading]) -> Result<Vec<f64>, ConvertError> {
    let first = readings.first().map_or(0.0, |reading| reading.moment.seconds);
    let mut before = 0.0;
    let mut stamps = Vec::with_capacity(readings.len());
    for reading in readings {
        let stamp = rounded(reading.moment.after(first + before) - first);
        if stamp < before {
            let by = Seconds::new(before - stamp).unwrap_or_default();
            return Err(ConvertError::TimeGoesBack { line: reading.line, by });
        }
        before = stamp;
        stamps.push(stamp);
    }
    Ok(stamps)
}

fn rounded(seconds: f64) -> f64 {
    (seconds * NANOSECONDS).round() / NANOSECONDS
}

#[expect(clippy::cast_precision_loss, reason = "a burst has far fewer rows than 2 to the 53rd")]
fn count(burst: &[f64]) -> f64 {
    burst.len() as f64
}

/// The lower median.
fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_unstable_by(f64::total_cmp);
    values.get(values.len().saturating_sub(1) / 2).copied()
}

/// Indices of the rows that follow a gap.
pub(super) fn pauses(times: &[f64], assumed: &mut Vec<String>) -> Vec<usize> {
    let mut steps: Vec<f64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let Some(usual) = median(&mut steps.clone()) else { return Vec::new() };
    let least = (GAP_SPACINGS * usual).max(SHORTEST_GAP);
    let pauses: Vec<usize> =
        (1..).zip(&steps).filter(|(_, step)| **step > least).map(|(index, _)| index).collect();
    steps.sort_unstable_by(f64::total_cmp);
    if let (Some(longest), false) = (steps.last(), pauses.is_empty()) {
        let longest = Seconds::new(*longest).unwrap_or_default();
        assumed.push(format!("{} pauses between rows, the longest {longest}, are gaps", pauses.len()));
    }
    pauses
}
