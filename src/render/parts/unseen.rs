//! First stages that the finding passes over: when the board woke all the same, as the readings show it.

use super::Subject;
use super::envelope::in_amps;
use crate::reference::Profile;
use crate::verdict::Phase;

/// When the readings leave the level of a standby for good, before the stage that the finding has next: what lies between is of
/// stages that are not told apart, and none of what good boards do in standby. `None` where the first stage is told, or no
/// reading shows an earlier wake; nor where they were above it for longer than those stages last, as of a standby that draws too
/// much.
pub(in crate::render) fn wake(subject: &Subject, standby: &Phase, next: &Phase) -> Option<f64> {
    let profile = subject.profile?;
    let level = in_amps(profile, profile.standby()?, subject.feed_volts()?);
    let start = next.start_s.value();
    let from = standby.start_s.value().max(start - longest(profile, standby, next)?);
    let time = subject.trace.time();
    let index = |t: f64| time.partition_point(|time| *time < t);
    let above = |index: &usize| subject.finding.log.drawn(subject.trace.amps()[*index]) > level.high;
    let left =
        (index(from)..index(start)).rev().take_while(above).last().filter(|left| *left > index(from))?;
    Some(time[left])
}

/// How long good boards are at most in the stages between a standby and a later one; `None` where there are none.
fn longest(profile: &Profile, standby: &Phase, next: &Phase) -> Option<f64> {
    let place = |phase: &Phase| profile.phases.iter().position(|stage| stage.name == phase.name);
    let rest = profile.standby().filter(|rest| rest.name == standby.name);
    let between = profile.phases.get(rest.and(place(standby))? + 1..place(next)?)?;
    let high =
        |length: Option<crate::reference::Envelope>| length.map_or(f64::INFINITY, |length| length.high);
    (!between.is_empty()).then(|| between.iter().map(|stage| high(stage.duration)).sum())
}

#[cfg(test)]
mod tests {
    use super::super::super::align::align;
    use super::super::super::axis::TimeAxis;
    use super::super::super::fixtures::{finding, phase, profile, trace};
    use super::super::envelope::expected;
    use super::super::readings::Readings;
    use super::*;

    #[test]
    fn the_wake_is_read_where_the_first_stage_is_not_told_apart() {
        let profile = profile();
        let [standby, rails, firmware] = [0, 1, 2].map(|index| profile.phases[index].name.as_str());
        let rails_last = profile.phases[1].duration.unwrap().high;
        let woken = |next: &str, amps: &dyn Fn(u32) -> f64| {
            let (trace, finding) = (trace(601, 60.0, amps), finding(Vec::new()));
            let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
            wake(&subject, &phase(standby, 2.0, 9.0), &phase(next, 9.0, 20.0))
        };
        let early = |index: u32| if index < 84 { 0.03 } else { 0.2 };
        assert_eq!(woken(firmware, &early).map(|at| (at * 10.0).round()), Some(84.0));
        assert_eq!(woken(rails, &early), None, "it is told");
        assert_eq!(woken(firmware, &|index| if index < 90 { 0.03 } else { 0.7 }), None, "nothing shows it");
        // For longer than good boards need it is a standby that draws too much; a pulse in standby is no wake.
        assert!(rails_last < 7.0);
        assert_eq!(woken(firmware, &|_| 0.2), None);
        assert_eq!(woken(firmware, &|index| if index == 85 { 0.2 } else { 0.03 }), None);
    }

    #[test]
    fn figures_begin_at_that_wake_and_hold_nothing_after_it_to_a_standby() {
        let profile = profile();
        let [standby, firmware] = [0, 2].map(|index| profile.phases[index].name.as_str());
        let trace = trace(601, 60.0, |index| if index < 84 { 0.03 } else { 0.2 });
        let phases = vec![phase(standby, 2.0, 9.0), phase(firmware, 9.0, 60.0)];
        let mut finding = finding(phases);
        finding.verdict.class = crate::verdict::Class::FullBoot;
        let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
        let near = |at: f64| (at - 8.4).abs() < 0.06;
        assert!(near(align(&[subject, subject])[0].at));
        let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 60.0 };
        let bands = expected(&subject, &Readings::new(&subject, time));
        assert!(near(bands[0].to) && (bands[1].from - 9.0).abs() < 1e-9, "{bands:?}");
    }
}
