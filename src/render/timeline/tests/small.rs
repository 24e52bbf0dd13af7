//! What a small figure, or a short try, still shows.

use super::*;
use crate::render::fixtures::trace_at;

fn small() -> Options {
    options(Size::new(640, 480).unwrap(), Theme::Light)
}

#[test]
fn a_small_figure_says_in_letters_that_are_read_what_the_turn_is() {
    for class in Class::ALL {
        let (trace, finding) = run_of(class);
        let heads = |options: &Options| {
            let scene = draw(&trace, Some(&profile()), &finding, options).unwrap();
            let subject = Subject { trace: &trace, profile: Some(&profile()), finding: &finding };
            let head =
                super::super::super::parts::turning::turning(&subject).map(|note| note.lines[0].clone());
            let least = scene.labels().map(|label| label.style.em).fold(f64::INFINITY, f64::min);
            assert!(least >= 10.0 - 1e-9, "{class}: {least}");
            head.is_none_or(|head| scene.labels().any(|label| label.text == head))
        };
        assert!(heads(&small()) && heads(&Options::default()), "{class}");
    }
}

#[test]
fn on_the_smallest_figure_a_note_is_left_out_before_it_hides_the_tries() {
    // Swinging all the time, it is hidden by all that does not stand above it.
    let trace = trace(520, 51.9, |index| if index % 2 == 0 { 0.7 } else { 0.03 });
    let finding = cycling(15);
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let placed = |size: Size, (width, height): (i32, i32)| {
        let sheet = Sheet::new(&options(size, Theme::Light), LEAST);
        let readings = Readings::new(&subject, TimeAxis { left: 50, right: 50 + width, from: 0.0, to: 52.0 });
        let areas = amps_alone(width, height);
        let scale = amps::Scale::new(&subject, &readings).without_quiet();
        let all = notes::notes(&subject, &readings, 1);
        notes::arrange(&sheet, &subject, &readings, &areas, &scale, &all).1.len()
    };
    let small = Size::new(480, 360).unwrap();
    assert_eq!([placed(small, (410, 54)), placed(small, (410, 160))], [0, 1]);
}

#[test]
fn on_the_smallest_figure_the_turn_is_told_above_the_tries_that_it_would_hide() {
    // Swinging all the time, and with so many marks that nothing is left beside what was read.
    use crate::trace::{EventKind, Header, Mode, Sample, TraceBuilder};
    let mut builder = TraceBuilder::new(Header::default());
    for index in 0..520_u32 {
        let time = Seconds::constant(f64::from(index) / 10.0);
        if (100..180).contains(&index) && index % 10 == 0 {
            builder.event(time, EventKind::Mark("power button".into())).unwrap();
        }
        let amps = Amps::constant(if index % 2 == 0 { 0.7 } else { 0.03 });
        builder
            .sample(Sample { time, volts: Volts::constant(12.8), amps, mode: Mode::Unknown, span: None })
            .unwrap();
    }
    let (trace, mut finding) = (builder.finish(), cycling(15));
    finding.verdict.because =
        vec!["15 tries, and so many words that they take a second line of facts".into()];
    let mut profile = profile();
    let mut more = profile.phases.clone();
    for of in &mut more {
        of.name += " again";
    }
    profile.phases.extend(more);
    let scene =
        draw(&trace, Some(&profile), &finding, &options(Size::new(480, 360).unwrap(), Theme::Light)).unwrap();
    let said =
        scene.labels().find(|label| label.text.starts_with("gives up here")).expect("the place is told");
    let tries = scene.shapes.iter().find_map(|shape| match shape {
        Shape::Steps { clip, .. } => Some(*clip),
        _ => None,
    });
    assert!(said.bounds().bottom < tries.unwrap().top, "{said:?}");
    assert_legible(&scene);
}

#[test]
fn where_the_head_of_a_stalled_board_stands_alone_it_says_what_its_line_means() {
    let (trace, mut finding) = run_of(Class::Stalled);
    let mut profile = profile();
    let reference = profile.phases.iter_mut().find(|reference| reference.duration.is_some()).unwrap();
    let stage = reference.name.clone();
    reference.duration.as_mut().unwrap().high = 5.0;
    finding.phases[2].name.clone_from(&stage);
    finding.verdict.stalled_in = Some(stage.clone());
    let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
    let readings = Readings::new(&subject, TimeAxis { left: 50, right: 450, from: 0.0, to: 60.0 });
    let notes = notes::notes(&subject, &readings, 1);
    let sheet = Sheet::new(&options(Size::new(480, 360).unwrap(), Theme::Light), LEAST);
    let areas = amps_alone(400, 100);
    let axes = amps::Scale::new(&subject, &readings).axes(&areas);
    let color = sheet.palette.alarm;
    let placed =
        notes::above(&sheet, &subject, axes, Rect::new(50, 0, 450, 40), (&readings, &notes[0], color));
    let said: Vec<&str> = placed[0].said().collect();
    assert!(notes[0].lines[0].starts_with(&format!("stuck in {stage}")), "{:?}", notes[0].lines);
    assert_eq!(said, [format!("overdue in {stage} from here")]);
}

#[test]
fn on_the_smallest_figure_how_sure_it_is_stands_among_the_facts() {
    let (trace, mut finding) = run_of(Class::DroppedOut);
    finding.verdict.because = vec!["fell at 30.0 s".into()];
    let said = |width: u32, height: u32| {
        let size = Size::new(width, height).unwrap();
        let scene = draw(&trace, None, &finding, &options(size, Theme::Light)).unwrap();
        scene.labels().map(|label| label.text.clone()).collect::<Vec<_>>()
    };
    let small = said(480, 360);
    assert!(small.contains(&"94 % sure · fell at 30.0 s".to_owned()), "{small:?}");
    assert!(said(1600, 900).contains(&"94 % sure".to_owned()), "beside the heading there is room");
}

#[test]
fn the_foot_of_a_small_figure_keeps_two_rows_and_what_matters_most() {
    let (trace, mut finding) = run_of(Class::DroppedOut);
    finding.log.board = Some("lamp board".into());
    finding.log.path = "case.csv".into();
    let said = |options: &Options| {
        let scene = draw(&trace, None, &finding, options).unwrap();
        let foot = ["board", "serial", "ticket", "set", "good boards", "in steps of", "drawn by"];
        let found = foot.map(|key| scene.labels().find(|label| label.text == key).map(|label| label.at.1));
        let rows = {
            let mut rows: Vec<i32> = found.iter().flatten().copied().collect();
            rows.sort_unstable();
            rows.dedup();
            rows.len()
        };
        (found.map(|row| row.is_some()), rows)
    };
    assert_eq!(said(&small()), ([true, true, true, true, true, false, false], 2));
    assert_eq!(said(&Options::default()).0, [true; 7]);
}

/// Tries of a tenth of a second, once a second for a minute, the last still on.
fn short_tries() -> (Trace, Finding) {
    let mut finding = cycling(50);
    finding.phases.truncate(2);
    for (index, attempt) in (0..).zip(&mut finding.attempts) {
        let start = 6.0 + f64::from(index);
        attempt.start_s = Seconds::constant(start);
        attempt.end_s = Seconds::constant(start + 0.1);
        finding.phases.push(phase("attempt", start, start + 0.1));
        finding.phases.push(phase("rest", start + 0.1, start + 1.0));
    }
    (trace(6000, 60.0, |index| if index > 600 && index % 100 < 10 { 0.7 } else { 0.03 }), finding)
}

#[test]
fn a_try_too_short_for_its_sides_is_still_in_the_colour_of_what_is_wrong() {
    let (trace, finding) = short_tries();
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    let palette = Theme::Light.palette();
    let fills = || {
        scene.shapes.iter().enumerate().filter_map(|(order, shape)| match shape {
            Shape::Fill { area, color } => Some((order, *area, *color)),
            _ => None,
        })
    };
    // Bands of the strip: as high as it is, and no wider than a few pixels.
    let tries = fills().filter(|(_, area, color)| {
        *color == palette.alarm && (15..30).contains(&area.height()) && area.width() < 5
    });
    let covered = |order: usize, band: Rect| {
        fills().any(|(later, area, color)| {
            later > order
                && color == palette.frame
                && !area.is_empty()
                && area.overlaps(band)
                && area.height() > 3
        })
    };
    let seen = tries.filter(|(order, band, _)| !covered(*order, *band)).count();
    assert!(seen >= 49, "{seen}");
}

#[test]
fn tries_are_numbered_though_the_one_that_is_on_has_no_room() {
    // The last began right before the end of the log.
    let (_, mut finding) = (run_of_tries(|_| 12.8), cycling(10));
    let last = finding.attempts.last_mut().unwrap();
    last.end_s = Seconds::constant(last.start_s.value() + 0.05);
    let end = last.end_s.value();
    finding.phases.retain(|phase| phase.start_s.value() < end);
    let trace = trace(600, end, |index| if index % 50 < 20 { 0.7 } else { 0.03 });
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    let named = |number: usize| scene.labels().any(|label| label.text == format!("try {number}"));
    assert!((1..=9).all(named) && !named(10));
}

#[test]
fn on_a_narrow_figure_the_line_of_the_moment_leaves_room_to_the_moment() {
    let (trace, finding) = run_of(Class::DroppedOut);
    let widest = |size: Size| {
        let options = options(size, Theme::Light);
        let (scene, alarm) = (draw(&trace, None, &finding, &options).unwrap(), Theme::Light.palette().alarm);
        let line = |shape: &Shape| match shape {
            Shape::Fill { area, color } if *color == alarm && area.height() > 3 * area.width() => {
                Some(area.width())
            }
            _ => None,
        };
        let widest = scene.shapes.iter().filter_map(line).max().unwrap();
        f64::from(widest) / f64::from(Sheet::new(&options, LEAST).u(1000.0)) * 1000.0
    };
    assert!((8.0..10.0).contains(&widest(Size::WIDE)), "{}", widest(Size::WIDE));
    assert!((3.0..6.5).contains(&widest(Size::PHONE)), "{}", widest(Size::PHONE));
}

#[test]
fn words_above_many_tries_have_no_stroke_to_what_lies_between_two_of_them() {
    let (trace, finding) = (trace(600, 60.0, |_| 0.5), cycling(5));
    let scene = draw(&trace, None, &finding, &options(Size::PHONE, Theme::Light)).unwrap();
    let words = scene.labels().find(|label| label.text == "4 tries, one every 3.00 s").unwrap().bounds();
    let alarm = Theme::Light.palette().alarm;
    let thin = Sheet::new(&options(Size::PHONE, Theme::Light), LEAST).u(2.0);
    let is_stroke = |area: &Rect| {
        area.width() <= thin
            && area.height() > 2 * thin
            && area.bottom > words.bottom
            && area.top < words.bottom + words.height() / 2
    };
    let strokes = scene.shapes.iter().filter(|shape| match shape {
        Shape::Fill { area, color } => {
            *color == alarm && is_stroke(area) && area.height() < 2 * words.height()
        }
        _ => false,
    });
    assert_eq!(strokes.count(), 0);
}

#[test]
fn standby_is_magnified_on_a_phone_where_it_departs_or_is_what_a_board_falls_back_to() {
    let magnified = |class: Class, departs: Option<&str>| {
        let (trace, mut finding) = run_of(class);
        let departure = super::super::super::fixtures::finding(Vec::new()).departures.remove(0);
        let of = |phase: &str| crate::verdict::Departure {
            phase: phase.into(),
            measured: if phase == "standby" { 0.024 } else { 1.6 },
            high: if phase == "standby" { 0.01 } else { 0.9 },
            ..departure.clone()
        };
        finding.departures = departs.map(of).into_iter().collect();
        let scene = draw(&trace, None, &finding, &options(Size::PHONE, Theme::Light)).unwrap();
        scene.labels().any(|label| label.text.starts_with("low current, magnified"))
    };
    assert!(magnified(Class::FullBoot, Some("standby")));
    assert!(!magnified(Class::FullBoot, Some("boot")));
    assert!(magnified(Class::DroppedOut, None));
}

#[test]
fn what_a_board_falls_back_to_is_magnified_on_a_low_figure_too() {
    let (trace, finding) = run_of(Class::DroppedOut);
    let scene = draw(&trace, Some(&profile()), &finding, &small()).unwrap();
    assert!(scene.labels().any(|label| label.text.starts_with("low current, magnified")));
    assert!(scene.labels().any(|label| label.text == "falls back here"));
    assert_legible(&scene);
}

#[test]
fn presses_are_named_in_their_order_on_a_phone() {
    use crate::trace::{EventKind, Header, Mode, Sample, TraceBuilder};
    let (_, finding) = run_of(Class::LatchOff);
    let mut builder = TraceBuilder::new(Header::default());
    let events = [(10, "output on, by hand"), (60, "power button"), (140, "power button")];
    for index in 0..600_u32 {
        let (time, volts) = (Seconds::constant(f64::from(index) / 10.0), Volts::constant(12.8));
        for (_, mark) in events.iter().filter(|(at, _)| *at == index) {
            builder.event(time, EventKind::Mark((*mark).into())).unwrap();
        }
        let amps = Amps::constant(if (90..300).contains(&index) { 0.8 } else { 0.024 });
        builder.sample(Sample { time, volts, amps, mode: Mode::Unknown, span: None }).unwrap();
    }
    let scene = draw(&builder.finish(), None, &finding, &options(Size::PHONE, Theme::Light)).unwrap();
    let places = scene.labels().filter(|label| label.text == "● power button");
    let places: Vec<(i32, i32)> = places.map(|label| (label.at.1, label.at.0)).collect();
    // Read line by line the first comes first.
    assert!(places.len() == 2 && places[0] < places[1], "{places:?}");
}

#[test]
fn each_axis_of_a_small_figure_has_two_numbers_at_least_beside_the_moment() {
    let alarm = Theme::Light.palette().alarm;
    for (width, height) in [(480, 360), (640, 480)] {
        for class in Class::ALL {
            // A sag of ten per cent, and a rest in the low strip.
            let (_, finding) = run_of(class);
            let trace = trace_at(
                600,
                60.0,
                |index| if index < 300 { 0.03 } else { 1.4 },
                |index| {
                    if index < 300 { 24.4 } else { 22.9 }
                },
            );
            let options = options(Size::new(width, height).unwrap(), Theme::Light);
            let scene = draw(&trace, None, &finding, &options).unwrap();
            let is_number = |text: &str| text.trim_end_matches(" V").parse::<f64>().is_ok();
            let first = scene.labels().position(|label| label.text.ends_with(" V") && is_number(&label.text));
            let unit = scene.labels().nth(first.unwrap()).unwrap();
            let volts = scene.labels().filter(|label| {
                is_number(&label.text)
                    && (0..60).contains(&(label.at.1 - unit.at.1))
                    && label.at.0 == unit.at.0
            });
            assert!(volts.count() >= 2, "{class:?} {width}x{height}: one number beside the volts");
            let times = scene.labels().filter(|label| {
                label.text.strip_suffix(" s").is_some_and(is_number) && label.style.color != alarm
            });
            assert!(
                times.count() >= 2,
                "{class:?} {width}x{height}: {:?}",
                scene.labels().map(|l| l.text.as_str()).collect::<Vec<_>>()
            );
        }
    }
}

#[test]
fn the_strip_of_all_amps_is_no_lower_than_the_magnified_one() {
    let sheet = Sheet::new(&small(), LEAST);
    let area = |height: i32| Rect::new(0, 0, 300, height);
    let heights = |height: i32| {
        let (amps, quiet) = super::super::strips(&sheet, area(height), 30);
        (amps.height(), quiet.height())
    };
    let (amps, quiet) = heights(120);
    assert!(quiet == 30 && amps > quiet && amps < 90, "{amps} {quiet}");
    assert_eq!(heights(60), (60, 0), "less than the other would be left");
}
