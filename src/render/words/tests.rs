//! What each verdict is called.

use super::*;
use crate::units::Seconds;

fn verdict(class: Class) -> Verdict {
    let asleep = matches!(class, Class::StandbyOnly | Class::ExcessStandby);
    Verdict {
        class,
        confidence: 0.937,
        reached: Some(if asleep { "standby" } else { "firmware" }.into()),
        usually_in: None,
        stalled_in: (class == Class::Stalled).then(|| "firmware".into()),
        step_into: None,
        asked: None,
        tries: None,
        stays_down_s: None,
        none_could_boot: None,
        because: Vec::new(),
        runner_up: None,
    }
}

#[test]
fn each_class_has_a_headline_of_its_own() {
    let lines: Vec<String> = Class::ALL.map(|class| headline(&verdict(class))).to_vec();
    insta::assert_snapshot!(lines.join("\n"), @"
    No draw: the board takes no current
    Hard short: the supply sits in its limit and the feed collapses
    Partial short: heavy current from switch-on, nothing starts
    Standby draws too much; the board never wakes
    Standby only: the board never wakes
    Latches off in firmware: tries, then stays down
    Cycling in firmware: starts and gives up, again and again
    Stalled in firmware
    Full boot: reached firmware and stayed
    Dropped out: reached firmware, then fell back
    Feed limited in firmware: the supply starves the board
    Inconclusive: this capture cannot carry a verdict
    ");
}

#[test]
fn a_verdict_that_is_less_likely_than_all_else_is_said_as_a_toss_up() {
    use crate::verdict::RunnerUp;
    let cycling = Some(RunnerUp { class: Class::Cycling, confidence: 0.31 });
    let unsure = Verdict { confidence: 0.35, runner_up: cycling, ..verdict(Class::Stalled) };
    assert_eq!(headline(&unsure), "Perhaps stalled in firmware, or cycling");
    assert_eq!(short_and_sure(&unsure), "perhaps stalled in firmware, 35 %");
    let undecided = RunnerUp { class: Class::Inconclusive, confidence: 0.31 };
    let alone = Verdict { runner_up: Some(undecided), ..unsure.clone() };
    assert_eq!(headline(&alone), "Perhaps stalled in firmware");
    let even = Verdict { confidence: 0.5, ..unsure.clone() };
    assert_eq!((headline(&even).as_str(), is_toss_up(&even)), ("Stalled in firmware", false));
    // With another close behind it a verdict is none to be sure of either, whatever its class.
    let close = RunnerUp { class: Class::Cycling, confidence: 0.43 };
    for class in Class::ALL.into_iter().filter(|class| *class != Class::Inconclusive) {
        let near = Verdict { confidence: 0.53, runner_up: Some(close), ..verdict(class) };
        let said = headline(&near);
        assert!(said.starts_with("Probably ") && said.ends_with(", or cycling"), "{said}");
        assert!(short(&near).starts_with("probably ") && is_toss_up(&near), "{}", short(&near));
        assert!(!is_toss_up(&Verdict { confidence: 0.61, ..near.clone() }), "{said}");
        let far = RunnerUp { confidence: 0.34, ..close };
        assert!(!is_toss_up(&Verdict { runner_up: Some(far), ..near }), "{said}");
    }
    let open = Verdict { class: Class::Inconclusive, ..unsure };
    assert!(headline(&open).starts_with("Inconclusive"), "it says so itself");
}

#[test]
fn a_stage_that_had_run_its_length_is_told_by_its_end() {
    let given_up = Verdict { tries: Some(5), stays_down_s: Some(29.0), ..verdict(Class::Cycling) };
    assert!(headline(&given_up).ends_with("starts and gives up 5 times, then stays down"));
    let twice = Verdict { tries: Some(2), ..verdict(Class::Cycling) };
    assert_eq!(headline(&twice), "Cycling in firmware: starts and gives up twice so far");
    let at_the_step = Verdict { step_into: Some("loading".into()), ..verdict(Class::LatchOff) };
    assert_eq!(headline(&at_the_step), "Latches off at the end of firmware: tries, then stays down");
    assert_eq!(short(&at_the_step), "latches off at the end of firmware");
    let pressed = Verdict { tries: Some(2), ..verdict(Class::LatchOff) };
    assert_eq!(headline(&pressed), "Latches off in firmware: gives up each try, stays down until pressed");
}

#[test]
fn how_far_a_board_got_has_the_stage_of_the_headline_first() {
    let cycling = verdict(Class::Cycling);
    assert_eq!(how_far(&cycling).unwrap(), "got to firmware");
    let most = Verdict { usually_in: Some("rails".into()), ..cycling };
    assert!(headline(&most).starts_with("Cycling in rails: "));
    assert_eq!(how_far(&most).unwrap(), "most tries end in rails, the furthest in firmware");
    assert_eq!(how_far(&verdict(Class::Stalled)).unwrap(), "stuck in firmware");
    assert_eq!(how_far(&Verdict { reached: None, ..verdict(Class::NoDraw) }), None);
}

#[test]
fn where_tries_end_by_their_times_alone_stands_in_the_headline() {
    let mut finding = crate::render::fixtures::cycling(4);
    assert_eq!(headline_of(&finding), headline(&finding.verdict));
    finding.verdict.reached = None;
    for attempt in &mut finding.attempts {
        (attempt.ended_in, attempt.likely_in) = (None, Some("rails".into()));
    }
    finding.verdict.class = Class::FeedLimited;
    assert_eq!(headline_of(&finding), "Feed limited (likely in rails): the supply starves the board");
    finding.attempts[0].earliest_in = Some("standby".into());
    finding.attempts[1].earliest_in = Some("standby".into());
    finding.attempts[2].earliest_in = Some("standby".into());
    let several = "Feed limited (in standby to rails): the supply starves the board";
    assert_eq!(headline_of(&finding), several, "one of several stages");
    // In the words of the evidence, which knows whether the two are neighbours.
    finding.verdict.because = vec!["each ends 1.3 s after its wake, in standby or the start of rails".into()];
    assert_eq!(headline_of(&finding), several.replace(" to rails", " or rails"));
}

#[test]
fn a_toss_up_names_both_verdicts_in_words_of_the_bench() {
    let runner_up = Some(crate::verdict::RunnerUp { class: Class::DroppedOut, confidence: 0.43 });
    let toss_up = Verdict { confidence: 0.5, runner_up, ..verdict(Class::LatchOff) };
    assert_eq!(headline(&toss_up), "Probably latches off in firmware, or dropped out");
}

#[test]
fn a_capture_that_ends_too_early_says_so_in_its_headline() {
    let mut finding = crate::render::fixtures::finding(Vec::new());
    finding.verdict = verdict(Class::Inconclusive);
    finding.verdict.because =
        vec!["1.2 s of feed were captured".into(), "it ends 1.2 s after switch-on: why".into()];
    assert_eq!(headline_of(&finding), "Inconclusive: too short to tell, 1.2 s of feed");
    // A long one decides nothing for other reasons.
    finding.verdict.because.truncate(1);
    assert_eq!(headline_of(&finding), "Inconclusive: this capture cannot carry a verdict");
}

#[test]
fn standby_has_the_name_that_the_profile_gives_it() {
    let rails = |class| headline(&Verdict { reached: Some("rails".into()), ..verdict(class) });
    assert_eq!(rails(Class::StandbyOnly), "Standby (rails) only: the board never wakes");
    assert_eq!(rails(Class::ExcessStandby), "Standby (rails) draws too much; the board never wakes");
}

#[test]
fn what_is_undecided_is_not_said_to_be_sure() {
    let runner_up = Some(crate::verdict::RunnerUp { class: Class::StandbyOnly, confidence: 0.47 });
    let close = Verdict { confidence: 0.47, runner_up, ..verdict(Class::Inconclusive) };
    let mut finding = crate::render::fixtures::finding(Vec::new());
    let mut confidence = |verdict: &Verdict| {
        finding.verdict = verdict.clone();
        confidence(&finding)
    };
    assert_eq!(confidence(&close), "undecided; perhaps standby only");
    let decided = Verdict { class: Class::NoDraw, ..close };
    assert_eq!(confidence(&decided), "47 % sure, else standby only 47 %");
    let undecided = Some(crate::verdict::RunnerUp { class: Class::Inconclusive, confidence: 0.14 });
    let perhaps = Verdict { class: Class::Cycling, runner_up: undecided, ..decided };
    assert_eq!(confidence(&perhaps), "47 % sure, else undecided");
}

#[test]
fn what_an_undecided_run_may_be_is_not_denied_by_its_stages() {
    use crate::render::fixtures::{finding, phase};
    let runner_up = Some(crate::verdict::RunnerUp { class: Class::NoDraw, confidence: 0.3 });
    let said = |name: &str| {
        let mut finding = finding(vec![phase("off", 0.0, 1.4), phase(name, 1.4, 2.9)]);
        finding.verdict = Verdict { runner_up, ..verdict(Class::Inconclusive) };
        [confidence(&finding), beside_headline(&finding)]
    };
    assert_eq!(said("no draw"), ["undecided; perhaps no draw", "perhaps no draw"]);
    // Readings that are taken for a standby are no sign that nothing flows.
    assert_eq!(said("standby"), ["undecided", ""]);
}

#[test]
fn what_is_not_certain_is_never_shown_as_certain() {
    assert_eq!([0.937, 0.999, 1.0, 0.0].map(percent), ["93 %", "99 %", "99 %", "0 %"]);
}

#[test]
fn an_uncertainty_is_shown_where_it_decides() {
    let near = |measured, direction| Departure {
        phase: "standby".into(),
        quantity: "mean power".into(),
        direction,
        measured,
        low: 0.02,
        high: 0.05,
        unit: "A".into(),
        starts_s: Seconds::ZERO,
    };
    let numbers = |departure: Departure| departure_numbers(&departure, Some(Amps::constant(0.001)));
    assert_eq!(numbers(near(0.052, Direction::Above)), "52 mA ± 1 mA, good boards 20 to 50 mA");
    assert_eq!(numbers(near(0.018, Direction::Below)), "18 mA ± 1 mA, good boards 20 to 50 mA");
    assert_eq!(numbers(near(0.105, Direction::Above)), "105 mA, good boards 20 to 50 mA");
    let above = Departure { low: 0.116, high: 0.178, ..near(0.091, Direction::Below) };
    assert_eq!(numbers(above), "91 mA, good boards 116 to 178 mA");
    assert_eq!(departure(&near(0.052, Direction::Above)), "standby draws too much");
}

#[test]
fn what_is_no_stage_is_called_as_people_say_it() {
    assert_eq!(["rest", "attempt", "firmware"].map(phase), ["between tries", "try", "firmware"]);
}
