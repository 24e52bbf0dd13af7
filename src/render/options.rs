//! What can be chosen about a figure.

use super::theme::Theme;
use crate::units::Seconds;
use std::fmt;
use std::path::Path;
use std::str::FromStr;

/// The file format of a figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Format {
    /// Pixels.
    #[default]
    Png,
    /// Vectors with real text.
    Svg,
}

/// A file name that ends in neither `.png` nor `.svg`.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{path}: a figure is a .png or a .svg file; end the name with one of the two")]
pub struct UnknownFormat {
    /// The file name.
    pub path: String,
}

impl Format {
    /// The format that the ending of a file name asks for.
    ///
    /// # Errors
    /// [`UnknownFormat`] unless it is `.png` or `.svg`, in any case.
    pub fn of_path(path: &Path) -> Result<Self, UnknownFormat> {
        let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase());
        match ending.as_deref() {
            Some("png") => Ok(Self::Png),
            Some("svg") => Ok(Self::Svg),
            _ => Err(UnknownFormat { path: path.display().to_string() }),
        }
    }
}

/// Width and height of a figure in pixels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Size {
    width: u16,
    height: u16,
}

/// Why a size will not do.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SizeError {
    /// Not of the form `1600x900`.
    #[error("\"{0}\" is not a size; write WIDTHxHEIGHT in pixels, such as 1600x900, or wide, phone, a4")]
    Malformed(String),
    /// Too small to be read or too large to be handled.
    #[error("{width}x{height} is out of range; a figure is {least_width}x{least_height} to {most}x{most} pixels",
        least_width = Size::LEAST.0, least_height = Size::LEAST.1, most = Size::MOST)]
    OutOfRange {
        /// Width asked for.
        width: u32,
        /// Height asked for.
        height: u32,
    },
}

impl Size {
    /// 1600×900: fills a screen and the width of a ticket.
    pub const WIDE: Self = Self { width: 1600, height: 900 };
    /// 1080×2340: a phone held upright.
    pub const PHONE: Self = Self { width: 1080, height: 2340 };
    /// 3508×2480: A4 on its side at 300 dots per inch.
    pub const A4: Self = Self { width: 3508, height: 2480 };
    /// Below this the text of a figure has no room.
    const LEAST: (u32, u32) = (480, 360);
    /// Above this a figure has more pixels than printers and viewers handle.
    const MOST: u32 = 12_000;

    /// A size within what can be drawn.
    ///
    /// # Errors
    /// [`SizeError::OutOfRange`] otherwise.
    pub fn new(width: u32, height: u32) -> Result<Self, SizeError> {
        let fits = width >= Self::LEAST.0 && height >= Self::LEAST.1 && width.max(height) <= Self::MOST;
        match (u16::try_from(width), u16::try_from(height)) {
            (Ok(w), Ok(h)) if fits => Ok(Self { width: w, height: h }),
            _ => Err(SizeError::OutOfRange { width, height }),
        }
    }

    /// Width in pixels.
    #[must_use]
    pub const fn width(self) -> u32 {
        self.width as u32
    }

    /// Height in pixels.
    #[must_use]
    pub const fn height(self) -> u32 {
        self.height as u32
    }
}

impl Default for Size {
    fn default() -> Self {
        Self::WIDE
    }
}

impl fmt::Display for Size {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}x{}", self.width, self.height)
    }
}

impl FromStr for Size {
    type Err = SizeError;

    /// `1600x900`, or one of the names `wide`, `phone`, `a4`.
    fn from_str(text: &str) -> Result<Self, SizeError> {
        match text.to_lowercase().as_str() {
            "wide" => return Ok(Self::WIDE),
            "phone" => return Ok(Self::PHONE),
            "a4" => return Ok(Self::A4),
            _ => {}
        }
        let malformed = || SizeError::Malformed(text.to_owned());
        let (width, height) = text.split_once(['x', 'X', '×']).ok_or_else(malformed)?;
        let number = |part: &str| part.trim().parse().map_err(|_| malformed());
        Self::new(number(width)?, number(height)?)
    }
}

/// What can be chosen about a figure.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Options {
    /// The file format.
    pub format: Format,
    /// Width and height in pixels.
    pub size: Size,
    /// Dots per inch at which the figure is to be seen. `None` lets the text grow with the figure; a number fixes
    /// the size of the text on paper.
    pub dpi: Option<u32>,
    /// On what it is drawn.
    pub theme: Theme,
    /// Start of the stretch to show, on the log's clock; `None` for the first reading.
    pub from: Option<Seconds>,
    /// End of the stretch to show; `None` for the last reading.
    pub to: Option<Seconds>,
    /// Show this phase, with some of what comes before and after.
    pub zoom: Option<String>,
}

/// The density at which a figure of [`Size::WIDE`] is about as wide as a page of A4 on its side.
const USUAL_DPI: u32 = 144;

/// The density at which [`Size::A4`] is as wide as a page of A4 on its side, 297 mm (ISO 216).
const A4_DPI: u32 = 300;

/// The shorter side of [`Size::WIDE`], for which the measures of the layout were chosen.
const USUAL_SIDE: f64 = 900.0;

/// Units to the width of an upright figure: on a phone, whose page is 360 to 390 pixels wide, the smallest text is 11
/// pixels to the em, below which it is not read without pinching (common practice, no source).
const UPRIGHT_WIDTH: f64 = 440.0;

/// Pixels to a unit at least, where the layout's own least lets it be: the smallest text is then 10 pixels to the em.
/// Below that it is not read without leaning in (common practice, no source).
const LEAST_UNIT: f64 = 10.0 / super::sheet::em::SMALL;

/// Units to the height of an upright figure at least, for so narrow a figure stacks what others have side by side.
const UPRIGHT_HEIGHT: f64 = 800.0;

/// The least width and height, in its own units, that a figure's layout holds down to.
pub(super) type Least = (f64, f64);

impl Options {
    /// Dots per inch to write into the file: a page of A4 is printed as one.
    pub(super) fn density(&self) -> u32 {
        self.dpi.unwrap_or(if self.size == Size::A4 { A4_DPI } else { USUAL_DPI })
    }

    /// Pixels to a unit of a layout that needs at least so many.
    pub(super) fn unit(&self, least: Least) -> f64 {
        let (width, height) = (f64::from(self.size.width), f64::from(self.size.height));
        let wished = match self.dpi {
            Some(dpi) => f64::from(dpi) / f64::from(USUAL_DPI),
            // What is held upright is held in a hand: its text must be larger beside its width.
            None if height > width => (width / UPRIGHT_WIDTH).min(height / UPRIGHT_HEIGHT),
            None => (width.min(height) / USUAL_SIDE).max(LEAST_UNIT),
        };
        wished.min(width / least.0).min(height / least.1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_read_by_number_and_name() {
        assert_eq!("1600x900".parse::<Size>().unwrap(), Size::WIDE);
        assert_eq!("A4".parse::<Size>().unwrap(), Size::A4);
        let messages =
            ["big", "1600", "10x10", "99999x900"].map(|s| s.parse::<Size>().unwrap_err().to_string());
        insta::assert_snapshot!(messages.join("\n"), @r#"
        "big" is not a size; write WIDTHxHEIGHT in pixels, such as 1600x900, or wide, phone, a4
        "1600" is not a size; write WIDTHxHEIGHT in pixels, such as 1600x900, or wide, phone, a4
        10x10 is out of range; a figure is 480x360 to 12000x12000 pixels
        99999x900 is out of range; a figure is 480x360 to 12000x12000 pixels
        "#);
    }

    #[test]
    fn the_ending_chooses_the_format() {
        assert_eq!(Format::of_path(Path::new("a/b.SVG")).unwrap(), Format::Svg);
        assert_eq!(Format::of_path(Path::new("b.png")).unwrap(), Format::Png);
        assert!(Format::of_path(Path::new("b.jpg")).is_err() && Format::of_path(Path::new("png")).is_err());
    }

    #[test]
    fn on_a_phone_the_smallest_text_is_read_without_pinching() {
        // Pages of phones are 360 to 390 CSS pixels wide (common practice, no source).
        for (page, least) in [(360.0, 10.5), (375.0, 11.0), (390.0, 11.5)] {
            let unit = Options { size: Size::PHONE, ..Options::default() }.unit((440.0, 820.0));
            let shown = super::super::sheet::em::SMALL * unit * page / f64::from(Size::PHONE.width());
            assert!(shown > least, "{shown} px on a page of {page} px");
        }
    }

    #[test]
    fn text_on_a_small_figure_keeps_its_letters_apart() {
        let small = Options { size: Size::new(640, 480).unwrap(), ..Options::default() }.unit((440.0, 560.0));
        assert!(small * super::super::sheet::em::SMALL >= 10.0 - 1e-9);
        // A layout that needs more units than that gets them.
        let tall = Options { size: Size::new(640, 480).unwrap(), ..Options::default() }.unit((440.0, 960.0));
        assert!((tall - 0.5).abs() < 1e-12);
    }

    #[test]
    fn a_page_of_a4_is_printed_as_one() {
        let of = |size, dpi| Options { size, dpi, ..Options::default() }.density();
        let width_mm = |dpi: u32| f64::from(Size::A4.width()) / f64::from(dpi) * 25.4;
        assert!((width_mm(of(Size::A4, None)) - 297.0).abs() < 0.1);
        assert_eq!((of(Size::WIDE, None), of(Size::A4, Some(150))), (144, 150));
    }

    #[test]
    fn a_density_fixes_the_size_of_text_on_paper() {
        let at = |size, dpi| Options { size, dpi, ..Options::default() }.unit((540.0, 480.0));
        assert!((at(Size::WIDE, None) - 1.0).abs() < 1e-12);
        assert!((at(Size::A4, Some(300)) - 300.0 / 144.0).abs() < 1e-12);
        assert!(at(Size::new(480, 360).unwrap(), Some(600)) <= 360.0 / 480.0);
    }
}
