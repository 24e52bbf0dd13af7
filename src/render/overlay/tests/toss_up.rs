//! Odd runs whose verdict is a toss-up, or none.

use super::*;

#[test]
fn a_lone_odd_run_that_is_a_guess_has_no_colour_of_an_alarm() {
    let mut runs = vec![run("S-1", Class::FullBoot), run("S-2", Class::FullBoot), run("S-3", Class::Stalled)];
    let has_alarm = |runs: &[(Trace, Finding)], size: Size| {
        let scene = draw(&subjects(runs), &Options { size, ..Options::default() }).unwrap();
        let alarm = Options::default().theme.palette().alarm;
        scene.labels().any(|label| label.style.color == alarm)
            || scene.shapes.iter().any(|shape| match shape {
                Shape::Fill { color, .. } | Shape::Steps { color, .. } | Shape::Polygon { color, .. } => {
                    *color == alarm
                }
                _ => false,
            })
    };
    for size in [Size::WIDE, Size::A4, Size::new(480, 360).unwrap()] {
        runs[2].1.verdict.confidence = 0.94;
        assert!(has_alarm(&runs, size), "{size}");
        runs[2].1.verdict.confidence = 0.4;
        assert!(!has_alarm(&runs, size), "{size}");
    }
}

#[test]
fn an_odd_run_that_carries_no_verdict_says_why() {
    let mut runs =
        vec![run("S-1", Class::FullBoot), run("S-2", Class::FullBoot), run("S-3", Class::Inconclusive)];
    runs[2].1.verdict.because = vec!["0.6 s of feed were captured".into(), "and more".into()];
    let scene = draw(&subjects(&runs), &Options::default()).unwrap();
    // In its note, and in the table.
    let said = scene.labels().filter(|label| label.text == "0.6 s of feed were captured").count();
    assert_eq!(said, 2);
}

#[test]
fn a_log_too_short_to_be_judged_is_not_called_odd() {
    let mut runs =
        vec![run("S-1", Class::FullBoot), run("S-2", Class::FullBoot), run("S-3", Class::Inconclusive)];
    runs[2].0 = trace(34, 3.4, |_| 0.03);
    runs[2].1.phases = vec![phase("standby", 2.0, 3.4)];
    runs[2].1.verdict.because = vec!["1.4 s of feed were captured".into()];
    let of = subjects(&runs);
    let odd = odd_ones(&of);
    assert_eq!(headline(&of, &odd), "1 of 3 cannot be judged: S-3, only 1.4 s of feed");
    assert!(said::headlines(&of, &odd).all(|said| !said.contains("odd")));
    for size in [Size::WIDE, Size::A4] {
        let scene = draw(&of, &Options { size, ..Options::default() }).unwrap();
        assert_legible(&scene);
        let alarm = Options::default().theme.palette().alarm;
        assert!(scene.labels().all(|label| label.style.color != alarm));
        let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
        for text in ["log ends here", "judged:", "not judged: S-3"] {
            assert!(said.contains(&text), "{size}: {text}: {said:?}");
        }
        assert!(!said.iter().any(|text| text.contains("odd")), "{size}: {said:?}");
    }
}

#[test]
fn where_all_boot_the_headline_says_of_which_that_is_a_guess() {
    let mut runs =
        vec![run("S-1", Class::FullBoot), run("S-2", Class::FullBoot), run("S-3", Class::FullBoot)];
    let of = |runs: &[(Trace, Finding)]| headline(&subjects(runs), &odd_ones(&subjects(runs)));
    runs[2].1.verdict.confidence = 0.4;
    assert_eq!(of(&runs), "All 3 boot fully (S-3 only perhaps)");
    runs[1].1.verdict.confidence = 0.4;
    assert_eq!(of(&runs), "All 3 boot fully (2 only perhaps)");
}

#[test]
fn what_draws_too_much_at_rest_stays_in_the_strip_for_low_current() {
    let mut runs = vec![run("S-1", Class::FullBoot), run("S-2", Class::FullBoot)];
    for (trace_of, finding) in &mut runs {
        *trace_of = trace(600, 60.0, |index| if index < 90 { 0.01 } else { 1.0 });
        finding.phases[0].mean_a = Amps::constant(0.01);
        finding.phases[1].mean_a = Amps::constant(1.0);
    }
    let mut odd = run("S-3", Class::ExcessStandby);
    odd.0 = trace(600, 60.0, |_| 0.066);
    odd.1.phases = vec![phase("standby", 0.0, 60.0)];
    odd.1.phases[0].mean_a = Amps::constant(0.066);
    runs.push(odd);
    for size in [Size::WIDE, Size::A4, Size::new(480, 360).unwrap()] {
        let scene = draw(&subjects(&runs), &Options { size, ..Options::default() }).unwrap();
        let milliamps =
            scene.labels().filter_map(|label| label.text.strip_suffix(" mA")?.parse::<f64>().ok());
        let top = milliamps.fold(0.0, f64::max);
        assert!((66.0..=150.0).contains(&top), "{size}: {top}");
    }
}

#[test]
fn a_good_run_that_only_probably_is_one_is_counted_as_such() {
    let mut runs: Vec<_> =
        ["S-1", "S-2", "S-3"].map(|serial| run(serial, Class::FullBoot)).into_iter().collect();
    runs.push(run("S-4", Class::Stalled));
    let says = |runs: &[(Trace, Finding)], words: &str| {
        let scene = draw(&subjects(runs), &Options::default()).unwrap();
        scene.labels().any(|label| label.text == words)
    };
    assert!(says(&runs, "3 good runs"));
    let stalled = crate::verdict::RunnerUp { class: Class::Stalled, confidence: 0.4 };
    (runs[2].1.verdict.confidence, runs[2].1.verdict.runner_up) = (0.57, Some(stalled));
    assert!(says(&runs, "3 good runs (1 only probably)"));
    runs[1].1.verdict.confidence = 0.4;
    assert!(says(&runs, "3 good runs (2 only perhaps or probably)"));
}

#[test]
fn whose_a_ribbon_is_keeps_off_the_sign_of_the_heading() {
    // All stages have room in the ribbon, so that it stands right below the heading.
    let wide = |serial: &str, class: Class| {
        let mut run = run(serial, class);
        run.1.phases =
            vec![phase("off", 0.0, 20.0), phase("rails", 20.0, 40.0), phase("loading", 40.0, 60.0)];
        run
    };
    let runs = [wide("S-1", Class::FullBoot), wide("S-2", Class::FullBoot), wide("S-3", Class::Stalled)];
    for size in super::super::super::fixtures::sizes() {
        let scene = draw(&subjects(&runs), &Options { size, ..Options::default() }).unwrap();
        let bounds = |text: &str| scene.labels().find(|label| label.text == text).unwrap().bounds();
        let (sign, good) = (bounds("✗"), bounds("good"));
        let height = good.height();
        assert!(good.top - sign.bottom > height / 2, "{size}: {sign:?} {good:?}");
    }
}

#[test]
fn what_a_board_that_never_wakes_draws_at_its_rest_is_magnified_on_every_size() {
    let mut runs: Vec<_> =
        ["S-1", "S-2", "S-3"].map(|serial| run(serial, Class::FullBoot)).into_iter().collect();
    for (trace_of_good, finding) in &mut runs[..2] {
        finding.phases[0].mean_a = Amps::constant(0.01);
        *trace_of_good = trace(600, 60.0, |index| if index < 90 { 0.01 } else { 0.8 });
    }
    runs[2].1.verdict.class = Class::StandbyOnly;
    runs[2].1.phases = vec![phase("off", 0.0, 2.0), phase("standby", 2.0, 60.0)];
    runs[2].1.phases[1].mean_a = Amps::constant(0.01);
    runs[2].0 = trace(600, 60.0, |index| if index < 20 { 0.0 } else { 0.01 });
    for size in super::super::super::fixtures::sizes() {
        let scene = draw(&subjects(&runs), &Options { size, ..Options::default() }).unwrap();
        let magnified =
            scene.labels().filter(|label| label.text.starts_with("low current, magnified")).count();
        assert_eq!(magnified, 1, "{size}");
    }
}
