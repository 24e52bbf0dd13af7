//! The zero that both runs have in common.

use super::super::common::readings_of;
use super::*;
use crate::trace::{EventKind, Header, Mode, Sample, TraceBuilder};
use crate::units::Volts;

#[test]
fn the_runs_are_aligned_where_they_wake() {
    let (before, after, profile) = (stalled(), booted(), profile());
    let of = |before, after| align::before_and_after(&subjects(before, after, Some(&profile)), NAMES);
    let (zeros, said) = of(&before, &after);
    assert_eq!(zeros, [9.0, 5.0].map(|at| Zero { moment: align::Moment::Wake, at }));
    assert_eq!(said, "the board wakes");
    // A board that never wakes is set by the press that should have woken it: the fixture's is at 60 s / 7, where the other
    // has long woken by itself, and so both by their switch-on, which is at the same time.
    let asleep = run(0.0, &[("off", 2.0, 0.0), ("standby", 60.0, 0.034)], Class::StandbyOnly);
    let (zeros, said) = of(&asleep, &after);
    assert_eq!(zeros.map(|zero| zero.moment), [align::Moment::AsOthers, align::Moment::Wake]);
    assert!(zeros.iter().all(|zero| (zero.at - 5.0).abs() < 0.1), "{zeros:?}");
    assert_eq!(said, "after wakes; before does not, and is set beside it by its switch-on");
    let (late, said) = of(&asleep, &before);
    assert_eq!(said, "after wakes; before does not, and is set beside it by its press");
    assert!((late[0].at - late[1].at).abs() < 1e-9, "both are pressed at one time: {late:?}");
    let (zeros, said) = of(&asleep, &asleep);
    assert_eq!((zeros[0].moment, said.as_str()), (align::Moment::Press, "the button is pressed"));
}

#[test]
fn what_the_zero_of_both_runs_is_stands_in_the_figure_once() {
    let (before, after, profile) = (stalled(), booted(), profile());
    let asleep = run(0.0, &[("off", 2.0, 0.0), ("standby", 60.0, 0.034)], Class::StandbyOnly);
    for size in sizes() {
        for before in [&before, &asleep] {
            let options = Options { size, ..Options::default() };
            let scene = draw(subjects(before, &after, Some(&profile)), &options).unwrap();
            let said = scene.labels().filter(|label| {
                ["the board wakes", "after wakes"].iter().any(|words| label.text.contains(words))
            });
            let said = said.count();
            assert_eq!(said, 1, "{size}");
        }
    }
}

#[test]
fn a_stretch_counts_from_the_wake() {
    let (before, after, profile) = (stalled(), booted(), profile());
    let runs = subjects(&before, &after, Some(&profile));
    let zeros = align::align(&runs);
    let options =
        |from, to| Options { from: Seconds::new(from).ok(), to: Seconds::new(to).ok(), ..Options::default() };
    assert_eq!(align::window(&runs, &zeros, &options(0.0, 12.0)).unwrap(), (0.0, 12.0));
    assert!(align::window(&runs, &zeros, &options(70.0, 80.0)).is_err());
    let zoom = Options { zoom: Some("loading".into()), ..Options::default() };
    let (from, to) = align::window(&runs, &zeros, &zoom).unwrap();
    // From 9.6 s to 18 s of a log that wakes at 5 s, and 15 % on either side.
    assert!((from - (4.6 - 1.26)).abs() < 1e-9 && (to - (13.0 + 1.26)).abs() < 1e-9, "{from} {to}");
    let misnamed = Options { zoom: Some("load".into()), ..Options::default() };
    assert!(matches!(align::window(&runs, &zeros, &misnamed), Err(RenderError::NoSuchPhase { .. })));
}

#[test]
fn a_board_that_starts_by_itself_wakes_after_its_standby() {
    // Its standby lasts a second and waits for nobody.
    let text = include_str!("../../../../profiles/kiln-24.toml");
    let profile = Profile::from_bytes(std::path::Path::new("kiln-24.toml"), text.as_bytes()).unwrap();
    let finding =
        finding(vec![phase("off", 0.0, 2.0), phase("standby", 2.0, 3.0), phase("rails", 3.0, 60.0)]);
    let trace = trace(600, 60.0, |_| 0.1);
    let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
    let zeros = align::align(&[subject, subject]);
    assert!(zeros.iter().all(|zero| zero.moment == align::Moment::Wake), "{zeros:?}");
    assert!(zeros.iter().all(|zero| (zero.at - 3.0).abs() < 1e-9), "{zeros:?}");
}

#[test]
fn a_short_has_no_wake_whatever_its_first_readings_are_called() {
    let (after, profile) = (booted(), profile());
    let shorted =
        run(0.0, &[("off", 2.0, 0.0), ("standby", 2.4, 0.1), ("heavy load", 60.0, 0.4)], Class::PartialShort);
    let (_, said) = align::before_and_after(&subjects(&shorted, &after, Some(&profile)), NAMES);
    assert_eq!(said, "after wakes; before does not, and is set beside it by its switch-on");
    // Among many it is said of the one that does not wake, and not that it does as the others.
    assert_eq!(align::Moment::AsOthers.of_one(), "no wake, placed by its switch-on");
}

/// A board that draws at its rest only, and is pressed in vain when the fixture's is: at 60 s / 7.
fn pressed_in_vain() -> (Trace, Finding) {
    run(0.0, &[("off", 2.0, 0.0), ("standby", 60.0, 0.034)], Class::StandbyOnly)
}

#[test]
fn a_press_by_which_one_is_set_beside_the_other_stands_on_the_axis() {
    let (asleep, profile) = (pressed_in_vain(), profile());
    let levels =
        [("off", 2.0, 0.0), ("standby", 20.0, 0.034), ("rails", 20.6, 0.19), ("firmware", 60.0, 0.66)];
    let after = run(0.0, &levels, Class::Stalled);
    let shorted = run(0.0, &[("off", 2.0, 0.0), ("heavy load", 60.0, 0.4)], Class::PartialShort);
    let said = |before: &(Trace, Finding), after: &(Trace, Finding), words: &str| {
        let scene = draw(subjects(before, after, Some(&profile)), &Options::default()).unwrap();
        assert_legible(&scene);
        scene.labels().any(|label| label.text == words)
    };
    // Where it is what is wrong, the mark of that has the words.
    let words = ["before: at the press", "both pressed"];
    assert_eq!(words.map(|words| said(&asleep, &after, words)), [true, false]);
    assert_eq!(words.map(|words| said(&shorted, &after, words)), [false, true]);
    // The other woke before it was pressed.
    assert_eq!(words.map(|words| said(&asleep, &booted(), words)), [false; 2]);
}

#[test]
fn what_happens_at_the_switch_on_or_the_press_does_not_hide_the_zero() {
    // Switched on at 60 s / 7, and awake at 9 s.
    let (after, profile) = (stalled(), profile());
    let shorted = run(0.0, &[("off", 8.6, 0.0), ("short", 60.0, 3.0)], Class::HardShort);
    for size in sizes() {
        let scene = draw(subjects(&shorted, &after, Some(&profile)), &Options { size, ..Options::default() });
        let scene = scene.unwrap();
        let zeros = scene.labels().filter(|label| label.text == "0 s").count();
        assert_eq!(zeros, 1, "{size}");
    }
}

#[test]
fn a_run_without_a_wake_is_set_among_many_as_beside_one() {
    let (asleep, after, profile) = (pressed_in_vain(), stalled(), profile());
    let many: Vec<Subject> = [&after, &after, &after, &asleep]
        .map(|(trace, finding)| Subject { trace, profile: Some(&profile), finding })
        .into();
    let among = align::align(&many);
    let (beside, _) = align::before_and_after(&subjects(&asleep, &after, Some(&profile)), NAMES);
    assert_eq!(among[3], beside[0]);
    assert_eq!(among[3].moment.of_one(), "no wake, placed by its press");
    assert!((among[3].at - 9.0).abs() < 1e-9, "both are pressed at one time: {among:?}");
    // Where none of the others was pressed before it woke, by the switch-on.
    let woken = booted();
    let many = [&woken, &woken, &woken, &asleep];
    let many = many.map(|(trace, finding)| Subject { trace, profile: Some(&profile), finding });
    assert_eq!(align::align(&many)[3].moment, align::Moment::AsOthers);
}

/// What the figure says of these moments in all, and on how many columns lines run through both panels.
fn told_and_lines(runs: [&(Trace, Finding); 2], size: Size) -> (Vec<String>, usize) {
    let profile = profile();
    let scene =
        draw(subjects(runs[0], runs[1], Some(&profile)), &Options { size, ..Options::default() }).unwrap();
    let mark = Options::default().theme.palette().mark;
    let column = |shape: &Shape| match shape {
        Shape::Dashed { upright: true, color, area, .. } if *color == mark => Some(area.left),
        _ => None,
    };
    let mut columns: Vec<i32> = scene.shapes.iter().filter_map(column).collect();
    columns.sort_unstable();
    columns.dedup();
    (scene.labels().map(|label| label.text.clone()).collect(), columns.len())
}

#[test]
fn every_line_of_both_runs_has_its_word_on_the_axis() {
    // Pressed at 60 s / 7, and awake so much later.
    let woken = |late: f64| {
        let wake = 60.0 / 7.0 + late;
        let levels = [
            ("off", 2.0, 0.0),
            ("standby", wake, 0.034),
            ("rails", wake + 0.6, 0.19),
            ("firmware", 60.0, 0.66),
        ];
        run(0.0, &levels, Class::Stalled)
    };
    let shorted = run(0.0, &[("off", 2.0, 0.0), ("heavy load", 60.0, 0.4)], Class::PartialShort);
    let said = |late: f64, size: Size| {
        let (said, lines) = told_and_lines([&shorted, &woken(late)], size);
        let words = ["both pressed", "pressed"].map(|words| said.iter().any(|label| label == words));
        assert!(said.iter().any(|label| label == "0 s"), "{said:?}");
        assert_eq!(lines, 1 + usize::from(words.contains(&true)), "{late} {size}: {said:?}");
        // Of a press of which nothing is to be seen nothing is said.
        let by_press = said.iter().any(|label| label.contains("its press"));
        assert!(!by_press || words.contains(&true), "{late} {size}: {said:?}");
        words
    };
    for size in sizes() {
        for late in [0.1, 0.6, 2.0, 12.0] {
            said(late, size);
        }
    }
    assert_eq!(said(12.0, Size::WIDE), [true, false]);
    assert!(!said(0.1, Size::PHONE).contains(&true), "so near to the zero there is no room");
    let says = |late: f64| {
        let (said, _) = told_and_lines([&shorted, &woken(late)], Size::WIDE);
        said.into_iter().find(|label| label.contains("after wakes")).unwrap()
    };
    assert_eq!(says(12.0), "0 s: after wakes; before does not, and is set beside it by its press");
    assert_eq!(says(0.1), "0 s: after wakes; before does not");
}

#[test]
fn what_is_said_by_the_switch_on_takes_fewer_words_beside_the_zero() {
    // Switched on and, so many seconds later, awake.
    let woken = |late: f64| {
        let (wake, rails) = (2.0 + late, 2.6 + late);
        let levels =
            [("off", 2.0, 0.0), ("standby", wake, 0.034), ("rails", rails, 0.19), ("firmware", 60.0, 0.66)];
        let mut after = run(0.0, &levels, Class::Stalled);
        after.0 = pressed_at(&[]);
        after
    };
    let mut nothing = run(0.0, &[("off", 2.0, 0.0), ("no draw", 60.0, 0.0)], Class::NoDraw);
    nothing.0 = pressed_at(&[]);
    // The nearer the zero, the fewer.
    let words = ["switch-on", "before: switch-on", "before: at switch-on"];
    let at = |late: u32| {
        let (said, _) = told_and_lines([&nothing, &woken(1.5 + 0.1 * f64::from(late))], Size::WIDE);
        assert!(said.iter().any(|label| label == "0 s"), "{said:?}");
        words.iter().position(|words| said.iter().any(|label| label == words)).unwrap()
    };
    let found: Vec<usize> = (0..30).map(at).collect();
    assert!(found.is_sorted() && (0..words.len()).all(|index| found.contains(&index)), "{found:?}");
    // Set by their switch-on both are fed there, and one word is true of either.
    let (said, _) = told_and_lines([&nothing, &woken(1.5)], Size::new(480, 360).unwrap());
    for words in ["switch-on", "0 s"] {
        assert!(said.iter().any(|label| label == words), "{words}: {said:?}");
    }
}

/// A minute of readings with presses of the button at these moments.
fn pressed_at(presses: &[f64]) -> Trace {
    let mut builder = TraceBuilder::new(Header::default());
    for index in 0..600_u32 {
        let at = f64::from(index) / 10.0;
        for press in presses.iter().filter(|press| (at - **press).abs() < 0.01) {
            builder.event(Seconds::constant(*press), EventKind::Mark("power button".into())).unwrap();
        }
        let (time, volts, amps) = (Seconds::constant(at), Volts::constant(12.8), Amps::constant(0.5));
        builder.sample(Sample { time, volts, amps, mode: Mode::Unknown, span: None }).unwrap();
    }
    builder.finish()
}

#[test]
fn of_several_presses_that_which_woke_the_board_and_the_last_in_vain_are_set_on_each_other() {
    let profile = profile();
    let (mut asleep, mut woken) = (pressed_in_vain(), stalled());
    asleep.0 = pressed_at(&[4.0, 10.0]);
    // Awake at 9 s; a press after that woke nothing.
    woken.0 = pressed_at(&[6.0, 8.5, 30.0]);
    let (zeros, _) = align::before_and_after(&subjects(&asleep, &woken, Some(&profile)), NAMES);
    assert_eq!(zeros.map(|zero| zero.moment), [align::Moment::AsOthersPressed, align::Moment::Wake]);
    assert!((zeros[0].at - 10.5).abs() < 1e-9, "{zeros:?}");
    let of = |run: &(Trace, Finding)| {
        align::press(&Subject { trace: &run.0, profile: Some(&profile), finding: &run.1 })
    };
    assert_eq!([of(&asleep), of(&woken)], [Some(10.0), Some(8.5)]);
}

#[test]
fn of_several_presses_that_which_is_drawn_is_said_to_be_the_last() {
    let levels =
        [("off", 2.0, 0.0), ("standby", 20.0, 0.034), ("rails", 20.6, 0.19), ("firmware", 60.0, 0.66)];
    let (mut asleep, after) = (pressed_in_vain(), run(0.0, &levels, Class::Stalled));
    let mut shorted = run(0.0, &[("off", 2.0, 0.0), ("heavy load", 60.0, 0.4)], Class::PartialShort);
    let says = |before: &(Trace, Finding), words: &str| {
        told_and_lines([before, &after], Size::WIDE).0.iter().any(|label| label == words)
    };
    assert!(says(&asleep, "before: at the press") && says(&shorted, "both pressed"));
    (asleep.0, shorted.0) = (pressed_at(&[5.0, 8.5]), pressed_at(&[5.0, 8.5]));
    assert!(says(&asleep, "before: at the last press") && says(&shorted, "last press of both"));
}

#[test]
fn beside_one_that_wakes_good_boards_have_left_the_rest_where_it_does_and_not_at_the_press() {
    let levels =
        [("off", 2.0, 0.0), ("standby", 20.0, 0.034), ("rails", 20.6, 0.19), ("firmware", 60.0, 0.66)];
    let (asleep, after, profile) = (pressed_in_vain(), run(0.0, &levels, Class::Stalled), profile());
    let runs = subjects(&asleep, &after, Some(&profile));
    let (zeros, _) = align::before_and_after(&runs, NAMES);
    let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 60.0 };
    let left = |readings: &Readings| envelope::expected(&runs[0], readings)[0].usual_to;
    let alone = Readings::new(&runs[0], time);
    assert!((left(&alone) - 60.0 / 7.0).abs() < 0.1, "{}", left(&alone));
    let beside = readings_of(&runs[0], zeros[0], time);
    assert!((left(&beside) - zeros[0].at).abs() < 1e-9 && zeros[0].at > 15.0, "{} {zeros:?}", left(&beside));
    // One that wakes leaves its rest when it does.
    assert_eq!(readings_of(&runs[1], zeros[1], time).beside_leaves, None);
}

#[test]
fn a_moment_after_the_wake_is_where_the_axis_has_it_and_the_end_of_a_stage_as_late_as_the_stages_are_long() {
    let (woken, profile) = (stalled(), profile());
    let run = Subject { trace: &woken.0, profile: Some(&profile), finding: &woken.1 };
    let mut zero = align::align(&[run, run])[0];
    zero.at = 1.66;
    // 1.7 s and 5.0 s as these are said, which are 3.3 s apart: on the axis the mark stands at 3.38 s.
    assert_eq!(moments::in_words(&run, zero, 5.04), "3.4 s");
    assert_eq!(zero.until(&run, 1.0), "-0.7 s");
    // A stage that ends then is 3.3 s long in text and table.
    let mut ends = woken.1.clone();
    (ends.phases[2].end_s, ends.phases[3].start_s) = (Seconds::constant(5.04), Seconds::constant(5.04));
    let run = Subject { finding: &ends, ..run };
    assert_eq!(moments::in_words(&run, zero, 5.04), "3.3 s");
}
