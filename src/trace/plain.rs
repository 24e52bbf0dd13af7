//! The short cut for plain rows: numbers without exponent, no quotes, no event.
//!
//! Nearly every row of a log is plain. This reads such a row in one pass over its bytes, up to eight at a time, and
//! gives up on anything else, which the careful way in [`super::rows`] then reads or names; so the two never differ in
//! what they read. Pieces of a log that begin with a line are read side by side.

use super::model::Mode;

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

/// Bytes that are looked at together.
const WORD: usize = 8;
/// Powers of ten by the digits of a word.
const POWERS: [u64; WORD] = [1, 10, 100, 1_000, 10_000, 100_000, 1_000_000, 10_000_000];
/// Powers of ten that a double holds exactly.
const EXACT_POWERS: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18,
    1e19, 1e20, 1e21, 1e22,
];
/// Whole numbers up to here are exact in a double.
const LARGEST_EXACT: u64 = 1 << 53;
/// So many digits fit in 64 bits whatever they are.
const MOST_DIGITS: usize = 19;

/// The most rows that are read at once: their columns fit in a processor's second-level cache.
const MOST_ROWS: usize = 16_384;

/// Plain rows that follow each other, column by column.
#[derive(Debug, Default)]
pub(super) struct PlainRows {
    pub(super) time: Vec<f64>,
    pub(super) volts: Vec<f64>,
    pub(super) amps: Vec<f64>,
    /// Empty where there is no such column.
    pub(super) mode: Vec<Mode>,
    /// Likewise; zero stands for none.
    pub(super) span: Vec<f32>,
    /// Bytes of their lines.
    pub(super) bytes: usize,
}

impl PlainRows {
    /// Reads the rows at the start of `lines` up to the first that is not plain, or not later than the one before.
    pub(super) fn read(&mut self, lines: &[u8], columns: &[Column]) {
        self.clear();
        let mut before = f64::NEG_INFINITY;
        while self.time.len() < MOST_ROWS
            && let Some((row, length)) = row(&lines[self.bytes..], columns)
            && row.time > before
        {
            before = row.time;
            self.push(&row, columns);
            self.bytes += length;
        }
    }

    fn push(&mut self, row: &Row, columns: &[Column]) {
        self.time.push(row.time);
        self.volts.push(row.volts);
        self.amps.push(row.amps);
        // The first three columns are in every log, so that a log without more has none to be looked for.
        if columns.len() > 3 {
            self.mode.push(row.mode);
            #[expect(clippy::cast_possible_truncation, reason = "a span needs no more than seven figures")]
            self.span.push(row.span as f32);
        }
    }

    fn clear(&mut self) {
        self.time.clear();
        self.volts.clear();
        self.amps.clear();
        self.mode.clear();
        self.span.clear();
        self.bytes = 0;
    }
}

/// One plain row; its numbers are finite.
struct Row {
    time: f64,
    volts: f64,
    amps: f64,
    mode: Mode,
    span: f64,
}

/// The reading in the first line of `lines`, and the bytes of that line with its line feed; `None` if it is not plain.
#[inline]
fn row(lines: &[u8], columns: &[Column]) -> Option<(Row, usize)> {
    let mut row = Row { time: 0.0, volts: 0.0, amps: 0.0, mode: Mode::Unknown, span: 0.0 };
    let mut at = 0;
    let last = columns.len() - 1;
    for (index, column) in columns.iter().enumerate() {
        match column {
            Column::Time => row.time = number(lines, &mut at)?,
            Column::Volts => row.volts = number(lines, &mut at)?,
            Column::Amps => row.amps = number(lines, &mut at)?,
            Column::Mode => row.mode = mode_word(lines, &mut at),
            Column::Span if is_field_end(*lines.get(at)?) => {}
            Column::Span => row.span = number(lines, &mut at).filter(|span| *span >= 0.0)?,
            Column::Event => {}
        }
        let expected = if index == last { b'\n' } else { b',' };
        if *lines.get(at)? != expected {
            return None;
        }
        at += 1;
    }
    Some((row, at))
}

/// A number of up to 19 digits without exponent.
///
/// Both the digits as a whole number and the power of ten are exact in a double, so one division rounds correctly
/// (Clinger 1990, "How to read floating point numbers accurately").
#[inline]
fn number(bytes: &[u8], at: &mut usize) -> Option<f64> {
    let negative = *bytes.get(*at)? == b'-';
    let start = *at + usize::from(negative);
    let (end, magnitude) = short(bytes, start).or_else(|| long(bytes, start))?;
    *at = end;
    Some(if negative { -magnitude } else { magnitude })
}

/// Where a number ends that has up to seven digits before the point and up to seven after it, and the number.
#[inline]
fn short(bytes: &[u8], start: usize) -> Option<(usize, f64)> {
    let (before, whole) = digits(bytes, start)?;
    let end = start + before;
    #[expect(clippy::cast_precision_loss, reason = "at most 14 digits, which a double holds exactly")]
    if *bytes.get(end)? == b'.' {
        let (after, decimals) = digits(bytes, end + 1)?;
        Some((end + 1 + after, (whole * POWERS[after] + decimals) as f64 / EXACT_POWERS[after]))
    } else {
        Some((end, whole as f64))
    }
}

/// The same for a number of up to 19 digits, digit by digit.
#[cold]
fn long(bytes: &[u8], start: usize) -> Option<(usize, f64)> {
    let unsigned = bytes.get(start..)?;
    let mut whole = 0;
    let before = append_digits(unsigned, &mut whole);
    let (decimals, length) = match unsigned[before..] {
        [b'.', ref rest @ ..] => {
            let decimals = append_digits(rest, &mut whole);
            (decimals, before + 1 + decimals)
        }
        _ => (0, before),
    };
    if before == 0 || length == before + 1 || before + decimals > MOST_DIGITS || whole > LARGEST_EXACT {
        return None;
    }
    #[expect(clippy::cast_precision_loss, reason = "at most 2 to the 53rd, which is exact")]
    let magnitude = whole as f64 / EXACT_POWERS[decimals];
    Some((start + length, magnitude))
}

/// Appends digits to `number` (wrapping once there are too many) and says how many there were.
fn append_digits(bytes: &[u8], number: &mut u64) -> usize {
    let count = bytes.iter().take_while(|byte| byte.is_ascii_digit()).count();
    for byte in &bytes[..count] {
        *number = number.wrapping_mul(10).wrapping_add(u64::from(byte - b'0'));
    }
    count
}

/// One to seven digits at `at`: how many, and the number that they make. `None` if there are more, or none, or fewer
/// than eight bytes left to look at.
///
/// Eight bytes are looked at as one number, the first in its lowest byte: digits become 0 to 9, a carry into the top
/// bit marks what is none, and neighbours are put together two by two (Warren, "Hacker's Delight", 2nd ed. 2013,
/// chapter 6, for finding the first marked byte; Lemire, "Number parsing at a gigabyte per second", Softw. Pract.
/// Exp. 51 (2021) 1700, section 5, for the rest).
#[inline]
fn digits(bytes: &[u8], at: usize) -> Option<(usize, u64)> {
    const EACH: u64 = 0x0101_0101_0101_0101;
    let word = u64::from_le_bytes(*bytes.get(at..)?.first_chunk::<WORD>()?) ^ (EACH * 0x30);
    let others = (((word & (EACH * 0x7F)) + EACH * 0x76) | word) & (EACH * 0x80);
    let count = others.trailing_zeros() as usize / WORD;
    if count == 0 || count == WORD {
        return None;
    }
    // What follows the digits is shifted out, and zeros come in before them.
    let digits = word << (64 - 8 * count);
    let pairs = digits.wrapping_mul(10).wrapping_add(digits >> 8);
    let (odd, even) = (pairs & 0x0000_00FF_0000_00FF, (pairs >> 16) & 0x0000_00FF_0000_00FF);
    let number =
        odd.wrapping_mul(0x000F_4240_0000_0064).wrapping_add(even.wrapping_mul(0x0000_2710_0000_0001));
    Some((count, number >> 32))
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
    use proptest::prelude::*;

    /// What follows a number in a row, long enough to be looked at.
    const REST: &str = ",12.800\n9.0000";

    fn read(text: &str) -> Option<(f64, usize)> {
        let mut at = 0;
        number(format!("{text}{REST}").as_bytes(), &mut at).map(|number| (number, at))
    }

    #[test]
    fn plain_numbers_are_read_to_the_last_bit() {
        for text in [
            "0",
            "-0",
            "0.1",
            "12.801",
            "-0.0241",
            "9999999",
            "12345678",
            "1234567.7654321",
            "9007199254740992",
            "0.000000000000000001",
            "-3.14159265358979",
        ] {
            let (found, length) = read(text).unwrap();
            assert_eq!(found.to_bits(), text.parse::<f64>().unwrap().to_bits(), "{text}");
            assert_eq!(length, text.len());
        }
    }

    #[test]
    fn what_is_no_plain_number_is_left_alone() {
        for text in
            ["", "-", ".5", "5.", "9007199254740993", "12345678901234567890", "x", "--1", "+1", " 1", "-.5"]
        {
            assert_eq!(read(text), None, "{text}");
        }
        // A number ends before anything else; the check of the separator then stops there.
        assert_eq!(read("1e5"), Some((1.0, 1)));
        assert_eq!(number(b"1.5\n", &mut 0), Some(1.5), "too few bytes to be looked at as one");
    }

    proptest! {
        #[test]
        fn every_plain_number_is_that_of_the_standard_library(text in "-?[0-9]{1,8}(\\.[0-9]{1,7})?") {
            let (found, length) = read(&text).unwrap();
            prop_assert_eq!(found.to_bits(), text.parse::<f64>().unwrap().to_bits());
            prop_assert_eq!(length, text.len());
        }

        #[test]
        fn eight_bytes_are_looked_at_as_one_by_one(bytes in any::<[u8; 8]>()) {
            let count = bytes.iter().take_while(|byte| byte.is_ascii_digit()).count();
            let number = std::str::from_utf8(&bytes[..count]).unwrap().parse().ok();
            let expected = number.filter(|_| count < 8).map(|number| (count, number));
            prop_assert_eq!(digits(&bytes, 0), expected);
        }
    }

    #[test]
    fn rows_that_are_not_plain_are_left_alone() {
        let columns = [Column::Time, Column::Volts, Column::Amps, Column::Event];
        let length =
            |line: &str| row(format!("{line}2.0,12.8,0.024,\n").as_bytes(), &columns).map(|(_, bytes)| bytes);
        assert_eq!(length("1.5,12.8,0.024,\n"), Some(16));
        for line in ["1,2,3,gap\n", "1,2,3\n", "1,2,3,,\n", "1,2,3e1,\n", "1,,,gap\n", "1,2,3,", "1,2,3,\r\n"]
        {
            assert_eq!(length(line), None, "{line:?}");
        }
    }
}
