//! The one mark of a figure: where it stands, what it looks like, and that it says one word for one thing.

use super::super::super::fixtures::trace_at;
use super::super::super::parts::turning::{self, turning};
use super::super::super::theme::Color;
use super::*;

/// Middles of the markers in that colour: two edges with paper between them.
fn markers(scene: &Scene, of: Color) -> Vec<i32> {
    let paper = Theme::Light.palette().paper;
    let fill = |shape: &Shape| match shape {
        Shape::Fill { area, color } if area.height() > 3 * area.width() => Some((*area, *color)),
        _ => None,
    };
    let fills: Vec<(Rect, Color)> = scene.shapes.iter().filter_map(fill).collect();
    let is_core = |edges: Rect, core: Rect| {
        edges.left < core.left
            && core.right < edges.right
            && (edges.top, edges.bottom) == (core.top, core.bottom)
    };
    let pairs = fills.iter().zip(fills.iter().skip(1));
    let hollow = pairs
        .filter(|((edges, color), (core, inner))| *color == of && *inner == paper && is_core(*edges, *core));
    hollow.map(|((edges, _), _)| edges.center().0).collect()
}

/// The middle of the dot of a note: a shape of four corners in that colour.
fn dot(scene: &Scene, of: Color) -> (i32, i32) {
    let corners = scene.shapes.iter().find_map(|shape| match shape {
        Shape::Polygon { points, color } if *color == of && points.len() == 4 => Some(points.clone()),
        _ => None,
    });
    let corners = corners.unwrap();
    (corners[1].0, corners[0].1)
}

/// An undecided run whose one try ends at 8 s, and whose second is on when the log ends.
fn undecided() -> (Trace, Finding) {
    let mut finding = cycling(2);
    finding.verdict.class = Class::Inconclusive;
    finding.verdict.reached = Some("firmware".into());
    (trace(110, 10.9, |index| if (60..80).contains(&index) || index >= 90 { 0.7 } else { 0.03 }), finding)
}

/// When the second phase of a run first meets `amps`, as its mark has it.
fn met(trace: &Trace, finding: &Finding, amps: f64) -> Option<f64> {
    turning::meets(&Subject { trace, profile: None, finding }, &finding.phases[1], amps)
}

/// The columns of the dot and of the line of its moment.
fn dot_and_line(trace: &Trace, finding: &Finding) -> (i32, i32) {
    let scene = draw(trace, None, finding, &Options::default()).unwrap();
    let alarm = Theme::Light.palette().alarm;
    (dot(&scene, alarm).0, markers(&scene, alarm)[0])
}

#[test]
fn the_one_fall_of_an_undecided_run_is_marked_but_raises_no_alarm() {
    let (trace, finding) = undecided();
    for size in [Size::WIDE, Size::PHONE, Size::A4, Size::new(640, 480).unwrap()] {
        let scene = draw(&trace, None, &finding, &options(size, Theme::Light)).unwrap();
        let palette = Theme::Light.palette();
        let unsure = palette.faint_text;
        assert!(!markers(&scene, unsure).is_empty(), "{size}");
        assert_eq!((flags(&scene), markers(&scene, palette.alarm).len()), (1, 0), "{size}");
        let said = |text: &str| scene.labels().any(|label| label.text == text);
        assert!(said("gives up here in firmware") && said("8.0 s"), "{size}");
    }
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let lines = turning(&subject).unwrap().lines;
    assert_eq!(lines[2..], ["after 2.0 s", "the next try is on when the log ends"]);
}

#[test]
fn a_verdict_that_is_a_toss_up_has_no_colour_and_no_words_of_a_certainty() {
    let palette = Theme::Light.palette();
    let is_alarm =
        |color: Color| color == palette.alarm || color == palette.on_alarm && color != palette.paper;
    let fails = |class: &Class| ![Class::FullBoot, Class::Inconclusive].contains(class);
    for class in Class::ALL.into_iter().filter(fails) {
        let (trace, mut finding) = run_of(class);
        finding.verdict.reached = Some("rails".into());
        let alarms = |finding: &Finding| {
            let scene = draw(&trace, Some(&profile()), finding, &Options::default()).unwrap();
            let labels = scene.labels().filter(|label| is_alarm(label.style.color)).count();
            let shapes = scene.shapes.iter().filter(|shape| match shape {
                Shape::Fill { color, .. } | Shape::Polygon { color, .. } => is_alarm(*color),
                _ => false,
            });
            let said = scene.labels().map(|label| label.text.clone()).collect::<Vec<_>>();
            (labels + shapes.count(), said)
        };
        assert!(alarms(&finding).0 > 0, "{class}");
        finding.verdict.confidence = 0.4;
        let (count, said) = alarms(&finding);
        assert_eq!(count, 0, "{class}");
        let explained = said.iter().any(|text| text.contains("? not certain"));
        assert!(explained && !said.iter().any(|text| text.starts_with('✗')), "{class}: {said:?}");
    }
    let (trace, mut finding) = run_of(Class::Stalled);
    finding.verdict.confidence = 0.4;
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    assert_eq!(turning(&subject).unwrap().lines[0], "perhaps stuck in boot");
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    assert!(scene.labels().any(|label| label.text == "? boot"), "on the ribbon");
}

#[test]
fn a_note_that_is_too_wide_beside_the_line_of_its_moment_takes_more_lines_there() {
    // The board runs high up to 32 s of 60 s and falls back: there is no room left of the line.
    let (_, mut finding) = run_of(Class::DroppedOut);
    (finding.phases[2].end_s, finding.phases[3].start_s) = (Seconds::constant(32.0), Seconds::constant(32.0));
    finding.log.board = Some("lamp board".into());
    finding.verdict.because.truncate(1);
    let trace = trace(600, 60.0, |index| match index {
        90..320 => 0.7 + 0.7 * f64::from(index % 2),
        _ => 0.024,
    });
    for size in [Size::new(640, 480).unwrap(), Size::A4, Size::WIDE] {
        let scene = draw(&trace, None, &finding, &options(size, Theme::Light)).unwrap();
        let (line, boxes) = (markers(&scene, Theme::Light.palette().alarm)[0], boxes(&scene));
        assert_eq!(boxes.len(), 1, "{size}");
        assert!(line < boxes[0].left || line > boxes[0].right, "{size}: {boxes:?} {line}");
        assert_eq!(hidden(&scene, boxes[0]), 0, "{size}");
    }
}

#[test]
fn the_dot_of_a_note_stands_where_the_trace_has_its_level_and_its_line_leads_there() {
    // Switched on at 2 s, read at its level half a second later.
    let (_, mut finding) = run_of(Class::PartialShort);
    finding.phases.truncate(1);
    finding.phases.push(Phase { mean_a: Amps::constant(1.63), ..phase("heavy load", 2.0, 60.0) });
    let trace = trace(601, 60.0, |index| if index < 25 { 0.0 } else { 1.63 });
    for size in [Size::WIDE, Size::PHONE, Size::A4, Size::new(640, 480).unwrap()] {
        let scene = draw(&trace, None, &finding, &options(size, Theme::Light)).unwrap();
        let alarm = Theme::Light.palette().alarm;
        let (dot, lines) = (dot(&scene, alarm), markers(&scene, alarm));
        // The trace is there half a second after the line, which a stroke joins.
        let line = lines[0];
        let joins = scene.shapes.iter().any(|shape| {
            matches!(shape, Shape::Fill { area, color }
                if *color == alarm && area.left <= line && area.right >= dot.0 && area.top <= dot.1
                    && dot.1 <= area.bottom && area.height() < 20)
        });
        assert!(line < dot.0 && joins, "{size}: {dot:?} {lines:?}");
        // A leader along the hollow line would fill it in: from the note down to it only.
        let upright = |shape: &Shape| match shape {
            Shape::Line { from, to, color, .. } if *color == alarm && from.0 == to.0 => (to.1 - from.1).abs(),
            _ => 0,
        };
        assert!(scene.shapes.iter().all(|shape| upright(shape) < scene.height / 40), "{size}");
        // At the level that was read, and not at the foot of the trace.
        let level = scene.shapes.iter().find_map(|shape| match shape {
            Shape::Steps { spans, .. } => spans.iter().flatten().next_back().map(|span| span.top),
            _ => None,
        });
        assert!((level.unwrap() - dot.1).abs() <= 2, "{size}: {level:?} {dot:?}");
    }
}

#[test]
fn the_dot_of_a_board_that_draws_nothing_stands_at_its_switch_on() {
    // Read in steps of 10 mA: nothing, but for one step up and one down long after the switch-on, so that the mean is next to
    // nothing and no reading.
    let (_, mut finding) = run_of(Class::NoDraw);
    finding.log.resolution_a = Amps::new(0.01).ok();
    finding.phases.truncate(1);
    let trace = trace(601, 60.0, |index| if (300..306).contains(&index) { 0.01 } else { 0.0 });
    for mean in [0.0001, -0.0002, 0.0] {
        finding.phases.truncate(1);
        finding.phases.push(Phase { mean_a: Amps::constant(mean), ..phase("no-draw", 2.0, 60.0) });
        assert_eq!(met(&trace, &finding, mean), Some(trace.time()[20]), "{mean}");
        let (dot, line) = dot_and_line(&trace, &finding);
        assert_eq!(dot, line, "{mean}");
    }
}

#[test]
fn the_dot_of_a_level_is_not_on_the_inrush_that_passes_it() {
    let (_, mut finding) = run_of(Class::PartialShort);
    finding.phases.truncate(1);
    finding.phases.push(Phase { mean_a: Amps::constant(0.022), ..phase("standby", 2.0, 60.0) });
    let amps = |index: u32| match index {
        0..20 => 0.0,
        20 | 21 => 0.06,
        22..26 => 0.005,
        _ => 0.022,
    };
    let trace = trace_at(601, 60.0, amps, |_| 12.8);
    assert_eq!(met(&trace, &finding, 0.022), Some(trace.time()[26]));
    // Right of the line, where it stays at that level.
    let (dot, line) = dot_and_line(&trace, &finding);
    assert!(dot > line + 5, "{dot} {line}");
}

#[test]
fn the_dot_of_a_level_is_on_no_inrush_that_decays_through_it_nor_in_the_columns_before() {
    let (_, mut finding) = run_of(Class::PartialShort);
    finding.phases.truncate(1);
    finding.phases.push(Phase { mean_a: Amps::constant(0.022), ..phase("standby", 2.0, 60.0) });
    // It decays through the level, two readings within half of it, and the readings after that are a little below.
    let amps = |index: u32| match index {
        0..20 => 0.0,
        20 => 0.1,
        21 => 0.0222,
        22 => 0.0125,
        23..27 => 0.005,
        _ => 0.0218,
    };
    let trace = trace_at(601, 60.0, amps, |_| 12.8);
    assert_eq!(met(&trace, &finding, 0.022), Some(trace.time()[27]));
    let (dot, line) = dot_and_line(&trace, &finding);
    // Seven tenths of a second, of a minute on some 1300 columns.
    assert!(dot > line + 12, "{dot} {line}");
}

#[test]
fn the_dot_of_a_board_that_draws_nothing_stands_where_nothing_is_drawn() {
    let (_, mut finding) = run_of(Class::NoDraw);
    finding.phases.truncate(1);
    finding.phases.push(Phase { mean_a: Amps::constant(0.0002), ..phase("no draw", 2.0, 60.0) });
    // A supply that settles to its zero within three seconds of feed.
    let trace = trace_at(601, 60.0, |index| if index < 50 { 0.004 } else { 0.0 }, |_| 12.8);
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    let alarm = Theme::Light.palette().alarm;
    let (dot, line) = (dot(&scene, alarm), markers(&scene, alarm)[0]);
    let spans = scene.shapes.iter().find_map(|shape| match shape {
        Shape::Steps { spans, .. } => Some(spans),
        _ => None,
    });
    let last = spans.unwrap().iter().flatten().next_back().unwrap();
    assert!(dot.0 > line + 50, "{dot:?} {line}");
    assert!((last.top - dot.1).abs() <= 8, "{dot:?} {}", last.top);
}

#[test]
fn a_note_leaves_both_edges_of_the_line_of_its_moment_to_be_seen() {
    let alarm = Theme::Light.palette().alarm;
    for (class, size) in
        Class::ALL.into_iter().flat_map(|class| [Size::WIDE, Size::A4].map(|size| (class, size)))
    {
        let (trace, finding) = run_of(class);
        let scene = draw(&trace, None, &finding, &options(size, Theme::Light)).unwrap();
        let away = Sheet::new(&options(size, Theme::Light), LEAST).u(7.0);
        for (note, line) in boxes(&scene).into_iter().zip(markers(&scene, alarm)) {
            let clear = note.right + away <= line || line <= note.left - away;
            assert!(clear, "{class} at {size}: {note:?} {line}");
        }
    }
}

#[test]
fn a_press_is_told_as_the_text_tells_it() {
    use crate::trace::{EventKind, Header, Mode, Sample, TraceBuilder};
    let (_, mut finding) = run_of(Class::StandbyOnly);
    finding.phases.truncate(2);
    finding.phases[1].end_s = Seconds::constant(60.0);
    let mut builder = TraceBuilder::new(Header::default());
    for index in 0..600_u32 {
        if index == 45 {
            builder.event(Seconds::constant(4.45), EventKind::Mark("power button".into())).unwrap();
        }
        let (time, volts) = (Seconds::constant(f64::from(index) / 10.0), Volts::constant(12.8));
        let amps = Amps::constant(if index < 20 { 0.0 } else { 0.024 });
        builder.sample(Sample { time, volts, amps, mode: Mode::Unknown, span: None }).unwrap();
    }
    let scene = draw(&builder.finish(), None, &finding, &Options::default()).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    assert!(said.contains(&"button pressed: no wake") && said.contains(&"4.45 s"), "{said:?}");
}

#[test]
fn of_presses_in_vain_that_which_the_text_speaks_of_is_marked_and_all_are_shown() {
    use crate::trace::{EventKind, Header, Mode, Sample, TraceBuilder};
    let (_, mut finding) = run_of(Class::StandbyOnly);
    finding.phases.truncate(2);
    finding.phases[1].end_s = Seconds::constant(60.0);
    let mut builder = TraceBuilder::new(Header::default());
    for index in 0..600_u32 {
        let time = Seconds::constant(f64::from(index) / 10.0);
        if [50, 70, 200].contains(&index) {
            builder.event(time, EventKind::Mark("power button".into())).unwrap();
        }
        let (volts, amps) = (Volts::constant(12.8), Amps::constant(if index < 20 { 0.0 } else { 0.024 }));
        builder.sample(Sample { time, volts, amps, mode: Mode::Unknown, span: None }).unwrap();
    }
    let trace = builder.finish();
    let note = turning(&Subject { trace: &trace, profile: None, finding: &finding }).unwrap();
    assert!((note.at - 20.0).abs() < 1e-9, "{note:?}");
    assert_eq!(note.lines[1], "press 3 of 3: 24 mA at 12.8 V still, 40.0 s later");
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    let marks = scene.labels().filter(|label| label.text == "● power button").count();
    assert_eq!(marks, 3);
}

#[test]
fn a_fall_has_one_place_for_line_and_dot() {
    let (_, finding) = undecided();
    let trace = trace_at(110, 10.9, |index| if (60..80).contains(&index) { 0.7 } else { 0.03 }, |_| 12.8);
    let finding = Finding { verdict: cycling(2).verdict, ..finding };
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    let alarm = Theme::Light.palette().alarm;
    let dot = dot(&scene, alarm).0;
    assert!(markers(&scene, alarm).iter().all(|line| (line - dot).abs() <= 1));
}

#[test]
fn a_short_is_called_by_one_name_among_the_stages_and_on_the_strip() {
    for (class, name) in [(Class::HardShort, "hard short"), (Class::PartialShort, "partial short")] {
        let (trace, mut finding) = run_of(class);
        finding.phases = vec![phase("off", 0.0, 2.0), phase("short", 2.0, 60.0)];
        let scene = draw(&trace, Some(&profile()), &finding, &Options::default()).unwrap();
        let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
        for text in [name, &format!("✗ {name}"), &format!("{name} from here on")] {
            assert!(said.contains(&text), "{text}: {said:?}");
        }
    }
}

#[test]
fn a_board_that_latches_off_is_said_to_have_done_so_in_a_stage() {
    let (trace, mut finding) = run_of(Class::LatchOff);
    finding.attempts = cycling(2).attempts;
    finding.attempts.truncate(1);
    finding.attempts[0].end_s = Seconds::constant(30.0);
    let lines =
        |finding: &Finding| turning(&Subject { trace: &trace, profile: None, finding }).unwrap().lines;
    assert_eq!(lines(&finding)[1], "the try ends here in boot", "before what follows to the end");
    assert!(lines(&finding)[2].ends_with(", to the end"), "{:?}", lines(&finding));
    finding.verdict.step_into = Some("loading".into());
    let lines = lines(&finding);
    assert_eq!(lines[1], "the try ends here at the end of boot, at the step into loading");
    assert!(lines[2].ends_with(", to the end") && lines.len() == 3, "{lines:?}");
}

#[test]
fn the_sign_of_a_mark_stands_on_its_line_or_is_left_out() {
    use crate::trace::{EventKind, Header, Mode, Sample, TraceBuilder};
    let (_, finding) = run_of(Class::StandbyOnly);
    // Alone, beside another, and near the end.
    for at in [[60, 300].as_slice(), &[60, 64, 68, 72], &[590]] {
        let mut builder = TraceBuilder::new(Header::default());
        for index in 0..600_u32 {
            let time = Seconds::constant(f64::from(index) / 10.0);
            if at.contains(&index) {
                builder.event(time, EventKind::Mark("power button".into())).unwrap();
            }
            let (volts, amps) = (Volts::constant(12.8), Amps::constant(0.024));
            builder.sample(Sample { time, volts, amps, mode: Mode::Unknown, span: None }).unwrap();
        }
        let trace = builder.finish();
        for size in [Size::WIDE, Size::PHONE, Size::new(480, 360).unwrap()] {
            let scene = draw(&trace, None, &finding, &options(size, Theme::Light)).unwrap();
            let color = Theme::Light.palette().mark;
            let lines: Vec<i32> = scene
                .shapes
                .iter()
                .filter_map(|shape| match shape {
                    Shape::Dashed { area, upright: true, color: of, .. } if *of == color => Some(area.left),
                    _ => None,
                })
                .collect();
            let signs: Vec<i32> = scene
                .labels()
                .filter(|label| label.text.contains('●'))
                .map(|label| {
                    let half = label.style.width("●") / 2;
                    let first = label.text.starts_with('●');
                    if first { label.bounds().left + half } else { label.bounds().right - half }
                })
                .collect();
            assert!(!signs.is_empty(), "{at:?} at {size}");
            for sign in signs {
                assert!(lines.iter().any(|line| (line - sign).abs() <= 2), "{sign} of {lines:?} at {size}");
            }
            assert_legible(&scene);
        }
    }
}

#[test]
fn every_press_has_its_sign_though_their_words_have_no_room() {
    use crate::trace::{EventKind, Header, Mode, Sample, TraceBuilder};
    let presses = [70, 98, 158];
    let (_, finding) = run_of(Class::StandbyOnly);
    let mut builder = TraceBuilder::new(Header::default());
    for index in 0..620_u32 {
        let time = Seconds::constant(f64::from(index) / 10.0);
        if presses.contains(&index) {
            builder.event(time, EventKind::Mark("power button".into())).unwrap();
        }
        let (volts, amps) = (Volts::constant(12.8), Amps::constant(if index < 20 { 0.0 } else { 0.024 }));
        builder.sample(Sample { time, volts, amps, mode: Mode::Unknown, span: None }).unwrap();
    }
    let small = options(Size::new(480, 360).unwrap(), Theme::Light);
    let scene = draw(&builder.finish(), None, &finding, &small).unwrap();
    assert_legible(&scene);
    let signs: Vec<&str> =
        scene.labels().map(|label| label.text.as_str()).filter(|text| text.contains('●')).collect();
    assert_eq!(signs, ["●", "●", "● power button"]);
}
