//! How well a state explains a stretch: plausibility in nats below a perfect fit.

use super::super::model::{Model, Span, Stage};
use super::super::piece::{Piece, Stretch};
use super::super::readout::Readout;
use super::super::run::Run;
use super::State;

/// Degrees of freedom of the heavy-tailed (Student) penalty: a board three standard deviations off is a sick board,
/// not an impossible one.
const TAIL: f64 = 4.0;
/// Time scale of the charging of input capacitors and of a hand that plugs in, in seconds: 10 mF at 3 A and 13 V is
/// 43 ms; a readback update may stretch it.
const INRUSH_S: f64 = 0.15;
/// Cost of calling it inrush for each further update that still shows the feed collapsed, in nats.
const COLLAPSED_AGAIN: f64 = 4.0;
/// Longest inrush that is looked at, in seconds.
const LONGEST_INRUSH_S: f64 = 0.8;
/// Share of the set volts below which the feed has collapsed: a hard short leaves a few per cent, up to about 15 %.
const COLLAPSED_SHARE: f64 = 0.2;
/// An excursion that fits no stage lasts a second or so, in seconds.
const SURGE_S: f64 = 2.5;
/// A stretch counts for no more than this many independent looks; beyond, the model's own error decides.
const MOST_LOOKS: f64 = 8.0;
/// Time for one independent look at a busy load, in seconds.
const LOOK_S: f64 = 0.5;
/// Most that unusual activity can count against a stage, in nats.
const MOST_ACTIVITY: f64 = 4.0;
/// Cost of a stretch that sags all along in a state that knows no sag, in nats.
const SAG_UNEXPLAINED: f64 = 8.0;
/// A steady load, warm or cold, keeps within this factor of its mean; what goes beyond is another state.
const STEADY: f64 = 1.5;
/// Scatter of the log of power within a steady stage: converters hunt, readback averages over edges.
const LEAST_SCATTER: f64 = 0.08;
/// Scatter of levels that is nothing unusual, as a multiple of the state's own variance.
const SCATTER_ALLOWED: f64 = 2.0;
/// Below this a path is not followed further, in nats.
pub(super) const HOPELESS: f64 = -60.0;

/// Scores stretches of one run.
#[derive(Debug, Clone)]
pub(in super::super) struct Scores<'a> {
    pub model: &'a Model,
    pub run: &'a Run,
    pub readout: &'a Readout,
    /// A steady load beside the board's own, taken off every stage, in watts.
    pub leak_w: f64,
}

/// Student penalty at `z` standard deviations.
pub(in super::super) fn tail(z: f64) -> f64 {
    -(TAIL + 1.0) / 2.0 * (1.0 + z * z / TAIL).ln()
}

/// Log of the logistic function: soft "at least".
pub(in super::super) fn soft(z: f64) -> f64 {
    if z > 0.0 { -(-z).exp().ln_1p() } else { z - z.exp().ln_1p() }
}

impl Scores<'_> {
    /// Uncertainty of the mean power of a stretch, in watts.
    pub(in super::super) fn uncertainty_w(&self, stretch: &Stretch) -> f64 {
        let updates = stretch.duration() / self.readout.update_s();
        self.readout.uncertainty_a(updates) * self.run.set_v.max(1e-3)
    }

    /// Whether `piece` rules `state` out by itself, so that no stretch with it need be looked at.
    pub(super) fn rules_out(&self, piece: &Piece, state: State, so_far: Option<&Stretch>) -> bool {
        // A readback averaged over an edge may show anything for an update or two.
        if piece.duration() <= 2.2 * self.readout.update_s() {
            return false;
        }
        let floor = 3.0 * self.readout.noise_a * self.run.set_v;
        let steps = |before: &Stretch| {
            let ratio = piece.watts / before.watts.max(floor);
            !(1.0 / STEADY..STEADY).contains(&ratio)
        };
        if matches!(state, State::Excess | State::Heavy) && piece.sag < 0.5 && so_far.is_some_and(steps) {
            return true;
        }
        match state {
            State::Inrush => piece.duration() > LONGEST_INRUSH_S,
            State::Nothing => piece.watts > 2.0 * floor + self.low_top(),
            State::Low => piece.watts > 2.0 * self.low_top() + floor,
            State::Excess => piece.watts > 2.0 * self.model.far_below_w + floor,
            State::Surge => piece.watts < 0.5 * self.low_top() || piece.duration() > 4.0 * SURGE_S,
            State::Starved => piece.sag < 0.2 && piece.limit < 0.5,
            State::Heavy => piece.sag < 0.5 && piece.watts < 0.4 * self.model.boot_size_w,
            State::Collapsed => piece.volts > 2.0 * COLLAPSED_SHARE * self.run.set_v,
            State::Done(j) | State::Held(j) => {
                let ratio = (piece.watts - self.leak_w) / self.model.stages[j].watts;
                let wide = (4.0 * self.model.stages[j].sd).max(2.2).exp();
                piece.volts > 0.5 * self.run.set_v && !(1.0 / wide..wide).contains(&ratio)
            }
        }
    }

    /// Upper end of standby, a leak included, in watts.
    fn low_top(&self) -> f64 {
        self.model.standby.high
    }

    /// Plausibility of `stretch` as a stay in `state` that ends with another state after it.
    pub(super) fn score(&self, stretch: &Stretch, state: State, first: bool, rested: bool) -> f64 {
        self.shape(stretch, state, first, rested) + self.coherence(stretch, state)
    }

    /// Whether the levels within the stretch are those of one state: Student penalty a level, on the ratio of their
    /// scatter to the state's own.
    fn coherence(&self, stretch: &Stretch, state: State) -> f64 {
        let own = match state {
            State::Inrush | State::Starved | State::Collapsed => return 0.0,
            State::Nothing | State::Low => 0.5,
            State::Excess | State::Heavy => 0.15,
            State::Surge => 0.6,
            State::Done(j) | State::Held(j) => self.model.stages[j].activity.max(LEAST_SCATTER),
        };
        let excess = (stretch.scatter / (own * own) - SCATTER_ALLOWED).max(0.0);
        -stretch.levels / 2.0 * excess.ln_1p()
    }

    fn shape(&self, stretch: &Stretch, state: State, first: bool, rested: bool) -> f64 {
        match state {
            State::Inrush => self.inrush(stretch),
            State::Nothing => self.nothing(stretch),
            State::Low => self.low(stretch, rested),
            State::Excess => self.excess(stretch),
            State::Surge => self.surge(stretch),
            State::Starved => starved(stretch) + self.open(stretch),
            State::Heavy => self.heavy(stretch),
            State::Collapsed => self.collapsed(stretch),
            State::Done(j) => self.done(stretch, j, first),
            State::Held(j) => self.held(stretch, j),
        }
    }

    fn nothing(&self, stretch: &Stretch) -> f64 {
        let z = stretch.watts / self.uncertainty_w(stretch);
        tail(z) - SAG_UNEXPLAINED * stretch.sag
    }

    fn low(&self, stretch: &Stretch, rested: bool) -> f64 {
        let standby = &self.model.standby;
        let u = self.uncertainty_w(stretch);
        let sag = SAG_UNEXPLAINED * stretch.sag;
        let Some(typical) = standby.watts else {
            let over = (stretch.watts.max(1e-6) / standby.high).ln() / standby.sd;
            let nothing = if rested { 0.0 } else { soft((stretch.watts / u - 2.0) * 2.0) };
            return tail(over.max(0.0)) + nothing - sag;
        };
        let z = (stretch.watts - typical) / u.hypot(standby.sd * typical);
        // After an attempt a board rests at standby or at less.
        tail(if rested { z.max(0.0) } else { z }) - sag
    }

    fn excess(&self, stretch: &Stretch) -> f64 {
        let standby = &self.model.standby;
        if standby.watts.is_none() {
            return HOPELESS;
        }
        let u = self.uncertainty_w(stretch);
        let above = (stretch.watts - standby.high) / (u + standby.sd * standby.high);
        let below = (self.model.far_below_w / stretch.watts.max(1e-9)).ln() / 0.2;
        let unsteady = (stretch.spread_w / stretch.watts.max(u)) / 0.4;
        soft(2.0 * above) + soft(below + 1.0) + tail(unsteady.max(1.0) - 1.0) - SAG_UNEXPLAINED * stretch.sag
    }

    fn surge(&self, stretch: &Stretch) -> f64 {
        let over = (stretch.watts.max(1e-9) / self.low_top().max(self.uncertainty_w(stretch))).ln() / 0.3;
        let long = (stretch.duration() / SURGE_S - 1.0).max(0.0);
        soft(over) - 2.0 * long
    }

    fn heavy(&self, stretch: &Stretch) -> f64 {
        let size = (stretch.watts.max(1e-9) / self.model.boot_size_w).ln() / 0.2;
        let unsteady = (stretch.spread_w / stretch.watts.max(1e-9)) / 0.15;
        // In limit the load wants more than it gets: its size is not in doubt.
        let size = if stretch.limit > 0.8 || stretch.sag > 0.8 { 0.0 } else { soft(size) };
        size + self.open(stretch) + tail(unsteady.max(1.0) - 1.0) + self.lasting(stretch)
    }

    /// Evidence that the feed has not collapsed.
    fn open(&self, stretch: &Stretch) -> f64 {
        soft((stretch.volts / (COLLAPSED_SHARE * self.run.set_v)).max(1e-3).ln() / 0.15)
    }

    fn inrush(&self, stretch: &Stretch) -> f64 {
        if stretch.duration() > LONGEST_INRUSH_S {
            return HOPELESS;
        }
        // Capacitors charge within one update; a feed that is still collapsed at the next one is more likely a short.
        let updates = stretch.duration() / self.readout.update_s() + 1.0;
        let collapsed = stretch.volts < COLLAPSED_SHARE * self.run.set_v;
        let still = if collapsed { (updates - 1.5).max(0.0) * COLLAPSED_AGAIN } else { 0.0 };
        -stretch.duration() / INRUSH_S * 0.5 - still
    }

    fn collapsed(&self, stretch: &Stretch) -> f64 {
        let shut = -(stretch.volts / (COLLAPSED_SHARE * self.run.set_v)).max(1e-3).ln() / 0.15;
        soft(shut) + self.lasting(stretch)
    }

    /// A load that is there for two updates or more is no inrush.
    fn lasting(&self, stretch: &Stretch) -> f64 {
        let least = (2.0 * self.readout.update_s()).max(INRUSH_S);
        let seen = stretch.duration() + self.readout.update_s();
        soft((seen / least).ln() / 0.2 + 1.0)
    }

    fn done(&self, stretch: &Stretch, j: usize, first: bool) -> f64 {
        let stage = &self.model.stages[j];
        let cut_in = first && !self.run.switch_on_seen;
        let duration = match stage.duration {
            Some(span) if cut_in => tail(self.late(stretch, &span).max(0.0)),
            Some(span) => tail(self.late(stretch, &span)),
            None => 0.0,
        };
        self.stage(stretch, stage) + duration
    }

    fn held(&self, stretch: &Stretch, j: usize) -> f64 {
        let stage = &self.model.stages[j];
        let overdue = stage.duration.map_or(0.0, |span| tail(self.late(stretch, &span).max(0.0)).max(-6.0));
        self.stage(stretch, stage) + overdue
    }

    /// How much longer than usual the stretch lasts, in standard deviations of the log.
    pub(in super::super) fn late(&self, stretch: &Stretch, span: &Span) -> f64 {
        let edge = self.readout.update_s() / span.typical;
        (stretch.duration().max(1e-3) / span.typical).ln() / span.sd.hypot(edge.min(2.0))
    }

    /// Level and sag of a stretch as a stay in `stage`, and its activity.
    fn stage(&self, stretch: &Stretch, stage: &Stage) -> f64 {
        self.level(stretch, stage) + self.activity(stretch, stage) - SAG_UNEXPLAINED * stretch.sag
    }

    fn level(&self, stretch: &Stretch, stage: &Stage) -> f64 {
        let watts = stretch.watts - self.leak_w;
        if watts <= 0.0 {
            return HOPELESS;
        }
        let u = self.uncertainty_w(stretch) / watts;
        // A short stay in a busy stage samples its ups and downs.
        let looks = (stretch.duration() / LOOK_S).clamp(0.5, MOST_LOOKS);
        let sampled = stage.activity / looks.sqrt();
        tail((watts / stage.watts).ln() / stage.sd.hypot(u).hypot(sampled))
    }

    /// Gaussian likelihood ratio of the spread that was seen against the one expected, softened: loads are not
    /// Gaussian.
    pub(in super::super) fn activity(&self, stretch: &Stretch, stage: &Stage) -> f64 {
        const SOFTEN: f64 = 0.35;
        let watts = (stretch.watts - self.leak_w).max(1e-9);
        let seen = (stretch.spread_w / watts).max(0.03).max(self.readout.noise_a * self.run.set_v / watts);
        let expected = stage.activity.max(0.03);
        let looks = (stretch.duration() / LOOK_S).min(MOST_LOOKS);
        let ratio = seen / expected;
        let gap = if ratio < 1.0 { -ratio.ln() + ratio * ratio / 2.0 - 0.5 } else { 0.0 };
        -(SOFTEN * looks * gap).min(MOST_ACTIVITY)
    }
}

/// A stretch of which most sags, or sits in limit, is explained; the rest is averaging over edges.
fn starved(stretch: &Stretch) -> f64 {
    (stretch.sag.max(stretch.limit) - 1.0) * SAG_UNEXPLAINED
}
