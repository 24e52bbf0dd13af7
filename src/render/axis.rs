//! Scales between values and pixels, and where their ticks stand.

use super::columns::Window;
use super::geometry::{Rect, px};
use crate::units::figures;

/// Time from left to right.
#[derive(Debug, Clone, Copy)]
pub(super) struct TimeAxis {
    pub(super) left: i32,
    pub(super) right: i32,
    pub(super) from: f64,
    pub(super) to: f64,
}

impl TimeAxis {
    /// The column of pixels that shows time `t`.
    pub(super) fn x(self, t: f64) -> i32 {
        let share = (t - self.from) / (self.to - self.from);
        px((f64::from(self.left) + share * f64::from(self.right - self.left)).floor())
    }

    /// The same, kept within the axis.
    pub(super) fn x_within(self, t: f64) -> i32 {
        self.x(t).min(self.right - 1).max(self.left)
    }

    pub(super) fn shows(self, t: f64) -> bool {
        (self.from..=self.to).contains(&t)
    }

    pub(super) fn window(self) -> Window {
        let count = usize::try_from(self.right - self.left).unwrap_or(0);
        Window { from: self.from, to: self.to, count }
    }

    /// At most about `most` ticks with their labels, at round times.
    pub(super) fn ticks(self, most: i32) -> Vec<(f64, String)> {
        let step = time_step((self.to - self.from) / f64::from(most.max(1)));
        let label = |t: &f64| (*t, time_label(*t, step));
        multiples(self.from, self.to, step).iter().map(label).collect()
    }
}

/// Round steps of time in seconds from one second up to a day.
const TIME_STEPS: [f64; 18] = [
    1.0, 2.0, 5.0, 10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 10_800.0,
    21_600.0, 43_200.0, 86_400.0,
];

fn time_step(least: f64) -> f64 {
    if least <= 0.5 {
        return round_step(least);
    }
    TIME_STEPS
        .into_iter()
        .find(|step| *step >= least)
        .unwrap_or_else(|| round_step(least / 86_400.0) * 86_400.0)
}

/// `7.5 s`, `12 s`, `3 min`, `1:30 min`, `2 h`, `2:15 h`, `3 d`.
fn time_label(t: f64, step: f64) -> String {
    const MINUTE: f64 = 60.0;
    const HOUR: f64 = 3600.0;
    const DAY: f64 = 86_400.0;
    if step < 1.0 {
        return format!("{t:.*} s", decimals(step));
    }
    let parts = |unit: f64, part: f64, name: &str| {
        let (whole, rest) = ((t / unit).trunc(), (t % unit / part).round().abs());
        if rest == 0.0 { format!("{whole} {name}") } else { format!("{whole}:{rest:02} {name}") }
    };
    match t.abs() {
        _ if step >= DAY => format!("{} d", t / DAY),
        m if m >= HOUR => parts(HOUR, MINUTE, "h"),
        m if m >= 2.0 * MINUTE || step >= MINUTE => parts(MINUTE, 1.0, "min"),
        _ => format!("{t} s"),
    }
}

/// A quantity from bottom to top.
#[derive(Debug, Clone, Copy)]
pub(super) struct ValueAxis {
    pub(super) area: Rect,
    pub(super) low: f64,
    pub(super) high: f64,
}

impl ValueAxis {
    /// The row of pixels that shows `value`.
    pub(super) fn row(self, value: f64) -> i32 {
        let share = (value - self.low) / (self.high - self.low);
        px(f64::from(self.area.bottom - 1) - share * f64::from(self.area.height() - 1))
    }

    /// The same, kept within the axis.
    pub(super) fn row_within(self, value: f64) -> i32 {
        self.row(value).min(self.area.bottom - 1).max(self.area.top)
    }

    /// About `most` ticks with their labels, at round values; `milli` shows thousandths. Two at least: one alone tells no
    /// scale.
    pub(super) fn ticks(self, most: i32, milli: bool) -> Vec<(f64, String)> {
        /// Finer steps than so many times what was asked for are never needed for two.
        const FINER: i32 = 4;
        let most = most.max(1);
        let of = |most: i32| {
            let step = round_step((self.high - self.low) / f64::from(most));
            (step, multiples(self.low, self.high, step))
        };
        let tells = |(_, ticks): &(f64, Vec<f64>)| ticks.len() >= 2;
        let (step, ticks) = (most..most * FINER).map(of).find(tells).unwrap_or_else(|| of(most * FINER));
        let factor = if milli { 1e3 } else { 1.0 };
        let label = |v: &f64| (*v, format!("{:.*}", decimals(step * factor), v * factor + 0.0));
        ticks.iter().map(label).collect()
    }
}

/// The smallest of 1, 2, 5 times a power of ten that is at least `least`.
pub(super) fn round_step(least: f64) -> f64 {
    if !least.is_finite() || least <= 0.0 {
        return 1.0;
    }
    let power = 10_f64.powf(least.log10().floor());
    let factor =
        [1.0, 2.0, 5.0, 10.0].into_iter().find(|f| f * power >= least * (1.0 - 1e-9)).unwrap_or(10.0);
    factor * power
}

/// Decimal places that tell multiples of `step` apart.
fn decimals(step: f64) -> usize {
    figures(step, 1).split_once('.').map_or(0, |(_, places)| places.len())
}

/// The multiples of `step` from `low` to `high`.
fn multiples(low: f64, high: f64, step: f64) -> Vec<f64> {
    /// More ticks than any axis has room for; a guard against a step that vanishes beside its values.
    const MOST: usize = 1000;
    let first = (low / step - 1e-9).ceil();
    let at = |i: usize| (first + f64::from(u32::try_from(i).unwrap_or(u32::MAX))) * step;
    (0..MOST).map(at).take_while(|value| *value <= high + step * 1e-9).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(from: f64, to: f64, most: i32) -> String {
        let axis = TimeAxis { left: 0, right: 1000, from, to };
        axis.ticks(most).into_iter().map(|(_, label)| label).collect::<Vec<_>>().join(", ")
    }

    #[test]
    fn time_is_labelled_in_the_unit_that_people_would_use() {
        insta::assert_snapshot!([
            labels(0.2, 1.1, 5), labels(0.0, 57.3, 12), labels(0.0, 400.0, 8), labels(0.0, 3000.0, 8),
            labels(0.0, 14_755.0, 10), labels(0.0, 300_000.0, 8),
        ].join("\n"), @"
        0.2 s, 0.4 s, 0.6 s, 0.8 s, 1.0 s
        0 s, 5 s, 10 s, 15 s, 20 s, 25 s, 30 s, 35 s, 40 s, 45 s, 50 s, 55 s
        0 min, 1 min, 2 min, 3 min, 4 min, 5 min, 6 min
        0 min, 10 min, 20 min, 30 min, 40 min, 50 min
        0 min, 30 min, 1 h, 1:30 h, 2 h, 2:30 h, 3 h, 3:30 h, 4 h
        0 min, 12 h, 24 h, 36 h, 48 h, 60 h, 72 h
        ");
    }

    #[test]
    fn values_are_labelled_at_round_steps() {
        let axis = |low, high| ValueAxis { area: Rect::new(0, 0, 10, 400), low, high };
        let labels = |ticks: Vec<(f64, String)>| ticks.into_iter().map(|t| t.1).collect::<Vec<_>>();
        assert_eq!(labels(axis(0.0, 1.3).ticks(6, false)), ["0.0", "0.5", "1.0"]);
        assert_eq!(labels(axis(0.0, 0.05).ticks(5, true)), ["0", "10", "20", "30", "40", "50"]);
        // A step of 5 would leave the zero alone.
        assert_eq!(labels(axis(0.0, 4.4).ticks(2, false)), ["0", "2", "4"]);
        assert_eq!(labels(axis(11.5, 13.1).ticks(4, false)), ["11.5", "12.0", "12.5", "13.0"]);
    }

    #[test]
    fn ends_of_an_axis_are_its_first_and_last_pixels() {
        let axis = ValueAxis { area: Rect::new(0, 100, 10, 300), low: 0.0, high: 2.0 };
        assert_eq!((axis.row(0.0), axis.row(2.0)), (299, 100));
        let time = TimeAxis { left: 50, right: 150, from: 0.0, to: 10.0 };
        assert_eq!((time.x(0.0), time.x(9.99), time.x_within(10.0)), (50, 149, 149));
    }
}
