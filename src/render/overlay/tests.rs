//! Many runs on one panel.

use super::super::fixtures::{any_options, any_run, assert_legible, finding, phase, profile, trace};
use super::super::scene::Shape;
use super::*;
use crate::trace::Trace;
use crate::verdict::Finding;
use proptest::prelude::*;

fn run(serial: &str, class: Class) -> (Trace, Finding) {
    let mut finding = finding(vec![phase("standby", 0.0, 9.0), phase("loading", 9.0, 60.0)]);
    finding.departures.clear();
    finding.verdict.class = class;
    finding.verdict.stalled_in = Some("loading".into()).filter(|_| class == Class::Stalled);
    finding.log.serial = Some(serial.into());
    (trace(600, 60.0, |_| 0.5), finding)
}

fn subjects(runs: &[(Trace, Finding)]) -> Vec<Subject<'_>> {
    runs.iter().map(|(trace, finding)| Subject { trace, profile: None, finding }).collect()
}

fn said(classes: &[Class]) -> String {
    let runs: Vec<_> = (1..).zip(classes).map(|(n, class)| run(&format!("S-{n}"), *class)).collect();
    let subjects = subjects(&runs);
    headline(&subjects, &odd_ones(&subjects))
}

#[test]
fn the_headline_says_which_is_odd() {
    use Class::{Cycling, FullBoot, Inconclusive, Stalled};
    let cases: [&[Class]; 5] = [
        &[FullBoot, FullBoot, FullBoot],
        &[FullBoot, Stalled, FullBoot],
        &[Stalled, FullBoot, Cycling],
        &[Inconclusive, Inconclusive],
        &[Stalled, Stalled, Cycling],
    ];
    insta::assert_snapshot!(cases.map(said).join("\n"), @"
    All 3 alike: full boot
    1 of 3 is odd: S-2 stalled in loading
    2 of 3 are odd: S-1 stalled in loading, and 1 more
    All 2 alike: inconclusive
    1 of 3 is odd: S-3 cycling in stage 3
    ");
}

#[test]
fn a_full_boot_with_a_departure_is_odd_too() {
    let mut runs = vec![run("S-1", Class::FullBoot), run("S-2", Class::FullBoot)];
    runs[1].1.departures = finding(Vec::new()).departures;
    assert_eq!(odd_ones(&subjects(&runs)), [false, true]);
}

#[test]
fn good_ones_are_grey_and_thin_and_the_odd_one_stands_on_top() {
    let runs = [run("S-1", Class::FullBoot), run("S-2", Class::Stalled), run("S-3", Class::FullBoot)];
    let scene = draw(&subjects(&runs), &Options::default()).unwrap();
    let lines: Vec<(i32, Color)> = scene
        .shapes
        .iter()
        .filter_map(|shape| match shape {
            Shape::Steps { width, color, .. } => Some((*width, *color)),
            _ => None,
        })
        .collect();
    let palette = crate::render::Theme::Light.palette();
    assert_eq!(lines[..3], [(1, palette.frame), (1, palette.frame), (3, palette.alarm)]);
    assert!(scene.labels().any(|label| label.text == "S-2" && label.style.color == palette.alarm));
}

#[test]
fn nothing_to_draw_is_an_error() {
    assert!(matches!(draw(&[], &Options::default()), Err(RenderError::NoReadings)));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]
    #[test]
    fn whatever_the_runs_hold_their_labels_keep_apart(
        runs in prop::collection::vec(any_run(), 1..14),
        options in any_options(),
        with_profile in any::<bool>(),
    ) {
        let profile = with_profile.then(profile);
        let subjects: Vec<Subject> = runs
            .iter()
            .map(|(trace, finding)| Subject { trace, profile: profile.as_ref(), finding })
            .collect();
        assert_legible(&draw(&subjects, &options).unwrap());
    }
}
