//! Where the run took the turn that its verdict speaks of, in a few words.

use super::super::words;
use super::Subject;
use super::notes::Note;
use crate::trace::EventKind;
use crate::units::{Amps, Seconds, Volts, how_often};
use crate::verdict::{Class, Direction, Phase, Tries};

/// Whether the phase itself is what is wrong, so that it is to stand out among the phases.
pub(in crate::render) fn is_trouble(subject: &Subject, phase: &Phase) -> bool {
    let verdict = &subject.finding.verdict;
    match verdict.class {
        Class::Stalled => verdict.stalled_in.as_ref() == Some(&phase.name),
        Class::HardShort | Class::PartialShort | Class::NoDraw | Class::ExcessStandby => {
            longest(subject).is_some_and(|worst| worst.name == phase.name)
        }
        _ => false,
    }
}

/// The turn that the verdict speaks of; `None` where there is none, or where a departure tells the same.
pub(in crate::render) fn turning(subject: &Subject) -> Option<Note> {
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
        Class::FeedLimited => gives_way(subject),
        Class::FullBoot | Class::Inconclusive => None,
    }
}

fn note(at: f64, amps: Option<f64>, head: impl Into<String>, body: String) -> Note {
    Note { at, amps, lines: vec![head.into(), body] }
}

/// The phases in which the board was fed, in order.
fn fed<'a>(subject: &Subject<'a>) -> impl DoubleEndedIterator<Item = &'a Phase> + use<'a> {
    subject.finding.phases.iter().filter(|phase| phase.name != "off")
}

fn length(phase: &Phase) -> f64 {
    phase.end_s.value() - phase.start_s.value()
}

fn longest<'a>(subject: &Subject<'a>) -> Option<&'a Phase> {
    fed(subject).max_by(|a, b| length(a).total_cmp(&length(b)))
}

fn seconds(value: f64) -> String {
    Seconds::new(value).map_or_else(|_| value.to_string(), |time| time.to_string())
}

/// `24 mA at 12.8 V`, no finer than the supply resolves.
fn level(subject: &Subject, phase: &Phase) -> String {
    format!("{} at {}", amps(subject, phase.mean_a), phase.mean_v)
}

fn amps(subject: &Subject, amps: Amps) -> String {
    words::amps(amps.value(), subject.resolution())
}

fn short(subject: &Subject) -> Option<Note> {
    let phase = longest(subject)?;
    let set = subject.feed_volts().map_or_else(String::new, |volts| format!(", set to {volts}"));
    let body = format!("{}{set}", level(subject, phase));
    Some(note(phase.start_s.value(), Some(phase.mean_a.value()), "shorted from here on", body))
}

fn heavy(subject: &Subject) -> Option<Note> {
    let phase = longest(subject)?;
    let body = format!("{}, no stages", level(subject, phase));
    Some(note(phase.start_s.value(), Some(phase.mean_a.value()), "heavy load from here on", body))
}

fn no_draw(subject: &Subject) -> Option<Note> {
    let phase = longest(subject)?;
    let body = format!("{} for {}", level(subject, phase), seconds(length(phase)));
    let at = last_press(subject).unwrap_or_else(|| phase.start_s.value().midpoint(phase.end_s.value()));
    Some(note(at, Some(phase.mean_a.value()), "fed, but nothing flows", body))
}

fn excess(subject: &Subject) -> Option<Note> {
    let told = subject.finding.departures.iter().any(|departure| departure.direction == Direction::Above);
    let phase = longest(subject).filter(|_| !told)?;
    let body = format!("{} for {}", level(subject, phase), seconds(length(phase)));
    Some(note(phase.start_s.value(), Some(phase.mean_a.value()), "standby draws too much", body))
}

/// The last mark that speaks of the button, within the log.
fn last_press(subject: &Subject) -> Option<f64> {
    let presses = subject.trace.events().iter().filter(|event| match &event.kind {
        EventKind::Mark(word) => word.to_lowercase().contains("power"),
        _ => false,
    });
    presses.map(|event| event.time.value()).next_back()
}

fn no_wake(subject: &Subject) -> Option<Note> {
    let last = fed(subject).next_back()?;
    let drawn = amps(subject, last.mean_a);
    let (start, end) = (last.start_s.value(), last.end_s.value());
    if let Some(press) = last_press(subject).filter(|press| *press < end) {
        let body = format!("still {drawn} after {}", seconds(end - press));
        return Some(note(press, None, "pressed, but no wake", body));
    }
    let body = format!("{drawn} for {}, no press marked", seconds(length(last)));
    Some(note(start.midpoint(end), None, "no wake", body))
}

fn stays_down(subject: &Subject) -> Option<Note> {
    let last = fed(subject).next_back()?;
    let body = format!("{} for {}, to the end", amps(subject, last.mean_a), seconds(length(last)));
    Some(note(last.start_s.value(), Some(last.mean_a.value()), "stays down from here on", body))
}

/// A stage that follows another draws no less than this share of it (common practice, no source).
const FAR_LESS: f64 = 0.4;

fn gives_up(subject: &Subject) -> Option<Note> {
    let tries = Tries::of(&subject.finding.attempts)?;
    let every = tries
        .every_s
        .map(|every| format!(", every {}", words::length(every.mean, subject.finding.log.changed_hz)));
    let body = format!("{}{}", how_often(tries.count), every.unwrap_or_default());
    Some(note(tries.first_end_s, Some(tries.first_peak_a), "gives up", body))
}

fn falls_back(subject: &Subject) -> Option<Note> {
    let reached = subject.finding.verdict.reached.as_ref()?;
    let phases: Vec<&Phase> = fed(subject).collect();
    let last = phases.iter().rposition(|phase| phase.name == *reached)?;
    let before = phases[last];
    // The end of the last stage may still be called an attempt: the fall is where far less is drawn.
    let far_less = |phase: &&&Phase| phase.mean_a.value() < FAR_LESS * before.mean_a.value();
    let after = phases[last..].iter().find(far_less).or(phases.get(last + 1))?;
    let body = format!("from {} to {}", amps(subject, before.mean_a), amps(subject, after.mean_a));
    Some(note(after.start_s.value(), Some(before.mean_a.value()), "falls back here", body))
}

fn gives_way(subject: &Subject) -> Option<Note> {
    /// The feed rises from nothing when it is switched on, which is no giving way, in seconds.
    const RISES_S: f64 = 1.0;
    let limit = subject.finding.log.limit_a.map_or_else(String::new, |limit| format!(", limit {limit}"));
    let risen = fed(subject).next()?.start_s.value() + RISES_S;
    let mut lows: Vec<(&Phase, Volts)> = fed(subject)
        .filter(|phase| phase.start_s.value() >= risen)
        .filter_map(|phase| Some((phase, lowest_volts(subject, phase)?)))
        .collect();
    lows.sort_by(|a, b| a.1.value().total_cmp(&b.1.value()));
    let lowest = lows.first()?.1;
    // Where it first went nearly as low: that is where to look.
    let near = |low: &&(&Phase, Volts)| low.1.value() <= lowest.value() * 1.05;
    let starved = lows
        .iter()
        .filter(near)
        .map(|low| low.0)
        .min_by(|a, b| a.start_s.value().total_cmp(&b.start_s.value()))?;
    let body = format!("volts down to {lowest}{limit}");
    Some(note(starved.start_s.value(), None, "the feed gives way", body))
}

fn lowest_volts(subject: &Subject, phase: &Phase) -> Option<Volts> {
    let (time, volts) = (subject.trace.time(), subject.trace.volts());
    let within = |t: f64| time.partition_point(|time| *time < t);
    let (start, end) = (within(phase.start_s.value()), within(phase.end_s.value()));
    let lowest = volts.get(start..end)?.iter().copied().min_by(f64::total_cmp)?;
    Volts::new(lowest).ok()
}

/// Where a stalled board should have moved on, or else where it got stuck.
fn stuck(subject: &Subject) -> Option<Note> {
    let stage = subject.finding.verdict.stalled_in.as_ref()?;
    let departures = &subject.finding.departures;
    if departures.iter().any(|d| d.phase == *stage && d.direction == Direction::Longer) {
        return None;
    }
    let phase = subject.finding.phases.iter().rfind(|phase| phase.name == *stage)?;
    let head = format!("stuck in {stage}");
    let usual = subject.profile.and_then(|profile| {
        let reference = profile.phases.iter().find(|reference| reference.name == *stage)?;
        Some(reference.duration?.high)
    });
    let overdue = usual.map(|usual| (phase.start_s.value() + usual, usual));
    if let Some((at, usual)) = overdue.filter(|(at, _)| *at < phase.end_s.value()) {
        return Some(note(at, None, head, format!("good boards move on within {}", seconds(usual))));
    }
    let body = format!("{} for {}", level(subject, phase), seconds(length(phase)));
    Some(note(phase.start_s.value(), Some(phase.mean_a.value()), head, body))
}
