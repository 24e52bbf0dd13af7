//! One cell of a foreign file: a number in whatever notation, or a word for none.

use super::columns::Unit;
use crate::trace::number::LARGEST_READING;

/// What stands where a number should be and is none: a dropout of the logger, not a slip.
const MISSING: [&str; 14] =
    ["", "-", "--", "---", "nan", "n/a", "na", "null", "none", "inf", "ol", "overload", "err", "error"];

/// How a file writes decimals.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Decimal {
    #[default]
    Point,
    Comma,
}

/// What a cell holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Cell {
    Number(f64),
    Missing,
}

impl Decimal {
    /// How `cells` write decimals: with a comma if any has a comma that is not a separator of thousands.
    pub(super) fn of<'a>(cells: impl IntoIterator<Item = &'a str>) -> Self {
        let is_comma = |cell: &str| match (cell.rfind(','), cell.rfind('.')) {
            (Some(comma), Some(point)) => comma > point,
            (Some(_), None) => cell.matches(',').count() == 1,
            _ => false,
        };
        if cells.into_iter().any(is_comma) { Self::Comma } else { Self::Point }
    }

    /// The cell's number in SI units, by the unit in the cell itself or else by `unit`.
    pub(super) fn read(self, cell: &str, unit: Unit) -> Option<Cell> {
        let cell = cell.trim();
        if MISSING.contains(&cell.to_lowercase().as_str()) {
            return Some(Cell::Missing);
        }
        let end = cell.rfind(|c: char| c.is_ascii_digit() || c == '.' || c == ',').map_or(0, |at| at + 1);
        let (number, suffix) = cell.split_at(end);
        let factor = match suffix.trim() {
            "" => unit.factor,
            suffix => Unit::named(suffix).filter(|own| own.quantity == unit.quantity)?.factor,
        };
        let value: f64 = self.plain(number)?.parse().ok()?;
        if value.is_finite() && value.abs() < LARGEST_READING {
            // Division by a whole number rounds once: 24 mA becomes 0.024 A and not a digit more.
            Some(Cell::Number(if factor < 1.0 { value / (1.0 / factor).round() } else { value * factor }))
        } else {
            Some(Cell::Missing)
        }
    }

    /// The number with a decimal point and without separators of thousands.
    fn plain(self, number: &str) -> Option<String> {
        let number: String =
            number.chars().filter(|c| !matches!(c, ' ' | '\u{a0}' | '\u{202f}' | '\'')).collect();
        let number = number.replace('\u{2212}', "-");
        let (decimal, thousands) = match self {
            Self::Point => ('.', ','),
            Self::Comma => (',', '.'),
        };
        let (whole, fraction) = match number.split_once(decimal) {
            Some((whole, fraction)) => (whole, Some(fraction)),
            None => (number.as_str(), None),
        };
        let mut groups = whole.split(thousands).skip(1);
        if groups.any(|group| group.len() != 3 || !group.bytes().all(|byte| byte.is_ascii_digit())) {
            return None;
        }
        let whole = whole.replace(thousands, "");
        Some(fraction.map_or_else(|| whole.clone(), |fraction| format!("{whole}.{fraction}")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn amps(decimal: Decimal, cell: &str) -> Option<Cell> {
        decimal.read(cell, Unit::named("A").unwrap())
    }

    #[test]
    fn numbers_are_read_in_every_notation() {
        for (decimal, cell, expected) in [
            (Decimal::Point, "1.25", 1.25),
            (Decimal::Point, "1,250.5", 1250.5),
            (Decimal::Comma, "1.250,5", 1250.5),
            (Decimal::Comma, "0,024", 0.024),
            (Decimal::Point, "24 mA", 0.024),
            (Decimal::Point, "1.2e-3", 0.0012),
            (Decimal::Point, "\u{2212}3µA", -3e-6),
            (Decimal::Comma, "12 345,5", 12345.5),
        ] {
            assert_eq!(amps(decimal, cell), Some(Cell::Number(expected)), "{cell}");
        }
    }

    #[test]
    fn dropouts_are_missing_and_other_words_are_slips() {
        for cell in ["", " -- ", "NaN", "OL", "9.91E+37"] {
            assert_eq!(amps(Decimal::Point, cell), Some(Cell::Missing), "{cell}");
        }
        for cell in ["on", "12 V", "1,2,3", "0x10"] {
            assert_eq!(amps(Decimal::Point, cell), None, "{cell}");
        }
    }

    #[test]
    fn a_comma_is_decimal_unless_it_separates_thousands() {
        assert_eq!(Decimal::of(["0,5", "12"]), Decimal::Comma);
        assert_eq!(Decimal::of(["1.234,5"]), Decimal::Comma);
        assert_eq!(Decimal::of(["1,234.5", "7"]), Decimal::Point);
    }
}
