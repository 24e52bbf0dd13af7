//! The letters of the named runs at the ends of their lines: in print two of the colours are one grey, and a line that is
//! named at one place only is lost where others cross it.

use super::super::axis::ValueAxis;
use super::super::font::Weight;
use super::super::geometry::Rect;
use super::super::parts::amps::Axes;
use super::super::scene::Anchor;
use super::super::sheet::{Sheet, em};
use super::super::theme::Color;
use super::{Member, colors, letter, named};

/// A letter at the end of a line.
#[derive(Debug)]
pub(super) struct Tag {
    pub(super) area: Rect,
    text: String,
    color: Color,
}

/// Side of a tag, in units of the layout.
const SIDE: f64 = 16.0;

/// The tags of all named runs, where there are several: in the magnified strip of those that end in it, else in the upper.
pub(super) fn tags(sheet: &Sheet, members: &[Member], axes: Axes) -> Vec<Tag> {
    let mut tags: Vec<Tag> = Vec::new();
    for (member, color) in named(members).zip(colors(sheet.palette, members)) {
        let Some(letter) = letter(member, members) else { continue };
        let Some((x, amps)) = end(member) else { continue };
        let strip = axes.quiet.filter(|quiet| amps <= quiet.high).unwrap_or(axes.main);
        let taken: Vec<Rect> = tags.iter().map(|tag| tag.area).collect();
        let area = place(sheet, strip, (x, strip.row(amps)), &taken);
        tags.extend(area.map(|area| Tag { area, text: letter.to_string(), color }));
    }
    tags
}

/// The last column of a run with readings, and what it drew there.
fn end(member: &Member) -> Option<(i32, f64)> {
    let read = &member.readings.amps;
    let last = read.iter().rposition(Option::is_some)?;
    let column = read[last].as_ref()?;
    Some((member.readings.time.left + i32::try_from(last).ok()?, column.leave))
}

/// Right behind the end of the line, or before it at the edge of the figure; where another stands there, above or below
/// that, or before it. `None` where the strip has no room.
fn place(sheet: &Sheet, axis: ValueAxis, (x, y): (i32, i32), taken: &[Rect]) -> Option<Rect> {
    let (side, gap) = (sheet.u(SIDE), sheet.u(3.0));
    let inside = axis.area.grown(-sheet.u(2.0));
    if inside.height() < side || inside.width() < side {
        return None;
    }
    let behind = (x + gap).min(inside.right - side);
    let middle = (y - side / 2).clamp(inside.top, inside.bottom - side);
    let at = |left: i32, top: i32| Rect::new(left, top, left + side, top + side);
    let step = side + gap;
    let lefts = (0..4).map(|before| behind - before * step);
    let spots = lefts.flat_map(|left| [0, -step, step].map(|down| at(left, middle + down)));
    let free = |spot: &Rect| inside.holds(*spot) && !taken.iter().any(|other| other.overlaps(*spot));
    spots.into_iter().find(free)
}

/// Draws them over the lines.
pub(super) fn draw(sheet: &mut Sheet, members: &[Member], axes: Axes) {
    let style = sheet.style(em::SMALL, Weight::Bold, sheet.palette.paper);
    let tags = tags(sheet, members, axes);
    for Tag { area, color, .. } in &tags {
        sheet.scene.fill(area.grown(sheet.u(1.0)), sheet.palette.paper);
        sheet.scene.fill(*area, *color);
    }
    for Tag { area, text, .. } in tags {
        let (x, y) = area.center();
        sheet.scene.text(text, (x, style.baseline_at(y)), Anchor::Middle, style);
    }
}
