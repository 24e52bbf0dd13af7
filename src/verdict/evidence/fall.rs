//! A board that ran and fell back: from where, to what, and what it does then.

use super::before::{self, stood_by};
use super::course::{at, not_told_apart, stages};
use crate::stats::moments::Moments;
use crate::stats::robust;
use crate::units::{Amps, Seconds, Volts, in_steps};
use crate::verdict::Class;
use crate::verdict::align::{State, Step};
use crate::verdict::phases::{EDGE_READINGS, without_zero};
use crate::verdict::presses::{SWITCHES_OFF_S, switched_off};
use crate::verdict::pulses::Pulses;
use crate::verdict::seen::{Level, Seen, exact};
use std::ops::Range;

/// Time before a fall in which volts that gave way would have caused it, in seconds: a converter's bulk capacitors hold
/// for milliseconds, a supply's readback lags by some tenths of a second (common practice, no source).
const BEFORE_FALL_S: f64 = 1.0;

/// A press this long before a fall may have asked for it: a system shuts down in some ten seconds, in seconds (common
/// practice, no source).
const SHUTDOWN_S: f64 = 20.0;

/// Where a board that ran fell, and to what.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::verdict) struct Fall {
    /// How long it had run, in seconds.
    pub ran_s: f64,
    /// When it fell, in seconds.
    pub at_s: f64,
    /// Amps of the level before: the end of its last second, or five readings, that is steady; of a load that rose just
    /// then, its last reading.
    pub from_a: f64,
    /// What it drew most of the time that it ran, in amps.
    pub usually_a: f64,
    /// Volts of the same.
    pub from_v: f64,
    /// What is drawn after.
    pub after: Level,
    /// To what.
    pub to: FellTo,
    /// The same in words.
    pub left: String,
    /// Highest reading in the second before, in amps.
    pub highest_a: f64,
    /// Lowest volts in the second before.
    pub lowest_v: f64,
    /// How long the log goes on, in seconds.
    pub left_s: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::verdict) enum FellTo {
    /// No draw that this supply can tell.
    Nothing,
    /// Clearly less than the board's standby.
    BelowStandby,
    Standby,
    /// Standby or less, of a board whose standby this supply hardly reads.
    Little,
    /// More than standby: part of the board is still on.
    More,
}

/// The first fall from the running level.
pub(in crate::verdict) fn fall(seen: &Seen) -> Option<Fall> {
    let (analysis, path) = (seen.analysis, &seen.analysis.path);
    let runs = |step: &Step| step.state == State::Burst || step.state.stage() == Some(analysis.model.last());
    let first = path.iter().position(runs)?;
    let until = path[first..].iter().position(|step| !runs(step))? + first;
    // The last moments of the running level may be read as a short excursion of their own.
    let rests = |step: &Step| step.state.is_rest();
    let after = path[until..].iter().find(|step| rests(step)).unwrap_or(&path[until]);
    let (ran, at_s) = (&path[until - 1], after.stretch.start_s);
    let before = seen.amps_between(at_s - BEFORE_FALL_S, at_s);
    let level = before_the_edge(seen, at_s);
    let mean_of = |values: &[f64]| values.get(level.clone()).and_then(mean);
    Some(Fall {
        ran_s: at_s - path[first].stretch.start_s,
        at_s,
        from_a: mean_of(seen.trace.amps())
            .map_or(ran.stretch.amps, |amps| without_zero(amps, seen.readout.zero_a)),
        usually_a: usually_drawn(seen, path[first].stretch.start_s, at_s).unwrap_or(ran.stretch.amps),
        from_v: mean_of(seen.trace.volts()).unwrap_or(ran.stretch.volts),
        highest_a: before.iter().copied().fold(ran.stretch.amps, f64::max),
        left: left(seen, after),
        after: seen.level(after),
        to: fell_to(seen, after),
        lowest_v: seen.lowest_volts(at_s - BEFORE_FALL_S, at_s).unwrap_or(ran.stretch.volts),
        left_s: analysis.run.end_s - at_s,
    })
}

/// Median of the amps from `from_s` to `to_s`, in amps.
fn usually_drawn(seen: &Seen, from_s: f64, to_s: f64) -> Option<f64> {
    robust::median(&mut seen.amps_between(from_s, to_s))
}

/// The last second before the edge at `at_s`, or the last five readings if that is longer. A reading over the edge is an
/// average of what was before it and what is after: one that lies below all of the second before it.
fn before_the_edge(seen: &Seen, at_s: f64) -> Range<usize> {
    /// Fewer readings of a busy load are no mean.
    const READINGS: f64 = 5.0;
    /// Steps, or standard deviations, of the readings that one is lower by if it is an average over the edge (by judgement).
    const PLAINLY: f64 = 1.5;
    let update_s = seen.readout.update_s();
    let amps = seen.trace.amps();
    let lowest = |range: Range<usize>| amps[range].iter().copied().fold(f64::INFINITY, f64::min);
    let edge = seen.samples_between(at_s - EDGE_READINGS * update_s, at_s);
    let earlier = seen.samples_between(at_s - BEFORE_FALL_S.max(READINGS * update_s), at_s);
    let usual =
        if earlier.start < edge.start { lowest(earlier.start..edge.start) } else { f64::NEG_INFINITY };
    // One that is lower by no more than the readings scatter is none.
    let plainly = usual - PLAINLY * seen.readout.step_a.max(seen.readout.noise_a);
    let over_the_edge = amps[edge.clone()].iter().rev().take_while(|amps| **amps < plainly).count();
    let end = edge.end - over_the_edge;
    let end_s = seen.trace.time().get(end).copied().unwrap_or(at_s);
    // Half a renewal, for readings come a little early or late.
    let from = end_s - BEFORE_FALL_S.max((READINGS + 0.5) * update_s);
    steady_end(seen, seen.samples_between(from, end_s))
}

/// The end of `level` that lies about one level, which is what the board fell from; where it swings to its end, its last
/// reading if that is above the others, which no edge explains, else all of it.
fn steady_end(seen: &Seen, level: Range<usize>) -> Range<usize> {
    /// Renewals of the readings that show a level; half of one more, for readings come a little early or late.
    const SHOW: f64 = 2.5;
    /// Share of a level, and standard deviations of the readings, that they may be off by (by judgement).
    const NEAR: f64 = 0.05;
    const SDS: f64 = 3.0;
    let amps = seen.trace.amps();
    let end_s = level.clone().next_back().map_or(0.0, |last| seen.trace.time()[last]);
    let last = seen.samples_between(end_s - SHOW * seen.readout.update_s(), end_s).start.max(level.start);
    let Some(median) = robust::median(&mut amps[last..level.end].to_vec()) else { return level };
    let near_a = (NEAR * median.abs()).max(SDS * seen.readout.noise_a).max(seen.readout.step_a);
    let near = |i: &usize| (amps[*i] - median).abs() <= near_a;
    let steady = level.clone().rev().take_while(near).last().filter(|first| *first <= last);
    let risen = || risen_end(seen, level.clone(), near_a);
    steady.or_else(risen).unwrap_or(level.start)..level.end
}

/// Where the last reading of `level` begins, with those that repeat it, if it is more than `near_a` above their mean.
fn risen_end(seen: &Seen, level: Range<usize>, near_a: f64) -> Option<usize> {
    let amps = seen.trace.amps();
    let (mean, last) = (mean(amps.get(level.clone())?)?, *amps[level.clone()].last()?);
    let repeats = |i: &usize| (amps[*i] - last).abs() <= seen.readout.step_a / 2.0;
    let first = level.rev().take_while(repeats).last()?;
    (last > mean + near_a).then_some(first)
}

/// The same as the finding has it, of a board that dropped out.
pub(in crate::verdict) fn fallen(seen: &Seen) -> Option<crate::verdict::Fall> {
    let fall = fall(seen).filter(|_| seen.class() == Class::DroppedOut)?;
    Some(crate::verdict::Fall {
        at_s: Seconds::new(fall.at_s).ok()?,
        from_a: Amps::new(fall.from_a).ok()?,
        from_v: Volts::new(fall.from_v).ok()?,
        to_a: Amps::new(fall.after.amps).ok()?,
        to_v: Volts::new(fall.after.volts).ok()?,
        lowest_v: Volts::new(fall.lowest_v).ok()?,
    })
}

fn mean(values: &[f64]) -> Option<f64> {
    let mut moments = Moments::default();
    for value in values {
        moments.push(*value);
    }
    moments.mean()
}

fn fell_to(seen: &Seen, after: &Step) -> FellTo {
    /// Below this share of what good boards stand by at, part of the standby is gone as well.
    const PART: f64 = 0.5;
    let standby = &seen.analysis.model.standby;
    // A standby that was read well before is read well now, however much a busy load's readings scatter.
    let before = stood_by(seen, after).filter(before::Before::is_read_well);
    let nothing = seen.readout.certain_a(after.stretch.duration());
    let nothing = before.map_or(nothing, |before| nothing.min(before.certain_a));
    let usual_a = standby.watts.map(|watts| watts / seen.analysis.run.set_v);
    // A standby that hardly differs from nothing is not told from it.
    let hardly_read = |usual: f64| usual < seen.readout.step_a.max(2.0 * nothing);
    let unread = before.is_none() && usual_a.is_some_and(hardly_read);
    match after.state {
        _ if after.stretch.amps < nothing && !unread => FellTo::Nothing,
        _ if unread && after.stretch.watts <= standby.high => FellTo::Little,
        State::Nothing if before.is_none() => FellTo::Nothing,
        _ if standby.watts.is_some_and(|usual| after.stretch.watts < PART * usual) => FellTo::BelowStandby,
        _ if after.stretch.watts <= standby.high + seen.analysis.leak_w => FellTo::Standby,
        _ => FellTo::More,
    }
}

/// What is left of the draw.
pub(super) fn left(seen: &Seen, after: &Step) -> String {
    if seen.analysis.model.standby.watts.is_none() {
        return left_of_no_standby(seen, after);
    }
    let standby = &seen.analysis.model.standby;
    let band = seen.reference_at(&standby.name).map(|(phase, factor)| phase.mean_power.low * factor);
    let half_step_w = seen.analysis.step_a / 2.0 * seen.analysis.run.set_v;
    match fell_to(seen, after) {
        FellTo::Nothing => "its standby is gone as well".into(),
        // A wide band of good boards may go down further.
        FellTo::BelowStandby if band.is_some_and(|low| seen.level(after).watts + half_step_w >= low) => {
            format!(
                "less than half of what good boards usually stand by at{}",
                before::less_than(seen, after)
            )
        }
        FellTo::BelowStandby => format!("less than its standby{}", before::less_than(seen, after)),
        FellTo::Standby if band.is_some_and(|low| seen.level(after).watts + half_step_w < low) => {
            format!("less than good boards stand by at{}", before::less_than(seen, after))
        }
        FellTo::Standby => before::another(seen, after).map_or_else(
            || before::about(seen, after).unwrap_or_else(|| before::back(seen, after)),
            |before| format!("{} {before}", beside_good_standby(seen, after, band)),
        ),
        FellTo::Little => "its standby or less, which this supply hardly reads".into(),
        FellTo::More => "more than its standby: part of it is still on".into(),
    }
}

/// Where a rest that is no departure lies beside those of good boards, whose lowest draws `low_w`: readings that are off by
/// half a step leave open on which side of it.
fn beside_good_standby(seen: &Seen, after: &Step, low_w: Option<f64>) -> String {
    let level = seen.level(after);
    match low_w.filter(|low| level.watts < *low) {
        Some(low) => {
            // Finer than the supply reads, or it would be the same figure.
            let least = in_steps(low / level.volts.max(1e-3), seen.analysis.step_a / 10.0, "A");
            format!("at or just below the least that good boards stand by at ({least}), and")
        }
        None => "as much as some good boards stand by at, and".into(),
    }
}

/// The same of a board whose standby nobody knows, or that has none: it can be held against itself alone.
fn left_of_no_standby(seen: &Seen, after: &Step) -> String {
    let before = before::beside(seen, after);
    match (fell_to(seen, after), before) {
        (FellTo::Nothing, _) => "what is left is less than this supply can show".into(),
        (_, Some(before)) => before,
        (FellTo::More, None) => "part of it is still on".into(),
        (_, None) => "a residual draw".into(),
    }
}

pub(super) fn dropped(seen: &Seen) -> Vec<String> {
    let Some(fall) = fall(seen) else { return stages(seen).into_iter().collect() };
    let name = &seen.analysis.model.stages[seen.analysis.model.last()].name;
    let limit = seen.analysis.run.limit_a.map(|limit| format!(", limit {}", exact(limit, "A")));
    let mean_v = seen.mean_volts(fall.at_s - BEFORE_FALL_S, fall.at_s).unwrap_or(fall.from_v);
    let feed = format!(
        "in the second before: {}{}",
        seen.feed_in_words(fall.lowest_v, mean_v),
        limit.unwrap_or_default()
    );
    let up_to = if runs_from_a_skipped_stage(seen) { "up to " } else { "" };
    let ran = [format!(
        "ran for {up_to}{} in {name}, then fell {} ({}) from {} to {}: {}",
        seen.span(fall.at_s - fall.ran_s, fall.at_s),
        at(seen, fall.at_s),
        seen.since_start(fall.at_s),
        from(seen, &fall),
        seen.amps(fall.after.amps),
        fall.left
    )];
    let facts = ran.into_iter().chain(switched_off(seen)).chain([feed, again(seen, &fall)]);
    let pulses = Pulses::at_the_end(seen).filter(|pulses| pulses.rhythm.is_some());
    let pulses = pulses.map(|pulses| format!("after the fall {}", pulses.words(seen)));
    facts.chain(pulses).chain(stages(seen)).collect()
}

/// Whether the readings do not tell the stage before the running one from that.
fn runs_from_a_skipped_stage(seen: &Seen) -> bool {
    let last = seen.analysis.model.last();
    let mut stages = seen.analysis.path.iter().filter_map(|step| step.state.stage());
    let before = stages.clone().take_while(|stage| *stage != last).last();
    let runs = stages.any(|stage| stage == last);
    runs && not_told_apart(seen, before, last).len() > 1
}

/// `0.625 A`; `0.900 A, a burst above its usual 0.625 A`; `about 0.610 A, the mean of its last readings`, where the last
/// of them is a lower one, which may lie over the edge.
fn from(seen: &Seen, fall: &Fall) -> String {
    /// Share of the mean that the last reading may be off by (by judgement).
    const NEAR: f64 = 0.02;
    /// Times what is usual from which it is a burst (by judgement).
    const BURST: f64 = 1.15;
    let level = before_the_edge(seen, fall.at_s);
    let last = seen.trace.amps().get(level).and_then(<[f64]>::last);
    let last = last.map(|amps| without_zero(*amps, seen.readout.zero_a));
    let near = last
        .is_none_or(|last| (last - fall.from_a).abs() <= (NEAR * fall.from_a.abs()).max(seen.readout.step_a));
    let from = seen.amps(fall.from_a);
    match near {
        true if fall.from_a > BURST * fall.usually_a => {
            format!("{from}, a burst above its usual {},", seen.amps(fall.usually_a))
        }
        true => from,
        false => format!("about {from}, the mean of its last readings,"),
    }
}

fn again(seen: &Seen, fall: &Fall) -> String {
    let later = seen.attempts.iter().filter(|attempt| attempt.start_s.value() >= fall.at_s).count();
    let left = seen.span(fall.at_s, fall.at_s + fall.left_s);
    // The press that woke the board does not shut it down.
    let woke_s = fall.at_s - fall.ran_s;
    let asked = |press: &&f64| (woke_s..=fall.at_s).contains(*press);
    let presses = &seen.analysis.run.presses;
    let press = presses.iter().rev().find(asked);
    let shut_down =
        press.map(|press| fall.at_s - press).filter(|since| (SWITCHES_OFF_S..SHUTDOWN_S).contains(since));
    match later {
        0 if shut_down.is_some() => format!(
            "the button is marked {} before the fall, which may be a shutdown; it did not start again in the {left} after it",
            seen.time(shut_down.unwrap_or_default())
        ),
        0 if seen.has_button() && presses.is_empty() => {
            format!("no press is marked; it did not start again in the {left} after that")
        }
        0 if !presses.is_empty() && !presses.iter().any(|press| *press > fall.at_s) => {
            format!("nobody pressed in the {left} after that, and it did not start again by itself")
        }
        0 => format!("it did not start again in the {left} after that"),
        1 => format!("it started once more in the {left} after that"),
        _ => format!("it started {later} times more in the {left} after that"),
    }
}
