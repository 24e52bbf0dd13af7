//! Readings, lengths and levels in the words of the text.

use super::super::super::words;
use super::super::Subject;
use crate::units::{Amps, Seconds, Volts, span_in_steps};
use crate::verdict::Phase;

/// What was read: `0.406 A at 23.5 V`.
pub(in crate::render::parts) fn reading(subject: &Subject, index: usize) -> Option<String> {
    let volts = subject.trace.volts().get(index)?;
    Some(format!("{} at {}", drawn(subject, index)?, volts_read(subject, *volts)?))
}

/// Volts of a reading, as the text says them.
pub(in crate::render::parts) fn volts_read(subject: &Subject, volts: f64) -> Option<String> {
    Some(subject.finding.log.volts(Volts::new(volts).ok()?))
}

/// What a reading says was drawn, as the text says it: without what the supply reads with nothing drawn.
pub(in crate::render::parts) fn drawn(subject: &Subject, index: usize) -> Option<String> {
    let read = subject.trace.amps().get(index)?;
    Some(words::amps(subject.finding.log.drawn(*read), subject.resolution()))
}

/// How long it is from one moment to another, as the text says it: the start and the length add up to the end.
pub(in crate::render::parts) fn lasting(subject: &Subject, (from, to): (f64, f64)) -> String {
    span_in_steps(from, to, subject.finding.log.update_s().unwrap_or(0.0))
}

pub(super) fn lasts(subject: &Subject, phase: &Phase) -> String {
    lasting(subject, (phase.start_s.value(), phase.end_s.value()))
}

/// A time that was measured.
pub(in crate::render::parts) fn time(subject: &Subject, seconds: f64) -> String {
    subject.finding.log.time(seconds)
}

/// A time that the reference gives.
pub(super) fn seconds(value: f64) -> String {
    Seconds::new(value).map_or_else(|_| value.to_string(), |time| time.to_string())
}

/// `24 mA at 12.8 V`, no finer than the supply resolves: the means that the finding has, as in its words.
pub(super) fn level(subject: &Subject, phase: &Phase) -> String {
    format!("{} at {}", amps(subject, phase.mean_a), subject.finding.log.volts(phase.mean_v))
}

pub(super) fn amps(subject: &Subject, amps: Amps) -> String {
    words::amps(amps.value(), subject.resolution())
}
