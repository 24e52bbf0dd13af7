//! What phases are called on the ribbon.

use super::super::axis::TimeAxis;
use super::super::words;
use super::Subject;
use crate::reference::Profile;
use crate::units::Seconds;
use crate::verdict::{Attempt, Class, Phase, RISES_S};

/// What a phase is called; of time without feed that is mostly not shown, with how much of it is not.
pub(super) fn shown_name(subject: &Subject, phase: &Phase, time: TimeAxis) -> String {
    let name = words::phase(&phase.name);
    if phase.name == STANDBY && has_no_standby(subject) {
        return at_rest(subject, phase);
    }
    if phase.name == AWAKE
        && subject.profile.is_none()
        && subject.finding.verdict.class == Class::Inconclusive
    {
        return AWAKE_OR_LOADED.into();
    }
    if is_down(subject, phase) {
        return STAYS_DOWN.into();
    }
    let (start, end) = (phase.start_s.value(), phase.end_s.value());
    let shown = end.min(time.to) - start.max(time.from);
    let left_out = end - start - shown;
    if name != "off" || shown <= 0.0 || left_out <= shown {
        return name.to_owned();
    }
    format!("off, {} not shown", subject.finding.log.time(left_out))
}

/// The name that a finding gives to rest where the reference has none for it.
pub(super) const STANDBY: &str = "standby";

/// What such a rest is called on a board that has no standby.
pub(super) const AT_REST: &str = "at rest";

/// The name that a finding without a reference gives to what is more than a standby.
const AWAKE: &str = "awake";

/// What it is called where the verdict does not tell which of the two it is, as the text has it.
const AWAKE_OR_LOADED: &str = "awake or loaded";

/// What it is called where that is all there is of a capture.
const SWITCHED_ON: &str = "switched on";

/// What is left of a board that latches off.
const STAYS_DOWN: &str = "stays down";

/// Whether the phase is what is left of a board that latches off, which is no standby of good boards, whatever it draws.
fn is_down(subject: &Subject, phase: &Phase) -> bool {
    let (finding, start) = (subject.finding, phase.start_s.value());
    let is_last = finding.phases.iter().rfind(|phase| phase.name != "off").is_some_and(|last| last == phase);
    let sure = finding.verdict.class == Class::LatchOff && !words::is_toss_up(&finding.verdict);
    let given_up = |attempt: &Attempt| attempt.given_up && attempt.start_s.value() < start;
    sure && is_last && phase.name == STANDBY && finding.attempts.iter().any(given_up)
}

/// Whether good boards of this model have no standby: what is at rest is then not one.
pub(in crate::render) fn has_no_standby(subject: &Subject) -> bool {
    let of = |profile: &Profile| {
        profile.standby().is_none() && profile.phases.iter().all(|stage| stage.name != STANDBY)
    };
    subject.profile.is_some_and(of)
}

/// What a rest is called that is no standby. One as short as the rise of the feed is that, and needs no name, unless the
/// capture ends in it, or the readings show it well: then the first stage begins after it, as the text has it.
fn at_rest(subject: &Subject, phase: &Phase) -> String {
    /// Renewals of the readings that the rise of the feed takes: one that averages over it, the next, and as many again for
    /// what they come early or late (by judgement).
    const RISES: f64 = 4.0;
    let lasts = phase.end_s.value() - phase.start_s.value();
    let renewed_s = subject.finding.log.renewed_s.map(Seconds::value);
    let is_rise = renewed_s.is_none_or(|renewed_s| lasts <= RISES * renewed_s);
    let ends_in_it = subject.finding.phases.last().is_some_and(|last| std::ptr::eq(last, phase));
    match lasts <= RISES_S && is_rise {
        true if ends_in_it => SWITCHED_ON.into(),
        true => String::new(),
        false => AT_REST.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::fixtures::{cycling, phase, trace};
    use super::*;

    #[test]
    fn what_is_left_of_a_board_that_latches_off_is_called_as_the_headline_calls_it() {
        let trace = trace(600, 60.0, |_| 0.03);
        let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 60.0 };
        let mut finding = cycling(2);
        finding.attempts.truncate(1);
        finding.phases.retain(|phase| phase.start_s.value() < 8.0);
        finding.phases.push(phase(STANDBY, 8.0, 60.0));
        let mut names = |class: Class, confidence: f64| {
            (finding.verdict.class, finding.verdict.confidence) = (class, confidence);
            let subject = Subject { trace: &trace, profile: None, finding: &finding };
            let standbys = finding.phases.iter().filter(|phase| phase.name == STANDBY);
            standbys.map(|phase| shown_name(&subject, phase, time)).collect::<Vec<_>>()
        };
        assert_eq!(names(Class::LatchOff, 0.94), ["standby", "stays down"]);
        // Of a toss-up nothing is certain.
        assert_eq!(names(Class::LatchOff, 0.4), ["standby", "standby"]);
        assert_eq!(names(Class::DroppedOut, 0.94), ["standby", "standby"]);
    }
}
