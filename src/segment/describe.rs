//! From boundaries to segments with their means and spreads.

use super::changes::ranges;
use super::{Changes, Segment, Segmentation, Spike};
use crate::share::each;
use crate::stats::robust;
use crate::trace::Trace;
use std::ops::Range;

/// The trace cut at `changes`.
pub(super) fn segmentation(trace: &Trace, changes: &Changes) -> Segmentation {
    let fine = segments(trace, &changes.fine, &[]);
    let coarse = segments(trace, &changes.coarse, &fine);
    let spikes = changes.spikes.iter().map(|samples| spike(trace, &fine, samples)).collect();
    Segmentation { coarse, spikes, noise_a: changes.noise, rounding_a: changes.rounding, fine }
}

fn spike(trace: &Trace, fine: &[Segment], samples: &Range<usize>) -> Spike {
    let within = fine.partition_point(|segment| segment.end <= samples.start);
    let level_a = fine.get(within).map_or(0.0, |segment| segment.level_a);
    let far = |amps: &&f64| (**amps - level_a).abs();
    let peak = trace.amps()[samples.clone()].iter().max_by(|a, b| far(a).total_cmp(&far(b)));
    Spike { start: samples.start, end: samples.end, peak_a: peak.copied().unwrap_or(level_a), level_a }
}

/// The segments between `changes` (starts of every segment after the first), of which some may be `known`.
fn segments(trace: &Trace, changes: &[usize], known: &[Segment]) -> Vec<Segment> {
    let segment = |samples: &Range<usize>| {
        let same = known.binary_search_by_key(&samples.start, |segment| segment.start).ok();
        let same = same.map(|index| known[index]).filter(|segment| segment.end == samples.end);
        same.unwrap_or_else(|| describe(trace, samples.clone()))
    };
    let ranges: Vec<Range<usize>> = ranges(changes, trace.len()).collect();
    each(&ranges, trace.len(), segment)
}

/// The time that a sample stands for: half-way to its neighbours on both sides.
fn weight(time: &[f64], index: usize) -> f64 {
    let last = time.len() - 1;
    let middle = |a: usize, b: usize| (time[b] - time[a]) / 2.0;
    match index {
        _ if last == 0 => 1.0,
        0 => middle(0, 1) * 2.0,
        _ if index == last => middle(index - 1, index) * 2.0,
        _ => middle(index - 1, index + 1),
    }
}

fn describe(trace: &Trace, samples: Range<usize>) -> Segment {
    let (time, current) = (trace.time(), &trace.amps()[samples.clone()]);
    let (mut weight, mut amps, mut volts, mut watts) = (0.0, 0.0, 0.0, 0.0);
    for index in samples.clone() {
        let (w, v, a) = (self::weight(time, index), trace.volts()[index], trace.amps()[index]);
        weight += w;
        amps += w * a;
        volts += w * v;
        watts += w * v * a;
    }
    Segment {
        start: samples.start,
        end: samples.end,
        start_s: time[samples.start],
        end_s: time[samples.end.min(time.len() - 1)],
        mean_a: amps / weight,
        mean_v: volts / weight,
        mean_w: watts / weight,
        level_a: robust::median_at(current.len(), |index| current[index]).unwrap_or(0.0),
        spread_a: robust::deviation_at(current.len(), |index| current[index]).unwrap_or(0.0),
    }
}
