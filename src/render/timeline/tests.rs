//! The timeline as a whole: nothing overlaps, nothing leaves the sheet, and what is drawn is what was read.

use super::super::columns::Span;
use super::super::fixtures::{
    any_options, any_run, assert_legible, cycling, finding, flags, phase, profile, sizes, stages, trace,
};
use super::super::geometry::Rect;
use super::super::options::{Format, Options, Size};
use super::super::scene::Shape;
use super::super::sheet::em;
use super::super::theme::Theme;
use super::*;
use crate::units::{Amps, Seconds, Volts};
use crate::verdict::Class;
use proptest::prelude::*;

mod files;
mod held_to;
mod labels;
mod marks;
mod moment;
mod scales;
mod small;
mod starved;
mod tries;
mod turns;

fn options(size: Size, theme: Theme) -> Options {
    Options { size, theme, ..Options::default() }
}

#[test]
fn labels_neither_overlap_nor_leave_the_sheet() {
    let trace = trace(600, 60.0, |index| f64::from(index % 97) / 60.0);
    for (size, count) in sizes().into_iter().flat_map(|size| [(size, 5), (size, 20), (size, 60)]) {
        let scene = draw(&trace, None, &finding(stages(count)), &options(size, Theme::Light)).unwrap();
        assert!(scene.labels().count() > 10);
        assert_legible(&scene);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]
    #[test]
    fn whatever_a_run_holds_its_labels_keep_apart(
        (trace, finding) in any_run(),
        options in any_options(),
        with_profile in any::<bool>(),
    ) {
        let profile = with_profile.then(profile);
        assert_legible(&draw(&trace, profile.as_ref(), &finding, &options).unwrap());
    }
}

/// A run of that class: standby with a press at 8.6 s, a stage from 9 s on, and standby again.
fn run_of(class: Class) -> (Trace, Finding) {
    let amps = |index: u32| if (90..300).contains(&index) { 0.8 } else { 0.024 };
    let level = |name: &str, start: f64, end: f64, mean: f64| Phase {
        mean_a: Amps::constant(mean),
        max_a: Amps::constant(mean),
        ..phase(name, start, end)
    };
    let phases = [
        level("off", 0.0, 2.0, 0.0),
        level("standby", 2.0, 9.0, 0.024),
        level("boot", 9.0, 30.0, 0.8),
        level("standby", 30.0, 60.0, 0.024),
    ];
    let mut finding = if class == Class::Cycling { cycling(15) } else { finding(phases.to_vec()) };
    finding.departures.clear();
    finding.verdict.class = class;
    finding.verdict.reached = Some("boot".into());
    finding.verdict.stalled_in = (class == Class::Stalled).then(|| "boot".into());
    (trace(600, 60.0, amps), finding)
}

/// The labels in the colour of an alarm, by the size of their letters.
fn alarms(scene: &Scene, em: f64) -> Vec<String> {
    let alarm = Theme::Light.palette().alarm;
    let is_alarm = |label: &&crate::render::scene::Label| {
        label.style.color == alarm && (label.style.em - em).abs() < 0.01
    };
    scene.labels().filter(is_alarm).map(|label| label.text.clone()).collect()
}

#[test]
fn the_turn_of_each_class_is_noted_once_and_at_its_place() {
    let lines = Class::ALL.map(|class| {
        let (trace, finding) = run_of(class);
        let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
        let (heads, places) = (alarms(&scene, em::LARGE), alarms(&scene, em::USUAL));
        format!("{class}: {} | {}", heads.join(", "), places.join(", "))
    });
    insta::assert_snapshot!(lines.join("\n"), @"
    no-draw: fed from here on: hardly anything flows | 30.0 s
    hard-short: hard short from here on | 30.0 s
    partial-short: partial short from here on | 30.0 s
    excess-standby: standby draws too much | 30.0 s
    standby-only: button pressed: no wake | 8.51 s
    latch-off: stays down from here on | 30.0 s
    cycling: gives up here in boot | 14 tries, one every 3.00 s, 8.0 s
    stalled: stuck in boot | 9.0 s
    full-boot:  | 
    dropped-out: falls back here | 30.0 s
    feed-limited:  | 
    inconclusive:  | 
    ");
}

/// A run in which a board cycles, as [`cycling`] has it: 0.7 A until each try ends, and 0.03 A after.
fn run_of_tries(volts: impl Fn(u32) -> f64) -> Trace {
    let header = crate::trace::Header {
        set_volts: crate::units::Volts::new(12.8).ok(),
        limit: Amps::new(0.75).ok(),
        ..crate::trace::Header::default()
    };
    let mut builder = crate::trace::TraceBuilder::new(header);
    for index in 0..520 {
        let time = f64::from(index) / 10.0;
        let within = (time - 6.0).rem_euclid(3.0);
        let amps = if time < 2.0 {
            0.0
        } else if time >= 6.0 && within < 2.0 {
            0.7
        } else {
            0.03
        };
        builder
            .sample(crate::trace::Sample {
                time: Seconds::constant(time),
                volts: crate::units::Volts::constant(volts(index)),
                amps: Amps::constant(amps),
                mode: crate::trace::Mode::Unknown,
                span: None,
            })
            .unwrap();
    }
    builder.finish()
}

#[test]
fn each_turn_says_volts_and_amps_at_its_place() {
    for class in Class::ALL {
        let (trace, finding) = run_of(class);
        let trace = if class == Class::Cycling { run_of_tries(|_| 12.8) } else { trace };
        let subject = Subject { trace: &trace, profile: None, finding: &finding };
        let Some(note) = super::super::parts::turning::turning(&subject) else { continue };
        let said = note.lines[1..].join("; ");
        assert!(said.contains("A at ") && said.contains(" V"), "{class}: {said}");
    }
}

#[test]
fn a_starved_board_is_marked_where_the_volts_first_go_down_with_what_was_read_there() {
    // The third try pulls the volts down furthest; after switch-on they rise from nothing, which is no sag.
    let volts = |index: u32| match index {
        0..20 => 0.0,
        20..22 => 3.0,
        79 => 12.0,
        139 => 10.5,
        169 => 11.9,
        _ => 12.8,
    };
    let (trace, mut finding) = (run_of_tries(volts), cycling(15));
    finding.verdict.class = Class::FeedLimited;
    for (index, lowest) in [(0, 12.0), (2, 10.5), (3, 11.9)] {
        finding.attempts[index].lowest_v = Volts::constant(lowest);
    }
    let starved_at = |limit: f64| {
        let mut finding = finding.clone();
        finding.log.limit_a = Amps::new(limit).ok();
        finding
    };
    let limited_to = |limit: f64| {
        let scene = draw(&trace, None, &starved_at(limit), &Options::default()).unwrap();
        scene.labels().map(|label| label.text.clone()).collect::<Vec<_>>()
    };
    let said = limited_to(0.7);
    for text in [
        "the feed gives way in firmware",
        "0.700 A pull it down to 12.0 V, limit 0.700 A",
        "later down to 10.5 V",
        "7.9 s",
        "lowest 10.5 V",
        "volts dip",
    ] {
        assert!(said.iter().any(|label| label == text), "{text}: {said:?}");
    }
    // Each dip that is seen has its sign, and the legend a sample of it.
    let signs = {
        let scene = draw(&trace, None, &starved_at(0.7), &Options::default()).unwrap();
        let limit = Theme::Light.palette().limit;
        let strokes = |shape: &&Shape| matches!(shape, Shape::Line { color, .. } if *color == limit);
        scene.shapes.iter().filter(strokes).count() / 2
    };
    assert_eq!(signs, 3 + 1);
    // 0.7 A is not what a limit of 1.2 A holds: what pulled the volts down was not read; the axis shows the limit.
    let said = limited_to(1.2);
    for text in [
        "the feed gives way in firmware",
        "volts dip to between 10.5 V and 12.0 V, seen in 3 of 14 tries",
        "limit 1.20 A likely met, too briefly for the meter",
        "0.700 A read then, the most of any try",
        "current limit 1.20 A",
        "7.9 s",
    ] {
        assert!(said.iter().any(|label| label == text), "{text}: {said:?}");
    }
}

#[test]
fn a_try_that_is_still_on_stands_outside_the_bracket() {
    let (trace, finding) = (run_of_tries(|_| 12.8), cycling(15));
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    let label = |text: &str| scene.labels().find(|label| label.text == text).unwrap().bounds();
    let alarm = Theme::Light.palette().alarm;
    let bracket = label("14 tries, one every 3.00 s");
    // Its two halves, on the line of its words.
    let on_line = |area: &Rect| area.height() <= 3 && bracket.top < area.top && area.bottom < bracket.bottom;
    let halves = scene.shapes.iter().filter_map(|shape| match shape {
        Shape::Fill { area, color } if *color == alarm && on_line(area) => Some(area.right),
        _ => None,
    });
    let end = halves.max().unwrap();
    assert!(label("14").right < end && end < label("next try").right, "{end}");
}

#[test]
fn the_line_of_a_board_that_gives_up_stands_at_the_end_that_the_finding_has() {
    let (trace, mut finding) = (run_of_tries(|_| 12.8), cycling(15));
    // The end of a try is known to a reading or so.
    for shift in [-0.1, 0.0, 0.1] {
        finding.attempts[0].end_s = Seconds::constant(8.0 + shift);
        let subject = Subject { trace: &trace, profile: None, finding: &finding };
        let note = super::super::parts::turning::turning(&subject).unwrap();
        assert!((note.at - (8.0 + shift)).abs() < 1e-9, "{shift}: {}", note.at);
        assert_eq!(note.lines[1], "0.700 A at 12.8 V, then 30 mA", "{shift}");
    }
}

/// A board at its standby to the end, without the mark of a button.
fn asleep() -> (Trace, Finding) {
    let (_, mut finding) = run_of(Class::StandbyOnly);
    finding.phases.truncate(1);
    finding.phases.push(Phase { mean_a: Amps::constant(0.024), ..phase("standby", 2.0, 60.0) });
    finding.verdict.reached = Some("standby".into());
    let mut builder = crate::trace::TraceBuilder::new(crate::trace::Header::default());
    for index in 0..600 {
        let (time, amps) = (f64::from(index) / 10.0, if index < 20 { 0.0 } else { 0.024 });
        let (volts, mode) = (crate::units::Volts::constant(12.8), crate::trace::Mode::Unknown);
        let (time, amps) = (Seconds::constant(time), Amps::constant(amps));
        builder.sample(crate::trace::Sample { time, volts, amps, mode, span: None }).unwrap();
    }
    (builder.finish(), finding)
}

#[test]
fn a_board_that_should_wake_by_itself_is_marked_when_good_boards_have() {
    let mut profile = profile();
    profile.phases[0].waits_for_person = false;
    let mut usual = profile.phases[1].duration.unwrap();
    (usual.low, usual.typical, usual.high) = (0.3, 0.8, 1.25);
    profile.phases[0].duration = Some(usual);
    let (trace, finding) = asleep();
    let of = |profile| draw(&trace, profile, &finding, &Options::default()).unwrap();
    let said: Vec<String> = of(Some(&profile)).labels().map(|label| label.text.clone()).collect();
    for text in [
        "3.3 s",
        "24 mA at 12.8 V, in standby for 58.0 s",
        "since 2.0 s; good boards leave within 1.25 s, by 3.3 s",
    ] {
        assert!(said.iter().any(|label| label == text), "{text}: {said:?}");
    }
    // With nothing known of good boards the line stands where it was fed.
    let alone = of(None);
    assert_eq!(alarms(&alone, em::LARGE), ["fed from here, no wake"]);
    assert_eq!(alarms(&alone, em::USUAL), ["2.0 s"]);
}

#[test]
fn what_departs_in_an_undecided_run_is_no_alarm() {
    let (trace, mut finding) = run_of(Class::Inconclusive);
    finding.departures = super::super::fixtures::finding(Vec::new()).departures;
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    assert!(scene.labels().any(|label| label.text == "stage 0 draws too much"));
    let alarm = Theme::Light.palette().alarm;
    let red = scene.shapes.iter().filter(|shape| match shape {
        Shape::Fill { color, .. } | Shape::Polygon { color, .. } | Shape::Line { color, .. } => {
            *color == alarm
        }
        _ => false,
    });
    assert_eq!((red.count(), boxes(&scene).len()), (0, 0));
    assert!(alarms(&scene, em::LARGE).is_empty() && alarms(&scene, em::USUAL).is_empty());
}

#[test]
fn a_note_hides_nothing_of_the_trace() {
    for (class, size) in Class::ALL.into_iter().flat_map(|class| [(class, Size::WIDE), (class, Size::PHONE)])
    {
        let (trace, finding) = run_of(class);
        // Peaks all along the panel leave no room below them.
        let peaks = crate::render::fixtures::trace(600, 60.0, |index| if index % 9 == 0 { 1.6 } else { 0.1 });
        for trace in [trace, peaks] {
            let scene = draw(&trace, None, &finding, &options(size, Theme::Light)).unwrap();
            for spot in boxes(&scene) {
                assert_eq!(hidden(&scene, spot), 0, "{class} at {size}");
            }
        }
    }
}

#[test]
fn the_place_of_departure_is_marked_once_whatever_departs() {
    for class in Class::ALL {
        let (trace, mut finding) = run_of(class);
        finding.departures = super::super::fixtures::finding(Vec::new()).departures;
        let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
        // What decides nothing raises no alarm.
        assert_eq!(flags(&scene), usize::from(class != Class::Inconclusive), "{class}");
    }
}

#[test]
fn tries_are_numbered_bands_below_one_bracket() {
    let (trace, finding) = run_of(Class::Cycling);
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    assert!((1..=14).all(|number| said.contains(&number.to_string().as_str())), "{said:?}");
    assert!(
        said.contains(&"next try") && !said.contains(&"15"),
        "one that is not counted has no number: {said:?}"
    );
    assert!(
        !said.iter().any(|text| ["try", "between tries", "rails", "firmware"].contains(text)),
        "{said:?}"
    );
    // Enlarged, the stages have room for their names.
    let close = Options { from: Seconds::new(8.5).ok(), to: Seconds::new(15.5).ok(), ..Options::default() };
    let scene = draw(&trace, None, &finding, &close).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    for text in ["tries 2 to 4 of 14, one every 3.00 s", "rails", "firmware", "between tries"] {
        assert!(said.contains(&text), "{text}: {said:?}");
    }
}

#[test]
fn the_line_of_the_fault_is_not_taken_for_that_of_a_button() {
    let (trace, finding) = run_of(Class::DroppedOut);
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    let palette = Theme::Light.palette();
    let lines = |of: super::super::theme::Color| {
        let lines = scene.shapes.iter().filter_map(move |shape| match shape {
            Shape::Fill { area, color } if *color == of => Some((*area, 0)),
            Shape::Dashed { area, color, dash, .. } if *color == of => Some((*area, *dash)),
            _ => None,
        });
        lines.filter(|(area, _)| area.height() > 60).max_by_key(|(area, _)| area.height()).unwrap()
    };
    let ((fault, unbroken), (button, dash)) = (lines(palette.alarm), lines(palette.mark));
    // Unbroken and heavy against dotted and thin: colour is not needed to tell them apart.
    assert!(fault.width() >= 4 && unbroken == 0, "{fault:?}");
    assert!(button.width() == 1 && (1..=4).contains(&dash), "{button:?}");
}

#[test]
fn hatching_is_explained_where_there_is_any() {
    let limited = |class: Class| {
        let (_, finding) = run_of(class);
        let header = crate::trace::Header { limit: Amps::new(2.0).ok(), ..crate::trace::Header::default() };
        let mut builder = crate::trace::TraceBuilder::new(header);
        for index in 0..60 {
            let mode = match class {
                Class::HardShort => crate::trace::Mode::ConstantCurrent,
                _ => crate::trace::Mode::ConstantVoltage,
            };
            let (volts, amps) = (crate::units::Volts::constant(1.0), Amps::constant(2.0));
            let time = Seconds::constant(f64::from(index));
            builder.sample(crate::trace::Sample { time, volts, amps, mode, span: None }).unwrap();
        }
        let scene = draw(&builder.finish(), None, &finding, &Options::default()).unwrap();
        let hatched = scene.shapes.iter().any(|shape| matches!(shape, Shape::Hatch { .. }));
        (hatched, scene.labels().any(|label| label.text == "supply in its current limit"))
    };
    assert_eq!([limited(Class::HardShort), limited(Class::PartialShort)], [(true, true), (false, false)]);
}

#[test]
fn what_is_undecided_says_why_and_what_to_do() {
    let (trace, mut finding) = run_of(Class::Inconclusive);
    finding.verdict.because = vec!["1.5 s of feed were captured".into()];
    finding.next_checks = vec!["capture again, for longer (common practice)".into()];
    let scene = draw(&trace, Some(&profile()), &finding, &Options::default()).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    for text in ["?", "? standby", "1.5 s of feed were captured · to decide: capture again, for longer"] {
        assert!(said.contains(&text), "{text}: {said:?}");
    }
    assert!(!said.iter().any(|text| text.contains("sure") || text.contains('✓')), "{said:?}");
    // The headline says that it is undecided: beside it stands only what it may be.
    assert!(!said.iter().any(|text| text.contains("undecided")), "{said:?}");
    finding.verdict.runner_up = Some(crate::verdict::RunnerUp { class: Class::Cycling, confidence: 0.4 });
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    assert!(scene.labels().any(|label| label.text == "perhaps cycling"));
}

#[test]
fn a_full_boot_that_departs_has_no_tick() {
    let sign = |departs: bool| {
        let mut finding = finding(stages(3));
        finding.verdict.class = Class::FullBoot;
        if !departs {
            finding.departures.clear();
        }
        let scene = draw(&trace(600, 60.0, |_| 0.5), None, &finding, &Options::default()).unwrap();
        scene.labels().next().map(|label| label.text.clone())
    };
    assert_eq!((sign(false).as_deref(), sign(true).as_deref()), (Some("✓"), Some("!")));
}

#[test]
fn twenty_stages_are_all_named() {
    let trace = trace(600, 60.0, |_| 0.5);
    let stages =
        (0..20).map(|i| phase(&format!("stage {i}"), f64::from(i) * 3.0, f64::from(i + 1) * 3.0)).collect();
    let scene = draw(&trace, None, &finding(stages), &Options::default()).unwrap();
    for index in 0..20 {
        assert!(scene.labels().any(|label| label.text == format!("stage {index}")), "stage {index}");
    }
}

/// A sheet that holds nothing but the strip of the amps, of that size.
fn amps_alone(width: i32, height: i32) -> Areas {
    let (amps, none) = (Rect::new(50, 100, 50 + width, 100 + height), Rect::new(50, 0, 50, 0));
    Areas {
        overflow: none,
        ribbon: none,
        legend: none,
        notes: none,
        amps,
        quiet: none,
        events: none,
        volts: none,
        ticks: none,
    }
}

/// Boxes in the colour of a note's ground.
fn boxes(scene: &Scene) -> Vec<Rect> {
    let ground = Theme::Light.palette().alarm_paper;
    let is_box = |shape: &Shape| match shape {
        Shape::Fill { area, color } if *color == ground => Some(*area),
        _ => None,
    };
    scene.shapes.iter().filter_map(is_box).collect()
}

/// How many columns of the first trace a box covers.
fn hidden(scene: &Scene, spot: Rect) -> usize {
    let trace = scene.shapes.iter().find_map(|shape| match shape {
        Shape::Steps { left, spans, .. } => Some((*left, spans)),
        _ => None,
    });
    let (left, spans) = trace.unwrap();
    let covered = |(x, span): (i32, &Option<Span>)| {
        let span = (*span)?;
        let area = Rect::new(x, span.top, x + 1, span.bottom + 1);
        area.overlaps(spot).then_some(())
    };
    (left..).zip(spans).filter_map(covered).count()
}
