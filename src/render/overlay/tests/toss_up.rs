//! An odd run whose verdict is a toss-up.

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
