//! A board that goes through its stages, and how far.

use super::TIMES_FROM;
use super::beside::against_good_boards;
use super::swing;
use super::tries::{UNASKED, before_this, woke_unasked};
use crate::units::{figures, with_and};
use crate::verdict::Class;
use crate::verdict::align::{State, Step};
use crate::verdict::attempts::RISES_S;
use crate::verdict::attempts::within_a_stage;
use crate::verdict::limits::Near;
use crate::verdict::phases::{EDGE_READINGS, without_zero};
use crate::verdict::seen::{Seen, seconds};

pub(super) fn booted(seen: &Seen, last: &Step) -> Vec<String> {
    let facts = before_this(seen).into_iter().chain(stages(seen)).chain([level(seen, last)]);
    facts.chain(spike(seen).map(|spike| spike.words(seen))).chain(near(seen)).collect()
}

/// The highest reading of a board that runs, where no good board's goes as high.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::verdict) struct Spike {
    pub at_s: f64,
    pub amps: f64,
    /// The highest that good boards may read there, in amps.
    most_a: f64,
}

impl Spike {
    /// `its highest reading there, 0.571 A at 12.3 s, is above the 0.295 A of good boards`.
    fn words(self, seen: &Seen) -> String {
        format!(
            "its highest reading there, {} at {}, is above what good boards peak at, {} at most",
            seen.amps(self.amps),
            seen.time(self.at_s),
            seen.reference_amps(self.most_a)
        )
    }
}

/// `None` where a departure says it, or no reference knows.
pub(in crate::verdict) fn spike(seen: &Seen) -> Option<Spike> {
    let last = seen.analysis.path.last().filter(|_| seen.class() == Class::FullBoot)?;
    let name = &seen.analysis.model.stages[last.state.stage()?].name;
    let told = seen.departures.iter().any(|departure| departure.phase == *name);
    let (phase, factor) = seen.reference_at(name).filter(|_| !told)?;
    let level = seen.level(last);
    // What is averaged over the step into it is of the stage before.
    let from = level.start_s + EDGE_READINGS * seen.readout.update_s();
    let amps = |i: usize| without_zero(seen.trace.amps()[i], seen.readout.zero_a);
    let read = seen.samples_between(from, level.end_s);
    let highest = read.max_by(|a, b| amps(*a).total_cmp(&amps(*b)))?;
    let most_a = phase.peak_power.high * factor / seen.analysis.run.set_v;
    let spike = Spike { at_s: seen.trace.time()[highest], amps: amps(highest), most_a };
    (spike.amps > most_a + seen.analysis.step_a).then_some(spike)
}

/// What is outside the band of its stage, of a board that boots; that is no departure, and no all-clear.
fn near(seen: &Seen) -> Option<String> {
    let near = Near::of_a_boot(seen)?;
    // The share that an envelope leaves out (tolerance interval for 0.95 of all boards, ISO 16269-6).
    Some(format!(
        "{}: {} against {}; one good board in twenty may lie outside, so this by itself is no finding",
        near.how(),
        near.measured,
        near.band
    ))
}

pub(super) fn stalled(seen: &Seen, last: &Step) -> Vec<String> {
    let stuck = how_long(seen, last);
    let drawn = format!("there {}{}", at_its_volts(seen, last), against_good_boards(seen, last));
    // A swing that says nothing of the board does not stand before what it draws.
    let (first, later) = match swing::activity(seen, last) {
        Some(swing) if swing.is_evidence => (Some(swing.words), None),
        other => (None, other.map(|swing| swing.words)),
    };
    stuck.into_iter().chain(first).chain([drawn]).chain(later).chain(stages(seen)).collect()
}

/// `stages: rails at 6.38 s, firmware at 7.06 s`.
pub(super) fn stages(seen: &Seen) -> Option<String> {
    let mut reached: Vec<(Vec<String>, String)> = Vec::new();
    // Of the steps, and of the stages since the board was last at rest.
    let (mut before, mut passed) = (None, None);
    let given_up = seen.attempts.iter().rfind(|start| start.given_up).map(|start| start.end_s.value());
    let since = given_up.filter(|_| matches!(seen.class(), Class::FullBoot | Class::Stalled));
    let steps = seen.analysis.path.iter().filter(|step| since.is_none_or(|end| step.stretch.end_s > end));
    for step in steps {
        // A burst is of the level that a board runs at, and of its phase.
        let running = Some(seen.analysis.model.last()).filter(|_| step.state == State::Burst);
        let stage = step.state.stage().or(running).or_else(|| within_a_stage(seen.analysis, step));
        if let Some(index) = stage.filter(|_| stage != before) {
            if let Some((names, _)) = reached.last_mut() {
                names.extend(not_told_from_the_one_before(seen, passed, index));
            }
            reached.push((not_told_apart(seen, passed, index), when(seen, step)));
        }
        before = stage;
        passed = if stage.is_none() && step.state.is_rest() { None } else { stage.or(passed) };
    }
    let unasked = if woke_unasked(seen) { UNASKED } else { by_itself(seen) };
    let each = |(names, when): &(Vec<String>, String)| {
        let apart = if names.len() > 1 { " (not told apart)" } else { "" };
        format!("{} {when}{apart}", with_and(names.iter().cloned()))
    };
    let reached: Vec<String> = reached.iter().map(each).collect();
    (!reached.is_empty()).then(|| format!("stages reached: {}{unasked}", reached.join(", ")))
}

/// The names of those stages that a board goes through between the one `before` and the one at `index`, which the readings
/// do not tell from that, and of that one.
pub(super) fn not_told_apart(seen: &Seen, before: Option<usize>, index: usize) -> Vec<String> {
    let woke = seen.analysis.model.of_this_board && seen.analysis.run.switch_on_seen;
    let first = before.map_or(0, |before| before + 1);
    let first = first + not_told_from_the_one_before(seen, before, index).len();
    // What passes over several is no slow readback.
    let from = if woke && index <= first + 1 { first.min(index) } else { index };
    seen.analysis.model.stages[from..=index].iter().map(|stage| stage.name.clone()).collect()
}

/// The names of those stages between the one `before` and the one at `index` that are at the level of the former.
fn not_told_from_the_one_before(seen: &Seen, before: Option<usize>, index: usize) -> Vec<String> {
    let model = &seen.analysis.model;
    let after = before.map_or(index, |before| before + 1);
    let alike = (after..index).take_while(|stage| model.is_like_the_one_before(*stage));
    alike.map(|stage| model.stages[stage].name.clone()).collect()
}

/// Of a board that woke without a press some time after switch-on, as good ones do: nobody is to look for the press.
fn by_itself(seen: &Seen) -> &'static str {
    let (model, run) = (&seen.analysis.model, &seen.analysis.run);
    let late = seen.attempts.first().is_some_and(|start| start.start_s.value() > run.start_s + RISES_S);
    let fails = model.of_this_board && seen.class() != Class::FullBoot;
    let alone = fails && !seen.has_button() && run.presses.is_empty();
    if alone && late { "; good boards wake without a press as well" } else { "" }
}

/// `at 7.1 s`, `between 6.1 and 7.2 s (no readings)`.
pub(super) fn at(seen: &Seen, moment_s: f64) -> String {
    let moment = seen.moment(moment_s);
    if moment.starts_with("between") { moment } else { format!("at {moment}") }
}

/// When a stage begins: what the switch-on starts has no moment of its own.
fn when(seen: &Seen, first: &Step) -> String {
    let (run, start_s) = (&seen.analysis.run, first.stretch.start_s);
    let rested = |step: &Step| step.state.is_rest() && step.stretch.start_s < start_s;
    // A reading that averages over the rise of the feed may come before it; a rest, which has a band in the picture, not.
    let is_near = start_s - run.start_s <= EDGE_READINGS * seen.readout.update_s();
    match is_near && !seen.analysis.path.iter().any(rested) {
        // The moment from which all times after switch-on are counted.
        true if run.switch_on_seen => format!("from switch-on ({})", seen.time(run.start_s)),
        true => "from the first reading on".into(),
        false => at(seen, start_s),
    }
}

fn how_long(seen: &Seen, last: &Step) -> Option<String> {
    let stage = &seen.analysis.model.stages[last.state.stage()?];
    let stayed = seen.level(last).duration();
    let usual = stage.duration.map(|span| {
        let (typical, most) = (seconds(span.typical), seconds(span.high));
        let times = stayed / span.typical;
        if times >= TIMES_FROM {
            format!(", {} times the usual {typical} (good boards at most {most})", figures(times, 2))
        } else {
            format!("; good boards leave it after {typical} (at most {most})")
        }
    });
    Some(format!("in {} for {}{}", stage.name, lasts(seen, last), usual.unwrap_or_default()))
}

/// How long the stay is that `last` belongs to: from its start to its end, as these are said.
fn lasts(seen: &Seen, last: &Step) -> String {
    let level = seen.level(last);
    seen.span(level.start_s, level.end_s)
}

/// `1.12 A at 13.0 V, 14.6 W`.
fn at_its_volts(seen: &Seen, last: &Step) -> String {
    let level = seen.level(last);
    let drawn = seen.watts(level.watts, level.volts);
    format!("{} at {}, {drawn}", seen.amps(level.amps), seen.volts(level.volts))
}

/// What is drawn to the end, beside what good boards draw there.
fn level(seen: &Seen, last: &Step) -> String {
    format!(
        "{} for {}, from {} to the end{}",
        at_its_volts(seen, last),
        lasts(seen, last),
        seen.moment(seen.level(last).start_s),
        against_good_boards(seen, last)
    )
}

/// Whether a board that hangs draws less than good boards do in the stage.
pub(in crate::verdict) fn draws_less(seen: &Seen, last: &Step) -> bool {
    let stage = last.state.stage().map(|stage| &seen.analysis.model.stages[stage]);
    let reference = stage.and_then(|stage| seen.reference_at(&stage.name));
    reference.is_some_and(|(phase, factor)| seen.level(last).watts < phase.mean_power.low * factor)
}
