//! Gaps of the readings.

use super::super::font::Weight;
use super::super::geometry::Rect;
use super::super::scene::{Anchor, Label};
use super::super::sheet::{Sheet, em};
use super::legend::NO_READINGS;
use super::readings::Readings;

/// Stretches without readings: nothing between two dotted edges. Hatched is where the supply limits, and nothing else.
pub(in crate::render) fn draw(sheet: &mut Sheet, readings: &Readings, area: Rect) {
    for gap in &readings.gaps {
        let within = gap_area(readings, area, *gap);
        sheet.scene.fill(within, sheet.palette.paper);
        let pen = sheet.pen(1.5, 2.5, sheet.palette.frame);
        for x in [within.left, within.right - 1] {
            sheet.scene.down(x, (within.top, within.bottom), pen);
        }
    }
}

/// Says of the gaps what they are, where there is room.
pub(in crate::render) fn words(sheet: &mut Sheet, readings: &Readings, area: Rect) {
    for gap in &readings.gaps {
        if let Some((ground, label)) = ground_and_words(sheet, readings, area, *gap) {
            super::on_ground(sheet, ground, label);
        }
    }
}

fn gap_area(readings: &Readings, area: Rect, (start, end): (f64, f64)) -> Rect {
    let (left, right) = (readings.time.x(start) + 1, readings.time.x(end));
    Rect { left, right, ..area }.intersection(area)
}

/// What a gap is called, and the ground below the words; `None` where there is no room for them.
pub(super) fn ground_and_words(
    sheet: &Sheet,
    readings: &Readings,
    area: Rect,
    gap: (f64, f64),
) -> Option<(Rect, Label)> {
    let gap = gap_area(readings, area, gap);
    let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let (text, (x, y), half) = (NO_READINGS, gap.center(), sheet.u(10.0));
    let width = style.width(text) + sheet.u(8.0);
    let ground = Rect::new(x - width / 2, y - half, x + width / 2, y + half);
    let label = Label { text: text.into(), at: (x, style.baseline_at(y)), anchor: Anchor::Middle, style };
    (width < gap.width()).then_some((ground, label))
}
