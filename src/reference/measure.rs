//! What one capture shows of one stage.
//!
//! Power is what the supply read back, volts times amps, never the set volts times amps: where the supply senses the
//! volts at the board, or its volts give way under load, the drop in the leads is thereby taken off.

use super::model::StageMeasure;
use crate::stats::robust;
use crate::trace::Trace;
use std::ops::Range;

/// Left out at both ends of a stage for levels, seconds: a readback averages over some tenths of a second, so the
/// readings at an edge belong to both sides. Never more than a quarter of the stage.
const EDGE_S: f64 = 0.2;
const EDGE_SHARE: f64 = 0.25;

/// Gain error of a supply's current readback, as the half-width of a uniform distribution: specifications of bench
/// supplies lie between 0.1 and 0.5 % of the reading (common practice, no source).
const GAIN_ERROR: f64 = 0.005;

/// A stage of fewer readings than this shows no level of its own.
const FEWEST_READINGS: usize = 2;

/// Measures the samples `range` of `trace` as the stage `phase`; `step_a` is what the amps readback can tell apart.
///
/// `ends` says whether the stage has an end of its own, and so a duration and an energy. `None` with fewer than two
/// readings.
#[must_use]
pub fn measure(
    trace: &Trace,
    range: Range<usize>,
    phase: &str,
    ends: bool,
    step_a: f64,
) -> Option<StageMeasure> {
    let inner = without_edges(trace, &range);
    if range.end > trace.len() || range.len() < FEWEST_READINGS || inner.is_empty() {
        return None;
    }
    let mut power: Vec<f64> = inner.clone().map(|index| power(trace, index)).collect();
    let mut volts = trace.volts()[inner.clone()].to_vec();
    let volts = robust::median(&mut volts)?;
    let mean = energy(trace, &inner) / length(trace, &inner);
    let peak = power.iter().copied().fold(0.0, f64::max);
    let mean = if mean.is_finite() { mean.max(0.0) } else { 0.0 };
    Some(StageMeasure {
        phase: phase.to_owned(),
        mean_power: mean,
        peak_power: peak,
        activity: robust::deviation(&mut power)?,
        duration: ends.then(|| length(trace, &range)),
        energy: ends.then(|| energy(trace, &range).max(0.0)),
        volts,
        uncertainty: uncertainty(mean, step_a * volts),
    })
}

fn power(trace: &Trace, index: usize) -> f64 {
    trace.volts()[index] * trace.amps()[index]
}

/// The time that sample `index` stands for: to the next sample, and for the last sample of the trace as long as the
/// one before it.
fn stands_for(trace: &Trace, index: usize) -> f64 {
    let time = trace.time();
    match (time.get(index + 1), index.checked_sub(1)) {
        (Some(next), _) => next - time[index],
        (None, Some(before)) => time[index] - time[before],
        (None, None) => 0.0,
    }
}

fn length(trace: &Trace, range: &Range<usize>) -> f64 {
    range.clone().map(|index| stands_for(trace, index)).sum()
}

fn energy(trace: &Trace, range: &Range<usize>) -> f64 {
    range.clone().map(|index| stands_for(trace, index) * power(trace, index)).sum()
}

/// `range` without the readings at its ends that average over the edge.
fn without_edges(trace: &Trace, range: &Range<usize>) -> Range<usize> {
    let time = &trace.time()[..range.end.min(trace.len())];
    let (Some(first), Some(last)) = (time.get(range.start), time.last()) else { return 0..0 };
    let edge = EDGE_S.min((last - first) * EDGE_SHARE);
    let start = range.start + time[range.start..].partition_point(|t| *t < first + edge);
    let end = range.start + time[range.start..].partition_point(|t| *t <= last - edge);
    if end > start { start..end } else { range.clone() }
}

/// Rounding to a step is uniform within it, and so is the gain within its limits (GUM, JCGM 100:2008, 4.3.7).
fn uncertainty(mean: f64, step: f64) -> f64 {
    let rounding = step / 12_f64.sqrt();
    let gain = GAIN_ERROR * mean / 3_f64.sqrt();
    rounding.hypot(gain)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::{Header, Mode, Sample, TraceBuilder};
    use crate::units::{Amps, Seconds, Volts};
    use approx::assert_relative_eq;

    fn trace(amps: &[f64]) -> Trace {
        let mut builder = TraceBuilder::new(Header::default());
        for (index, amps) in amps.iter().enumerate() {
            let time = Seconds::constant(f64::from(u32::try_from(index).unwrap()) * 0.1);
            let (volts, amps) = (Volts::constant(10.0), Amps::constant(*amps));
            builder.sample(Sample { time, volts, amps, mode: Mode::Unknown, span: None }).unwrap();
        }
        builder.finish()
    }

    #[test]
    fn edges_count_for_duration_and_energy_but_not_for_levels() {
        let mut amps = vec![0.1; 10];
        amps.extend([0.3, 0.45]);
        amps.extend([0.5; 16]);
        amps.extend([0.4, 0.2]);
        amps.extend([0.1; 5]);
        let found = measure(&trace(&amps), 10..30, "firmware", true, 0.001).unwrap();
        assert_relative_eq!(found.mean_power, 5.0, epsilon = 1e-9);
        assert_relative_eq!(found.peak_power, 5.0, epsilon = 1e-9);
        assert_relative_eq!(found.duration.unwrap(), 2.0, epsilon = 1e-9);
        assert_relative_eq!(
            found.energy.unwrap(),
            0.1 * (3.0 + 4.5 + 16.0 * 5.0 + 4.0 + 2.0),
            epsilon = 1e-9
        );
        // 1 mA of 10 V rounds to 10 mW / √12 = 2.9 mW; 0.5 % of 5 W / √3 = 14.4 mW.
        assert_relative_eq!(found.uncertainty, 0.0147, epsilon = 1e-4);
    }

    #[test]
    fn one_reading_is_no_stage() {
        assert_eq!(measure(&trace(&[0.1, 0.2]), 0..1, "rails", true, 0.001), None);
        assert_eq!(measure(&trace(&[0.1, 0.2]), 0..5, "rails", true, 0.001), None);
    }
}
