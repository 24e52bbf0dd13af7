//! Grid, frame and numbers of a strip.

use super::super::super::axis::{ValueAxis, round_step};
use super::super::super::font::Weight;
use super::super::super::geometry::Rect;
use super::super::super::scene::{Anchor, Label, Style};
use super::super::super::sheet::{Sheet, em};
use crate::units::Amps;

/// Grid, frame and labels of a strip of amps.
pub(in crate::render) fn amps_grid(sheet: &mut Sheet, axis: ValueAxis) {
    read_grid(sheet, axis, None);
}

/// Whether the numbers of an axis of amps are milliamps.
pub(in crate::render) fn is_in_milliamps(axis: ValueAxis) -> bool {
    /// One that ends below this reads better so.
    const BELOW: f64 = 0.5;
    axis.high < BELOW
}

/// The same of amps that are read in such steps: its numbers are no finer.
pub(super) fn read_grid(sheet: &mut Sheet, axis: ValueAxis, step: Option<Amps>) {
    let (unit, factor) = if is_in_milliamps(axis) { ("mA", 1e3) } else { ("A", 1.0) };
    let most = (axis.area.height() / sheet.u(52.0)).max(2);
    ruled(sheet, axis, (most, step.map_or(0.0, Amps::value)), unit, factor);
}

/// Grid, frame and labels of a strip; the topmost label that has room carries the unit.
pub(in crate::render) fn grid(sheet: &mut Sheet, axis: ValueAxis, most: i32, unit: &str, factor: f64) {
    ruled(sheet, axis, (most, 0.0), unit, factor);
}

/// The same with numbers at least `least` apart.
fn ruled(sheet: &mut Sheet, axis: ValueAxis, (most, least): (i32, f64), unit: &str, factor: f64) {
    let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    if axis.area.height() < style.line_height() {
        return;
    }
    let (rows, mut numbers) = numbers(sheet, axis, style, (most, least), (unit, factor));
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
/// round steps leave a low strip no more, finer ones are tried, of which only those with a number have a line, but none
/// finer than `least`.
fn numbers(
    sheet: &Sheet,
    axis: ValueAxis,
    style: Style,
    (most, least): (i32, f64),
    (unit, factor): (&str, f64),
) -> (Vec<i32>, Vec<(String, Label)>) {
    /// Times as many steps to try.
    const FINER: i32 = 6;
    let set =
        |most: i32, near: f64| numbers_of(sheet, axis, (style, near), (axis.ticks(most, factor > 1.0), unit));
    let rows = |ticks: &[Numbered]| ticks.iter().map(|tick| tick.0).collect::<Vec<_>>();
    let with_number = |ticks: Vec<Numbered>| -> Vec<_> {
        ticks.into_iter().filter_map(|(_, number, label)| Some((number, label?))).collect()
    };
    let tells = |ticks: &Vec<Numbered>| ticks.iter().filter(|(.., label)| label.is_some()).count() > 1;
    // A hair more, so that a step that is what is least is none finer.
    let is_read = |most: &i32| round_step((axis.high - axis.low) / f64::from(*most)) * (1.0 + 1e-9) >= least;
    let most = (1..=most).rev().find(is_read).unwrap_or(1);
    // On their lines, and only where no two of them are so, beside them.
    let ways = [0.0, NEAR].into_iter().flat_map(|near| {
        let finer = (most + 1..=most * FINER).take_while(is_read);
        std::iter::once((most, near)).chain(finer.map(move |most| (most, near)))
    });
    let found = ways.map(|(steps, near)| (steps > most, set(steps, near))).find(|(_, ticks)| tells(ticks));
    let (finer, mut ticks) = found.unwrap_or_else(|| (false, set(most, NEAR)));
    ticks.retain(|(.., label)| !finer || label.is_some());
    (rows(&ticks), with_number(ticks))
}

/// The row of a tick, its number, and where that stands with its unit, if it finds room.
type Numbered = (i32, String, Option<Label>);

/// Each tick with the place of its number, with room for the unit, which the topmost of those that find room carries. Those
/// with a number are as far apart from one another: a scale with uneven steps is misread.
fn numbers_of(
    sheet: &Sheet,
    axis: ValueAxis,
    (style, near): (Style, f64),
    (ticks, unit): (Vec<(f64, String)>, &str),
) -> Vec<Numbered> {
    let place = |(value, number): &(f64, String), ceiling: i32| {
        let text = format!("{number} {unit}");
        number_label(sheet, axis, axis.row_within(*value), (&text, style), (ceiling, near))
    };
    // From tick `first` on each `apart`-th, as far as there is room for it.
    let placed = |(apart, first): (usize, usize)| {
        let mut ceiling = axis.area.bottom + sheet.u(30.0);
        let mut labels: Vec<(usize, Label)> = Vec::new();
        for index in (first..ticks.len()).step_by(apart) {
            let Some(label) = place(&ticks[index], ceiling) else { break };
            ceiling = label.at.1 - label.bounds().height();
            labels.push((index, label));
        }
        labels
    };
    let ways = (1..ticks.len().max(2)).flat_map(|apart| (0..ticks.len()).map(move |first| (apart, first)));
    // The first of those with the most numbers: `max_by_key` would take the last.
    let best = ways.map(placed).rev().max_by_key(Vec::len).unwrap_or_default();
    let label = |index: usize| best.iter().find(|(of, _)| *of == index).map(|(_, label)| label.clone());
    let labels: Vec<Option<Label>> = (0..ticks.len()).map(label).collect();
    let row =
        |((value, number), label): ((f64, String), Option<Label>)| (axis.row_within(value), number, label);
    ticks.into_iter().zip(labels).map(row).collect()
}

/// How far a number may stand off its line, in units of the layout.
const NEAR: f64 = 3.0;

/// A number beside its line, also at the ends of the axis; where something else stands there, so far off it at most, within
/// the strip. `None` where it would not stand below the `ceiling` even so.
fn number_label(
    sheet: &Sheet,
    axis: ValueAxis,
    row: i32,
    (text, style): (&str, Style),
    (ceiling, near): (i32, f64),
) -> Option<Label> {
    let x = axis.area.left - sheet.u(6.0);
    let at = |baseline: i32| Label { text: text.to_owned(), at: (x, baseline), anchor: Anchor::End, style };
    let beside = style.baseline_at(row);
    let within = beside.clamp(axis.area.top + sheet.u(10.0), axis.area.bottom);
    let places = [beside, within, within + sheet.u(3.0), within - sheet.u(3.0)];
    // Further off it would be the number of another height.
    let near = |baseline: &i32| (baseline - beside).abs() <= sheet.u(near);
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

    #[test]
    fn numbers_of_a_low_strip_stand_on_their_lines() {
        // Steps of half a volt are too close for each to have its number.
        let (mut sheet, area) = (sheet(), Rect::new(100, 100, 500, 138));
        let axis = ValueAxis { area, low: 11.36, high: 12.7 };
        grid(&mut sheet, axis, 3, "V", 1.0);
        let labels: Vec<Label> = sheet.scene.labels().cloned().collect();
        assert!(labels.len() > 1, "{labels:?}");
        for label in labels {
            let value: f64 = label.text.trim_end_matches(" V").parse().unwrap();
            assert_eq!(label.at.1, label.style.baseline_at(axis.row_within(value)), "{label:?}");
        }
    }

    fn sheet() -> Sheet {
        Sheet::new(&super::super::super::super::options::Options::default(), (440.0, 560.0))
    }

    #[test]
    fn numbers_are_no_finer_than_the_steps_of_the_readings() {
        for (high, step) in [(0.006, 0.001), (0.0295, 0.005), (0.4, 0.05), (0.0124, 0.002)] {
            let mut sheet = sheet();
            let axis = ValueAxis { area: Rect::new(100, 100, 500, 1000), low: 0.0, high };
            read_grid(&mut sheet, axis, Amps::new(step).ok());
            let numbers: Vec<f64> = sheet
                .scene
                .labels()
                .map(|label| label.text.trim_end_matches(" mA").parse::<f64>().unwrap() / 1e3)
                .collect();
            assert!(numbers.len() > 1, "{high}: {numbers:?}");
            let finest = numbers.windows(2).map(|pair| pair[1] - pair[0]).fold(f64::INFINITY, f64::min);
            assert!(finest >= step * (1.0 - 1e-9), "{high}: {numbers:?}");
        }
    }

    #[test]
    fn numbers_of_an_axis_are_evenly_apart_whatever_stands_in_the_way_of_one() {
        let area = Rect::new(100, 100, 500, 300);
        let axis = ValueAxis { area, low: 8.1, high: 8.9 };
        let apart = |in_the_way: Option<i32>| {
            let mut sheet = sheet();
            let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
            let before = usize::from(in_the_way.is_some());
            if let Some(row) = in_the_way {
                sheet.scene.text(
                    "lane",
                    (area.left - sheet.u(6.0), style.baseline_at(row)),
                    Anchor::End,
                    style,
                );
            }
            grid(&mut sheet, axis, 8, "V", 1.0);
            let numbers = sheet.scene.labels().skip(before);
            let numbers: Vec<f64> =
                numbers.map(|label| label.text.trim_end_matches(" V").parse().unwrap()).collect();
            numbers.windows(2).map(|pair| ((pair[1] - pair[0]) * 100.0).round()).collect::<Vec<_>>()
        };
        assert!(apart(None).len() > 3, "{:?}", apart(None));
        for row in area.top..area.bottom {
            let apart = apart(Some(row));
            assert!(
                !apart.is_empty() && apart.iter().all(|step| step.total_cmp(&apart[0]).is_eq()),
                "{row}: {apart:?}"
            );
        }
    }
}
