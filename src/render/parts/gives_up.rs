//! Where tries are given up: the try that is shown, its end on the trace, and its words.

use super::super::words;
use super::Subject;
use super::attempts::span;
use super::edge::{before_gap, edge, top};
use super::notes::Note;
use super::turning::{drawn, in_stage, lasting, note, reading, time};
use crate::stats::robust::median;
use crate::verdict::{Attempt, Class, Phase, Tries};

/// Where a try ends that got as far as the verdict says, and is as most of them are: the others are more of the same.
pub(super) fn gives_up(subject: &Subject) -> Option<Note> {
    let tries = Tries::of(&subject.finding.attempts, &subject.finding.log.gaps)?;
    let shown = named(subject)?;
    let (first, lasted) = (lasting(subject, span(shown)), time(subject, tries.lasts_s.mean));
    let brief = tries.lasts_s.are_edges(subject.finding.log.update_s().unwrap_or(0.0));
    let times = match tries.count {
        1 => format!("after {first}"),
        several if brief => {
            format!("all {several} tries end within about {}", time(subject, tries.lasts_s.high))
        }
        2 => format!("both tries end after {lasted} on average"),
        several => format!("all {several} tries end after {lasted} on average"),
    };
    ends(subject, shown, times)
}

/// The same of a run that decides nothing, where it has a try that was given up: what was seen of it is this fall.
pub(super) fn undecided(subject: &Subject) -> Option<Note> {
    let mut note = gives_up(subject)?;
    let attempts = &subject.finding.attempts;
    let one_is_on = attempts.last().is_some_and(|last| !last.given_up);
    note.lines.extend(one_is_on.then(|| "the next try is on when the log ends".to_owned()));
    Some(note)
}

/// The end of a try: at the moment that the finding has for it, so that figure and text say one time.
fn ends(subject: &Subject, shown: &Attempt, times: String) -> Option<Note> {
    let ((start, end), peak) = (span(shown), shown.peak_a.value());
    let which = which(subject, shown).unwrap_or_default();
    let here = format!("gives up here{}{which}", place(subject, shown).unwrap_or_default());
    let places = elsewhere(subject, shown);
    let Some(edge) = edge(subject, end) else {
        let mut note = note(end, Some(peak), here, times);
        note.lines.extend(places);
        return Some(note);
    };
    let read = subject.trace.amps();
    let (highest, word) = top(subject, start, edge);
    let body = format!("{word}{}, then {}", reading(subject, highest)?, left(subject, shown, edge)?);
    let (at, head) = match before_gap(subject, edge) {
        Some(last) => (last, "gives up in the gap from here".into()),
        None => (end, here),
    };
    let mut note = note(at, Some(subject.finding.log.drawn(read[highest])), head, body);
    note.point_at = Some(subject.trace.time()[highest]);
    note.lines.push(times);
    note.lines.extend(places);
    Some(note)
}

/// What is left after a try: the level of the rest, as the finding has it, and no reading over the edge; without one, the
/// lowest of the first readings.
fn left(subject: &Subject, shown: &Attempt, edge: usize) -> Option<String> {
    // The end of a try is known to a reading or so.
    let middle = |phase: &Phase| f64::midpoint(phase.start_s.value(), phase.end_s.value());
    let after = |phase: &&Phase| middle(phase) > shown.end_s.value();
    let rest = subject.finding.phases.iter().find(after);
    let lower = rest.filter(|rest| rest.mean_a.value() < LEFT * shown.peak_a.value());
    if let Some(rest) = lower {
        return Some(words::amps(rest.mean_a.value(), subject.resolution()));
    }
    let read = subject.trace.amps();
    let settled = (edge..read.len().min(edge + 3)).min_by(|a, b| read[*a].total_cmp(&read[*b]))?;
    drawn(subject, settled)
}

/// Share of the peak of a try below which what follows is a rest, and not the next try (common practice, no source).
const LEFT: f64 = 0.5;

/// ` in firmware`: the place in the boot. The verdict of a run that decides nothing speaks of all of it, and not of one try.
fn place(subject: &Subject, shown: &Attempt) -> Option<String> {
    if subject.finding.verdict.class == Class::Inconclusive {
        return shown.ended_in.as_ref().map(|stage| format!(" in {stage}"));
    }
    in_stage(subject)
}

/// Of the tries that ended in the stage which the verdict names, or of all where none is told to have, the first that is as
/// most of them are: what is said of all is read of it. What is usual is that of all but those that are told to end elsewhere:
/// the few that tell it may be the exceptions.
fn named<'a>(subject: &Subject<'a>) -> Option<&'a Attempt> {
    let there: Vec<&Attempt> = given_up(subject).filter(|attempt| ends_there(subject, attempt)).collect();
    let all: Vec<&Attempt> = given_up(subject).collect();
    let renewal = subject.finding.log.update_s().unwrap_or(0.0);
    if there.is_empty() {
        return typical(&all, &all, renewal);
    }
    let not_elsewhere = |attempt: &&Attempt| attempt.ended_in.is_none() || ends_there(subject, attempt);
    typical(&there, &all.into_iter().filter(not_elsewhere).collect::<Vec<_>>(), renewal)
}

/// The first of `tries` whose peak and length are not far from what is usual in `like` it, else the nearest: a later one is
/// taken for the onset. Lengths are known to a reading or so, and differ by no more than that in tries that are alike.
fn typical<'a>(tries: &[&'a Attempt], like: &[&Attempt], renewal: f64) -> Option<&'a Attempt> {
    /// One that is off by less than this share is no exception among the others (common practice, no source).
    const NEAR: f64 = 0.35;
    let lasts = |attempt: &Attempt| span(attempt).1 - span(attempt).0;
    let usual =
        |of: fn(&Attempt) -> f64| median(&mut like.iter().map(|attempt| of(attempt)).collect::<Vec<_>>());
    let peak = |attempt: &Attempt| attempt.peak_a.value();
    let (usual_peak, usual_length) = (usual(peak)?, usual(lasts)?);
    let off = |attempt: &Attempt| {
        let share = |value: f64, usual: f64| (value - usual).abs() / usual.abs().max(f64::MIN_POSITIVE);
        let longer = (lasts(attempt) - usual_length).abs() - renewal;
        share(peak(attempt), usual_peak).max(share(usual_length + longer.max(0.0), usual_length))
    };
    let first = tries.iter().find(|attempt| off(attempt) <= NEAR).copied();
    first.or_else(|| tries.iter().copied().min_by(|a, b| off(a).total_cmp(&off(b))))
}

/// Whether a try ended in the stage that the verdict names.
pub(super) fn ends_there(subject: &Subject, attempt: &Attempt) -> bool {
    let place = subject.finding.verdict.place();
    place.is_some() && attempt.ended_in.as_ref() == place
}

/// ` (try 3)`, of one that is not the first: without its number it would seem to be picked at random.
pub(super) fn which(subject: &Subject, shown: &Attempt) -> Option<String> {
    let before =
        given_up(subject).position(|attempt| std::ptr::eq(attempt, shown)).filter(|before| *before > 0)?;
    Some(format!(" (try {})", before + 1))
}

/// `try 2 of 9`: which of several tries is marked.
pub(in crate::render) fn numbered(subject: &Subject) -> Option<String> {
    let (shown, all) = (named(subject)?, given_up(subject).count());
    let before = given_up(subject).position(|attempt| std::ptr::eq(attempt, shown))?;
    (all > 1).then(|| format!("try {} of {all}", before + 1))
}

pub(super) fn given_up<'a>(subject: &Subject<'a>) -> impl Iterator<Item = &'a Attempt> + Clone + use<'a> {
    subject.finding.attempts.iter().filter(|attempt| attempt.given_up)
}

/// `7 of 8 end in system, 1 in radio`, where tries end in different stages; `this one in post, 2 of 3 in training`, where
/// most of the others end in another.
pub(super) fn elsewhere(subject: &Subject, shown: &Attempt) -> Option<String> {
    let here = shown.ended_in.as_ref()?;
    let all = given_up(subject).count();
    let tells = |attempt: &&Attempt| attempt.ended_in.is_some();
    let mut others: Vec<&String> =
        given_up(subject).filter(tells).filter_map(|attempt| attempt.ended_in.as_ref()).collect();
    others.retain(|other| *other != here);
    let stage = *others.iter().max_by_key(|stage| others.iter().filter(|other| other == stage).count())?;
    let count = others.iter().filter(|other| **other == stage).count();
    let as_here = given_up(subject).filter(tells).filter(|attempt| attempt.ended_in.as_ref() == Some(here));
    let as_here = as_here.count();
    if as_here > count {
        let rest = match all - given_up(subject).filter(tells).count() {
            0 => String::new(),
            untold => format!(", {untold} not told"),
        };
        return Some(format!("{as_here} of {all} end in {here}, {count} in {stage}{rest}"));
    }
    Some(format!("this one in {here}, {count} of {all} in {stage}"))
}
