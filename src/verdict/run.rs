//! Runs: the stretches of a log in which the board is fed.

use super::readout::Readout;
use crate::share::WORTH_SHARING;
use crate::stats::{extent, robust};
use crate::trace::readback::OFF_VOLTS;
use crate::trace::{Event, EventKind, Mode, Trace};
use crate::units::{Amps, Volts};
use rayon::prelude::*;
use std::ops::Range;

/// No board runs on less, in volts: an alkaline cell is empty at 0.9 V (common practice, no source).
const LEAST_FEED_V: f64 = 0.8;

/// Share of the set volts from which the feed counts as present without looking at the amps: half, for a sagging feed
/// at less still shows its amps.
const PRESENT_SHARE: f64 = 0.5;

/// Share of the limit from which amps alone show that the output is on (a short has hardly any volts).
const DRAWN_SHARE: f64 = 0.05;

/// A feed that comes back within this time was never off: a connector that bounces as it is plugged in live, or a
/// readback caught between two states (common practice: contact bounce lasts milliseconds, a hand tenths of a second).
const BOUNCE_S: f64 = 0.5;

/// Sag below the board's own unloaded volts that is more than lead drop inside the supply and readback error.
const SAG_SHARE: f64 = 0.03;

/// Share of the limit from which a supply that does not say its mode is taken to be in it: readback and limit settings
/// of bench supplies agree within about 1 % (common practice, no source), averaging over an edge takes more.
const AT_LIMIT_SHARE: f64 = 0.97;

/// Share of the limit from which the limit may be what holds an average where it is: one over an edge, or of a load that
/// the limit cuts off now and then, lies below it by more than readback error.
const NEAR_LIMIT_SHARE: f64 = 0.9;

/// Longest time that a feed takes to rise to its set volts, in seconds; later it is a sag.
const RISE_S: f64 = 1.5;

/// One stretch of a log in which the board is fed.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Run {
    /// Its samples with feed.
    pub samples: Range<usize>,
    /// The first that shows its output on: the volts may still be low.
    pub on_from: usize,
    /// Switch-on, or the first reading where that was not seen.
    pub start_s: f64,
    /// Last reading of the run, or the first without feed.
    pub end_s: f64,
    /// Whether readings without feed come before it.
    pub switch_on_seen: bool,
    /// Whether the feed was taken away at its end (else the log ends).
    pub switched_off: bool,
    /// Volts that the supply gave unloaded.
    pub set_v: f64,
    /// Volts that it was set to, if an event or the header says it.
    pub told_v: Option<f64>,
    /// Current limit in force, if the log says it.
    pub limit_a: Option<f64>,
    /// Highest reading once the inrush is over, in amps.
    pub highest_a: f64,
    /// Times at which the person marked the power button.
    pub presses: Vec<f64>,
    /// Readings before this index belong to the rise of the feed.
    pub risen: usize,
    /// Time of that reading, in seconds.
    pub risen_s: f64,
    /// Volts below which a reading shows a dip.
    pub dips_below_v: f64,
}

impl Run {
    pub(super) fn duration(&self) -> f64 {
        self.end_s - self.start_s
    }

    /// Whether reading `i` shows volts below what the supply was set to: the supply is in limit, or was during part of
    /// the reading's averaging window.
    pub(super) fn sags(&self, trace: &Trace, i: usize) -> bool {
        i >= self.risen && !self.holds(trace.volts()[i])
    }

    /// Whether reading `i` shows volts that lie below those unloaded by more than a supply lets them go that is not in limit.
    pub(super) fn dips(&self, trace: &Trace, i: usize) -> bool {
        i >= self.risen && trace.volts()[i] < self.dips_below_v
    }

    /// Whether volts of no less than that are those that the supply was set to.
    pub(super) fn holds(&self, volts: f64) -> bool {
        hold(volts, self.set_v)
    }

    /// Whether the limit may be what holds a current where it is.
    pub(super) fn nears_limit(&self, amps: f64) -> bool {
        self.limit_a.is_some_and(|limit| amps >= NEAR_LIMIT_SHARE * limit)
    }

    /// Whether reading `i` is in current limit, by the supply's word or by its amps.
    pub(super) fn limits(&self, trace: &Trace, i: usize) -> bool {
        match trace.mode(i) {
            Mode::ConstantCurrent => true,
            Mode::ConstantVoltage | Mode::Off => false,
            Mode::Unknown => self.limit_a.is_some_and(|limit| trace.amps()[i] >= limit * AT_LIMIT_SHARE),
        }
    }
}

fn hold(volts: f64, set_v: f64) -> bool {
    volts >= set_v * (1.0 - SAG_SHARE)
}

/// The runs of a log, in order.
pub(super) fn runs(trace: &Trace, readout: &Readout) -> Vec<Run> {
    if unknown_feed(trace).is_some() {
        return Vec::new();
    }
    let set_v = set_volts(trace);
    let stretches = stretches(trace, &fed(trace, readout, set_v));
    let off_from = std::iter::once(0).chain(stretches.iter().map(|samples| samples.end));
    let with_rise = |(off_from, samples): (usize, &Range<usize>)| {
        let first = first_on(trace, readout, off_from..samples.start);
        run(trace, samples.clone(), first.unwrap_or(samples.start), set_v)
    };
    off_from.zip(&stretches).map(with_rise).collect()
}

/// The first of the readings right `before` a feed that shows its output on while the volts still rise: by the mode, where
/// one is told of the output off as well, for some supplies tell the same then; by amps; or by volts on their way up.
fn first_on(trace: &Trace, readout: &Readout, before: Range<usize>) -> Option<usize> {
    let earliest_s = trace.time()[before.end] - RISE_S;
    let on = |i: &usize| trace.time()[*i] >= earliest_s && trace.mode(*i) != Mode::Off;
    let rising = before.rev().take_while(on);
    let is_told = |i: &usize| matches!(trace.mode(*i), Mode::ConstantVoltage | Mode::ConstantCurrent);
    let after_off = |i: &usize| i.checked_sub(1).is_some_and(|off| trace.mode(off) == Mode::Off);
    let told = rising.clone().take_while(is_told).last().filter(after_off);
    let drawn_a = readout.zero_a + least_drawn(readout);
    let shows = |i: &usize| trace.amps()[*i] > drawn_a || goes_up(trace, *i);
    told.or_else(|| rising.take_while(shows).last())
}

/// Whether the volts of reading `i` lie between those before and after it, on their way up.
fn goes_up(trace: &Trace, i: usize) -> bool {
    let volts = trace.volts();
    let before = i.checked_sub(1).map(|before| volts[before]);
    before.is_some_and(|before| volts[i] > before + OFF_VOLTS && volts[i] < volts[i + 1])
}

/// Amps that no reading shows with nothing drawn.
fn least_drawn(readout: &Readout) -> f64 {
    (6.0 * readout.noise_a).max(2.5 * readout.step_a)
}

/// The highest volts of a log that never shows enough of them to feed a board, and does not say what was set: of what
/// was fed nothing is known.
pub(super) fn unknown_feed(trace: &Trace) -> Option<f64> {
    let tells = |event: &Event| matches!(event.kind, EventKind::SetVolts(_));
    let told = header_set_volts(trace).is_some() || trace.events().iter().any(tells);
    let (_, highest) = extent(trace.volts()).filter(|_| !told)?;
    (highest < LEAST_FEED_V).then_some(highest)
}

fn set_volts(trace: &Trace) -> f64 {
    if let Some(set) = header_set_volts(trace) {
        return set;
    }
    // An unloaded feed is what the upper readings show; a sag only ever takes away.
    let mut volts = robust::enough(trace.len(), |index| trace.volts()[index]);
    volts.sort_unstable_by(f64::total_cmp);
    volts.get(volts.len().saturating_sub(1) * 9 / 10).copied().unwrap_or(0.0)
}

fn header_set_volts(trace: &Trace) -> Option<f64> {
    trace.header().set_volts.map(Volts::value).filter(|volts| *volts > 0.0)
}

fn fed(trace: &Trace, readout: &Readout, set_v: f64) -> Vec<bool> {
    let limit = trace.header().limit.map_or(0.0, Amps::value);
    let drawn = (DRAWN_SHARE * limit).max(least_drawn(readout));
    let fed = |i: usize| {
        let present = trace.volts()[i] >= PRESENT_SHARE * set_v && trace.volts()[i] > 0.0;
        trace.mode(i) != Mode::Off && (present || trace.amps()[i] - readout.zero_a > drawn)
    };
    (0..trace.len()).into_par_iter().with_min_len(WORTH_SHARING).map(fed).collect()
}

/// Stretches of fed samples, with the bounces between them closed.
fn stretches(trace: &Trace, fed: &[bool]) -> Vec<Range<usize>> {
    let mut found: Vec<Range<usize>> = Vec::new();
    let mut i = 0;
    while i < fed.len() {
        let end = (i..fed.len()).find(|j| fed[*j] != fed[i]).unwrap_or(fed.len());
        if fed[i] {
            match found.last_mut() {
                Some(last) if bounced(trace, last.end, i) => last.end = end,
                _ => found.push(i..end),
            }
        }
        i = end;
    }
    found
}

fn bounced(trace: &Trace, off: usize, on: usize) -> bool {
    let switched = |kind: &EventKind| matches!(kind, EventKind::OutputOff | EventKind::Trip(_));
    let by_hand = trace.events().iter().any(|e| (off..=on).contains(&e.sample) && switched(&e.kind));
    !by_hand && trace.time()[on] - trace.time()[off] < BOUNCE_S
}

/// The run of these samples, whose output is on from the one at `first` on.
fn run(trace: &Trace, samples: Range<usize>, first: usize, usual_v: f64) -> Run {
    let last = samples.end - 1;
    let start_s = switch_on(trace, first);
    let end_s = trace.time()[samples.end.min(trace.len() - 1)];
    let told_v = told_set_volts(trace, last).or(header_set_volts(trace));
    let set_v = unloaded(trace, &samples, told_v.unwrap_or(usual_v));
    let risen = risen(trace, &samples, set_v);
    Run {
        start_s,
        end_s,
        switch_on_seen: first > 0 || told_switch_on(trace, first),
        switched_off: samples.end < trace.len(),
        set_v,
        told_v,
        on_from: first,
        limit_a: limit(trace, last),
        presses: presses(trace, start_s, end_s),
        highest_a: highest(trace, &samples, start_s),
        risen,
        risen_s: trace.time()[risen],
        dips_below_v: set_v - deepest_noise(trace, &samples, set_v),
        samples,
    }
}

/// How far below `set_v` volts may be read from a supply that is not in limit.
fn deepest_noise(trace: &Trace, samples: &Range<usize>, set_v: f64) -> f64 {
    /// Share of the volts by which a load takes them down that keeps out of the limit, and a reading with them (common practice,
    /// no source).
    const LOADED_SHARE: f64 = 0.01;
    /// Standard deviations of the volts read that no noise goes down by in a log.
    const NOISE_SDS: f64 = 6.0;
    let volts = &trace.volts()[samples.clone()];
    let noise = robust::deviation_at(volts.len(), |index| volts[index]).unwrap_or(0.0);
    (LOADED_SHARE * set_v).max(NOISE_SDS * noise)
}

/// The event that tells of the switch-on may come before the first reading that shows it.
fn switch_on(trace: &Trace, first: usize) -> f64 {
    let earliest = first.checked_sub(1).map_or(trace.time()[first], |before| trace.time()[before]);
    let told = |event: &&crate::trace::Event| {
        let time = event.time.value();
        event.kind == EventKind::OutputOn && time >= earliest - RISE_S && time <= trace.time()[first]
    };
    trace.events().iter().rev().find(told).map_or(trace.time()[first], |event| event.time.value())
}

fn told_switch_on(trace: &Trace, first: usize) -> bool {
    let at = trace.time()[first];
    trace
        .events()
        .iter()
        .any(|event| event.kind == EventKind::OutputOn && (event.time.value() - at).abs() <= RISE_S)
}

fn told_set_volts(trace: &Trace, last: usize) -> Option<f64> {
    trace.events().iter().filter(|event| event.sample <= last).rev().find_map(|event| match event.kind {
        EventKind::SetVolts(volts) => Some(volts.value()),
        _ => None,
    })
}

fn limit(trace: &Trace, last: usize) -> Option<f64> {
    let told =
        trace.events().iter().filter(|event| event.sample <= last).rev().find_map(|event| match event.kind {
            EventKind::Limit(amps) => Some(amps.value()),
            _ => None,
        });
    told.or(trace.header().limit.map(Amps::value)).filter(|limit| *limit > 0.0)
}

/// The volts that this run shows unloaded, if they are near what the supply was told: readback has a gain error.
fn unloaded(trace: &Trace, samples: &Range<usize>, told: f64) -> f64 {
    let near = |volts: &f64| (volts / told - 1.0).abs() < SAG_SHARE;
    let volts = &trace.volts()[samples.clone()];
    let mut volts = robust::enough(volts.len(), |index| volts[index]);
    volts.retain(near);
    robust::median(&mut volts).unwrap_or(told)
}

fn highest(trace: &Trace, samples: &Range<usize>, start_s: f64) -> f64 {
    let rising = trace.time()[samples.clone()].partition_point(|time| *time <= start_s + RISE_S);
    let later = extent(&trace.amps()[samples.start + rising..samples.end]);
    later.map_or(0.0, |(_, highest)| highest.max(0.0))
}

fn presses(trace: &Trace, start_s: f64, end_s: f64) -> Vec<f64> {
    let within = |time: f64| time >= start_s && time <= end_s;
    let marks = trace.events().iter().filter(|event| event.kind.is_press() && within(event.time.value()));
    marks.map(|event| event.time.value()).collect()
}

fn risen(trace: &Trace, samples: &Range<usize>, set_v: f64) -> usize {
    let deadline = trace.time()[samples.start] + RISE_S;
    let full = |i: &usize| hold(trace.volts()[*i], set_v);
    let in_time = |i: &usize| trace.time()[*i] <= deadline;
    samples.clone().take_while(in_time).find(full).unwrap_or(samples.start)
}
