//! The facts that decided, in numbers that a technician can check.

mod answer;
mod before;
mod beside;
mod brief;
mod course;
mod fall;
mod rest;
mod rise;
mod short;
mod starved;
mod steady;
mod swing;
mod tries;

pub(super) use answer::answers;
pub(super) use before::lost;
pub(super) use course::{draws_less, spike};
pub(super) use fall::{FellTo, fall, fallen};
pub(super) use rest::{most_asleep_w, much_for_standby, rails_may_be_up};
pub(super) use rise::{Rises, ends_in_a_spike, rises_at_the_end};
pub(super) use short::{has_leads_in_it, woke_before};
pub(super) use starved::none_could_boot;
pub(super) use steady::Steady;
pub(super) use swing::{Liveliness, liveliness};
pub(super) use tries::most_step_on;

use super::Attempt;
use super::Class;
use super::advice::standby_surplus;
use super::align::{State, Step};
use super::attempts::RISES_S;
use super::phases::without_zero;
use super::presses::{TIME_TO_WAKE_S, in_vain};
use super::seen::{Seen, seconds};
use crate::stats::moments::Moments;

/// Facts that are read at a glance; more is in the numbers of the phases.
const MOST_FACTS: usize = 6;

/// A stay or a level from this many times the usual one on is said as so many times.
const TIMES_FROM: f64 = 1.5;

/// The few facts behind the verdict on one run.
pub(super) fn because(seen: &Seen) -> Vec<String> {
    let analysis = seen.analysis;
    let Some(last) = analysis.path.last() else {
        return vec!["the run holds no reading with feed".into()];
    };
    let mut facts = match analysis.class() {
        Class::NoDraw => rest::no_draw(seen, last),
        Class::HardShort | Class::PartialShort => short::short(seen, last),
        Class::ExcessStandby | Class::StandbyOnly => rest::at_standby(seen, last),
        Class::LatchOff | Class::Cycling | Class::FeedLimited => tries::tries(seen, last),
        Class::Stalled => course::stalled(seen, last),
        Class::FullBoot => course::booted(seen, last),
        Class::DroppedOut => fall::dropped(seen),
        Class::Inconclusive => inconclusive(seen, last),
    };
    if !analysis.explained && analysis.class() == Class::Inconclusive {
        facts.insert(0, "the run fits none of the explanations well".into());
    }
    facts.truncate(MOST_FACTS);
    let more =
        surplus(seen).into_iter().chain(short::pulses(seen)).chain(short::unasked(seen)).chain(in_vain(seen));
    let room = MOST_FACTS - facts.len();
    facts.extend(more.take(room));
    facts
}

/// What a board drew beyond the usual standby before its wake; later stages vary by more than that.
fn surplus(seen: &Seen) -> Option<String> {
    let leak_w = Some(seen.analysis.leak_w).filter(|leak_w| *leak_w > 0.0)?;
    // What the readings before the wake do not show by themselves is no surplus of the standby.
    let standby = &seen.analysis.model.standby.name;
    seen.departures.iter().find(|departure| departure.phase == *standby)?;
    // One number with that of the checks and cautions.
    let watts = seen.watts(standby_surplus(seen).unwrap_or(leak_w), seen.analysis.run.set_v);
    Some(format!(
        "{watts} more than the usual standby before its wake; whether that goes on then is not told"
    ))
}

/// `33 mA at 12.7 V for 53.1 s, from 1.90 s to the end`.
fn to_the_end(seen: &Seen, step: &Step) -> String {
    let level = seen.level(step);
    format!(
        "{} at {} for {}, from {} to the end",
        seen.amps(level.amps),
        seen.volts(level.volts),
        seen.span(level.start_s, level.end_s),
        seen.moment(level.start_s)
    )
}

fn inconclusive(seen: &Seen, last: &Step) -> Vec<String> {
    let tried = tries::in_vain_so_far(seen);
    let woke = woke_and_stays(seen, last);
    // Tries say by their times how much was seen.
    let captured = Some(captured(seen)).filter(|_| tried.is_empty());
    // The last level and not the mean since switch-on, which holds the rise of the feed.
    let level = Steady::of_last_seconds(seen).filter(|level| level.duration() >= LEVEL_S);
    let end = match &level {
        Some(level) => Some(
            format!(
                "mean over its last {}: {}{}",
                seen.time(level.duration()),
                seen.amps(level.amps),
                level.at_volts(seen)
            ) + &beside_standby(seen, last, level.watts),
        ),
        None => last_readings(seen),
    };
    // Of a board that woke and stays at a level, that was said.
    let (end, awake) = match woke {
        Some(_) => (None, None),
        None => (end, awake(seen, last, level.as_ref())),
    };
    let levels = captured.into_iter().chain(end).chain(awake).chain(too_early(seen, last));
    tried.into_iter().chain(woke).chain(levels).collect()
}

/// `; good boards stand by at 2 mA`, of a run that ends at no more than that: less may be all that the supply shows of it.
fn beside_standby(seen: &Seen, last: &Step, watts: f64) -> String {
    let model = &seen.analysis.model;
    let standby_w = model
        .standby
        .watts
        .filter(|_| model.of_this_board && last.state.is_rest() && watts <= model.standby.high);
    standby_w.map_or_else(String::new, |watts| {
        format!("; good boards stand by at {}", seen.reference_amps(watts / seen.analysis.run.set_v))
    })
}

/// The current that the facts of an undecided run end with, in amps.
pub(super) fn amps_at_the_end(seen: &Seen) -> Option<f64> {
    let level = Steady::of_last_seconds(seen);
    match level.filter(|level| level.duration() >= LEVEL_S) {
        Some(level) => Some(level.amps),
        None => mean_of_last(seen).map(|(_, amps, _)| amps),
    }
}

/// How much of the board was seen with its feed on.
fn captured(seen: &Seen) -> String {
    let run = &seen.analysis.run;
    match run.samples.end.saturating_sub(run.risen) {
        _ if run.duration() >= seen.readout.update_s() => {
            format!("{} of feed were captured", seen.span(run.start_s, run.end_s))
        }
        1 => "a single reading with the feed up was captured".into(),
        count => format!("{count} readings with the feed up were captured"),
    }
}

/// `0.8 s after`, or `within 0.3 s of` where less than a renewal of the readings is between.
fn after(seen: &Seen, from_s: f64) -> String {
    let (update_s, end_s) = (seen.readout.update_s(), seen.analysis.run.end_s);
    if end_s - from_s < update_s {
        format!("within {} of", seen.time(update_s))
    } else {
        format!("{} after", seen.span(from_s, end_s))
    }
}

/// What the last readings of a brief log show, once the feed is up.
fn last_readings(seen: &Seen) -> Option<String> {
    let (count, amps, volts) = mean_of_last(seen)?;
    let which = match count {
        1 => "its last reading".to_owned(),
        count => format!("mean of its last {count} readings"),
    };
    Some(format!("{which}: {} at {}", seen.amps(amps), seen.volts(volts)))
}

/// How many readings a brief log ends with once the feed is up, and the means of their amps and volts.
fn mean_of_last(seen: &Seen) -> Option<(usize, f64, f64)> {
    /// More are not needed, and may hold something else.
    const MOST: usize = 5;
    let run = &seen.analysis.run;
    let end = run.samples.end;
    // What was read before a rise is another level.
    let risen =
        on_at_the_end(seen).map_or(0, |rise| seen.samples_between(rise.start_s.value(), run.end_s).start);
    let readings = end.saturating_sub(MOST).max(run.risen).max(risen)..end;
    let volts = readings.clone().map(|i| seen.trace.volts()[i]).collect::<Moments>().mean()?;
    let amps = readings.clone().map(|i| seen.trace.amps()[i]).collect::<Moments>().mean()?;
    Some((readings.len(), without_zero(amps, seen.readout.zero_a), volts))
}

/// A board without a reference that woke and stays at one level.
pub(super) fn woke_and_stays(seen: &Seen, last: &Step) -> Option<String> {
    /// From here on it stays, in seconds.
    const STAYS_S: f64 = 5.0;
    if seen.analysis.model.of_this_board || seen.analysis.model.standby.high >= last.stretch.watts {
        return None;
    }
    let run = &seen.analysis.run;
    let on = seen.attempts.last().filter(|start| !start.given_up)?;
    let woke_s = Some(on.start_s.value()).filter(|start| *start > run.start_s + RISES_S)?;
    let level = Steady::of_the_end(seen).filter(|level| level.duration() >= STAYS_S)?;
    let near = |press: &&f64| (-TIME_TO_WAKE_S..TIME_TO_WAKE_S).contains(&(woke_s - **press));
    let at = run.presses.iter().rev().find(near);
    let woke = at.map_or_else(
        || format!("woke at {}", seen.time(woke_s)),
        |press| format!("woke at the press ({})", seen.mark(*press)),
    );
    Some(format!(
        "{woke} and stays at {} for {}: whether it runs or hangs takes a screen or a reference",
        seen.amps(level.amps),
        seen.time(level.duration())
    ))
}

/// A level is one from this time on, in seconds.
const LEVEL_S: f64 = 0.5;

/// What a board without a reference does that is not asleep.
fn awake(seen: &Seen, last: &Step, level: Option<&Steady>) -> Option<String> {
    // The watts of the amps and volts that are said beside them.
    let (watts, volts) =
        level.map_or((last.stretch.watts, last.stretch.volts), |level| (level.watts, level.volts));
    only_a_reference_tells(seen, last).then(|| {
        format!(
            "{} is more than such boards draw asleep: awake or loaded, and only a reference can tell which, or how far it got",
            seen.watts(watts, volts)
        )
    })
}

/// Whether a board without a reference ends at more than such boards draw asleep.
pub(in crate::verdict) fn only_a_reference_tells(seen: &Seen, last: &Step) -> bool {
    let model = &seen.analysis.model;
    !model.of_this_board && last.stretch.watts > model.standby.high
}

fn run_is_unasked(seen: &Seen) -> bool {
    seen.analysis.run.presses.is_empty()
}

/// The try that is on when the log ends, if the board was seen at rest before it.
fn on_at_the_end<'a>(seen: &'a Seen) -> Option<&'a Attempt> {
    let last = seen.attempts.last().filter(|attempt| !attempt.given_up)?;
    (last.start_s.value() > seen.analysis.run.start_s + seen.readout.update_s()).then_some(last)
}

/// What the log ended in the middle of.
fn too_early(seen: &Seen, last: &Step) -> Option<String> {
    let analysis = seen.analysis;
    if !analysis.model.of_this_board {
        return None;
    }
    let Some(stage) = last.state.stage().map(|stage| &analysis.model.stages[stage]) else {
        if let Some(rise) = on_at_the_end(seen) {
            let (from_s, end_s) = (rise.start_s.value(), analysis.run.end_s);
            return Some(format!(
                "it rises at {} and ends {} later: how far it gets is not seen",
                seen.time(from_s),
                seen.span(from_s, end_s)
            ));
        }
        let press = analysis.run.presses.last().map(|press| (*press, "the press"));
        let (from_s, what) = press.unwrap_or((analysis.run.start_s, "switch-on"));
        let since = analysis.run.end_s - from_s;
        let asleep = last.state.is_rest() || matches!(last.state, State::Inrush | State::Surge);
        let asked = !seen.has_button() || !run_is_unasked(seen);
        // Nobody is as quick with a button as a board that was asked.
        return (asleep && (since < TIME_TO_WAKE_S || !asked)).then(|| {
            let why = if asked {
                "a board may take longer to wake"
            } else {
                "good boards wait for a press of the button, and none is marked"
            };
            format!("it ends {} {what}: {why}", after(seen, from_s))
        });
    };
    let span = stage.duration.filter(|span| last.stretch.duration() < span.high)?;
    Some(format!(
        "in {} for {} when it ends; good boards stay for up to {}",
        stage.name,
        seen.span(last.stretch.start_s, last.stretch.end_s),
        seconds(span.high)
    ))
}
