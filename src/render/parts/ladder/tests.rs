//! What became of the stages, class by class.

use super::super::super::fixtures::{cycling, finding, phase, profile, trace};
use super::*;
use crate::units::Volts;

/// The signs of the stages of a run of that class, for a board that got to `reached`.
fn signs(class: Class, seen: &[&str], reached: Option<&str>) -> String {
    let phases = seen.iter().map(|name| phase(name, 1.0, 2.0)).collect();
    let mut finding = finding(phases);
    finding.departures.clear();
    finding.verdict.class = class;
    finding.verdict.reached = reached.map(String::from);
    finding.verdict.stalled_in = reached.filter(|_| class == Class::Stalled).map(String::from);
    let signs =
        rungs(&profile(), &finding, &[]).into_iter().map(|rung| match (rung.step, rung.name.as_str()) {
            (Step::Trouble, "no draw" | "hard short" | "partial short" | WAKE) => {
                format!("[{}]", rung.text())
            }
            (Step::Unseen, _) => "○".into(),
            (Step::Missing, _) => "·".into(),
            (step, _) => step.sign().into(),
        });
    signs.collect()
}

#[test]
fn tries_that_may_have_ended_in_either_of_two_stages_leave_the_first_open() {
    let steps_of = |earliest: Option<&str>| {
        let mut finding = cycling(4);
        for attempt in &mut finding.attempts {
            (attempt.ended_in, attempt.likely_in) = (None, Some("firmware".into()));
            attempt.earliest_in = earliest.map(Into::into);
        }
        finding.verdict.reached = None;
        finding.departures.clear();
        steps(&profile(), &finding, &[]).into_iter().map(Step::sign).collect::<Vec<_>>()[..3].to_vec()
    };
    assert_eq!(steps_of(Some("rails")), ["✓", "✗?", "✗?"]);
    // The headline says "likely in firmware".
    assert_eq!(steps_of(None), ["✓", "✓", "✗?"]);
}

#[test]
fn tries_that_show_no_stage_end_where_the_finding_takes_them_to() {
    let mut finding = cycling(4);
    for attempt in &mut finding.attempts {
        (attempt.ended_in, attempt.likely_in) = (None, Some("firmware".into()));
    }
    finding.verdict.reached = None;
    for phase in &mut finding.phases {
        if phase.name == "rails" || phase.name == "firmware" {
            phase.name = "attempt".into();
        }
    }
    let steps = steps(&profile(), &finding, &[]);
    assert_eq!(steps, [Step::Passed, Step::Unsure, Step::Likely, Step::Missing, Step::Missing]);
}

#[test]
fn where_tries_end_is_as_certain_on_the_strip_as_in_the_headline() {
    let mut finding = cycling(4);
    let step = |finding: &Finding| steps(&profile(), finding, &[])[2];
    assert_eq!(step(&finding), Step::Trouble);
    finding.verdict.reached = None;
    for attempt in &mut finding.attempts {
        attempt.likely_in = Some("firmware".into());
    }
    assert_eq!(step(&finding), Step::Trouble, "each try was seen to end there");
    for attempt in &mut finding.attempts {
        attempt.ended_in = None;
    }
    assert!(words::headline_of(&finding).starts_with("Cycling (likely in firmware)"));
    assert_eq!(step(&finding), Step::Likely);
    assert_eq!(step(&finding).perhaps(), Step::Unsure);
}

#[test]
fn a_stage_that_a_try_shows_was_passed_though_no_phase_names_it() {
    let mut finding = cycling(4);
    for attempt in &mut finding.attempts {
        (attempt.ended_in, attempt.likely_in) = (Some("firmware".into()), Some("firmware".into()));
    }
    finding.verdict.reached = Some("firmware".into());
    finding.departures.clear();
    for phase in &mut finding.phases {
        if phase.name == "rails" || phase.name == "firmware" {
            phase.name = "attempt".into();
        }
    }
    let profile = profile();
    let usual = |index: usize| in_amps(&profile, &profile.phases[index], Volts::constant(12.8)).typical;
    let (rails, firmware) = (usual(1), usual(2));
    let starts: Vec<f64> = finding.attempts.iter().map(|attempt| attempt.start_s.value()).collect();
    let signs = |rails_s: f64| {
        let amps = |time: f64| match starts.iter().rev().find(|start| **start <= time) {
            Some(start) if time < start + rails_s => rails,
            _ => firmware,
        };
        let trace = trace(600, 60.0, |index| amps(f64::from(index) * 0.1));
        let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
        let shown = shown_in_tries(&subject, &profile);
        let mut dropped = finding.clone();
        dropped.verdict.class = Class::DroppedOut;
        assert!(
            shown_in_tries(&Subject { finding: &dropped, ..subject }, &profile).is_empty(),
            "its stages are told"
        );
        steps(&profile, &finding, &shown)[..3].to_vec()
    };
    assert_eq!(signs(0.5), [Step::Passed, Step::Passed, Step::Trouble]);
    assert_eq!(signs(0.0), [Step::Passed, Step::Unseen, Step::Trouble]);
}

#[test]
fn tries_that_end_at_a_step_are_crossed_out_there() {
    let mut finding = cycling(4);
    finding.verdict.step_into = Some("loading".into());
    let rungs: Vec<String> = rungs(&profile(), &finding, &[]).iter().map(Rung::text).collect();
    let shown = ["✓ standby", "✓ rails", "✗ end of firmware", "loading", "picture"];
    assert_eq!(rungs, shown);
}

#[test]
fn where_most_tries_end_is_crossed_out_and_how_far_one_got_is_said_beside_it() {
    let mut finding = cycling(5);
    for index in [0, 1, 3] {
        finding.attempts[index].ended_in = Some("rails".into());
    }
    finding.verdict.usually_in = Some("rails".into());
    let rungs = rungs(&profile(), &finding, &[]);
    let said: Vec<String> = rungs.iter().map(Rung::text).collect();
    assert_eq!(said, ["✓ standby", "✗ rails", "firmware", "loading", "picture"]);
    let asides: Vec<Option<&str>> = rungs.iter().map(|rung| rung.aside.as_deref()).collect();
    assert_eq!(asides, [None, None, Some("in 1 of 4 tries"), None, None]);
}

#[test]
fn no_box_of_the_ladder_is_blank() {
    use super::super::super::options::{Options, Size};
    let mut profile = profile();
    for (index, stage) in profile.phases.iter_mut().enumerate() {
        stage.name = format!("a stage whose name is far longer than its box, number {index}");
    }
    let mut finding = finding(vec![phase(&profile.phases[3].name, 0.0, 60.0)]);
    (finding.verdict.class, finding.verdict.reached) =
        (Class::FullBoot, Some(profile.phases[3].name.clone()));
    let trace = trace(60, 60.0, |_| 0.5);
    let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
    let options = Options { size: Size::new(480, 360).unwrap(), ..Options::default() };
    let mut sheet = Sheet::new(&options, (440.0, 560.0));
    let area = sheet.inside();
    draw(&mut sheet, &profile, &subject, area);
    let said: Vec<&str> = sheet.scene.labels().map(|label| label.text.as_str()).collect();
    let named = said.iter().filter(|text| text.contains("a stage whos")).count();
    assert_eq!(named, profile.phases.len(), "{said:?}");
}

#[test]
fn what_departs_is_no_shade_of_what_passed() {
    let palette = crate::render::Theme::Light.palette();
    assert_ne!(Step::Departs.colors(palette).0, Step::Passed.colors(palette).0);
    assert_ne!(Step::Departs.colors(palette).1, Step::Passed.colors(palette).1);
}

#[test]
fn a_stage_is_crossed_out_for_every_class_that_fails() {
    // The stages are standby, rails, firmware, loading, picture.
    let cases = [
        (Class::NoDraw, &["no draw"][..], None),
        (Class::HardShort, &["short"], None),
        (Class::PartialShort, &["heavy load"], None),
        (Class::ExcessStandby, &["standby"], Some("standby")),
        (Class::StandbyOnly, &["standby"], Some("standby")),
        (Class::LatchOff, &["standby", "attempt", "standby"], None),
        (Class::Cycling, &["standby", "attempt", "rest"], None),
        (Class::Cycling, &["standby", "rails", "firmware", "rest"], Some("firmware")),
        (Class::Stalled, &["standby", "rails", "firmware"], Some("firmware")),
        (Class::FullBoot, &["standby", "rails", "firmware", "loading", "picture"], Some("picture")),
        (Class::DroppedOut, &["standby", "picture", "standby"], Some("picture")),
        (Class::FeedLimited, &["standby", "rails", "rest"], Some("rails")),
        (Class::Inconclusive, &["standby"], None),
    ];
    let lines = cases.map(|(class, seen, reached)| format!("{class}: {}", signs(class, seen, reached)));
    insta::assert_snapshot!(lines.join("\n"), @"
    no-draw: [✗ no draw]·····
    hard-short: [✗ hard short]·····
    partial-short: [✗ partial short]·····
    excess-standby: ✗····
    standby-only: ✓[✗ wake]····
    latch-off: ✓✗···
    cycling: ✓✗···
    cycling: ✓✓✗··
    stalled: ✓✓✗··
    full-boot: ✓✓✓✓✓
    dropped-out: ✓○○○✗
    feed-limited: ✓✗···
    inconclusive: ?····
    ");
}

#[test]
fn a_standby_that_the_runner_up_denies_is_not_certain() {
    let of = |class: Option<Class>| {
        let mut finding = finding(vec![phase("standby", 1.0, 60.0)]);
        finding.departures.clear();
        (finding.verdict.class, finding.verdict.reached) = (Class::StandbyOnly, Some("standby".into()));
        finding.verdict.confidence = 0.67;
        finding.verdict.runner_up = class.map(|class| crate::verdict::RunnerUp { class, confidence: 0.29 });
        rungs(&profile(), &finding, &[])[0].step
    };
    assert_eq!(of(Some(Class::NoDraw)), Step::Unsure);
    assert_eq!([of(None), of(Some(Class::Stalled))], [Step::Passed; 2]);
}

#[test]
fn a_stage_that_was_not_told_apart_is_called_so_as_in_the_text() {
    let rung = Rung { step: Step::Unseen, name: "rails".into(), aside: None };
    assert_eq!(rung.text(), "~ rails");
    assert!(KEY.contains(&(Step::Unseen, "not told apart")));
}

#[test]
fn a_board_that_is_in_a_try_when_a_short_log_ends_has_left_its_standby() {
    let mut finding = cycling(1);
    finding.departures.clear();
    (finding.verdict.class, finding.verdict.reached) = (Class::Inconclusive, None);
    finding.phases.retain(|phase| phase.name == "standby");
    finding.phases.push(phase("attempt", 40.0, 41.0));
    let signs = |finding: &Finding| {
        let steps = steps(&profile(), finding, &[]);
        steps.into_iter().map(Step::sign).collect::<Vec<_>>()
    };
    assert!(!finding.attempts[0].given_up);
    assert_eq!(signs(&finding), ["✓", "?", "", "", ""]);
    // No tick above the words that the standby perhaps draws too much.
    let excess = crate::verdict::RunnerUp { class: Class::ExcessStandby, confidence: 0.3 };
    finding.verdict.runner_up = Some(excess);
    assert_eq!(signs(&finding), ["?", "?", "", "", ""]);
    finding.verdict.runner_up = None;
    finding.attempts.clear();
    assert_eq!(signs(&finding), ["?", "", "", "", ""]);
}
