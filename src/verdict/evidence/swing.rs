//! How lively the load of a board is that hangs, beside good boards in that stage.

use crate::reference::{Quantity, Readback, measure};
use crate::stats::moments::Moments;
use crate::units::range;
use crate::verdict::align::Step;
use crate::verdict::phases::without_zero;
use crate::verdict::piece::RAMP_S;
use crate::verdict::seen::Seen;
use std::ops::Range;

/// How lively the load of a board is that hangs, beside good boards in that stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::verdict) enum Liveliness {
    Flat,
    /// As little as a good board's may be, and far less than theirs usually is.
    Calm,
    Usual,
    Lively,
}

/// How far the load swings in the stage that the log ends in, in watts, beside what good boards' does.
struct Swing {
    /// As the reference measures it: what most readings stay within.
    usual: f64,
    /// With every reading: a load that goes between two levels is not flat.
    plain: f64,
    low: f64,
    typical: f64,
    high: f64,
    /// Its highest reading, of a load that is in bursts far above that for some of the time.
    bursts_to: Option<f64>,
    /// The highest readings of good boards: the usual one, and the most.
    good_peak: f64,
    good_most: f64,
    /// Whether what moves in the stage is mostly its ramp, which a board that hangs at its end has behind it.
    ramp: bool,
}

/// Steps of the readback up to which a median of deviations says more of the steps than of the load: two (by judgement), each
/// 1.4826 standard deviations where it is the median of normal ones (1 / Φ⁻¹(3/4)).
const MEDIAN_STEPS: f64 = 2.0 * 1.4826;

impl Swing {
    fn of(seen: &Seen, last: &Step) -> Option<Self> {
        let stage = &seen.analysis.model.stages[last.state.stage()?];
        let (phase, factor) = seen.reference_at(&stage.name)?;
        let pieces = &seen.analysis.pieces;
        let samples = pieces.get(last.from)?.samples.start..pieces.get(last.to - 1)?.samples.end;
        let steady: Vec<_> = pieces.iter().map(|piece| piece.samples.clone()).collect();
        let readback = Readback::of(seen.trace, seen.readout.step_a, &steady);
        let measured = measure(seen.trace, samples.clone(), &phase.name, false, &readback)?;
        let envelope = phase.envelope(Quantity::Activity)?;
        let read = watts_inside(seen, samples)?;
        let moments: Moments = read.iter().copied().collect();
        Some(Self {
            usual: measured.activity,
            plain: moments.deviation()?,
            bursts_to: bursts_to(&moments, measured.activity, &read),
            good_peak: under_limit(seen, last, phase.peak_power.typical * factor),
            good_most: under_limit(seen, last, phase.peak_power.high * factor),
            low: envelope.low * factor,
            typical: envelope.typical * factor,
            high: envelope.high * factor,
            ramp: stage.duration.is_some_and(|duration| duration.typical < RAMP_S),
        })
    }

    /// Whether it says how lively the load is: not where good boards may be flat as well, or flatter than the supply reads, nor
    /// where they are on a ramp.
    fn tells(&self, seen: &Seen) -> bool {
        self.low > seen.readout.step_a * seen.analysis.run.set_v && !self.ramp
    }

    /// Whether what most readings stay within is one or two steps of the readback: a median of steps is a whole one, however
    /// far the load swings.
    fn is_of_steps(&self, seen: &Seen, volts: f64) -> bool {
        self.usual < MEDIAN_STEPS * seen.readout.step_a * volts && self.plain < self.usual
    }

    fn liveliness(&self) -> Liveliness {
        /// Share of what is usual below which a load that hangs is no work that goes on (by judgement).
        const CALM: f64 = 0.4;
        let swings = self.usual.max(self.plain);
        if swings < self.low {
            Liveliness::Flat
        } else if swings < CALM * self.typical {
            Liveliness::Calm
        } else if self.usual > self.high {
            Liveliness::Lively
        } else {
            Liveliness::Usual
        }
    }
}

/// What may be read of a peak of so many watts under the limit of this log.
fn under_limit(seen: &Seen, last: &Step, watts: f64) -> f64 {
    seen.analysis.run.limit_a.map_or(watts, |limit| watts.min(limit * last.stretch.volts))
}

/// The power over `samples`, without the seconds in which they begin and end.
fn watts_inside(seen: &Seen, samples: Range<usize>) -> Option<Vec<f64>> {
    const EDGE_S: f64 = 1.0;
    let time = seen.trace.time();
    let (from, last) = (*time.get(samples.start)? + EDGE_S, *time.get(samples.end - 1)?);
    // A log that ends in it has no edge there.
    let to = if samples.end >= seen.analysis.run.samples.end { last } else { last - EDGE_S };
    let inside = samples.filter(|i| (from..=to).contains(&time[*i]));
    let watts = |i: usize| seen.trace.volts()[i] * without_zero(seen.trace.amps()[i], seen.readout.zero_a);
    Some(inside.map(watts).collect())
}

/// The highest reading of a load that stays within `usual` for most of the time, and is far above it for the rest: of that
/// the spread of most readings says nothing.
fn bursts_to(moments: &Moments, usual: f64, watts: &[f64]) -> Option<f64> {
    /// Times the spread of most readings that the spread of all is (by judgement).
    const SPREAD: f64 = 1.5;
    /// Standard deviations above the mean of all that no noise goes to.
    const SDS: f64 = 3.0;
    let highest = watts.iter().copied().max_by(f64::total_cmp)?;
    let bursts = moments.deviation()? > SPREAD * usual && highest > moments.mean()? + SDS * usual;
    bursts.then_some(highest)
}

/// Whether a stalled board's load is flat where good boards' swings; `None` where that cannot be told.
pub(in crate::verdict) fn liveliness(seen: &Seen, last: &Step) -> Option<Liveliness> {
    Swing::of(seen, last).filter(|swing| swing.tells(seen)).map(|swing| swing.liveliness())
}

/// How far the load swings where the board hangs, beside good boards.
pub(super) struct Activity {
    pub words: String,
    /// Whether it says of the board that it works on or hangs.
    pub is_evidence: bool,
}

pub(super) fn activity(seen: &Seen, last: &Step) -> Option<Activity> {
    // Beside a ramp only what swings as far is worth a word.
    let swing = Swing::of(seen, last).filter(|swing| !swing.ramp || swing.usual >= swing.typical)?;
    let volts = last.stretch.volts.max(1e-3);
    let amps = |watts: f64| seen.reference_amps(watts / volts);
    let is_flat = swing.usual < swing.low;
    let shown = if is_flat || swing.is_of_steps(seen, volts) { swing.plain } else { swing.usual };
    let own = seen.amps((shown / volts).max(seen.readout.step_a / 4.0));
    let bursts = swing.bursts_to.filter(|_| !is_flat).map(|watts| seen.amps(watts / volts));
    let own = match &bursts {
        Some(top) => format!("mostly by {own} either way, with bursts to {top}"),
        None => format!("typically by {own} either way"),
    };
    // Like is held against like: what most readings stay within, and the highest of them.
    let peaks = bursts.map_or_else(String::new, |_| {
        let [peak, most] = [swing.good_peak, swing.good_most].map(amps);
        format!(", their highest reading usually {peak}, at most {most}")
    });
    if !swing.tells(seen) {
        // The envelope of a stage that is mostly ramp goes further than any of its readings.
        let up_to = Some(swing.high).filter(|high| *high < swing.good_most);
        let up_to = up_to.map_or_else(String::new, |high| format!(", at most by {}", amps(high)));
        let good = format!("{}{up_to}", amps(swing.typical));
        let words = format!("the current swings {own}; good boards' by {good}{peaks}");
        return Some(Activity { words, is_evidence: false });
    }
    let band = range(&amps(swing.low), &amps(swing.high));
    let good = format!("{} ({band}){peaks}", amps(swing.typical));
    let numbers = format!("{own}; good boards' by {good}");
    let higher = swing.bursts_to.is_some_and(|top| top > swing.good_most);
    let words = match swing.liveliness() {
        Liveliness::Flat => format!("the current is flat where good boards' swings by {good}: {own}"),
        Liveliness::Calm => {
            format!("the current is much calmer there than most good boards': {numbers}")
        }
        Liveliness::Usual if !higher => format!("the current swings as good boards' does there: {numbers}"),
        _ => format!("the current swings more than good boards' does there: {numbers}"),
    };
    Some(Activity { words, is_evidence: true })
}
