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
