//! A run that the supply starves.

use super::*;

/// Starved in its tries, in the first of which the volts are seen to dip.
fn starved() -> (Trace, Finding) {
    let mut starved = run("S-2", Class::FeedLimited);
    let of_tries = fixtures::cycling(4);
    (starved.1.attempts, starved.1.phases) = (of_tries.attempts, of_tries.phases);
    starved.1.verdict.reached = Some("firmware".into());
    starved.1.log.limit_a = crate::units::Amps::new(1.2).ok();
    starved.0 = fixtures::trace_at(
        600,
        59.9,
        |index| if index >= 60 && index % 30 < 20 { 0.7 } else { 0.03 },
        |index| if index == 79 { 10.5 } else { 12.8 },
    );
    starved.1.attempts[0].lowest_v = crate::units::Volts::constant(10.5);
    starved
}

#[test]
fn of_a_starved_run_the_note_says_once_that_it_is_and_on_a_low_figure_in_few_lines() {
    let runs = [run("S-1", Class::FullBoot), run("S-3", Class::FullBoot), starved()];
    let scene = draw(&subjects(&runs), &Options::default()).unwrap();
    let limit = Options::default().theme.palette().limit;
    let strokes = |shape: &&Shape| matches!(shape, Shape::Line { color, .. } if *color == limit);
    assert_eq!(
        scene.shapes.iter().filter(strokes).count(),
        2 * 2,
        "the one dip has its sign, and the legend"
    );
    let said = |size: Size| {
        let scene = draw(&subjects(&runs), &Options { size, ..Options::default() }).unwrap();
        let of = |text: &str| scene.labels().filter(|label| label.text.starts_with(text)).count();
        (of("volts dip to "), of("the feed gives way"), of("limit 1.20 A likely met"))
    };
    let (dips, gives_way, limit) = said(Size::WIDE);
    // The table has the head of the note still.
    assert!(dips >= 1 && gives_way <= 1 && limit == 1, "{dips} {gives_way} {limit}");
    // A trace that stays below the limit would deny the verdict: why it does is said there too, without the numbers.
    let low = Options { size: Size::new(640, 480).unwrap(), ..Options::default() };
    let scene = draw(&subjects(&runs), &low).unwrap();
    assert!(scene.labels().any(|label| label.text == "limit 1.20 A likely met, too briefly for the meter"));
}

#[test]
fn what_is_drawn_of_a_starved_run_has_its_word_in_the_legend() {
    let said = |odd: (Trace, Finding), size: Size| {
        let runs = [run("S-1", Class::FullBoot), run("S-3", Class::FullBoot), odd];
        let scene = draw(&subjects(&runs), &Options { size, ..Options::default() }).unwrap();
        let said = |words: &[&str]| scene.labels().any(|label| words.contains(&label.text.as_str()));
        [said(&["volts dip"]), said(&["supply in its current limit", "in current limit"])]
    };
    // It reads the limit of its log, with the volts below what was set, for two thirds of a second in each of its tries.
    let mut limited = starved();
    limited.0 = fixtures::trace_at(
        600,
        59.9,
        |index| if index >= 60 && index % 30 < 20 { 3.0 } else { 0.03 },
        |index| if index >= 60 && index % 30 < 20 { 10.5 } else { 12.8 },
    );
    for size in [Size::WIDE, Size::A4, Size::PHONE, Size::new(480, 360).unwrap()] {
        assert_eq!(said(starved(), size), [true, false], "{size}");
        assert!(said(limited.clone(), size)[1], "{size}");
        assert_eq!(said(run("S-2", Class::Stalled), size), [false; 2], "{size}");
    }
}

#[test]
fn what_finds_no_room_for_its_name_is_in_the_legend_of_a_small_figure_too() {
    let runs = [run("S-1", Class::FullBoot), run("S-3", Class::FullBoot), starved()];
    for size in [Size::new(480, 360).unwrap(), Size::new(640, 480).unwrap(), Size::WIDE] {
        let scene = draw(&subjects(&runs), &Options { size, ..Options::default() }).unwrap();
        assert_legible(&scene);
        let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
        assert!(said.iter().any(|label| label.contains("next try")), "{size}: {said:?}");
        assert!(said.iter().any(|label| label.starts_with("rest ") || *label == "rest"), "{size}: {said:?}");
    }
}
