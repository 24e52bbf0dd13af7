//! What one capture shows of one stage.
//!
//! Amps are counted from the supply's own zero, which the readings before switch-on show.
//!
//! Power is what the supply read back, volts times amps, never the set volts times amps: where the supply senses the
//! volts at the board, or its volts give way under load, the drop in the leads is thereby taken off.

use super::model::StageMeasure;
use crate::stats::robust;
use crate::trace::Trace;
use crate::trace::readback::{self, USUAL_UPDATE_S};
use rayon::prelude::*;
use std::ops::Range;

/// Left out at both ends of a stage for levels, seconds, if a renewal of the readback is no longer: it averages over
/// some tenths of a second, so the readings at an edge belong to both sides. Never more than a quarter of the stage.
const EDGE_S: f64 = 0.2;
const EDGE_SHARE: f64 = 0.25;

/// Readings at an end of a stage that go on to the level beside it, beyond so many standard deviations of the stage, are on
/// their way there; no longer than this, seconds, for no longer do a placed boundary and a rise differ (by judgement).
const ON_THE_WAY_SDS: f64 = 5.0;
const ON_THE_WAY_S: f64 = 0.5;

/// Gain error of a supply's current readback, as the half-width of a uniform distribution: specifications of bench
/// supplies lie between 0.1 and 0.5 % of the reading (common practice, no source).
const GAIN_ERROR: f64 = 0.005;

/// A stage of fewer readings than this shows no level of its own.
const FEWEST_READINGS: usize = 2;

/// A steady stretch shows the readback's noise from this many readings on.
const READINGS_FOR_NOISE: usize = 12;
/// ... and to within [`FEW_READINGS`] from this many on.
const FEWEST_FOR_NOISE: usize = 6;
/// Upper bound of the standard deviation that six normal readings show, as a factor: √(5/χ²) with χ² = 1.145, the 5 % point for
/// five degrees of freedom (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.4).
const FEW_READINGS: f64 = 2.09;

/// What the supply's readback can tell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Readback {
    /// What it can tell apart, in amps: its step, or its noise where that is more.
    pub step_a: f64,
    /// What it shows at nothing drawn, in amps.
    pub zero_a: f64,
    /// Standard deviation of that, in amps.
    pub zero_sd_a: f64,
    /// From one renewal to the next, in seconds.
    pub update_s: f64,
}

impl Readback {
    /// What `trace` shows of its readback, which rounds to `rounding_a` (0 if no step can be seen); `steady` are
    /// stretches between changes of level.
    #[must_use]
    pub fn of(trace: &Trace, rounding_a: f64, steady: &[Range<usize>]) -> Self {
        let noise_a = quietest(trace, steady);
        let step_a = rounding_a.max(noise_a);
        let zero = readback::zero(trace, rounding_a, noise_a.max(rounding_a / 12_f64.sqrt()));
        let time = trace.time();
        let poll = robust::median_at(time.len().saturating_sub(1), |i| time[i + 1] - time[i]);
        let poll = poll.unwrap_or(USUAL_UPDATE_S);
        let update_s = readback::update_period(trace).unwrap_or(poll.max(USUAL_UPDATE_S));
        Self { step_a, zero_a: zero.amps, zero_sd_a: zero.sd, update_s }
    }
}

/// Noise of the readback where the board is quietest: the least spread of the steady stretches, in amps. Of a short stretch the
/// spread is known less well, and is taken for more than it seems; a board that rests for a second only is quiet nowhere else.
fn quietest(trace: &Trace, steady: &[Range<usize>]) -> f64 {
    let within = steady.par_iter().filter(|range| range.end <= trace.len());
    let spread = |range: &Range<usize>| {
        let spread = robust::deviation_at(range.len(), |i| trace.amps()[range.start + i])?;
        match range.len() {
            READINGS_FOR_NOISE.. => Some(spread),
            FEWEST_FOR_NOISE.. => Some(FEW_READINGS * spread).filter(|spread| *spread > 0.0),
            _ => None,
        }
    };
    within.filter_map(spread).min_by(f64::total_cmp).unwrap_or(0.0)
}

/// Measures the samples `range` of `trace` as the stage `phase`.
///
/// `ends` says whether the stage has an end of its own, and so a duration and an energy. `None` with fewer than two
/// readings.
#[must_use]
pub fn measure(
    trace: &Trace,
    range: Range<usize>,
    phase: &str,
    ends: bool,
    readback: &Readback,
) -> Option<StageMeasure> {
    if range.end > trace.len() || range.len() < FEWEST_READINGS {
        return None;
    }
    let zero = readback.zero_a;
    let power = |index: usize| power(trace, index, zero);
    let settled = super::capture::risen(trace, range.clone())..range.end;
    let settled = if settled.len() < FEWEST_READINGS { range.clone() } else { settled };
    let inner = without_edges(trace, &settled, readback.update_s);
    let inner = without_rise(trace, inner, readback)?;
    let volts = robust::median_at(inner.len(), |i| trace.volts()[inner.start + i])?;
    let mean = energy(trace, &inner, zero) / length(trace, &inner);
    let peak = inner.clone().map(power).fold(0.0, f64::max);
    let mean = if mean.is_finite() { mean.max(0.0) } else { 0.0 };
    let seen = length(trace, &range);
    Some(StageMeasure {
        phase: phase.to_owned(),
        mean_power: mean,
        peak_power: peak,
        activity: robust::deviation_at(inner.len(), |i| power(inner.start + i))?,
        duration: ends.then_some(seen),
        energy: ends.then(|| energy(trace, &range, zero).max(0.0)),
        volts,
        uncertainty: uncertainty(mean, volts, readback),
        seen: Some(seen),
        update: Some(readback.update_s),
    })
}

fn power(trace: &Trace, index: usize, zero: f64) -> f64 {
    trace.volts()[index] * (trace.amps()[index] - zero)
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
    // All but the last stand until the next: together from the first to the last.
    range
        .end
        .checked_sub(1)
        .filter(|last| *last >= range.start)
        .map_or(0.0, |last| trace.time()[last] - trace.time()[range.start] + stands_for(trace, last))
}

fn energy(trace: &Trace, range: &Range<usize>, zero: f64) -> f64 {
    range.clone().map(|index| stands_for(trace, index) * power(trace, index, zero)).sum()
}

/// How much is left out at either end of a stage of that length for its levels and its peak, in seconds, where the readback is
/// renewed every `update_s`.
#[must_use]
pub fn edge_s(update_s: f64, length_s: f64) -> f64 {
    update_s.max(EDGE_S).min(length_s * EDGE_SHARE)
}

/// `range` without the readings at its ends that average over the edge.
fn without_edges(trace: &Trace, range: &Range<usize>, update_s: f64) -> Range<usize> {
    let time = &trace.time()[..range.end];
    let (first, last) = (time[range.start], time[range.end - 1]);
    let edge = edge_s(update_s, last - first);
    let start = range.start + time[range.start..].partition_point(|t| *t < first + edge);
    let end = range.start + time[range.start..].partition_point(|t| *t <= last - edge);
    if end > start { start..end } else { range.clone() }
}

/// `range` without the readings at its end that are on their way to a higher level: a rest that ends a reading or two late
/// would seem to have pulses. `None` for no readings.
fn without_rise(trace: &Trace, range: Range<usize>, readback: &Readback) -> Option<Range<usize>> {
    let power = |index: usize| power(trace, index, readback.zero_a);
    let level = robust::median_at(range.len(), |i| power(range.start + i))?;
    let spread = robust::deviation_at(range.len(), |i| power(range.start + i))?;
    let steady = spread.max(readback.step_a * trace.volts()[range.start].abs());
    let end = trace.time()[range.end - 1];
    let soon = (end - trace.time()[range.start]) * EDGE_SHARE;
    let rises = |index: &usize| {
        let falls = *index + 1 < range.end && power(*index) > power(*index + 1);
        let late = end - trace.time()[*index] < soon.min(ON_THE_WAY_S);
        late && !falls && power(*index) - level > ON_THE_WAY_SDS * steady
    };
    let rise = range.clone().rev().take_while(rises).count();
    Some(range.start..range.end - rise)
}

/// Rounding to a step is uniform within it, and so is the gain within its limits (GUM, JCGM 100:2008, 4.3.7).
fn uncertainty(mean: f64, volts: f64, readback: &Readback) -> f64 {
    let rounding = readback.step_a * volts / 12_f64.sqrt();
    let gain = GAIN_ERROR * mean / 3_f64.sqrt();
    rounding.hypot(gain).hypot(readback.zero_sd_a * volts)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::{Header, Mode, Sample, TraceBuilder};
    use crate::units::{Amps, Seconds, Volts};
    use approx::assert_relative_eq;

    const READBACK: Readback = Readback { step_a: 0.001, zero_a: 0.0, zero_sd_a: 0.0, update_s: 0.1 };

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
        let found = measure(&trace(&amps), 10..30, "firmware", true, &READBACK).unwrap();
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
    fn amps_count_from_the_zero_of_the_supply_and_its_doubt_is_kept() {
        let offset = Readback { zero_a: 0.01, zero_sd_a: 0.002, ..READBACK };
        let found = measure(&trace(&[0.11; 20]), 0..20, "standby", false, &offset).unwrap();
        assert_relative_eq!(found.mean_power, 1.0, epsilon = 1e-9);
        assert_relative_eq!(found.peak_power, 1.0, epsilon = 1e-9);
        // 2 mA of 10 V, beside rounding and gain of 2.9 mW each.
        assert_relative_eq!(found.uncertainty, 0.0204, epsilon = 1e-4);
    }

    #[test]
    fn a_slow_readback_leaves_out_more_at_the_edges() {
        // Renewed twice a second: the first and the last half second hold both sides.
        let mut amps = vec![0.1; 10];
        amps.extend([0.3; 5]);
        amps.extend([0.5; 20]);
        amps.extend([0.2; 5]);
        amps.extend([0.1; 10]);
        let slow = Readback { update_s: 0.5, ..READBACK };
        let found = measure(&trace(&amps), 10..40, "firmware", true, &slow).unwrap();
        assert_relative_eq!(found.mean_power, 5.0, epsilon = 1e-9);
    }

    #[test]
    fn a_rest_that_ends_late_in_the_rise_after_it_shows_no_pulse_of_that() {
        let mut amps = vec![0.02; 30];
        amps.extend([0.05, 0.13, 0.16, 0.17]);
        let found = measure(&trace(&amps), 0..34, "standby", false, &READBACK).unwrap();
        assert_relative_eq!(found.peak_power, 0.2, epsilon = 1e-9);
        // A pulse of its own comes down again.
        amps.extend([0.02; 10]);
        let found = measure(&trace(&amps), 0..44, "standby", false, &READBACK).unwrap();
        assert_relative_eq!(found.peak_power, 1.7, epsilon = 1e-9);
    }

    #[test]
    fn what_charges_the_inlet_while_the_feed_rises_is_no_level_of_the_standby() {
        // Renewed four times a second and read twice as often: the charge of a moment is two readings long.
        let inrush = [(18.5, 0.085); 2];
        let standby = [(19.0, 0.005); 2];
        let mut builder = TraceBuilder::new(Header::default());
        for (index, (volts, amps)) in inrush.into_iter().chain(standby).enumerate() {
            let time = Seconds::constant(f64::from(u32::try_from(index).unwrap()) * 0.125);
            let (volts, amps) = (Volts::constant(volts), Amps::constant(amps));
            builder.sample(Sample { time, volts, amps, mode: Mode::Unknown, span: None }).unwrap();
        }
        let slow = Readback { update_s: 0.25, ..READBACK };
        let found = measure(&builder.finish(), 0..4, "standby", true, &slow).unwrap();
        assert_relative_eq!(found.mean_power, 0.095, epsilon = 1e-9);
        assert_relative_eq!(found.peak_power, 0.095, epsilon = 1e-9);
        assert_relative_eq!(found.duration.unwrap(), 0.5, epsilon = 1e-9);
    }

    #[test]
    fn one_reading_is_no_stage() {
        assert_eq!(measure(&trace(&[0.1, 0.2]), 0..1, "rails", true, &READBACK), None);
        assert_eq!(measure(&trace(&[0.1, 0.2]), 0..5, "rails", true, &READBACK), None);
    }

    #[test]
    fn a_board_that_rests_for_a_second_only_shows_the_readback_s_noise_there() {
        // A rest of nine readings two milliamperes apart, and a busy level after it.
        let rest = [0.002, 0.004, 0.004, 0.002, 0.004, 0.006, 0.006, 0.002, 0.004];
        let busy = (0..40_u32).map(|index| 0.4 + 0.001 * f64::from(index * index % 211));
        let amps: Vec<f64> = rest.into_iter().chain(busy).collect();
        let found = Readback::of(&trace(&amps), 0.002, &[0..9, 9..49]);
        assert!(found.step_a < 0.01, "{found:?}");
        let rested_too_short = Readback::of(&trace(&amps), 0.002, &[0..4, 9..49]);
        assert!(rested_too_short.step_a > 0.03, "{rested_too_short:?}");
    }
}
