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
