//! Numbers as logs write them.

use std::fmt;

/// SCPI-1999 volume 1, 7.2.1.4 and 7.2.1.5: 9.91E37 stands for not-a-number and ±9.9E37 for the infinities; no
/// reading is that large.
pub(super) const LARGEST_READING: f64 = 9.9e37;

/// Why a cell is not a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NumberFault {
    /// Nothing there.
    Empty,
    /// Not a number in plain or exponent notation.
    NotANumber,
    /// NaN or infinity, in words or as the supply's 9.91E37 and 9.9E37.
    NoReading,
}

impl fmt::Display for NumberFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Empty => "is empty",
            Self::NotANumber => "is not a number",
            Self::NoReading => "stands for \"no reading\" and must not be logged as one",
        })
    }
}

/// A finite decimal number, blanks around it allowed.
pub(super) fn parse(text: &str) -> Result<f64, NumberFault> {
    let text = text.trim();
    if text.is_empty() {
        return Err(NumberFault::Empty);
    }
    let value: f64 = text.parse().map_err(|_| NumberFault::NotANumber)?;
    if value.is_finite() && value.abs() < LARGEST_READING { Ok(value) } else { Err(NumberFault::NoReading) }
}

/// The shortest text that reads back as the same number.
pub(super) struct Shortest<T>(pub(super) T);

impl<T: Copy + fmt::Display + fmt::LowerExp + Into<f64>> fmt::Display for Shortest<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let magnitude = self.0.into().abs();
        if magnitude != 0.0 && !(1e-6..1e15).contains(&magnitude) {
            write!(f, "{:e}", self.0)
        } else {
            write!(f, "{}", self.0)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_that_are_no_readings_are_refused() {
        for (text, fault) in [
            ("", NumberFault::Empty),
            ("ERROR", NumberFault::NotANumber),
            ("12,8", NumberFault::NotANumber),
            ("1.2A", NumberFault::NotANumber),
            ("NaN", NumberFault::NoReading),
            ("-inf", NumberFault::NoReading),
            ("9.91E37", NumberFault::NoReading),
            ("-9.9E+37", NumberFault::NoReading),
            ("1e999", NumberFault::NoReading),
        ] {
            assert_eq!(parse(text), Err(fault), "{text:?}");
        }
        assert_eq!(parse(" +1.25e-3 "), Ok(0.001_25));
    }
}
