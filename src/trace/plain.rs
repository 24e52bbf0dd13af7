//! The short cut for plain rows: numbers without exponent, no quotes, no event.
//!
//! Nearly every row of a log is plain. This reads such a row in one pass over its bytes, up to eight at a time, and
//! gives up on anything else, which the careful way in [`super::rows`] then reads or names; so the two never differ in
//! what they read. Pieces of a log that begin with a line are read side by side.

use super::model::{COLUMNS, Mode};

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
/// `0` in every byte of a word.
const ZEROS: u64 = u64::from_ne_bytes([b'0'; WORD]);
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
/// The fewest bytes of a row: three digits and their ends.
const LEAST_ROW: usize = 6;

/// Plain rows that follow each other, column by column.
#[derive(Debug, Default)]
pub(super) struct PlainRows {
    /// Room, up to [`MOST_ROWS`], of which the first [`Self::count`] are in use, as in every column.
    time: Vec<f64>,
    volts: Vec<f64>,
    amps: Vec<f64>,
    mode: Vec<Mode>,
    /// Zero stands for none.
    span: Vec<f32>,
    /// Whether there are columns beside the readings.
    has_more: bool,
    count: usize,
    bytes: usize,
}

impl PlainRows {
    /// Reads the rows at the start of `lines` up to the first that is not plain, or not later than the one before.
    pub(super) fn read(&mut self, lines: &[u8], columns: &[Column]) {
        self.make_room(lines.len() / LEAST_ROW + 1);
        self.has_more = columns.len() > READINGS;
        let readings = self.time.iter_mut().zip(&mut self.volts).zip(&mut self.amps);
        let others = self.mode.iter_mut().zip(&mut self.span);
        let mut shapes = [Shape::default(); COLUMNS.len()];
        let (mut count, mut bytes, mut before) = (0, 0, f64::NEG_INFINITY);
        for (((time, volts), amps), (mode, span)) in readings.zip(others) {
            let Some((row, length)) = row(&lines[bytes..], columns, &mut shapes) else { break };
            if row.time <= before {
                break;
            }
            (*time, *volts, *amps, *mode, *span) = (row.time, row.volts, row.amps, row.mode, row.span);
            before = row.time;
            bytes += length;
            count += 1;
        }
        (self.count, self.bytes) = (count, bytes);
    }

    fn make_room(&mut self, rows: usize) {
        let room = rows.clamp(self.time.len(), MOST_ROWS);
        self.time.resize(room, 0.0);
        self.volts.resize(room, 0.0);
        self.amps.resize(room, 0.0);
        self.mode.resize(room, Mode::Unknown);
        self.span.resize(room, 0.0);
    }

    /// How many there are.
    pub(super) fn len(&self) -> usize {
        self.count
    }

    /// Bytes of their lines.
    pub(super) fn bytes(&self) -> usize {
        self.bytes
    }

    pub(super) fn time(&self) -> &[f64] {
        &self.time[..self.count]
    }

    pub(super) fn volts(&self) -> &[f64] {
        &self.volts[..self.count]
    }

    pub(super) fn amps(&self) -> &[f64] {
        &self.amps[..self.count]
    }

    /// Empty where there are only readings.
    pub(super) fn mode(&self) -> &[Mode] {
        if self.has_more { &self.mode[..self.count] } else { &[] }
    }

    /// Likewise; zero stands for none.
    pub(super) fn span(&self) -> &[f32] {
        if self.has_more { &self.span[..self.count] } else { &[] }
    }
}

/// The first columns, which are in every log: time, volts, amps.
const READINGS: usize = 3;

/// One plain row; its numbers are finite.
struct Row {
    time: f64,
    volts: f64,
    amps: f64,
    mode: Mode,
    span: f32,
}

/// The reading in the first line of `lines`, and the bytes of that line with its line feed; `None` if it is not plain.
/// `shapes` are those of the row before, column by column.
#[inline]
fn row(lines: &[u8], columns: &[Column], shapes: &mut [Shape; COLUMNS.len()]) -> Option<(Row, usize)> {
    let mut row = Row { time: 0.0, volts: 0.0, amps: 0.0, mode: Mode::Unknown, span: 0.0 };
    let mut at = 0;
    let last = columns.len() - 1;
    for (index, (column, shape)) in columns.iter().zip(shapes).enumerate() {
        let end = if index == last { b'\n' } else { b',' };
        match column {
            Column::Time => row.time = number(lines, &mut at, end, shape)?,
            Column::Volts => row.volts = number(lines, &mut at, end, shape)?,
            Column::Amps => row.amps = number(lines, &mut at, end, shape)?,
            Column::Mode => row.mode = mode_word(lines, &mut at),
            Column::Span if *lines.get(at)? == end => {}
            #[expect(clippy::cast_possible_truncation, reason = "a span needs no more than seven figures")]
            Column::Span => row.span = number(lines, &mut at, end, shape).filter(|span| *span >= 0.0)? as f32,
            Column::Event => {}
        }
        if *lines.get(at)? != end {
            return None;
        }
        at += 1;
    }
    Some((row, at))
}

/// Digits before and after the point.
///
/// Nearly always a number has the shape of the one above it. Supposing that it does, and looking afterwards, lets a
/// processor go on to the next number before it is done with this one.
#[derive(Debug, Clone, Copy, Default)]
struct Shape {
    before: usize,
    after: usize,
}

/// A number of up to 19 digits without exponent, up to the byte `end`.
///
/// Both the digits as a whole number and the power of ten are exact in a double, so one division rounds correctly
/// (Clinger 1990, "How to read floating point numbers accurately").
#[inline]
fn number(bytes: &[u8], at: &mut usize, end: u8, shape: &mut Shape) -> Option<f64> {
    if let Some(magnitude) = shape.number(bytes, *at, end) {
        *at += shape.before + 1 + shape.after;
        return Some(magnitude);
    }
    any_number(bytes, at, shape)
}

impl Shape {
    /// The number at `at` if it has this shape and the byte `end` follows.
    #[inline]
    fn number(self, bytes: &[u8], at: usize, end: u8) -> Option<f64> {
        let bytes = bytes.get(at..)?;
        let head = u64::from_le_bytes(*bytes.first_chunk()?);
        let tail = u64::from_le_bytes(*bytes.get(self.before + 1..)?.first_chunk()?);
        let follows = |word: u64, digits: usize| (word >> (8 * digits)) & 0xFF;
        // Both are below a word's length, but for those of no number yet.
        let has_ends =
            follows(head, self.before) == u64::from(b'.') && follows(tail, self.after) == u64::from(end);
        if self.before == 0 || self.after == 0 || !has_ends {
            return None;
        }
        let (whole, decimals) = (last_digits(head, self.before), last_digits(tail, self.after));
        let number = if self.before + self.after <= WORD {
            let digits = (whole >> (8 * self.after)) | decimals;
            are_digits(digits).then(|| value(digits))?
        } else {
            let both = are_digits(whole) && are_digits(decimals);
            both.then(|| value(whole) * POWERS[self.after] + value(decimals))?
        };
        #[expect(clippy::cast_precision_loss, reason = "at most 14 digits, which a double holds exactly")]
        Some(number as f64 / EXACT_POWERS[self.after])
    }
}

/// A number of any shape, which is remembered if the next may be read by it.
fn any_number(bytes: &[u8], at: &mut usize, shape: &mut Shape) -> Option<f64> {
    let negative = *bytes.get(*at)? == b'-';
    let start = *at + usize::from(negative);
    let (end, magnitude) = short(bytes, start, shape).or_else(|| long(bytes, start))?;
    *at = end;
    Some(if negative { -magnitude } else { magnitude })
}

/// Where a number ends that has up to seven digits before the point and up to seven after it, and the number.
#[inline]
fn short(bytes: &[u8], start: usize, shape: &mut Shape) -> Option<(usize, f64)> {
    let (before, whole) = digits(bytes, start)?;
    let end = start + before;
    #[expect(clippy::cast_precision_loss, reason = "at most 14 digits, which a double holds exactly")]
    if *bytes.get(end)? == b'.' {
        let (after, decimals) = digits(bytes, end + 1)?;
        *shape = Shape { before, after };
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
/// Eight bytes are looked at as one number, the first in its lowest byte (Warren, "Hacker's Delight", 2nd ed. 2013,
/// chapter 6, for finding the first marked byte).
#[inline]
fn digits(bytes: &[u8], at: usize) -> Option<(usize, u64)> {
    let word = u64::from_le_bytes(*bytes.get(at..)?.first_chunk::<WORD>()?);
    let count = others(word ^ ZEROS).trailing_zeros() as usize / WORD;
    if count == 0 || count == WORD {
        return None;
    }
    Some((count, value(last_digits(word, count))))
}

/// The first `count` digits of a word, one to eight, as numbers in its last bytes; the bytes before are zero.
#[inline]
fn last_digits(word: u64, count: usize) -> u64 {
    (word ^ ZEROS) << (8 * (WORD - count))
}

/// Marks the bytes that are no number from 0 to 9 by their top bit: a carry into it, or itself.
#[inline]
fn others(word: u64) -> u64 {
    (((word & (EACH * 0x7F)) + EACH * 0x76) | word) & (EACH * 0x80)
}

/// One in every byte of a word.
const EACH: u64 = u64::from_ne_bytes([1; WORD]);

/// Whether every byte of a word is a number from 0 to 9.
#[inline]
fn are_digits(word: u64) -> bool {
    others(word) == 0
}

/// The number that eight digits make, the first in the lowest byte: neighbours are put together two by two (Lemire,
/// "Number parsing at a gigabyte per second", Softw. Pract. Exp. 51 (2021) 1700, section 5).
#[inline]
fn value(digits: u64) -> u64 {
    let pairs = digits.wrapping_mul(10).wrapping_add(digits >> 8);
    let (odd, even) = (pairs & 0x0000_00FF_0000_00FF, (pairs >> 16) & 0x0000_00FF_0000_00FF);
    odd.wrapping_mul(0x000F_4240_0000_0064).wrapping_add(even.wrapping_mul(0x0000_2710_0000_0001)) >> 32
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

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// What follows a number in a row, long enough to be looked at.
    const REST: &str = ",12.800\n9.0000";

    fn read(text: &str) -> Option<(f64, usize)> {
        read_like(&mut Shape::default(), text)
    }

    fn read_like(shape: &mut Shape, text: &str) -> Option<(f64, usize)> {
        let mut at = 0;
        number(format!("{text}{REST}").as_bytes(), &mut at, b',', shape).map(|number| (number, at))
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
        let few = number(b"1.5\n", &mut 0, b'\n', &mut Shape { before: 1, after: 1 });
        assert_eq!(few, Some(1.5), "too few bytes to be looked at as one");
    }

    proptest! {
        #[test]
        fn every_plain_number_is_that_of_the_standard_library(text in "-?[0-9]{1,8}(\\.[0-9]{1,7})?") {
            let (found, length) = read(&text).unwrap();
            prop_assert_eq!(found.to_bits(), text.parse::<f64>().unwrap().to_bits());
            prop_assert_eq!(length, text.len());
        }

        #[test]
        fn a_number_is_the_same_after_one_of_any_shape(
            above in "-?[0-9]{1,8}(\\.[0-9]{1,8})?",
            text in "-?[0-9]{0,9}[.,:]?[0-9]{0,8}",
        ) {
            let mut shape = Shape::default();
            let _ = read_like(&mut shape, &above);
            prop_assert_eq!(read_like(&mut shape, &text), read(&text));
            let again = read_like(&mut shape, &text);
            prop_assert_eq!(again, read(&text));
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
        let length = |line: &str| {
            let lines = format!("{line}2.0,12.8,0.024,\n");
            row(lines.as_bytes(), &columns, &mut Default::default()).map(|(_, bytes)| bytes)
        };
        assert_eq!(length("1.5,12.8,0.024,\n"), Some(16));
        for line in ["1,2,3,gap\n", "1,2,3\n", "1,2,3,,\n", "1,2,3e1,\n", "1,,,gap\n", "1,2,3,", "1,2,3,\r\n"]
        {
            assert_eq!(length(line), None, "{line:?}");
        }
    }
}
