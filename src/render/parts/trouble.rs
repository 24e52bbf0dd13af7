//! Which phases are what is wrong.

use super::super::words;
use super::Subject;
use super::attempts::is_given_up;
use super::turning::{OFF, fallen, longest, no_wake_from, overdue};
use crate::verdict::{Class, Phase, Tries};

/// From when on a phase is what is wrong, and what it is called from then on.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::render) struct Trouble {
    /// In seconds; not before the phase begins.
    pub(in crate::render) from: f64,
    pub(in crate::render) name: String,
}

/// Whether the phase is what is wrong, so that it is to stand out among the phases.
pub(in crate::render) fn trouble(subject: &Subject, phase: &Phase) -> Option<Trouble> {
    let verdict = &subject.finding.verdict;
    let (start, name) = (phase.start_s.value(), phase.name.clone());
    let whole = || Some(Trouble { from: start, name: name.clone() });
    match verdict.class {
        Class::Stalled if verdict.stalled_in.as_ref() == Some(&phase.name) => overdue(subject, phase)
            .map_or_else(whole, |(from, _)| Some(Trouble { from, name: format!("stuck in {name}") })),
        Class::StandbyOnly if phase.name != OFF && !is_unasked(subject) => {
            let from = no_wake_from(subject, phase).max(start);
            (from < phase.end_s.value()).then(|| Trouble { from, name: "no wake".into() })
        }
        Class::PartialShort | Class::HardShort => {
            words::shorted(subject.finding, phase).map(|name| Trouble { from: start, name: name.into() })
        }
        Class::NoDraw | Class::ExcessStandby
            if longest(subject).is_some_and(|worst| worst.name == phase.name) =>
        {
            whole()
        }
        Class::DroppedOut if phase.name != OFF && fallen(subject).is_some_and(|fall| start >= fall) => {
            Some(Trouble { from: start, name: below_standby(subject, phase).unwrap_or(name) })
        }
        Class::LatchOff | Class::Cycling | Class::FeedLimited
            if is_given_up(&subject.finding.attempts, middle(phase)) && !is_passed(subject, phase) =>
        {
            // Where it may have ended in either of several stages, none of them is named.
            let tells = Tries::of(&subject.finding.attempts, &subject.finding.log.gaps)
                .is_none_or(|tries| tries.earliest_in.is_none());
            let name = if tells { name } else { TRY.into() };
            Some(Trouble { from: start, name })
        }
        _ => None,
    }
}

fn middle(phase: &Phase) -> f64 {
    f64::midpoint(phase.start_s.value(), phase.end_s.value())
}

/// Whether the only try of a board has passed the phase, and ends in another: the stages above the ribbon call it reached.
fn is_passed(subject: &Subject, phase: &Phase) -> bool {
    let finding = subject.finding;
    let place = finding.verdict.place().filter(|_| finding.attempts.len() == 1);
    let ends_in =
        |other: &Phase, place: &String| other.name == *place && is_given_up(&finding.attempts, middle(other));
    place
        .is_some_and(|place| phase.name != *place && finding.phases.iter().any(|other| ends_in(other, place)))
}

/// What is left where a board has fallen back to less than good boards stand by at: no standby, whatever it is near.
fn below_standby(subject: &Subject, phase: &Phase) -> Option<String> {
    let reference = subject.profile?.phases.first().filter(|first| first.name == phase.name)?;
    if let Some(step) = subject.resolution().filter(|step| phase.mean_a.value() < step.value()) {
        // Readings that come and go by a step are a current, and where good boards stand by at less than one, it is theirs
        // or less.
        let hardly_read = reference.mean_power.typical < step.value() * phase.mean_v.value();
        let reads = phase.max_a.value() >= step.value();
        let name = match (hardly_read, reads) {
            (true, _) => "standby or less",
            (false, true) => "below standby",
            (false, false) => "no current",
        };
        return Some(name.into());
    }
    (phase.mean_w.value() < reference.mean_power.low).then(|| "below standby".into())
}

/// The name that a finding gives to a try whose stages are not told apart.
const TRY: &str = "attempt";

/// Whether nobody asked the board to wake, as far as the log says: that it did not is then nothing wrong with it.
pub(in crate::render) fn is_unasked(subject: &Subject) -> bool {
    let verdict = &subject.finding.verdict;
    verdict.class == Class::StandbyOnly && verdict.asked == Some(false)
}

#[cfg(test)]
mod tests {
    use super::super::super::fixtures::{cycling, trace};
    use super::*;

    #[test]
    fn of_an_only_try_the_stages_that_it_passed_are_not_what_is_wrong() {
        let (trace, mut finding) = (trace(60, 60.0, |_| 0.5), cycling(1));
        finding.verdict.class = Class::LatchOff;
        finding.attempts[0].given_up = true;
        let wrong = |finding: &crate::verdict::Finding| {
            let subject = Subject { trace: &trace, profile: None, finding };
            let found = finding.phases.iter().filter_map(|phase| trouble(&subject, phase));
            found.map(|trouble| trouble.name).collect::<Vec<_>>()
        };
        assert_eq!(wrong(&finding), ["firmware"]);
        // Where no stage is told, all of the try is.
        finding.verdict.reached = None;
        assert_eq!(wrong(&finding), ["rails", "firmware"]);
    }
}
