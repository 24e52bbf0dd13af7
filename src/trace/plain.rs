//! The short cut for plain rows: numbers without exponent, no quotes, no event.
//!
//! Nearly every row of a log is plain. This reads such a row in one pass over its bytes, and gives up on anything
//! else, which the careful way in [`super::rows`] then reads or names; so the two never differ in what they read.

use super::model::{Mode, Sample};
use crate::units::{Amps, Seconds, Volts};

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Column {
    Time,
    Volts,
    Amps,
    Mode,
    Span,
    Event,
}

impl Column {
    /// In the order of [`super::model::COLUMNS`].
    pub(super) const ALL: [Self; 6] =
        [Self::Time, Self::Volts, Self::Amps, Self::Mode, Self::Span, Self::Event];
}

/// Powers of ten that a double holds exactly.
const EXACT_POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18,
    1e19, 1e20, 1e21, 1e22,
];
/// Whole numbers up to here are exact in a double.
const LARGEST_EXACT: u64 = 1 << 53;
/// So many digits fit in 64 bits whatever they are.
const MOST_DIGITS: usize = 19;

/// The reading in the first line of `lines`, and the bytes of that line with its line feed; `None` if it is not plain.
pub(super) fn row(lines: &[u8], columns: &[Column]) -> Option<(Sample, usize)> {
    let (mut time, mut volts, mut amps) = (0.0, 0.0, 0.0);
    let (mut mode, mut span) = (Mode::Unknown, None);
    let mut at = 0;
    let last = columns.len() - 1;
    for (index, column) in columns.iter().enumerate() {
        match column {
            Column::Time => time = number(lines, &mut at)?,
            Column::Volts => volts = number(lines, &mut at)?,
            Column::Amps => amps = number(lines, &mut at)?,
            Column::Mode => mode = mode_word(lines, &mut at),
            Column::Span if is_field_end(*lines.get(at)?) => {}
            Column::Span => span = Some(number(lines, &mut at).filter(|span| *span >= 0.0)?),
            Column::Event => {}
        }
        let expected = if index == last { b'\n' } else { b',' };
        if *lines.get(at)? != expected {
            return None;
        }
        at += 1;
    }
    let span = span.and_then(|span| Seconds::new(span).ok());
    let (time, volts, amps) = (Seconds::new(time).ok()?, Volts::new(volts).ok()?, Amps::new(amps).ok()?);
    Some((Sample { time, volts, amps, mode, span }, at))
}

/// A number of up to 19 digits without exponent.
///
/// Both the digits as a whole number and the power of ten are exact in a double, so one division rounds correctly
/// (Clinger 1990, "How to read floating point numbers accurately").
fn number(bytes: &[u8], at: &mut usize) -> Option<f64> {
    let (negative, unsigned) = match bytes.get(*at..)? {
        [b'-', unsigned @ ..] => (true, unsigned),
        unsigned => (false, unsigned),
    };
    let mut whole = 0;
    let before = digits(unsigned, &mut whole);
    let (decimals, length) = match unsigned[before..] {
        [b'.', ref rest @ ..] => {
            let decimals = digits(rest, &mut whole);
            (decimals, before + 1 + decimals)
        }
        _ => (0, before),
    };
    if before == 0 || length == before + 1 || before + decimals > MOST_DIGITS || whole > LARGEST_EXACT {
        return None;
    }
    *at += length + usize::from(negative);
    #[expect(clippy::cast_precision_loss, reason = "at most 2 to the 53rd, which is exact")]
    let magnitude = whole as f64 / EXACT_POWERS[decimals];
    Some(if negative { -magnitude } else { magnitude })
}

/// Appends digits to `number` (wrapping once there are too many) and says how many there were.
fn digits(bytes: &[u8], number: &mut u64) -> usize {
    let mut count = 0;
    for byte in bytes {
        let digit = byte.wrapping_sub(b'0');
        if digit > 9 {
            break;
        }
        *number = number.wrapping_mul(10).wrapping_add(u64::from(digit));
        count += 1;
    }
    count
}

/// The mode at `at`; what is no mode is left for the check of the separator to stop at.
fn mode_word(bytes: &[u8], at: &mut usize) -> Mode {
    let rest = bytes.get(*at..).unwrap_or_default();
    let (mode, length) = match rest {
        [b'c', b'v', ..] => (Mode::ConstantVoltage, 2),
        [b'c', b'c', ..] => (Mode::ConstantCurrent, 2),
        [b'o', b'f', b'f', ..] => (Mode::Off, 3),
        _ => (Mode::Unknown, 0),
    };
    *at += length;
    mode
}

fn is_field_end(byte: u8) -> bool {
    matches!(byte, b',' | b'\n')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_numbers_are_read_to_the_last_bit() {
        for text in [
            "0",
            "-0",
            "0.1",
            "12.801",
            "-0.0241",
            "9007199254740992",
            "0.000000000000000001",
            "3.14159265358979",
        ] {
            let mut at = 0;
            let read = number(text.as_bytes(), &mut at).unwrap();
            assert_eq!(read.to_bits(), text.parse::<f64>().unwrap().to_bits(), "{text}");
            assert_eq!(at, text.len());
        }
        for text in ["", "-", ".5", "5.", "9007199254740993", "12345678901234567890", "x"] {
            assert_eq!(number(text.as_bytes(), &mut 0), None, "{text}");
        }
    }

    #[test]
    fn rows_that_are_not_plain_are_left_alone() {
        let columns = [Column::Time, Column::Volts, Column::Amps, Column::Event];
        assert_eq!(row(b"1.5,12.8,0.024,\n2", &columns).map(|(_, bytes)| bytes), Some(16));
        for line in ["1,2,3,gap\n", "1,2,3\n", "1,2,3,,\n", "1,2,3e1,\n", "1,,,gap\n", "1,2,3,"] {
            assert_eq!(row(line.as_bytes(), &columns), None, "{line:?}");
        }
    }
}
