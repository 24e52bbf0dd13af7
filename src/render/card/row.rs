//! The amps of one stage in one unit, so that they are compared at a glance.

use super::super::axis::ValueAxis;
use super::super::parts::amps::is_in_milliamps;
use super::super::parts::envelope::Expected;
use super::words;
use crate::units::{Amps, figures};

/// The unit of a row of the table, and of the words in a panel of the graph.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum InOneUnit {
    Amps,
    Milliamps,
}

impl InOneUnit {
    /// Milliamps where the range begins in them, unless that made thousands of the rest.
    pub(super) fn of(expected: &Expected) -> Self {
        /// Below this many amps people say milliamps, as everywhere else in words.
        const SAID_IN_MILLIAMPS: f64 = 0.1;
        const THOUSANDS: f64 = 1.0;
        let begins = expected.low < SAID_IN_MILLIAMPS && expected.peak.max(expected.high) < THOUSANDS;
        if begins || expected.typical < SAID_IN_MILLIAMPS { Self::Milliamps } else { Self::Amps }
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
    fn a_row_has_one_unit() {
        let of = |low: f64, typical: f64, high: f64, peak: f64| {
            let expected = Expected {
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
            let unit = InOneUnit::of(&expected);
            let mean = unit.amps(expected.typical);
            format!("{mean} ({}), {}", unit.range(&expected), unit.peak(&expected, Amps::constant(2.0)))
        };
        assert_eq!(of(0.0849, 0.104, 0.128, 0.237), "104 mA (84.9 to 128 mA), 237 mA");
        assert_eq!(of(0.0849, 0.104, 0.128, 1.5), "0.104 A (0.0849 to 0.128 A), 1.50 A");
        assert_eq!(of(0.8, 1.0, 1.2, 2.0), "1.00 A (0.800 to 1.20 A), 2.00 A, the limit");
        assert_eq!(of(0.002, 0.005, 0.008, 0.115), "5.00 mA (2.00 to 8.00 mA), 115 mA");
    }
}
