//! The sign at the point that a note speaks of, and leaders from words that stand elsewhere.

use super::super::super::geometry::Rect;
use super::super::super::scene::Shape;
use super::super::super::sheet::Sheet;
use super::super::super::theme::Color;
use super::super::Areas;
use super::super::amps::Axes;
use super::super::readings::Readings;
use super::Note;
use super::point::point;

/// Half the width of the dot at the point of a note, in units of the layout.
pub(super) const DOT: f64 = 6.0;

/// A flag on top of the line at which the board left what good boards do.
pub(in crate::render) fn pointer(sheet: &mut Sheet, areas: &Areas, x: i32, color: Color) {
    sheet.pointer_down((x, areas.amps.top + sheet.u(14.0)), color);
}

pub(super) fn dot(sheet: &Sheet, (x, y): (i32, i32)) -> Rect {
    Rect::new(x, y, x + 1, y + 1).grown(sheet.u(sheet.mark(DOT)))
}

/// The sign at the point of a note: standing on its corner, hollow, and clear of all around it; no part of a trace is any of
/// these, in grey as well.
pub(super) fn mark(sheet: &mut Sheet, point: (i32, i32), color: Color) {
    let paper = sheet.palette.paper;
    for (grown, color) in [(2.0, paper), (0.0, color), (-3.0, paper)] {
        diamond(sheet, point, sheet.u(sheet.mark(DOT + grown)), color);
    }
}

/// The same of a note whose words stand elsewhere; returns what it takes.
pub(in crate::render) fn mark_of(
    sheet: &mut Sheet,
    readings: &Readings,
    axes: Axes,
    note: &Note,
    color: Color,
) -> Option<Rect> {
    let point = note.placed.then(|| point(sheet, readings, axes, note))?;
    mark(sheet, point, color);
    Some(dot(sheet, point))
}

/// A leader from words that end at row `top` between two columns down to row `bottom` of column `x`, broken where other words
/// stand.
pub(in crate::render) fn leader_down(
    sheet: &mut Sheet,
    words: (i32, i32),
    (x, (top, bottom)): (i32, (i32, i32)),
    color: Color,
) {
    let (pen, gap) = (sheet.pen(1.5, 0.0, color), sheet.u(3.0));
    let from = x.clamp(words.0, words.1.max(words.0));
    let taken: Vec<Rect> = sheet.scene.labels().map(|label| label.bounds().grown(gap)).collect();
    let aside = Rect::new(from.min(x), top, from.max(x) + 1, top + pen.width);
    if from != x && !taken.iter().any(|words| words.overlaps(aside)) {
        sheet.scene.across((aside.left, aside.right), top, pen);
    }
    let mut passed: Vec<Rect> = taken
        .into_iter()
        .filter(|words| words.left <= x + pen.width && words.right >= x - pen.width)
        .filter(|words| words.bottom > top && words.top < bottom)
        .collect();
    passed.sort_by_key(|words| words.top);
    let mut row = top;
    for words in passed {
        sheet.scene.down(x, (row, words.top), pen);
        row = row.max(words.bottom);
    }
    sheet.scene.down(x, (row, bottom), pen);
}

fn diamond(sheet: &mut Sheet, (x, y): (i32, i32), half: i32, color: Color) {
    let points = vec![(x - half, y), (x, y - half), (x + half, y), (x, y + half)];
    sheet.scene.shapes.push(Shape::Polygon { points, color });
}
