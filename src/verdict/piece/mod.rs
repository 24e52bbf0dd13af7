//! Pieces: the fine segments of one run, described as the verdict needs them (what they are cut at besides, `cut`); and
//! stretches, runs of whole pieces.

mod cut;
mod stretch;

pub(super) use stretch::{Stretch, Sums};

use super::readout::Readout;
use super::run::Run;
use crate::segment::Segmentation;
use crate::trace::Trace;
use rayon::prelude::*;
use std::ops::Range;

/// Time for one independent look at a busy load, in seconds.
pub(super) const LOOK_S: f64 = 0.5;

/// Length of a stage that is mostly ramp, in seconds: a few looks.
pub(super) const RAMP_S: f64 = 4.0 * LOOK_S;

/// A piece counts for no more than this many independent looks.
const MOST_LOOKS_A_PIECE: f64 = 4.0;

/// Nor for less than this.
const LEAST_LOOKS_A_PIECE: f64 = 0.5;

/// No reading stands for longer than this, in renewals: what is longer is a gap, of which it knows nothing.
const LONGEST_READING: f64 = 3.0;

/// A level is told down to this many standard deviations of one reading.
const FLOOR_SDS: f64 = 2.0;

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
    /// Share of the readings in which the volts lie visibly below those unloaded, if by less than a sag.
    pub dip: f64,
    /// Share of the readings in current limit.
    pub limit: f64,
    /// Power over the floor that the readback's noise sets, in watts, and its log.
    above_floor: f64,
    level: f64,
    /// How far the piece counts as a level of its own, by how long it lasts ([`weight`]); 0 for one reading between the
    /// levels beside it ([`mark_edges`]).
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
        (self.duration() / LOOK_S).clamp(LEAST_LOOKS_A_PIECE, MOST_LOOKS_A_PIECE)
    }

    /// Whether it is no level of its own at all: an average over the edge from the level before to the one after, or too
    /// short to be told from one.
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
pub(super) fn pieces(trace: &Trace, segmentation: &Segmentation, run: &Run, readout: &Readout) -> Vec<Piece> {
    let overlap = |samples: Range<usize>| {
        let samples = samples.start.max(run.samples.start)..samples.end.min(run.samples.end);
        (!samples.is_empty()).then_some(samples)
    };
    let segments: Vec<Range<usize>> = segmentation.stretches().into_iter().filter_map(overlap).collect();
    let ranges = cut::without_edges(trace, &cut::at_turns(trace, segments, run.set_v, readout), readout);
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

fn piece(trace: &Trace, samples: Range<usize>, run: &Run, readout: &Readout) -> Piece {
    let longest = LONGEST_READING * readout.update_s();
    let (mut seconds, mut watts, mut amps, mut volts, mut square) = (0.0, 0.0, 0.0, 0.0, 0.0);
    let (mut sag, mut dip, mut limit) = (0.0, 0.0, 0.0);
    for i in samples.clone() {
        let s = stands_for(trace, i).min(longest);
        let (v, a) = (trace.volts()[i], trace.amps()[i] - readout.zero_a);
        seconds += s;
        watts += s * v * a;
        amps += s * a;
        volts += s * v;
        square += s * (v * a).powi(2);
        sag += s * f64::from(u8::from(run.sags(trace, i)));
        dip += s * f64::from(u8::from(run.dips(trace, i)));
        limit += s * f64::from(u8::from(run.limits(trace, i)));
    }
    let seconds = seconds.max(f64::MIN_POSITIVE);
    let floor = FLOOR_SDS * readout.noise_a * run.set_v.max(1e-3);
    let above_floor = (watts / seconds).max(1e-9) + floor;
    let (start_s, end_s) = (trace.time()[samples.start], trace.time()[samples.end.min(trace.len() - 1)]);
    Piece {
        above_floor,
        level: above_floor.ln(),
        weight: weight(end_s - start_s, readout),
        start_s,
        end_s,
        samples,
        watts: watts / seconds,
        amps: amps / seconds,
        volts: volts / seconds,
        sag: sag / seconds,
        dip: dip / seconds,
        limit: limit / seconds,
        square: square / seconds,
    }
}

/// How far a piece that lasts so many seconds counts as a level of its own: nothing up to half a renewal, all from two
/// and a half, for one reading may average over an edge on either side.
fn weight(seconds: f64, readout: &Readout) -> f64 {
    (seconds / (2.0 * readout.update_s()) - 0.25).clamp(0.0, 1.0)
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
