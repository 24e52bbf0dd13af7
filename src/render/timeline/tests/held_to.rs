//! What good boards do, beside notes and inrushes.

use super::*;

/// A board that is at `amps` from 2 s on, after an inrush up to `inrush`.
fn at_rest(class: Class, amps: f64, inrush: f64) -> (Trace, Finding) {
    let (_, mut finding) = run_of(class);
    let name = if class == Class::NoDraw { "no draw" } else { "standby" };
    finding.phases.truncate(1);
    finding.phases.push(Phase { mean_a: Amps::constant(amps), ..phase(name, 2.0, 60.0) });
    finding.verdict.reached = (class != Class::NoDraw).then(|| name.into());
    let read = move |index: u32| match index {
        0..20 => 0.0,
        20 | 21 => inrush,
        _ => amps,
    };
    (trace(600, 60.0, read), finding)
}

/// The strip of all amps.
fn strip(scene: &Scene) -> Rect {
    let clip = |shape: &Shape| if let Shape::Steps { clip, .. } = shape { Some(*clip) } else { None };
    scene.shapes.iter().find_map(clip).unwrap()
}

#[test]
fn an_inrush_crosses_no_line_of_what_good_boards_peak_at() {
    let (trace, finding) = at_rest(Class::StandbyOnly, 0.024, 0.08);
    let scene = draw(&trace, Some(&profile()), &finding, &Options::default()).unwrap();
    let (strip, edge) = (strip(&scene), Theme::Light.palette().envelope_edge);
    let line = |shape: &Shape| match shape {
        Shape::Dashed { area, color, .. } if *color == edge && strip.overlaps(*area) => Some(*area),
        _ => None,
    };
    let mut lines: Vec<Rect> =
        scene.shapes.iter().filter_map(line).filter(|line| line.width() > 300).collect();
    lines.sort_by_key(|line| line.top);
    let second = strip.width() / 60;
    let from = |line: &Rect| f64::from(line.left - strip.left) / f64::from(second);
    // The highest of them is that of the peaks.
    let (peak, mean) = (lines.first().unwrap(), lines.iter().min_by_key(|line| line.left).unwrap());
    assert!(from(peak) > 2.15 && from(peak) < 2.6, "{lines:?} {strip:?}");
    assert!(from(mean) < 2.15, "the usual mean holds from switch-on: {lines:?}");
}

#[test]
fn a_note_leaves_what_good_boards_keep_within_uncovered_where_there_is_room() {
    let (trace, mut finding) = at_rest(Class::NoDraw, 0.0, 0.0);
    // Room for a note above the band: an axis of 25 steps.
    finding.log.resolution_a = Amps::new(0.005).ok();
    let scene = draw(&trace, Some(&profile()), &finding, &Options::default()).unwrap();
    let (strip, good) = (strip(&scene), Theme::Light.palette().envelope);
    let band = |shape: &Shape| match shape {
        Shape::Fill { area, color } if *color == good && strip.overlaps(*area) => Some(*area),
        _ => None,
    };
    let bands: Vec<Rect> = scene.shapes.iter().filter_map(band).collect();
    let note = boxes(&scene)[0];
    assert!(!bands.is_empty() && !bands.iter().any(|band| band.overlaps(note)), "{bands:?} {note:?}");
}

#[test]
fn of_a_standby_below_a_step_of_the_supply_it_is_said_that_good_boards_show_no_more() {
    let (trace, mut finding) = at_rest(Class::NoDraw, 0.0, 0.0);
    let profile = profile();
    let mut says = |step: f64| {
        finding.log.resolution_a = Amps::new(step).ok();
        let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
        let lines = super::super::super::parts::turning::turning(&subject).unwrap().lines;
        let told = |line: &&String| line.starts_with("good boards stand by at");
        lines.iter().find(told).map(|line| line.ends_with("mA, less than one step too"))
    };
    // They stand by at some 25 mA.
    assert_eq!([0.1, 0.001].map(&mut says), [Some(true), None]);
}

#[test]
fn the_legend_has_the_peaks_where_they_have_a_line_and_only_there() {
    let (trace, finding) = at_rest(Class::StandbyOnly, 0.024, 0.0);
    let said = |peak: f64| {
        let mut profile = profile();
        profile.phases[0].peak_power.high = peak * profile.phases[0].mean_power.high;
        let scene = draw(&trace, Some(&profile), &finding, &Options::default()).unwrap();
        scene.labels().any(|label| label.text == "peak, at most")
    };
    // At the edge of the band nobody sees a line.
    assert_eq!([1.2, 1.0].map(said), [true, false]);
}
