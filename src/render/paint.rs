//! From shapes to a file: pixels for PNG, elements for SVG.

use super::RenderError;
use super::columns::Span;
use super::font::{self, Weight};
use super::geometry::{Point, Rect, px};
use super::scene::{Anchor, Label, Scene, Shape, Style};
use super::theme::Color;
use plotters::prelude::{BitMapBackend, SVGBackend};
use plotters_backend::text_anchor::{HPos, Pos, VPos};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, FontFamily, FontStyle,
};
use std::convert::Infallible;

/// Bytes of an RGB pixel.
const CHANNELS: usize = 3;

/// The scene as RGB pixels, row by row.
pub(super) fn pixels(scene: &Scene) -> Result<Vec<u8>, RenderError> {
    let size = size_of(scene);
    let mut buffer = vec![0; size.0 as usize * size.1 as usize * CHANNELS];
    {
        let mut backend = BitMapBackend::with_buffer(&mut buffer, size);
        paint(scene, &mut backend, Medium::Pixels)?;
    }
    Ok(buffer)
}

/// The scene as an SVG document.
pub(super) fn svg(scene: &Scene) -> Result<String, RenderError> {
    let mut document = String::new();
    {
        let mut backend = SVGBackend::with_string(&mut document, size_of(scene));
        paint(scene, &mut backend, Medium::Vectors)?;
        backend.present().map_err(failed)?;
    }
    Ok(with_description(&document, scene))
}

/// Puts title and description where screen readers look for them: first within the root element (SVG 2, 5.7).
fn with_description(document: &str, scene: &Scene) -> String {
    let (root, rest) = document.split_at(document.find('>').map_or(0, |end| end + 1));
    let root = root.replacen("<svg ", "<svg role=\"img\" aria-labelledby=\"title desc\" ", 1);
    let (title, description) = (escaped(&scene.title), escaped(&scene.description));
    format!("{root}\n<title id=\"title\">{title}</title>\n<desc id=\"desc\">{description}</desc>{rest}")
}

fn escaped(text: &str) -> String {
    font::clean(text).replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

fn size_of(scene: &Scene) -> (u32, u32) {
    (scene.width.unsigned_abs(), scene.height.unsigned_abs())
}

fn failed(error: impl std::fmt::Display) -> RenderError {
    RenderError::Draw(error.to_string())
}

/// What a scene is painted on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Medium {
    Pixels,
    Vectors,
}

fn paint<B: DrawingBackend>(scene: &Scene, backend: &mut B, medium: Medium) -> Result<(), RenderError> {
    for shape in &scene.shapes {
        match shape {
            Shape::Fill { area, color } => fill(backend, area.intersection(scene.bounds()), *color),
            Shape::Hatch { area, pitch, rising, color } => hatch(backend, *area, *pitch, *rising, *color),
            Shape::Polygon { points, color } => {
                backend.fill_polygon(points.iter().copied(), &Ink { color: *color, width: 1 }).map_err(failed)
            }
            Shape::Line { from, to, width, color } => line(backend, *from, *to, *width, *color),
            Shape::Steps { left, spans, clip, width, color } => match medium {
                Medium::Pixels => step_pixels(backend, *left, spans, *clip, *width, *color),
                Medium::Vectors => step_paths(backend, *left, spans, *clip, *width, *color),
            },
            Shape::Text(label) => text(backend, label, medium),
        }?;
    }
    Ok(())
}

/// A colour and a line width, as the backends ask for them.
struct Ink {
    color: Color,
    width: u32,
}

impl BackendStyle for Ink {
    fn color(&self) -> BackendColor {
        backend_color(self.color)
    }
    fn stroke_width(&self) -> u32 {
        self.width
    }
}

const fn backend_color(Color(r, g, b): Color) -> BackendColor {
    BackendColor { alpha: 1.0, rgb: (r, g, b) }
}

fn fill<B: DrawingBackend>(backend: &mut B, area: Rect, color: Color) -> Result<(), RenderError> {
    if area.is_empty() {
        return Ok(());
    }
    let ink = Ink { color, width: 1 };
    backend.draw_rect((area.left, area.top), (area.right, area.bottom), &ink, true).map_err(failed)
}

fn line<B: DrawingBackend>(
    backend: &mut B,
    from: Point,
    to: Point,
    width: i32,
    color: Color,
) -> Result<(), RenderError> {
    backend.draw_line(from, to, &Ink { color, width: width.unsigned_abs().max(1) }).map_err(failed)
}

/// Diagonals at 45 degrees, cut at the edges of `area`.
fn hatch<B: DrawingBackend>(
    backend: &mut B,
    area: Rect,
    pitch: i32,
    rising: bool,
    color: Color,
) -> Result<(), RenderError> {
    let (right, bottom) = (area.right - 1, area.bottom - 1);
    let height = bottom - area.top;
    // Anchored to the picture, not to the area, so that neighbouring areas continue one another's lines.
    let first = area.left - height;
    let mut x = first + (pitch - first.rem_euclid(pitch)) % pitch;
    while x <= right {
        // The line leaves the upper edge at x and reaches the lower one at x + height.
        let (from, to) = (area.left.max(x), right.min(x + height));
        if from < to {
            let row = |at: i32| if rising { bottom - (at - x) } else { area.top + (at - x) };
            line(backend, (from, row(from)), (to, row(to)), 1, color)?;
        }
        x += pitch;
    }
    Ok(())
}

/// Every column as a block of pixels under a square brush: straight lines only, so nothing can overshoot.
fn step_pixels<B: DrawingBackend>(
    backend: &mut B,
    left: i32,
    spans: &[Option<Span>],
    clip: Rect,
    width: i32,
    color: Color,
) -> Result<(), RenderError> {
    let mut x = left;
    for run in spans.chunk_by(|a, b| a == b) {
        let length = i32::try_from(run.len()).unwrap_or(i32::MAX);
        if let Some(span) = run[0] {
            let (before, after) = ((width - 1) / 2, width / 2 + 1);
            let block = Rect::new(x - before, span.top - before, x + length - 1 + after, span.bottom + after);
            fill(backend, block.intersection(clip), color)?;
        }
        x += length;
    }
    Ok(())
}

/// Every unbroken stretch as one path through the extremes of its columns.
fn step_paths<B: DrawingBackend>(
    backend: &mut B,
    left: i32,
    spans: &[Option<Span>],
    clip: Rect,
    width: i32,
    color: Color,
) -> Result<(), RenderError> {
    let ink = Ink { color, width: width.unsigned_abs().max(1) };
    let mut x = left;
    for stretch in
        spans.chunk_by(|a, b| a.is_some() == b.is_some() && b.is_none_or(|span| span.enter.is_some()))
    {
        let points = path_points(x, stretch, clip);
        if points.len() > 1 {
            backend.draw_path(points, &ink).map_err(failed)?;
        }
        x += i32::try_from(stretch.len()).unwrap_or(i32::MAX);
    }
    Ok(())
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

fn text<B: DrawingBackend>(backend: &mut B, label: &Label, medium: Medium) -> Result<(), RenderError> {
    let position = match medium {
        Medium::Pixels => (label.left(), label.at.1),
        // The SVG backend hangs the text half an x-height above the point that it is given.
        Medium::Vectors => (label.at.0, label.at.1 + px(label.style.em * font::X_HEIGHT / 2.0)),
    };
    backend
        .draw_text(&label.text, &Lettering { style: label.style, anchor: label.anchor }, position)
        .map_err(failed)
}

/// A text style as the backends ask for it.
struct Lettering {
    style: Style,
    anchor: Anchor,
}

/// The SVG backend divides the size by this to get pixels to the em.
const BACKEND_EM: f64 = 1.24;

impl BackendTextStyle for Lettering {
    type FontError = Infallible;

    fn color(&self) -> BackendColor {
        backend_color(self.style.color)
    }

    fn size(&self) -> f64 {
        self.style.em * BACKEND_EM
    }

    fn style(&self) -> FontStyle {
        match self.style.weight {
            Weight::Regular => FontStyle::Normal,
            Weight::Bold => FontStyle::Bold,
        }
    }

    fn anchor(&self) -> Pos {
        let h_pos = match self.anchor {
            Anchor::Start => HPos::Left,
            Anchor::Middle => HPos::Center,
            Anchor::End => HPos::Right,
        };
        Pos::new(h_pos, VPos::Bottom)
    }

    fn family(&self) -> FontFamily<'_> {
        FontFamily::Name(font::FAMILY)
    }

    fn layout_box(&self, text: &str) -> Result<((i32, i32), (i32, i32)), Infallible> {
        // Without extent: position and anchor were resolved before.
        let _ = text;
        Ok(((0, 0), (0, 0)))
    }

    fn draw<E, D: FnMut(i32, i32, BackendColor) -> Result<(), E>>(
        &self,
        text: &str,
        (x, baseline): BackendCoord,
        mut draw: D,
    ) -> Result<Result<(), E>, Infallible> {
        let color = backend_color(self.style.color);
        let mut outcome = Ok(());
        let at = (f64::from(x), f64::from(baseline));
        font::rasterize(text, self.style.em, self.style.weight, at, |x, y, coverage| {
            if outcome.is_ok() && coverage > 0.0 {
                outcome = draw(x, y, color.mix(f64::from(coverage)));
            }
        });
        Ok(outcome)
    }
}
