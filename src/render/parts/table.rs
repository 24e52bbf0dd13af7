//! A small table: names in the first column, what belongs to them in the others.

use super::super::font::{Weight, clean};
use super::super::geometry::{Rect, px};
use super::super::scene::{Anchor, Style};
use super::super::sheet::{Sheet, em};

/// A column's heading and its share of the width.
pub(in crate::render) type Column = (&'static str, f64);

/// Units of the layout to a row.
const ROW: f64 = 22.0;

/// The same where rows are many.
const DENSE: f64 = 17.0;

/// Whether a table `width` pixels wide has room for more columns than a name and what is said of it.
pub(in crate::render) fn is_wide(sheet: &Sheet, width: i32) -> bool {
    /// Below this many units five columns would be mostly ellipses.
    const WIDE: f64 = 900.0;
    width >= sheet.u(WIDE)
}

/// The height that a table of so many rows takes, its heading included.
pub(in crate::render) fn height(sheet: &Sheet, rows: usize) -> i32 {
    sheet.u(ROW) * i32::try_from(rows + 1).unwrap_or(i32::MAX)
}

/// The height that the same rows take at least, in smaller letters.
pub(in crate::render) fn dense_height(sheet: &Sheet, rows: usize) -> i32 {
    sheet.u(DENSE) * i32::try_from(rows + 1).unwrap_or(i32::MAX)
}

/// Draws heading and rows into `area`, in smaller letters where they are many; rows that it has no room for even so are
/// counted in the last that it has.
pub(in crate::render) fn draw(sheet: &mut Sheet, area: Rect, columns: &[Column], rows: &[Vec<String>]) {
    let dense = height(sheet, rows.len()) > area.height();
    let (pitch, size) = if dense { (sheet.u(DENSE), em::SMALL) } else { (sheet.u(ROW), em::USUAL) };
    let room = usize::try_from(area.height() / pitch).unwrap_or(0).saturating_sub(1);
    if room == 0 {
        return;
    }
    let line = |index: usize| {
        let top = area.top + i32::try_from(index).unwrap_or(i32::MAX) * pitch;
        Rect { top, bottom: top + pitch, ..area }
    };
    let faint = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let heads: Vec<String> = columns.iter().map(|(head, _)| (*head).to_owned()).collect();
    row(sheet, line(0), columns, &heads, [faint, faint]);
    let name = sheet.style(size, Weight::Bold, sheet.palette.text);
    let cell = sheet.style(size, Weight::Regular, sheet.palette.text);
    let shown = if rows.len() > room { room - 1 } else { rows.len() };
    for (index, cells) in (1..).zip(&rows[..shown]) {
        row(sheet, line(index), columns, cells, [name, cell]);
    }
    if shown < rows.len() {
        let rest = vec![format!("and {} more", rows.len() - shown)];
        row(sheet, line(room), columns, &rest, [faint, faint]);
    }
}

/// One row with a line above it.
fn row(sheet: &mut Sheet, line: Rect, columns: &[Column], cells: &[String], [name, cell]: [Style; 2]) {
    sheet.scene.fill(Rect { bottom: line.top + 1, ..line }, sheet.palette.grid);
    let total: f64 = columns.iter().map(|(_, share)| share).sum();
    let mut before = 0.0;
    for (index, ((_, share), text)) in columns.iter().zip(cells).enumerate() {
        let style = if index == 0 { name } else { cell };
        let at = |share: f64| line.left + px(f64::from(line.width()) * share / total);
        let (left, right) = (at(before), at(before + share) - sheet.u(10.0));
        sheet.short_text(
            &clean(text),
            (left, style.baseline_at(line.center().1)),
            Anchor::Start,
            style,
            right - left,
        );
        before += share;
    }
}
