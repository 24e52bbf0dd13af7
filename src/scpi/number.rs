//! Numbers in replies.

/// Not-a-number in a reply: SCPI-1999 vol. 1, 7.2.1.5.
const NOT_A_NUMBER: f64 = 9.91e37;
/// Infinity in a reply, with either sign: SCPI-1999 vol. 1, 7.2.1.4. Everything this large is no reading.
const INFINITY: f64 = 9.9e37;
/// Some devices print the special values with three or four figures; the values themselves are six orders of
/// magnitude above anything measured.
const SPECIAL_FROM: f64 = 0.99 * INFINITY;

/// A decimal number as a reply gave it: NR1 (`12`), NR2 (`12.800`) or NR3 (`1.28E+1`) of IEEE 488.2, 8.7.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Number {
    value: f64,
    decimals: u8,
}

/// What unit may stand behind a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Suffix {
    /// None.
    #[default]
    Never,
    /// The unit may be there or not.
    Maybe,
    /// The unit must be there; a number without it was cut.
    Always,
}

/// Why a text is no number to be logged.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NumberError {
    /// Not a decimal number.
    #[error("'{found}' is not a number")]
    NotANumber {
        /// The text.
        found: String,
    },
    /// A number of the standard that stands for "no number".
    #[error("'{found}' stands for {meaning} (SCPI-1999), not for a reading")]
    Special {
        /// The text.
        found: String,
        /// What it stands for.
        meaning: &'static str,
    },
    /// A unit that was not expected here.
    #[error("unit in '{found}': expected {expected}")]
    Unit {
        /// The text.
        found: String,
        /// What the dialect lets stand there.
        expected: String,
    },
    /// Fewer or more decimals than this supply always gives.
    #[error("'{found}' has {decimals} decimals where this supply always gives {expected}: a cut reply")]
    Decimals {
        /// The text.
        found: String,
        /// How many it has.
        decimals: u8,
        /// How many it should have.
        expected: u8,
    },
}

impl Number {
    /// Reads a number that fills `text`, with nothing behind it.
    ///
    /// # Errors
    /// [`NumberError`] for anything else, and for the values that stand for not-a-number and infinity.
    pub fn parse(text: &str) -> Result<Self, NumberError> {
        let text = trimmed(text);
        match scan(text) {
            Some((number, "")) => number.checked(text),
            _ => Err(NumberError::NotANumber { found: shown(text) }),
        }
    }

    /// Reads a number with the unit `symbol` (`V`, `A`) behind it, as far as `suffix` lets it be there. The unit may
    /// have a multiplier: `U`, `M` (milli: IEEE 488.2, 7.7.3) or `K`.
    ///
    /// # Errors
    /// As [`Number::parse`]; [`NumberError::Unit`] for a unit that is missing or another one.
    pub fn parse_with_unit(text: &str, symbol: &str, suffix: Suffix) -> Result<Self, NumberError> {
        let text = trimmed(text);
        let Some((number, rest)) = scan(text) else {
            return Err(NumberError::NotANumber { found: shown(text) });
        };
        let number = number.checked(text)?;
        let unit = trimmed(rest);
        let wrong = |expected: String| NumberError::Unit { found: shown(text), expected };
        match (unit, suffix) {
            ("", Suffix::Always) => Err(wrong(format!("the unit {symbol}"))),
            ("", _) => Ok(number),
            (_, Suffix::Never) => Err(wrong("no unit".to_owned())),
            _ => match shift(unit, symbol) {
                Some(exponent) => Ok(number.shifted(exponent)),
                None => Err(wrong(format!("the unit {symbol}"))),
            },
        }
    }

    /// The value, always finite.
    #[must_use]
    pub fn value(&self) -> f64 {
        self.value
    }

    /// Decimals behind the point, after the exponent and the unit's multiplier are taken into account.
    #[must_use]
    pub fn decimals(&self) -> u8 {
        self.decimals
    }

    /// The step of its last digit.
    #[must_use]
    pub fn resolution(&self) -> f64 {
        10_f64.powi(-i32::from(self.decimals))
    }

    fn checked(self, text: &str) -> Result<Self, NumberError> {
        let special = |meaning| Err(NumberError::Special { found: shown(text), meaning });
        match self.value {
            v if !v.is_finite() => Err(NumberError::NotANumber { found: shown(text) }),
            v if v.abs() < SPECIAL_FROM => Ok(self),
            v if v > f64::midpoint(NOT_A_NUMBER, INFINITY) => special("not-a-number"),
            v if v > 0.0 => special("infinity"),
            _ => special("minus infinity"),
        }
    }

    fn shifted(self, exponent: i8) -> Self {
        let decimals = (i16::from(self.decimals) - i16::from(exponent)).clamp(0, 255);
        let factor = 10_f64.powi(i32::from(exponent.abs()));
        // Dividing by a power of ten rounds once; multiplying by its inverse rounds twice.
        let value = if exponent < 0 { self.value / factor } else { self.value * factor };
        Self { value, decimals: u8::try_from(decimals).unwrap_or(u8::MAX) }
    }
}

/// Without the white space of IEEE 488.2, 7.4.1.2: every control character (NUL among them) and the blank.
fn trimmed(text: &str) -> &str {
    text.trim_matches(|c: char| c <= ' ')
}

/// The start of `text`, short enough for a message.
fn shown(text: &str) -> String {
    super::response::shown(text.as_bytes())
}

/// The number at the start of `text`, and what is left behind it.
fn scan(text: &str) -> Option<(Number, &str)> {
    let digits = |at: usize| text[at..].bytes().take_while(u8::is_ascii_digit).count();
    let sign = usize::from(text.starts_with(['+', '-']));
    let whole = digits(sign);
    let mut end = sign + whole;
    let mut decimals = 0;
    if text[end..].starts_with('.') {
        decimals = digits(end + 1);
        end += 1 + decimals;
    }
    if whole + decimals == 0 {
        return None;
    }
    let exponent = exponent(&text[end..]);
    end += exponent.map_or(0, |(_, length)| length);
    let value = text[..end].parse::<f64>().ok()?;
    let decimals = i64::try_from(decimals).ok()? - exponent.map_or(0, |(value, _)| value);
    let decimals = u8::try_from(decimals.clamp(0, 255)).ok()?;
    Some((Number { value, decimals }, &text[end..]))
}

/// The exponent at the start of `text`, with its length.
fn exponent(text: &str) -> Option<(i64, usize)> {
    let rest = text.strip_prefix(['e', 'E'])?;
    let sign = usize::from(rest.starts_with(['+', '-']));
    let digits = rest[sign..].bytes().take_while(u8::is_ascii_digit).count();
    let end = sign + digits;
    // More than four digits is nothing an instrument sends, and could overflow.
    ((1..=4).contains(&digits)).then(|| rest[..end].parse().ok().map(|value| (value, 1 + end)))?
}

/// The power of ten that the multiplier of `unit` stands for, if `unit` is `symbol` with a multiplier.
fn shift(unit: &str, symbol: &str) -> Option<i8> {
    let at = unit.len().checked_sub(symbol.len())?;
    let (multiplier, base) = (unit.get(..at)?, unit.get(at..)?);
    if !base.eq_ignore_ascii_case(symbol) {
        return None;
    }
    match multiplier {
        "" => Some(0),
        "u" | "U" => Some(-6),
        "m" | "M" => Some(-3),
        "k" | "K" => Some(3),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The forms of IEEE 488.2-1992, 8.7.2 to 8.7.4, with blanks and control characters around them.
    #[test]
    fn the_three_forms_of_the_standard_are_read() {
        let read =
            |text: &str| Number::parse(text).map(|number| (number.value(), number.decimals())).unwrap();
        assert_eq!(read("12"), (12.0, 0));
        assert_eq!(read("+12.800"), (12.8, 3));
        assert_eq!(read("-0.0240"), (-0.024, 4));
        assert_eq!(read("1.28E+1"), (12.8, 1));
        assert_eq!(read("2.4150E-02"), (0.024_15, 6));
        assert_eq!(read(" \0.5\r"), (0.5, 1));
        assert_eq!(read("5."), (5.0, 0));
    }

    /// SCPI-1999 vol. 1, 7.2.1.4 and 7.2.1.5.
    #[test]
    fn the_special_values_of_the_standard_are_no_readings() {
        for (text, meaning) in [
            ("9.91E37", "not-a-number"),
            ("9.910000E+37", "not-a-number"),
            ("9.9E37", "infinity"),
            ("+9.90000E+37", "infinity"),
            ("-9.9E37", "minus infinity"),
        ] {
            assert_eq!(Number::parse(text), Err(NumberError::Special { found: text.into(), meaning }));
        }
    }

    #[test]
    fn what_is_no_number_is_an_error() {
        for bad in [
            "",
            ".",
            "-",
            "+-1",
            "1.2.3",
            "ERR",
            "ERROR",
            "12.8;0.02",
            "12,8",
            "0x10",
            "1e",
            "1e+",
            "nan",
            "NAN",
            "inf",
            "-infinity",
            "1_000",
            "12 8",
            "12\08",
            "--",
            "1.2.",
            "1e99999",
            "1e400",
            "٣",
            "12V",
        ] {
            assert!(matches!(Number::parse(bad), Err(NumberError::NotANumber { .. })), "{bad:?}");
        }
    }

    #[test]
    fn a_unit_is_read_where_it_may_be() {
        let amps = |text: &str, suffix| Number::parse_with_unit(text, "A", suffix);
        assert_eq!(amps("1.234A", Suffix::Maybe).map(|n| n.value()), Ok(1.234));
        let milli = amps("24.1 mA", Suffix::Always).unwrap();
        assert_eq!((milli.value(), milli.decimals()), (0.0241, 4));
        assert_eq!(amps("1.5e-3A", Suffix::Maybe).map(|n| n.value()), Ok(0.0015));
        assert_eq!(amps("1.234", Suffix::Maybe).map(|n| n.value()), Ok(1.234));
        for (text, suffix) in [
            ("1.234V", Suffix::Maybe),
            ("1.234", Suffix::Always),
            ("1.234A", Suffix::Never),
            ("1.2AA", Suffix::Maybe),
            ("1.2xA", Suffix::Maybe),
            ("1.2m", Suffix::Maybe),
        ] {
            assert!(matches!(amps(text, suffix), Err(NumberError::Unit { .. })), "{text}");
        }
    }

    proptest! {
        #[test]
        fn every_plain_number_reads_to_its_value_and_decimals(value in -1e6..1e6_f64, decimals in 0_u8..9) {
            let text = format!("{value:.*}", usize::from(decimals));
            let number = Number::parse(&text).unwrap();
            prop_assert_eq!(Ok(number.value()), text.parse::<f64>());
            prop_assert_eq!(number.decimals(), decimals);
        }

        #[test]
        fn nothing_is_read_that_the_language_itself_would_not_read(text in "[-+.0-9eEAVmu \\x00]{0,12}") {
            if let Ok(number) = Number::parse(&text) {
                let bare = text.trim_matches(|c: char| c <= ' ');
                prop_assert_eq!(Ok(number.value()), bare.parse::<f64>());
                prop_assert!(number.value().is_finite());
            }
        }

        #[test]
        fn no_text_panics(text in ".*") {
            let _ = Number::parse_with_unit(&text, "A", Suffix::Maybe);
        }
    }
}
