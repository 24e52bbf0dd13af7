//! How well a state explains a stretch: plausibility in nats below a perfect fit.
//!
//! Three things are asked: what the pieces of a stay say, each by itself and one after the other (`pieces`), how well the
//! stay as a whole looks like a state of the feed or of a board that is in no stage (`states`), and how well it looks like
//! a stage of the model, broken off or gone through (`stages`). What was not read is left out of durations (`gaps`).

mod gaps;
mod pieces;
mod stages;
mod states;
#[cfg(test)]
mod tests;

use super::super::model::{Model, Stage};
use super::super::piece::Stretch;
use super::super::readout::Readout;
use super::super::run::Run;
use super::State;
use gaps::GapSums;
pub(super) use pieces::SCATTER_ALLOWED;

/// Degrees of freedom of the heavy-tailed (Student) penalty: a board three standard deviations off is a sick board,
/// not an impossible one.
const TAIL: f64 = 4.0;
/// Time scale of the charging of input capacitors and of a hand that plugs in, in seconds: 10 mF at 3 A and 13 V is
/// 43 ms; a readback update may stretch it.
const INRUSH_S: f64 = 0.15;
/// Longest inrush that is looked at, in seconds.
const LONGEST_INRUSH_S: f64 = 0.8;
/// Share of the set volts below which the feed has collapsed: a hard short leaves a few per cent, up to about 15 %.
const COLLAPSED_SHARE: f64 = 0.2;
/// An excursion that fits no stage lasts a second or so, in seconds.
const SURGE_S: f64 = 2.5;
/// A stretch counts for no more than this many independent looks; beyond, the model's own error decides.
const MOST_LOOKS: f64 = 8.0;
/// Busier than usual by this factor is nothing unusual.
const BUSIER: f64 = 1.5;
/// Cost of a stretch that sags all along in a state that knows no sag, in nats.
const SAG_UNEXPLAINED: f64 = 8.0;
/// Below this a path is not followed further, in nats.
pub(super) const HOPELESS: f64 = -60.0;

/// No spread of power about its mean is seen smaller than this share of it.
const LEAST_SPREAD: f64 = 0.03;
/// Nothing lasts shorter than this, in seconds.
const LEAST_DURATION_S: f64 = 1e-3;

/// Scores stretches of one run.
#[derive(Debug, Clone)]
pub(in crate::verdict) struct Scores<'a> {
    pub model: &'a Model,
    pub run: &'a Run,
    pub readout: &'a Readout,
    /// A steady load beside the board's own, taken off every stage, in watts.
    pub leak_w: f64,
    /// [`Readout::update_s`].
    update_s: f64,
    /// Log of [`BUSIER`].
    ln_busier: f64,
    gaps: GapSums,
    scales: Vec<Scale>,
}

/// What is asked of a stage for every stretch, worked out once.
#[derive(Debug, Clone)]
struct Scale {
    ln_watts: f64,
    ln_activity: f64,
    /// Log of its usual duration.
    ln_typical: f64,
    /// Factor from the stage's power beyond which a piece is no part of it.
    wide: f64,
}

/// A stretch, with what every state asks of it worked out once.
#[derive(Debug, Clone)]
pub(in crate::verdict) struct Look<'a> {
    stretch: &'a Stretch,
    uncertainty_w: f64,
    /// Power without the leak, in watts, and its log.
    net_w: f64,
    ln_net: f64,
    /// Log of the spread that was seen, relative to the power.
    ln_seen: f64,
    /// How long it lasted, and what of it was read, in seconds.
    duration: f64,
    read: f64,
    ln_duration: f64,
}

impl std::ops::Deref for Look<'_> {
    type Target = Stretch;

    fn deref(&self) -> &Stretch {
        self.stretch
    }
}

/// Student penalty at `z` standard deviations.
pub(in crate::verdict) fn tail(z: f64) -> f64 {
    -(TAIL + 1.0) / 2.0 * (1.0 + z * z / TAIL).ln()
}

/// Log of the logistic function: soft "at least".
pub(in crate::verdict) fn soft(z: f64) -> f64 {
    if z > 0.0 { -(-z).exp().ln_1p() } else { z - z.exp().ln_1p() }
}

/// Two independent standard deviations together. (The library's `hypot` also minds numbers too large to be squared, and
/// takes several times as long for it.)
fn both(one: f64, other: f64) -> f64 {
    (one * one + other * other).sqrt()
}

impl Scale {
    fn of(stage: &Stage) -> Self {
        Self {
            ln_watts: stage.watts.ln(),
            ln_activity: stage.activity.max(LEAST_SPREAD).ln(),
            ln_typical: stage.duration.map_or(0.0, |span| span.typical.ln()),
            wide: (4.0 * stage.sd).max(2.2).exp(),
        }
    }
}

impl<'a> Scores<'a> {
    /// Scores for `run` of a board as in `model`, beside which `leak_w` watts are drawn.
    pub(in crate::verdict) fn new(model: &'a Model, run: &'a Run, readout: &'a Readout, leak_w: f64) -> Self {
        let scales = model.stages.iter().map(Scale::of).collect();
        Self {
            model,
            run,
            readout,
            leak_w,
            update_s: readout.update_s(),
            ln_busier: BUSIER.ln(),
            gaps: GapSums::of(readout),
            scales,
        }
    }

    /// Looks at a stretch.
    pub(in crate::verdict) fn look<'s>(&self, stretch: &'s Stretch) -> Look<'s> {
        let duration = stretch.duration();
        let net_w = stretch.watts - self.leak_w;
        let watts = net_w.max(1e-9);
        let seen = (stretch.spread_w / watts).max(LEAST_SPREAD);
        let seen = seen.max(self.readout.noise_a * self.run.set_v / watts);
        let updates = duration / self.update_s;
        Look {
            stretch,
            uncertainty_w: self.readout.uncertainty_a(updates) * self.run.set_v.max(1e-3),
            net_w,
            ln_net: watts.ln(),
            ln_seen: seen.ln(),
            duration,
            read: duration - self.gaps.within(stretch),
            ln_duration: duration.max(LEAST_DURATION_S).ln(),
        }
    }

    /// Plausibility of `stretch` as a stay in `state` that ends with another state after it, but for how well its pieces
    /// go together ([`Scores::incoherence`]).
    pub(in crate::verdict) fn score(&self, look: &Look, state: State, first: bool, rested: bool) -> f64 {
        self.too_soon(look, state) + states::edges_only(look, state) + self.fit(look, state, first, rested)
    }

    /// Upper end of standby, a leak included, in watts.
    fn low_top(&self) -> f64 {
        self.model.standby.high
    }

    /// How far a good board's short pulses go above its standby, in watts; they do not go away with a leak beside them.
    fn standby_pulse(&self) -> f64 {
        let standby = &self.model.standby;
        standby.watts.map_or(0.0, |typical| (standby.peak - typical).max(0.0))
    }
}
