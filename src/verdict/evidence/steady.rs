//! The level that a run ends at.

use super::LEVEL_S;
use crate::stats::extent;
use crate::stats::robust;
use crate::units::range;
use crate::verdict::attempts::RISES_S;
use crate::verdict::phases::without_zero;
use crate::verdict::piece::Piece;
use crate::verdict::seen::Seen;
use std::ops::Range;

/// Share of the volts that is more than a load pulls them down by as it comes and goes (by judgement).
const RISES: f64 = 0.05;

/// Share of a level that is no change of it (by judgement).
const SAME: f64 = 0.1;

/// What is over within this time is a pulse of a level, in seconds: a drive that seeks, a radio that sends (common
/// practice, no source).
const PULSE_S: f64 = 1.0;

/// The level that a run ends at, from its last change on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::verdict) struct Steady {
    start_s: f64,
    end_s: f64,
    pub(super) amps: f64,
    pub(super) volts: f64,
    pub(super) watts: f64,
}

impl Steady {
    /// The level that a run ends at; of a load that swings, which shows none for long, what it swings about.
    pub(super) fn of_last_seconds(seen: &Seen) -> Option<Self> {
        /// Share of the level that a busy load swings by (common practice, no source).
        const SWINGS: f64 = 0.4;
        /// A level that lasts for less may be a moment of a busy load, in seconds.
        const LONG_S: f64 = 5.0;
        let level = Self::of_the_end(seen)?;
        if level.duration() >= LONG_S { Some(level) } else { Self::within(seen, SWINGS) }
    }

    /// The level that a run ends at, of no more than [`SAME`] apart: worked out once, since several words ask for it and a
    /// level may last for millions of readings.
    pub(super) fn of_the_end(seen: &Seen) -> Option<Self> {
        *seen.steady.get_or_init(|| Self::within(seen, SAME))
    }

    /// The last pieces of the run, back to where the current was another; a gap, or a step that a person would not act
    /// on, does not end it, and neither does a pulse. The means are those of all readings from there on, pulses included,
    /// as anybody finds them who takes the mean over the time that is said beside them.
    fn within(seen: &Seen, same: f64) -> Option<Self> {
        let pieces = seen.analysis.pieces.get(..seen.analysis.path.last()?.to)?;
        let end = pieces.last()?;
        let near = |piece: &&Piece| (piece.amps - end.amps).abs() <= same * end.amps.abs();
        // What lies below for a moment is no pulse but the rest that the load came up from.
        let is_pulse = |piece: &&Piece| piece.is_edge() || piece.amps > end.amps;
        let goes_on = |piece: &&Piece| near(piece) || piece.duration() < PULSE_S && is_pulse(piece);
        let first = pieces.iter().rev().take_while(goes_on).filter(near).last()?;
        Self::read(seen, settled(seen, first.samples.start..end.samples.end), end.end_s)
    }

    /// The means of the readings of a level.
    fn read(seen: &Seen, read: Range<usize>, end_s: f64) -> Option<Self> {
        let (volts, amps) = (seen.trace.volts().get(read.clone())?, &seen.trace.amps()[read.clone()]);
        let mut sums = [0.0; 3];
        for (volts, amps) in volts.iter().zip(amps) {
            let amps = without_zero(*amps, seen.readout.zero_a);
            for (sum, value) in sums.iter_mut().zip([amps, *volts, volts * amps]) {
                *sum += value;
            }
        }
        #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
        let [amps, volts, watts] = sums.map(|sum| sum / read.len() as f64);
        // The mean is not over the rise of the feed, which no reading of the level shows.
        Some(Self { start_s: *seen.trace.time().get(read.start)?, end_s, amps, volts, watts })
    }

    pub(super) fn duration(&self) -> f64 {
        self.end_s - self.start_s
    }

    /// ` at 12.8 V`; `, as the volts rise from 3.03 to 3.85 V`, of what was read while the feed came up, which has no mean.
    pub(super) fn at_volts(&self, seen: &Seen) -> String {
        let read = seen.trace.volts().get(seen.samples_between(self.start_s, self.end_s)).unwrap_or_default();
        match (read.first(), read.iter().copied().max_by(f64::total_cmp)) {
            (Some(first), Some(most)) if *first < (1.0 - RISES) * most => {
                format!(", as the volts rise from {}", range(&seen.volts(*first), &seen.volts(most)))
            }
            _ => format!(" at {}", seen.volts(self.volts)),
        }
    }
}

/// The readings of `level` without those that it begins with just after switch-on and that are plainly off it: capacitors
/// are charged, and a housekeeping supply comes up, with a current of their own.
fn settled(seen: &Seen, level: Range<usize>) -> Range<usize> {
    /// Steps, and standard deviations, that a reading of a level may be off by (by judgement).
    const STEPS: f64 = 1.5;
    const SDS: f64 = 3.0;
    let amps = seen.trace.amps();
    let Some(median) = robust::median_at(level.len(), |i| amps[level.start + i]) else { return level };
    let most_a = (SAME * median.abs()).max(STEPS * seen.readout.step_a).max(SDS * seen.readout.noise_a);
    let off = |i: &usize| {
        seen.trace.time()[*i] < seen.analysis.run.start_s + RISES_S && (amps[*i] - median).abs() > most_a
    };
    let settled = level.start + level.clone().take_while(off).count()..level.end;
    after_the_rise(seen, settled.clone()).unwrap_or(settled)
}

/// The readings from where the volts are up, of a feed that comes up soon after switch-on and stays.
fn after_the_rise(seen: &Seen, level: Range<usize>) -> Option<Range<usize>> {
    let volts = seen.trace.volts().get(level.clone())?;
    let up_v = (1.0 - RISES) * extent(volts)?.1;
    let up = level.start + volts.iter().take_while(|volts| **volts < up_v).count()..level.end;
    let (from_s, to_s) = (*seen.trace.time().get(up.start)?, *seen.trace.time().get(up.end - 1)?);
    let soon = from_s < seen.analysis.run.start_s + RISES_S;
    let stays = || seen.trace.volts()[up.clone()].iter().all(|volts| *volts >= up_v);
    (soon && to_s - from_s >= LEVEL_S && stays()).then_some(up)
}
