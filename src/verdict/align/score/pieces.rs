//! What single pieces say against a stay: by themselves, and going on from those before.

use super::super::State;
use super::{COLLAPSED_SHARE, LONGEST_INRUSH_S, MOST_LOOKS, SURGE_S, Scores, both, tail};
use crate::verdict::piece::{LOOK_S, Piece, RAMP_S, Stretch};

/// Share of its readings from which the volts of a stretch give way.
const MOSTLY: f64 = 0.5;

/// Cost of every look at a starved feed that shows neither sag nor limit, in nats.
const NO_SAG: f64 = -1.0;
/// ... and at a collapsed feed that is up.
const NO_COLLAPSE: f64 = -2.0;
/// A steady load, warm or cold, keeps within this factor of its mean; what goes beyond is another state.
const STEADY: f64 = 1.5;
/// Scatter of the log of power within a steady stage: converters hunt, readback averages over edges.
const LEAST_SCATTER: f64 = 0.08;
/// Scatter of the log of power of a steady load that is no stage ...
const STEADY_SD: f64 = 0.15;
/// ... of an excursion, which goes where it likes ...
const EXCURSION_SD: f64 = 0.6;
/// ... and of a rest of which only the bound is known.
const RESTING_SD: f64 = 0.5;
/// What goes further off the level of a short stage than this, as a log, does not wander in it (by judgement).
const FAR_OFF: f64 = 0.5;
/// Scatter of levels that is nothing unusual, in the state's own standard deviations.
pub(in crate::verdict::align) const SCATTER_ALLOWED: f64 = 1.2;
/// What is steady for longer than this has a level of its own: a busy load wanders in a few seconds.
const LONG_LOOK_S: f64 = 6.0;
/// What is shorter is a pulse of the stage, as its peak in the reference shows them, in seconds.
const PULSE_S: f64 = 1.0;
/// Noise of one reading goes no further than this, in standard deviations.
const NOISE_PULSE: f64 = 3.0;
/// A pulse of a single update may be half an edge, but it is half a pulse too.
const LEAST_PULSE: f64 = 0.5;

/// A piece of so many renewals may be all edge.
const EDGE_UPDATES: f64 = 2.2;

/// How far a state moves about its level while it lasts.
#[derive(Debug, Clone, Copy)]
struct UpsAndDowns {
    /// Standard deviation of the log of its power.
    sd: f64,
    /// How far its short pulses go above, as a log.
    headroom: f64,
}

impl Scores<'_> {
    /// Whether `piece` rules `state` out by itself, so that no stretch with it need be looked at.
    pub(in super::super) fn rules_out(&self, piece: &Piece, state: State, so_far: Option<&Stretch>) -> bool {
        // A readback averaged over an edge may show anything for an update or two.
        if piece.duration() <= EDGE_UPDATES * self.update_s {
            return false;
        }
        let floor = self.surely_w();
        match state {
            State::Excess | State::Heavy if so_far.is_some_and(|so_far| self.steps(piece, so_far)) => true,
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

    /// Power that noise alone does not show, in watts.
    fn surely_w(&self) -> f64 {
        3.0 * self.readout.noise_a * self.run.set_v
    }

    /// Whether the level of `piece` is another than that of a steady load so far, on a feed that stands.
    fn steps(&self, piece: &Piece, so_far: &Stretch) -> bool {
        let pulse = if piece.duration() < PULSE_S { self.standby_pulse() } else { 0.0 };
        let above = (piece.watts - pulse).max(so_far.watts.min(piece.watts));
        let ratio = above / so_far.watts.max(self.surely_w());
        piece.sag < 0.5 && !(1.0 / STEADY..STEADY).contains(&ratio)
    }

    /// What `piece` says against standby, or against nothing drawn at all: a pulse beyond what good boards do while they
    /// wait is an attempt to start. Student penalty in nats, for as much of it as counts as a level of its own.
    pub(in super::super) fn pulse(&self, piece: &Piece, state: State) -> f64 {
        match state {
            State::Low if self.answers_a_press(piece) => self.beyond_pulses(piece, self.model.standby.high),
            State::Low => self.beyond_pulses(piece, self.model.standby.peak),
            State::Nothing => beyond(piece, piece.watts / (self.reading_sd() * self.run.set_v) - NOISE_PULSE),
            _ => 0.0,
        }
    }

    /// Whether `piece` is a pulse that begins at a marked press of the button: a pulse of standby itself comes just then by
    /// chance only.
    fn answers_a_press(&self, piece: &Piece) -> bool {
        /// A board answers the button within this time, in seconds; a hand marks it no better than to some tenths.
        const ANSWERS_S: f64 = 0.6;
        let begins_at = |press: &f64| (press - self.update_s..press + ANSWERS_S).contains(&piece.start_s);
        piece.duration() < PULSE_S && self.run.presses.iter().any(begins_at)
    }

    /// What `piece` says against pulses that go up to `peak_w` watts. Student penalty in nats.
    fn beyond_pulses(&self, piece: &Piece, peak_w: f64) -> f64 {
        let standby = &self.model.standby;
        let u = self.reading_sd() * self.run.set_v;
        beyond(piece, (piece.watts - peak_w) / both(u, standby.sd * peak_w))
    }

    /// How high the pulses of a standby of `watts` go: beside a leak as high as on good boards, and if the whole standby has
    /// grown, they have with it.
    fn pulses_up_to(&self, watts: f64) -> f64 {
        let standby = &self.model.standby;
        let grown = standby.watts.map_or(1.0, |typical| standby.peak / typical);
        (watts + self.standby_pulse()).max(watts * grown)
    }

    /// Whether `piece` is a short pulse of a board that rests without a standby that its model knows.
    fn pulses_at_an_unknown_rest(&self, piece: &Piece, so_far: &Stretch) -> bool {
        self.model.starts_at_once() && piece.duration() < PULSE_S && piece.level() > so_far.level
    }

    /// Whether what is taken for a rest so far draws what only an awake board does, where no standby is known.
    fn was_awake(&self, so_far: &Stretch) -> bool {
        self.model.starts_at_once() && so_far.watts > self.pulses_of_unknown_rest(0.0)
    }

    /// How high the pulses of such a rest of `watts` go: a lamp or a controller that looks about takes a share of what the
    /// board does once it starts, or some times what it rests at (common practice, no source).
    fn pulses_of_unknown_rest(&self, watts: f64) -> f64 {
        const OF_FIRST_STAGE: f64 = 0.3;
        const OF_REST: f64 = 2.0;
        let first = self.model.stages.first().map_or(0.0, |stage| stage.watts);
        (OF_FIRST_STAGE * first).max(OF_REST * watts)
    }

    /// Standard deviation of one reading of the current, noise and accuracy, in amps.
    fn reading_sd(&self) -> f64 {
        self.readout.noise_a.max(self.readout.uncertainty_a(1.0))
    }

    /// What `piece` says against going on from `so_far` in the same state: Student penalty in nats on how far its level
    /// lies from that of the stay so far, beyond what the state's own ups and downs explain, for every independent look.
    ///
    /// `high_s` is how long the load has been above the state's ups and downs, this piece included.
    pub(in super::super) fn incoherence(
        &self,
        piece: &Piece,
        so_far: &Stretch,
        state: State,
        high_s: f64,
    ) -> f64 {
        match state {
            State::Starved => NO_SAG * piece.looks() * (1.0 - piece.sag.max(piece.limit)),
            State::Collapsed if piece.volts > 2.0 * COLLAPSED_SHARE * self.run.set_v => {
                NO_COLLAPSE * piece.looks()
            }
            State::Low if self.pulses_at_an_unknown_rest(piece, so_far) => {
                so_far.levels.min(1.0) * self.beyond_pulses(piece, self.pulses_of_unknown_rest(so_far.watts))
            }
            State::Excess if piece.duration() < PULSE_S && piece.level() > so_far.level => {
                // One edge does not make a level to compare with.
                so_far.levels.min(1.0) * self.beyond_pulses(piece, self.pulses_up_to(so_far.watts))
            }
            _ => {
                let off = |own| self.off_level(piece, so_far, (state, own), high_s);
                self.ups_and_downs(piece, so_far, state).map_or(0.0, off)
                    + gives_way_within(piece, so_far, state)
            }
        }
    }

    /// How far a state moves about its level while it lasts; `None` where its level is not held to anything.
    fn ups_and_downs(&self, piece: &Piece, so_far: &Stretch, state: State) -> Option<UpsAndDowns> {
        let steady = |sd| Some(UpsAndDowns { sd, headroom: 0.0 });
        match state {
            // What a board at rest draws may sink slowly; what it must not do, `pulse` says, if standby is known.
            State::Low if self.model.standby.watts.is_none() && piece.level() > so_far.level => {
                steady(RESTING_SD)
            }
            // ... else a fall by a good part is the end of a try.
            State::Low if self.was_awake(so_far) => steady(RESTING_SD),
            State::Starved | State::Inrush | State::Collapsed | State::Nothing | State::Low => None,
            // A short is copper or silicon: it drifts, and does no work.
            State::Heavy => steady(LEAST_SCATTER),
            State::Excess => steady(STEADY_SD),
            State::Surge | State::Burst => steady(EXCURSION_SD),
            State::Done(j) | State::Held(j) => {
                let expected = &self.model.stages[j];
                Some(UpsAndDowns { sd: expected.activity.max(LEAST_SCATTER), headroom: expected.headroom })
            }
        }
    }

    /// How long the load has been above the ups and downs of a stay in `state` with `piece`, if it was for `before_s` before
    /// it: pulses that follow each other without a break are one.
    pub(in super::super) fn high_s(
        &self,
        piece: &Piece,
        so_far: &Stretch,
        state: State,
        before_s: f64,
    ) -> f64 {
        let above = piece.level() - so_far.level;
        let own = self.ups_and_downs(piece, so_far, state);
        let is_high = own.is_some_and(|own| above > SCATTER_ALLOWED * own.sd);
        if is_high { before_s + piece.duration() } else { 0.0 }
    }

    /// Penalty on how far `piece` lies off the level so far, beyond the state's `own` ups and downs.
    fn off_level(
        &self,
        piece: &Piece,
        so_far: &Stretch,
        (state, own): (State, UpsAndDowns),
        high_s: f64,
    ) -> f64 {
        let read_sd = self.readout.noise_a * self.run.set_v / piece.above_floor().max(1e-9);
        let above = piece.level() - so_far.level;
        let sd = self.overstayed(so_far, state, above.abs()).unwrap_or(own.sd);
        let is_pulse = above > 0.0 && piece.duration().max(high_s) < PULSE_S;
        let allowed = if is_pulse { own.headroom } else { 0.0 };
        // A long look sees the middle of the state's ups and downs; what differs then is another level.
        let sd = if piece.duration() > LONG_LOOK_S { sd / 2.0 } else { sd }.max(LEAST_SCATTER);
        let off = (above.abs() - allowed).max(0.0) / both(sd, read_sd);
        let share = if is_pulse && self.runs(state) { (MOST_LOOKS / so_far.levels).min(1.0) } else { 1.0 };
        // One edge does not make a level to compare with.
        share
            * piece.weight().min(so_far.levels)
            * looks_of(piece, state)
            * tail((off - SCATTER_ALLOWED).max(0.0))
    }

    /// Whether a board of this model is at its running level. What it does there once in a long while, the captures of
    /// the reference were too short to see, so that a short pulse in a long stay counts for no more than its share.
    fn runs(&self, state: State) -> bool {
        self.model.of_this_board && state.stage() == Some(self.model.last())
    }

    /// What speaks against going from one stage to another where the level moves by `step`, as a log: a board that is off
    /// its model's levels is so in one stage as in the next, and its step is still to be seen.
    pub(in super::super) fn unmoved(&self, from: State, to: State, step: f64) -> f64 {
        /// Levels that are no further apart than this may lie together on a sick board, as a log.
        const APART: f64 = 0.15;
        /// Share of the usual step from which it is one.
        const SEEN: f64 = 0.25;
        /// In nats.
        const UNSEEN: f64 = -1.5;
        /// ... of a fall back, which is what a try ends with.
        const UNSEEN_FALL: f64 = -4.0;
        /// A board that wakes draws more, and one that falls back less, by this as a log.
        const RISE: f64 = 0.1;
        if matches!(from, State::Low | State::Excess) && (to.stage().is_some() || to == State::Surge) {
            return if step < RISE { UNSEEN } else { 0.0 };
        }
        if (from.stage().is_some() || from == State::Surge) && to.is_rest() {
            return if step > -RISE { UNSEEN_FALL } else { 0.0 };
        }
        let (Some(from), Some(to)) = (from.stage(), to.stage()) else { return 0.0 };
        let usual = (self.model.stages[to].watts / self.model.stages[from].watts).ln();
        if usual.abs() > APART && step / usual < SEEN { UNSEEN } else { 0.0 }
    }

    /// How far a board moves about that has stayed in a stage for longer than good boards do, whose ups and downs are known
    /// no better than their few looks at it tell: a standard deviation from n looks is off by its share of √(2/n) or so.
    /// What moves in a stage of a few looks is its ramp, and a board that is stuck in it has come to one point of that, so
    /// that where it is far `off` its level it is out of it. `None` before.
    fn overstayed(&self, so_far: &Stretch, state: State, off: f64) -> Option<f64> {
        let usual = &self.model.stages[state.stage()?];
        let span = usual.duration.filter(|span| so_far.duration() > span.high)?;
        let unknown = STEADY_SD * (2.0 * LOOK_S / span.typical).sqrt();
        let short = if off > FAR_OFF { LEAST_SCATTER } else { STEADY_SD };
        Some(if span.typical < RAMP_S { short } else { both(usual.activity, unknown) })
    }

    /// What `piece` says against being in the midst of a stay in `state`: a reading averages over the time since the last
    /// one, so that a short piece at an edge may show anything between two levels; but one at standby shows that the
    /// board was back there, however short, for as long as the reading took. Student penalty in nats.
    pub(in super::super) fn back_in_between(&self, piece: &Piece, state: State) -> f64 {
        /// Only of a stage this far above standby is a dip to standby more than its own ups and downs.
        const FAR_ABOVE: f64 = 2.0;
        /// Standard deviation of the log of what a stage never goes below.
        const FLOOR_SD: f64 = 0.2;
        /// What a rest says against being a part of an excursion, in standard deviations.
        const REST_WITHIN: f64 = 3.0;
        let noise = self.readout.noise_a * self.run.set_v;
        let (watts, low) = (piece.watts - self.leak_w, self.low_top() + noise);
        if state == State::Surge && watts <= low && piece.duration() > PULSE_S.max(2.5 * self.update_s) {
            return piece.looks() * tail(REST_WITHIN);
        }
        let Some(awake) = state.stage().map(|index| &self.model.stages[index]) else { return 0.0 };
        // What draws no more than the usual standby is there, however wide that is among boards.
        let asleep =
            self.model.standby.watts.is_some_and(|usual| watts <= usual && awake.watts >= FAR_ABOVE * usual);
        if !asleep && (watts > low || awake.watts < FAR_ABOVE * low) {
            return 0.0;
        }
        let off = (awake.watts / watts.max(noise).max(1e-9)).ln() / awake.sd.hypot(FLOOR_SD);
        piece.looks() * tail(off)
    }
}

/// What volts that give way within a stage say against its going on: a supply lets them go only in limit, and a board that
/// stays where it is does not come to that. In nats, for each time.
fn gives_way_within(piece: &Piece, so_far: &Stretch, state: State) -> f64 {
    /// By judgement.
    const GIVES_WAY: f64 = -1.0;
    let stands = state.stage().is_some() && so_far.sag.max(so_far.dip) < MOSTLY;
    if stands && piece.sag.max(piece.dip) > MOSTLY { GIVES_WAY } else { 0.0 }
}

/// Student penalty of a pulse that goes `over` what is usual by so many standard deviations.
fn beyond(piece: &Piece, over: f64) -> f64 {
    if piece.is_edge() { 0.0 } else { piece.weight().max(LEAST_PULSE) * tail(over.max(0.0)) }
}

/// Independent looks at the level of `state` that `piece` makes up: what wanders in a stage does so for seconds.
fn looks_of(piece: &Piece, state: State) -> f64 {
    let looks = piece.looks();
    if state.stage().is_some() { looks.min(1.0 + piece.duration() / LONG_LOOK_S) } else { looks }
}
