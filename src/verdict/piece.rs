//! Pieces: the fine segments of one run, described as the verdict needs them; and stretches, runs of whole pieces.

use super::readout::Readout;
use super::run::Run;
use crate::segment::Segmentation;
use crate::stats::robust;
use crate::trace::Trace;
use rayon::prelude::*;
use std::ops::Range;

/// A load that goes up and down by this factor is no level: stages of a board lie about as far apart, and its bursts are
/// less (common practice, no source).
const FAR_APART: f64 = 2.5;
/// Tenths of the readings that must lie at either end.
const FEW_TENTHS: usize = 1;
/// Between these tenths of its readings a normal noise reaches over 2.6 standard deviations, and hardly over this many.
const BEYOND_NOISE: f64 = 3.0;
/// Share of the way up below which a reading is down, and above which it is up, where a busy load may be.
const NEARLY_DOWN: f64 = 0.1;
const NEARLY_UP: f64 = 0.6;
/// Fewer changes than this are an edge or a pulse.
const FEWEST_CUTS: usize = 4;

/// One fine segment of a run.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Piece {
    pub samples: Range<usize>,
    pub start_s: f64,
    pub end_s: f64,
    /// Time-weighted mean power with the supply's zero taken off, in watts.
    pub watts: f64,
    /// Time-weighted mean current with the supply's zero taken off, in amps.
    pub amps: f64,
    /// Time-weighted mean volts.
    pub volts: f64,
    /// Share of the readings in which the volts sag below the set volts.
    pub sag: f64,
    /// Share of the readings in current limit.
    pub limit: f64,
    /// Power over the floor that the readback's noise sets, in watts, and its log.
    above_floor: f64,
    level: f64,
    /// How far the piece counts as a level of its own: one update of averaging over an edge is none, and is 0.
    weight: f64,
    /// Mean square of the power, for spreads.
    square: f64,
}

impl Piece {
    /// Log of the power over the floor that the readback's noise sets.
    pub(super) fn level(&self) -> f64 {
        self.level
    }

    /// Power over the floor that the readback's noise sets, in watts.
    pub(super) fn above_floor(&self) -> f64 {
        self.above_floor
    }

    /// Independent looks at the load that the piece is good for.
    pub(super) fn looks(&self) -> f64 {
        (self.duration() / LOOK_S).clamp(0.5, MOST_LOOKS)
    }

    /// Whether it is no level of its own at all, but an average over the edge from the level before to the one after.
    pub(super) fn is_edge(&self) -> bool {
        self.weight <= 0.0
    }

    /// How far the piece counts as a level of its own, 0 to 1.
    pub(super) fn weight(&self) -> f64 {
        self.weight
    }

    pub(super) fn duration(&self) -> f64 {
        self.end_s - self.start_s
    }
}

/// The fine segments that overlap `run`, cut to it; a spike is a piece of its own.
pub(super) fn pieces(trace: &Trace, cut: &Segmentation, run: &Run, readout: &Readout) -> Vec<Piece> {
    let overlap = |samples: Range<usize>| {
        let samples = samples.start.max(run.samples.start)..samples.end.min(run.samples.end);
        (!samples.is_empty()).then_some(samples)
    };
    let ranges: Vec<Range<usize>> = cut
        .stretches()
        .into_par_iter()
        .filter_map(overlap)
        .flat_map_iter(|samples| ups_and_downs(trace, samples, run, readout))
        .collect();
    let ranges = without_edges(trace, &ranges, readout);
    let mut found: Vec<Piece> =
        ranges.into_par_iter().map(|samples| piece(trace, samples, run, readout)).collect();
    mark_edges(&mut found, readout);
    if let Some(first) = found.first_mut() {
        first.start_s = run.start_s;
    }
    if let Some(last) = found.last_mut() {
        last.end_s = run.end_s.max(last.start_s);
    }
    found
}

/// The same stretches, with every reading that averages over the edge between two of them cut off.
fn without_edges(trace: &Trace, ranges: &[Range<usize>], readout: &Readout) -> Vec<Range<usize>> {
    let at = |index: Option<usize>| index.and_then(|index| ranges.get(index)).cloned();
    let mut found = Vec::new();
    for (index, range) in ranges.iter().enumerate() {
        let before = at(index.checked_sub(1)).and_then(|before| level(trace, before));
        let after = at(Some(index + 1)).and_then(|after| level(trace, after));
        let mut inner = range.clone();
        let first = range.start..end_of_reading(trace, range);
        if is_edge(trace, &first, first.end..range.end, before, readout) {
            inner.start = first.end;
            found.push(first);
        }
        let last = start_of_reading(trace, &inner)..range.end;
        if is_edge(trace, &last, inner.start..last.start, after, readout) {
            found.extend([inner.start..last.start, last]);
        } else {
            found.push(inner);
        }
    }
    found
}

/// Median amps of a stretch.
fn level(trace: &Trace, samples: Range<usize>) -> Option<f64> {
    robust::median_at(samples.len(), |i| trace.amps()[samples.start + i])
}

/// Where the first fresh reading of a stretch ends: polls repeat it until the supply has another.
fn end_of_reading(trace: &Trace, samples: &Range<usize>) -> usize {
    (samples.start + 1..samples.end).find(|i| trace.is_fresh(*i)).unwrap_or(samples.end)
}

fn start_of_reading(trace: &Trace, samples: &Range<usize>) -> usize {
    (samples.start + 1..samples.end).rev().find(|i| trace.is_fresh(*i)).unwrap_or(samples.start)
}

/// Whether `reading` lies between the level of the `rest` of its stretch and the `other` level beside it, clearly off the
/// former.
fn is_edge(
    trace: &Trace,
    reading: &Range<usize>,
    rest: Range<usize>,
    other: Option<f64>,
    readout: &Readout,
) -> bool {
    /// Share of the step between the levels that is no noise of a busy load.
    const CLEARLY_OFF: f64 = 0.2;
    /// ... nor of the readback, in standard deviations.
    const CLEARLY_OFF_SDS: f64 = 4.0;
    let (Some(own), Some(other), Some(amps)) = (level(trace, rest), other, level(trace, reading.clone()))
    else {
        return false;
    };
    let (off, step) = (amps - own, other - own);
    let share = off / step;
    (CLEARLY_OFF..1.0).contains(&share) && off.abs() > CLEARLY_OFF_SDS * readout.noise_a
}

/// Marks the pieces of a single reading that lie between the levels before and after: averages over an edge.
fn mark_edges(pieces: &mut [Piece], readout: &Readout) {
    /// In renewals of the readback; two readings would make a level.
    const SINGLE: f64 = 1.6;
    let levels: Vec<f64> = pieces.iter().map(Piece::level).collect();
    for (index, piece) in pieces.iter_mut().enumerate().skip(1) {
        let Some(next) = levels.get(index + 1) else { break };
        let (before, here) = (levels[index - 1], levels[index]);
        let between = (before.min(*next)..before.max(*next)).contains(&here);
        if between && piece.duration() <= SINGLE * readout.update_s() {
            piece.weight = 0.0;
        }
    }
}

/// A stretch in which the load goes up and down by [`FAR_APART`] again and again, cut wherever it does.
///
/// To a supply that is renewed hardly faster than a board tries, attempts are a level with much noise; but no level of
/// its own goes so far up and down, and what lies between is what tells a rest from a stage.
fn ups_and_downs(trace: &Trace, samples: Range<usize>, run: &Run, readout: &Readout) -> Vec<Range<usize>> {
    let floor = (readout.step_a * run.set_v).max(1e-9);
    let level = |i: usize| (trace.volts()[i] * (trace.amps()[i] - readout.zero_a)).max(0.0) + floor;
    let mut sorted = robust::enough(samples.len(), |i| level(samples.start + i));
    sorted.sort_unstable_by(f64::total_cmp);
    let at = |tenths: usize| sorted.get((sorted.len().saturating_sub(1)) * tenths / 10).copied();
    let (Some(low), Some(high)) = (at(FEW_TENTHS), at(10 - FEW_TENTHS)) else { return vec![samples] };
    let noise = BEYOND_NOISE * readout.noise_a * run.set_v;
    if high < FAR_APART * low || high - low < noise {
        return vec![samples];
    }
    // An average over an edge is anything between the two levels, with equal chances.
    let share = |i: usize| (level(i) - low) / (high - low);
    let side = |i: usize| (share(i) > NEARLY_DOWN, share(i) > NEARLY_UP);
    let mut cuts: Vec<usize> = samples.clone().skip(1).filter(|i| side(*i) != side(i - 1)).collect();
    if cuts.len() < FEWEST_CUTS {
        return vec![samples];
    }
    cuts.push(samples.end);
    let starts = std::iter::once(samples.start).chain(cuts.iter().copied());
    starts.zip(&cuts).map(|(from, to)| from..*to).collect()
}

fn piece(trace: &Trace, samples: Range<usize>, run: &Run, readout: &Readout) -> Piece {
    let longest = 3.0 * readout.update_s();
    let (mut weight, mut watts, mut amps, mut volts, mut square) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let (mut sag, mut limit) = (0.0, 0.0);
    for i in samples.clone() {
        let w = stands_for(trace, i).min(longest);
        let (v, a) = (trace.volts()[i], trace.amps()[i] - readout.zero_a);
        weight += w;
        watts += w * v * a;
        amps += w * a;
        volts += w * v;
        square += w * (v * a).powi(2);
        sag += w * f64::from(u8::from(run.sags(trace, i)));
        limit += w * f64::from(u8::from(run.limits(trace, i)));
    }
    let weight = weight.max(f64::MIN_POSITIVE);
    let floor = 2.0 * readout.noise_a * run.set_v.max(1e-3);
    let above_floor = (watts / weight).max(1e-9) + floor;
    let lasts = trace.time()[samples.end.min(trace.len() - 1)] - trace.time()[samples.start];
    Piece {
        above_floor,
        level: above_floor.ln(),
        weight: (lasts / (2.0 * readout.update_s()) - 0.25).clamp(0.0, 1.0),
        start_s: trace.time()[samples.start],
        end_s: trace.time()[samples.end.min(trace.len() - 1)],
        samples,
        watts: watts / weight,
        amps: amps / weight,
        volts: volts / weight,
        sag: sag / weight,
        limit: limit / weight,
        square: square / weight,
    }
}

/// The time that sample `i` stands for: until the next one.
pub(super) fn stands_for(trace: &Trace, i: usize) -> f64 {
    let time = trace.time();
    match (time.get(i + 1), i.checked_sub(1)) {
        (Some(next), _) => next - time[i],
        (None, Some(before)) => time[i] - time[before],
        (None, None) => 1.0,
    }
}

/// Time for one independent look at a busy load, in seconds.
pub(super) const LOOK_S: f64 = 0.5;

/// A piece counts for no more than this many independent looks.
const MOST_LOOKS: f64 = 4.0;

/// Every piece has some weight, so that a stretch of edges has a level too.
const LEAST_WEIGHT: f64 = 1e-3;

/// A run of whole pieces, summed up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stretch {
    pub start_s: f64,
    pub end_s: f64,
    pub watts: f64,
    pub amps: f64,
    pub volts: f64,
    pub sag: f64,
    pub limit: f64,
    /// Standard deviation of power over the stretch, in watts.
    pub spread_w: f64,
    /// Independent looks at levels of their own that its pieces make up.
    pub levels: f64,
    /// Mean log of the power over the noise floor, by these.
    pub level: f64,
}

impl Stretch {
    pub(super) fn duration(&self) -> f64 {
        self.end_s - self.start_s
    }
}

/// Running sums over pieces, so that any stretch is had at once.
#[derive(Debug, Clone)]
pub(super) struct Sums {
    rows: Vec<[f64; 9]>,
    starts: Vec<f64>,
    end_s: f64,
}

impl Sums {
    pub(super) fn of(pieces: &[Piece]) -> Self {
        let mut rows = vec![[0.0; 9]];
        let mut total = [0.0; 9];
        for piece in pieces {
            let d = piece.duration().max(1e-9);
            let row = [1.0, piece.watts, piece.amps, piece.volts, piece.sag, piece.limit, piece.square];
            let (w, x) = (piece.weight.max(LEAST_WEIGHT) * piece.looks(), piece.level);
            let summands = row.into_iter().map(|value| d * value).chain([w, w * x]);
            for (sum, summand) in total.iter_mut().zip(summands) {
                *sum += summand;
            }
            rows.push(total);
        }
        let starts = pieces.iter().map(|piece| piece.start_s).collect();
        Self { rows, starts, end_s: pieces.last().map_or(0.0, |piece| piece.end_s) }
    }

    /// The stretch of pieces `from..to`; `from < to`.
    pub(super) fn stretch(&self, from: usize, to: usize) -> Stretch {
        let mut sums = self.rows[to];
        for (sum, before) in sums.iter_mut().zip(self.rows[from]) {
            *sum -= before;
        }
        let [d, watts, amps, volts, sag, limit, square, levels, x] = sums;
        let d = d.max(1e-9);
        Stretch {
            start_s: self.starts[from],
            end_s: self.starts.get(to).copied().unwrap_or(self.end_s),
            watts: watts / d,
            amps: amps / d,
            volts: volts / d,
            sag: (sag / d).clamp(0.0, 1.0),
            limit: (limit / d).clamp(0.0, 1.0),
            spread_w: (square / d - (watts / d).powi(2)).max(0.0).sqrt(),
            levels,
            level: x / levels.max(1e-9),
        }
    }
}
