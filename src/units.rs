//! Physical quantities, and how people and machines read them.
//!
//! Each quantity is a newtype over a finite `f64` in its SI unit. The constructor refuses NaN and infinity, so a
//! number that was not understood cannot enter an analysis: behind this door every value is trusted.
//!
//! Display is for people (`0.84 A`, `24 mA`, `1 min 12 s`: three figures, a prefix where it helps); machines get the
//! bare number through [`serde`] or `value()`.

use serde::{Deserialize, Serialize};
use std::fmt;

/// A number that cannot be a measurement.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{found} is not a finite number of {unit}; a measurement must be finite")]
pub struct NotFinite {
    /// What was given.
    pub found: f64,
    /// The unit that was asked for, in words.
    pub unit: &'static str,
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $unit_words:literal, $shown:expr) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default, Serialize, Deserialize)]
        #[serde(try_from = "f64", into = "f64")]
        pub struct $name(f64);

        impl $name {
            /// Zero.
            pub const ZERO: Self = Self(0.0);

            /// A finite value in the SI unit.
            ///
            /// # Errors
            /// [`NotFinite`] for NaN and the infinities.
            pub fn new(value: f64) -> Result<Self, NotFinite> {
                if value.is_finite() {
                    Ok(Self(value))
                } else {
                    Err(NotFinite { found: value, unit: $unit_words })
                }
            }

            /// A constant of the program, checked when it is compiled.
            ///
            /// # Panics
            /// At compile time in a constant, else at once, if `value` is not finite.
            #[must_use]
            pub const fn constant(value: f64) -> Self {
                assert!(value.is_finite(), "a constant quantity must be finite");
                Self(value)
            }

            /// The bare number, in the SI unit.
            #[must_use]
            pub const fn value(self) -> f64 {
                self.0
            }
        }

        impl TryFrom<f64> for $name {
            type Error = NotFinite;
            fn try_from(value: f64) -> Result<Self, NotFinite> {
                Self::new(value)
            }
        }

        impl From<$name> for f64 {
            fn from(quantity: $name) -> f64 {
                quantity.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(&$shown(self.0))
            }
        }

        impl schemars::JsonSchema for $name {
            fn schema_name() -> std::borrow::Cow<'static, str> {
                stringify!($name).into()
            }
            fn json_schema(generator: &mut schemars::SchemaGenerator) -> schemars::Schema {
                f64::json_schema(generator)
            }
        }
    };
}

quantity!(
    /// Electric potential difference in volts.
    Volts, "volts", volts_for_people
);
quantity!(
    /// Electric current in amperes.
    Amps, "amperes", |amps| with_prefix(amps, "A")
);
quantity!(
    /// Power in watts.
    Watts, "watts", |watts| with_prefix(watts, "W")
);
quantity!(
    /// Energy in joules.
    Joules, "joules", |joules| with_prefix(joules, "J")
);
quantity!(
    /// Electric resistance in ohms.
    Ohms, "ohms", |ohms| with_prefix(ohms, "Ω")
);
quantity!(
    /// A time on a log's own clock, or a length of time, in seconds.
    Seconds, "seconds", duration_for_people
);

/// Why a text is no length of time.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "'{found}' is no length of time; expected a number with its unit, such as 30s, 500ms, 2min or 1h30min"
)]
pub struct BadDuration {
    /// What was given.
    pub found: String,
}

impl std::str::FromStr for Seconds {
    type Err = BadDuration;

    /// Reads `30s`, `2min`, `500ms`, `1h30min`; blanks between the parts are allowed, a missing unit is not.
    fn from_str(text: &str) -> Result<Self, BadDuration> {
        let bad = || BadDuration { found: text.to_owned() };
        let (mut rest, mut seconds) = (text.trim(), 0.0);
        if rest.is_empty() {
            return Err(bad());
        }
        while !rest.is_empty() {
            let number_end = rest.find(|c: char| !(c.is_ascii_digit() || c == '.')).ok_or_else(bad)?;
            let (number, tail) = rest.split_at(number_end);
            let tail = tail.trim_start();
            let unit_end = tail.find(|c: char| !c.is_alphabetic()).unwrap_or(tail.len());
            let (unit, tail) = tail.split_at(unit_end);
            let number: f64 = number.parse().map_err(|_| bad())?;
            seconds += number * seconds_in(unit).ok_or_else(bad)?;
            rest = tail.trim_start();
        }
        Self::new(seconds).map_err(|_| bad())
    }
}

/// Seconds in one `unit` of time.
fn seconds_in(unit: &str) -> Option<f64> {
    match unit {
        "us" | "µs" | "μs" => Some(1e-6),
        "ms" => Some(1e-3),
        "s" => Some(1.0),
        "min" => Some(60.0),
        "h" => Some(3600.0),
        _ => None,
    }
}

impl std::ops::Mul<Amps> for Volts {
    type Output = Watts;
    fn mul(self, amps: Amps) -> Watts {
        Watts(self.0 * amps.0)
    }
}

/// Significant figures that a person is shown: a bench meter's reading is rarely good to more than three.
const FIGURES: i32 = 3;

/// Three significant figures with the SI prefix that keeps the number between 1 and 1000, for people.
///
/// From 0.1 up to 1000 no prefix is used (`0.84 A`, not `840 mA`): a technician reads amps in amps down to a tenth.
fn with_prefix(value: f64, symbol: &str) -> String {
    prefixed(value, symbol, FIGURES)
}

/// The same to `count` significant figures.
fn prefixed(value: f64, symbol: &str, count: i32) -> String {
    let magnitude = value.abs();
    let (factor, prefix) = match magnitude {
        0.0 => return format!("0 {symbol}"),
        m if m >= 999.5e3 => (1e-6, "M"),
        m if m >= 999.5 => (1e-3, "k"),
        m if m >= 0.09995 => (1.0, ""),
        m if m >= 99.95e-6 => (1e3, "m"),
        m if m >= 99.95e-9 => (1e6, "µ"),
        _ => (1e9, "n"),
    };
    format!("{} {prefix}{symbol}", figures(value * factor, count))
}

/// `value` for people, no finer than an instrument that reads in steps of `step` resolves: three figures at most, and
/// `under` the step where less than half of one was read.
///
/// A mean of many readings may be known better than one of them; a person who compares it with the supply's own
/// display is not helped by figures that the display does not have.
#[must_use]
pub fn in_steps(value: f64, step: f64, symbol: &str) -> String {
    let magnitude = value.abs();
    if step <= 0.0 || !step.is_finite() || value == 0.0 || !value.is_finite() {
        return with_prefix(value, symbol);
    }
    if magnitude < step / 2.0 {
        return format!("under {}", prefixed(step, symbol, 1));
    }
    let exponent = |v: f64| (v.log10() + 1e-9).floor();
    let places = exponent(magnitude) - exponent(step) + 1.0;
    #[expect(clippy::cast_possible_truncation, reason = "clamped to a few figures")]
    let count = places.clamp(1.0, f64::from(FIGURES)) as i32;
    prefixed(value, symbol, count)
}

/// A time, or a length of time, no finer than readings `step` seconds apart show it: three figures at most, whose last
/// place is worth at least half the time between two readings, and one figure at least; tenths from readings of less than a
/// second apart on, so that times stay those of the rows that they come from.
///
/// What happens between two readings happened on average half of that time before the second: with ten readings a second
/// `7.752 s` would claim what nobody saw. With four `7.8 s` does as well, but halves of a second are no better: two stages
/// in a row come to begin at once, and a start and a length no longer add up to the end.
#[must_use]
pub fn time_in_steps(seconds: f64, step: f64) -> String {
    let magnitude = seconds.abs();
    if step <= 0.0
        || !step.is_finite()
        || !seconds.is_finite()
        || seconds == 0.0
        || magnitude >= MINUTES_FROM_S
    {
        return duration_for_people(seconds);
    }
    if magnitude < step / 2.0 {
        return format!("under {}", prefixed(step, "s", 1));
    }
    let unit = place_of_times(step);
    let units = (seconds / unit).round();
    if units.abs() < 1.0 {
        return prefixed(seconds, "s", 1);
    }
    #[expect(clippy::cast_possible_truncation, reason = "clamped to a few figures")]
    let count = ((units.abs().log10() + 1e-9).floor() + 1.0).clamp(1.0, f64::from(FIGURES)) as i32;
    prefixed(units * unit, "s", count)
}

/// When a person marked something: as the log has it, which does not wait for a reading; from minutes on as any other time
/// of readings `step` seconds apart.
#[must_use]
pub fn marked_time(seconds: f64, step: f64) -> String {
    /// Hundredths are as exact as anybody presses a button.
    const MARK_S: f64 = 0.01;
    /// From here on a time is said in minutes and seconds.
    const MINUTES_FROM_S: f64 = 99.0;
    if seconds >= MINUTES_FROM_S {
        return time_in_steps(seconds, step);
    }
    let hundredths = (seconds / MARK_S).round() * MARK_S;
    let written = format!("{hundredths:.2}");
    format!("{} s", written.strip_suffix('0').unwrap_or(&written))
}

/// The mean of `count` lengths of time in a row, between readings `step` seconds apart: their sum is known as well as one
/// of them, so that the mean has figures of its own, three at most.
#[must_use]
pub fn mean_time_in_steps(mean: f64, step: f64, count: f64) -> String {
    if count <= 1.0 || mean >= MINUTES_FROM_S {
        return time_in_steps(mean, step);
    }
    in_steps(mean, step / count, "s")
}

/// The last place of times between readings `step` seconds apart, in seconds.
fn place_of_times(step: f64) -> f64 {
    const TENTH_S: f64 = 0.1;
    if step > TENTH_S && step < 1.0 {
        return TENTH_S;
    }
    // Whole seconds are coarse enough.
    10_f64.powf(((step / 2.0).log10() - 1e-9).ceil().min(0.0))
}

/// The length of time between two moments as [`time_in_steps`] says these, so that start and length add up to the end.
#[must_use]
pub fn span_in_steps(from: f64, to: f64, step: f64) -> String {
    let places = |seconds: f64| (seconds / place_of_times(step)).round();
    if step <= 0.0
        || !step.is_finite()
        || from.abs().max(to.abs()) >= MINUTES_FROM_S
        || (places(from) - places(to)).abs() < 0.5
    {
        return time_in_steps(to - from, step);
    }
    time_in_steps((places(to) - places(from)) * place_of_times(step), step)
}

/// Volts for people: three figures, but never finer than a millivolt, which is what bench supplies read (common practice,
/// no source).
fn volts_for_people(volts: f64) -> String {
    const STEP_V: f64 = 0.001;
    in_steps(volts, STEP_V, "V")
}

/// Volts as a person sets them, in hundredths: `20.25 V`, `36.0 V`.
#[must_use]
pub fn volts_as_set(volts: f64) -> String {
    let shown = volts_for_people(volts);
    let read_back = shown.split(' ').next().and_then(|number| number.parse::<f64>().ok());
    let is_exact =
        !(1.0..1000.0).contains(&volts) || read_back.is_some_and(|back| (back - volts).abs() < 1e-6);
    if is_exact { shown } else { format!("{volts:.2} V") }
}

/// Volts that were read, beside those that were `set`: to as many decimals where they are no other, so that the two are
/// compared at a glance.
#[must_use]
pub fn volts_beside(volts: f64, set: Option<f64>) -> String {
    let Some(set) = set.filter(|set| are_as_set(volts, *set)) else { return volts_for_people(volts) };
    let shown = volts_as_set(set);
    let (number, unit) = shown.split_once(' ').unwrap_or((&shown, "V"));
    let places = number.split_once('.').map_or(0, |(_, places)| places.len());
    // Of less than a volt the number is of a smaller unit.
    if unit == "V" { format!("{volts:.places$} {unit}") } else { volts_for_people(volts) }
}

/// Whether volts that were read are no other than those that were `set`.
#[must_use]
pub fn are_as_set(volts: f64, set: f64) -> bool {
    /// Share of the volts by which the readback of a good supply is off (common practice, no source).
    const SAME: f64 = 0.001;
    (volts - set).abs() <= SAME * set.abs()
}

/// `low to high` in the unit of the lower, `0.31 to 0.42 A` of `0.31 A` and `0.42 A`, or one of them if they read the same.
#[must_use]
pub fn range(low: &str, high: &str) -> String {
    let same_unit = in_thousandths(low, high);
    let high = same_unit.as_deref().unwrap_or(high);
    match (low.split_once(' '), high.split_once(' ')) {
        _ if low == high => high.to_owned(),
        (Some((number, unit)), Some((_, same))) if unit == same => format!("{number} to {high}"),
        _ => format!("{low} to {high}"),
    }
}

/// `high` in the unit of `low`, if that is a thousandth of its own: `0.175 A` beside `14.0 mA` is `175 mA`.
fn in_thousandths(low: &str, high: &str) -> Option<String> {
    let ((_, small), (number, large)) = (low.split_once(' ')?, high.split_once(' ')?);
    let value = number.parse::<f64>().ok().filter(|_| small.strip_prefix('m') == Some(large))?;
    let places = number.split_once('.').map_or(0, |(_, places)| places.len()).saturating_sub(3);
    Some(format!("{:.places$} {small}", value * 1e3))
}

/// A bound of good boards beside what a supply read that resolves `step`: no finer than that, but as it is known where the
/// supply would read nothing.
#[must_use]
pub fn reference_in_steps(value: f64, step: f64, symbol: &str) -> String {
    /// Of a bound that the supply would hardly read nobody needs more.
    const FEW: i32 = 2;
    if step <= value.abs() || step <= 0.0 {
        in_steps(value, step, symbol)
    } else {
        prefixed(value, symbol, FEW)
    }
}

/// The value of a quantity as it is said, in its plain unit: 0.091 of `91 mA`; `None` of what is no number with a unit.
#[must_use]
pub fn from_words(words: &str) -> Option<f64> {
    let (number, unit) = words.split_once(' ')?;
    let scale = match unit.chars().next().filter(|_| unit.chars().count() > 1) {
        None => 1.0,
        Some('n') => 1e-9,
        Some('µ') => 1e-6,
        Some('m') => 1e-3,
        Some('k') => 1e3,
        Some(_) => return None,
    };
    Some(number.parse::<f64>().ok()? * scale)
}

/// `uncertainty` in the unit and to the last place of `shown`, which is `value` in words; rounded up, since an
/// uncertainty must not look smaller than it is (GUM, JCGM 100:2008, 7.2.6).
#[must_use]
pub fn to_the_place_of(shown: &str, value: f64, uncertainty: f64) -> String {
    /// A twentieth of the last place is not worth another one.
    const NEGLIGIBLE: f64 = 0.05;
    let (number, unit) = shown.split_once(' ').unwrap_or((shown, ""));
    let places = number.split_once('.').map_or(0, |(_, places)| places.len());
    // How many of the shown unit are one of the value's own.
    let factor = number.parse::<f64>().map_or(1.0, |number| (number / value).abs());
    let scale = 10_f64.powi(i32::try_from(places).unwrap_or(0));
    let up = (uncertainty * factor * scale - NEGLIGIBLE).ceil().max(1.0) / scale;
    format!("{up:.places$} {unit}")
}

/// `value` to `count` significant figures, in plain decimal notation (`0.840`, `12.8`, `1230`).
#[must_use]
pub fn figures(value: f64, count: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    #[expect(clippy::cast_possible_truncation, reason = "the decimal exponent of an f64 lies within ±324")]
    let exponent = value.abs().log10().floor() as i32;
    let decimals = usize::try_from((count - 1 - exponent).max(0)).unwrap_or(0);
    // More figures before the point than are meant to be said end in zeros.
    let beyond = 10_f64.powi(exponent + 1 - count);
    let value = if beyond > 1.0 { (value / beyond).round() * beyond } else { value };
    let rounded = format!("{value:.decimals$}");
    // Rounding up to the next power of ten (9.996 → 10.00) leaves one figure too many.
    match (rounded.parse::<f64>(), decimals) {
        (Ok(back), 1..) if back.abs() >= 10_f64.powi(exponent + 1) => format!("{value:.*}", decimals - 1),
        _ => rounded,
    }
}

/// A probability in whole per cent; never 100 % for what is not certain.
#[must_use]
pub fn percent(probability: f64) -> String {
    format!("{:.0} %", (probability * 100.0).floor().clamp(0.0, 99.0))
}

/// `1 board`, `3 boards`: a count with its noun, for nouns that take an s.
#[must_use]
pub fn counted(count: usize, noun: &str) -> String {
    if count == 1 { format!("1 {noun}") } else { format!("{count} {noun}s") }
}

/// `a`, `a and b`, `a, b and c`.
#[must_use]
pub fn with_and(words: impl Iterator<Item = String>) -> String {
    let mut words: Vec<String> = words.collect();
    match words.pop() {
        Some(last) if !words.is_empty() => format!("{} and {last}", words.join(", ")),
        last => last.unwrap_or_default(),
    }
}

/// `once`, `twice`, `3 times`: how often something happened.
#[must_use]
pub fn how_often(count: usize) -> String {
    match count {
        1 => "once".into(),
        2 => "twice".into(),
        _ => format!("{count} times"),
    }
}

/// From here on a time is said in minutes and seconds.
const MINUTES_FROM_S: f64 = 99.95;

/// `42 ms`, `0.84 s`, `12.3 s`, `1 min 12 s`, `2 h 5 min`: a length of time for people.
fn duration_for_people(seconds: f64) -> String {
    let magnitude = seconds.abs();
    let sign = if seconds < 0.0 { "-" } else { "" };
    if magnitude < MINUTES_FROM_S {
        return with_prefix(seconds, "s");
    }
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a positive whole number of seconds"
    )]
    let whole = magnitude.round() as u64;
    let (hours, minutes, rest) = (whole / 3600, whole % 3600 / 60, whole % 60);
    match (hours, minutes) {
        (0, _) => format!("{sign}{minutes} min {rest} s"),
        _ => format!("{sign}{hours} h {minutes} min"),
    }
}

#[cfg(test)]
mod tests;
