//! The phases of a finding, from the alignment.

use super::align::{State, Step};
use super::attempts::{LEAST_TRY_S, RISES_S, attempts, is_no_rest, within_a_stage};
use super::engine::Analysis;
use super::period::period;
use super::piece::stands_for;
use super::readout::Readout;
use super::{Attempt, Class, Phase};
use crate::share::{both, each};
use crate::stats::{extent, robust};
use crate::trace::Trace;
use crate::trace::readback::OFF_VOLTS;
use crate::units::{Amps, Joules, Seconds, Volts, Watts};
use std::ops::Range;

/// Name of the time without feed.
pub(super) const OFF: &str = "off";
/// Name of the pause between attempts.
pub(super) const REST: &str = "rest";
/// Name of a start that was given up.
pub(super) const ATTEMPT: &str = "attempt";

/// Renewals of the readback over which an edge may be smeared: a supply averages over one, and shows it in the next.
pub(super) const EDGE_READINGS: f64 = 2.0;

/// A named stretch of samples.
struct Named {
    name: String,
    samples: Range<usize>,
    start_s: f64,
    end_s: f64,
}

/// The phases of every run, with the time without feed between them, in order of time.
pub(super) fn phases(trace: &Trace, readout: &Readout, analyses: &[Analysis]) -> Vec<Phase> {
    let mut named = Vec::new();
    let mut next = 0;
    for analysis in analyses {
        push_off(&mut named, trace, next..analysis.run.on_from, analysis.run.start_s);
        named.extend(with_counted_starts(trace, analysis, readout, of_run(analysis)));
        next = analysis.run.samples.end;
    }
    push_off(&mut named, trace, next..trace.len(), trace.time().last().copied().unwrap_or(0.0));
    let described = each(&named, trace.len(), |named| describe(trace, readout, named));
    described.into_iter().flatten().collect()
}

fn push_off(named: &mut Vec<Named>, trace: &Trace, samples: Range<usize>, end_s: f64) {
    if !samples.is_empty() {
        let start_s = trace.time()[samples.start];
        named.push(Named { name: OFF.into(), samples, start_s, end_s });
    }
}

fn of_run(analysis: &Analysis) -> Vec<Named> {
    let mut named: Vec<Named> = Vec::new();
    for (index, step) in analysis.path.iter().enumerate() {
        let name = name(analysis, index, step);
        let samples = analysis.pieces[step.from].samples.start..analysis.pieces[step.to - 1].samples.end;
        let (start_s, end_s) = (step.stretch.start_s, step.stretch.end_s);
        match named.last_mut() {
            Some(last) if last.name == name => {
                last.samples.end = samples.end;
                last.end_s = end_s;
            }
            _ => named.push(Named { name, samples, start_s, end_s }),
        }
    }
    // No piece holds the readings in which the volts still rise.
    if let Some(first) = named.first_mut() {
        first.samples.start = analysis.run.on_from;
    }
    named
}

/// The phases of a board that tries and gives up, such that what is too short for a start, and is none that is counted, is no
/// stage either.
fn with_counted_starts(
    trace: &Trace,
    analysis: &Analysis,
    readout: &Readout,
    named: Vec<Named>,
) -> Vec<Named> {
    match analysis.class() {
        Class::LatchOff | Class::Cycling | Class::FeedLimited => {
            let starts = attempts(trace, analysis, readout);
            let standby = &analysis.model.standby.name;
            let named = with_their_rise(trace, with_blips_at_rest(named, &starts, standby), &starts);
            with_one_just_begun(trace, named, &starts, standby)
        }
        _ => named,
    }
}

/// What lies between two rests, in none of the `starts`, is part of the first of them where it is shorter than a start.
fn with_blips_at_rest(named: Vec<Named>, starts: &[Attempt], standby: &str) -> Vec<Named> {
    let is_rest = |phase: &Named| phase.name == standby || phase.name == REST;
    let is_blip = |phase: &Named| {
        let is_start =
            |start: &Attempt| start.start_s.value() < phase.end_s && phase.start_s < start.end_s.value();
        phase.end_s - phase.start_s < LEAST_TRY_S && !is_rest(phase) && !starts.iter().any(is_start)
    };
    let mut kept: Vec<Named> = Vec::with_capacity(named.len());
    let mut rest_of = named.into_iter().peekable();
    while let Some(phase) = rest_of.next() {
        let before = kept.last_mut().filter(|before| is_rest(before) && is_blip(&phase));
        let joined = before.and_then(|before| Some((before, rest_of.next_if(is_rest)?)));
        if let Some((before, after)) = joined {
            (before.samples.end, before.end_s) = (after.samples.end, after.end_s);
        } else {
            kept.push(phase);
        }
    }
    kept
}

/// The phases such that the slow rise of a start, which is counted as part of it, is none of the rest before it.
fn with_their_rise(trace: &Trace, mut named: Vec<Named>, starts: &[Attempt]) -> Vec<Named> {
    for next in 1..named.len() {
        let (rest, start) = (&named[next - 1], &named[next]);
        let begins = |attempt: &&Attempt| {
            let at = attempt.start_s.value();
            rest.start_s < at && at < start.start_s && start.start_s < attempt.end_s.value()
        };
        let begun =
            starts.iter().find(begins).filter(|_| rest.name == REST).map(|start| start.start_s.value());
        if let Some(at) = begun {
            let first = trace.time().partition_point(|t| *t < at);
            (named[next - 1].end_s, named[next].start_s) = (at, at);
            (named[next - 1].samples.end, named[next].samples.start) = (first, first);
        }
    }
    named
}

/// The phases with a start that has just begun when the log ends apart from the rest before it.
fn with_one_just_begun(
    trace: &Trace,
    mut named: Vec<Named>,
    starts: &[Attempt],
    standby: &str,
) -> Vec<Named> {
    let begun = starts.last().filter(|start| !start.given_up).map(|start| start.start_s.value());
    let is_rest = |phase: &Named| phase.name == standby || phase.name == REST;
    let within = |phase: &&mut Named| {
        is_rest(phase) && begun.is_some_and(|at| (phase.start_s..phase.end_s).contains(&at))
    };
    if let Some((rest, at)) = named.last_mut().filter(within).zip(begun) {
        let first = trace.time().partition_point(|t| *t < at);
        let start =
            Named { name: ATTEMPT.into(), samples: first..rest.samples.end, start_s: at, end_s: rest.end_s };
        (rest.name, rest.samples.end, rest.end_s) = (REST.into(), first, at);
        named.push(start);
    }
    named
}

/// What a stay is called. The inrush belongs to what follows it.
fn name(analysis: &Analysis, index: usize, step: &Step) -> String {
    match step.state {
        State::Inrush => match analysis.path.get(index + 1) {
            Some(next) => name(analysis, index + 1, next),
            None => "inrush".into(),
        },
        State::Nothing => "no draw".into(),
        State::Excess if is_no_rest(analysis, step) => ATTEMPT.into(),
        State::Excess if within_a_stage(analysis, step).is_some() => within_a_stage(analysis, step)
            .map_or_else(String::new, |stage| analysis.model.stages[stage].name.clone()),
        State::Low | State::Excess => rest_name(analysis, index),
        State::Surge => ATTEMPT.into(),
        State::Burst => analysis.model.stages[analysis.model.last()].name.clone(),
        State::Starved => "starved".into(),
        State::Heavy => "heavy load".into(),
        State::Collapsed => "short".into(),
        State::Done(stage) | State::Held(stage) => analysis.model.stages[stage].name.clone(),
    }
}

/// Standby before the first attempt and after the last; a rest in between.
fn rest_name(analysis: &Analysis, index: usize) -> String {
    let between = index > 0
        && index + 1 < analysis.path.len()
        && analysis.path[..index]
            .iter()
            .any(|step| step.state.stage().is_some() || matches!(step.state, State::Surge | State::Burst));
    if between { REST.into() } else { analysis.model.standby.name.clone() }
}

fn describe(trace: &Trace, readout: &Readout, named: &Named) -> Option<Phase> {
    let settled = settled(trace, readout, named);
    let mut measures = measure(trace, named.samples.clone(), &settled, readout.zero_a)?;
    // Its highest readings are not the tail of what came before.
    if named
        .samples
        .start
        .checked_sub(1)
        .is_some_and(|before| trace.amps()[before] - readout.zero_a > measures.mean_a)
    {
        let own = &trace.amps()[settled.start..named.samples.end];
        let highest = own.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        measures.max_a = without_zero(highest, readout.zero_a);
    }
    let duration = named.end_s - named.start_s;
    Some(Phase {
        name: named.name.clone(),
        start_s: Seconds::new(named.start_s).ok()?,
        end_s: Seconds::new(named.end_s).ok()?,
        mean_a: Amps::new(measures.mean_a).ok()?,
        min_a: Amps::new(measures.min_a).ok()?,
        max_a: Amps::new(measures.max_a).ok()?,
        mean_v: Volts::new(measures.mean_v).ok()?,
        mean_w: Watts::new(measures.mean_w).ok()?,
        energy_j: Joules::new(measures.mean_of_all_w * duration).ok()?,
        activity_w: Watts::new(measures.activity_w).ok()?,
        period_s: repeats(trace, readout, named),
    })
}

/// The readings of a phase without those over its edges, which are averages of it and its neighbour, or show the rise of
/// the feed: a mean is that of the level. At least half of the phase stays; where that would be few readings, all of it, but
/// for the rise: nobody who averages what is drawn comes to the mean of one or two of them.
fn settled(trace: &Trace, readout: &Readout, named: &Named) -> Range<usize> {
    /// Share of the phase that an edge may take at either end.
    const MOST: f64 = 0.25;
    let Range { start, end } = named.samples;
    let most = MOST * (named.end_s - named.start_s);
    let edge_s = EDGE_READINGS * readout.update_s();
    let rises = start.checked_sub(1).is_none_or(|before| trace.volts()[before] <= OFF_VOLTS);
    if !rises && is_mostly_edges(named.end_s - named.start_s, readout.update_s()) {
        return start..end;
    }
    let lead_s = match start {
        0 => 0.0,
        _ if rises => edge_s.max(RISES_S),
        _ => edge_s,
    };
    let tail_s = if end < trace.len() { edge_s } else { 0.0 };
    let (from, to) = (named.start_s + lead_s.min(most), named.end_s - tail_s.min(most));
    let at = |time: f64| start + trace.time()[start..end].partition_point(|t| *t < time);
    let inner = at(from)..at(to);
    match inner.is_empty() {
        true => start..end,
        // What shows the rise is none of the level, whatever its amps.
        false if rises => with_alike(trace.amps(), inner.clone(), inner.start..end),
        false => with_alike(trace.amps(), inner, start..end),
    }
}

/// Whether of a stage that lasts so long few readings are left without those over the edges.
pub(crate) fn is_mostly_edges(length_s: f64, update_s: f64) -> bool {
    /// Fewer renewals of the readback than these are few (by judgement).
    const FEW: f64 = 4.0;
    length_s < (2.0 * EDGE_READINGS + FEW) * update_s
}

/// `inner` with what of `all` beside it reads no less and no more than it does anywhere: that averages over no edge.
fn with_alike(amps: &[f64], inner: Range<usize>, all: Range<usize>) -> Range<usize> {
    let Some((low, high)) = extent(&amps[inner.clone()]) else { return inner };
    let alike = |i: &usize| (low..=high).contains(&amps[*i]);
    let start = (all.start..inner.start).rev().take_while(alike).last().unwrap_or(inner.start);
    start..(inner.end..all.end).take_while(alike).last().map_or(inner.end, |last| last + 1)
}

/// How often what the board draws repeats within the phase; nothing is drawn while it is off.
fn repeats(trace: &Trace, readout: &Readout, named: &Named) -> Option<Seconds> {
    let fed = named.name != OFF;
    let found = fed.then(|| period(trace, named.samples.clone(), readout)).flatten();
    found.and_then(|period| Seconds::new(period).ok())
}

struct Measures {
    mean_a: f64,
    min_a: f64,
    max_a: f64,
    mean_v: f64,
    mean_w: f64,
    mean_of_all_w: f64,
    activity_w: f64,
}

/// What `samples` show, the means but one of those of them that are `settled`.
fn measure(trace: &Trace, samples: Range<usize>, settled: &Range<usize>, zero_a: f64) -> Option<Measures> {
    let (volts, amps) = (&trace.volts()[samples.clone()], &trace.amps()[samples.clone()]);
    let power = |i: usize| volts[i] * (amps[i] - zero_a);
    let extremes = || {
        let low = amps.iter().copied().fold(f64::INFINITY, f64::min);
        let high = amps.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (
            without_zero(low, zero_a),
            without_zero(high, zero_a),
            robust::deviation_at(samples.len(), power).unwrap_or(0.0),
        )
    };
    let means = || {
        let of_all = Means::of(trace, samples.clone(), zero_a);
        let of_settled = if samples == *settled { of_all } else { Means::of(trace, settled.clone(), zero_a) };
        of_settled.zip(of_all)
    };
    let (means, (min_a, max_a, activity_w)) = both(samples.len(), means, extremes);
    means.map(|(Means { amps: mean_a, volts: mean_v, watts: mean_w }, of_all)| Measures {
        mean_a,
        min_a,
        max_a,
        mean_v,
        mean_w,
        mean_of_all_w: of_all.watts,
        activity_w,
    })
}

/// Amps with the supply's zero taken off. A supply may write `-0.000`, and binary fractions leave a trace of what is
/// none: a zero is plain, and has no sign.
pub(super) fn without_zero(amps: f64, zero_a: f64) -> f64 {
    /// Far below what any supply reads.
    const NOTHING_A: f64 = 1e-9;
    let drawn = amps - zero_a;
    if drawn.abs() < NOTHING_A { 0.0 } else { drawn }
}

/// Time-weighted means without the supply's zero, amps and watts alike: amps times volts are the watts.
#[derive(Clone, Copy)]
struct Means {
    amps: f64,
    volts: f64,
    watts: f64,
}

impl Means {
    fn of(trace: &Trace, samples: Range<usize>, zero_a: f64) -> Option<Self> {
        let (mut weight, mut amps, mut volts, mut watts) = (0.0, 0.0, 0.0, 0.0);
        for i in samples {
            let (w, v, a) = (stands_for(trace, i), trace.volts()[i], trace.amps()[i]);
            weight += w;
            amps += w * a;
            volts += w * v;
            watts += w * v * (a - zero_a);
        }
        (weight > 0.0).then(|| Self {
            amps: without_zero(amps / weight, zero_a),
            volts: volts / weight,
            watts: watts / weight,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(name: &str, samples: Range<usize>) -> Named {
        let at = |index: usize| f64::from(u32::try_from(index).unwrap()) / 12.0;
        let (start_s, end_s) = (at(samples.start), at(samples.end));
        Named { name: name.into(), samples, start_s, end_s }
    }

    fn start(from: f64, to: f64) -> Attempt {
        Attempt {
            start_s: Seconds::constant(from),
            end_s: Seconds::constant(to),
            ended_in: None,
            likely_in: None,
            earliest_in: None,
            peak_a: Amps::constant(0.1),
            lowest_v: Volts::constant(3.8),
            given_up: true,
        }
    }

    /// A board that stands by, reads higher once, is pressed, and tries.
    #[test]
    fn a_single_higher_reading_of_a_rest_that_is_no_start_is_no_stage() {
        let all = || {
            let phases = [("standby", 0..36), ("rails", 36..37), ("rest", 37..60), ("attempt", 60..84)];
            phases.map(|(name, samples)| named(name, samples)).into_iter().collect::<Vec<_>>()
        };
        let names = |found: &[Named]| {
            found.iter().map(|one| (one.name.clone(), one.samples.clone())).collect::<Vec<_>>()
        };
        let found = with_blips_at_rest(all(), &[start(5.0, 7.0)], "standby");
        assert_eq!(names(&found), [("standby".into(), 0..60), ("attempt".into(), 60..84)]);
        assert!((found[0].end_s - 5.0).abs() < 1e-9);
        // One that is counted stays, and so does what is as long as a start.
        assert_eq!(with_blips_at_rest(all(), &[start(3.0, 3.1), start(5.0, 7.0)], "standby").len(), 4);
        let mut longer = all();
        longer[1].end_s = longer[1].start_s + 2.0 * LEAST_TRY_S;
        assert_eq!(with_blips_at_rest(longer, &[start(5.0, 7.0)], "standby").len(), 4);
        let mut at_the_end = all();
        at_the_end.truncate(2);
        assert_eq!(with_blips_at_rest(at_the_end, &[], "standby").len(), 2);
    }
}
