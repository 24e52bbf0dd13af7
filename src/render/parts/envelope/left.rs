//! By when good boards have left the stage in which this one stands.

use super::super::Subject;
use super::super::turning::last_press;
use super::Stage;
use crate::reference::{PhaseReference, Profile};
use crate::verdict::{Class, Departure, Direction, Finding};

/// When good boards have left a stage of the run; infinite where they stay, or nothing tells it. The last press, at which a picture marks it, is answered at once,
/// as far as is known, or when a good board `beside` it does.
pub(super) fn by(subject: &Subject, profile: &Profile, stage: &Stage, beside: Option<f64>) -> f64 {
    let rests = rests(profile).is_some_and(|rest| rest.name == stage.reference.name);
    let stays = rests && stays_at_rest(subject.finding);
    let switched_on = switched_on(subject, stage.start);
    if stays && wakes_within(subject, stage, (switched_on, stage.start)) {
        // Whatever they wait for has come already.
        return stage.start;
    }
    let never_wakes = stays && !wakes_within(subject, stage, (stage.end, f64::INFINITY));
    if never_wakes && stage.reference.waits_for_person {
        let answered = |press: f64| beside.map_or(press, |beside| beside.max(press));
        return last_press(subject, (stage.start, stage.end)).map_or(f64::INFINITY, answered);
    }
    let told = never_wakes || stays_too_long(subject.finding, &stage.reference.name);
    let longest = stage.reference.duration.filter(|_| told).map_or(f64::INFINITY, |length| length.high);
    stage.start + longest
}

/// The stage in which good boards rest once they are fed, and those of no standby begin.
fn rests(profile: &Profile) -> Option<&PhaseReference> {
    profile.standby().or_else(|| profile.phases.first())
}

/// Whether the verdict says of the run that it does not go on from a rest as good boards do, whatever it draws there.
const fn stays_at_rest(finding: &Finding) -> bool {
    use Class::{DroppedOut, ExcessStandby, HardShort, LatchOff, NoDraw, PartialShort, StandbyOnly};
    matches!(
        finding.verdict.class,
        NoDraw | HardShort | PartialShort | StandbyOnly | ExcessStandby | LatchOff | DroppedOut
    )
}

/// When the board was switched on last before a moment.
fn switched_on(subject: &Subject, at: f64) -> f64 {
    let ends = subject.finding.phases.iter().filter(|phase| phase.name == "off").map(|off| off.end_s.value());
    ends.filter(|end| *end <= at).fold(0.0, f64::max)
}

/// Whether the board leaves its rest, or tries to, between two moments.
fn wakes_within(subject: &Subject, rest: &Stage, (from, to): (f64, f64)) -> bool {
    let is_stage = |name: &String| {
        *name != rest.reference.name
            && subject.profile.is_some_and(|profile| profile.phases.iter().any(|stage| stage.name == *name))
    };
    let tries = subject.finding.attempts.iter().map(|attempt| attempt.start_s.value());
    let reached = subject.finding.phases.iter().filter(|phase| is_stage(&phase.name));
    tries.chain(reached.map(|phase| phase.start_s.value())).any(|at| (from..to).contains(&at))
}

/// Whether the finding says of the stage that the board stays in it for longer than good boards do, or that it goes no
/// further: a length that measuring, or the number of the stages, leaves open is no matter for a picture either.
fn stays_too_long(finding: &Finding, stage: &str) -> bool {
    let verdict = &finding.verdict;
    let longer = |departure: &Departure| departure.phase == stage && departure.direction == Direction::Longer;
    let ends_in = [&verdict.stalled_in, &verdict.reached].into_iter().flatten();
    let tries = finding.attempts.iter().filter_map(|attempt| attempt.likely_in.as_ref());
    finding.departures.iter().any(longer) || ends_in.chain(tries).any(|name| name == stage)
}

#[cfg(test)]
mod tests {
    use super::super::super::super::axis::TimeAxis;
    use super::super::super::super::fixtures::{cycling, finding, phase, profile, trace};
    use super::super::super::readings::Readings;
    use super::super::expected;
    use super::*;
    use crate::reference::Envelope;
    use crate::verdict::Phase;

    /// From when on the envelopes of a run of 60 s are those of boards that have moved on, where they are; the button is
    /// pressed after 8.6 s.
    fn from_when(finding: &Finding, by_itself: bool) -> Vec<Option<f64>> {
        let (trace, mut profile) = (trace(600, 60.0, |_| 0.03), profile());
        let standby = &mut profile.phases[0];
        if by_itself {
            standby.waits_for_person = false;
            standby.duration = Some(Envelope { low: 2.0, typical: 3.0, high: 4.0 });
        }
        let subject = Subject { trace: &trace, profile: Some(&profile), finding };
        let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 60.0 };
        let shown = expected(&subject, &Readings::new(&subject, time));
        let round = |at: f64| (at * 10.0).round() / 10.0;
        shown.iter().map(|stage| (stage.usual_to < stage.to).then(|| round(stage.usual_to))).collect()
    }

    fn of(class: Class, phases: &[(&str, f64, f64)]) -> Finding {
        let phase = |(name, start, end): &(&str, f64, f64)| -> Phase { phase(name, *start, *end) };
        let mut finding = finding(phases.iter().map(phase).collect());
        finding.departures.clear();
        finding.verdict.class = class;
        (finding.verdict.reached, finding.verdict.stalled_in) = (None, None);
        finding
    }

    #[test]
    fn good_boards_have_left_the_rest_of_one_that_never_wakes() {
        let never = [
            (Class::NoDraw, "no draw"),
            (Class::HardShort, "short"),
            (Class::PartialShort, "short"),
            (Class::StandbyOnly, "standby"),
            (Class::ExcessStandby, "standby"),
        ];
        for (class, name) in never {
            let finding = of(class, &[("off", 0.0, 2.0), (name, 2.0, 60.0)]);
            assert_eq!(from_when(&finding, true), [Some(6.0)], "{class}: 4 s after the switch-on");
            assert_eq!(from_when(&finding, false), [Some(8.5)], "{class}: once the button is pressed");
        }
    }

    #[test]
    fn what_is_left_of_a_run_that_woke_is_a_rest_that_good_boards_have_left() {
        let phases = [
            ("off", 0.0, 2.0),
            ("standby", 2.0, 9.0),
            ("rails", 9.0, 10.0),
            ("firmware", 10.0, 14.0),
            ("standby", 14.0, 60.0),
        ];
        // The first standby the board has left in its time, whoever ends it.
        for by_itself in [false, true] {
            let ends = |class: Class| from_when(&of(class, &phases), by_itself);
            assert_eq!(ends(Class::DroppedOut), [None, None, None, Some(14.0)]);
            assert_eq!(ends(Class::FullBoot), [None; 4]);
        }
    }

    #[test]
    fn after_a_try_that_is_given_up_good_boards_have_moved_on_at_once() {
        let mut finding = cycling(2);
        finding.attempts.truncate(1);
        finding.verdict.class = Class::LatchOff;
        finding.phases.retain(|phase| phase.start_s.value() < 8.0);
        finding.phases.push(phase("standby", 8.0, 60.0));
        assert_eq!(from_when(&finding, true).last(), Some(&Some(8.0)));
        assert_eq!(from_when(&finding, false).last(), Some(&Some(8.0)));
    }

    #[test]
    fn the_band_ends_at_the_last_press_where_the_mark_stands_that_the_board_does_not_wake() {
        use crate::trace::{EventKind, Header, Mode, Sample, TraceBuilder};
        use crate::units::{Amps, Seconds, Volts};
        let mut builder = TraceBuilder::new(Header::default());
        for index in 0..600_u32 {
            let time = Seconds::constant(f64::from(index) / 10.0);
            let (volts, amps) = (Volts::constant(12.8), Amps::constant(0.03));
            builder.sample(Sample { time, volts, amps, mode: Mode::Unknown, span: None }).unwrap();
            if [50, 70, 200].contains(&index) {
                builder.event(time, EventKind::Mark("power button".into())).unwrap();
            }
        }
        let (trace, profile) = (builder.finish(), profile());
        let finding = of(Class::ExcessStandby, &[("off", 0.0, 2.0), ("standby", 2.0, 60.0)]);
        let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
        let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 60.0 };
        let shown = expected(&subject, &Readings::new(&subject, time));
        assert!((shown[0].usual_to - 20.0).abs() < 1e-9, "{shown:?}");
    }
}
