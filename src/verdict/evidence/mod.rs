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
pub(super) use swing::{Liveliness, liveliness};
pub(super) use tries::most_step_on;

use super::Attempt;
use super::Class;
use super::advice::standby_surplus;
use super::align::{State, Step};
use super::attempts::RISES_S;
use super::phases::without_zero;
use super::piece::Piece;
use super::presses::{TIME_TO_WAKE_S, in_vain};
use super::seen::{Seen, seconds};
use crate::stats::moments::Moments;
use crate::stats::robust;
use crate::units::range;
use std::ops::Range;

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
    let level = Steady::of_last_seconds(seen, last).filter(|level| level.duration() >= LEVEL_S);
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
    let level = Steady::of_last_seconds(seen, seen.analysis.path.last()?);
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
    let level = Steady::at_the_end(seen, last, SAME).filter(|level| level.duration() >= STAYS_S)?;
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

/// The level that a run ends at, from its last change on.
#[derive(Debug, Clone, Copy)]
struct Steady {
    start_s: f64,
    end_s: f64,
    amps: f64,
    volts: f64,
    watts: f64,
}

impl Steady {
    /// The level that a run ends at; of a load that swings, which shows none for long, what it swings about.
    fn of_last_seconds(seen: &Seen, last: &Step) -> Option<Self> {
        /// Share of the level that a busy load swings by (common practice, no source).
        const SWINGS: f64 = 0.4;
        /// A level that lasts for less may be a moment of a busy load, in seconds.
        const LONG_S: f64 = 5.0;
        let level = Self::at_the_end(seen, last, SAME)?;
        if level.duration() >= LONG_S { Some(level) } else { Self::at_the_end(seen, last, SWINGS) }
    }

    /// The last pieces of the run, back to where the current was another; a gap, or a step that a person would not act
    /// on, does not end it, and neither does a pulse. The means are those of all readings from there on, pulses included,
    /// as anybody finds them who takes the mean over the time that is said beside them.
    fn at_the_end(seen: &Seen, last: &Step, same: f64) -> Option<Self> {
        let pieces = seen.analysis.pieces.get(..last.to)?;
        let end = pieces.last()?;
        let near = |piece: &&Piece| (piece.amps - end.amps).abs() <= same * end.amps.abs();
        // What lies below for a moment is no pulse but the rest that the load came up from.
        let is_pulse = |piece: &&Piece| piece.is_edge() || piece.amps > end.amps;
        let goes_on = |piece: &&Piece| near(piece) || piece.duration() < PULSE_S && is_pulse(piece);
        let first = pieces.iter().rev().take_while(goes_on).filter(near).last()?;
        let read = settled(seen, first.samples.start..end.samples.end);
        let zero_a = seen.readout.zero_a;
        let mean = |of: &dyn Fn(usize) -> f64| read.clone().map(of).collect::<Moments>().mean();
        let amps = |i: usize| without_zero(seen.trace.amps()[i], zero_a);
        Some(Self {
            // The mean is not over the rise of the feed, which no reading of the level shows.
            start_s: *seen.trace.time().get(read.start)?,
            end_s: end.end_s,
            amps: mean(&amps)?,
            volts: mean(&|i| seen.trace.volts()[i])?,
            watts: mean(&|i| seen.trace.volts()[i] * amps(i))?,
        })
    }

    fn duration(&self) -> f64 {
        self.end_s - self.start_s
    }

    /// ` at 12.8 V`; `, as the volts rise from 3.03 to 3.85 V`, of what was read while the feed came up, which has no mean.
    fn at_volts(&self, seen: &Seen) -> String {
        let read = seen.trace.volts().get(seen.samples_between(self.start_s, self.end_s)).unwrap_or_default();
        match (read.first(), read.iter().copied().max_by(f64::total_cmp)) {
            (Some(first), Some(most)) if *first < (1.0 - RISES) * most => {
                format!(", as the volts rise from {}", range(&seen.volts(*first), &seen.volts(most)))
            }
            _ => format!(" at {}", seen.volts(self.volts)),
        }
    }
}

/// The readings of `level` without those that it begins with just after switch-on and that are plainly off it: capacitors
/// are charged, and a housekeeping supply comes up, with a current of their own.
fn settled(seen: &Seen, level: Range<usize>) -> Range<usize> {
    /// Steps, and standard deviations, that a reading of a level may be off by (by judgement).
    const STEPS: f64 = 1.5;
    const SDS: f64 = 3.0;
    let amps = seen.trace.amps();
    let Some(median) = robust::median(&mut amps[level.clone()].to_vec()) else { return level };
    let most_a = (SAME * median.abs()).max(STEPS * seen.readout.step_a).max(SDS * seen.readout.noise_a);
    let off = |i: &usize| {
        seen.trace.time()[*i] < seen.analysis.run.start_s + RISES_S && (amps[*i] - median).abs() > most_a
    };
    let settled = level.start + level.clone().take_while(off).count()..level.end;
    after_the_rise(seen, settled.clone()).unwrap_or(settled)
}

/// The readings from where the volts are up, of a feed that comes up soon after switch-on and stays.
fn after_the_rise(seen: &Seen, level: Range<usize>) -> Option<Range<usize>> {
    let volts = seen.trace.volts().get(level.clone())?;
    let up_v = (1.0 - RISES) * volts.iter().copied().max_by(f64::total_cmp)?;
    let up = level.start + volts.iter().take_while(|volts| **volts < up_v).count()..level.end;
    let stays = seen.trace.volts()[up.clone()].iter().all(|volts| *volts >= up_v);
    let (from_s, to_s) = (*seen.trace.time().get(up.start)?, *seen.trace.time().get(up.end - 1)?);
    let soon = from_s < seen.analysis.run.start_s + RISES_S;
    (soon && stays && to_s - from_s >= LEVEL_S).then_some(up)
}

/// Share of the volts that is more than a load pulls them down by as it comes and goes (by judgement).
const RISES: f64 = 0.05;

/// Share of a level that is no change of it (by judgement).
const SAME: f64 = 0.1;

/// What is over within this time is a pulse of a level, in seconds: a drive that seeks, a radio that sends (common
/// practice, no source).
const PULSE_S: f64 = 1.0;

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
