//! Boards that never wake: from when on they are overdue.

use super::super::Subject;
use super::super::notes::Note;
use super::super::trouble::is_unasked;
use super::point::note_within;
use super::said::{lasts, level, time};
use super::stuck::{overdue, past_by};
use super::{OFF, fed};
use crate::units::Amps;
use crate::verdict::Phase;

/// The marked presses of the button in the stretch with feed that the verdict is of.
fn presses(subject: &Subject) -> Vec<f64> {
    let switched_off = subject.finding.phases.iter().rfind(|phase| phase.name == OFF);
    let last = fed(subject).next_back().map_or(0.0, |phase| phase.end_s.value());
    let from = switched_off.map(|off| off.end_s.value()).filter(|off| *off < last).unwrap_or(0.0);
    let within = |at: &f64| *at >= from && fed(subject).any(|phase| phase_holds(phase, *at));
    let presses = subject.trace.events().iter().filter(|event| event.kind.is_press());
    presses.map(|event| event.time.value()).filter(within).collect()
}

fn phase_holds(phase: &Phase, at: f64) -> bool {
    (phase.start_s.value()..phase.end_s.value()).contains(&at)
}

/// The last of those presses within a stretch: at that one the mark stands, and another run is set beside it.
pub(in crate::render::parts) fn last_press(subject: &Subject, (from, to): (f64, f64)) -> Option<f64> {
    presses(subject).into_iter().rfind(|at| (from..to).contains(at))
}

/// From when on a board that never wakes is overdue: the last press that it did not answer, which is that of the text; by
/// itself, within the time of good boards; or it was fed, and that is all that is known.
pub(in crate::render::parts) fn no_wake_from(subject: &Subject, phase: &Phase) -> f64 {
    let due = presses(subject).pop().or_else(|| wakes_by_itself(subject, phase));
    due.unwrap_or_else(|| phase.start_s.value())
}

pub(super) fn no_wake(subject: &Subject) -> Option<Note> {
    let phase = fed(subject).next_back()?;
    let drawn = level(subject, phase) + if is_a_mean(subject, phase) { " on average" } else { "" };
    let presses = presses(subject);
    let from = no_wake_from(subject, phase);
    if let Some(pressed) = presses.last() {
        let since = time(subject, phase.end_s.value() - pressed);
        let body = match presses.len() {
            1 => format!("{drawn} still, {since} later"),
            several => format!("press {several} of {several}: {drawn} still, {since} later"),
        };
        return Some(note_within(subject, phase, from, "button pressed: no wake", body));
    }
    let long = lasts(subject, phase);
    let for_long = format!("{drawn} for {long}");
    if is_unasked(subject) {
        return Some(Note {
            placed: false,
            ..note_within(subject, phase, from, "no press of the button in this log", for_long)
        });
    }
    let past = past_by(subject, phase).filter(|_| wakes_by_itself(subject, phase).is_some());
    let (head, body) = match &past {
        Some(_) => ("no wake", format!("{drawn}, in {} for {long}", phase.name)),
        None if starts_by_itself(subject) => ("fed from here, no wake", for_long),
        None => ("fed from here, no wake", format!("{for_long}, no press marked")),
    };
    // Where it was switched on the amps still rise: the level that is told is met later.
    let mut note = note_within(subject, phase, from, head, body);
    note.lines.extend(past);
    Some(note)
}

/// Whether hardly any reading is at the mean of a phase, as where pulses lift it.
fn is_a_mean(subject: &Subject, phase: &Phase) -> bool {
    /// A reading this near to the level is at it (common practice, no source).
    const NEAR: f64 = 0.1;
    /// One in so many at the level shows it (common practice, no source).
    const FEW: usize = 4;
    let (time, level) = (subject.trace.time(), phase.mean_a.value());
    let index = |at: f64| time.partition_point(|t| *t < at);
    let read = &subject.trace.amps()[index(phase.start_s.value())..index(phase.end_s.value())];
    let near = (NEAR * level.abs()).max(subject.resolution().map_or(0.0, Amps::value));
    let at_it = read.iter().filter(|amps| (subject.finding.log.drawn(**amps) - level).abs() <= near);
    at_it.count() * FEW < read.len()
}

/// Whether the reference says that the board waits for nobody.
fn starts_by_itself(subject: &Subject) -> bool {
    subject.profile.is_some_and(|profile| profile.standby().is_none_or(|standby| !standby.waits_for_person))
}

/// By when a board that waits for nobody has left its standby; from when on it was fed, where the reference has no
/// length. `None` if it waits for a person, or nothing is known of it.
fn wakes_by_itself(subject: &Subject, phase: &Phase) -> Option<f64> {
    let reference = subject.profile?.phases.iter().find(|reference| reference.name == phase.name)?;
    let start = phase.start_s.value();
    (!reference.waits_for_person).then(|| overdue(subject, phase).map_or(start, |overdue| overdue.0))
}
