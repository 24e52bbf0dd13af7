//! What is on a figure, as a list of shapes in pixels: made once, then painted as pixels or as vectors.
//!
//! That labels neither overlap nor leave the picture can be checked here, before anything is painted.

use super::columns::Span;
use super::font::{self, Weight};
use super::geometry::{Point, Rect, px};
use super::theme::Color;

/// A figure that is ready to be painted.
#[derive(Debug, Clone)]
pub(super) struct Scene {
    pub(super) width: i32,
    pub(super) height: i32,
    /// One line, for the file's metadata and for screen readers.
    pub(super) title: String,
    /// What the figure shows, in words, for those who cannot see it.
    pub(super) description: String,
    pub(super) shapes: Vec<Shape>,
}

/// Something drawn.
#[derive(Debug, Clone)]
pub(super) enum Shape {
    /// A filled rectangle.
    Fill { area: Rect, color: Color },
    /// Diagonal lines over a rectangle.
    Hatch { area: Rect, pitch: i32, rising: bool, color: Color },
    /// A filled polygon.
    Polygon { points: Vec<Point>, color: Color },
    /// A line between any two points.
    Line { from: Point, to: Point, width: i32, color: Color },
    /// Dashes and spaces of that length along an area, from the top if it is upright, else from the left.
    Dashed { area: Rect, dash: i32, upright: bool, color: Color },
    /// A measured quantity, column by column of pixels.
    Steps { left: i32, spans: Vec<Option<Span>>, clip: Rect, width: i32, color: Color },
    /// A line of text.
    Text(Label),
}

/// To which end of a text its position belongs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

/// How a text looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Style {
    /// Pixels to the em.
    pub(super) em: f64,
    pub(super) weight: Weight,
    pub(super) color: Color,
}

impl Style {
    pub(super) fn width(self, text: &str) -> i32 {
        px(font::width(text, self.em, self.weight).ceil())
    }

    pub(super) fn fit(self, text: &str, room: i32) -> Option<String> {
        font::fit(text, self.em, self.weight, f64::from(room))
    }

    pub(super) fn wrap(self, text: &str, room: i32, lines: usize) -> Vec<String> {
        font::wrap(text, self.em, self.weight, f64::from(room), lines)
    }

    /// Distance between the baselines of two lines.
    pub(super) fn line_height(self) -> i32 {
        px(self.em * 1.32)
    }

    /// The baseline that centres capital letters on `y`.
    pub(super) fn baseline_at(self, y: i32) -> i32 {
        px(f64::from(y) + self.em * font::CAP_HEIGHT / 2.0)
    }
}

/// A line of text at its place.
#[derive(Debug, Clone)]
pub(super) struct Label {
    pub(super) text: String,
    /// Where it is anchored; `y` is the baseline.
    pub(super) at: Point,
    pub(super) anchor: Anchor,
    pub(super) style: Style,
}

impl Label {
    /// The pixels that the text may touch.
    pub(super) fn bounds(&self) -> Rect {
        let width = self.style.width(&self.text);
        let left = self.left();
        let rise = px((self.style.em * font::CAP_HEIGHT).ceil());
        let fall = px((self.style.em * font::DESCENT).ceil());
        Rect::new(left, self.at.1 - rise, left + width, self.at.1 + fall)
    }

    /// Where the text starts.
    pub(super) fn left(&self) -> i32 {
        let width = self.style.width(&self.text);
        match self.anchor {
            Anchor::Start => self.at.0,
            Anchor::Middle => self.at.0 - width / 2,
            Anchor::End => self.at.0 - width,
        }
    }
}

impl Scene {
    pub(super) fn new(width: i32, height: i32, paper: Color) -> Self {
        let ground = Shape::Fill { area: Rect::new(0, 0, width, height), color: paper };
        Self { width, height, title: String::new(), description: String::new(), shapes: vec![ground] }
    }

    pub(super) fn bounds(&self) -> Rect {
        Rect::new(0, 0, self.width, self.height)
    }

    pub(super) fn fill(&mut self, area: Rect, color: Color) {
        if !area.is_empty() {
            self.shapes.push(Shape::Fill { area, color });
        }
    }

    pub(super) fn hatch(&mut self, area: Rect, pitch: i32, rising: bool, color: Color) {
        if !area.is_empty() {
            self.shapes.push(Shape::Hatch { area, pitch, rising, color });
        }
    }

    /// The edges of `area`, inwards.
    pub(super) fn frame(&mut self, area: Rect, width: i32, color: Color) {
        self.fill(Rect { bottom: area.top + width, ..area }, color);
        self.fill(Rect { top: area.bottom - width, ..area }, color);
        self.fill(Rect { right: area.left + width, ..area }, color);
        self.fill(Rect { left: area.right - width, ..area }, color);
    }

    /// A horizontal line, dashed if `dash` is not zero.
    pub(super) fn across(&mut self, (left, right): (i32, i32), y: i32, pen: Pen) {
        let top = y - pen.width / 2;
        self.straight(Rect::new(left, top, right, top + pen.width), pen, false);
    }

    /// A vertical line, dashed if `dash` is not zero.
    pub(super) fn down(&mut self, x: i32, (top, bottom): (i32, i32), pen: Pen) {
        let left = x - pen.width / 2;
        self.straight(Rect::new(left, top, left + pen.width, bottom), pen, true);
    }

    fn straight(&mut self, area: Rect, Pen { dash, color, .. }: Pen, upright: bool) {
        if area.is_empty() {
            return;
        }
        self.shapes.push(match dash {
            0 => Shape::Fill { area, color },
            dash => Shape::Dashed { area, dash, upright, color },
        });
    }

    pub(super) fn text(&mut self, text: impl Into<String>, at: Point, anchor: Anchor, style: Style) -> Rect {
        let label = Label { text: text.into(), at, anchor, style };
        let bounds = label.bounds();
        if !label.text.is_empty() {
            self.shapes.push(Shape::Text(label));
        }
        bounds
    }

    /// The words that are drawn already, in order.
    pub(super) fn labels(&self) -> impl Iterator<Item = &Label> {
        self.shapes.iter().filter_map(|shape| match shape {
            Shape::Text(label) => Some(label),
            _ => None,
        })
    }
}

/// How a straight line looks: `dash` is the length of a dash and of the space after it, 0 for an unbroken line.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pen {
    pub(super) width: i32,
    pub(super) dash: i32,
    pub(super) color: Color,
}

/// The dashes of a [`Shape::Dashed`].
pub(super) fn dashes(area: Rect, dash: i32, upright: bool) -> impl Iterator<Item = Rect> {
    let (from, to) = if upright { (area.top, area.bottom) } else { (area.left, area.right) };
    let step = 2 * dash.max(1);
    let count = (to - from + step - 1).max(0) / step;
    (0..count).map(move |i| {
        let (start, end) = (from + i * step, (from + i * step + dash).min(to));
        if upright {
            Rect { top: start, bottom: end, ..area }
        } else {
            Rect { left: start, right: end, ..area }
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dashes_cover_the_line_and_no_more() {
        let along = |from: i32, to: i32| {
            let of = |upright: bool, area: Rect| {
                dashes(area, 4, upright)
                    .map(move |dash| if upright { (dash.top, dash.bottom) } else { (dash.left, dash.right) })
            };
            let across: Vec<_> = of(false, Rect::new(from, 7, to, 9)).collect();
            assert_eq!(across, of(true, Rect::new(7, from, 9, to)).collect::<Vec<_>>());
            across
        };
        assert_eq!(along(0, 10), [(0, 4), (8, 10)]);
        assert_eq!(along(5, 5).len() + along(9, 5).len(), 0);
    }
}
