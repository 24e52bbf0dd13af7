//! A run followed through the stages of a profile, as learning follows the good captures: the same pieces, the same
//! cost, so that a boundary falls where it fell when the envelopes were learned.

use super::capture::{Piece, Run, pieces_of};
use super::course::{self, Alike, Stage};
use super::measure::Readback;
use super::model::{Envelope, PhaseReference, Profile};
use crate::stats::robust;
use crate::trace::Trace;
use crate::units::Volts;
use std::ops::Range;

/// Levels that a sick stage is looked for at, as steps of the logarithm: a quarter, a half, twice, four times.
const SHIFTS: [f64; 4] = [
    -2.0 * std::f64::consts::LN_2,
    -std::f64::consts::LN_2,
    std::f64::consts::LN_2,
    2.0 * std::f64::consts::LN_2,
];
/// Spread of such a level, so that the steps meet half-way.
const SHIFTED_SPREAD: f64 = 0.35;
/// What it costs to suppose a sick stage, in nats: one in a few hundred.
const ODDS_OF_SHIFT: f64 = 6.0;

impl Profile {
    /// The samples of each phase from `first` on, for a run that went through all of them; `steady` are its stretches
    /// between changes of level, in order, without gaps, and `beside` watts are drawn beside the board's own. `None` if
    /// the run is too short for that many phases.
    #[must_use]
    pub fn follow(
        &self,
        trace: &Trace,
        steady: &[Range<usize>],
        readback: &Readback,
        first: usize,
        beside: f64,
    ) -> Option<Vec<Range<usize>>> {
        let (start, end) = (steady.first()?.start, steady.last()?.end);
        let pieces = pieces_of(trace, start, end, steady, readback);
        let run = Run { start, end, pieces, button: None, readback: *readback };
        let middle = trace.volts().get(usize::midpoint(start, end)).copied().unwrap_or_default();
        let mut stages = self.stages(Volts::new(middle).unwrap_or_default());
        for stage in &mut stages {
            stage.level = (stage.level.exp() + beside).ln();
        }
        // As in learning, the first stage begins with the feed, and not when the board says.
        stages.first_mut()?.length = None;
        let starts = best(&run, stages.get(first..)?)?;
        let samples = |piece: Option<&Piece>| piece.map_or(end, |piece| piece.start);
        let bounds: Vec<usize> =
            starts.iter().map(|piece| samples(run.pieces.get(*piece))).chain([end]).collect();
        Some(bounds.windows(2).map(|pair| pair[0]..pair[1]).collect())
    }

    /// The stages that the phases describe, at `feed` volts.
    pub(super) fn stages(&self, feed: Volts) -> Vec<Stage> {
        self.phases.iter().map(|phase| stage_of(phase, self.power_factor(phase, feed))).collect()
    }
}

/// The way through the stages that explains the run best: as a sound board, perhaps off its model in all stages alike, or
/// with one stage far off its level besides.
///
/// Without the second a running level of twice the usual would pass for another stage that lasts for ever.
fn best(run: &Run, stages: &[Stage]) -> Option<Vec<usize>> {
    let Alike { starts, cost, stages } = course::align_alike(run, stages)?;
    if (0..stages.len()).all(|k| is_at_level(run, &starts, k, &stages[k])) {
        return Some(starts);
    }
    let mut best = (starts, cost);
    for (k, shift) in (0..stages.len()).flat_map(|k| SHIFTS.map(|shift| (k, shift))) {
        let mut shifted = stages.clone();
        shifted[k].level += shift;
        shifted[k].spread = shifted[k].spread.max(SHIFTED_SPREAD);
        if let Some((starts, cost)) = course::align(run, &shifted)
            && cost + ODDS_OF_SHIFT < best.1
        {
            best = (starts, cost + ODDS_OF_SHIFT);
        }
    }
    Some(best.0)
}

/// Whether the median level of stage `k` is what it should be.
fn is_at_level(run: &Run, starts: &[usize], k: usize, stage: &Stage) -> bool {
    let pieces = &run.pieces[course::stage_range(run, starts, k)];
    let mut levels: Vec<f64> = pieces.iter().map(|piece| piece.level).collect();
    let blur = pieces.iter().map(|piece| piece.blur).fold(0.0, f64::max);
    robust::median(&mut levels).is_none_or(|level| (level - stage.level).abs() <= stage.spread + 2.0 * blur)
}

/// The stage that a phase's envelopes describe.
fn stage_of(phase: &PhaseReference, factor: f64) -> Stage {
    /// An envelope of a well-known quantity is about this many standard deviations wide on each side.
    const HALF_WIDTH: f64 = 3.0;
    // A board that is off its model's level is so in all pieces of the stage: the whole half-width keeps that from
    // counting again with every piece.
    let log = |value: f64| value.max(1e-9).ln();
    let half = |envelope: Envelope| log(envelope.high) - log(envelope.typical);
    let activity = (phase.activity.typical / phase.mean_power.typical.max(1e-9)).min(1.0);
    Stage {
        level: log(phase.mean_power.typical * factor),
        slope: 0.0,
        spread: activity.hypot(half(phase.mean_power)).clamp(course::SMALLEST_SPREAD, 1.0),
        length: phase
            .duration
            .map(|envelope| (log(envelope.typical), (half(envelope) / HALF_WIDTH).clamp(0.1, 1.0))),
    }
}
