//! Parts by themselves.

use super::super::fixtures::{any_options, assert_legible};
use super::super::scene::Shape;
use super::super::words;
use super::*;
use proptest::prelude::*;

proptest! {
    #[test]
    fn the_time_of_the_fault_stands_below_its_line(
        options in any_options(),
        from in -100.0..1e4_f64,
        length in 0.5..1e5_f64,
        at in 0.0..1.0_f64,
    ) {
        let time = |sheet: &Sheet| {
            let area = sheet.inside();
            TimeAxis { left: area.left + sheet.u(58.0), right: area.right, from, to: from + length }
        };
        let drawn = |fault: Option<f64>| {
            let mut sheet = Sheet::new(&options, (540.0, 560.0));
            let time = time(&sheet);
            let row = Rect { left: time.left, ..sheet.inside() };
            let row = row.split_bottom(sheet.u(24.0)).1;
            let alarm = sheet.palette.alarm;
            let said = |at| (at, words::length(at, Some(0.1)), alarm);
            time_axis(&mut sheet, time, row, fault.map(said).as_slice());
            (sheet, time)
        };
        let fault = from + at * length;
        let (sheet, time) = drawn(Some(fault));
        assert_legible(&sheet.scene);
        // Every number has its stroke; one that the time of the fault leaves no room for has its stroke still.
        let palette = sheet.palette;
        let strokes = |color| {
            let fills = sheet.scene.shapes.iter().filter_map(|shape| match shape {
                Shape::Fill { area, color: of } => Some((area.width(), *of)),
                _ => None,
            });
            fills.filter(|(width, of)| *width == 1 && *of == color).count()
        };
        let said = |color| sheet.scene.labels().filter(|label| label.style.color == color).count();
        prop_assert!(strokes(palette.frame) >= said(palette.faint_text));
        let near = |label: &super::super::scene::Label| {
            let bounds = label.bounds();
            sheet.scene.shapes.iter().any(|shape| {
                matches!(shape, Shape::Fill { area, .. }
                    if area.width() == 1 && (bounds.left - 1..=bounds.right).contains(&area.left))
            })
        };
        let mut numbers = sheet.scene.labels().filter(|label| label.style.color == palette.faint_text);
        prop_assert!(numbers.all(near));
        let fault_label = sheet.scene.labels().find(|label| label.style.color == palette.alarm);
        let bounds = fault_label.map(super::super::scene::Label::bounds);
        let x = time.x_within(fault);
        let below = bounds.is_some_and(|bounds| bounds.left <= x && x <= bounds.right);
        prop_assert!(below, "{bounds:?} from its line at {x}");
        let plain = drawn(None).0.scene.labels().count();
        prop_assert!(said(palette.faint_text) > 0 || plain <= 1, "none of {} left", plain);
    }
}

/// The labels of an axis over so many seconds, on a figure of that size, beside a time that is told.
fn labels_beside(
    size: (u32, u32),
    (from, to): (f64, f64),
    told: impl Fn(&Sheet, TimeAxis) -> f64,
) -> Vec<String> {
    let size = super::super::options::Size::new(size.0, size.1).unwrap();
    let mut sheet =
        Sheet::new(&super::super::options::Options { size, ..Default::default() }, (440.0, 700.0));
    let area = sheet.inside();
    let time = TimeAxis { left: area.left + sheet.u(58.0), right: area.right, from, to };
    let row = Rect { left: time.left, ..area }.split_bottom(sheet.u(24.0)).1;
    let (at, alarm) = (told(&sheet, time), sheet.palette.alarm);
    time_axis(&mut sheet, time, row, &[(at, words::length(at, Some(0.1)), alarm)]);
    assert_legible(&sheet.scene);
    sheet.scene.labels().map(|label| label.text.clone()).collect()
}

#[test]
fn a_zero_that_words_refer_to_stays_beside_a_time_right_after_it() {
    let labels = labels_beside((480, 360), (-7.6, 68.0), |_, _| 1.7);
    assert!(labels.contains(&"0 s".to_owned()) && labels.contains(&"1.7 s".to_owned()), "{labels:?}");
}

#[test]
fn a_round_time_moves_a_little_before_it_goes() {
    let labels = labels_beside((640, 480), (0.0, 70.0), |sheet, time| {
        let bold = sheet.style(em::USUAL, Weight::Bold, sheet.palette.alarm);
        let small = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
        // As far before 10 s as both labels would just stand on each other.
        let away = i32::midpoint(bold.width("5.0 s"), small.width("10 s"));
        10.0 - f64::from(away) * (time.to - time.from) / f64::from(time.right - time.left)
    });
    assert!(labels.contains(&"10 s".to_owned()), "{labels:?}");
}

proptest! {
    #[test]
    fn two_round_times_stand_beside_any_time_that_is_told(
        size in prop::sample::select(vec![(480, 360), (640, 480), (1000, 700), (1600, 900)]),
        from in prop::sample::select(vec![0.0, 0.0, -7.6, 13.4, 120.0]),
        length in 0.5..900.0_f64,
        at in 0.0..1.0_f64,
    ) {
        let labels = labels_beside(size, (from, from + length), |_, time| time.from + at * (time.to - time.from));
        // The last is the one that is told.
        prop_assert!(labels.len() >= 3, "{labels:?}");
    }
}

#[test]
fn a_zero_stays_beside_a_time_right_before_it_at_the_left_end() {
    let labels = labels_beside((480, 360), (-2.5, 57.0), |_, _| -1.4);
    assert!(labels.contains(&"0 s".to_owned()) && labels.contains(&"-1.4 s".to_owned()), "{labels:?}");
}

#[test]
fn two_moments_that_are_close_have_their_times_both() {
    let size = super::super::options::Size::new(1000, 700).unwrap();
    let mut sheet =
        Sheet::new(&super::super::options::Options { size, ..Default::default() }, (440.0, 780.0));
    let area = sheet.inside();
    let time = TimeAxis { left: area.left + sheet.u(58.0), right: area.right, from: -3.4, to: 47.0 };
    let row = Rect { left: time.left, ..area }.split_bottom(sheet.u(24.0)).1;
    let alarm = sheet.palette.alarm;
    let told = [(2.2, "before 2.2 s".to_owned(), alarm), (1.6, "after 1.6 s".to_owned(), alarm)];
    time_axis(&mut sheet, time, row, &told);
    assert_legible(&sheet.scene);
    let labels: Vec<&str> = sheet.scene.labels().map(|label| label.text.as_str()).collect();
    let round = labels.iter().filter(|label| !label.contains('.')).count();
    assert!(labels.contains(&"before 2.2 s") && labels.contains(&"after 1.6 s") && round >= 2, "{labels:?}");
}
