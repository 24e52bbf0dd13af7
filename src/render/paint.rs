//! From shapes to pixels.

use super::RenderError;
use super::columns::Span;
use super::font::{self, Weight};
use super::geometry::{Point, Rect};
use super::scene::{self, Label, Scene, Shape, Style};
use super::theme::Color;
use plotters::prelude::BitMapBackend;
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
        paint(scene, &mut backend)?;
    }
    Ok(buffer)
}

fn size_of(scene: &Scene) -> (u32, u32) {
    (scene.width.unsigned_abs(), scene.height.unsigned_abs())
}

fn failed(error: impl std::fmt::Display) -> RenderError {
    RenderError::Draw(error.to_string())
}

fn paint<B: DrawingBackend>(scene: &Scene, backend: &mut B) -> Result<(), RenderError> {
    for shape in &scene.shapes {
        match shape {
            Shape::Fill { area, color } => fill(backend, area.intersection(scene.bounds()), *color),
            Shape::Hatch { area, pitch, rising, color } => hatch(backend, *area, *pitch, *rising, *color),
            Shape::Polygon { points, color } => {
                backend.fill_polygon(points.iter().copied(), &Ink { color: *color, width: 1 }).map_err(failed)
            }
            Shape::Line { from, to, width, color } => line(backend, *from, *to, *width, *color),
            Shape::Dashed { area, dash, upright, color } => scene::dashes(*area, *dash, *upright)
                .try_for_each(|dash| fill(backend, dash.intersection(scene.bounds()), *color)),
            Shape::Steps { left, spans, clip, width, color } => {
                step_pixels(backend, *left, spans, *clip, *width, *color)
            }
            Shape::Text(label) => text(backend, label),
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

fn text<B: DrawingBackend>(backend: &mut B, label: &Label) -> Result<(), RenderError> {
    backend
        .draw_text(&label.text, &Lettering { style: label.style }, (label.left(), label.at.1))
        .map_err(failed)
}

/// A text style as the backends ask for it.
struct Lettering {
    style: Style,
}

impl BackendTextStyle for Lettering {
    type FontError = Infallible;

    fn color(&self) -> BackendColor {
        backend_color(self.style.color)
    }

    fn size(&self) -> f64 {
        self.style.em
    }

    fn style(&self) -> FontStyle {
        match self.style.weight {
            Weight::Regular => FontStyle::Normal,
            Weight::Bold => FontStyle::Bold,
        }
    }

    fn anchor(&self) -> Pos {
        // Position and anchor were resolved before.
        Pos::new(HPos::Left, VPos::Bottom)
    }

    fn family(&self) -> FontFamily<'_> {
        FontFamily::Name(font::FAMILY)
    }

    fn layout_box(&self, text: &str) -> Result<((i32, i32), (i32, i32)), Infallible> {
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
