//! A scene as an SVG document: one element for a shape, so that a long log makes no larger a file than its picture.
//!
//! Dashes are dashes of one line and hatches are patterns: as single strokes, the switching of a long log would be
//! hundreds of thousands of elements, which no viewer opens.

use super::columns::Span;
use super::font::{self, Weight};
use super::geometry::{Point, Rect};
use super::scene::{Anchor, Label, Scene, Shape};
use super::theme::Color;
use std::fmt::Write as _;

/// The scene as a document.
pub(super) fn svg(scene: &Scene) -> String {
    let mut document = Document::default();
    for shape in &scene.shapes {
        document.shape(shape, scene.bounds());
    }
    document.finish(scene)
}

/// The elements so far, and the patterns that they are filled with.
#[derive(Debug, Default)]
struct Document {
    body: String,
    patterns: Vec<Pattern>,
}

/// Diagonals at that distance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Pattern {
    pitch: i32,
    rising: bool,
    color: Color,
}

impl Document {
    fn shape(&mut self, shape: &Shape, bounds: Rect) {
        match shape {
            Shape::Fill { area, color } => self.rect(area.intersection(bounds), &paint(*color)),
            Shape::Hatch { area, pitch, rising, color } => {
                self.hatch(*area, Pattern { pitch: *pitch, rising: *rising, color: *color });
            }
            Shape::Polygon { points, color } => {
                let (points, fill) = (listed(points), paint(*color));
                self.element(format_args!("<polygon points=\"{points}\" fill=\"{fill}\"/>"));
            }
            Shape::Line { from, to, width, color } => {
                self.polyline(&[*from, *to], *width, *color, "");
            }
            Shape::Dashed { area, dash, upright, color } => self.dashed(*area, *dash, *upright, *color),
            Shape::Steps { left, spans, clip, width, color } => {
                self.steps(*left, spans, *clip, *width, *color);
            }
            Shape::Text(label) => self.text(label),
        }
    }

    fn element(&mut self, element: std::fmt::Arguments) {
        // Writing to a string cannot fail.
        let _ = writeln!(self.body, "{element}");
    }

    fn rect(&mut self, area: Rect, fill: &str) {
        if area.is_empty() {
            return;
        }
        let (x, y, width, height) = (area.left, area.top, area.width(), area.height());
        self.element(format_args!(
            "<rect x=\"{x}\" y=\"{y}\" width=\"{width}\" height=\"{height}\" fill=\"{fill}\"/>"
        ));
    }

    fn hatch(&mut self, area: Rect, pattern: Pattern) {
        let known = self.patterns.iter().position(|known| *known == pattern);
        let index = known.unwrap_or_else(|| {
            self.patterns.push(pattern);
            self.patterns.len() - 1
        });
        self.rect(area, &format!("url(#hatch{index})"));
    }

    fn polyline(&mut self, points: &[Point], width: i32, color: Color, dashes: &str) {
        let (points, stroke, width) = (listed(points), paint(color), width.max(1));
        self.element(format_args!(
            "<polyline points=\"{points}\" fill=\"none\" stroke=\"{stroke}\" stroke-width=\"{width}\"{dashes}/>"
        ));
    }

    /// Along the middle of the area, which may lie between two pixels.
    fn dashed(&mut self, area: Rect, dash: i32, upright: bool, color: Color) {
        if area.is_empty() {
            return;
        }
        let middle = |from: i32, to: i32| f64::from(from + to) / 2.0;
        let ((x1, y1), (x2, y2), width) = if upright {
            let x = middle(area.left, area.right);
            ((x, f64::from(area.top)), (x, f64::from(area.bottom)), area.width())
        } else {
            let y = middle(area.top, area.bottom);
            ((f64::from(area.left), y), (f64::from(area.right), y), area.height())
        };
        let stroke = paint(color);
        self.element(format_args!(
            "<line x1=\"{x1}\" y1=\"{y1}\" x2=\"{x2}\" y2=\"{y2}\" stroke=\"{stroke}\" stroke-width=\"{width}\" \
             stroke-dasharray=\"{dash}\"/>"
        ));
    }

    /// Every unbroken stretch as one path through the extremes of its columns.
    fn steps(&mut self, left: i32, spans: &[Option<Span>], clip: Rect, width: i32, color: Color) {
        let mut x = left;
        let goes_on = |a: &Option<Span>, b: &Option<Span>| {
            a.is_some() == b.is_some() && b.is_none_or(|span| span.enter.is_some())
        };
        for stretch in spans.chunk_by(goes_on) {
            let points = path_points(x, stretch, clip);
            if points.len() > 1 {
                self.polyline(&points, width, color, "");
            }
            x += i32::try_from(stretch.len()).unwrap_or(i32::MAX);
        }
    }

    fn text(&mut self, label: &Label) {
        let anchor = match label.anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let weight = if label.style.weight == Weight::Bold { " font-weight=\"bold\"" } else { "" };
        let ((x, y), size, fill) = (label.at, label.style.em, paint(label.style.color));
        let words = escaped(&label.text);
        self.element(format_args!(
            "<text x=\"{x}\" y=\"{y}\" text-anchor=\"{anchor}\" font-size=\"{size:.1}\"{weight} \
             fill=\"{fill}\">{words}</text>"
        ));
    }

    /// Puts title and description where screen readers look for them: first within the root element (SVG 2, 5.7).
    fn finish(self, scene: &Scene) -> String {
        let (width, height) = (scene.width, scene.height);
        let (title, description) = (escaped(&scene.title), escaped(&scene.description));
        let patterns: Vec<String> =
            self.patterns.iter().enumerate().map(|(index, pattern)| pattern.element(index)).collect();
        format!(
            "<svg role=\"img\" aria-labelledby=\"title desc\" width=\"{width}\" height=\"{height}\" \
             viewBox=\"0 0 {width} {height}\" font-family=\"{family}\" \
             xmlns=\"http://www.w3.org/2000/svg\">\n<title id=\"title\">{title}</title>\n\
             <desc id=\"desc\">{description}</desc>\n<defs>\n{patterns}</defs>\n{body}</svg>\n",
            family = font::FAMILY,
            patterns = patterns.concat(),
            body = self.body,
        )
    }
}

impl Pattern {
    /// A tile with one diagonal and the corners of its neighbours', so that they meet without a notch.
    fn element(self, index: usize) -> String {
        let (pitch, stroke) = (self.pitch, paint(self.color));
        let line = if self.rising {
            format!("M-1,1L1,-1M0,{pitch}L{pitch},0M{},{}L{},{}", pitch - 1, pitch + 1, pitch + 1, pitch - 1)
        } else {
            format!("M-1,{}L1,{}M0,0L{pitch},{pitch}M{},-1L{},1", pitch - 1, pitch + 1, pitch - 1, pitch + 1)
        };
        format!(
            "<pattern id=\"hatch{index}\" width=\"{pitch}\" height=\"{pitch}\" patternUnits=\"userSpaceOnUse\">\
             <path d=\"{line}\" stroke=\"{stroke}\"/></pattern>\n"
        )
    }
}

fn paint(Color(red, green, blue): Color) -> String {
    format!("#{red:02X}{green:02X}{blue:02X}")
}

fn listed(points: &[Point]) -> String {
    let each: Vec<String> = points.iter().map(|(x, y)| format!("{x},{y}")).collect();
    each.join(" ")
}

fn escaped(text: &str) -> String {
    let text = font::clean(text).replace('&', "&amp;").replace('<', "&lt;");
    text.replace('>', "&gt;").replace('"', "&quot;")
}

/// Corner points of a stretch, without those that lie on a straight line.
fn path_points(left: i32, stretch: &[Option<Span>], clip: Rect) -> Vec<Point> {
    let mut points: Vec<Point> = Vec::new();
    let mut add = |point: Point| {
        let point = (point.0, point.1.clamp(clip.top, clip.bottom - 1));
        match points.as_slice() {
            [.., last] if *last == point => return,
            [.., before, last] if before.1 == last.1 && last.1 == point.1 => {
                points.pop();
            }
            _ => {}
        }
        points.push(point);
    };
    for (x, span) in (left..).zip(stretch.iter().flatten()) {
        let first = span.enter.unwrap_or(span.leave);
        // The extreme farther from where the column ends is visited first; the path passes both either way.
        let upper_first = (span.leave - span.top) > (span.bottom - span.leave);
        let extremes = if upper_first { [span.top, span.bottom] } else { [span.bottom, span.top] };
        add((x, first));
        for y in extremes {
            add((x, y));
        }
        add((x, span.leave));
        add((x + 1, span.leave));
    }
    points
}
