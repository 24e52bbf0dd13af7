//! PNG with pixel density and title.

use super::RenderError;
use super::font::clean;
use super::scene::Scene;
use png::{BitDepth, ColorType, Compression, Encoder, PixelDimensions, Unit};

/// Millimetres of an inch times a thousandth: dots per inch to dots per metre.
const INCHES_PER_METRE: f64 = 1000.0 / 25.4;

/// `pixels` (RGB, row by row) as a PNG file.
pub(super) fn png(scene: &Scene, pixels: &[u8], dpi: u32) -> Result<Vec<u8>, RenderError> {
    let mut bytes = Vec::new();
    let mut encoder = Encoder::new(&mut bytes, scene.width.unsigned_abs(), scene.height.unsigned_abs());
    encoder.set_color(ColorType::Rgb);
    encoder.set_depth(BitDepth::Eight);
    encoder.set_compression(Compression::Fast);
    let per_metre = super::geometry::px(f64::from(dpi) * INCHES_PER_METRE).unsigned_abs();
    encoder.set_pixel_dims(Some(PixelDimensions { xppu: per_metre, yppu: per_metre, unit: Unit::Meter }));
    encoder.add_text_chunk("Title".into(), latin(&scene.title))?;
    encoder.add_itxt_chunk("Description".into(), clean(&scene.description))?;
    encoder.write_header()?.write_image_data(pixels)?;
    Ok(bytes)
}

/// What a tEXt chunk can hold (ISO 8859-1); the rest as question marks.
fn latin(text: &str) -> String {
    clean(text).chars().map(|c| if u32::from(c) < 256 { c } else { '?' }).collect()
}
