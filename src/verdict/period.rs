//! Whether what a board draws within one phase repeats, and how often: housekeeping in standby, a loop in a stage that
//! never ends.
//!
//! The autocorrelation of the readings, on a grid of one renewal of the readback, is looked at beyond its first zero: a
//! level that wanders has no peak there as high as a load that repeats.

use super::readout::Readout;
use crate::trace::Trace;
use std::ops::Range;

/// Most renewals that are looked at, from the start of the phase.
const MOST: usize = 1024;
/// Fewer renewals than this show no period.
const FEWEST: usize = 32;
/// A period is seen this many times or more.
const TIMES: usize = 5;
/// Shortest period, in renewals: below, a reading averages over most of it.
const SHORTEST: usize = 4;
/// Correlation from which a load repeats: more than half of what moves comes again, by judgement. White noise of 1024
/// readings stays below 0.13 at every lag (Bartlett's bound of 1/√n, four times over; Box & Jenkins, "Time series
/// analysis", section 2.1.6), but a busy load that wanders comes to 0.4 now and then.
const REPEATS: f64 = 0.55;
/// ... and after two periods.
const REPEATS_AGAIN: f64 = 0.4;

/// The period with which the power of `samples` repeats, in seconds; `None` where it does not, or too few are there.
pub(super) fn period(trace: &Trace, samples: Range<usize>, readout: &Readout) -> Option<f64> {
    let step = readout.update_s();
    let mut series = smoothed(&grid(trace, samples, step));
    let count = series.len();
    if count < FEWEST {
        return None;
    }
    centre(&mut series);
    let correlations: Vec<f64> = (0..=2 * (count / TIMES)).map(|lag| correlation(&series, lag)).collect();
    let lag = repeats(&correlations, count / TIMES)?;
    Some(step * (count_f(lag) + summit(&correlations, lag)))
}

/// The first peak beyond the first zero, up to `most`, that is nearly as high as the highest: its multiples may be higher
/// by chance. It and its double must be high enough.
fn repeats(correlations: &[f64], most: usize) -> Option<usize> {
    /// Share of the highest peak.
    const NEARLY: f64 = 0.8;
    let zero = correlations.iter().position(|r| *r <= 0.0)?;
    let is_peak = |lag: &usize| {
        let [before, here, after] = [*lag - 1, *lag, *lag + 1].map(|lag| correlations[lag]);
        here >= before && here >= after && here >= REPEATS
    };
    let peaks = || (zero.max(SHORTEST)..=most.min(correlations.len() - 2)).filter(is_peak);
    let highest = peaks().map(|lag| correlations[lag]).max_by(f64::total_cmp)?;
    let first = peaks().find(|lag| correlations[*lag] >= NEARLY * highest)?;
    let twice = 2 * first - 1..(2 * first + 2).min(correlations.len());
    let again = twice.map(|lag| correlations[lag]).fold(f64::NEG_INFINITY, f64::max);
    (again >= REPEATS_AGAIN).then_some(first)
}

/// Where the parabola through a peak and its neighbours has its top, in lags from the peak.
fn summit(correlations: &[f64], lag: usize) -> f64 {
    let [before, top, after] = [correlations[lag - 1], correlations[lag], correlations[lag + 1]];
    let bend = before - 2.0 * top + after;
    if bend < 0.0 { (before - after) / (2.0 * bend) } else { 0.0 }
}

/// Power at every multiple of `step` from the first sample on: the last reading before it.
fn grid(trace: &Trace, samples: Range<usize>, step: f64) -> Vec<f64> {
    let time = trace.time();
    let Some(&start) = time.get(samples.start) else { return Vec::new() };
    let mut values = Vec::new();
    let mut at = samples.start;
    while values.len() < MOST {
        let due = start + step * count_f(values.len());
        while at + 1 < samples.end && time[at + 1] <= due {
            at += 1;
        }
        if at + 1 >= samples.end {
            break;
        }
        values.push(trace.volts()[at] * trace.amps()[at]);
    }
    values
}

/// Means of three, which a period that is a little unsteady needs.
fn smoothed(values: &[f64]) -> Vec<f64> {
    values.windows(3).map(|three| three.iter().sum::<f64>() / 3.0).collect()
}

fn centre(values: &mut [f64]) {
    let mean = values.iter().sum::<f64>() / count_f(values.len());
    for value in values {
        *value -= mean;
    }
}

/// Sample autocorrelation, each sum divided by the number of its terms, so that a far lag is not made small.
fn correlation(values: &[f64], lag: usize) -> f64 {
    let mean = |lag: usize| {
        let terms = values.iter().zip(&values[lag..]).map(|(a, b)| a * b);
        terms.sum::<f64>() / count_f(values.len() - lag)
    };
    let square = mean(0);
    if square > 0.0 { mean(lag) / square } else { 0.0 }
}

#[expect(clippy::cast_precision_loss, reason = "a count of samples")]
fn count_f(count: usize) -> f64 {
    count as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::segment::{Settings, segment};
    use crate::trace::{Header, Mode, Sample, TraceBuilder};
    use crate::units::{Amps, Seconds, Volts};
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;

    /// A minute at ten readings a second.
    fn found(amps: impl FnMut(f64) -> f64) -> Option<f64> {
        let mut builder = TraceBuilder::new(Header::default());
        let mut amps = amps;
        for index in 0..600_u32 {
            let time = f64::from(index) * 0.1;
            let amps = (amps(time).max(0.0) * 1000.0).round() / 1000.0;
            let (volts, amps) = (Volts::constant(12.0), Amps::constant(amps));
            let sample =
                Sample { time: Seconds::constant(time), volts, amps, mode: Mode::Unknown, span: None };
            builder.sample(sample).unwrap();
        }
        let trace = builder.finish();
        let timing = Readout::timing(&trace);
        let readout = Readout::of(&trace, timing, &segment(&trace, &Settings::default()).unwrap());
        period(&trace, 0..trace.len(), &readout)
    }

    fn random(seed: u64) -> impl FnMut() -> f64 {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        move || random.random_range(-1.0..1.0)
    }

    #[test]
    fn pulses_that_come_again_have_their_period_though_it_jitters() {
        for seed in 0..20 {
            let mut noise = random(seed);
            let mut next = 1.0;
            let period = found(|time| {
                if time >= next + 0.3 {
                    next += 1.6 + 0.05 * noise();
                }
                let pulse = if time >= next { 0.03 } else { 0.0 };
                0.03 + pulse + 0.001 * noise()
            });
            assert!(period.is_some_and(|period| (period - 1.6).abs() < 0.08), "seed {seed}: {period:?}");
        }
    }

    #[test]
    fn a_wave_in_noise_of_half_its_size_has_its_period() {
        let mut noise = random(1);
        let period = found(|time| 1.0 + 0.1 * (std::f64::consts::TAU * time / 2.5).sin() + 0.06 * noise());
        assert!(period.is_some_and(|period| (period - 2.5).abs() < 0.06), "{period:?}");
    }

    #[test]
    fn what_does_not_repeat_has_none() {
        let mut said = 0;
        for seed in 0..200 {
            let mut noise = random(seed);
            said += u32::from(found(|_| 1.0 + 0.05 * noise()).is_some());
            let (mut noise, mut wander) = (random(seed), 0.0);
            let wandering = found(|_| {
                wander = 0.9 * wander + noise();
                1.0 + 0.02 * wander
            });
            said += u32::from(wandering.is_some());
            let (mut noise, mut high) = (random(seed), false);
            let bursts = found(|_| {
                high ^= noise() > 0.8;
                if high { 1.4 } else { 1.0 }
            });
            said += u32::from(bursts.is_some());
        }
        assert!(said <= 6, "{said} of 600");
        assert_eq!(found(|_| 1.0), None);
        assert_eq!(found(|time| 1.0 + 0.01 * time), None);
    }
}
