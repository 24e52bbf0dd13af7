//! The amps of all stages in one unit, so that they are compared at a glance.

use super::super::axis::ValueAxis;
use super::super::parts::amps::is_in_milliamps;
use super::super::parts::envelope::Expected;
use super::words;
use crate::units::{Amps, figures};

/// The unit of the table, and of the words in a panel of the graph.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum InOneUnit {
    Amps,
    Milliamps,
}

impl InOneUnit {
    /// That of all rows of a table, which are read one below the other: milliamps where a stage has so few, for amps of it are
    /// told apart by counting noughts; but not where others would have numbers of five figures.
    pub(super) fn of_all(rows: &[Expected]) -> Self {
        /// Below this many amps people say milliamps, as everywhere else in words.
        const SAID_IN_MILLIAMPS: f64 = 0.1;
        /// From so many amps on there are five figures of milliamps (by judgement).
        const TOO_MANY: f64 = 10.0;
        let is_small = |row: &Expected| row.typical < SAID_IN_MILLIAMPS;
        let is_large = |row: &Expected| row.peak.max(row.high) >= TOO_MANY;
        let in_milliamps = rows.iter().any(is_small) && !rows.iter().any(is_large);
        if in_milliamps { Self::Milliamps } else { Self::Amps }
    }

    /// That of the numbers of an axis, beside which others of its panel stand.
    pub(super) fn of_axis(axis: ValueAxis) -> Self {
        if is_in_milliamps(axis) { Self::Milliamps } else { Self::Amps }
    }

    pub(super) fn amps(self, amps: f64) -> String {
        match self {
            Self::Amps => format!("{} A", figures(amps, 3)),
            Self::Milliamps => format!("{} mA", figures(amps * 1e3, 3)),
        }
    }

    /// What good boards keep their mean in.
    pub(super) fn range(self, expected: &Expected) -> String {
        words::range(&self.amps(expected.low), &self.amps(expected.high))
    }

    /// Above what no peak is expected: `3.60 A`, or `2.94 A, the limit`, which the supply lets nobody pass.
    pub(super) fn peak(self, expected: &Expected, limit: Amps) -> String {
        let most = self.amps(expected.peak);
        if expected.peak < limit.value() { most } else { format!("{most}, the limit") }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_has_one_unit() {
        let row = |low: f64, typical: f64, high: f64, peak: f64| Expected {
            place: 0,
            from: 0.0,
            to: 0.0,
            usual_to: 0.0,
            peak_from: 0.0,
            low,
            typical,
            high,
            peak,
            usual_peak: peak,
        };
        let said = |rows: &[Expected]| {
            let unit = InOneUnit::of_all(rows);
            let mean = |row: &Expected| format!("{} ({})", unit.amps(row.typical), unit.range(row));
            let each = |row: &Expected| mean(row) + ", " + &unit.peak(row, Amps::constant(2.0));
            rows.iter().map(each).collect::<Vec<_>>()
        };
        let (standby, running) = (row(0.002, 0.005, 0.008, 0.115), row(0.8, 1.0, 1.2, 2.0));
        let both = said(&[standby, running]);
        assert_eq!(both[0], "5.00 mA (2.00 to 8.00 mA), 115 mA");
        assert_eq!(both[1], "1000 mA (800 to 1200 mA), 2000 mA, the limit");
        assert_eq!(said(&[running]), ["1.00 A (0.800 to 1.20 A), 2.00 A, the limit"]);
        assert_eq!(
            said(&[standby, row(8.0, 9.0, 10.0, 12.0)])[0],
            "0.00500 A (0.00200 to 0.00800 A), 0.115 A"
        );
    }
}
