//! Boards that draw the same all along: a short, too much, nothing.

use super::super::super::words;
use super::super::Subject;
use super::super::notes::Note;
use super::longest;
use super::point::note_of;
use super::said::{lasts, level};
use crate::units::{Amps, volts_as_set};
use crate::verdict::Direction;

pub(super) fn short(subject: &Subject) -> Option<Note> {
    let phase = longest(subject)?;
    let set = subject
        .set_volts()
        .map_or_else(String::new, |volts| format!(", set to {}", volts_as_set(volts.value())));
    let body = format!("{}{set}", level(subject, phase));
    Some(note_of(subject, phase, "hard short from here on", body))
}

pub(super) fn heavy(subject: &Subject) -> Option<Note> {
    let phase = longest(subject)?;
    let body = format!("{}, no stages", level(subject, phase));
    Some(note_of(subject, phase, "partial short from here on", body))
}

pub(super) fn no_draw(subject: &Subject) -> Option<Note> {
    let phase = longest(subject)?;
    let (drawn, volts) = (phase.mean_a, subject.finding.log.volts(phase.mean_v));
    let (drawn, step) = (drawn.value(), subject.resolution().map(Amps::value));
    let nothing = step.is_none_or(|step| drawn.abs() < step);
    let (head, there) =
        ("fed from here on: nothing flows", format!("at {volts} for {}", lasts(subject, phase)));
    if !nothing {
        let shown = words::amps(drawn, subject.resolution());
        return Some(note_of(subject, phase, head, format!("{shown} {there}")));
    }
    // Single steps are seen in the trace, and may be more than one: no zero is to stand beside them, nor "nothing".
    let step = step.map(|step| format!(" (under {})", words::amps(step, subject.resolution())));
    let shown = format!("on average less than one step of the supply{}", step.unwrap_or_default());
    let mut note = note_of(subject, phase, head, shown);
    note.lines.push(there);
    Some(note)
}

pub(super) fn excess(subject: &Subject) -> Option<Note> {
    let told = subject.finding.departures.iter().any(|departure| departure.direction == Direction::Above);
    let phase = longest(subject).filter(|_| !told)?;
    let body = format!("{} for {}", level(subject, phase), lasts(subject, phase));
    let head = format!("{} draws too much", phase.name);
    Some(note_of(subject, phase, head, body))
}
