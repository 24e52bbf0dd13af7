//! Many runs on one panel.

mod low;
mod starved;
mod toss_up;

use super::super::fixtures::{
    self, any_options, any_run, assert_legible, finding, flags, phase, profile, trace,
};
use super::super::options::Size;
use super::super::scene::Shape;
use super::*;
use crate::trace::Trace;
use crate::units::{Amps, Seconds};
use crate::verdict::Class;
use crate::verdict::{Finding, Gap};
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
    2 of 3 are odd: S-1 stalled in loading, S-3 cycling in stage 3
    All 2 alike: inconclusive
    1 of 3 is odd: S-3 cycling in stage 3
    ");
}

#[test]
fn of_a_starved_run_the_headline_says_where_its_tries_end() {
    let of = |step_into: Option<&str>, reached: Option<&str>, ended: Option<&str>, likely: Option<&str>| {
        let mut runs = vec![run("S-1", Class::FullBoot), run("S-2", Class::FeedLimited)];
        let finding = &mut runs[1].1;
        finding.attempts = super::super::fixtures::cycling(4).attempts;
        (finding.verdict.step_into, finding.verdict.reached) =
            (step_into.map(Into::into), reached.map(Into::into));
        for attempt in &mut finding.attempts {
            (attempt.ended_in, attempt.likely_in) = (ended.map(Into::into), likely.map(Into::into));
        }
        let subjects = subjects(&runs);
        headline(&subjects, &odd_ones(&subjects))
    };
    let said = [
        of(Some("loading"), Some("power-up"), None, None),
        of(None, None, Some("power-up"), Some("power-up")),
        of(None, None, None, Some("power-up")),
        of(None, None, None, None),
    ];
    insta::assert_snapshot!(said.join("\n"), @"
    1 of 2 is odd: S-2 feed limited at the end of power-up
    1 of 2 is odd: S-2 feed limited in power-up
    1 of 2 is odd: S-2 feed limited (likely in power-up)
    1 of 2 is odd: S-2 feed limited
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
    assert_eq!(lines[..3], [(1, palette.alike), (1, palette.alike), (3, palette.alarm)]);
    assert!(scene.labels().any(|label| label.text == "S-2" && label.style.color == palette.alarm));
}

#[test]
fn the_odd_line_is_twice_as_wide_as_the_good_ones_on_the_smallest_figure_too() {
    let runs = [run("S-1", Class::FullBoot), run("S-2", Class::Stalled), run("S-3", Class::FullBoot)];
    for size in [Size::PHONE, Size::new(480, 360).unwrap(), Size::WIDE, Size::A4] {
        let scene = draw(&subjects(&runs), &Options { size, ..Options::default() }).unwrap();
        let palette = crate::render::Theme::Light.palette();
        let width = |of: Color| {
            scene.shapes.iter().find_map(|shape| match shape {
                Shape::Steps { width, color, .. } if *color == of => Some(*width),
                _ => None,
            })
        };
        let (odd, good) = (width(palette.alarm).unwrap(), width(palette.alike).unwrap());
        assert!(odd >= 2 * good, "{size}: {odd} and {good}");
    }
}

#[test]
fn many_good_runs_are_a_band_that_is_counted() {
    let mut runs: Vec<(Trace, Finding)> = (1..=11).map(|n| run(&format!("S-{n}"), Class::FullBoot)).collect();
    runs.push(run("S-12", Class::Stalled));
    let scene = draw(&subjects(&runs), &Options::default()).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    for text in ["range of 11 good runs, one drawn", "odd: S-12", "S-12", "11 good"] {
        assert!(said.contains(&text), "{text}: {said:?}");
    }
    assert!(!said.contains(&"S-3"), "{said:?}");
    let palette = crate::render::Theme::Light.palette();
    let lines = |wanted: Color| {
        let steps = scene.shapes.iter().filter(|shape| match shape {
            Shape::Steps { color, width, .. } => *color == wanted && *width > 0,
            _ => false,
        });
        steps.count()
    };
    // In each of the strips the band, its two edges and one run for all of them.
    let strips = lines(palette.alarm);
    assert_eq!((lines(palette.crowd), lines(palette.frame)), (strips, 3 * strips));
}

#[test]
fn an_odd_run_is_marked_as_a_run_by_itself_is() {
    let mut runs = [run("S-1", Class::FullBoot), run("S-2", Class::Stalled), run("S-3", Class::FullBoot)];
    let profile = {
        let mut profile = profile();
        profile.phases[1].name = "loading".into();
        profile
    };
    let stays = profile.phases[1].duration.unwrap().high;
    runs[1].1.phases[1].mean_a = crate::units::Amps::constant(0.5);
    let with_profile = |(trace, finding)| Subject { trace, profile: Some(&profile), finding };
    let subjects: Vec<Subject> = runs.iter().map(|(trace, finding)| with_profile((trace, finding))).collect();
    let scene = draw(&subjects, &Options::default()).unwrap();
    let said: Vec<String> = scene.labels().map(|label| label.text.clone()).collect();
    // On the common time 0 s is the wake: the marker stands where good boards have left the stage.
    let at = runs[1].1.log.time(stays);
    let stage = &runs[1].1.phases[1];
    let lasts = runs[1].1.log.time(stage.end_s.value() - stage.start_s.value());
    let read = format!("0.500 A at 12.8 V, in it for {lasts}, the 2 good runs here draw 0.800 A");
    for text in [at.as_str(), &read, "boards:", "read there"] {
        assert!(said.iter().any(|label| label == text), "{text}: {said:?}");
    }
    assert_eq!(said.iter().filter(|label| **label == at).count(), 2, "on the axis and in the table");
    // No run departs but by its verdict: there is no column of dashes.
    assert!(!said.iter().any(|label| label == "unlike good boards"), "{said:?}");
    assert_eq!(flags(&scene), 1);
}

#[test]
fn a_run_is_marked_where_its_verdict_has_its_place() {
    let good = |serial: &str| {
        let mut run = run(serial, Class::FullBoot);
        run.1.phases =
            vec![phase("standby", 0.0, 9.0), phase("loading", 9.0, 20.0), phase("idle", 20.0, 60.0)];
        run
    };
    let mut twice = run("S-3", Class::LatchOff);
    let tries = crate::render::fixtures::cycling(3).attempts;
    twice.1.attempts = tries[..2].to_vec();
    twice.1.phases = vec![phase("standby", 0.0, 6.0), phase("rails", 6.0, 8.0), phase("standby", 11.0, 60.0)];
    let runs = [good("S-1"), good("S-2"), run("S-4", Class::Stalled), twice];
    let scene = draw(&subjects(&runs), &Options::default()).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    // Stuck from its wake on, as without a profile the picture of the run by itself has it; awake at 6 s, the first of two
    // tries is given up at 8 s.
    for at in ["0 s", "2.0 s"] {
        assert_eq!(
            said.iter().filter(|label| **label == at).count(),
            2,
            "on the axis and in the table: {said:?}"
        );
    }
    // No mean of the stage that good boards have left, but what they do then; each colour has its name.
    let go_on = |label: &&str| label.starts_with("0.800 A at 12.8 V for 51.0 s, the 2 good runs here go");
    assert!(said.iter().any(go_on), "{said:?}");
    for text in [
        "A",
        "S-4: stalled in loading, from 0 s",
        "A: S-4",
        "B",
        "S-3: latches off in stage 3, from 2.0 s",
        "B: S-3",
    ] {
        assert!(said.contains(&text), "{text}: {said:?}");
    }
}

#[test]
fn of_tries_the_one_that_is_marked_is_told_and_its_mark_is_no_line_of_the_run() {
    let mut odd = run("S-3", Class::Cycling);
    odd.1 = Finding { log: odd.1.log.clone(), ..super::super::fixtures::cycling(6) };
    let runs = [run("S-1", Class::FullBoot), run("S-2", Class::FullBoot), odd];
    let scene = draw(&subjects(&runs), &Options::default()).unwrap();
    let told = scene.labels().filter(|label| label.text.starts_with("try 1 of 5: ")).count();
    assert_eq!(told, 2, "in the note and in the table");
    let paper = Options::default().theme.palette().paper;
    let is_cut = |shape: &&Shape| {
        matches!(shape, Shape::Dashed { upright: true, color, area, .. }
            if *color == paper && area.height() > 5 * area.width())
    };
    assert!(scene.shapes.iter().filter(is_cut).count() >= 2, "in the amps and in the volts");
}

#[test]
fn what_the_common_zero_is_for_a_run_that_does_not_wake_is_said_in_a_sentence() {
    let mut never = run("S-2", Class::NoDraw);
    never.1.phases = vec![phase("off", 0.0, 2.0), phase("no draw", 2.0, 60.0)];
    let runs = [run("S-1", Class::FullBoot), never, run("S-3", Class::FullBoot)];
    let subjects_of = subjects(&runs);
    let said = zero_in_words(&subjects_of, |index| name(&subjects_of[index]));
    assert!(said.starts_with("the board wakes; S-2: "), "{said}");
    let woken = [run("S-1", Class::FullBoot), run("S-3", Class::FullBoot)];
    assert_eq!(zero_in_words(&subjects(&woken), |_| panic!("both wake")), "the board wakes");
}

#[test]
fn a_run_that_boots_and_stays_too_long_in_a_stage_says_what_its_moment_is() {
    let mut late = run("S-2", Class::FullBoot);
    late.1.departures = finding(Vec::new()).departures;
    late.1.departures.truncate(1);
    let departure = &mut late.1.departures[0];
    (departure.phase, departure.unit) = ("standby".into(), "s".into());
    departure.direction = crate::verdict::Direction::Longer;
    (departure.measured, departure.low, departure.high) = (9.0, 3.6, 7.83);
    let runs = [run("S-1", Class::FullBoot), late, run("S-3", Class::FullBoot)];
    let scene = draw(&subjects(&runs), &Options::default()).unwrap();
    let wanted = "good boards have left standby by here, at most 7.83 s after its start";
    assert!(scene.labels().any(|label| label.text == wanted), "{:?}", scene.labels().collect::<Vec<_>>());
}

#[test]
fn on_a_phone_the_heading_says_which_run_did_what() {
    let runs = [run("S-1", Class::FullBoot), run("S-2", Class::Stalled), run("S-3", Class::NoDraw)];
    let options = Options { size: crate::render::Size::PHONE, ..Options::default() };
    let scene = draw(&subjects(&runs), &options).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    for text in ["A: stalled in loading", "B: no draw"] {
        assert!(said.contains(&text), "{text}: {said:?}");
    }
    // The key has what was read, and not the verdicts again.
    assert!(said.iter().any(|text| text.starts_with("S-2, from ") && text.contains(" A at ")), "{said:?}");
}

#[test]
fn on_a_phone_what_the_zero_is_takes_the_lines_that_it_needs() {
    let runs = [run("S-1", Class::FullBoot), run("board-0123456789-0123456789", Class::NoDraw)];
    let mut runs = runs;
    runs[1].1.phases = vec![phase("off", 0.0, 2.0), phase("no draw", 2.0, 60.0)];
    let options = Options { size: crate::render::Size::PHONE, ..Options::default() };
    let scene = draw(&subjects(&runs), &options).unwrap();
    assert_legible(&scene);
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    let subjects = subjects(&runs);
    let zero = zero_in_words(&subjects, |index| name(&subjects[index]));
    assert!(said.join(" ").contains(&zero), "{said:?}");
}

#[test]
fn a_run_that_goes_on_beyond_the_picture_is_said_to() {
    let (trace, finding) = run("S-1", Class::FullBoot);
    let (long, mut last) =
        (crate::render::fixtures::trace(2000, 200.0, |_| 0.5), run("S-2", Class::Stalled).1);
    last.phases[1].end_s = crate::units::Seconds::constant(200.0);
    let runs = [(&trace, &finding), (&trace, &finding), (&long, &last)].map(|(trace, finding)| Subject {
        trace,
        profile: None,
        finding,
    });
    let scene = draw(&runs, &Options::default()).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    assert!(said.iter().any(|text| text.starts_with("odd: S-2, goes on to ")), "{said:?}");
    assert!(said.contains(&"goes on"), "{said:?}");
    let all = Options { to: crate::units::Seconds::new(195.0).ok(), ..Options::default() };
    let scene = draw(&runs, &all).unwrap();
    assert!(!scene.labels().any(|label| label.text.contains("goes on to 1") || label.text == "goes on"));
}

#[test]
fn an_odd_run_alone_has_its_own_stages_and_its_limit() {
    let mut starved = run("S-2", Class::FeedLimited);
    starved.1.phases =
        vec![phase("standby", 0.0, 6.0), phase("rails", 6.0, 8.0), phase("standby", 11.0, 60.0)];
    starved.1.attempts = crate::render::fixtures::cycling(4).attempts;
    let runs = [run("S-1", Class::FullBoot), starved, run("S-3", Class::FullBoot)];
    let scene = draw(&subjects(&runs), &Options::default()).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    for text in ["good", "boards:", "odd:", "3 tries, one every 3.00 s", "current limit of S-2, 3.00 A"] {
        assert!(said.contains(&text), "{text}: {said:?}");
    }
    // Good runs that were fed with another limit would else be taken to have had this one; a gap is told in words.
    let mut other = runs;
    (other[0].1.log.limit_a, other[2].1.log.limit_a) = (Amps::new(1.5).ok(), Amps::new(1.5).ok());
    other[1].1.log.gaps = vec![Gap { start_s: Seconds::constant(20.0), end_s: Seconds::constant(25.0) }];
    let scene = draw(&subjects(&other), &Options::default()).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    for text in
        ["current limit of S-2, 3.00 A (good runs 1.50 A)", "no readings of the odd run", "2 good runs"]
    {
        assert!(said.contains(&text), "{text}: {said:?}");
    }
    // Among several there is no room for the stages of each: they have letters.
    let runs = [run("S-1", Class::FullBoot), run("S-2", Class::Stalled), run("S-3", Class::NoDraw)];
    let scene = draw(&subjects(&runs), &Options::default()).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    assert!(!said.contains(&"odd:") && said.iter().filter(|label| **label == "B").count() >= 2, "{said:?}");
    // In the key, in the note, and at the end of its line.
    assert_eq!(said.iter().filter(|label| **label == "B").count(), 3, "{said:?}");
}

#[test]
fn a_run_that_nobody_asked_to_wake_says_from_when_it_is_so_and_keeps_off_the_marks_of_others() {
    let mut unasked = run("S-2", Class::StandbyOnly);
    unasked.1.verdict.asked = Some(false);
    unasked.1.departures.clear();
    // The press in its log comes before the feed.
    unasked.1.phases = vec![phase("off", 0.0, 10.0), phase("standby", 10.0, 60.0)];
    let runs = [run("S-1", Class::FullBoot), unasked, run("S-3", Class::NoDraw)];
    let scene = draw(&subjects(&runs), &Options::default()).unwrap();
    let of_it = scene.labels().find(|label| label.text.starts_with("S-2: ")).unwrap();
    assert!(of_it.text.contains(", from "), "{}", of_it.text);
    let dot = |shape: &Shape| match shape {
        Shape::Polygon { points, .. } if points.len() == 4 => Some(points[0].0),
        _ => None,
    };
    let mut dots: Vec<i32> = scene.shapes.iter().filter_map(dot).collect();
    dots.sort_unstable();
    assert!(dots[dots.len() - 1] - dots[0] > 100, "{dots:?}");
}

#[test]
fn runs_far_longer_than_most_are_shown_as_long_as_they_change() {
    let (trace, finding) = run("S-1", Class::FullBoot);
    let long = crate::render::fixtures::trace(2000, 200.0, |_| 0.5);
    let mut fallen = finding.clone();
    fallen.phases[1].end_s = crate::units::Seconds::constant(200.0);
    let shown =
        |last: &Finding| {
            let runs = [(&trace, &finding), (&trace, &finding), (&long, last)]
                .map(|(trace, finding)| Subject { trace, profile: None, finding });
            align::window(&runs, &align::align(&runs), &Options::default()).unwrap().1
        };
    // The others last 51 s from their wake: 1.4 times that, or as much longer as something happens.
    assert!((shown(&fallen) - 51.0 * 1.4).abs() < 0.2, "{}", shown(&fallen));
    let given_up = crate::render::fixtures::cycling(2).attempts[0].clone();
    fallen.attempts =
        vec![crate::verdict::Attempt { end_s: crate::units::Seconds::constant(109.0), ..given_up }];
    assert!((shown(&fallen) - (100.0 + 51.0 * 0.4)).abs() < 0.2, "{}", shown(&fallen));
}

#[test]
fn those_that_are_named_differ_as_far_as_they_can() {
    use Class::{Cycling, FullBoot, NoDraw, Stalled};
    let classes = [Stalled, Stalled, Stalled, FullBoot, Cycling, Stalled, NoDraw];
    let runs: Vec<_> = (1..).zip(classes).map(|(n, class)| run(&format!("S-{n}"), class)).collect();
    let subjects = subjects(&runs);
    let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 60.0 };
    let readings: Vec<Readings> = subjects.iter().map(|run| Readings::new(run, time)).collect();
    let ranks = ranks(&subjects, &odd_ones(&subjects), &readings);
    let named = |index: usize| Rank::Named(index);
    assert_eq!(ranks, [named(0), named(1), Rank::Odd, Rank::Good, named(2), Rank::Odd, named(3)]);
}

#[test]
fn of_one_verdict_the_run_that_leaves_the_good_ones_furthest_is_named() {
    let at = |serial: &str, class: Class, amps: f64| (trace(600, 60.0, |_| amps), run(serial, class).1);
    let runs = [
        at("S-1", Class::FullBoot, 0.5),
        at("S-2", Class::Stalled, 0.6),
        at("S-3", Class::Stalled, 0.9),
        at("S-4", Class::Cycling, 0.45),
    ];
    let subjects = subjects(&runs);
    let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 60.0 };
    let readings: Vec<Readings> = subjects.iter().map(|run| Readings::new(run, time)).collect();
    let ranks = ranks(&subjects, &odd_ones(&subjects), &readings);
    assert_eq!(ranks, [Rank::Good, Rank::Named(0), Rank::Named(1), Rank::Named(2)]);
}

#[test]
fn dozens_of_odd_runs_are_counted_by_kind_and_only_the_named_are_drawn() {
    use Class::{Cycling, FullBoot, NoDraw, Stalled};
    let classes = [FullBoot, NoDraw, Stalled, Stalled].into_iter().cycle().take(40).chain([Cycling]);
    let runs: Vec<_> = (1..).zip(classes).map(|(n, class)| run(&format!("S-{n}"), class)).collect();
    let scene = draw(&subjects(&runs), &Options::default()).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    let row = ["stalled in loading", "20", "no draw", "10", "cycling in stage 3", "10 good"];
    for text in row.into_iter().chain(["27 more odd, in the table only"]) {
        assert!(said.contains(&text), "{text}: {said:?}");
    }
    let thin = crate::render::Theme::Light.palette().mark;
    let drawn =
        scene.shapes.iter().any(|shape| matches!(shape, Shape::Steps { color, .. } if *color == thin));
    assert!(!drawn, "a line that nobody can follow");
}

#[test]
fn one_that_never_wakes_does_not_tear_the_others_apart() {
    let awake = |serial: &str| run(serial, Class::FullBoot);
    let (trace, mut short) = run("S-4", Class::HardShort);
    short.phases = vec![phase("short", 4.0, 60.0)];
    let runs =
        [awake("S-1"), awake("S-2"), awake("S-3"), (trace_without_marks(), short), (trace, awake("S-5").1)];
    let zeros = align::align(&subjects(&runs));
    // The others wake at 9 s; they are told to be on from the mark of their output.
    assert!(zeros[..3].iter().all(|zero| zero.moment == align::Moment::Wake && (zero.at - 9.0).abs() < 1e-9));
    let on = align::switch_on(&subjects(&runs)[0]);
    assert_eq!(zeros[3].moment, align::Moment::AsOthers);
    assert!((zeros[3].at - (4.0 + 9.0 - on)).abs() < 1e-9, "{:?}", zeros[3]);
}

/// A run without a press and without a word of its output.
fn trace_without_marks() -> Trace {
    use crate::trace::{Header, Mode, Sample, TraceBuilder};
    use crate::units::{Amps, Seconds, Volts};
    let mut builder = TraceBuilder::new(Header::default());
    for tenth in 0..600 {
        let time = Seconds::constant(f64::from(tenth) / 10.0);
        let (volts, amps) = (Volts::constant(0.4), Amps::constant(3.0));
        builder.sample(Sample { time, volts, amps, mode: Mode::Unknown, span: None }).unwrap();
    }
    builder.finish()
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
