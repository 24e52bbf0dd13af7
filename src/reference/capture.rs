//! A log made ready for learning: where the board was fed, in pieces of steady power.

use super::measure::Readback;
use crate::segment::{self, Settings};
use crate::stats::robust;
use crate::trace::{EventKind, Trace};
use crate::units::Volts;
use rayon::prelude::*;
use std::ops::Range;

/// Feed is there from this share of the set (or usual) volts on: above what a collapsed feed shows (a hard short
/// leaves up to about 15 %), below any volts that a board starts at.
const FED_FROM: f64 = 0.5;

/// A dip no longer than this, seconds, does not end a run: a burst of load may drive the supply into its limit for a
/// readback update or two. An output that was cycled stays off for longer (common practice, no source).
const LONGEST_DIP_S: f64 = 1.0;

/// A run shorter than this shows no boot; the quickest boards of common practice need some seconds.
const SHORTEST_RUN_S: f64 = 2.0;

/// The feed has risen once the volts are this share of what they are later: no readback scatters as far, and a standby makes
/// nothing sag. Until then the amps charge the capacitors at the inlet: a readback that is renewed four times a second shows
/// that for as long as a short standby.
const RISEN: f64 = 0.985;

/// A rise of the feed that takes longer than this, seconds, is no inrush: input capacitors charge within tenths of a second.
const LONGEST_RISE_S: f64 = 0.8;

/// Independent readings of a busy load's power that a second holds. A processor's load keeps a level for some tenths
/// of a second (in the labelled captures the autocorrelation is gone after about half a second), however fast the
/// supply is asked.
pub(super) const INDEPENDENT_PER_S: f64 = 2.0;

/// Pieces are no longer than this, seconds: a change that only the joint view of all captures can tell from chance may
/// then still be placed where one capture alone shows nothing.
const LONGEST_PIECE_S: f64 = 0.5;

/// ... nor than this share of the time that the board has been fed, in a log that is learned from: lengths of stages are
/// compared by their logs, and what begins an hour after the feed need not be placed to half a second. So an hour has
/// hardly more pieces than ten minutes, where learning would take time with their square. Such a piece counts for no more
/// observations than a shorter one, or hours of running would be cut in stages over the last per cent of their power.
const LONGEST_PIECE_SHARE: f64 = 1.0 / 400.0;

/// A log whose load changes more often than this is no start of a good board with some minutes of running.
const MOST_PIECES: usize = 4000;

/// A known-good log as `learn` takes it.
#[derive(Debug, Clone)]
pub struct Capture {
    /// File name, by which messages call it.
    pub name: String,
    /// SHA-256 of the file, in hexadecimal.
    pub sha256: String,
    /// The log.
    pub trace: Trace,
}

/// Why a log cannot be learned from.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Unfit {
    /// The log is of another board model.
    #[error("its header says board `{found}`, not `{wanted}`")]
    OtherBoard {
        /// What the header says.
        found: String,
        /// What is learned.
        wanted: String,
    },
    /// The board was never fed.
    #[error("no feed: the volts never reach half of {expected}")]
    NoFeed {
        /// The set volts, or the highest seen.
        expected: Volts,
    },
    /// Too little of a run.
    #[error("the board is fed for {found:.1} s only; at least {SHORTEST_RUN_S} s are needed")]
    TooShort {
        /// How long it is fed, in seconds.
        found: f64,
    },
    /// The board drew nothing.
    #[error("the board draws nothing that this supply can resolve")]
    NoDraw,
    /// More changes than a start and some minutes of running have.
    #[error(
        "its load changes {found} times, more than the {MOST_PIECES} that can be learned from; give a log of the start and a few minutes after it"
    )]
    TooManyChanges {
        /// Pieces of steady power.
        found: usize,
    },
    /// The very same file was taken already.
    #[error("the same file was taken already")]
    Duplicate,
    /// The log has fewer pieces than the profile has stages.
    #[error("its course has too few changes to hold the profile's stages")]
    TooFewPieces,
    /// It goes another way than the other captures.
    #[error("its {quantity} in {stage} is {found} where the others have {others}")]
    Differs {
        /// `mean power` or `length`.
        quantity: &'static str,
        /// The stage, by its name or its number from 1 on.
        stage: String,
        /// What this capture shows, with its unit.
        found: String,
        /// The median of the others, with its unit.
        others: String,
    },
}

/// A stretch of steady power.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece {
    /// Index of its first sample.
    pub(super) start: usize,
    /// Start and end on the log's clock, seconds.
    pub(super) from: f64,
    pub(super) to: f64,
    /// Independent observations that it stands for.
    pub(super) weight: f64,
    /// Log of its mean power.
    pub(super) level: f64,
    /// Variance of the log of power within it.
    pub(super) variance: f64,
    /// Standard deviation of `level` that the readback's steps leave.
    pub(super) blur: f64,
}

/// One run of the board: from feed on to feed off.
#[derive(Debug, Clone)]
pub(super) struct Run {
    /// Sample range.
    pub(super) start: usize,
    pub(super) end: usize,
    pub(super) pieces: Vec<Piece>,
    /// When the person at the bench marked the button, if so.
    pub(super) button: Option<f64>,
    /// What the supply's readback can tell.
    pub(super) readback: Readback,
}

impl Run {
    /// The longest run of `trace`.
    pub(super) fn of(trace: &Trace) -> Result<Self, Unfit> {
        let (start, end) = fed_range(trace)?;
        let time = trace.time();
        let length = time[end - 1] - time[start];
        if length < SHORTEST_RUN_S {
            return Err(Unfit::TooShort { found: length });
        }
        let cut = segment::segment(trace, &Settings::default()).map_err(|_| Unfit::NoDraw)?;
        let cuts: Vec<_> = cut.fine.iter().map(|fine| fine.start.max(start)..fine.end.min(end)).collect();
        let risen = risen(trace, start..end);
        let readback = Readback::of(trace, cut.rounding_a, &cuts);
        let step = power_step(trace, start, end, readback.step_a);
        let longest = |at: f64| LONGEST_PIECE_S.max(LONGEST_PIECE_SHARE * (at - time[start]));
        let settled: Vec<_> = cuts.iter().map(|cut| cut.start.max(risen)..cut.end).collect();
        let mut pieces = pieces_no_longer(trace, start..end, &settled, &readback, longest);
        if let Some(first) = pieces.first_mut() {
            // The stage that the inrush leads to has begun at switch-on.
            (first.start, first.from) = (start, time[start]);
        }
        if pieces.len() > MOST_PIECES {
            return Err(Unfit::TooManyChanges { found: pieces.len() });
        }
        if pieces.iter().all(|piece| piece.level <= (step / 2.0).ln()) {
            return Err(Unfit::NoDraw);
        }
        let button = button_mark(trace, time[start], time[end - 1]);
        Ok(Self { start, end, pieces, button, readback })
    }
}

#[cfg(test)]
impl Run {
    /// A run of pieces of so many seconds and such a log of power, read ten times a second.
    pub(super) fn of_pieces(pieces: &[(f64, f64)]) -> Self {
        let mut from = 0.0;
        let piece = |(start, (length, level)): (usize, &(f64, f64))| {
            let to = from + length;
            let piece =
                Piece { start, from, to, weight: 2.0 * length, level: *level, variance: 0.001, blur: 0.01 };
            from = to;
            piece
        };
        let pieces: Vec<Piece> = pieces.iter().enumerate().map(piece).collect();
        let readback = Readback { step_a: 0.0, zero_a: 0.0, zero_sd_a: 0.0, update_s: 0.1 };
        Self { start: 0, end: pieces.len(), pieces, button: None, readback }
    }
}

/// The sample range of the longest stretch with feed volts, dips bridged.
fn fed_range(trace: &Trace) -> Result<(usize, usize), Unfit> {
    let highest = trace.volts().iter().copied().fold(0.0, f64::max);
    let expected = trace.header().set_volts.map_or(highest, Volts::value);
    let time = trace.time();
    let mut best = 0..0;
    let mut current = 0..0;
    for index in (0..trace.len()).filter(|index| trace.volts()[*index] >= FED_FROM * expected) {
        let next = index == current.end;
        let bridged = next || current.end > 0 && time[index] - time[current.end - 1] <= LONGEST_DIP_S;
        current = if bridged { current.start..index + 1 } else { index..index + 1 };
        if current.len() > best.len() {
            best = current.clone();
        }
    }
    if best.is_empty() || expected <= 0.0 {
        return Err(Unfit::NoFeed { expected: Volts::new(expected).unwrap_or_default() });
    }
    Ok((best.start, best.end))
}

/// Index of the first sample of `run` at which the feed has risen; its start where it rises too slowly for an inrush.
pub(super) fn risen(trace: &Trace, run: Range<usize>) -> usize {
    let time = trace.time();
    let volts = |index: usize| trace.volts()[index];
    let half = run.len().div_ceil(2);
    let later = robust::median_at(half, |i| volts(run.end - half + i)).unwrap_or(0.0);
    let soon = |index: &usize| time[*index] - time[run.start] <= LONGEST_RISE_S;
    run.clone().take_while(soon).find(|index| volts(*index) >= RISEN * later).unwrap_or(run.start)
}

/// The step of power that the readback can tell apart, watts.
fn power_step(trace: &Trace, start: usize, end: usize, resolution_a: f64) -> f64 {
    /// One milliampere stands for supplies whose steps could not be seen.
    const UNSEEN_STEP_A: f64 = 0.001;
    let volts = trace.volts()[usize::midpoint(start, end)].max(f64::MIN_POSITIVE);
    volts * resolution_a.max(UNSEEN_STEP_A)
}

/// The pieces of the run `start..end`, whose level is steady within each of `cuts`.
pub(super) fn pieces_of(
    trace: &Trace,
    start: usize,
    end: usize,
    cuts: &[Range<usize>],
    readback: &Readback,
) -> Vec<Piece> {
    pieces_no_longer(trace, start..end, cuts, readback, |_| LONGEST_PIECE_S)
}

/// The same, where a piece that begins at a time is no longer than `longest` says.
fn pieces_no_longer(
    trace: &Trace,
    run: Range<usize>,
    cuts: &[Range<usize>],
    readback: &Readback,
    longest: impl Fn(f64) -> f64 + Sync,
) -> Vec<Piece> {
    let step = power_step(trace, run.start, run.end, readback.step_a);
    let time = trace.time();
    let pieces = |cut: &Range<usize>| {
        let mut pieces = Vec::new();
        let mut from = cut.start;
        while from < cut.end {
            let limit = time[from] + longest(time[from]);
            let to = from + time[from..cut.end].partition_point(|time| *time < limit).max(1);
            let piece = piece(trace, from, to, readback.zero_a, step);
            pieces.push(Piece { weight: piece.weight * LONGEST_PIECE_S / longest(time[from]), ..piece });
            from = to;
        }
        pieces
    };
    cuts.par_iter().flat_map_iter(pieces).collect()
}

fn piece(trace: &Trace, start: usize, end: usize, zero: f64, step: f64) -> Piece {
    let time = trace.time();
    let ends_at = time[end.min(trace.len() - 1)];
    let readings = || trace.volts()[start..end].iter().zip(&trace.amps()[start..end]);
    let powers = || readings().map(|(volts, amps)| (volts * (amps - zero)).max(step / 2.0));
    #[expect(clippy::cast_precision_loss, reason = "a piece holds few samples")]
    let count = (end - start) as f64;
    let mean = powers().sum::<f64>() / count;
    let squares = powers().map(|power| (power - mean).powi(2)).sum::<f64>();
    Piece {
        start,
        from: time[start],
        to: ends_at,
        weight: (ends_at - time[start]).max(0.0) * INDEPENDENT_PER_S,
        level: mean.ln(),
        variance: squares / count / (mean * mean),
        // A value rounded to a step is uniform within it: step / √12 (GUM, JCGM 100:2008, F.2.2.1).
        blur: step / 12_f64.sqrt() / mean,
    }
}

/// The first mark that speaks of a button within the run.
fn button_mark(trace: &Trace, from: f64, to: f64) -> Option<f64> {
    trace.events().iter().find_map(|event| match &event.kind {
        EventKind::Mark(word) if word.to_lowercase().contains("button") => {
            Some(event.time.value()).filter(|time| (from..to).contains(time))
        }
        _ => None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::{Header, Mode, Sample, TraceBuilder};
    use crate::units::{Amps, Seconds};
    use approx::assert_relative_eq;

    /// Readings eight times a second, of volts and amps, each so many times.
    fn trace(stretches: &[(usize, f64, f64)]) -> Trace {
        let mut builder = TraceBuilder::new(Header::default());
        let readings = stretches.iter().flat_map(|(count, volts, amps)| vec![(*volts, *amps); *count]);
        for (index, (volts, amps)) in readings.enumerate() {
            let time = Seconds::constant(f64::from(u32::try_from(index).unwrap()) * 0.125);
            let (volts, amps) = (Volts::constant(volts), Amps::constant(amps));
            builder.sample(Sample { time, volts, amps, mode: Mode::Unknown, span: None }).unwrap();
        }
        builder.finish()
    }

    #[test]
    fn a_run_begins_at_switch_on_with_the_level_that_the_feed_has_risen_to() {
        let run = Run::of(&trace(&[(13, 0.0, 0.0), (2, 14.5, 0.085), (6, 19.0, 0.005), (40, 19.0, 0.1)]));
        let first = run.unwrap().pieces[0];
        assert_eq!(first.start, 13);
        assert_relative_eq!(first.from, 1.625, epsilon = 1e-9);
        assert_relative_eq!(first.level, f64::ln(19.0 * 0.005), epsilon = 1e-6);
    }

    #[test]
    fn a_slow_ramp_of_the_feed_is_part_of_the_run() {
        let ramp: Vec<_> = (0..20).map(|step| (1, 10.0 + 0.45 * f64::from(step), 0.05)).collect();
        let run = Run::of(&trace(&[&ramp[..], &[(40, 19.0, 0.1)]].concat())).unwrap();
        assert_eq!(run.pieces[0].start, run.start);
        assert!(run.pieces[0].level < f64::ln(19.0 * 0.05));
    }
}
