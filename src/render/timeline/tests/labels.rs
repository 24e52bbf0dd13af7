//! Labels: each beside what it names, and clear of what it does not.

use super::super::super::fixtures::trace_at;
use super::super::super::scene::Label;
use super::*;
use crate::reference::Envelope;

pub(super) fn starting_with<'a>(scene: &'a Scene, text: &str) -> Option<&'a Label> {
    scene.labels().find(|label| label.text.starts_with(text))
}

/// The frame of the amps: the trace is clipped to it.
pub(super) fn amps_area(scene: &Scene) -> Rect {
    let clip = scene.shapes.iter().find_map(|shape| match shape {
        Shape::Steps { clip, .. } => Some(*clip),
        _ => None,
    });
    clip.unwrap()
}

#[test]
fn the_lowest_number_of_an_axis_stands_beside_its_line() {
    let (trace, finding) = run_of(Class::DroppedOut);
    for size in [Size::WIDE, Size::PHONE, Size::new(640, 480).unwrap()] {
        let scene = draw(&trace, None, &finding, &options(size, Theme::Light)).unwrap();
        let bottom = amps_area(&scene).bottom;
        let zeros = scene.labels().filter(|label| ["0", "0.0"].contains(&label.text.as_str()));
        // The middle of its digits, which have no descenders.
        let middles = zeros.map(|label| label.at.1 - crate::render::geometry::px(label.style.em * 0.36));
        let off = middles.map(|middle| (middle - bottom).abs()).min().unwrap();
        assert!(off <= 3, "{size}: {off}");
    }
}

#[test]
fn times_are_told_on_both_sides_of_that_of_the_fault_on_a_phone() {
    // The fault at 20.4 s takes the place of the label of 15 s.
    let mut finding =
        finding(vec![phase("off", 0.0, 2.0), phase("boot", 2.0, 20.4), phase("rest", 20.4, 58.0)]);
    finding.departures.clear();
    finding.verdict.class = Class::DroppedOut;
    finding.verdict.reached = Some("boot".into());
    finding.phases[2].mean_a = Amps::constant(0.03);
    let trace = trace(580, 58.0, |index| if (20..204).contains(&index) { 0.8 } else { 0.03 });
    let from = Seconds::new(0.5).ok();
    let phone = Options { from, ..options(Size::PHONE, Theme::Light) };
    let scene = draw(&trace, None, &finding, &phone).unwrap();
    let fault = scene.labels().find(|label| label.text == "20.4 s").unwrap().bounds();
    let times: Vec<Rect> = scene
        .labels()
        .filter(|label| label.text.ends_with(" s") && label.text != "20.4 s" && label.at.1 >= fault.top)
        .map(Label::bounds)
        .filter(|bounds| bounds.top < fault.bottom)
        .collect();
    assert!(times.len() >= 3, "{times:?}");
    assert!(times.iter().any(|time| time.right < fault.left), "{times:?}");
}

#[test]
fn a_limit_that_the_trace_runs_along_is_named_right_beside_its_line() {
    let (_, mut finding) = run_of(Class::DroppedOut);
    finding.log.limit_a = Amps::new(0.8).ok();
    let trace = trace(600, 60.0, |_| 0.8);
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    let words = starting_with(&scene, "current limit").unwrap().bounds();
    let limit = Theme::Light.palette().limit;
    let row = scene.shapes.iter().find_map(|shape| match shape {
        Shape::Dashed { area, color, .. } if *color == limit && area.width() > 500 => Some(area.center().1),
        _ => None,
    });
    let row = row.unwrap();
    let away = (words.top - row).max(row - words.bottom);
    assert!((0..=5).contains(&away), "{away}: {words:?} {row}");
}

#[test]
fn an_inrush_is_named_clear_of_the_line_of_the_fault() {
    // The press at 8.5 s, right after the feed comes on with its inrush at 8.2 s.
    let (_, mut finding) = run_of(Class::StandbyOnly);
    finding.phases =
        vec![phase("off", 0.0, 8.2), Phase { mean_a: Amps::constant(0.024), ..phase("standby", 8.2, 60.0) }];
    let trace = trace(601, 60.0, |index| match index {
        0..82 => 0.0,
        82 => 2.0,
        _ => 0.024,
    });
    for size in [Size::WIDE, Size::PHONE, Size::new(640, 480).unwrap()] {
        let scene = draw(&trace, None, &finding, &options(size, Theme::Light)).unwrap();
        let alarm = Theme::Light.palette().alarm;
        let Some(words) = starting_with(&scene, "inrush") else { continue };
        let line = scene.shapes.iter().any(|shape| match shape {
            Shape::Fill { area, color } => {
                *color == alarm && area.height() > 4 * area.width() && area.overlaps(words.bounds())
            }
            _ => false,
        });
        assert!(!line, "{size}: {words:?}");
    }
    let wide = draw(&trace, None, &finding, &Options::default()).unwrap();
    assert!(starting_with(&wide, "inrush 2.00 A").is_some());
}

#[test]
fn a_peak_above_those_of_good_boards_is_no_more_called_inrush_than_it_is_left_out_of_the_comparison() {
    let said = |at: u32, profile: Option<&Profile>| {
        let (_, mut finding) = run_of(Class::StandbyOnly);
        let rest = Phase { mean_a: Amps::constant(0.024), ..phase("standby", 2.0, 60.0) };
        finding.phases = vec![phase("off", 0.0, 2.0), rest];
        let trace = trace(600, 60.0, |index| match index {
            0..20 => 0.0,
            index if index == at => 0.75,
            _ => 0.024,
        });
        // So close that the words have room before the line of the press.
        let close = Options { to: Seconds::new(20.0).ok(), ..Options::default() };
        let scene = draw(&trace, profile, &finding, &close).unwrap();
        assert_legible(&scene);
        let found = ["inrush", "peak "].into_iter().find_map(|word| starting_with(&scene, word));
        found.map(|label| label.text.clone()).unwrap_or_default()
    };
    let good = profile();
    // What good boards peak at is counted from 0.2 s after the feed is on.
    assert_eq!(said(20, None), "inrush 0.750 A");
    assert_eq!(said(20, Some(&good)), "inrush 0.750 A, not compared");
    let late = said(22, Some(&good));
    assert!(late.starts_with("peak 0.750 A, good boards at most "), "{late}");
    // Of good boards that go as high it is as theirs.
    let mut high = profile();
    high.phases[0].peak_power = Envelope { low: 0.1, typical: 5.0, high: 12.0 };
    assert_eq!(said(20, Some(&high)), "inrush 0.750 A");
}

#[test]
fn what_is_said_of_an_inrush_hides_nothing_of_the_trace_that_comes_down_beside_it() {
    // A capture of a second, zoomed so that the inrush is as wide as a word.
    let (_, mut finding) = run_of(Class::Inconclusive);
    finding.phases =
        vec![phase("off", 0.0, 2.0), Phase { mean_a: Amps::constant(0.012), ..phase("standby", 2.0, 3.0) }];
    finding.departures.clear();
    let trace = trace(60, 3.0, |index| match index {
        0..40 => 0.0,
        40 | 41 => 0.4,
        _ => 0.012,
    });
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    let words = starting_with(&scene, "inrush").unwrap().bounds();
    let hidden = scene.shapes.iter().filter_map(|shape| match shape {
        Shape::Steps { left, spans, .. } => Some((*left..).zip(spans)),
        _ => None,
    });
    let crosses = |(x, span): (i32, &Option<Span>)| {
        (words.left..words.right).contains(&x)
            && span.is_some_and(|span| span.top < words.bottom && span.bottom >= words.top)
    };
    assert!(!hidden.flatten().any(crosses), "{words:?}");
}

#[test]
fn the_arrow_of_an_inrush_is_clear_of_the_flag_of_a_fault_at_switch_on() {
    let (_, mut finding) = run_of(Class::NoDraw);
    finding.phases =
        vec![phase("off", 0.0, 2.0), Phase { mean_a: Amps::constant(0.0), ..phase("no draw", 2.0, 60.0) }];
    finding.departures.clear();
    for at in [20, 21] {
        let trace = trace(600, 60.0, |index| if index == at { 0.4 } else { 0.0 });
        let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
        let triangles: Vec<Rect> = { scene.shapes.iter() }
            .filter_map(|shape| match shape {
                Shape::Polygon { points, .. } if points.len() == 3 => {
                    let (x, y) = (points.iter().map(|point| point.0), points.iter().map(|point| point.1));
                    Some(Rect::new(x.clone().min()?, y.clone().min()?, x.max()?, y.max()?))
                }
                _ => None,
            })
            .collect();
        assert!(triangles.len() >= 2, "{triangles:?}");
        for (index, one) in triangles.iter().enumerate() {
            assert!(triangles[..index].iter().all(|other| !other.overlaps(*one)), "{at}: {triangles:?}");
        }
    }
}

#[test]
fn a_peak_of_good_boards_that_the_strip_cuts_off_is_told() {
    let mut profile = profile();
    let rails = &mut profile.phases[1];
    rails.mean_power = Envelope { low: 8.0, typical: 10.0, high: 12.0 };
    rails.peak_power = Envelope { low: 8.0, typical: 12.0, high: 60.0 };
    rails.duration = None;
    let name = rails.name.clone();
    let mut finding = finding(vec![phase(&name, 0.0, 60.0)]);
    finding.departures.clear();
    finding.verdict.class = Class::FullBoot;
    let mut drawn = |amps: f64, limit: f64| {
        finding.log.limit_a = Amps::new(limit).ok();
        let trace = trace(600, 60.0, |_| amps);
        let scene = draw(&trace, Some(&profile), &finding, &Options::default()).unwrap();
        assert_legible(&scene);
        let told = starting_with(&scene, "good boards' peaks off the scale, at most: ")
            .map(|label| label.text.clone());
        (told, starting_with(&scene, "peak, at most").is_some())
    };
    // 60 W at the 12.8 V of the feed, which the profile takes a little less than in proportion.
    let said = |value: &str| Some(format!("good boards' peaks off the scale, at most: {name} {value}"));
    assert_eq!(drawn(0.8, 6.0), (said("4.67 A"), false));
    // No board peaks above a limit.
    assert_eq!(drawn(0.8, 3.0), (said("3.00 A, the limit"), false));
    // Where the strip holds it, it is a line of the legend.
    assert_eq!(drawn(4.6, 6.0), (None, true));
}

#[test]
fn no_line_of_the_grid_hides_the_peak_of_good_boards_that_lies_on_it() {
    let mut profile = profile();
    let peak = envelope::in_amps(&profile, &profile.phases[1], Volts::constant(12.8)).peak;
    let rails = &mut profile.phases[1];
    // An ampere, where the grid has a line.
    rails.peak_power.high /= peak;
    let mut finding = finding(vec![phase(&rails.name, 0.0, 60.0)]);
    finding.departures.clear();
    finding.verdict.class = Class::FullBoot;
    let trace = trace(600, 60.0, |_| 0.9);
    let scene = draw(&trace, Some(&profile), &finding, &Options::default()).unwrap();
    let (palette, strip) = (Theme::Light.palette(), amps_area(&scene));
    let line = |shape: &Shape| match shape {
        Shape::Dashed { area, color, .. } if *color == palette.envelope_edge && strip.overlaps(*area) => {
            Some(*area)
        }
        _ => None,
    };
    let grid = |shape: &Shape| match shape {
        Shape::Fill { area, color } if *color == palette.grid && strip.overlaps(*area) => Some(*area),
        _ => None,
    };
    let shapes = || scene.shapes.iter().enumerate();
    let lines: Vec<(usize, Rect)> =
        shapes().filter_map(|(index, shape)| Some((index, line(shape)?))).collect();
    let grids: Vec<(usize, Rect)> =
        shapes().filter_map(|(index, shape)| Some((index, grid(shape)?))).collect();
    let on_it = |(_, line): &&(usize, Rect)| grids.iter().any(|(_, grid)| grid.overlaps(*line));
    assert!(lines.iter().any(|line| on_it(&line)), "{lines:?}, {grids:?}");
    let hides = |line: &(usize, Rect)| grids.iter().any(|grid| grid.0 > line.0 && grid.1.overlaps(line.1));
    assert!(!lines.iter().any(hides), "{lines:?}, {grids:?}");
}

#[test]
fn a_dot_stands_at_the_level_that_its_note_tells_on_a_spike_too() {
    let spike = |wide: u32| {
        let amps = move |index: u32| if (200..200 + wide).contains(&index) { 0.7 } else { 0.03 };
        let mut finding = cycling(2);
        finding.attempts.truncate(1);
        finding.attempts[0].start_s = Seconds::constant(20.0);
        finding.attempts[0].end_s = Seconds::constant(20.0 + f64::from(wide) / 10.0);
        finding.phases = vec![phase("standby", 0.0, 60.0)];
        let scene = draw(&trace_at(600, 59.9, amps, |_| 12.8), None, &finding, &Options::default()).unwrap();
        let alarm = Theme::Light.palette().alarm;
        let dot = scene.shapes.iter().find_map(|shape| match shape {
            Shape::Polygon { points, color } if *color == alarm && points.len() == 4 => Some(points.clone()),
            _ => None,
        });
        let top = scene.shapes.iter().find_map(|shape| match shape {
            Shape::Steps { spans, .. } => spans.iter().flatten().map(|span| span.top).min(),
            _ => None,
        });
        // From the middle of the dot to the tip of the trace.
        dot.unwrap()[0].1 - top.unwrap()
    };
    for wide in [2, 40] {
        assert!(spike(wide).abs() <= 2, "{wide}: {}", spike(wide));
    }
}

#[test]
fn a_try_with_room_for_it_says_in_which_stage_it_ends() {
    let named = |count: u32, of: &Options| {
        let (trace, finding) = (run_of_tries(|_| 12.8), cycling(count));
        let scene = draw(&trace, None, &finding, of).unwrap();
        starting_with(&scene, "try 1 ends in ").map(|label| label.text.clone())
    };
    let close = Options { from: Seconds::new(5.0).ok(), to: Seconds::new(11.6).ok(), ..Options::default() };
    // Close by the stages themselves have their names.
    assert_eq!(named(15, &close), None);
    let nearer = Options { from: Seconds::new(5.0).ok(), to: Seconds::new(20.0).ok(), ..Options::default() };
    let told = [named(15, &Options::default()), named(5, &nearer)];
    assert_eq!(told, [None, Some("try 1 ends in firmware".into())]);
    // Of some alone it would look like a choice.
    let (trace, mut finding) = (run_of_tries(|_| 12.8), cycling(5));
    finding.attempts[1].ended_in = None;
    let scene = draw(&trace, None, &finding, &nearer).unwrap();
    let bands = ["try 1", "try 2", "try 3"].map(|number| scene.labels().any(|label| label.text == number));
    assert_eq!(bands, [true; 3]);
}

#[test]
fn a_stage_is_named_where_another_name_can_make_room_for_it() {
    // A standby that departs, short of room for its name, and two stages right after it.
    let mut finding = finding(vec![
        phase("standby", 0.0, 4.7),
        phase("checks", 5.6, 9.8),
        phase("bus", 9.8, 12.3),
        phase("ready", 12.3, 60.0),
    ]);
    finding.departures.truncate(1);
    finding.departures[0].phase = "standby".into();
    finding.verdict.class = Class::FullBoot;
    let trace = trace(600, 60.0, |_| 0.5);
    let phone = options(Size::PHONE, Theme::Light);
    let scene = draw(&trace, None, &finding, &phone).unwrap();
    let named = |text: &str| scene.labels().any(|label| label.text == text);
    assert_eq!(["standby", "checks", "bus", "ready"].map(named), [true; 4]);
}

#[test]
fn an_inrush_that_is_the_tallest_thing_has_a_name() {
    let named = |high: f64| {
        let amps = |index: u32| match index {
            0..20 => 0.0,
            20 | 21 => high,
            22..90 => 0.024,
            _ => 0.6,
        };
        let finding =
            finding(vec![phase("off", 0.0, 2.0), phase("standby", 2.0, 9.0), phase("firmware", 9.0, 60.0)]);
        let scene = draw(&trace(600, 60.0, amps), None, &finding, &Options::default()).unwrap();
        scene.labels().any(|label| label.text.starts_with("inrush"))
    };
    assert!(named(1.1));
    assert!(!named(0.5), "a peak among others");
}

#[test]
fn a_time_that_is_told_leaves_the_zero_of_the_axis_its_room() {
    let (trace, mut finding) = run_of(Class::PartialShort);
    finding.phases = vec![phase("off", 0.0, 1.2), phase("heavy load", 1.2, 60.0)];
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    let of = |text: &str| scene.labels().find(|label| label.text == text).unwrap().bounds();
    let (zero, told) = (of("0 s"), of("1.2 s"));
    assert!(told.left - zero.right >= 8, "{zero:?} {told:?}");
}

#[test]
fn a_single_try_that_the_log_ends_in_is_said_to_be_on() {
    let mut finding = cycling(1);
    finding.verdict.class = Class::Inconclusive;
    finding.phases.retain(|phase| phase.name != "firmware");
    for phase in finding.phases.iter_mut().filter(|phase| phase.name == "rails") {
        (phase.name, phase.end_s) = ("attempt".into(), Seconds::constant(8.0));
    }
    let trace = trace(81, 8.0, |index| if index < 60 { 0.03 } else { 0.7 });
    let mut said = |given_up: bool| {
        finding.attempts[0].given_up = given_up;
        let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
        let named = |text: &str| scene.labels().any(|label| label.text == text);
        ["try", "try still on"].map(named)
    };
    assert_eq!(said(false), [false, true]);
    assert_eq!(said(true), [true, false]);
}
