//! From samples as logged to the updates of the readback behind them.
//!
//! A supply renews its readback a few to some tens of times a second; a faster poll reads the same value again. Such
//! repeats are one observation. The period of the updates is not told by the supply, so it is taken from the log: the
//! shortest usual time between two readings that differ.

use super::Settings;
use crate::share;
use crate::stats::robust;
use std::borrow::Cow;
use std::ops::Range;

/// Of the times between two fresh readings, the share below which lies the update period. Two updates that happen to
/// agree only lengthen some of them, and jitter shortens fewer.
const USUAL_SHARE: f64 = 0.2;

/// Fewer fresh readings than this say nothing of how often the readback is renewed.
const ENOUGH_FRESH: usize = 20;

/// A reading that repeats for this share of an update period and more is a new update that agrees with the last.
const NEARLY: f64 = 0.9;

/// The observations of a log: one for each update of the readback.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Updates<'a> {
    /// Index of the first sample of each; `None` if every sample is an update of its own.
    first: Option<Vec<u32>>,
    /// Its value.
    pub(super) value: Cow<'a, [f64]>,
    /// Time from one update to the next, in seconds.
    pub(super) period: f64,
    /// Times of the samples.
    time: &'a [f64],
}

/// When a readback is renewed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Renewal {
    /// Time from one update to the next, in seconds.
    period: f64,
    /// Time of the last update.
    last: f64,
}

impl Renewal {
    /// As it shows in the log; `fresh` says whether a sample differs from the one before.
    pub(super) fn of(time: &[f64], fresh: impl Fn(usize) -> bool, settings: &Settings) -> Self {
        let slowest = settings.slowest_renewal.value();
        Self { period: period(time, &fresh, slowest), last: f64::NEG_INFINITY }
    }

    /// Whether the sample at `time`, which may differ from the one before, is a new update. To be asked in order.
    pub(super) fn renews(&mut self, time: f64, fresh: bool) -> bool {
        let renews = fresh || time - self.last >= NEARLY * self.period;
        if renews {
            self.last = time;
        }
        renews
    }

    /// The updates behind `values`.
    pub(super) fn updates<'a>(
        mut self,
        time: &'a [f64],
        values: &'a [f64],
        fresh: impl Fn(usize) -> bool + Sync,
    ) -> Updates<'a> {
        // A supply that is asked no faster than it renews, as most are, gives an update with every sample.
        let is_new = |index: usize| time[index] - time[index - 1] >= NEARLY * self.period || fresh(index);
        if share::all(1..values.len(), is_new) {
            return Updates { first: None, value: values.into(), period: self.period, time };
        }
        #[expect(clippy::cast_possible_truncation, reason = "`changes` refuses more than u32::MAX samples")]
        let numbered = 0..values.len() as u32;
        let renews = |index: &u32| {
            let index = *index as usize;
            self.renews(time[index], index == 0 || fresh(index))
        };
        let first: Vec<u32> = numbered.filter(renews).collect();
        let value = first.iter().map(|index| values[*index as usize]).collect();
        Updates { first: Some(first), value, period: self.period, time }
    }
}

impl<'a> Updates<'a> {
    /// The updates behind `values`; `fresh` says whether a sample differs from the one before.
    pub(super) fn of(
        time: &'a [f64],
        values: &'a [f64],
        fresh: impl Fn(usize) -> bool + Sync,
        settings: &Settings,
    ) -> Self {
        Renewal::of(time, &fresh, settings).updates(time, values, &fresh)
    }

    /// How far each of updates `range` counts as an observation of its own: 1, or less where readings follow each other
    /// faster than the readback is renewed.
    pub(super) fn weights(&self, range: Range<usize>) -> impl Iterator<Item = f64> {
        /// An observation never counts for nothing.
        const LEAST: f64 = 1e-3;
        let weight = move |index: usize| {
            let next = self.time.get(self.sample(index + 1));
            // How long the last one lasts is not known.
            next.map_or(1.0, |next| ((next - self.start(index)) / self.period).clamp(LEAST, 1.0))
        };
        range.map(weight)
    }

    pub(super) fn len(&self) -> usize {
        self.value.len()
    }

    /// The time of the first sample of update `index`.
    pub(super) fn start(&self, index: usize) -> f64 {
        self.time[self.sample(index)]
    }

    /// The same, or past the end the time of the last sample.
    pub(super) fn start_or_end(&self, index: usize) -> f64 {
        self.time[self.sample(index).min(self.time.len() - 1)]
    }

    /// The index of the first sample of update `index`, or the number of samples past the end.
    pub(super) fn sample(&self, index: usize) -> usize {
        let sample = match &self.first {
            Some(first) => first.get(index).map(|first| *first as usize),
            None => Some(index),
        };
        sample.unwrap_or(usize::MAX).min(self.time.len())
    }

    /// The samples of updates `range`.
    pub(super) fn samples(&self, range: &Range<usize>) -> Range<usize> {
        self.sample(range.start)..self.sample(range.end)
    }
}

/// Time from one update of the readback to the next, in seconds: no longer than `slowest` unless the log itself is slower.
fn period(time: &[f64], fresh: &impl Fn(usize) -> bool, slowest: f64) -> f64 {
    let polls = || usual(steps(time, &|_| true));
    let renewed = steps(time, &|index| index > 0 && fresh(index));
    let period = if renewed.len() < ENOUGH_FRESH { polls() } else { usual(renewed) };
    match period {
        // Nothing but the changes of a steady board between a few levels.
        Some(period) if period > slowest => polls().map_or(period, |poll| period.min(slowest.max(poll))),
        Some(period) => period,
        None => 1.0,
    }
}

/// The step below which lies the usual share of `steps`.
fn usual(mut steps: Vec<f64>) -> Option<f64> {
    if steps.is_empty() {
        return None;
    }
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "a share of a count"
    )]
    let rank = (steps.len() as f64 * USUAL_SHARE) as usize;
    Some(*steps.select_nth_unstable_by(rank, f64::total_cmp).1)
}

/// Times from each of the samples that are `counted` to the next, in the parts of the log that are looked at.
fn steps(time: &[f64], counted: &impl Fn(usize) -> bool) -> Vec<f64> {
    let mut steps = Vec::new();
    for part in robust::parts(time.len()) {
        let mut before = None;
        for at in part.filter(|at| counted(*at)).map(|at| time[at]) {
            steps.extend(before.map(|before| at - before));
            before = Some(at);
        }
    }
    steps
}

#[cfg(test)]
mod tests {
    use super::*;

    fn updates<'a>(time: &'a [f64], values: &'a [f64]) -> Updates<'a> {
        let fresh = |index: usize| values[index].total_cmp(&values[index - 1]).is_ne();
        Updates::of(time, values, fresh, &Settings::default())
    }

    fn grid(count: usize) -> Vec<f64> {
        (0..count).map(|index| f64::from(u32::try_from(index).unwrap()) * 0.025).collect()
    }

    #[test]
    fn four_repeats_of_an_update_are_one_observation() {
        let values: Vec<f64> = (0..400).map(|index| f64::from((index / 4) % 7)).collect();
        let time = grid(400);
        let found = updates(&time, &values);
        assert_eq!(found.len(), 100);
        assert_eq!([0, 1, 2, 3, 100].map(|update| found.sample(update)), [0, 4, 8, 12, 400]);
        assert!(found.weights(0..100).all(|weight| weight > 0.999));
    }

    #[test]
    fn a_quiet_readback_goes_on_being_observed() {
        let mut values: Vec<f64> = (0..400).map(|index| f64::from((index / 4) % 7)).collect();
        values.extend([3.0; 400]);
        let time = grid(800);
        let found = updates(&time, &values);
        assert!((195..=205).contains(&found.len()), "{}", found.len());
    }

    #[test]
    fn two_steady_levels_by_turns_are_observed_all_along() {
        let values: Vec<f64> = (0..4000).map(|index| f64::from((index / 80) % 2)).collect();
        let time = grid(4000);
        let found = updates(&time, &values);
        assert!(found.len() >= 190, "{} updates in 100 s", found.len());
    }

    #[test]
    fn readings_in_a_burst_count_for_the_time_they_stand_for() {
        let time: Vec<f64> = (0..100_u32)
            .map(|index| {
                f64::from(index / 2) * 0.1 + if index % 2 == 1 { 0.001 * f64::from(index % 10) } else { 0.0 }
            })
            .collect();
        let values: Vec<f64> = (0..100).map(|index| f64::from(index % 3)).collect();
        let found = updates(&time, &values);
        assert_eq!(found.len(), 100);
        assert!(found.weights(0..100).all(|weight| (0.0..=1.0).contains(&weight)));
    }
}
