//! From boundaries to segments with their means and spreads.

use super::{Changes, Segment, Segmentation, Spike};
use crate::stats::robust;
use crate::trace::Trace;
use std::ops::Range;

/// The trace cut at `changes`.
pub(super) fn segmentation(trace: &Trace, changes: &Changes) -> Segmentation {
    let fine = segments(trace, &changes.fine);
    let spikes = changes.spikes.iter().map(|samples| spike(trace, &fine, samples)).collect();
    Segmentation {
        coarse: segments(trace, &changes.coarse),
        spikes,
        noise_a: changes.noise,
        rounding_a: changes.rounding,
        fine,
    }
}

fn spike(trace: &Trace, fine: &[Segment], samples: &Range<usize>) -> Spike {
    let within = fine.partition_point(|segment| segment.end <= samples.start);
    let level_a = fine.get(within).map_or(0.0, |segment| segment.level_a);
    let far = |amps: &&f64| (**amps - level_a).abs();
    let peak = trace.amps()[samples.clone()].iter().max_by(|a, b| far(a).total_cmp(&far(b)));
    Spike { start: samples.start, end: samples.end, peak_a: peak.copied().unwrap_or(level_a), level_a }
}

/// The segments between `changes` (starts of every segment after the first).
pub(super) fn segments(trace: &Trace, changes: &[usize]) -> Vec<Segment> {
    let weights = weights(trace.time());
    let starts = std::iter::once(0).chain(changes.iter().copied());
    let ends = changes.iter().copied().chain(std::iter::once(trace.len()));
    starts.zip(ends).map(|(start, end)| describe(trace, &weights, start, end)).collect()
}

/// The time that each sample stands for: half-way to its neighbours on both sides.
pub(super) fn weights(time: &[f64]) -> Vec<f64> {
    let last = time.len().saturating_sub(1);
    let middle = |a: usize, b: usize| (time[b] - time[a]) / 2.0;
    (0..time.len())
        .map(|i| match (i, last) {
            (_, 0) => 1.0,
            (0, _) => middle(0, 1) * 2.0,
            (i, last) if i == last => middle(i - 1, i) * 2.0,
            _ => middle(i - 1, i + 1),
        })
        .collect()
}

fn describe(trace: &Trace, weights: &[f64], start: usize, end: usize) -> Segment {
    let time = trace.time();
    let (mut weight, mut amps, mut volts, mut watts) = (0.0, 0.0, 0.0, 0.0);
    for (index, w) in weights.iter().enumerate().take(end).skip(start) {
        let (v, a) = (trace.volts()[index], trace.amps()[index]);
        weight += w;
        amps += w * a;
        volts += w * v;
        watts += w * v * a;
    }
    let mut within = trace.amps()[start..end].to_vec();
    let level_a = robust::median(&mut within).unwrap_or(0.0);
    let spread_a = robust::deviation(&mut within).unwrap_or(0.0);
    Segment {
        start,
        end,
        start_s: time[start],
        end_s: time[end.min(time.len() - 1)],
        mean_a: amps / weight,
        mean_v: volts / weight,
        mean_w: watts / weight,
        level_a,
        spread_a,
    }
}
