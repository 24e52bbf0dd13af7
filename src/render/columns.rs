//! From samples to columns of pixels: what a quantity did while one column lasts.
//!
//! A lab supply's reading stands until the next one, so it is drawn as steps. Every column keeps the lowest and the
//! highest value that stood within it, so a spike of one sample is seen at its full height in any number of samples,
//! and no value is drawn that was not read.

use crate::share;
use crate::stats::extent;
use std::ops::Range;

/// What a quantity did within one column.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Column {
    /// The samples whose time lies within.
    pub(super) samples: Range<usize>,
    /// Lowest value that stood.
    pub(super) low: f64,
    /// Highest value that stood.
    pub(super) high: f64,
    /// The value that stood when the column began, if one did.
    pub(super) enter: Option<f64>,
    /// The value that stood when it ended.
    pub(super) leave: f64,
}

/// A column in pixels: rows from the top of the figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Span {
    pub(super) enter: Option<i32>,
    pub(super) top: i32,
    pub(super) bottom: i32,
    pub(super) leave: i32,
}

/// The stretch of time that `count` columns show.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Window {
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) count: usize,
}

impl Window {
    /// The time at which column `index` begins.
    #[expect(clippy::cast_precision_loss, reason = "a figure has some thousands of columns")]
    fn edge(self, index: usize) -> f64 {
        self.from + (self.to - self.from) * (index as f64 / self.count as f64)
    }
}

/// The columns of `window`; `None` where nothing stood: before the first sample, after the last, and within `gaps`
/// (each from the last reading before it to the first after it, in order).
pub(super) fn columns(
    time: &[f64],
    values: &[f64],
    gaps: &[(f64, f64)],
    window: Window,
) -> Vec<Option<Column>> {
    let all: Vec<usize> = (0..window.count).collect();
    share::each(&all, time.len(), |index| column(time, values, gaps, window, *index))
}

fn column(time: &[f64], values: &[f64], gaps: &[(f64, f64)], window: Window, index: usize) -> Option<Column> {
    let (from, to) = (window.edge(index), window.edge(index + 1));
    let start = time.partition_point(|t| *t < from);
    let last_column = index + 1 == window.count;
    // The last column also holds the sample at its very end: it is the window's last.
    let end = start + time[start..].partition_point(|t| *t < to || (last_column && *t <= to));
    let in_gap = |t: f64| {
        let after = gaps.partition_point(|(begin, _)| *begin <= t);
        after.checked_sub(1).is_some_and(|i| t < gaps[i].1)
    };
    let stands = start > 0 && start < time.len() && !in_gap(from);
    let enter = stands.then(|| values[start - 1]);
    let leave = if end > start { values[end - 1] } else { enter? };
    let (mut low, mut high) = extent(&values[start..end]).unwrap_or((leave, leave));
    if let Some(value) = enter {
        low = low.min(value);
        high = high.max(value);
    }
    Some(Column { samples: start..end, low, high, enter, leave })
}

/// The columns as rows of pixels, by `row` of a value.
pub(super) fn spans(columns: &[Option<Column>], row: impl Fn(f64) -> i32) -> Vec<Option<Span>> {
    let span = |column: &Column| Span {
        enter: column.enter.map(&row),
        top: row(column.high),
        bottom: row(column.low),
        leave: row(column.leave),
    };
    columns.iter().map(|column| column.as_ref().map(span)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const WINDOW: Window = Window { from: 0.0, to: 10.0, count: 10 };

    #[test]
    fn a_reading_stands_until_the_next() {
        let columns = columns(&[0.5, 3.5], &[1.0, 2.0], &[], WINDOW);
        assert_eq!(
            columns[2],
            Some(Column { samples: 1..1, low: 1.0, high: 1.0, enter: Some(1.0), leave: 1.0 })
        );
        assert_eq!(
            columns[3],
            Some(Column { samples: 1..2, low: 1.0, high: 2.0, enter: Some(1.0), leave: 2.0 })
        );
        assert_eq!(columns[0].as_ref().unwrap().enter, None);
        assert_eq!(columns[4], None, "nothing is drawn past the last reading");
    }

    #[test]
    fn nothing_stands_in_a_gap() {
        let columns = columns(&[0.5, 1.5, 6.5, 7.5], &[1.0, 1.0, 2.0, 2.0], &[(1.5, 6.5)], WINDOW);
        let drawn: Vec<bool> = columns.iter().map(Option::is_some).collect();
        assert_eq!(drawn, [true, true, false, false, false, false, true, true, false, false]);
        let back = columns[6].as_ref().unwrap();
        assert_eq!((back.enter, back.low), (None, 2.0));
    }

    #[test]
    fn the_sample_at_the_end_of_the_window_is_drawn() {
        let columns = columns(&[0.0, 10.0], &[1.0, 9.0], &[], WINDOW);
        assert!(columns[9].as_ref().unwrap().high > 8.9);
    }

    proptest! {
        #[test]
        fn every_sample_is_within_the_column_of_its_time(
            steps in prop::collection::vec((0.001..0.3_f64, -5.0..5.0_f64), 1..200),
        ) {
            let mut now = 0.0;
            let time: Vec<f64> = steps.iter().map(|(step, _)| { now += step; now }).collect();
            let values: Vec<f64> = steps.iter().map(|(_, value)| *value).collect();
            let window = Window { from: 0.0, to: now, count: 37 };
            let columns = columns(&time, &values, &[], window);
            let seen: usize = columns.iter().flatten().map(|column| column.samples.len()).sum();
            prop_assert_eq!(seen, time.len());
            for column in columns.iter().flatten() {
                for &value in &values[column.samples.clone()] {
                    prop_assert!(column.low <= value && value <= column.high);
                }
            }
        }
    }
}
