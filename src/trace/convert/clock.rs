//! Time as foreign files write it: numbers in a unit, seconds since 1970, dates, times of day.

use super::cell::{Cell, Decimal};
use super::columns::Unit;
use chrono::{DateTime, FixedOffset, NaiveDate, NaiveDateTime, NaiveTime};

/// Seconds since 1970 lie above this (September 2001) and below ten times it until the year 2286.
const EPOCH_SECONDS: f64 = 1e9;
/// Times of day that fall back by more than this passed midnight, in seconds.
const HALF_DAY: f64 = 43_200.0;
/// Seconds of a day.
const DAY: f64 = 86_400.0;

/// How a column writes time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Clock {
    /// Numbers, with what one of them is in seconds.
    Number(Unit),
    /// Numbers that count from 1970, with what one of them is in seconds.
    Epoch(f64),
    /// Date and time.
    Date(DateOrder),
    /// Time of day or time elapsed, `9:00:01.5` or `0:01.5`.
    Hours,
}

/// The order of day, month and year in a date.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DateOrder {
    YearMonthDay,
    DayMonthYear,
    MonthDayYear,
}

/// A moment that a cell gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Moment {
    /// Seconds on the file's own clock; only differences mean something.
    pub(super) seconds: f64,
    /// The wall-clock time, with its offset from UTC if the file gives one.
    pub(super) wall: Option<(NaiveDateTime, Option<FixedOffset>)>,
    /// Whether the clock starts again at midnight.
    pub(super) of_day: bool,
}

impl Moment {
    /// Its seconds, if it follows `before`: a time of day may have passed midnight.
    pub(super) fn after(self, before: f64) -> f64 {
        let days = if self.of_day { ((before - HALF_DAY - self.seconds) / DAY).ceil().max(0.0) } else { 0.0 };
        self.seconds + days * DAY
    }
}

impl Clock {
    /// How `cells` write time; `None` if they write it in no known way. What was assumed is appended to `assumed`.
    pub(super) fn of(
        cells: &[&str],
        unit: Unit,
        unit_given: bool,
        decimal: Decimal,
        assumed: &mut Vec<String>,
    ) -> Option<Self> {
        let first = cells.iter().find(|cell| !cell.trim().is_empty())?;
        if let Some(Cell::Number(_)) = decimal.read(first, unit) {
            return Some(number_clock(cells, unit, unit_given, decimal, assumed));
        }
        if time_of_day(first).is_some() {
            return Some(Self::Hours);
        }
        let orders = [DateOrder::YearMonthDay, DateOrder::DayMonthYear, DateOrder::MonthDayYear];
        let mut fitting = orders.into_iter().filter(|order| {
            cells.iter().all(|cell| cell.trim().is_empty() || date_time(cell, *order).is_some())
        });
        let order = fitting.next()?;
        if fitting.next().is_some() {
            assumed.push(format!("dates like {first} have the day first"));
        }
        Some(Self::Date(order))
    }

    /// The moment that a cell gives.
    pub(super) fn read(self, cell: &str, decimal: Decimal) -> Option<Moment> {
        let number = |unit: Unit| match decimal.read(cell, unit) {
            Some(Cell::Number(seconds)) => Some(seconds),
            _ => None,
        };
        match self {
            Self::Number(unit) => Some(Moment { seconds: number(unit)?, wall: None, of_day: false }),
            Self::Epoch(factor) => {
                let seconds = number(Unit { factor, ..Unit::named("s")? })?;
                Some(Moment { seconds, wall: epoch(seconds), of_day: false })
            }
            Self::Hours => Some(Moment { seconds: time_of_day(cell)?, wall: None, of_day: true }),
            Self::Date(order) => {
                let (wall, offset) = date_time(cell, order)?;
                let utc = wall.and_utc();
                let shift = offset.map_or(0.0, |offset| f64::from(offset.local_minus_utc()));
                #[expect(
                    clippy::cast_precision_loss,
                    reason = "seconds since 1970 are far below 2 to the 53rd"
                )]
                let seconds = utc.timestamp() as f64 - shift + f64::from(utc.timestamp_subsec_nanos()) * 1e-9;
                Some(Moment { seconds, wall: Some((wall, offset)), of_day: false })
            }
        }
    }
}

/// What a count since 1970 may be in: seconds to one of it, and its name.
const EPOCH_SCALES: [(f64, &str); 4] =
    [(1.0, "seconds"), (1e-3, "milliseconds"), (1e-6, "microseconds"), (1e-9, "nanoseconds")];

fn number_clock(
    cells: &[&str],
    unit: Unit,
    unit_given: bool,
    decimal: Decimal,
    assumed: &mut Vec<String>,
) -> Clock {
    let bare = Unit { factor: 1.0, ..unit };
    let first = cells.iter().find_map(|cell| match decimal.read(cell, bare)? {
        Cell::Number(value) => Some(value),
        Cell::Missing => None,
    });
    // A scale is taken for granted only where the count is that of the last decades.
    let is_recent = |value: f64| (EPOCH_SECONDS..10.0 * EPOCH_SECONDS).contains(&value);
    let scale =
        EPOCH_SCALES.into_iter().find(|(scale, _)| first.is_some_and(|value| is_recent(value * scale)));
    match scale {
        Some((scale, name)) if !unit_given || (scale - unit.factor).abs() < f64::EPSILON => {
            assumed.push(format!("time counts {name} since 1970 (UTC)"));
            Clock::Epoch(scale)
        }
        _ => {
            if !unit_given {
                assumed.push(format!("time is in {}", unit.symbol));
            }
            Clock::Number(unit)
        }
    }
}

#[expect(clippy::cast_possible_truncation, reason = "a count of seconds that fits was checked by its range")]
fn epoch(seconds: f64) -> Option<(NaiveDateTime, Option<FixedOffset>)> {
    let whole = DateTime::from_timestamp(seconds.floor() as i64, 0)?;
    Some((whole.naive_utc(), FixedOffset::east_opt(0)))
}

/// Seconds of `9:00:01.5`, `09:00`, `0:01,5` or `9:00:01 PM`.
fn time_of_day(text: &str) -> Option<f64> {
    let text = text.trim();
    let lower = text.to_ascii_lowercase();
    let (clock, shift) = match (lower.strip_suffix("am"), lower.strip_suffix("pm")) {
        (Some(clock), _) => (clock, Some(0.0)),
        (_, Some(clock)) => (clock, Some(HALF_DAY)),
        _ => (lower.as_str(), None),
    };
    let parts: Vec<String> = clock.trim().split(':').map(|part| part.replace(',', ".")).collect();
    let last = parts.len().checked_sub(1).filter(|last| (1..=2).contains(last))?;
    let mut seconds = 0.0;
    for (index, part) in parts.iter().enumerate() {
        let digits = part.bytes().all(|byte| byte.is_ascii_digit() || (index == last && byte == b'.'));
        let value: f64 = Some(part).filter(|_| digits).and_then(|part| part.parse().ok())?;
        if index > 0 && value >= 60.0 {
            return None;
        }
        seconds = seconds * 60.0 + value;
    }
    // Two parts with a fraction are minutes and seconds, without one hours and minutes.
    if last == 1 && !parts[1].contains('.') {
        seconds *= 60.0;
    }
    Some(shift.map_or(seconds, |shift| seconds % HALF_DAY + shift))
}

/// Date and time with the parts of the date in `order`, and the offset from UTC if there is one.
fn date_time(text: &str, order: DateOrder) -> Option<(NaiveDateTime, Option<FixedOffset>)> {
    // The blank may be one of more than a byte: some programs write one that does not break.
    let (date, rest) = text.trim().split_once(|c: char| c == 'T' || c.is_whitespace())?;
    let (clock, offset) = split_offset(rest.trim())?;
    let seconds = time_of_day_whole(clock)?;
    let date = calendar_date(date, order)?;
    Some((date.and_time(seconds), offset))
}

fn split_offset(clock: &str) -> Option<(&str, Option<FixedOffset>)> {
    if let Some(clock) = clock.strip_suffix(['Z', 'z']) {
        return Some((clock, FixedOffset::east_opt(0)));
    }
    match clock.rfind(['+', '-']) {
        None => Some((clock, None)),
        Some(at) => {
            let sign = if clock[at..].starts_with('-') { -1 } else { 1 };
            let digits: String = clock[at + 1..].chars().filter(|c| *c != ':').collect();
            let number: i32 = Some(&digits).filter(|digits| digits.len() <= 4)?.parse().ok()?;
            let (hours, minutes) = if digits.len() <= 2 { (number, 0) } else { (number / 100, number % 100) };
            Some((clock[..at].trim(), Some(FixedOffset::east_opt(sign * (hours * 3600 + minutes * 60))?)))
        }
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "below a day of seconds, not negative"
)]
fn time_of_day_whole(clock: &str) -> Option<NaiveTime> {
    let seconds = time_of_day(clock).filter(|seconds| *seconds < DAY)?;
    // To the microsecond: binary fractions of a second are not those that the file wrote.
    let micros = (seconds * 1e6).round() as u64;
    NaiveTime::from_num_seconds_from_midnight_opt(
        (micros / 1_000_000) as u32,
        (micros % 1_000_000 * 1000) as u32,
    )
}

fn calendar_date(text: &str, order: DateOrder) -> Option<NaiveDate> {
    let parts: Vec<&str> = text.split(['-', '/', '.']).filter(|part| !part.is_empty()).collect();
    let [a, b, c] = parts.as_slice() else { return None };
    let (year, month, day) = match order {
        DateOrder::YearMonthDay => (a, b, c),
        DateOrder::DayMonthYear => (c, b, a),
        DateOrder::MonthDayYear => (c, a, b),
    };
    if year.len() != 4 {
        return None;
    }
    NaiveDate::from_ymd_opt(year.parse().ok()?, month.parse().ok()?, day.parse().ok()?)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(cells: &[&str]) -> (Vec<f64>, Vec<String>) {
        let mut assumed = Vec::new();
        let clock = Clock::of(cells, Unit::named("s").unwrap(), false, Decimal::Point, &mut assumed).unwrap();
        let times: Vec<f64> =
            cells.iter().map(|cell| clock.read(cell, Decimal::Point).unwrap().seconds).collect();
        (times.iter().map(|time| ((time - times[0]) * 1e6).round() / 1e6).collect(), assumed)
    }

    #[test]
    fn a_blank_of_several_bytes_parts_date_and_time() {
        for blank in ["\u{a0}", "\u{85}", "\u{3000}"] {
            let cells = [format!("2026-03-02{blank}09:00:00"), format!("2026-03-02{blank}09:00:01")];
            assert_eq!(read(&[&cells[0], &cells[1]]).0, [0.0, 1.0]);
        }
    }

    #[test]
    fn an_offset_of_more_than_hours_and_minutes_is_none() {
        assert_eq!(split_offset("09:00+2147483647"), None);
        assert_eq!(split_offset("09:00+0530"), Some(("09:00", FixedOffset::east_opt(19_800))));
    }

    #[test]
    fn time_is_read_however_it_is_written() {
        assert_eq!(read(&["0", "0.5"]), (vec![0.0, 0.5], vec!["time is in s".into()]));
        assert_eq!(read(&["1772442000123", "1772442001123"]).0, [0.0, 1.0]);
        assert_eq!(read(&["2026-03-02T09:00:00.25Z", "2026-03-02T10:00:01.5+01:00"]).0, [0.0, 1.25]);
        assert_eq!(read(&["13.01.2026 9:00:00", "13.01.2026 9:00:01"]), (vec![0.0, 1.0], vec![]));
        assert_eq!(read(&["02/13/2026 11:59:59 AM", "02/13/2026 12:00:01 PM"]).0, [0.0, 2.0]);
        assert_eq!(read(&["9:00:00,5", "9:00:02,75"]).0, [0.0, 2.25]);
        assert_eq!(
            read(&["01/02/2026 09:00", "01/02/2026 09:01"]),
            (vec![0.0, 60.0], vec!["dates like 01/02/2026 09:00 have the day first".into()])
        );
    }

    #[test]
    fn midnight_is_passed_and_nonsense_is_not_time() {
        let after_midnight = Clock::Hours.read("0:00:01", Decimal::Point).unwrap();
        assert!((after_midnight.after(86_399.0) - 86_401.0).abs() < 1e-9);
        assert!((after_midnight.after(2.0) - 1.0).abs() < 1e-9);
        for text in ["9:75:00", "yesterday", "31.02.2026 09:00:00", "2026-03-02", "1:2:3:4"] {
            assert_eq!(
                Clock::of(&[text], Unit::named("s").unwrap(), false, Decimal::Point, &mut Vec::new()),
                None,
                "{text}"
            );
        }
    }
}
