//! What a strip cuts off, so that it is seen to be cut: an arrow at the top, and the value where there is room.

use super::super::axis::ValueAxis;
use super::super::font::Weight;
use super::super::geometry::Rect;
use super::super::scene::{Anchor, Label, Shape};
use super::super::sheet::{Sheet, em};
use super::super::theme::Color;

/// Where something runs out of the strip: an arrow, and its value where there is room.
#[derive(Debug)]
pub(in crate::render) struct Mark {
    /// The foot of the arrow's tip.
    tip: (i32, i32),
    /// Whether it is cut off, so that an arrow says that it goes on.
    goes_on: bool,
    label: Option<Label>,
    color: Color,
}

/// Half the width of an arrow and its height, in units of the layout.
const HALF: f64 = 6.0;
const HEIGHT: f64 = 12.0;

/// Width of what joins an arrow to its words, in units of the layout: well under that of a trace.
const LEADER: f64 = 0.7;

impl Mark {
    /// Beside the column `x` in which it runs out, on the side and in the row that is free and where its words hide nothing.
    pub(in crate::render) fn beside(
        sheet: &Sheet,
        axis: ValueAxis,
        x: i32,
        (text, color): (&str, Color),
        (taken, hides): (&[Rect], impl Fn(Rect) -> bool),
    ) -> Self {
        /// Words that are further away are taken for those of something else, and what joins them to their arrow for a
        /// reading, in units of the layout (by judgement).
        const NEAR: f64 = 60.0;
        const ROWS: i32 = 4;
        let style = sheet.style(em::SMALL, Weight::Bold, color);
        let (aside, space, width) = (sheet.u(HALF + 3.0), sheet.u(HALF + 3.0), style.width(text));
        let area = axis.area.grown(-sheet.u(2.0));
        // Past the flag of a moment that stands right there.
        let on_flag = |tip: i32| taken.iter().any(|taken| taken.overlaps(arrow(sheet, (tip, area.top))));
        let further = x + aside + sheet.u(2.0 * HALF);
        let right = if on_flag(x + aside) && !on_flag(further) { further } else { x + aside };
        let arrow = if right + sheet.u(HALF) < area.right { right } else { x - aside };
        let label = |row: i32, left: i32| {
            let at = (left, area.top + sheet.u(13.0) + row * style.line_height());
            Label { text: text.to_owned(), at, anchor: Anchor::Start, style }
        };
        // Beside the arrow, or past a line that stands right beside it.
        let past = sheet.u(2.0 * HALF + 10.0);
        let lefts = [right + space, x - aside - space - width, right + space + past];
        // Past whatever else stands right beside it, most of all the line of a moment.
        let near = |taken: &&Rect| (x..x + sheet.u(NEAR)).contains(&taken.right);
        let beyond = taken.iter().filter(near).map(|taken| taken.right + space);
        let lefts: Vec<i32> = lefts.into_iter().chain(beyond).collect();
        let places = (0..ROWS).flat_map(|row| lefts.iter().map(move |left| (row, *left)));
        let places = places.map(|(row, left)| label(row, left));
        let free = |label: &Label| {
            let bounds = label.bounds().grown(sheet.u(3.0));
            axis.area.holds(label.bounds())
                && !taken.iter().any(|taken| taken.overlaps(bounds))
                && !hides(label.bounds())
        };
        let label = { places }.find(free);
        let arrow = label.as_ref().map_or(arrow, |label| if label.at.0 > x { right } else { x - aside });
        Self { tip: (arrow, area.top), goes_on: true, label, color }
    }

    /// Beside the point at which something that the strip holds is highest, with words alone; `None` without room for them.
    pub(in crate::render) fn of_top(
        sheet: &Sheet,
        axis: ValueAxis,
        (x, y): (i32, i32),
        (text, color): (&str, Color),
        (taken, hides): (&[Rect], impl Fn(Rect) -> bool),
    ) -> Option<Self> {
        const ASIDE: f64 = 9.0;
        const ABOVE: f64 = 3.0;
        /// Words that are further away are taken for those of something else, in units of the layout.
        const NEAR: f64 = 30.0;
        let style = sheet.style(em::SMALL, Weight::Bold, color);
        let (aside, width, line) = (sheet.u(ASIDE), style.width(text), style.line_height());
        let near = |taken: &&Rect| (x..x + sheet.u(NEAR)).contains(&taken.right);
        let beyond = taken.iter().filter(near).map(|taken| taken.right + sheet.u(4.0));
        let lefts: Vec<i32> = [x + aside, x - aside - width].into_iter().chain(beyond).collect();
        let label = |(row, left): (i32, i32)| Label {
            text: text.to_owned(),
            at: (left, style.baseline_at(y + line / 2 + row * line)),
            anchor: Anchor::Start,
            style,
        };
        let free = |label: &Label| {
            let bounds = label.bounds();
            axis.area.holds(bounds)
                && !taken.iter().any(|taken| taken.overlaps(bounds.grown(sheet.u(3.0))))
                && !hides(bounds)
        };
        // Right above it, where it has neighbours on both sides.
        let above = [x - width / 2, x + aside - width, x - aside].map(|left| {
            let at_top = label((0, left));
            let rise = at_top.bounds().bottom - y + sheet.u(ABOVE);
            Label { at: (left, at_top.at.1 - rise), ..at_top }
        });
        let beside = (0..2).flat_map(|row| lefts.iter().map(move |left| (row, *left))).map(label);
        let label = beside.chain(above).find(free)?;
        Some(Self { tip: (x, y), goes_on: false, label: Some(label), color })
    }

    /// At the left end of the columns from `left` to `right`, whose band runs out; the value if it fits between them.
    pub(in crate::render) fn within(
        sheet: &Sheet,
        axis: ValueAxis,
        (left, right): (i32, i32),
        (text, color): (&str, Color),
        taken: &[Rect],
    ) -> Self {
        let style = sheet.style(em::SMALL, Weight::Bold, color);
        let area = axis.area.grown(-sheet.u(2.0));
        let (half, space) = (sheet.u(HALF), sheet.u(4.0));
        let wide = 2 * half + space + style.width(text);
        let middle = i32::midpoint(left, right);
        let mark = |tip: i32| {
            let at = (tip + half + space, area.top + sheet.u(13.0));
            let label = Label { text: text.to_owned(), at, anchor: Anchor::Start, style };
            Self { tip: (tip, area.top), goes_on: true, label: Some(label), color }
        };
        // Where the columns begin: further in it would look like something that happens there.
        let tips = [left + space + half, middle - wide / 2 + half];
        let fits = |mark: &Self| {
            let words = mark.label.as_ref().map(Label::bounds).into_iter();
            wide + 2 * space <= right - left
                && words.clone().all(|bounds| axis.area.holds(bounds))
                && words
                    .chain([mark.arrow(sheet)])
                    .all(|spot| !taken.iter().any(|taken| taken.overlaps(spot.grown(sheet.u(3.0)))))
        };
        let found = tips.map(mark).into_iter().find(fits);
        found.unwrap_or(Self { tip: (middle, area.top), goes_on: true, label: None, color })
    }

    /// Whether there was room for its value.
    pub(in crate::render) const fn has_words(&self) -> bool {
        self.label.is_some()
    }

    /// Whether its arrow stands between those columns.
    pub(in crate::render) fn stands_in(&self, (left, right): (i32, i32)) -> bool {
        (left..right).contains(&self.tip.0)
    }

    /// What it takes.
    pub(in crate::render) fn areas(&self, sheet: &Sheet) -> impl Iterator<Item = Rect> {
        let words = self.label.as_ref().map(Label::bounds);
        words.into_iter().chain(self.goes_on.then(|| self.arrow(sheet)))
    }

    fn arrow(&self, sheet: &Sheet) -> Rect {
        arrow(sheet, self.tip)
    }

    /// From the foot of the arrow to words that stand past the line of a moment: without it they would be read as what happens
    /// then.
    fn leader(&self, sheet: &Sheet) -> Option<((i32, i32), (i32, i32))> {
        /// Words no further from their arrow than this are seen to be its own, in units of the layout (by judgement).
        const OWN: f64 = 14.0;
        let (arrow, words) = (self.arrow(sheet), self.label.as_ref().filter(|_| self.goes_on)?.bounds());
        let row = i32::midpoint(words.top, words.bottom).max(arrow.bottom - 1);
        let apart = words.left - arrow.right > sheet.u(OWN);
        apart.then_some(((arrow.right, arrow.bottom - 1), (words.left - sheet.u(3.0), row)))
    }
}

/// What the arrow takes of something that runs out in the column `x`, where nothing else stands.
pub(super) fn beside(sheet: &Sheet, axis: ValueAxis, x: i32) -> Rect {
    let arrow = arrow(sheet, (x + sheet.u(HALF + 3.0), axis.area.top + sheet.u(2.0)));
    Rect { left: x, ..arrow }
}

/// What an arrow takes whose tip is there.
fn arrow(sheet: &Sheet, (x, y): (i32, i32)) -> Rect {
    let half = sheet.u(HALF);
    Rect::new(x - half, y, x + half, y + sheet.u(HEIGHT))
}

pub(in crate::render) fn draw(sheet: &mut Sheet, marks: &[Mark], ground: Color) {
    for mark in marks {
        let (Rect { left, right, bottom, .. }, tip) = (mark.arrow(sheet), mark.tip);
        let points = vec![(left, bottom), (right, bottom), tip];
        if mark.goes_on {
            sheet.scene.shapes.push(Shape::Polygon { points, color: mark.color });
        }
        if let Some((from, to)) = mark.leader(sheet) {
            // As thin and as grey as a frame: in the colour of the trace it would read as amps that never flowed.
            let (width, color) = (sheet.u(LEADER), sheet.palette.frame);
            sheet.scene.shapes.push(Shape::Line { from, to, width, color });
        }
        if let Some(label) = &mark.label {
            sheet.scene.fill(label.bounds().grown(sheet.u(2.0)), ground);
            sheet.scene.text(label.text.clone(), label.at, label.anchor, label.style);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::options::Options;
    use super::*;

    #[test]
    fn words_past_the_line_of_a_moment_are_joined_to_their_arrow() {
        let leads = |line: Option<i32>| {
            let mut sheet = Sheet::new(&Options::default(), (440.0, 560.0));
            let axis = ValueAxis { area: Rect::new(100, 100, 900, 400), low: 0.0, high: 1.0 };
            let taken: Vec<Rect> = line.map(|x| Rect::new(x, 100, x + 6, 400)).into_iter().collect();
            let ink = sheet.palette.ink;
            let mark = Mark::beside(&sheet, axis, 110, ("inrush 0.379 A", ink), (&taken, |_| false));
            assert!(mark.has_words(), "{line:?}");
            draw(&mut sheet, &[mark], ink);
            let lead = |shape: &Shape| match shape {
                Shape::Line { from, to, width, color } => Some((to.0 - from.0, *width, *color != ink)),
                _ => None,
            };
            (sheet.scene.shapes.iter().find_map(lead), sheet.u(60.0), sheet.u(super::super::amps::TRACE))
        };
        assert!(leads(None).0.is_none(), "beside it");
        let (lead, near, trace) = leads(Some(150));
        let (long, wide, is_neutral) = lead.expect("past the line");
        assert!(
            long < near && 2 * wide <= trace && is_neutral,
            "{long}, {wide} of {trace}: not to read as amps"
        );
    }

    #[test]
    fn words_that_only_a_long_line_would_join_to_their_arrow_are_left_out() {
        let sheet = Sheet::new(&Options::default(), (440.0, 560.0));
        let axis = ValueAxis { area: Rect::new(100, 100, 900, 400), low: 0.0, high: 1.0 };
        let far = Rect::new(110, 100, 110 + sheet.u(70.0), 400);
        let mark =
            Mark::beside(&sheet, axis, 110, ("inrush 0.379 A", sheet.palette.ink), (&[far], |_| false));
        assert!(!mark.has_words());
    }
}
