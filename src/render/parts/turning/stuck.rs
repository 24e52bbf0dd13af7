//! Boards that stay in a stage for longer than good ones.

use super::super::super::words;
use super::super::Subject;
use super::super::envelope;
use super::super::notes::Note;
use super::point::{at_reading, note_of, note_within};
use super::said::{self, lasts, level, seconds, time};
use crate::verdict::{Class, Phase};

/// When good boards have left a phase in which this one still is, and how long they stay at most, in seconds.
pub(in crate::render::parts) fn overdue(subject: &Subject, phase: &Phase) -> Option<(f64, f64)> {
    let profile = subject.profile?;
    let usual = profile.phases.iter().find(|reference| reference.name == phase.name)?.duration?.high;
    let at = phase.start_s.value() + usual;
    (at < phase.end_s.value()).then_some((at, usual))
}

/// `since 9.1 s; good boards leave within 16.1 s, by 25.2 s`: where the counting begins, the deadline on the log's own clock,
/// and how it comes about.
pub(super) fn past_by(subject: &Subject, phase: &Phase) -> Option<String> {
    let (at, usual) = overdue(subject, phase)?;
    let (since, at) = (time(subject, phase.start_s.value()), time(subject, at));
    Some(format!("since {since}; good boards leave within {}, by {at}", seconds(usual)))
}

/// `, above good boards' mean`, where the level of a stage is none of theirs: a board may leave them long before it is overdue,
/// and a mark at the deadline alone would hide that.
fn unlike_good(subject: &Subject, phase: &Phase) -> &'static str {
    let profile = subject.profile.zip(subject.feed_volts());
    let theirs = profile.and_then(|(profile, volts)| {
        let reference = profile.phases.iter().find(|reference| reference.name == phase.name)?;
        Some(envelope::in_amps(profile, reference, volts))
    });
    match theirs {
        Some(theirs) if phase.mean_a.value() > theirs.high => ", above good boards' mean",
        Some(theirs) if phase.mean_a.value() < theirs.low => ", below good boards' mean",
        _ => "",
    }
}

/// The reading at the moment of a note whose level the trace has only long after: there the two would be two places.
fn elsewhere_then(subject: &Subject, note: &Note) -> Option<usize> {
    /// A later one is seen apart from its moment, as a share of the log (common practice, no source).
    const LATE: f64 = 0.01;
    let time = subject.trace.time();
    let (first, last) = (time.first()?, time.last()?);
    let late = note.point_at.is_none_or(|at| at - note.at > LATE * (last - first));
    let index = time.partition_point(|t| *t < note.at);
    (late && index < time.len()).then_some(index)
}

/// The stage in which the board got stuck.
fn stuck_in<'a>(subject: &Subject<'a>) -> Option<&'a Phase> {
    let stage = subject.finding.verdict.stalled_in.as_ref()?;
    subject.finding.phases.iter().rfind(|phase| phase.name == *stage)
}

/// When a stalled board is overdue, and what is said of it where there is room for the head alone: at that moment nothing is
/// seen to happen, and the strip of stages says where it is stuck.
pub(in crate::render::parts) fn overdue_alone(subject: &Subject) -> Option<(f64, String)> {
    let verdict = &subject.finding.verdict;
    let phase = stuck_in(subject).filter(|_| verdict.class == Class::Stalled)?;
    let (at, _) = overdue(subject, phase)?;
    let head = format!("overdue in {} from here", phase.name);
    let doubt = words::is_toss_up(verdict).then(|| words::doubt(verdict));
    Some((at, doubt.map_or_else(|| head.clone(), |doubt| format!("{doubt} {head}"))))
}

/// Where a stalled board should have moved on, or else where it got stuck.
pub(super) fn stuck(subject: &Subject) -> Option<Note> {
    let phase = stuck_in(subject)?;
    let head = format!("stuck in {}", phase.name);
    let (drawn, long) = (level(subject, phase), lasts(subject, phase));
    if let Some((at, _)) = overdue(subject, phase) {
        // The note stands at the deadline, and the time is that of the whole stage: each is to say what it counts from.
        let head = head + unlike_good(subject, phase);
        let mut note = note_within(subject, phase, at, head, format!("{drawn}, in it for {long}"));
        if let Some(index) = elsewhere_then(subject, &note) {
            let there = said::drawn(subject, index)?;
            let body = format!("{there} here, {drawn} on average, in it for {long}");
            note = Note { at, ..at_reading(subject, index, index, note.lines.swap_remove(0), body) };
        }
        note.lines.extend(past_by(subject, phase));
        return Some(note);
    }
    Some(note_of(subject, phase, head, format!("{drawn} for {long}")))
}
