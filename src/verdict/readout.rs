//! What the supply's readback can carry: how often, how finely, and where its zero lies.

use super::Gap;
use crate::segment::Segmentation;
use crate::stats::moments::Moments;
use crate::stats::robust;
use crate::trace::readback::{self, OFF_VOLTS, USUAL_UPDATE_S, Zero};
use crate::trace::{EventKind, Trace};
use crate::units::Seconds;
use std::ops::Range;

/// A step between samples this many times the usual one is a gap: a poll loop that jitters by half a period, or
/// misses a reply now and then, stays below it (common practice, no source).
const GAP_STEPS: f64 = 5.0;

/// ... and nothing shorter than this is called a gap, for a person could not act on it.
const SHORTEST_GAP_S: f64 = 0.3;

/// What the supply's readback can carry.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Readout {
    /// Readings a second.
    pub poll_hz: Option<f64>,
    /// Readings that differ from the one before, a second, while volts are present: else a readback has nothing to show.
    pub changed_hz: Option<f64>,
    /// Seconds from one fresh reading to the next, where enough of them differ to tell.
    renewal_s: Option<f64>,
    /// Step of the amps readback, in amps; zero if none can be seen.
    pub step_a: f64,
    /// Step of the amps readback, in amps, if enough readings show it.
    pub resolution_a: Option<f64>,
    /// Standard deviation of one reading, in amps, rounding included.
    pub noise_a: f64,
    /// What the supply reads with nothing connected, in amps.
    pub zero_a: f64,
    /// How well that is known (standard deviation), in amps.
    pub zero_sd_a: f64,
    /// How many readings with the output off the zero is the mean of.
    pub zero_readings: usize,
    /// Stretches without readings.
    pub gaps: Vec<Gap>,
}

/// When readings came, and when they were fresh.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Timing {
    usual_step: Option<f64>,
    changed_hz: Option<f64>,
    renewal_s: Option<f64>,
    gaps: Vec<Gap>,
}

impl Readout {
    /// What shows without any segmentation.
    pub(super) fn timing(trace: &Trace) -> Timing {
        let usual_step = usual_step(trace);
        Timing {
            usual_step,
            changed_hz: fed_changed_rate(trace).or_else(|| changed_rate(trace)),
            renewal_s: readback::update_period(trace),
            gaps: usual_step.map_or_else(Vec::new, |step| gaps(trace, step)),
        }
    }

    pub(super) fn of(trace: &Trace, timing: Timing, segmentation: &Segmentation) -> Self {
        let step_a = segmentation.rounding_a;
        let quietest = quietest(trace).unwrap_or(f64::INFINITY);
        let noise_a = segmentation.noise_a.min(quietest).max(step_a / 12_f64.sqrt());
        let noise_a = if step_a > 0.0 { calm(trace, segmentation, step_a, noise_a) } else { noise_a };
        let Zero { amps: zero_a, sd: zero_sd_a, readings: zero_readings } =
            readback::zero(trace, step_a, noise_a);
        Self {
            poll_hz: timing.usual_step.map(|step| 1.0 / step),
            changed_hz: timing.changed_hz,
            renewal_s: timing.renewal_s,
            step_a,
            resolution_a: resolution_a(trace, step_a),
            noise_a,
            zero_a,
            zero_sd_a,
            zero_readings,
            gaps: timing.gaps,
        }
    }

    /// Time between two fresh readings, in seconds.
    pub(super) fn update_s(&self) -> f64 {
        // A steady, coarsely rounded level repeats for minutes; that says nothing of how often it was measured.
        match (self.renewal_s, self.poll_hz, self.changed_hz) {
            (Some(renewal), _, _) => renewal,
            (None, Some(poll), Some(changed)) if changed > 0.0 => {
                (1.0 / changed).min(4.0 / poll).max(1.0 / poll)
            }
            (None, Some(poll), _) => 1.0 / poll,
            _ => USUAL_UPDATE_S,
        }
    }

    /// Whether what lasts so many seconds shows a level of its own: fewer fresh readings are averaged with what comes before
    /// and after.
    pub(super) fn shows_level(&self, seconds: f64) -> bool {
        const READINGS: f64 = 3.0;
        seconds >= READINGS * self.update_s()
    }

    /// Mean current over so many seconds that is certainly not nothing, in amps.
    pub(super) fn certain_a(&self, seconds: f64) -> f64 {
        /// Standard deviations that hardly any mean is off by.
        const CERTAIN: f64 = 3.0;
        CERTAIN * self.uncertainty_a(seconds / self.update_s())
    }

    /// Smallest mean current that differs from nothing drawn, in amps, at `updates` independent readings.
    pub(super) fn uncertainty_a(&self, updates: f64) -> f64 {
        // Rounding without dither leaves up to half a step that no averaging takes away; with it, less.
        const ROUNDING_LEFT: f64 = 0.25;
        let averaged = self.noise_a / updates.max(1.0).sqrt();
        (averaged.powi(2) + (ROUNDING_LEFT * self.step_a).powi(2) + self.zero_sd_a.powi(2)).sqrt().max(1e-6)
    }
}

/// Step of the amps readback, in amps, if enough readings show it.
///
/// The step is the coarsest grid that all readings lie on. Readings of half that step would lie on it by chance as often as a
/// coin falls on one side: with eight changes of the reading that is one chance in 256.
fn resolution_a(trace: &Trace, step_a: f64) -> Option<f64> {
    const CHANGES: usize = 8;
    let amps = trace.amps();
    let changes = amps.windows(2).filter(|pair| pair[0].total_cmp(&pair[1]).is_ne());
    let enough = changes.take(CHANGES).count() >= CHANGES;
    let step = as_written(step_a);
    (enough && step > 0.0 && lie_on(amps, step)).then_some(step)
}

/// Whether readings are whole numbers of steps, from any zero: the smallest distance between two of a few readings may be some
/// steps.
fn lie_on(amps: &[f64], step: f64) -> bool {
    /// How far a decimal may be written off its step, as a share of it (by judgement).
    const WRITTEN_OFF: f64 = 0.1;
    /// Readings that may be off: those of another range, or that a person wrote (by judgement).
    const MOST_OFF: f64 = 0.02;
    let read = || robust::parts(amps.len()).flat_map(|part| &amps[part]).copied();
    let zero = read().fold(f64::INFINITY, f64::min);
    let off = |amps: &f64| {
        let steps = (amps - zero) / step;
        (steps - steps.round()).abs() > WRITTEN_OFF
    };
    #[expect(clippy::cast_precision_loss, reason = "a share needs no more than 53 bits of a count")]
    let share = read().filter(off).count() as f64 / read().count().max(1) as f64;
    share <= MOST_OFF
}

/// A step without what the difference of two decimals leaves in the last places of a binary number: no supply rounds to a
/// step of more figures than four.
fn as_written(step: f64) -> f64 {
    format!("{step:.3e}").parse().unwrap_or(step)
}

fn usual_step(trace: &Trace) -> Option<f64> {
    let time = trace.time();
    robust::median_at(time.len().saturating_sub(1), |index| time[index + 1] - time[index])
}

fn changed_rate(trace: &Trace) -> Option<f64> {
    let duration = trace.duration()?.value();
    #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
    let changed = (1..trace.len()).filter(|i| trace.is_fresh(*i)).count() as f64;
    Some(changed / duration)
}

/// Standard deviation of one reading of a fed board where it is quietest, in amps.
///
/// A supply that is renewed hardly faster than a board tries shows few readings that are not on their way up or down:
/// most steps between readings are then attempts and no noise.
fn quietest(trace: &Trace) -> Option<f64> {
    /// Share of the steps between fresh readings that may be the board's doing.
    const MOST: f64 = 0.8;
    let pairs = robust::parts(trace.len()).flat_map(|part| part.skip(1));
    let fed = pairs.filter(|i| trace.volts()[i - 1] > OFF_VOLTS);
    // Without the readings that repeat or round to the same.
    let steps = fed.map(|i| trace.amps()[i] - trace.amps()[i - 1]).filter(|step| step.abs() > 0.0);
    let square = robust::trimmed_square(&mut steps.collect::<Vec<f64>>(), MOST)?;
    Some((square / 2.0).sqrt())
}

/// The same from the calmest stretch, where `noise_a` is that of a busy board: in a log of a reading a second most steps
/// are, and a steady level repeats to the digit.
fn calm(trace: &Trace, segmentation: &Segmentation, step_a: f64, noise_a: f64) -> f64 {
    /// Readings that make a stretch.
    const READINGS: usize = 12;
    /// Times that a busy board's readings scatter more than a calm one's.
    const BUSY: f64 = 5.0;
    /// Readings that show how much a longer stretch scatters, to a hundredth (a standard deviation is known to 1/√2n of itself).
    const MOST: usize = 1 << 13;
    let fed = |samples: &Range<usize>| trace.volts()[samples.start] > OFF_VOLTS;
    let stretches =
        segmentation.stretches().into_iter().filter(|samples| samples.len() >= READINGS && fed(samples));
    let amps = |samples: Range<usize>| robust::some(MOST, samples.len(), |i| trace.amps()[samples.start + i]);
    let scatters = stretches.filter_map(|samples| amps(samples).into_iter().collect::<Moments>().deviation());
    let calm = scatters.min_by(f64::total_cmp).map(|scatter| scatter.max(step_a / 12_f64.sqrt()));
    calm.filter(|calm| BUSY * calm < noise_a).unwrap_or(noise_a)
}

fn fed_changed_rate(trace: &Trace) -> Option<f64> {
    let fed = || (1..trace.len()).filter(|i| trace.volts()[i - 1] > OFF_VOLTS);
    let seconds: f64 = fed().map(|i| trace.time()[i] - trace.time()[i - 1]).sum();
    #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
    let changed = fed().filter(|i| trace.is_fresh(*i)).count() as f64;
    (seconds > 0.0).then(|| changed / seconds)
}

fn gaps(trace: &Trace, step: f64) -> Vec<Gap> {
    let longest = (GAP_STEPS * step).max(SHORTEST_GAP_S);
    let declared = |after: usize| {
        let lost = |kind: &EventKind| matches!(kind, EventKind::Gap | EventKind::LinkLost);
        trace.events().iter().any(|event| event.sample == after && lost(&event.kind))
    };
    (1..trace.len())
        .filter_map(|i| {
            let (start, end) = (trace.time()[i - 1], trace.time()[i]);
            let missing = end - start > longest || (end - start > 2.0 * step && declared(i));
            let gap = || Some(Gap { start_s: Seconds::new(start).ok()?, end_s: Seconds::new(end).ok()? });
            missing.then(gap).flatten()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_smallest_distance_of_a_few_readings_is_no_step_unless_all_are_whole_numbers_of_it() {
        // Steps of 1.5 mA, written in whole milliamperes.
        assert!(!lie_on(&[0.005, 0.008, 0.049, 0.079, 0.153, 0.155], 0.002));
        assert!(lie_on(&[0.005, 0.008, 0.049, 0.079, 0.153, 0.155], 0.001));
        // Half a step off zero, and with one reading in a hundred of a finer range.
        assert!(lie_on(&[0.0025, 0.0075, 0.0525], 0.005));
        assert!(lie_on(&[&[0.0; 99][..], &[0.0123]].concat(), 0.005));
        assert!(!lie_on(&[&[0.0; 9][..], &[0.0123]].concat(), 0.005));
    }

    #[test]
    fn a_step_is_a_decimal_as_the_supply_writes_it() {
        for (one, other, step) in
            [(1.05, 1.04, 0.01), (0.3, 0.2, 0.1), (0.0243, 0.0242, 0.0001), (2.5, 0.5, 2.0)]
        {
            assert!(as_written(one - other).total_cmp(&step).is_eq(), "{one} - {other}");
        }
        // A converter of 12 bits over 3 A.
        assert!(as_written(3.0 / 4096.0).total_cmp(&0.000_732_4).is_eq());
    }
}
