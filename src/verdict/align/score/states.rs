//! How well a stay looks like a state in which the board is in no stage, and what speaks against any state at all.

use super::super::State;
use super::{
    COLLAPSED_SHARE, HOPELESS, INRUSH_S, LONGEST_INRUSH_S, Look, SAG_UNEXPLAINED, SURGE_S, Scores, both,
    soft, tail,
};

/// Cost of calling it inrush for each further update that still shows the feed collapsed, in nats.
const COLLAPSED_AGAIN: f64 = 4.0;
/// Cost of every [`INRUSH_S`] of an inrush after the feed has risen, in nats: a switch on the board may charge something late
/// (by judgement).
const STANDING_FEED: f64 = 2.0;
/// A board that was fed a moment ago has not tried and given up yet, in nats.
const TOO_SOON: f64 = -5.0;
/// Standard deviation of the log of the first stage's power, as the bound of what is a fall back.
const FALLEN_SD: f64 = 0.15;
/// A running board that is busy for longer than a moment, in nats.
const BUSY_LONG: f64 = 2.0;

impl Scores<'_> {
    /// What speaks against calling the first moment after switch-on a start that was given up: capacitors charge then.
    pub(super) fn too_soon(&self, look: &Look, state: State) -> f64 {
        let given_up = matches!(state, State::Held(_) | State::Surge | State::Burst);
        let moment = (2.0 * self.readout.update_s()).max(INRUSH_S);
        let soon = self.run.switch_on_seen && look.end_s - self.run.start_s <= moment;
        if given_up && soon { TOO_SOON } else { 0.0 }
    }

    pub(super) fn fit(&self, look: &Look, state: State, first: bool, rested: bool) -> f64 {
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
        /// Cost of every [`SURGE_S`] beyond the first, in nats: what lasts for long goes through stages (by judgement).
        const LONG: f64 = 3.0;
        let over = (look.watts.max(1e-9) / self.low_top().max(look.uncertainty_w)).ln() / 0.3;
        let long = (look.duration / SURGE_S - 1.0).max(0.0);
        soft(over) - LONG * long
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
        // Only a feed that rises charges them (i = C dv/dt); a reading or two later its average has forgotten that.
        let standing = look.end_s - self.run.risen_s.max(look.start_s) - 2.0 * self.update_s;
        -look.duration / INRUSH_S * 0.5 - still - STANDING_FEED * (standing / INRUSH_S).max(0.0)
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
}

/// What speaks against a stay of which nothing was seen but averages over its edges: a short stage may pass so on the
/// way up, but an excursion or a rest that nobody saw is none.
pub(super) fn edges_only(look: &Look, state: State) -> f64 {
    /// Less than any piece with a level of its own makes up.
    const NO_LEVEL: f64 = 0.01;
    /// In nats.
    const UNSEEN: f64 = -3.0;
    let seen = matches!(state, State::Inrush | State::Starved | State::Collapsed | State::Done(_));
    if seen || look.levels > NO_LEVEL { 0.0 } else { UNSEEN }
}

/// A stretch of which most sags, or sits in limit, is explained; the rest is averaging over edges. Where no reading does,
/// the feed stands.
fn starved(look: &Look) -> f64 {
    if look.sag <= 0.0 && look.limit <= 0.0 {
        return HOPELESS;
    }
    (look.sag.max(look.limit) - 1.0) * SAG_UNEXPLAINED
}
