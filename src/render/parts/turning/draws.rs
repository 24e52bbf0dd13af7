//! Boards that draw the same all along: a short, too much, nothing.

use super::super::super::words;
use super::super::Subject;
use super::super::envelope::in_amps;
use super::super::notes::Note;
use super::super::readings::AT_LIMIT;
use super::longest;
use super::point::note_of;
use super::said::{lasts, level};
use crate::units::{Amps, reference_in_steps, volts_as_set};
use crate::verdict::{Class, Direction, Phase};

pub(super) fn short(subject: &Subject) -> Option<Note> {
    let phase = longest(subject)?;
    let set = subject
        .set_volts()
        .map_or_else(String::new, |volts| format!(", set to {}", volts_as_set(volts.value())));
    let body = format!("{}{set}", taken(subject, phase));
    Some(note_of(subject, phase, "hard short from here on", body))
}

/// The level of a short; of one that the supply holds at its limit `at the limit of 1.27 A, 0.295 V on average`: its readback a
/// step above the limit beside the limit would be two numbers for one thing, and its lowest volts another beside their mean.
fn taken(subject: &Subject, phase: &Phase) -> String {
    let held = |limit: &Amps| phase.mean_a.value() >= AT_LIMIT * limit.value();
    let Some(limit) = subject.finding.log.limit_a.filter(held) else { return level(subject, phase) };
    format!("at the limit of {limit}, {} on average", subject.finding.log.volts(phase.mean_v))
}

pub(super) fn heavy(subject: &Subject) -> Option<Note> {
    let phase = longest(subject)?;
    let body = format!("{}, no stages", taken(subject, phase));
    Some(note_of(subject, phase, "partial short from here on", body))
}

pub(super) fn no_draw(subject: &Subject) -> Option<Note> {
    let phase = longest(subject)?;
    let (drawn, step) = (phase.mean_a.value(), subject.resolution().map(Amps::value));
    let head = no_draw_head(subject, phase);
    let there = format!("at {} for {}", subject.finding.log.volts(phase.mean_v), lasts(subject, phase));
    let mean = words::amps(drawn, subject.resolution());
    if step.is_some_and(|step| drawn.abs() >= step) {
        return Some(note_of(subject, phase, head, format!("{mean} {there}")));
    }
    // Single steps are seen in the trace, and may be more than one: no zero is to stand beside them, nor "nothing".
    let step = step.map(|step| format!(" (under {})", words::amps(step, subject.resolution())));
    let shown = match above_a_step(subject, phase) {
        Some(high) => {
            let high = words::amps(high, subject.resolution());
            format!("{mean} on average, single readings up to {high}")
        }
        None => format!("on average less than one step of the supply{}", step.unwrap_or_default()),
    };
    let mut note = note_of(subject, phase, head, shown);
    note.lines.push(there);
    note.lines.extend(as_little(subject));
    Some(note)
}

/// `good boards stand by at 0.89 mA, less than one step too`: of boards of which this supply shows no more.
fn as_little(subject: &Subject) -> Option<String> {
    let (profile, volts, step) = (subject.profile?, subject.feed_volts()?, subject.resolution()?);
    let usual = in_amps(profile, profile.standby()?, volts).typical;
    (usual < step.value()).then(|| {
        format!(
            "good boards stand by at {}, less than one step too",
            reference_in_steps(usual, step.value(), "A")
        )
    })
}

/// What any reading contradicts, be it by one step, or what may well be a standby, is not to stand as a fact.
fn no_draw_head(subject: &Subject, phase: &Phase) -> &'static str {
    /// Share of a step from which on a reading is one (common practice, no source).
    const SEEN: f64 = 0.5;
    let step = subject.resolution().map_or(f64::MIN_POSITIVE, Amps::value);
    let seen = highest_settled(subject, phase).is_some_and(|highest| highest > SEEN * step);
    if !seen && !may_stand_by(subject) {
        "fed from here on: nothing flows"
    } else {
        "fed from here on: hardly anything flows"
    }
}

/// Whether what is called no draw may well be a standby too small for this supply.
fn may_stand_by(subject: &Subject) -> bool {
    /// From this chance on (by judgement).
    const WELL: f64 = 0.25;
    let verdict = &subject.finding.verdict;
    let second = verdict.runner_up.filter(|second| second.class == Class::StandbyOnly);
    second.is_some_and(|second| second.confidence > WELL || words::is_toss_up(verdict))
}

/// The highest reading of a phase once the inrush is over, in amps, where it is more than one step of the supply.
fn above_a_step(subject: &Subject, phase: &Phase) -> Option<f64> {
    /// Steps of the supply that a reading of one step does not come to, however its decimals are rounded.
    const ABOVE: f64 = 1.5;
    let step = subject.resolution()?.value();
    highest_settled(subject, phase).filter(|highest| *highest > ABOVE * step)
}

/// The highest reading of a phase once the inrush is over, in amps.
fn highest_settled(subject: &Subject, phase: &Phase) -> Option<f64> {
    /// Seconds that capacitors take to charge from a supply at its limit (common practice, no source).
    const CHARGED_S: f64 = 1.0;
    let time = subject.trace.time();
    let from = phase.start_s.value() + CHARGED_S;
    let index = |at: f64| time.partition_point(|t| *t < at);
    let read = subject.trace.amps().get(index(from)..index(phase.end_s.value()))?;
    read.iter().map(|amps| subject.finding.log.drawn(*amps)).max_by(f64::total_cmp)
}

pub(super) fn excess(subject: &Subject) -> Option<Note> {
    let told = subject.finding.departures.iter().any(|departure| departure.direction == Direction::Above);
    let phase = longest(subject).filter(|_| !told)?;
    let body = format!("{} for {}", level(subject, phase), lasts(subject, phase));
    let head = format!("{} draws too much", phase.name);
    Some(note_of(subject, phase, head, body))
}
