//! What the marked presses of a button did, as far as the current shows it.

use super::Class;
use super::advice::loaded_from_switch_on;
use super::align::Step;
use super::attempts::RISES_S;
use super::evidence::fall;
use super::phases::EDGE_READINGS;
use super::seen::{Seen, exact};
use crate::stats::robust;
use crate::units::with_and;

/// A person marks a press a little before or after it, in seconds.
pub(super) const BY_HAND_S: f64 = 0.5;

/// Time in which a press would show, in seconds: it is marked by hand, and held for a second or so.
pub(super) const SHOWS_S: f64 = 2.0;

/// Time in which a press wakes a sound board, in seconds, with a margin (common practice, no source).
pub(super) const TIME_TO_WAKE_S: f64 = 3.0;

/// When good boards of kinds that seldom have a button left their standby in the captures of the profile, in seconds after
/// switch-on, where that is always about as late: its `waits_for_person` is a guess there, from lengths that coarse readings
/// made uneven.
pub(super) fn as_regular_as_no_hand(seen: &Seen) -> Option<f64> {
    /// No hand is as regular as this (from the shortest to the longest, as a log), as where a profile is learned.
    const REGULAR_RANGE: f64 = 0.25;
    const REGULAR_FROM: usize = 3;
    let profile = seen.profile?;
    let name = &profile.standby()?.name;
    let stages = profile.learned.logs.iter().flat_map(|log| &log.stages).filter(|stage| stage.phase == *name);
    let waits: Vec<(f64, f64)> =
        stages.filter_map(|stage| Some((stage.seen?, stage.update.unwrap_or(0.0)))).collect();
    // Each may be one reading longer or shorter than it was read.
    let shortest = waits.iter().map(|(wait, update)| wait + update).fold(f64::INFINITY, f64::min);
    let longest = waits.iter().map(|(wait, update)| wait - update).fold(0.0, f64::max);
    let regular = waits.len() >= REGULAR_FROM && longest < shortest * REGULAR_RANGE.exp();
    let mut waits: Vec<f64> = waits.into_iter().map(|(wait, _)| wait).collect();
    robust::median(&mut waits).filter(|_| regular)
}

/// How long after switch-on good boards of this model wake by themselves, in seconds.
pub(super) fn good_ones_wake_by_themselves(seen: &Seen) -> Option<f64> {
    let known = seen.analysis.model.of_this_board && !seen.has_button();
    let standby = seen.profile?.standby().filter(|_| known)?;
    if standby.waits_for_person { as_regular_as_no_hand(seen) } else { Some(standby.duration?.typical) }
}

/// `the press at 12.5 s changes nothing in the 18.8 s after it`, of a board that did something at another time, or that draws
/// much all the time.
pub(super) fn in_vain(seen: &Seen) -> Option<String> {
    let shorted = matches!(seen.class(), Class::HardShort | Class::PartialShort);
    if seen.attempts.is_empty() && !shorted && !loaded_from_switch_on(seen) {
        return None;
    }
    let presses = all_in_vain(seen);
    let times = with_and(presses.iter().map(|press| seen.mark(*press)));
    match presses.len() {
        0 => None,
        1 => Some(match wakes_instead(seen, presses[0]) {
            Some(next) => {
                format!("the press at {times} changes nothing; that at {} wakes it", seen.mark(next))
            }
            None => format!("the press at {times} changes nothing{}", for_good(seen, &presses)),
        }),
        _ => Some(format!("the presses at {times} change nothing")),
    }
}

/// ` in the 18.8 s after it`, of a press that is followed by nothing up to the end.
fn for_good(seen: &Seen, presses: &[f64]) -> String {
    let last = last_in_vain(seen).filter(|last| presses.contains(last));
    last.map_or_else(String::new, |press| {
        format!(" in the {} after it", seen.time(seen.analysis.run.end_s - press))
    })
}

/// A board that a held or second press switches off goes within a few seconds of it: controllers take four seconds of a
/// held button for a forced off (common practice, no source).
pub(super) const SWITCHES_OFF_S: f64 = 5.0;

/// A press that came while a board was on, shortly before it went off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct SwitchingOff {
    pub press_s: f64,
    pub fall_s: f64,
}

/// The presses that may have switched the board off; none where most of its tries end without one.
pub(super) fn switching_off(seen: &Seen) -> Vec<SwitchingOff> {
    let stays: Vec<(f64, f64)> = match seen.class() {
        Class::DroppedOut => fall(seen).map(|fall| (fall.at_s - fall.ran_s, fall.at_s)).into_iter().collect(),
        Class::LatchOff | Class::Cycling | Class::Inconclusive => {
            let given_up = seen.attempts.iter().filter(|start| start.given_up);
            given_up.map(|start| (start.start_s.value(), start.end_s.value())).collect()
        }
        _ => Vec::new(),
    };
    let before = |(woke_s, fall_s): &(f64, f64)| {
        // The press that wakes a board does not switch it off.
        let from = (woke_s + BY_HAND_S).max(fall_s - SWITCHES_OFF_S);
        let press = seen.analysis.run.presses.iter().rev().find(|press| (from..*fall_s).contains(*press))?;
        Some(SwitchingOff { press_s: *press, fall_s: *fall_s })
    };
    let found: Vec<SwitchingOff> = stays.iter().filter_map(before).collect();
    if 2 * found.len() >= stays.len() { found } else { Vec::new() }
}

/// `pressed at 13.67 s while it was on, 2.0 s before the fall: that may have switched it off`.
pub(super) fn switched_off(seen: &Seen) -> Option<String> {
    let found = switching_off(seen);
    let times = with_and(found.iter().map(|off| seen.mark(off.press_s)));
    match found.as_slice() {
        [] => None,
        [off] => Some(format!(
            "pressed at {times} while it was on, {} before the fall: that may have switched it off",
            seen.time(off.fall_s - off.press_s)
        )),
        _ => Some(format!(
            "pressed at {times} while it was on, each time less than {SWITCHES_OFF_S:.0} s before it went off: that may have \
             switched it off"
        )),
    }
}

fn all_in_vain(seen: &Seen) -> Vec<f64> {
    seen.analysis.run.presses.iter().copied().filter(|press| is_in_vain(seen, *press)).collect()
}

/// The last press after the last try that the board did not stir at.
pub(super) fn last_in_vain(seen: &Seen) -> Option<f64> {
    let over_s = seen.attempts.last()?.end_s.value();
    all_in_vain(seen).into_iter().rfind(|press| *press > over_s)
}

/// The press that a start at `start_s` follows.
pub(super) fn waking(seen: &Seen, start_s: f64) -> Option<f64> {
    let wakes = |press: &&f64| (-BY_HAND_S..TIME_TO_WAKE_S).contains(&(start_s - **press));
    seen.analysis.run.presses.iter().rev().find(wakes).copied()
}

/// What starts follow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Follows {
    /// Each a press of its own.
    EachItsPress,
    /// The first a press, the others nothing.
    FirstOnly,
    /// No press, or some do and some do not.
    Other,
}

/// What the starts of a run follow.
pub(super) fn follows(seen: &Seen) -> Follows {
    let mut presses: Vec<Option<f64>> =
        seen.attempts.iter().map(|start| waking(seen, start.start_s.value())).collect();
    let count = presses.len();
    // Two starts within the time of one press follow it, and the second comes by itself.
    presses.dedup();
    match presses.as_slice() {
        all if !all.is_empty() && all.len() == count && all.iter().all(Option::is_some) => {
            Follows::EachItsPress
        }
        [Some(_), rest @ ..] if count > 1 && rest.iter().all(Option::is_none) => Follows::FirstOnly,
        _ => Follows::Other,
    }
}

/// Whether a board that latches off tried more than once, each time at a press, and at every one after the first.
pub(super) fn tries_at_each_press(seen: &Seen) -> bool {
    let latches = seen.class() == Class::LatchOff && seen.attempts.len() > 1;
    latches && follows(seen) == Follows::EachItsPress && last_in_vain(seen).is_none()
}

/// Whether a board at rest did not stir at a press.
fn is_in_vain(seen: &Seen, press: f64) -> bool {
    // What comes with the next press is an answer to that.
    let until_s = next_press(seen, press).map_or(f64::INFINITY, |next| next - BY_HAND_S);
    let (from, to) = (press - BY_HAND_S, (press + TIME_TO_WAKE_S).min(until_s));
    // What draws from switch-on on may be a load and no board that woke.
    let loaded_s = seen.analysis.run.start_s + RISES_S;
    let woke = |start_s: f64| !(loaded_from_switch_on(seen) && start_s < loaded_s);
    let mut starts = seen.attempts.iter().filter(|start| woke(start.start_s.value()));
    let awake = starts.any(|start| start.start_s.value() < to && start.end_s.value() > from);
    !awake && moves(seen, press, until_s).is_some_and(|moves| !moves)
}

fn next_press(seen: &Seen, press: f64) -> Option<f64> {
    seen.analysis.run.presses.iter().copied().find(|next| *next > press)
}

/// The press after `press`, if that wakes the board.
fn wakes_instead(seen: &Seen, press: f64) -> Option<f64> {
    let next = next_press(seen, press)?;
    let mut starts = seen.attempts.iter().map(|start| start.start_s.value());
    starts.any(|start_s| waking(seen, start_s) == Some(next)).then_some(next)
}

/// Whether volts or current move in the time after `press` as they did not before, and do not elsewhere in that rest; `None`
/// where too little was read. What comes from `until_s` on is no answer.
fn moves(seen: &Seen, press: f64, until_s: f64) -> Option<bool> {
    /// Share of the set volts that readback noise stays below.
    const VOLTS_SHARE: f64 = 0.01;
    let shows_until_s = (press + SHOWS_S).min(until_s);
    if seen.unread_s(press - BY_HAND_S, shows_until_s) > 0.0 {
        return None;
    }
    let [before, after] = [
        seen.samples_between(press - BY_HAND_S - SHOWS_S, press - BY_HAND_S),
        seen.samples_between(press - BY_HAND_S, shows_until_s),
    ];
    let elsewhere = elsewhere(seen, press);
    let of = |readings: &[f64], least: f64| {
        let others: Vec<f64> = elsewhere.iter().map(|i| readings[*i]).collect();
        moved(readings.get(before.clone())?, readings.get(after.clone())?, &others, least)
    };
    let amps = of(seen.trace.amps(), seen.analysis.step_a.max(seen.readout.noise_a))?;
    let volts = of(seen.trace.volts(), VOLTS_SHARE * seen.analysis.run.set_v)?;
    Some(amps || volts)
}

/// The readings of the rest that a press falls into which no press explains: those show how far a board's own housekeeping
/// moves it.
fn elsewhere(seen: &Seen, press: f64) -> Vec<usize> {
    let holds = |step: &&Step| (step.stretch.start_s..step.stretch.end_s).contains(&press);
    let Some(rest) = seen.analysis.path.iter().find(holds).filter(|step| step.state.is_rest()) else {
        return Vec::new();
    };
    // What the edges average over is no rest.
    let edge_s = SHOWS_S.max(EDGE_READINGS * seen.readout.update_s());
    let read = seen.samples_between(rest.stretch.start_s + edge_s, rest.stretch.end_s - edge_s);
    let near = |time: f64, press: &f64| (press - BY_HAND_S..press + TIME_TO_WAKE_S).contains(&time);
    let asked = |i: &usize| seen.analysis.run.presses.iter().any(|press| near(seen.trace.time()[*i], press));
    read.filter(|i| !asked(i)).collect()
}

/// Whether readings go further from their level after than before, than `elsewhere`, and than `least`.
fn moved(before: &[f64], after: &[f64], elsewhere: &[f64], least: f64) -> Option<bool> {
    /// Fewer readings show nothing.
    const READINGS: usize = 3;
    /// Times as far as in the quiet before.
    const CLEARLY: f64 = 2.0;
    let level = robust::median(&mut before.to_vec())
        .filter(|_| before.len() >= READINGS && after.len() >= READINGS)?;
    let most = |values: &[f64]| values.iter().map(|value| (value - level).abs()).fold(0.0, f64::max);
    Some(most(after) > (CLEARLY * most(before).max(least)).max(most(elsewhere) + least))
}

/// The last press that was marked while the output was off, before this run.
pub(super) fn unfed(seen: &Seen) -> Option<f64> {
    /// Share of the set volts below which nothing is fed.
    const FED: f64 = 0.5;
    let start_s = seen.analysis.run.start_s;
    let is_unfed = |index: usize| {
        let volts = seen.trace.volts().get(index);
        volts.is_some_and(|volts| *volts < FED * seen.analysis.run.set_v)
    };
    let presses = seen.trace.events().iter().filter(|event| event.kind.is_press());
    let mut before = presses.filter(|event| event.time.value() < start_s && is_unfed(event.sample));
    before.next_back().map(|event| event.time.value())
}

/// What is not known of presses because of where they are marked.
pub(super) fn limits(seen: &Seen) -> Vec<String> {
    /// Two times of a log that differ by less are one.
    const SAME_S: f64 = 1e-6;
    let after_gap = |press: &f64| {
        let holds = |gap: &&super::Gap| gap.start_s.value() < *press && *press <= gap.end_s.value() + SAME_S;
        let gap = seen.readout.gaps.iter().find(holds)?;
        let length = exact(gap.end_s.value() - gap.start_s.value(), "s");
        Some(format!(
            "the press at {} is marked at the end of a gap: it may have come up to {length} earlier",
            seen.mark(*press)
        ))
    };
    let unfed = unfed(seen).map(|press| {
        format!(
            "the press at {} is marked before the output is on: it asks nothing of the board",
            seen.mark(press)
        )
    });
    let off = switching_off(seen);
    let off = (!off.is_empty()).then(|| {
        let noun = if off.len() == 1 { "the press" } else { "the presses" };
        let times = with_and(off.iter().map(|off| seen.mark(off.press_s)));
        format!("whether it went off by itself or at {noun} at {times}")
    });
    off.into_iter().chain(unfed).chain(seen.analysis.run.presses.iter().filter_map(after_gap)).collect()
}
