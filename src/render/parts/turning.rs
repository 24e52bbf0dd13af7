//! Where the run took the turn that its verdict speaks of, in a few words.

use super::super::words;
use super::Subject;
use super::attempts::span;
use super::edge::{before_gap, edge, top};
use super::envelope;
use super::gives_up::{given_up, gives_up, undecided};
use super::notes::Note;
use super::starved;
use super::trouble::is_unasked;
use crate::units::{Amps, Seconds, Volts, span_in_steps, volts_as_set};
use crate::verdict::{Class, Direction, Fall, Gap, Phase};
use std::ops::Range;

/// The name that a finding gives to the time without feed.
pub(super) const OFF: &str = "off";

/// The turn that the verdict speaks of; `None` where there is none, or where a departure tells the same.
pub(in crate::render) fn turning(subject: &Subject) -> Option<Note> {
    let mut note = turn(subject)?;
    if let Some(head) = note.lines.first_mut().filter(|_| is_a_guess(subject)) {
        *head = format!("{} {head}", words::doubt(&subject.finding.verdict));
    }
    if !starved::names_the_step(subject, &note) {
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

/// The same without where in the boot tries end.
pub(in crate::render) fn turn(subject: &Subject) -> Option<Note> {
    match subject.finding.verdict.class {
        Class::HardShort => short(subject),
        Class::PartialShort => heavy(subject),
        Class::NoDraw => no_draw(subject),
        Class::ExcessStandby => excess(subject),
        Class::StandbyOnly => no_wake(subject),
        Class::LatchOff => stays_down(subject),
        Class::Cycling => gives_up(subject),
        Class::Stalled => stuck(subject),
        Class::DroppedOut => falls_back(subject),
        Class::FeedLimited => starved::gives_way(subject),
        Class::Inconclusive => undecided(subject),
        Class::FullBoot => None,
    }
}

pub(super) fn note(at: f64, amps: Option<f64>, head: impl Into<String>, body: String) -> Note {
    Note { at, point_at: None, amps, lines: vec![head.into(), body], more: 0, placed: true }
}

/// A note of what a phase draws, which points at the trace where it first has that level.
fn note_of(subject: &Subject, phase: &Phase, head: impl Into<String>, body: String) -> Note {
    let level = phase.mean_a.value();
    let point_at = meets(subject, phase, level);
    Note { point_at, ..note(phase.start_s.value(), Some(level), head, body) }
}

/// When the trace first meets a level within a phase, in seconds: its first readings may be of what came before, or of an
/// edge. `None` where it never does.
pub(in crate::render) fn meets(subject: &Subject, phase: &Phase, level: f64) -> Option<f64> {
    meets_from(subject, phase.start_s.value(), phase, level)
}

/// The same from a moment within the phase on.
fn meets_from(subject: &Subject, from: f64, phase: &Phase, level: f64) -> Option<f64> {
    /// A reading this near to the level is at it (common practice, no source).
    const NEAR: f64 = 0.02;
    /// One further away is at another level (common practice, no source) …
    const FAR: f64 = 0.5;
    /// … and so is the mean of the next few that is.
    const FAR_IN_MEAN: f64 = 0.2;
    /// So many readings an inrush does not stay at one level (common practice, no source).
    const FEW: u8 = 5;
    let (time, read) = (subject.trace.time(), subject.trace.amps());
    let index = |t: f64| time.partition_point(|time| *time < t);
    let off = |index: usize| subject.finding.log.drawn(read[index]) - level;
    let crosses = |index: usize| index > 0 && (off(index - 1) < 0.0) != (off(index) < 0.0);
    // Of a level that lies between two steps of the readings, most of all of next to nothing, the nearest reading is at it.
    let step = subject.resolution().map_or(0.0, Amps::value);
    // One below a step is read as nothing or as one step, and either is all that there is of it.
    let rounded = if level.abs() < step { step } else { step / 2.0 };
    let (near, far) = ((NEAR * level.abs()).max(rounded), (FAR * level.abs()).max(rounded));
    let at_it = |index: &usize| off(*index).abs() <= near || crosses(*index);
    let all = || index(from)..index(phase.end_s.value());
    // Not where an inrush passes it: there the readings around are at something else.
    let next = |at: usize, few: u8| (at..(at + usize::from(few)).min(read.len())).map(off);
    let stays = |at: &usize| {
        let (count, sum) = next(*at, FEW).fold((0.0, 0.0), |(count, sum), off| (count + 1.0, sum + off));
        next(*at, 2).all(|off| off.abs() <= far)
            && f64::abs(sum / count) <= (FAR_IN_MEAN * level.abs()).max(rounded)
    };
    let found = all().find(|index| at_it(index) && stays(index)).or_else(|| all().find(at_it));
    found.map(|index| time[index])
}

/// A note of a moment within a phase that tells what the phase draws: the dot stands where the trace meets that level from
/// the moment on, and not on a spike that the moment happens to have.
fn note_within(subject: &Subject, phase: &Phase, from: f64, head: impl Into<String>, body: String) -> Note {
    let level = phase.mean_a.value();
    let point_at = meets_from(subject, from, phase, level);
    Note { point_at, ..note(from, Some(level), head, body) }
}

/// What was read: `0.406 A at 23.5 V`.
pub(super) fn reading(subject: &Subject, index: usize) -> Option<String> {
    let volts = subject.trace.volts().get(index)?;
    Some(format!("{} at {}", drawn(subject, index)?, volts_read(subject, *volts)?))
}

/// Volts of a reading, as the text says them.
pub(super) fn volts_read(subject: &Subject, volts: f64) -> Option<String> {
    Some(subject.finding.log.volts(Volts::new(volts).ok()?))
}

/// What a reading says was drawn, as the text says it: without what the supply reads with nothing drawn.
pub(super) fn drawn(subject: &Subject, index: usize) -> Option<String> {
    let read = subject.trace.amps().get(index)?;
    Some(words::amps(subject.finding.log.drawn(*read), subject.resolution()))
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

/// How long it is from one moment to another, as the text says it: the start and the length add up to the end.
pub(super) fn lasting(subject: &Subject, (from, to): (f64, f64)) -> String {
    span_in_steps(from, to, subject.finding.log.update_s().unwrap_or(0.0))
}

fn lasts(subject: &Subject, phase: &Phase) -> String {
    lasting(subject, (phase.start_s.value(), phase.end_s.value()))
}

/// A time that was measured.
pub(super) fn time(subject: &Subject, seconds: f64) -> String {
    subject.finding.log.time(seconds)
}

/// A time that the reference gives.
fn seconds(value: f64) -> String {
    Seconds::new(value).map_or_else(|_| value.to_string(), |time| time.to_string())
}

/// `24 mA at 12.8 V`, no finer than the supply resolves: the means that the finding has, as in its words.
fn level(subject: &Subject, phase: &Phase) -> String {
    format!("{} at {}", amps(subject, phase.mean_a), subject.finding.log.volts(phase.mean_v))
}

fn amps(subject: &Subject, amps: Amps) -> String {
    words::amps(amps.value(), subject.resolution())
}

fn short(subject: &Subject) -> Option<Note> {
    let phase = longest(subject)?;
    let set = subject
        .set_volts()
        .map_or_else(String::new, |volts| format!(", set to {}", volts_as_set(volts.value())));
    let body = format!("{}{set}", level(subject, phase));
    Some(note_of(subject, phase, "hard short from here on", body))
}

fn heavy(subject: &Subject) -> Option<Note> {
    let phase = longest(subject)?;
    let body = format!("{}, no stages", level(subject, phase));
    Some(note_of(subject, phase, "partial short from here on", body))
}

fn no_draw(subject: &Subject) -> Option<Note> {
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

fn excess(subject: &Subject) -> Option<Note> {
    let told = subject.finding.departures.iter().any(|departure| departure.direction == Direction::Above);
    let phase = longest(subject).filter(|_| !told)?;
    let body = format!("{} for {}", level(subject, phase), lasts(subject, phase));
    let head = format!("{} draws too much", phase.name);
    Some(note_of(subject, phase, head, body))
}

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

/// From when on a board that never wakes is overdue: the last press that it did not answer, which is that of the text; by
/// itself, within the time of good boards; or it was fed, and that is all that is known.
pub(super) fn no_wake_from(subject: &Subject, phase: &Phase) -> f64 {
    let due = presses(subject).pop().or_else(|| wakes_by_itself(subject, phase));
    due.unwrap_or_else(|| phase.start_s.value())
}

fn no_wake(subject: &Subject) -> Option<Note> {
    let phase = fed(subject).next_back()?;
    let drawn = level(subject, phase);
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

fn stays_down(subject: &Subject) -> Option<Note> {
    let last = fed(subject).next_back()?;
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
        None if subject.finding.verdict.tries.is_some() => (start, "gives up, as at each press"),
        None => (start, "stays down from here on"),
    };
    let mut note = Note { at, ..at_reading(subject, edge, point, head, body) };
    note.lines.extend(ended(subject));
    Some(note)
}

/// `the try ends in bus`: where in the boot, if that is told without the step that it ends at, which is said already.
fn ended(subject: &Subject) -> Option<String> {
    let place = in_stage(subject).filter(|_| subject.finding.verdict.step_into.is_none())?;
    match given_up(subject).count() {
        0 => None,
        1 => Some(format!("the try ends{place}")),
        _ => Some(format!("the tries end{place}")),
    }
}

/// Readback of volts agrees with what was set within about this share (common practice, no source).
pub(super) const LEAST_SAG: f64 = 0.01;

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
pub(super) fn fallen(subject: &Subject) -> Option<f64> {
    fall(subject).map(|(_, after)| after.start_s.value())
}

fn falls_back(subject: &Subject) -> Option<Note> {
    let told =
        subject.finding.fall.or_else(|| fall(subject).map(|(before, after)| between(before, after)))?;
    let level = |amps_there, volts: Volts| {
        format!("{} at {}", amps(subject, amps_there), subject.finding.log.volts(volts))
    };
    let body = format!("from {} to {}", level(told.from_a, told.from_v), level(told.to_a, told.to_v));
    let start = told.at_s.value();
    let edge = edge(subject, start);
    if let Some(last) = edge.and_then(|edge| before_gap(subject, edge)) {
        return Some(note(last, Some(told.from_a.value()), "falls back in the gap from here", body));
    }
    // The moment is that of the text, the dot where the trace falls.
    let point_at = edge.map(|edge| subject.trace.time()[edge]);
    Some(Note { point_at, ..note(start, Some(told.from_a.value()), "falls back here", body) })
}

/// The reading of the lowest volts among `readings`.
pub(super) fn deepest(subject: &Subject, readings: Range<usize>) -> Option<usize> {
    let volts = subject.trace.volts();
    let there = readings.filter(|index| volts.get(*index).is_some());
    there.min_by(|a, b| volts[*a].total_cmp(&volts[*b]))
}

/// A note at one reading that points at another.
pub(super) fn at_reading(
    subject: &Subject,
    at: usize,
    point: usize,
    head: impl Into<String>,
    body: String,
) -> Note {
    let (time, amps) = (subject.trace.time(), subject.trace.amps());
    let drawn = subject.finding.log.drawn(amps[point]);
    Note { point_at: Some(time[point]), ..note(time[at], Some(drawn), head, body) }
}

/// When good boards have left a phase in which this one still is, and how long they stay at most, in seconds.
pub(super) fn overdue(subject: &Subject, phase: &Phase) -> Option<(f64, f64)> {
    let profile = subject.profile?;
    let usual = profile.phases.iter().find(|reference| reference.name == phase.name)?.duration?.high;
    let at = phase.start_s.value() + usual;
    (at < phase.end_s.value()).then_some((at, usual))
}

/// `since 9.1 s, good boards leave by 25.2 s (16.1 s in it)`: where the counting begins, the deadline on the log's own clock,
/// and how it comes about.
fn past_by(subject: &Subject, phase: &Phase) -> Option<String> {
    let (at, usual) = overdue(subject, phase)?;
    let (since, at) = (time(subject, phase.start_s.value()), time(subject, at));
    Some(format!("since {since}, good boards leave by {at} ({} in it)", seconds(usual)))
}

/// `, above good boards`, where the level of a stage is none of theirs: a board may leave them long before it is overdue,
/// and a mark at the deadline alone would hide that.
fn unlike_good(subject: &Subject, phase: &Phase) -> &'static str {
    let profile = subject.profile.zip(subject.feed_volts());
    let theirs = profile.and_then(|(profile, volts)| {
        let reference = profile.phases.iter().find(|reference| reference.name == phase.name)?;
        Some(envelope::in_amps(profile, reference, volts))
    });
    match theirs {
        Some(theirs) if phase.mean_a.value() > theirs.high => ", above good boards",
        Some(theirs) if phase.mean_a.value() < theirs.low => ", below good boards",
        _ => "",
    }
}

/// The reading at the moment of a note whose level the trace has only long after: there the two would be two places.
fn elsewhere_then(subject: &Subject, note: &Note) -> Option<usize> {
    /// A later one is seen apart from its moment, as a share of the log (common practice, no source).
    const LATE: f64 = 0.03;
    let time = subject.trace.time();
    let (first, last) = (time.first()?, time.last()?);
    let late = note.point_at.is_none_or(|at| at - note.at > LATE * (last - first));
    let index = time.partition_point(|t| *t < note.at);
    (late && index < time.len()).then_some(index)
}

/// Where a stalled board should have moved on, or else where it got stuck.
fn stuck(subject: &Subject) -> Option<Note> {
    let stage = subject.finding.verdict.stalled_in.as_ref()?;
    let phase = subject.finding.phases.iter().rfind(|phase| phase.name == *stage)?;
    let head = format!("stuck in {stage}");
    let (drawn, long) = (level(subject, phase), lasts(subject, phase));
    if let Some((at, _)) = overdue(subject, phase) {
        // The note stands at the deadline, and the time is that of the whole stage: each is to say what it counts from.
        let head = head + unlike_good(subject, phase);
        let mut note = note_within(subject, phase, at, head, format!("{drawn}, in it for {long}"));
        if let Some(index) = elsewhere_then(subject, &note) {
            let there = self::drawn(subject, index)?;
            let body = format!("{there} here, {drawn} on average, in it for {long}");
            note = Note { at, ..at_reading(subject, index, index, note.lines.swap_remove(0), body) };
        }
        note.lines.extend(past_by(subject, phase));
        return Some(note);
    }
    Some(note_of(subject, phase, head, format!("{drawn} for {long}")))
}
