//! What a log shows of the supply's own readback: where its zero lies, and how often it is renewed.

use super::{Mode, Trace};
use crate::stats::robust;

/// Volts below this are a supply whose output is off: bench supplies read back a few millivolts then, and the hardest
/// short at hand (0.02 Ω at 1 A) still shows 20 mV with its amps beside it.
pub const OFF_VOLTS: f64 = 0.05;

/// Readings with the output off that are needed before their mean is taken for the zero of the amps readback.
const ZERO_READINGS: usize = 3;

/// Offset of an amps readback whose zero was not seen, in amps: data sheets of bench supplies of 3 A give 2 to 5 mA
/// (common practice, no source).
const UNSEEN_OFFSET_A: f64 = 0.003;

/// Some supplies show a plain zero while off and their offset only when on: the zero is never trusted beyond a quarter
/// of a step, or this.
const LEAST_ZERO_SD_A: f64 = 0.000_3;

/// Renewals that must be seen before their period is told.
const FEWEST_RENEWALS: usize = 8;

/// Longest time from one renewal of a bench supply's readback to the next: most show two to five readings a second, and
/// send more (common practice, no source). What stays the same for longer is a steady board.
pub const SLOWEST_RENEWAL_S: f64 = 0.5;

/// Of a log that does not say, the common period of bench readbacks, in seconds (common practice, no source).
pub const USUAL_UPDATE_S: f64 = 0.1;

/// Intervals up to this many times the lower quartile are one renewal; longer ones are readings that repeat.
const ONE_RENEWAL: f64 = 1.6;

/// What an amps readback shows at nothing drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Zero {
    /// The reading, in amps.
    pub amps: f64,
    /// How well it is known (standard deviation), in amps.
    pub sd: f64,
    /// Readings that it is the mean of; none if it was not seen.
    pub readings: usize,
}

/// The zero of the amps readback: the mean of the readings before the output came on, if there are enough; else 0,
/// known as well as data sheets promise. `step_a` is the step of the readback, `noise_a` its noise.
#[must_use]
pub fn zero(trace: &Trace, step_a: f64, noise_a: f64) -> Zero {
    let off = |i: &usize| match trace.mode(*i) {
        Mode::Off => true,
        Mode::Unknown => trace.volts()[*i].abs() < OFF_VOLTS,
        // The volts have only begun to rise.
        Mode::ConstantVoltage | Mode::ConstantCurrent => false,
    };
    let quiet = |i: &usize| trace.amps()[*i].abs() <= (10.0 * UNSEEN_OFFSET_A).max(2.0 * step_a);
    let readings: Vec<f64> =
        (0..trace.len()).take_while(off).filter(quiet).map(|i| trace.amps()[i]).collect();
    if readings.len() < ZERO_READINGS {
        return Zero { amps: 0.0, sd: UNSEEN_OFFSET_A.max(step_a / 4.0), readings: 0 };
    }
    #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
    let count = readings.len() as f64;
    let floor = (step_a / 4.0).max(LEAST_ZERO_SD_A);
    let sd = (noise_a / count.sqrt()).max(floor);
    Zero { amps: readings.iter().sum::<f64>() / count, sd, readings: readings.len() }
}

/// Seconds between two fresh readings while the board is fed: what the supply renews, however often it is asked.
///
/// `None` where too little changes to tell, as in a log of a steady level in coarse steps.
#[must_use]
pub fn update_period(trace: &Trace) -> Option<f64> {
    let fed = |i: usize| trace.volts()[i].abs() > OFF_VOLTS;
    let renewed = |i: &usize| *i > 0 && fed(*i) && fed(*i - 1) && trace.is_fresh(*i);
    let mut intervals = Vec::new();
    for part in robust::parts(trace.len()) {
        let renewals: Vec<f64> = part.filter(renewed).map(|i| trace.time()[i]).collect();
        intervals.extend(renewals.windows(2).map(|pair| pair[1] - pair[0]));
    }
    if intervals.len() < FEWEST_RENEWALS {
        return None;
    }
    intervals.sort_by(f64::total_cmp);
    let time = trace.time();
    let poll = robust::median_at(time.len() - 1, |i| time[i + 1] - time[i])?;
    let longest = ONE_RENEWAL * intervals[intervals.len() / 4];
    let longest = if takes_turns(&intervals, poll) { longest.max(2.0 * ONE_RENEWAL * poll) } else { longest };
    let mut single = intervals;
    single.retain(|interval| *interval <= longest);
    #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
    let mean = single.iter().sum::<f64>() / single.len() as f64;
    Some(mean.min(SLOWEST_RENEWAL_S).max(poll))
}

/// Whether the readback is renewed after one poll and after two by turns, as one is whose period is no multiple of that of
/// the polls: there is hardly an interval of three. Of readings that repeat by chance each further one is as rare beside the
/// one before it (a geometric distribution).
fn takes_turns(intervals: &[f64], poll: f64) -> bool {
    /// Share of the intervals of three that chance would make (by judgement).
    const BY_CHANCE: f64 = 0.4;
    /// Share of all intervals that take two polls, so that the period is hardly the poll's (by judgement).
    const TWO_POLLS: f64 = 0.2;
    #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
    let of = |polls: f64| {
        let within = |interval: &&f64| (**interval / poll - polls).abs() < 0.5;
        intervals.iter().filter(within).count() as f64
    };
    let (one, two, three) = (of(1.0), of(2.0), of(3.0));
    #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
    let all = intervals.len() as f64;
    two > TWO_POLLS * all && three * one < BY_CHANCE * two * two
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::{Header, Sample, TraceBuilder};
    use crate::units::{Amps, Seconds, Volts};

    /// Polls ten times a second a readback that is renewed every `period` seconds.
    fn polled(period: f64, amps: impl Fn(u32) -> f64) -> Trace {
        let mut builder = TraceBuilder::new(Header::default());
        for poll in 0..200_u32 {
            let time = f64::from(poll) * 0.1;
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small count")]
            let renewal = ((time + 1e-6) / period) as u32;
            let volts = if poll < 10 { 0.01 } else { 12.0 };
            let amps = if poll < 10 { 0.002 } else { amps(renewal) };
            let time = Seconds::constant(time);
            let (volts, amps) = (Volts::constant(volts), Amps::constant(amps));
            builder.sample(Sample { time, volts, amps, mode: Mode::Unknown, span: None }).unwrap();
        }
        builder.finish()
    }

    #[test]
    fn the_period_is_that_of_the_renewals_and_not_of_the_polls() {
        let restless = |renewal: u32| 1.0 + f64::from(renewal * 7919 % 101) * 0.001;
        for period in [0.1, 0.13, 0.16, 0.25, 0.5] {
            let found = update_period(&polled(period, restless)).unwrap();
            assert!((found / period - 1.0).abs() < 0.15, "{found} s against {period} s");
        }
        assert_eq!(update_period(&polled(0.25, |_| 1.0)), None);
        // A quiet board that goes on and off once in two seconds.
        let by_turns = update_period(&polled(0.1, |renewal| f64::from(renewal / 10 % 2))).unwrap();
        assert!(by_turns <= SLOWEST_RENEWAL_S, "{by_turns} s");
    }

    #[test]
    fn a_supply_that_says_it_is_on_reads_no_zero_though_its_volts_have_only_begun_to_rise() {
        let rising = |mode: Mode| {
            let mut builder = TraceBuilder::new(Header::default());
            for poll in 0..20_u32 {
                let (volts, amps) = [(0.01, 0.0), (0.02, 0.008), (3.85, 0.008)]
                    [usize::from(poll >= 7) + usize::from(poll >= 8)];
                let mode = if poll < 7 { Mode::Off } else { mode };
                let time = Seconds::constant(f64::from(poll) * 0.125);
                let (volts, amps) = (Volts::constant(volts), Amps::constant(amps));
                builder.sample(Sample { time, volts, amps, mode, span: None }).unwrap();
            }
            zero(&builder.finish(), 0.002, 0.0005)
        };
        let found = rising(Mode::ConstantVoltage);
        assert!(found.amps.abs() < 1e-12 && found.readings == 7, "{found:?}");
        assert_eq!(rising(Mode::Unknown).readings, 8, "nothing else tells");
    }

    #[test]
    fn the_zero_is_what_the_readback_shows_before_the_output_comes_on() {
        let found = zero(&polled(0.25, |_| 1.0), 0.001, 0.0003);
        assert!((found.amps - 0.002).abs() < 1e-9 && found.sd < 0.001, "{found:?}");
        let mut late = TraceBuilder::new(Header::default());
        let (volts, amps) = (Volts::constant(12.0), Amps::constant(0.5));
        late.sample(Sample { time: Seconds::constant(0.0), volts, amps, mode: Mode::Unknown, span: None })
            .unwrap();
        assert_eq!(zero(&late.finish(), 0.001, 0.0003), Zero { amps: 0.0, sd: UNSEEN_OFFSET_A, readings: 0 });
    }
}
