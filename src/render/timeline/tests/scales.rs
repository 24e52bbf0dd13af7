//! How much of time and amps a timeline shows.

use super::labels::{amps_area, starting_with};
use super::*;

#[test]
fn minutes_before_the_feed_are_left_out_and_counted() {
    let trace = trace(600, 60.0, |index| if index < 480 { 0.0 } else { 0.8 });
    let mut finding = finding(vec![phase("off", 0.0, 48.0), phase("boot", 48.0, 60.0)]);
    finding.departures.clear();
    let said = |options: &Options| {
        let scene = draw(&trace, None, &finding, options).unwrap();
        assert_legible(&scene);
        scene.labels().map(|label| label.text.clone()).collect::<Vec<_>>()
    };
    // The fixture's button is pressed at 60 s / 7, and what somebody marked is shown.
    assert!(!said(&Options::default()).iter().any(|text| text.contains("not shown")));
    let close = Options { from: Seconds::new(47.0).ok(), ..Options::default() };
    assert!(said(&close).contains(&"off, 47.0 s not shown".to_owned()), "{:?}", said(&close));
}

/// The profile with a stage whose mean may be almost anything, and its name.
fn with_a_wide_envelope() -> (Profile, String) {
    let mut profile = profile();
    let rails = &mut profile.phases[1];
    rails.mean_power = crate::reference::Envelope { low: 2.0, typical: 10.0, high: 90.0 };
    rails.duration = None;
    let name = rails.name.clone();
    (profile, name)
}

#[test]
fn a_wide_envelope_is_cut_and_does_not_flatten_the_trace() {
    let (profile, name) = with_a_wide_envelope();
    let trace = trace(600, 60.0, |_| 0.8);
    let mut finding = finding(vec![phase(&name, 0.0, 60.0)]);
    finding.departures.clear();
    finding.verdict.class = Class::FullBoot;
    let scene = draw(&trace, Some(&profile), &finding, &Options::default()).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    assert!(said.iter().any(|text| text.starts_with("good boards to 7.")), "{said:?}");
    assert!(!said.iter().any(|text| ["4", "6", "4 A", "6 A", "5 A"].contains(text)), "{said:?}");
    assert_legible(&scene);
}

#[test]
fn what_good_boards_reach_has_its_arrow_apart_from_that_of_an_inrush() {
    let (profile, name) = with_a_wide_envelope();
    let trace = trace(600, 60.0, |index| if index == 21 { 5.0 } else { 0.2 });
    let arrows = |first: f64| {
        let mut finding = finding(vec![phase("off", 0.0, first), phase(&name, first, 60.0)]);
        finding.departures.clear();
        finding.verdict.class = Class::FullBoot;
        let scene = draw(&trace, Some(&profile), &finding, &Options::default()).unwrap();
        assert_legible(&scene);
        let palette = Theme::Light.palette();
        let of = |ink: crate::render::theme::Color| {
            scene.shapes.iter().find_map(|shape| match shape {
                Shape::Polygon { points, color } if *color == ink => points.iter().map(|point| point.0).min(),
                _ => None,
            })
        };
        (of(palette.ink), of(palette.good))
    };
    let (inrush, good) = arrows(2.0);
    let (inrush, good) = (inrush.expect("an inrush that runs out"), good.expect("a band that runs out"));
    assert!((good - inrush).abs() > 100, "{good} beside {inrush}");
}

#[test]
fn of_a_band_that_is_cut_and_too_narrow_for_words_they_stand_beside_it_and_say_whose_it_is() {
    let (profile, name) = with_a_wide_envelope();
    let trace = trace(600, 60.0, |_| 0.8);
    let mut finding =
        finding(vec![phase("standby", 0.0, 20.0), phase(&name, 20.0, 21.5), phase("other", 21.5, 60.0)]);
    finding.departures.clear();
    finding.verdict.class = Class::FullBoot;
    let scene = draw(&trace, Some(&profile), &finding, &Options::default()).unwrap();
    assert_legible(&scene);
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    assert!(said.iter().any(|text| text.starts_with("good boards to 7.")), "{said:?}");
}

#[test]
fn an_axis_of_volts_that_does_not_begin_at_zero_is_broken() {
    let (_, finding) = run_of(Class::DroppedOut);
    let slants = |volts: f64| {
        let trace = crate::render::fixtures::trace_at(600, 60.0, |_| 0.8, |_| volts);
        let mut finding = finding.clone();
        finding.log.set_v = Volts::new(12.8).ok();
        let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
        assert_legible(&scene);
        let text = Theme::Light.palette().text;
        let is_slant = |shape: &&Shape| {
            matches!(shape, Shape::Line { from, to, color, .. }
                if *color == text && from.0 < to.0 && from.1 > to.1 && to.0 - from.0 < 30)
        };
        scene.shapes.iter().filter(is_slant).count()
    };
    assert_eq!(slants(12.8), 2);
    assert_eq!(slants(0.3), 0, "of a feed that has collapsed it begins at zero");
}

/// A short that the supply holds in its limit all the time.
fn at_the_limit() -> (Trace, Finding) {
    use crate::trace::{Header, Mode, Sample, TraceBuilder};
    let (_, mut finding) = run_of(Class::HardShort);
    finding.log.limit_a = Amps::new(2.0).ok();
    let mut builder = TraceBuilder::new(Header { limit: Amps::new(2.0).ok(), ..Header::default() });
    for index in 0..600_u32 {
        let (time, mode) = (Seconds::constant(f64::from(index) / 10.0), Mode::ConstantCurrent);
        let (volts, amps) = (Volts::constant(0.3), Amps::constant(2.0));
        builder.sample(Sample { time, volts, amps, mode, span: None }).unwrap();
    }
    (builder.finish(), finding)
}

#[test]
fn hatching_too_low_to_be_seen_as_such_is_left_out_of_the_volts() {
    let (trace, finding) = at_the_limit();
    let hatched = |size: Size| {
        let scene = draw(&trace, None, &finding, &options(size, Theme::Light)).unwrap();
        let clips = scene.shapes.iter().filter_map(|shape| match shape {
            Shape::Steps { clip, .. } => Some(*clip),
            _ => None,
        });
        let volts = clips.max_by_key(|clip| clip.top).unwrap();
        let bars = scene.shapes.iter().filter_map(|shape| match shape {
            Shape::Hatch { area, .. } if area.overlaps(volts) => Some(area.height()),
            _ => None,
        });
        bars.collect::<Vec<_>>()
    };
    assert_eq!(hatched(Size::new(480, 360).unwrap()), Vec::<i32>::new());
    let large = hatched(Size::WIDE);
    assert!(large.len() == 1 && large[0] >= 5, "{large:?}");
}

#[test]
fn a_limit_that_the_trace_runs_along_hides_none_of_it_and_its_hatching_leaves_the_volts_alone() {
    let (trace, finding) = at_the_limit();
    for size in [Size::WIDE, Size::PHONE, Size::A4, Size::new(640, 480).unwrap()] {
        let scene = draw(&trace, None, &finding, &options(size, Theme::Light)).unwrap();
        let limit = Theme::Light.palette().limit;
        let order = |is: &dyn Fn(&Shape) -> bool| scene.shapes.iter().position(is).unwrap();
        let trace = order(&|shape| matches!(shape, Shape::Steps { .. }));
        let Shape::Steps { width, .. } = &scene.shapes[trace] else { unreachable!() };
        let over = scene.shapes[trace..].iter().filter_map(|shape| match shape {
            Shape::Dashed { area, color, .. } if *color == limit && area.width() > area.height() * 100 => {
                Some(area.height())
            }
            _ => None,
        });
        // Dashes of less than half the width of the trace: the limit is seen on it, and the trace beside them, but for one so
        // thin that there is no beside.
        let over: Vec<i32> = over.collect();
        let seen = usize::from(*width > 2);
        assert!(
            over.len() == seen && over.iter().all(|dash| 2 * dash < *width),
            "{size}: {over:?} on {width}"
        );
        // Right above the trace its bar tells where the limit is; that of the volts has no edge which would be one of them.
        let is_edge = |shape: &Shape, bar: Rect| {
            matches!(shape, Shape::Fill { area, color } if *color == limit && area.bottom == bar.bottom
                && (area.left, area.right) == (bar.left, bar.right))
        };
        let bars: Vec<Rect> = scene
            .shapes
            .iter()
            .filter_map(|shape| match shape {
                Shape::Hatch { area, .. } if area.width() > 100 => Some(*area),
                _ => None,
            })
            .collect();
        let edged = bars.iter().map(|bar| scene.shapes.iter().any(|shape| is_edge(shape, *bar)));
        assert_eq!(edged.collect::<Vec<_>>(), [true, false], "{size}: {bars:?}");
        let highest = scene.shapes.iter().filter_map(|shape| match shape {
            Shape::Hatch { area, .. } => Some(area.height()),
            _ => None,
        });
        let wide = Sheet::new(&options(size, Theme::Light), LEAST).u(16.0);
        assert!(highest.max().unwrap() <= wide, "{size}");
    }
}

#[test]
fn an_inrush_far_above_the_rest_is_cut_and_says_so() {
    // One reading at 0.75 A, then 0.113 A: a tall one is cut, one that is not far above the rest is not.
    let scene = |peak: f64| {
        let (_, mut finding) = run_of(Class::ExcessStandby);
        let trace = trace(600, 60.0, |index| match index {
            0..20 => 0.0,
            20 => peak,
            _ => 0.113,
        });
        finding.phases.truncate(1);
        finding.phases.push(Phase { mean_a: Amps::constant(0.113), ..phase("standby", 2.0, 60.0) });
        draw(&trace, None, &finding, &Options::default()).unwrap()
    };
    let top_of_trace = |scene: &Scene| {
        let steps = scene.shapes.iter().find_map(|shape| match shape {
            Shape::Steps { spans, clip, .. } => {
                let level = spans.iter().flatten().next_back().unwrap();
                let peak = spans.iter().flatten().map(|span| span.top).min().unwrap();
                let height = f64::from(clip.bottom - level.top) / f64::from(clip.height());
                Some((height, peak < clip.top))
            }
            _ => None,
        });
        steps.unwrap()
    };
    let said =
        |scene: &Scene| scene.labels().find_map(|l| l.text.starts_with("inrush").then(|| l.text.clone()));
    let (cut, whole) = (scene(0.75), scene(0.2));
    assert_eq!([said(&cut).unwrap(), said(&whole).unwrap()], ["inrush 0.750 A", "inrush, not compared"]);
    let ((level, out), (_, inside)) = (top_of_trace(&cut), top_of_trace(&whole));
    assert!(level > 0.4 && out && !inside, "{level}");
}

#[test]
fn a_limit_that_is_met_for_a_reading_is_no_speck_without_a_key() {
    use crate::trace::{Header, Mode, Sample, TraceBuilder};
    let (_, finding) = run_of(Class::Cycling);
    let hatched = |readings: u32, also: &[u32]| {
        let mut builder = TraceBuilder::new(Header { limit: Amps::new(3.0).ok(), ..Header::default() });
        for index in 0..600_u32 {
            let limits = (200..200 + readings).contains(&index) || also.contains(&index);
            let mode = if limits { Mode::ConstantCurrent } else { Mode::ConstantVoltage };
            let amps = Amps::constant(if limits { 3.0 } else { 0.5 });
            let (time, volts) = (Seconds::constant(f64::from(index) / 10.0), Volts::constant(12.8));
            builder.sample(Sample { time, volts, amps, mode, span: None }).unwrap();
        }
        let scene = draw(&builder.finish(), None, &finding, &Options::default()).unwrap();
        let bars = scene.shapes.iter().filter(|shape| matches!(shape, Shape::Hatch { .. })).count();
        let key = scene.labels().any(|label| label.text == "supply in its current limit");
        (bars, key)
    };
    assert_eq!(hatched(1, &[]), (0, false));
    // Its sample, and a bar above the line and along the volts.
    assert_eq!(hatched(20, &[]), (3, true));
    // Beside a long one a short one is shown too: without, it would be taken for a time out of the limit.
    assert_eq!(hatched(20, &[400, 599]), (7, true));
}

#[test]
fn no_rest_of_a_line_stands_behind_the_words_at_its_end() {
    let (_, mut finding) = run_of(Class::FullBoot);
    finding.log.limit_a = Amps::new(1.0).ok();
    let trace = trace(600, 60.0, |_| 0.85);
    for size in sizes() {
        let scene = draw(&trace, None, &finding, &options(size, Theme::Light)).unwrap();
        let Some(words) = scene.labels().find(|label| label.text.starts_with("current limit")) else {
            continue;
        };
        let line = scene.shapes.iter().find_map(|shape| match shape {
            Shape::Dashed { area, color, .. } if *color == Theme::Light.palette().limit => Some(*area),
            _ => None,
        });
        let (words, line) = (words.bounds(), line.unwrap());
        let unit = Sheet::new(&options(size, Theme::Light), LEAST).u(2.0);
        assert!(line.right - words.right <= 2 * unit, "{size}: {words:?} on {line:?}");
    }
}

#[test]
fn beside_what_draws_nothing_the_axis_ends_at_what_good_boards_draw_at_rest() {
    let profile = profile();
    let tops = |inrush: f64, step: f64| {
        let trace = trace(601, 60.0, |index| if index == 21 { inrush } else { 0.0 });
        let mut finding = finding(vec![phase("off", 0.0, 2.0), phase("no draw", 2.0, 60.0)]);
        finding.departures.clear();
        finding.verdict.class = Class::NoDraw;
        finding.log.resolution_a = Amps::new(step).ok();
        let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
        let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 60.0 };
        let readings = Readings::new(&subject, time);
        let rest = envelope::expected(&subject, &readings)[0].peak;
        let scale = amps::Scale::new(&subject, &readings);
        let top = |scale: amps::Scale| scale.main(Rect::new(0, 0, 600, 300)).high;
        (rest, top(scale), top(scale.with_headroom(2.0)))
    };
    let (rest, top, _) = tops(0.0, 0.005);
    assert!(top < 1.3 * rest, "{top} for {rest}: no steps of noise, but what it is held to");
    let (_, plain, _) = tops(0.0, 0.001);
    let inrush = 1.4 * plain;
    let (_, top, raised) = tops(inrush, 0.001);
    assert!((top - plain).abs() < 1e-9, "{top} for {plain}");
    assert!(raised < inrush, "{raised}: what is cut stays cut under a note");
}

#[test]
fn a_strip_that_magnifies_less_than_three_times_is_left_out() {
    let times = |boot: f64| {
        let (_, mut finding) = run_of(Class::FullBoot);
        let level = |index: u32| match index {
            0..20 => 0.0,
            90..300 => boot,
            _ => 0.011,
        };
        for phase in &mut finding.phases {
            let mean = if phase.name == "boot" { boot } else { 0.011 };
            phase.mean_a = Amps::constant(if phase.name == "off" { 0.0 } else { mean });
        }
        let trace = trace(600, 60.0, level);
        let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
        scene.labels().find_map(|label| {
            label.text.strip_prefix("low current, magnified ")?.strip_suffix(" times")?.parse::<f64>().ok()
        })
    };
    let drawn: Vec<Option<f64>> = (12..60).map(|step| times(f64::from(step) / 100.0)).collect();
    assert!(drawn.iter().flatten().all(|times| *times >= 3.0), "{drawn:?}");
    assert!(drawn.first().unwrap().is_none() && drawn.last().unwrap().is_some(), "{drawn:?}");
}

#[test]
fn an_inrush_has_its_name_once_on_the_strip_that_it_runs_out_of_where_the_other_has_none() {
    let names = |inrush: f64| {
        let (_, mut finding) = run_of(Class::FullBoot);
        let level = |index: u32| match index {
            0..20 => 0.0,
            20 => inrush,
            90..300 => 0.8,
            _ => 0.024,
        };
        finding.log.limit_a = None;
        let scene = draw(&trace(600, 60.0, level), None, &finding, &Options::default()).unwrap();
        assert_legible(&scene);
        let caption = scene.labels().find(|label| label.text.starts_with("low current")).unwrap().at.1;
        let names = scene.labels().filter(|label| label.text.starts_with("inrush"));
        names.map(|label| (label.text.clone(), label.at.1 > caption)).collect::<Vec<_>>()
    };
    assert_eq!(names(0.5), [("inrush 0.500 A".to_owned(), true)]);
    assert_eq!(names(1.2), [("inrush, not compared".to_owned(), false)]);
    assert_eq!(names(0.024), []);
}

#[test]
fn an_inrush_far_above_what_follows_has_its_name_where_there_is_room_though_the_boot_goes_higher() {
    let named = |inrush: f64, (on, boot): (u32, u32)| {
        let (_, mut finding) = run_of(Class::FullBoot);
        let level = |index: u32| match index {
            index if index < on => 0.0,
            index if index == on => inrush,
            index if index < boot => 0.1,
            _ => 0.8,
        };
        let at = |index: u32| f64::from(index) / 10.0;
        finding.phases = vec![
            phase("off", 0.0, at(on)),
            Phase { mean_a: Amps::constant(0.1), ..phase("standby", at(on), at(boot)) },
            phase("boot", at(boot), 60.0),
        ];
        (finding.log.limit_a, finding.log.resolution_a) = (None, None);
        let scene = draw(&trace(600, 60.0, level), None, &finding, &Options::default()).unwrap();
        assert_legible(&scene);
        let strip = amps_area(&scene);
        let row = |label: &crate::render::scene::Label| label.bounds().bottom - strip.top;
        starting_with(&scene, "inrush").map(|label| f64::from(row(label)) / f64::from(strip.height()))
    };
    // Beside its top, which is at half the height of the strip or less.
    assert!(named(0.5, (20, 200)).is_some_and(|row| row > 0.5), "{:?}", named(0.5, (20, 200)));
    assert_eq!(named(0.2, (20, 200)), None, "twice what follows is no spike");
    // Between the frame and the boot there is room right above it alone.
    let above = named(0.5, (16, 20)).expect("above it");
    assert!(above < 0.5, "{above}");
}

#[test]
fn a_standby_that_runs_out_of_the_magnified_strip_is_not_named_an_inrush() {
    let profile = profile();
    let said = |level: f64| {
        let trace = trace(600, 60.0, |index| match index {
            0..20 => 0.0,
            20 | 21 => 0.16,
            22..90 => level,
            _ => 1.4,
        });
        let standby = Phase { mean_a: Amps::constant(level), ..phase("standby", 2.0, 9.0) };
        let running = Phase { mean_a: Amps::constant(1.4), ..phase("picture", 9.0, 60.0) };
        let mut finding = finding(vec![phase("off", 0.0, 2.0), standby, running]);
        finding.departures.clear();
        finding.verdict.class = Class::FullBoot;
        let scene = draw(&trace, Some(&profile), &finding, &Options::default()).unwrap();
        assert!(scene.labels().any(|label| label.text.starts_with("low current")), "{level}");
        scene.labels().any(|label| label.text.starts_with("inrush"))
    };
    assert!(said(0.03));
    assert!(!said(0.15));
}
