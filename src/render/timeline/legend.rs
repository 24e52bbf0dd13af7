//! What the lines and bands of the amps panel stand for.

use super::super::font::Weight;
use super::super::geometry::Rect;
use super::super::scene::Anchor;
use super::super::sheet::{Sheet, em};
use super::super::theme::Color;

/// How the sample beside a word looks.
#[derive(Debug, Clone, Copy)]
enum Swatch {
    /// A line of that width and dash.
    Line(f64, f64, Color),
    /// A filled band with edges.
    Band,
}

/// Draws the samples and their words from the left, as many as `row` has room for.
pub(super) fn draw(sheet: &mut Sheet, row: Rect) {
    if row.is_empty() {
        return;
    }
    let palette = sheet.palette;
    let edge = palette.envelope_edge;
    let entries = [
        (Swatch::Line(2.4, 0.0, palette.ink), "this board"),
        (Swatch::Band, "good boards keep their mean in here"),
        (Swatch::Line(1.0, 6.0, edge), "usual mean"),
        (Swatch::Line(1.0, 2.0, edge), "highest peak"),
    ];
    let style = sheet.style(em::SMALL, Weight::Regular, palette.faint_text);
    let (length, y) = (sheet.u(28.0), row.center().1);
    let mut x = row.left;
    for (swatch, word) in entries {
        let text_x = x + length + sheet.u(6.0);
        let end = text_x + style.width(word);
        if end > row.right {
            return;
        }
        sample(sheet, swatch, Rect::new(x, y - sheet.u(6.0), x + length, y + sheet.u(6.0)));
        sheet.scene.text(word, (text_x, style.baseline_at(y)), Anchor::Start, style);
        x = end + sheet.u(22.0);
    }
}

fn sample(sheet: &mut Sheet, swatch: Swatch, area: Rect) {
    match swatch {
        Swatch::Line(width, dash, color) => {
            let pen = sheet.pen(width, dash, color);
            sheet.scene.across((area.left, area.right), area.center().1, pen);
        }
        Swatch::Band => {
            let (edge, palette) = (sheet.u(1.0), sheet.palette);
            sheet.scene.fill(area, palette.envelope);
            sheet.scene.fill(Rect { bottom: area.top + edge, ..area }, palette.envelope_edge);
            sheet.scene.fill(Rect { top: area.bottom - edge, ..area }, palette.envelope_edge);
        }
    }
}
