//! Where a start begins that rises slowly: with the first of the readings before it that no rest shows.

use super::FEW;
use crate::stats::extent;
use crate::trace::Trace;
use crate::units::{Amps, Seconds, Volts};
use crate::verdict::Attempt;
use crate::verdict::phases::EDGE_READINGS;

/// Starts between which the board rests, each from the first reading of its rise on, where that is more than an edge.
pub(super) fn with_their_rise(mut starts: Vec<Attempt>, trace: &Trace, update_s: f64) -> Vec<Attempt> {
    if starts.len() < FEW {
        return starts;
    }
    let edge_s = EDGE_READINGS * update_s;
    let Some(rest_a) = highest_at_rest(&starts, trace, update_s) else { return starts };
    for next in 1..starts.len() {
        let rested_s = starts[next - 1].end_s.value() + edge_s;
        let counted_s = starts[next].start_s.value();
        let risen = rise_before(trace, (rested_s, counted_s), rest_a);
        let slow = risen.filter(|from| counted_s - from > edge_s);
        if let Some(from) = slow.and_then(|from| Seconds::new(from).ok()) {
            starts[next].start_s = from;
        }
    }
    starts
}

/// The starts, and the one that has just begun when the log ends: the last readings are above those of every rest, for more
/// than an edge.
pub(super) fn with_one_just_begun(
    mut starts: Vec<Attempt>,
    trace: &Trace,
    run_end: usize,
    update_s: f64,
) -> Vec<Attempt> {
    if starts.len() >= FEW
        && let Some(begun) = just_begun(&starts, trace, run_end, update_s)
    {
        starts.push(begun);
    }
    starts
}

fn just_begun(starts: &[Attempt], trace: &Trace, run_end: usize, update_s: f64) -> Option<Attempt> {
    let edge_s = EDGE_READINGS * update_s;
    let last = starts.last().filter(|last| last.given_up)?;
    let rest_a = highest_at_rest(starts, trace, update_s)?;
    let end_s = *trace.time().get(run_end.checked_sub(1)?)?;
    let from = rise_before(trace, (last.end_s.value() + edge_s, end_s), rest_a)?;
    let read = trace.time().partition_point(|t| *t < from)..run_end;
    let (_, peak_a) = extent(trace.amps().get(read.clone())?)?;
    let (lowest_v, _) = extent(trace.volts().get(read)?)?;
    (end_s - from > edge_s && trace.amps()[run_end - 1] > rest_a).then_some(Attempt {
        start_s: Seconds::new(from).ok()?,
        end_s: Seconds::new(end_s).ok()?,
        ended_in: None,
        likely_in: None,
        earliest_in: None,
        peak_a: Amps::new(peak_a).ok()?,
        lowest_v: Volts::new(lowest_v).ok()?,
        given_up: false,
    })
}

/// The highest reading of the rests between `starts`, in their first halves, beyond the fall from the start before, which of
/// a short rest takes no more than half of that; `None` where too few are read.
fn highest_at_rest(starts: &[Attempt], trace: &Trace, update_s: f64) -> Option<f64> {
    /// Share of a rest, at its end, in which the next start may have begun (by judgement).
    const BEGUN: f64 = 0.5;
    /// Fewer readings do not show how high a rest is read (by judgement).
    const READINGS: usize = 20;
    let rest = |pair: &[Attempt]| {
        let (end, next) = (pair[0].end_s.value(), pair[1].start_s.value());
        let half_s = (1.0 - BEGUN) * (next - end);
        between(trace, end + (EDGE_READINGS * update_s).min(half_s / 2.0), end + half_s)
    };
    let read: Vec<f64> = starts.windows(2).flat_map(rest).copied().collect();
    (read.len() >= READINGS).then(|| read.into_iter().max_by(f64::total_cmp))?
}

fn between(trace: &Trace, from: f64, to: f64) -> &[f64] {
    let at = |time: f64| trace.time().partition_point(|t| *t < time);
    trace.amps().get(at(from)..at(to)).unwrap_or_default()
}

/// The time of the first of those readings right before `start_s`, and not before `after_s`, that lie above `rest_a` by more
/// than a rest drifts.
fn rise_before(trace: &Trace, (after_s, start_s): (f64, f64), rest_a: f64) -> Option<f64> {
    /// Times the highest reading of the rests (by judgement).
    const DRIFTS: f64 = 1.15;
    let at = |time: f64| trace.time().partition_point(|t| *t < time);
    let risen = (at(after_s)..at(start_s)).rev().take_while(|i| trace.amps()[*i] > DRIFTS * rest_a).last();
    risen.map(|first| trace.time()[first])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::{Header, Mode, Sample, TraceBuilder};

    /// Starts of 1 s every 4 s of a board that rests at 5 and 10 mA, ten readings a second, and goes to 15 mA for the last
    /// `rise` readings of a rest.
    fn starts_with(rise: u32) -> Vec<f64> {
        starts_after(rise, 0.015)
    }

    /// The same of a board that goes to so many amps there.
    fn starts_after(rise: u32, risen_a: f64) -> Vec<f64> {
        let amps = |i: u32| match i % 40 {
            0..10 => 0.2,
            k if k >= 40 - rise => risen_a,
            k => 0.005 * f64::from(1 + k / 3 % 2),
        };
        let mut builder = TraceBuilder::new(Header::default());
        for i in 0..200 {
            let (time, amps) = (Seconds::constant(0.1 * f64::from(i)), Amps::constant(amps(i)));
            let volts = Volts::constant(24.0);
            builder.sample(Sample { time, volts, amps, mode: Mode::Unknown, span: None }).expect("a reading");
        }
        let trace = builder.finish();
        let start = |k: u32| Attempt {
            start_s: Seconds::constant(4.0 * f64::from(k)),
            end_s: Seconds::constant(4.0 * f64::from(k) + 1.0),
            ended_in: None,
            likely_in: None,
            earliest_in: None,
            peak_a: Amps::constant(0.2),
            lowest_v: Volts::constant(24.0),
            given_up: true,
        };
        let starts = with_their_rise((0..5).map(start).collect(), &trace, 0.1);
        starts.iter().map(|start| start.start_s.value()).collect()
    }

    #[test]
    fn a_slow_rise_is_part_of_its_start() {
        let begun = starts_with(7);
        let expected = [0.0, 3.3, 7.3, 11.3, 15.3];
        assert!(begun.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-9), "{begun:?}");
        let drifted = starts_after(7, 0.011);
        assert!((drifted[2] - 8.0).abs() < 1e-9, "a rest drifts: {drifted:?}");
        let edge = starts_with(1);
        assert!((edge[2] - 8.0).abs() < 1e-9, "an edge is smeared: {edge:?}");
    }
}
