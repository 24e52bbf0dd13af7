//! How well a state explains a stretch: plausibility in nats below a perfect fit.

use super::super::model::{Model, Stage};
use super::super::piece::{LOOK_S, Piece, Stretch};
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
/// Busier than usual by this factor is nothing unusual.
const BUSIER: f64 = 1.5;
/// Most that unusual activity can count against a stage, in nats.
const MOST_ACTIVITY: f64 = 4.0;
/// Cost of a stretch that sags all along in a state that knows no sag, in nats.
const SAG_UNEXPLAINED: f64 = 8.0;
/// Cost of every look at a starved feed that shows neither sag nor limit, in nats.
const NO_SAG: f64 = -1.0;
/// ... and at a collapsed feed that is up.
const NO_COLLAPSE: f64 = -2.0;
/// A steady load, warm or cold, keeps within this factor of its mean; what goes beyond is another state.
const STEADY: f64 = 1.5;
/// Scatter of the log of power within a steady stage: converters hunt, readback averages over edges.
const LEAST_SCATTER: f64 = 0.08;
/// Scatter of levels that is nothing unusual, in the state's own standard deviations.
const SCATTER_ALLOWED: f64 = 1.2;
/// What is steady for longer than this has a level of its own: a busy load wanders in a few seconds.
const LONG_LOOK_S: f64 = 6.0;
/// What is shorter is a pulse of the stage, as its peak in the reference shows them, in seconds.
const PULSE_S: f64 = 1.0;
/// Noise of one reading goes no further than this, in standard deviations.
const NOISE_PULSE: f64 = 3.0;
/// A pulse of a single update may be half an edge, but it is half a pulse too.
const LEAST_PULSE: f64 = 0.5;
/// Below this a path is not followed further, in nats.
pub(super) const HOPELESS: f64 = -60.0;

/// No spread of power about its mean is seen smaller than this share of it.
const LEAST_SPREAD: f64 = 0.03;
/// Nothing lasts shorter than this, in seconds.
const LEAST_DURATION_S: f64 = 1e-3;
/// A board that was fed a moment ago has not tried and given up yet, in nats.
const TOO_SOON: f64 = -5.0;
/// Standard deviation of the log of the first stage's power, as the bound of what is a fall back.
const FALLEN_SD: f64 = 0.15;

/// A running board that is busy for longer than a moment, in nats.
const BUSY_LONG: f64 = 2.0;

/// Scores stretches of one run.
#[derive(Debug, Clone)]
pub(in super::super) struct Scores<'a> {
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
pub(in super::super) struct Look<'a> {
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
pub(in super::super) fn tail(z: f64) -> f64 {
    -(TAIL + 1.0) / 2.0 * (1.0 + z * z / TAIL).ln()
}

/// Log of the logistic function: soft "at least".
pub(in super::super) fn soft(z: f64) -> f64 {
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
    pub(in super::super) fn new(model: &'a Model, run: &'a Run, readout: &'a Readout, leak_w: f64) -> Self {
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
    pub(in super::super) fn look<'s>(&self, stretch: &'s Stretch) -> Look<'s> {
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

    /// Whether `piece` rules `state` out by itself, so that no stretch with it need be looked at.
    pub(super) fn rules_out(&self, piece: &Piece, state: State, so_far: Option<&Stretch>) -> bool {
        // A readback averaged over an edge may show anything for an update or two.
        if piece.duration() <= 2.2 * self.update_s {
            return false;
        }
        let floor = 3.0 * self.readout.noise_a * self.run.set_v;
        let steps = |before: &Stretch| {
            let pulse = if piece.duration() < PULSE_S { self.standby_pulse() } else { 0.0 };
            let above = (piece.watts - pulse).max(before.watts.min(piece.watts));
            let ratio = above / before.watts.max(floor);
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
            State::Surge | State::Burst => {
                piece.watts < 0.5 * self.low_top() || piece.duration() > 4.0 * SURGE_S
            }
            State::Starved => piece.sag < 0.2 && piece.limit < 0.5,
            State::Heavy => piece.sag < 0.5 && piece.watts < 0.4 * self.model.boot_size_w,
            State::Collapsed => piece.volts > 2.0 * COLLAPSED_SHARE * self.run.set_v,
            State::Done(j) | State::Held(j) => {
                let ratio = (piece.watts - self.leak_w) / self.model.stages[j].watts;
                let wide = self.scales[j].wide;
                piece.volts > 0.5 * self.run.set_v && !(1.0 / wide..wide).contains(&ratio)
            }
        }
    }

    /// Upper end of standby, a leak included, in watts.
    fn low_top(&self) -> f64 {
        self.model.standby.high
    }

    /// Plausibility of `stretch` as a stay in `state` that ends with another state after it, but for how well its pieces
    /// go together ([`Scores::incoherence`]).
    pub(in super::super) fn score(&self, look: &Look, state: State, first: bool, rested: bool) -> f64 {
        self.shape(look, state, first, rested)
    }

    /// How far a good board's short pulses go above its standby, in watts; they do not go away with a leak beside them.
    fn standby_pulse(&self) -> f64 {
        let standby = &self.model.standby;
        standby.watts.map_or(0.0, |typical| (standby.peak - typical).max(0.0))
    }

    /// What `piece` says against standby, or against nothing drawn at all: a pulse beyond what good boards do while they
    /// wait is an attempt to start. Student penalty in nats, for as much of it as counts as a level of its own.
    pub(super) fn pulse(&self, piece: &Piece, state: State) -> f64 {
        let standby = &self.model.standby;
        let u = self.readout.noise_a.max(self.readout.uncertainty_a(1.0)) * self.run.set_v;
        let over = match state {
            State::Low => (piece.watts - standby.peak) / both(u, standby.sd * standby.peak),
            State::Nothing => piece.watts / u - NOISE_PULSE,
            _ => return 0.0,
        };
        if piece.is_edge() { 0.0 } else { piece.weight().max(LEAST_PULSE) * tail(over.max(0.0)) }
    }

    /// What `piece` says against going on from `so_far` in the same state: Student penalty in nats on how far its level
    /// lies from that of the stay so far, beyond what the state's own ups and downs explain, for every independent look.
    pub(super) fn incoherence(&self, piece: &Piece, so_far: &Stretch, state: State) -> f64 {
        let (own, headroom) = match state {
            // What a board at rest draws may sink slowly; what it must not do, `pulse` says, if standby is known.
            State::Low if self.model.standby.watts.is_none() && piece.level() > so_far.level => (0.5, 0.0),
            State::Starved => return NO_SAG * piece.looks() * (1.0 - piece.sag.max(piece.limit)),
            State::Collapsed if piece.volts > 2.0 * COLLAPSED_SHARE * self.run.set_v => {
                return NO_COLLAPSE * piece.looks();
            }
            State::Inrush | State::Collapsed | State::Nothing | State::Low => return 0.0,
            State::Excess => (0.15, (self.standby_pulse() / so_far.watts.max(1e-9)).max(0.0).ln_1p()),
            State::Heavy => (0.15, 0.0),
            State::Surge | State::Burst => (0.6, 0.0),
            State::Done(j) | State::Held(j) => {
                let expected = &self.model.stages[j];
                (expected.activity.max(LEAST_SCATTER), expected.headroom)
            }
        };
        let own = if self.beyond_its_ramp(so_far, state) { own / 2.0 } else { own };
        let looks = piece.looks();
        let read_sd = self.readout.noise_a * self.run.set_v / piece.above_floor().max(1e-9);
        let above = piece.level() - so_far.level;
        let is_pulse = above > 0.0 && piece.duration() < PULSE_S;
        let allowed = if is_pulse { headroom } else { 0.0 };
        // A long look sees the middle of the state's ups and downs; what differs then is another level.
        let own = if piece.duration() > LONG_LOOK_S { own / 2.0 } else { own }.max(LEAST_SCATTER);
        let off = (above.abs() - allowed).max(0.0) / both(own, read_sd);
        let share = if is_pulse && self.runs(state) { (MOST_LOOKS / so_far.levels).min(1.0) } else { 1.0 };
        // One edge does not make a level to compare with.
        share * piece.weight().min(so_far.levels) * looks * tail((off - SCATTER_ALLOWED).max(0.0))
    }

    /// Whether a board of this model is at its running level. What it does there once in a long while, the captures of
    /// the reference were too short to see, so that a short pulse in a long stay counts for no more than its share.
    fn runs(&self, state: State) -> bool {
        self.model.of_this_board && state.stage() == Some(self.model.last())
    }

    /// What speaks against going from one stage to another where the level moves by `step`, as a log: a board that is off
    /// its model's levels is so in one stage as in the next, and its step is still to be seen.
    pub(super) fn unmoved(&self, from: State, to: State, step: f64) -> f64 {
        /// Levels that are no further apart than this may lie together on a sick board, as a log.
        const APART: f64 = 0.15;
        /// Share of the usual step from which it is one.
        const SEEN: f64 = 0.25;
        /// In nats.
        const UNSEEN: f64 = -1.5;
        let (Some(from), Some(to)) = (from.stage(), to.stage()) else { return 0.0 };
        let usual = (self.model.stages[to].watts / self.model.stages[from].watts).ln();
        if usual.abs() > APART && step / usual < SEEN { UNSEEN } else { 0.0 }
    }

    /// Whether `so_far` has lasted longer than a short stage does: what moves in a stage of a few looks is its ramp, and a
    /// board that is stuck in it has come to one point of that.
    fn beyond_its_ramp(&self, so_far: &Stretch, state: State) -> bool {
        /// Length of a stage that is mostly ramp, in seconds.
        const RAMP_S: f64 = 4.0 * LOOK_S;
        let span = state.stage().and_then(|stage| self.model.stages[stage].duration);
        span.is_some_and(|span| span.typical < RAMP_S && so_far.duration() > span.high)
    }

    /// What `piece` says against being in the midst of a stay in `state`: a reading averages over the time since the last
    /// one, so that a short piece at an edge may show anything between two levels; but one at standby shows that the
    /// board was back there, however short, for as long as the reading took. Student penalty in nats.
    pub(super) fn back_in_between(&self, piece: &Piece, state: State) -> f64 {
        /// Only of a stage this far above standby is a dip to standby more than its own ups and downs.
        const FAR_ABOVE: f64 = 2.0;
        /// Standard deviation of the log of what a stage never goes below.
        const FLOOR_SD: f64 = 0.2;
        let Some(awake) = state.stage().map(|index| &self.model.stages[index]) else { return 0.0 };
        let noise = self.readout.noise_a * self.run.set_v;
        let (watts, low) = (piece.watts - self.leak_w, self.low_top() + noise);
        if watts > low || awake.watts < FAR_ABOVE * low {
            return 0.0;
        }
        let off = (awake.watts / watts.max(noise).max(1e-9)).ln() / awake.sd.hypot(FLOOR_SD);
        piece.looks() * tail(off)
    }

    fn shape(&self, look: &Look, state: State, first: bool, rested: bool) -> f64 {
        self.too_soon(look, state, first) + edges_only(look, state) + self.fit(look, state, first, rested)
    }

    /// What speaks against calling the first moment after switch-on a start that was given up: capacitors charge then.
    fn too_soon(&self, look: &Look, state: State, first: bool) -> f64 {
        let given_up = matches!(state, State::Held(_) | State::Surge | State::Burst);
        let moment = (2.0 * self.readout.update_s()).max(INRUSH_S);
        if first && given_up && self.run.switch_on_seen && look.duration <= moment { TOO_SOON } else { 0.0 }
    }

    fn fit(&self, look: &Look, state: State, first: bool, rested: bool) -> f64 {
        match state {
            State::Inrush => self.inrush(look),
            State::Nothing => Self::nothing(look),
            State::Low => self.low(look, rested),
            State::Excess => self.excess(look, rested),
            State::Surge => self.surge(look),
            State::Burst => self.burst(look),
            State::Starved => starved(look) + self.open(look),
            State::Heavy => self.heavy(look),
            State::Collapsed => self.collapsed(look),
            State::Done(j) => self.done(look, j, first),
            State::Held(j) => self.held(look, j),
        }
    }

    fn nothing(look: &Look) -> f64 {
        let z = look.watts / look.uncertainty_w;
        tail(z) - SAG_UNEXPLAINED * look.sag
    }

    fn low(&self, look: &Look, rested: bool) -> f64 {
        let standby = &self.model.standby;
        let u = look.uncertainty_w;
        let sag = SAG_UNEXPLAINED * look.sag;
        let Some(typical) = standby.watts else {
            let over = (look.watts.max(1e-6) / standby.high).ln() / standby.sd;
            let nothing = if rested { 0.0 } else { soft((look.watts / u - 2.0) * 2.0) };
            return tail(over.max(0.0)) + nothing - sag;
        };
        let z = (look.watts - typical) / both(u, standby.sd * typical);
        // After an attempt a board rests at standby or at less.
        tail(if rested { z.max(0.0) } else { z }) - sag
    }

    fn excess(&self, look: &Look, rested: bool) -> f64 {
        let standby = &self.model.standby;
        if standby.watts.is_none() {
            return HOPELESS;
        }
        // What a board falls back to after an attempt is less than what it draws once awake.
        let awake = self.model.stages.first().map_or(f64::INFINITY, |stage| stage.watts + self.leak_w);
        let fallen = if rested { tail(((look.watts / awake).ln() / FALLEN_SD).max(0.0)) } else { 0.0 };
        let u = look.uncertainty_w;
        let above = (look.watts - standby.high) / (u + standby.sd * standby.high);
        let below = (self.model.far_below_w / look.watts.max(1e-9)).ln() / 0.2;
        let unsteady = (look.spread_w / look.watts.max(u)) / 0.4;
        soft(2.0 * above) + soft(below + 1.0) + self.lasting(look) + tail(unsteady.max(1.0) - 1.0) + fallen
            - SAG_UNEXPLAINED * look.sag
    }

    fn surge(&self, look: &Look) -> f64 {
        let over = (look.watts.max(1e-9) / self.low_top().max(look.uncertainty_w)).ln() / 0.3;
        let long = (look.duration / SURGE_S - 1.0).max(0.0);
        soft(over) - 2.0 * long
    }

    /// A running board gets busy: for a moment with anything, for longer as in the stage before.
    fn burst(&self, look: &Look) -> f64 {
        let short = self.surge(look);
        let before = self.model.last().checked_sub(1);
        let busy = before.map_or(short, |stage| {
            let late = self.late(look, stage).unwrap_or(0.0);
            short.max(self.stage(look, stage) + tail(late.max(0.0)) - BUSY_LONG)
        });
        busy + self.not_below_running(look)
    }

    /// Busy is more than the running level, or no less.
    fn not_below_running(&self, look: &Look) -> f64 {
        let running = self.model.stages[self.model.last()].watts + self.leak_w;
        tail(((running / look.watts.max(1e-9)).ln() / self.model.stages[self.model.last()].sd).max(0.0))
    }

    fn heavy(&self, look: &Look) -> f64 {
        let size = (look.watts.max(1e-9) / self.model.boot_size_w).ln() / 0.2;
        let unsteady = (look.spread_w / look.watts.max(1e-9)) / 0.15;
        // In limit the load wants more than it gets: its size is not in doubt.
        let size = if look.limit > 0.8 || look.sag > 0.8 { 0.0 } else { soft(size) };
        size + self.open(look) + tail(unsteady.max(1.0) - 1.0) + self.lasting(look)
    }

    /// Evidence that the feed has not collapsed.
    fn open(&self, look: &Look) -> f64 {
        soft((look.volts / (COLLAPSED_SHARE * self.run.set_v)).max(1e-3).ln() / 0.15)
    }

    fn inrush(&self, look: &Look) -> f64 {
        if look.duration > LONGEST_INRUSH_S {
            return HOPELESS;
        }
        // Capacitors charge within one update; a feed that is still collapsed at the next one is more likely a short.
        let updates = look.duration / self.update_s + 1.0;
        let collapsed = look.volts < COLLAPSED_SHARE * self.run.set_v;
        let still = if collapsed { (updates - 1.5).max(0.0) * COLLAPSED_AGAIN } else { 0.0 };
        -look.duration / INRUSH_S * 0.5 - still
    }

    fn collapsed(&self, look: &Look) -> f64 {
        let shut = -(look.volts / (COLLAPSED_SHARE * self.run.set_v)).max(1e-3).ln() / 0.15;
        soft(shut) + self.lasting(look)
    }

    /// A load that is there for two updates or more is no inrush.
    fn lasting(&self, look: &Look) -> f64 {
        let least = (2.0 * self.update_s).max(INRUSH_S);
        let seen = look.duration + self.update_s;
        soft((seen / least).ln() / 0.2 + 1.0)
    }

    /// A stay in stage `j` that the log's end cuts off, leaving open whether the board is stuck there or going on: only
    /// what both have in common.
    pub(super) fn cut_off(&self, look: &Look, j: usize) -> f64 {
        /// What has begun with the last readings, in renewals, may be the end of what was before ...
        const JUST: f64 = 2.2;
        /// ... which it costs to call a stage, in nats.
        const JUST_BEGUN: f64 = 2.0;
        let just_begun = if look.duration <= JUST * self.update_s { JUST_BEGUN } else { 0.0 };
        self.level(look, j) - SAG_UNEXPLAINED * look.sag - just_begun
    }

    fn done(&self, look: &Look, j: usize, first: bool) -> f64 {
        let cut_in = first && !self.run.switch_on_seen;
        let duration = match self.late(look, j) {
            Some(late) if cut_in => tail(late.max(0.0)),
            Some(late) => tail(late),
            None => 0.0,
        };
        self.stage(look, j) + duration
    }

    fn held(&self, look: &Look, j: usize) -> f64 {
        let overdue = self.late(look, j).map_or(0.0, |late| tail(late.max(0.0)).max(-6.0));
        self.stage(look, j) + overdue
    }

    /// How much longer than usual the stretch lasts as stage `j`, in standard deviations of the log; `None` where the
    /// stage has no end of its own.
    pub(in super::super) fn late(&self, look: &Look, j: usize) -> Option<f64> {
        let span = self.model.stages[j].duration?;
        // A stage may have ended anywhere in a gap; it is only late by what was read of it.
        let ln_lasted = if look.read >= look.duration {
            look.ln_duration
        } else {
            span.typical.clamp(look.read, look.duration).max(LEAST_DURATION_S).ln()
        };
        let edge = (self.update_s / span.typical).min(2.0);
        Some((ln_lasted - self.scales[j].ln_typical) / both(span.sd, edge))
    }

    /// Level and sag of a stretch as a stay in stage `j`, and its activity.
    fn stage(&self, look: &Look, j: usize) -> f64 {
        self.level(look, j) + self.activity(look, j) - SAG_UNEXPLAINED * look.sag
    }

    /// What the level of a stuck board is held less against it: it stops at some point of stage `j`, whose mean is not
    /// what that point draws.
    pub(in super::super) fn stuck_level(&self, look: &Look, j: usize) -> f64 {
        /// Standard deviation of the log of the power between points of one stage (common practice, no source).
        const POINT_SD: f64 = 0.25;
        let sd = self.model.stages[j].sd;
        let wide = both(sd, POINT_SD);
        let narrower = (wide / sd).ln() / 2.0;
        (self.level_within(look, j, wide) - self.level(look, j) - narrower).max(0.0)
    }

    fn level(&self, look: &Look, j: usize) -> f64 {
        self.level_within(look, j, self.model.stages[j].sd)
    }

    /// The level as that of stage `j`, whose log scatters by `sd` from board to board.
    fn level_within(&self, look: &Look, j: usize, sd: f64) -> f64 {
        if look.net_w <= 0.0 {
            return HOPELESS;
        }
        let u = look.uncertainty_w / look.net_w;
        // A short stay in a busy stage samples its ups and downs.
        let looks = (look.duration / LOOK_S).clamp(0.5, MOST_LOOKS);
        let sampled = self.model.stages[j].activity.powi(2) / looks;
        tail((look.ln_net - self.scales[j].ln_watts) / (sd * sd + u * u + sampled).sqrt())
    }

    /// Gaussian likelihood ratio of the spread that was seen against the one expected of stage `j`, softened: loads are
    /// not Gaussian.
    pub(in super::super) fn activity(&self, look: &Look, j: usize) -> f64 {
        const SOFTEN: f64 = 0.35;
        let looks = (look.duration / LOOK_S).min(MOST_LOOKS);
        let ln_ratio = look.ln_seen - self.scales[j].ln_activity;
        // Too calm, by the Gaussian likelihood; too busy, with a heavy tail, for a single burst makes it so.
        let gap = if ln_ratio < 0.0 {
            -ln_ratio + (2.0 * ln_ratio).exp() / 2.0 - 0.5
        } else {
            (ln_ratio - self.ln_busier).max(0.0)
        };
        -(SOFTEN * looks * gap).min(MOST_ACTIVITY)
    }
}

/// What speaks against a stay of which nothing was seen but averages over its edges: a short stage may pass so on the
/// way up, but an excursion or a rest that nobody saw is none.
fn edges_only(look: &Look, state: State) -> f64 {
    /// Less than any piece with a level of its own makes up.
    const NO_LEVEL: f64 = 0.01;
    /// In nats.
    const UNSEEN: f64 = -3.0;
    let seen = matches!(state, State::Inrush | State::Starved | State::Collapsed | State::Done(_));
    if seen || look.levels > NO_LEVEL { 0.0 } else { UNSEEN }
}

/// A stretch of which most sags, or sits in limit, is explained; the rest is averaging over edges.
fn starved(look: &Look) -> f64 {
    (look.sag.max(look.limit) - 1.0) * SAG_UNEXPLAINED
}

/// Running sums of the gaps, so that those within any stretch are had at once.
#[derive(Debug, Clone)]
struct GapSums {
    /// Start and end of each gap in order, and the seconds of the gaps before it.
    gaps: Vec<(f64, f64, f64)>,
}

impl GapSums {
    fn of(readout: &Readout) -> Self {
        let gaps = readout.gaps.iter().map(|gap| (gap.start_s.value(), gap.end_s.value()));
        let summed = gaps.scan(0.0, |sum, (start, end)| {
            let before = *sum;
            *sum += end - start;
            Some((start, end, before))
        });
        Self { gaps: summed.collect() }
    }

    /// Seconds of gaps before `time`.
    fn before(&self, time: f64) -> f64 {
        let begun = self.gaps.partition_point(|(start, _, _)| *start < time);
        begun.checked_sub(1).map_or(0.0, |last| {
            let (start, end, before) = self.gaps[last];
            before + end.min(time) - start
        })
    }

    /// Seconds of the stretch in which nothing was read.
    fn within(&self, stretch: &Stretch) -> f64 {
        if self.gaps.is_empty() { 0.0 } else { self.before(stretch.end_s) - self.before(stretch.start_s) }
    }
}
