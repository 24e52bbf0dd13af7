//! A note and its dot beside the moment that they speak of.

use super::super::super::parts::notes::{Placed, arrange, notes};
use super::super::super::parts::turning::{meets, turning};
use super::*;
use crate::verdict::{Departure, Direction};

/// The notes of a run on a figure so large whose strip of amps has that width and height, with the readings in it.
fn placed(
    subject: &Subject,
    size: Size,
    (width, height): (i32, i32),
) -> (Vec<Placed>, Readings, amps::Scale) {
    let sheet = Sheet::new(&options(size, Theme::Light), LEAST);
    let readings = Readings::new(subject, TimeAxis { left: 50, right: 50 + width, from: 0.0, to: 42.0 });
    let scale = amps::Scale::new(subject, &readings).without_quiet();
    let all = notes(subject, &readings, 1);
    let areas = amps_alone(width, height);
    let (scale, placed) = arrange(&sheet, subject, &readings, &areas, &scale, &all);
    (placed, readings, scale)
}

#[test]
fn no_note_lies_over_the_fall_that_it_speaks_of() {
    // It runs at 0.8 A until 20 s and falls there, in the middle of the strip.
    let amps = |index: u32| match index {
        60..80 => 1.3,
        80..200 => 0.8,
        _ => 0.03,
    };
    let trace = trace(420, 41.9, amps);
    let mut finding =
        finding(vec![phase("off", 0.0, 1.0), phase("boot", 1.0, 20.0), phase("rest", 20.0, 41.9)]);
    finding.departures.clear();
    (finding.verdict.class, finding.verdict.reached) = (Class::DroppedOut, Some("boot".into()));
    finding.phases[2].mean_a = Amps::constant(0.03);
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let small = Size::new(480, 360).unwrap();
    let mut said = Vec::new();
    for height in [30, 42, 54, 66, 80, 120] {
        let (placed, readings, scale) = placed(&subject, small, (412, height));
        let row = scale.axes(&amps_alone(412, height)).main.row(0.8);
        let (before, fall) = (readings.time.x(19.0), readings.time.x(20.0));
        let moment = Rect::new(before, row, fall + 1, amps_alone(412, height).amps.bottom);
        assert!(placed.iter().all(|note| !note.spot.overlaps(moment)), "{height}: {placed:?} {moment:?}");
        said.push(placed.len());
    }
    // Of less room it takes fewer lines, and of next to none it has no note.
    assert_eq!(said, [0, 1, 1, 1, 1, 1]);
}

#[test]
fn where_a_stalled_board_is_at_another_level_when_it_is_overdue_the_note_tells_that_one_first() {
    let (_, mut finding) = run_of(Class::Stalled);
    finding.phases.truncate(2);
    finding.phases.push(Phase { mean_a: Amps::constant(0.66), ..phase("firmware", 9.0, 60.0) });
    (finding.verdict.stalled_in, finding.verdict.reached) =
        (Some("firmware".into()), Some("firmware".into()));
    let of = |early: f64| {
        let trace = trace(600, 59.9, |index| match index {
            0..90 => 0.024,
            90..240 => early,
            _ => 0.66,
        });
        let profile = profile();
        let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
        turning(&subject).unwrap()
    };
    let note = of(0.75);
    assert!(note.lines[1].starts_with("0.750 A here, 0.660 A at 12.8 V on average"), "{:?}", note.lines);
    assert_eq!((note.amps, note.point_at.map(|at| at - note.at < 0.2)), (Some(0.75), Some(true)));
    let note = of(0.66);
    assert!(note.lines[1].starts_with("0.660 A at 12.8 V, in it for"), "{:?}", note.lines);
}

#[test]
fn a_level_below_one_step_of_the_readings_is_met_at_the_first_of_them() {
    // Steps of 5 mA and a mean of 2 mA: all that is read is nothing or one step.
    let (_, mut finding) = run_of(Class::StandbyOnly);
    finding.log.resolution_a = Amps::new(0.005).ok();
    let trace = trace(600, 59.9, |index| if index < 40 || index % 10 < 3 { 0.005 } else { 0.0 });
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let standby = phase("standby", 2.0, 60.0);
    let met = meets(&subject, &standby, 0.002).unwrap();
    assert!(met < 2.2, "{met}");
}

#[test]
fn the_note_of_a_stage_that_lasts_too_long_says_what_its_moment_is() {
    let (trace, mut finding) = run_of(Class::FullBoot);
    finding.departures = vec![Departure {
        phase: "boot".into(),
        quantity: "time".into(),
        direction: Direction::Longer,
        measured: 21.0,
        low: 3.6,
        high: 7.83,
        unit: "s".into(),
        starts_s: Seconds::constant(9.0),
    }];
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    let wanted = "good boards have left boot by here, at most 7.83 s after its start";
    assert!(scene.labels().any(|label| label.text == wanted), "{:?}", scene.labels().collect::<Vec<_>>());
}

#[test]
fn the_callout_of_a_stalled_board_says_first_since_when_and_by_when_good_boards_leave() {
    let (trace, mut finding) = run_of(Class::Stalled);
    let profile = profile();
    finding.phases.truncate(2);
    finding.phases.push(Phase { mean_a: Amps::constant(0.8), ..phase("firmware", 9.0, 60.0) });
    (finding.verdict.stalled_in, finding.verdict.reached) =
        (Some("firmware".into()), Some("firmware".into()));
    for size in [Size::new(640, 480).unwrap(), Size::WIDE] {
        let scene = draw(&trace, Some(&profile), &finding, &options(size, Theme::Light)).unwrap();
        let said = scene.labels().any(|label| label.text.starts_with("since 9.0 s; good"));
        assert!(said, "{size}");
    }
}

#[test]
fn a_line_that_what_was_read_covers_from_top_to_foot_is_seen_on_both_sides_of_it() {
    let alarm = Theme::Light.palette().alarm;
    // An inrush beyond the scale, at the very moment that is marked.
    let trace = trace(600, 60.0, |index| match index {
        0..20 => 0.0,
        20 => 9.0,
        _ => 0.002,
    });
    let mut finding =
        super::super::super::fixtures::finding(vec![phase("off", 0.0, 2.0), phase("no draw", 2.0, 60.0)]);
    finding.departures.clear();
    finding.verdict.class = Class::NoDraw;
    for phase in &mut finding.phases {
        phase.mean_a = Amps::constant(0.002);
    }
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    let tall = scene.shapes.iter().filter(|shape| {
        matches!(shape, Shape::Fill { area, color } if *color == alarm && area.height() > 20 * area.width())
    });
    assert!(tall.count() >= 1);
}

#[test]
fn where_the_readings_end_before_the_picture_is_marked() {
    let marked = |length: f64| {
        let trace = trace(30, length, |index| if index < 20 { 0.0 } else { 0.024 });
        let mut finding = super::super::super::fixtures::finding(vec![
            phase("off", 0.0, 1.0),
            phase("standby", 1.0, length),
        ]);
        finding.departures.clear();
        finding.verdict.class = Class::Inconclusive;
        let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
        scene.labels().any(|label| label.text == "log ends")
    };
    assert!(marked(2.5), "a short log is shown beyond its end");
    assert!(!marked(60.0));
}

#[test]
fn a_deadline_says_how_it_comes_about() {
    let profile = profile();
    let (trace, mut finding) = run_of(Class::Stalled);
    let usual = profile.phases[2].duration.unwrap().high;
    finding.phases.truncate(2);
    finding.phases.push(Phase { mean_a: Amps::constant(0.8), ..phase("firmware", 9.0, 60.0) });
    (finding.verdict.stalled_in, finding.verdict.reached) =
        (Some("firmware".into()), Some("firmware".into()));
    let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
    let note = turning(&subject).unwrap();
    let (at, usual) = (Seconds::new(9.0 + usual).unwrap(), Seconds::new(usual).unwrap());
    // The note stands at the deadline; how long it lasts counts from the beginning of the stage.
    assert_eq!(note.lines[1], "0.800 A at 12.8 V, in it for 51.0 s");
    assert_eq!(note.lines[2], format!("since 9.0 s; good boards leave within {usual}, by {at}"));
}
