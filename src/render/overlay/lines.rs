//! The lines of the runs in a strip: good ones in grey or as their range, odd ones in front.

use super::super::axis::ValueAxis;
use super::super::columns::{Column, Span};
use super::super::parts::readings::Readings;
use super::super::scene::Shape;
use super::super::sheet::Sheet;
use super::super::theme::Color;
use super::rank::Rank;
use super::{CROWD, MOST_NAMED, Member, guide};

/// Whether the good runs are so many that their range is drawn.
pub(super) fn is_crowd(members: &[Member]) -> bool {
    members.iter().filter(|member| member.is_good()).count() >= CROWD
}

/// The range of the good runs, column by column, with its edges.
pub(super) fn range(
    sheet: &mut Sheet,
    members: &[Member],
    axis: ValueAxis,
    of: impl Fn(&Readings) -> &[Option<Column>],
) {
    if !is_crowd(members) {
        return;
    }
    let good: Vec<&[Option<Column>]> =
        members.iter().filter(|member| member.is_good()).map(|member| of(&member.readings)).collect();
    let columns = good.first().map_or(0, |columns| columns.len());
    let span = |index: usize| {
        let there = || good.iter().filter_map(|columns| columns.get(index)?.as_ref());
        let (low, high) = (there().map(|column| column.low), there().map(|column| column.high));
        let (top, bottom) = (axis.row(high.reduce(f64::max)?), axis.row(low.reduce(f64::min)?));
        Some(Span { enter: None, top, bottom, leave: bottom })
    };
    let spans: Vec<Option<Span>> = (0..columns).map(span).collect();
    let edge = |row: fn(&Span) -> i32| {
        let mut before = None;
        let step = |span: &Option<Span>| {
            let here = span.as_ref().map(row);
            let enter = std::mem::replace(&mut before, here);
            here.map(|row| Span { enter, top: row, bottom: row, leave: row })
        };
        spans.iter().map(step).collect()
    };
    let edges: [Vec<Option<Span>>; 2] = [edge(|span| span.top), edge(|span| span.bottom)];
    let (left, clip, palette) = (axis.area.left, axis.area.grown(-1), sheet.palette);
    let mut push = |spans, color| {
        sheet.scene.shapes.push(Shape::Steps { left, spans, clip, width: 1, color });
    };
    push(spans, palette.crowd);
    for edge in edges {
        push(edge, palette.frame);
    }
}

/// Draws each run by `line`: good ones first, so that they hide no odd one, of a crowd only the one that guides; then
/// the odd ones, those that are named on top.
pub(super) fn lines(
    sheet: &mut Sheet,
    members: &[Member],
    colors: [Color; MOST_NAMED],
    line: impl Fn(&mut Sheet, &Member, (f64, Color)),
) {
    let other = sheet.palette.mark;
    let guide = guide(members).filter(|_| is_crowd(members));
    // That in their range is alone, and has the range to stand out from.
    let grey = if guide.is_some() { sheet.palette.frame } else { sheet.palette.alike };
    let alone = |member: &&Member| guide.is_none_or(|guide| std::ptr::eq(guide, *member));
    for member in members.iter().filter(|member| member.is_good()).filter(alone) {
        line(sheet, member, (GOOD, grey));
    }
    for member in members.iter().filter(|member| member.rank == Rank::Odd && are_few(members)) {
        line(sheet, member, (1.0, other));
    }
    let width = width_of_named(sheet);
    for (index, color) in (0..MOST_NAMED).zip(colors).rev() {
        for member in members.iter().filter(|member| member.rank == Rank::Named(index)) {
            line(sheet, member, (width, color));
        }
    }
}

/// How wide the line of a named run is, in units of the layout: on every figure at least twice as wide as those of the good
/// runs, which jitter and together look wider than they are.
pub(super) fn width_of_named(sheet: &Sheet) -> f64 {
    const WIDTHS: [f64; 3] = [3.2, 3.8, 4.4];
    let is_wider = |width: &f64| sheet.u(*width) >= 2 * sheet.u(GOOD);
    WIDTHS.into_iter().find(is_wider).unwrap_or(WIDTHS[2])
}

/// How wide that of a good run is.
pub(super) const GOOD: f64 = 0.9;

/// Whether the odd runs that have no name are so few that each of their lines can be followed.
pub(super) fn are_few(members: &[Member]) -> bool {
    /// Among more lines than these nobody follows one, and they hide those that are named.
    const MOST_UNNAMED: usize = 6;
    members.iter().filter(|member| member.rank == Rank::Odd).count() <= MOST_UNNAMED
}
