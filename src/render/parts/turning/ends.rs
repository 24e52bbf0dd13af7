//! Runs that end: the board stays down, or falls back.

use super::super::Subject;
use super::super::attempts::span;
use super::super::edge::{before_gap, edge, top};
use super::super::gives_up::{given_up, gives_up};
use super::super::notes::Note;
use super::point::{at_reading, note, note_of};
use super::said::{amps, lasts, level, reading, time, volts_read};
use super::{fed, in_stage};
use crate::units::{Amps, Volts};
use crate::verdict::{Fall, Phase};
use std::ops::Range;

/// Where a board leaves what good ones do, and that it stays down: of several tries that is where the first of those ends that
/// are as most are, which is what the text tells of each; the last is more of the same.
pub(super) fn stays_down(subject: &Subject) -> Option<Note> {
    let last = fed(subject).next_back()?;
    let several = given_up(subject).nth(1).and_then(|_| gives_up(subject));
    several.map(|note| then_down(subject, note, last)).or_else(|| down_after_one(subject, last))
}

/// The end of one try among several, with from when on no other follows.
fn then_down(subject: &Subject, mut note: Note, last: &Phase) -> Note {
    let (left, from) = (amps(subject, last.mean_a), time(subject, last.start_s.value()));
    note.lines.push(format!("stays down from {from} on: {left} to the end"));
    note
}

/// The end of the only try, after which the board stays down.
fn down_after_one(subject: &Subject, last: &Phase) -> Option<Note> {
    let left = format!("{} for {}, to the end", amps(subject, last.mean_a), lasts(subject, last));
    let start = last.start_s.value();
    let edge = edge(subject, start);
    let Some(edge) = edge else {
        let body = format!("{} for {}, to the end", level(subject, last), lasts(subject, last));
        return Some(note_of(subject, last, "stays down from here on", body));
    };
    // A reading over the edge tells neither what the try drew nor what is left of it.
    let attempt = subject.finding.attempts.iter().rfind(|attempt| attempt.given_up).map(span);
    let (point, word) = attempt.map_or((edge - 1, ""), |(start, _)| top(subject, start, edge));
    let sag = sag(subject, point..edge + 1).unwrap_or_default();
    let body = format!("{word}{}{sag}, then {left}", reading(subject, point)?);
    let (at, head) = match before_gap(subject, edge) {
        Some(last) => (last, "stays down from this gap on"),
        // The moment of the text.
        None => (start, "stays down from here on"),
    };
    let mut note = Note { at, ..at_reading(subject, edge, point, head, body) };
    // Before what is drawn: "to the end" and "the try ends" would read as one sentence.
    if let Some(ended) = ended(subject) {
        note.lines.insert(1, ended);
    }
    Some(note)
}

/// `the try ends here in bus`, `the try ends here at the end of rails, at the step into loader`: where in the boot, if that is
/// told.
fn ended(subject: &Subject) -> Option<String> {
    let into = subject.finding.verdict.step_into.as_ref();
    let into = into.map_or_else(String::new, |next| format!(", at the step into {next}"));
    let place = in_stage(subject)? + &into;
    given_up(subject).next().map(|_| format!("the try ends here{place}"))
}

/// Readback of volts agrees with what was set within about this share (common practice, no source).
pub(in crate::render::parts) const LEAST_SAG: f64 = 0.01;

/// `, volts down to 5.61 V`, where they go down further among those readings than at the first of them.
fn sag(subject: &Subject, readings: Range<usize>) -> Option<String> {
    let volts = subject.trace.volts();
    let (first, lowest) = (*volts.get(readings.start)?, volts[deepest(subject, readings)?]);
    let further = lowest < first * (1.0 - LEAST_SAG);
    further.then(|| Some(format!(", volts down to {}", volts_read(subject, lowest)?)))?
}

/// A stage that follows another draws no less than this share of it (common practice, no source).
const FAR_LESS: f64 = 0.4;

/// The last stage that was reached, and the phase after it that draws far less.
fn fall<'a>(subject: &Subject<'a>) -> Option<(&'a Phase, &'a Phase)> {
    let reached = subject.finding.verdict.reached.as_ref()?;
    let phases: Vec<&Phase> = fed(subject).collect();
    let last = phases.iter().rposition(|phase| phase.name == *reached)?;
    let before = phases[last];
    // The end of the last stage may still be called an attempt: the fall is where far less is drawn.
    let far_less = |phase: &&&Phase| phase.mean_a.value() < FAR_LESS * before.mean_a.value();
    let after = phases[last..].iter().find(far_less).or(phases.get(last + 1))?;
    Some((before, after))
}

/// The same of a finding that does not say it, by its phases.
fn between(before: &Phase, after: &Phase) -> Fall {
    Fall {
        at_s: after.start_s,
        from_a: before.mean_a,
        from_v: before.mean_v,
        to_a: after.mean_a,
        to_v: after.mean_v,
        lowest_v: before.mean_v,
    }
}

/// From when on the board has fallen back, in seconds.
pub(in crate::render::parts) fn fallen(subject: &Subject) -> Option<f64> {
    fall(subject).map(|(_, after)| after.start_s.value())
}

pub(super) fn falls_back(subject: &Subject) -> Option<Note> {
    let told =
        subject.finding.fall.or_else(|| fall(subject).map(|(before, after)| between(before, after)))?;
    let level = |amps_there, volts: Volts| {
        format!("{} at {}", amps(subject, amps_there), subject.finding.log.volts(volts))
    };
    let start = told.at_s.value();
    let edge = edge(subject, start);
    let mean = edge.is_some_and(|edge| is_a_mean(subject, edge, told.from_a)).then_some(" on average");
    let from = level(told.from_a, told.from_v) + mean.unwrap_or_default();
    let body = format!("from {from} to {}", level(told.to_a, told.to_v));
    if let Some(last) = edge.and_then(|edge| before_gap(subject, edge)) {
        return Some(note(last, Some(told.from_a.value()), "falls back in the gap from here", body));
    }
    // The moment is that of the text, the dot where the trace falls.
    let point_at = edge.map(|edge| subject.trace.time()[edge]);
    Some(Note { point_at, ..note(start, Some(told.from_a.value()), "falls back here", body) })
}

/// Whether the level before a fall is none that was read just before it: the dot stands at what was, and the words tell the other.
fn is_a_mean(subject: &Subject, edge: usize, level: Amps) -> bool {
    /// A reading this near to the level is at it (common practice, no source).
    const NEAR: f64 = 0.02;
    /// How long before the fall is just before it, in seconds (by judgement).
    const JUST_BEFORE_S: f64 = 0.5;
    let step = subject.resolution().map_or(0.0, Amps::value);
    let time = subject.trace.time();
    let just_before = (0..edge.min(time.len()))
        .rev()
        .take_while(|i| time[edge.min(time.len() - 1)] - time[*i] <= JUST_BEFORE_S);
    let off = |i: usize| (subject.finding.log.drawn(subject.trace.amps()[i]) - level.value()).abs();
    let mut read = just_before.peekable();
    read.peek().is_some() && read.all(|i| off(i) > (NEAR * level.value()).max(step))
}

/// The reading of the lowest volts among `readings`.
pub(in crate::render::parts) fn deepest(subject: &Subject, readings: Range<usize>) -> Option<usize> {
    let volts = subject.trace.volts();
    let there = readings.filter(|index| volts.get(*index).is_some());
    there.min_by(|a, b| volts[*a].total_cmp(&volts[*b]))
}
