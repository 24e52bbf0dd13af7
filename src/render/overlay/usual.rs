//! When the good runs usually come to their stages: those of one alone would be taken for what all of them do.

use super::Member;
use super::said::is_sound;
use crate::stats::robust::median;
use crate::units::Seconds;
use crate::verdict::{Finding, Phase};

/// What was found of the run that guides, with its stages where those of the good runs usually begin, on its own clock;
/// `None` where it is no good board that boots, or has given up a try: tries have times of their own.
pub(super) fn usual(guide: &Member, members: &[Member]) -> Option<Finding> {
    let gave_up = guide.run.finding.attempts.iter().any(|attempt| attempt.given_up);
    if !guide.is_good() || !is_sound(&guide.run) || gave_up {
        return None;
    }
    let good: Vec<&Member> = members.iter().filter(|member| member.is_good()).collect();
    let mut finding = guide.run.finding.clone();
    let mut latest = f64::NEG_INFINITY;
    for index in 1..finding.phases.len() {
        let mut starts: Vec<f64> =
            good.iter().filter_map(|member| start_of_same(member, guide, index)).collect();
        let phases = &mut finding.phases;
        // Each is the middle of other runs where some lack a stage: none is to begin before the one that it follows.
        latest = median(&mut starts)?.max(latest).min(phases.last()?.end_s.value());
        let start = Seconds::constant(latest);
        phases[index].start_s = start;
        phases[index - 1].end_s = start;
    }
    Some(finding)
}

/// When a run comes to the stage that the one at `index` of the guide is, on the guide's clock: both by the common time. `None`
/// where it does not tell that from the stage before, and so may have come to it later.
fn start_of_same(member: &Member, guide: &Member, index: usize) -> Option<f64> {
    let phases = &guide.run.finding.phases;
    let name = &phases.get(index)?.name;
    let is_it = |phase: &&Phase| phase.name == *name;
    let before = phases[..index].iter().filter(is_it).count();
    let theirs = &member.run.finding.phases;
    let at = theirs.iter().enumerate().filter(|(_, phase)| is_it(phase)).nth(before)?.0;
    let follows = at.checked_sub(1).zip(index.checked_sub(1));
    let same =
        follows.is_none_or(|(at, index)| theirs[at].name == phases[index].name).then(|| &theirs[at])?;
    Some(same.start_s.value() + guide.readings.time.from - member.readings.time.from)
}

#[cfg(test)]
mod tests {
    use super::super::super::align;
    use super::super::super::axis::TimeAxis;
    use super::super::super::fixtures::{finding, phase, profile, trace};
    use super::super::super::parts::Subject;
    use super::super::{guide, members};
    use super::*;
    use crate::trace::Trace;
    use crate::units::{Amps, Volts};
    use crate::verdict::{Attempt, Class};

    /// A good board that wakes at `wake`, is in its rails for so long, and loads from then on.
    fn good(wake: f64, rails: f64) -> (Trace, Finding) {
        let loading = wake + rails;
        let mut finding = finding(vec![
            phase("off", 0.0, 2.0),
            phase("standby", 2.0, wake),
            phase("rails", wake, loading),
            phase("loading", loading, 60.0),
        ]);
        finding.departures.clear();
        // A boot is a try as well, though none that was given up.
        finding.attempts = vec![Attempt {
            start_s: Seconds::constant(wake),
            end_s: Seconds::constant(60.0),
            ended_in: Some("loading".into()),
            likely_in: Some("loading".into()),
            earliest_in: None,
            peak_a: Amps::constant(0.5),
            lowest_v: Volts::constant(19.0),
            given_up: false,
        }];
        finding.verdict.class = Class::FullBoot;
        (trace(600, 60.0, |_| 0.5), finding)
    }

    #[test]
    fn the_stages_of_the_good_runs_are_those_in_the_middle_and_not_of_one() {
        // The first, which guides, is the odd one among them.
        let (runs, profile) = ([good(9.0, 8.3), good(8.0, 5.6), good(10.0, 5.6)], profile());
        let subjects: Vec<Subject> =
            runs.iter().map(|(trace, finding)| Subject { trace, profile: Some(&profile), finding }).collect();
        let zeros = align::align(&subjects);
        let axis = TimeAxis { left: 0, right: 1000, from: -10.0, to: 50.0 };
        for first in 0..3 {
            let mut order = [0, 1, 2];
            order.rotate_left(first);
            let (subjects, zeros): (Vec<_>, Vec<_>) =
                order.iter().map(|index| (subjects[*index], zeros[*index])).unzip();
            let members = members(&subjects, &zeros, &[false; 3], axis);
            let found = usual(guide(&members).unwrap(), &members).unwrap();
            let starts: Vec<f64> = found
                .phases
                .iter()
                .map(|phase| phase.start_s.value() - guide(&members).unwrap().zero.at)
                .collect();
            assert!((starts[2]).abs() < 1e-9 && (starts[3] - 5.6).abs() < 1e-9, "{starts:?}");
            assert_eq!(found.phases[2].end_s, found.phases[3].start_s);
        }
    }

    #[test]
    fn the_strip_is_that_of_good_runs_whose_stages_are_told_apart() {
        // Two of three have their rails and firmware as one, under the name of either.
        let as_one = |name: &str| {
            let mut run = good(9.0, 5.0);
            run.1.phases[2].name = name.into();
            run
        };
        let mut whole = good(9.0, 1.0);
        let firmware = phase("firmware", 10.0, 14.0);
        whole.1.phases[3].start_s = firmware.end_s;
        whole.1.phases.insert(3, firmware);
        let (runs, profile) = ([as_one("rails"), as_one("firmware"), whole], profile());
        let subjects: Vec<Subject> =
            runs.iter().map(|(trace, finding)| Subject { trace, profile: Some(&profile), finding }).collect();
        let axis = TimeAxis { left: 0, right: 1000, from: -10.0, to: 50.0 };
        let members = members(&subjects, &align::align(&subjects), &[false; 3], axis);
        let found = usual(guide(&members).unwrap(), &members).unwrap();
        let said: Vec<(&str, f64)> =
            found.phases.iter().map(|phase| (phase.name.as_str(), phase.start_s.value())).collect();
        // The one that seems to come to its firmware at once, at 9 s, was in its rails first.
        assert_eq!(said[2..], [("rails", 9.0), ("firmware", 10.0), ("loading", 14.0)]);
    }

    #[test]
    fn runs_that_only_are_as_most_keep_the_stages_of_one() {
        let mut runs = [good(9.0, 8.3), good(8.0, 5.6)];
        for run in &mut runs {
            run.1.verdict.class = Class::Stalled;
        }
        let subjects: Vec<Subject> =
            runs.iter().map(|(trace, finding)| Subject { trace, profile: None, finding }).collect();
        let axis = TimeAxis { left: 0, right: 1000, from: -10.0, to: 50.0 };
        let members = members(&subjects, &align::align(&subjects), &[false; 2], axis);
        assert!(usual(guide(&members).unwrap(), &members).is_none());
    }
}
