//! Grid, frame and numbers of a strip.

use super::super::super::axis::ValueAxis;
use super::super::super::font::Weight;
use super::super::super::geometry::Rect;
use super::super::super::scene::{Anchor, Label, Style};
use super::super::super::sheet::{Sheet, em};

/// Grid, frame and labels of a strip of amps.
pub(in crate::render) fn amps_grid(sheet: &mut Sheet, axis: ValueAxis) {
    /// An axis that ends below this reads better in milliamps.
    const MILLIAMPS_BELOW: f64 = 0.5;
    let (unit, factor) = if axis.high < MILLIAMPS_BELOW { ("mA", 1e3) } else { ("A", 1.0) };
    let most = (axis.area.height() / sheet.u(52.0)).max(2);
    grid(sheet, axis, most, unit, factor);
}

/// Grid, frame and labels of a strip; the topmost label that has room carries the unit.
pub(in crate::render) fn grid(sheet: &mut Sheet, axis: ValueAxis, most: i32, unit: &str, factor: f64) {
    let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    if axis.area.height() < style.line_height() {
        return;
    }
    let (rows, mut numbers) = numbers(sheet, axis, style, (most, unit, factor));
    for row in rows {
        let line = Rect::new(axis.area.left, row, axis.area.right, row + 1);
        sheet.scene.fill(line, sheet.palette.grid);
    }
    let topmost = numbers.pop();
    for (number, label) in numbers {
        sheet.scene.text(number, label.at, label.anchor, label.style);
    }
    if let Some((_, label)) = topmost {
        sheet.scene.text(label.text, label.at, label.anchor, label.style);
    }
    sheet.scene.frame(axis.area, 1, sheet.palette.frame);
}

/// The rows of a grid, and the numbers of those that find room, from the lowest up. One number alone tells no scale: where
/// round steps leave a low strip no more, finer ones are tried, of which only those with a number have a line.
fn numbers(
    sheet: &Sheet,
    axis: ValueAxis,
    style: Style,
    (most, unit, factor): (i32, &str, f64),
) -> (Vec<i32>, Vec<(String, Label)>) {
    /// Times as many steps to try.
    const FINER: i32 = 6;
    let set = |most: i32| numbers_of(sheet, axis, style, (axis.ticks(most, factor > 1.0), unit));
    let rows = |ticks: &[Numbered]| ticks.iter().map(|tick| tick.0).collect::<Vec<_>>();
    let with_number = |ticks: Vec<Numbered>| -> Vec<_> {
        ticks.into_iter().filter_map(|(_, number, label)| Some((number, label?))).collect()
    };
    let tells = |ticks: &Vec<Numbered>| ticks.iter().filter(|(.., label)| label.is_some()).count() > 1;
    let usual = set(most);
    let finer = if tells(&usual) { None } else { (most + 1..=most * FINER).map(set).find(tells) };
    let Some(mut finer) = finer else { return (rows(&usual), with_number(usual)) };
    finer.retain(|(.., label)| label.is_some());
    (rows(&finer), with_number(finer))
}

/// The row of a tick, its number, and where that stands with its unit, if it finds room.
type Numbered = (i32, String, Option<Label>);

/// Each tick with the place of its number, with room for the unit, which the topmost of those that find room carries.
fn numbers_of(
    sheet: &Sheet,
    axis: ValueAxis,
    style: Style,
    (ticks, unit): (Vec<(f64, String)>, &str),
) -> Vec<Numbered> {
    let mut ceiling = axis.area.bottom + sheet.u(30.0);
    let mut place = |(value, number): (f64, String)| {
        let row = axis.row_within(value);
        let label = number_label(sheet, axis, row, (&format!("{number} {unit}"), style), ceiling);
        ceiling = label.as_ref().map_or(ceiling, |label| label.at.1 - style.line_height());
        (row, number, label)
    };
    ticks.into_iter().map(&mut place).collect()
}

/// How far a number may stand off its line, in units of the layout.
const NEAR: f64 = 3.0;

/// A number beside its line, also at the ends of the axis; where something else stands there, within the strip. `None` where
/// it would not stand below the `ceiling` even so.
fn number_label(
    sheet: &Sheet,
    axis: ValueAxis,
    row: i32,
    (text, style): (&str, Style),
    ceiling: i32,
) -> Option<Label> {
    let x = axis.area.left - sheet.u(6.0);
    let at = |baseline: i32| Label { text: text.to_owned(), at: (x, baseline), anchor: Anchor::End, style };
    let beside = style.baseline_at(row);
    let within = beside.clamp(axis.area.top + sheet.u(10.0), axis.area.bottom);
    let places = [beside, within, within + sheet.u(3.0), within - sheet.u(3.0)];
    // Further off it would be the number of another height.
    let near = |baseline: &i32| (baseline - beside).abs() <= sheet.u(NEAR);
    let free = |label: &Label| label.at.1 <= ceiling && is_free(sheet, label.bounds());
    places.into_iter().filter(near).map(at).find(free)
}

/// Whether words at `spot` stand on the sheet and on no others.
fn is_free(sheet: &Sheet, spot: Rect) -> bool {
    sheet.scene.bounds().holds(spot) && !sheet.scene.labels().any(|label| label.bounds().overlaps(spot))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_stands_beside_its_own_line_or_nowhere() {
        let options = super::super::super::super::options::Options::default();
        for off in -20..20 {
            let mut sheet = Sheet::new(&options, (440.0, 560.0));
            let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
            let area = Rect::new(100, 100, 500, 180);
            // Words of another strip beside the upper end of this one.
            sheet.scene.text("0", (area.left - sheet.u(6.0), area.top + off), Anchor::End, style);
            grid(&mut sheet, ValueAxis { area, low: 0.0, high: 10.4 }, 2, "V", 1.0);
            let axis = ValueAxis { area, low: 0.0, high: 10.4 };
            let numbers: Vec<(String, i32)> =
                sheet.scene.labels().skip(1).map(|label| (label.text.clone(), label.at.1)).collect();
            assert!(numbers.len() > 1, "{off}: {numbers:?}");
            for (number, baseline) in &numbers {
                let value: f64 = number.trim_end_matches(" V").parse().unwrap();
                let beside = style.baseline_at(axis.row_within(value));
                assert!(
                    (baseline - beside).abs() <= sheet.u(NEAR),
                    "{off}: {number} at {baseline}, not {beside}"
                );
            }
        }
    }

    #[test]
    fn a_low_strip_has_two_numbers_too_and_the_topmost_carries_the_unit() {
        let options = super::super::super::super::options::Options::default();
        let mut sheet = Sheet::new(&options, (440.0, 560.0));
        let said = |sheet: &mut Sheet, height: i32| {
            let before = sheet.scene.labels().count();
            let area = Rect::new(100, 100 + 200 * i32::from(before > 0), 500, 100 + height);
            grid(sheet, ValueAxis { area, low: 16.9, high: 19.2 }, 2, "V", 1.0);
            sheet.scene.labels().skip(before).map(|label| label.text.clone()).collect::<Vec<_>>()
        };
        // Round steps have room for 18.0 alone.
        for height in [20, 400] {
            let numbers = said(&mut sheet, height);
            let with_unit = numbers.iter().filter(|text| text.ends_with(" V")).count();
            assert!(numbers.len() > 1 && with_unit == 1, "{height}: {numbers:?}");
            assert!(numbers.last().unwrap().ends_with(" V"), "{height}: {numbers:?}");
        }
    }
}
