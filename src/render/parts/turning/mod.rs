//! Where the run took the turn that its verdict speaks of, in a few words; one file for each family of classes.

mod draws;
mod ends;
mod point;
mod said;
mod stuck;
mod wake;

pub(super) use ends::{LEAST_SAG, deepest, fallen};
pub(in crate::render) use point::meets;
pub(super) use point::{at_reading, note};
pub(super) use said::{drawn, lasting, reading, time, volts_read};
pub(super) use stuck::{overdue, overdue_alone};
pub(super) use wake::{last_press, no_wake_from};

use super::super::words;
use super::Subject;
use super::attempts::span;
use super::gives_up::{gives_up, undecided};
use super::notes::Note;
use super::starved;
use crate::verdict::{Class, Gap, Phase};

/// The name that a finding gives to the time without feed.
pub(super) const OFF: &str = "off";

/// The turn that the verdict speaks of; `None` where there is none, or where a departure tells the same.
pub(in crate::render) fn turning(subject: &Subject) -> Option<Note> {
    let mut note = turn(subject)?;
    if let Some(head) = note.lines.first_mut().filter(|_| is_a_guess(subject)) {
        *head = format!("{} {head}", words::doubt(&subject.finding.verdict));
    }
    if !names_the_step(subject, &note) {
        note.lines.extend(at_the_step(subject));
    }
    note.lines.extend(unread(subject, note.at));
    Some(note)
}

/// `no readings of this try from 6.7 s to 7.3 s`, where the try that ends there has a gap: in which stage it ends may then have
/// passed unseen.
fn unread(subject: &Subject, at: f64) -> Option<String> {
    let finding = subject.finding;
    if !matches!(finding.verdict.class, Class::LatchOff | Class::Cycling | Class::FeedLimited) {
        return None;
    }
    let (start, end) =
        finding.attempts.iter().map(span).find(|(start, end)| (*start..=*end).contains(&at))?;
    let within = |gap: &&Gap| gap.start_s.value() >= start && gap.end_s.value() <= end;
    let gaps: Vec<&Gap> = finding.log.gaps.iter().filter(within).collect();
    match gaps.as_slice() {
        [] => None,
        [gap] => {
            let (from, to) = (time(subject, gap.start_s.value()), time(subject, gap.end_s.value()));
            Some(format!("no readings of this try from {from} to {to}"))
        }
        several => Some(format!("no readings in {} stretches of this try", several.len())),
    }
}

/// Whether what is said of the turn is no more than the first thing to look for; that nothing flows and that the board stays
/// at its standby is what was read.
fn is_a_guess(subject: &Subject) -> bool {
    let verdict = &subject.finding.verdict;
    words::is_toss_up(verdict) && !matches!(verdict.class, Class::NoDraw | Class::StandbyOnly)
}

/// ` at the end of firmware`, or ` in firmware`, where that is told; where only the time of the tries tells it, ` (likely in
/// firmware)`, as the headline has it.
pub(super) fn in_stage(subject: &Subject) -> Option<String> {
    let verdict = &subject.finding.verdict;
    let word = if verdict.step_into.is_some() { "at the end of" } else { "in" };
    let told = verdict.place().map(|stage| format!(" {word} {stage}"));
    told.or_else(|| words::likely_place(subject.finding))
}

/// `at the end of firmware, at the step into loading`, where the tries end there.
fn at_the_step(subject: &Subject) -> Option<String> {
    let verdict = &subject.finding.verdict;
    let (reached, next) = (verdict.reached.as_ref()?, verdict.step_into.as_ref()?);
    Some(format!("at the end of {reached}, at the step into {next}"))
}

/// Whether a note says itself at which step the tries end.
fn names_the_step(subject: &Subject, note: &Note) -> bool {
    let says = |place: String| note.lines.iter().any(|line| line.contains(&place));
    in_stage(subject).is_some_and(says)
}

/// The same without where in the boot tries end.
pub(in crate::render) fn turn(subject: &Subject) -> Option<Note> {
    match subject.finding.verdict.class {
        Class::HardShort => draws::short(subject),
        Class::PartialShort => draws::heavy(subject),
        Class::NoDraw => draws::no_draw(subject),
        Class::ExcessStandby => draws::excess(subject),
        Class::StandbyOnly => wake::no_wake(subject),
        Class::LatchOff => ends::stays_down(subject),
        Class::Cycling => gives_up(subject),
        Class::Stalled => stuck::stuck(subject),
        Class::DroppedOut => ends::falls_back(subject),
        Class::FeedLimited => starved::gives_way(subject),
        Class::Inconclusive => undecided(subject),
        Class::FullBoot => None,
    }
}

/// The phases in which the board was fed, in order.
fn fed<'a>(subject: &Subject<'a>) -> impl DoubleEndedIterator<Item = &'a Phase> + use<'a> {
    subject.finding.phases.iter().filter(|phase| phase.name != OFF)
}

fn length(phase: &Phase) -> f64 {
    phase.end_s.value() - phase.start_s.value()
}

pub(super) fn longest<'a>(subject: &Subject<'a>) -> Option<&'a Phase> {
    fed(subject).max_by(|a, b| length(a).total_cmp(&length(b)))
}
