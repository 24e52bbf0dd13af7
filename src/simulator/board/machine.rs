//! The board at work: its state, and what each state takes from the feed.

use super::case::{Abort, Alteration, Case, Fault};
use super::load::Draw;
use super::model::{BoardModel, Load, Stage, Wake};
use crate::simulator::noise::Noise;

/// Leakage of a board whose converters stand still, as a conductance in siemens (about 1 MΩ).
const LEAKAGE_S: f64 = 1e-6;
/// Capacitance ahead of a blown fuse, in farads.
const AHEAD_OF_FUSE_F: f64 = 2e-6;

/// What the board takes at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::simulator) struct Demand {
    /// Power of its converters, in watts, whatever the volts.
    pub(in crate::simulator) watts: f64,
    /// Resistive load, in siemens.
    pub(in crate::simulator) siemens: f64,
    /// Capacitance at the feed, in farads.
    pub(in crate::simulator) farads: f64,
}

/// What the board is doing.
#[derive(Debug, Clone, Copy, PartialEq)]
enum State {
    /// Too few volts for its converters.
    Unpowered,
    /// Volts are there, standby is not yet.
    PoweringUp { until: f64 },
    /// Waiting; `wakes_at` is when it starts by itself, if it does.
    Standby { wakes_at: Option<f64> },
    /// In a stage of its start, until it ends, if it does.
    Stage { index: usize, since: f64, until: f64 },
    /// The last moment of an attempt.
    Spike { index: usize, until: f64 },
    /// Between attempts.
    Rest { until: f64 },
    /// Given up, for good.
    Latched,
}

/// One unit of a board model, with what is wrong with it.
#[derive(Debug, Clone)]
pub struct Board {
    model: BoardModel,
    fault: Fault,
    /// This unit's factors on power and length: standby first, then the stages.
    unit: Vec<(f64, f64)>,
    noise: Noise,
    state: State,
    draw: Draw,
    attempts: usize,
    /// Whether the board was up or on its way, so that it starts again by itself after a loss of power.
    resumes: bool,
    pressed_since: Option<f64>,
    warmth: f64,
    changes: Vec<(f64, String)>,
}

impl Board {
    /// Unit number `unit` of `model` with the fault of `case`, as drawn for run number `run`.
    ///
    /// `stage` says where a start stalls or ends, if that matters.
    #[must_use]
    pub fn new(model: BoardModel, case: Case, stage: Option<usize>, unit: u64, run: u64) -> Self {
        let mut unit_noise = Noise::new(unit, 1);
        let factors = (0..=model.stages.len())
            .map(|_| (unit_noise.factor(model.unit.power), unit_noise.factor(model.unit.duration)))
            .collect();
        // What is wrong belongs to the unit, so that a second run of it shows the same.
        let fault = Fault::draw(case, &model, stage, &mut Noise::new(unit, 2));
        let mut noise = Noise::new(unit.rotate_left(32) ^ run, 3);
        let draw = Draw::new(scaled(&model.standby, 0.0), 0.0, &mut noise);
        Self {
            model,
            fault,
            unit: factors,
            noise,
            state: State::Unpowered,
            draw,
            attempts: 0,
            resumes: false,
            pressed_since: None,
            warmth: 0.0,
            changes: Vec::new(),
        }
    }

    /// Changes quantities of this unit; states that the model does not have are left alone.
    pub fn alter(&mut self, alterations: &[Alteration]) {
        for alteration in alterations {
            if let Some(at) = self.model.state_names().position(|name| name == alteration.state) {
                self.unit[at].0 *= alteration.power;
                self.unit[at].1 *= alteration.duration;
            }
        }
    }

    /// The model.
    #[must_use]
    pub fn model(&self) -> &BoardModel {
        &self.model
    }

    /// The stage in which the fault shows, if it has one.
    #[must_use]
    pub fn fault_stage(&self) -> Option<&str> {
        let index = self.fault.stalls_in.or(self.fault.abort.map(|abort| abort.stage))?;
        self.model.stages.get(index).map(|stage| stage.name.as_str())
    }

    /// The button goes down (or up).
    pub fn button(&mut self, down: bool, now: f64) {
        self.pressed_since = down.then_some(now);
    }

    /// Changes of state since the last call: the time and the name of the new state.
    pub(in crate::simulator) fn take_changes(&mut self) -> Vec<(f64, String)> {
        std::mem::take(&mut self.changes)
    }

    /// What the board takes at `now`, `step` seconds after the last call, with `volts` at its feed.
    pub(in crate::simulator) fn step(&mut self, now: f64, step: f64, volts: f64) -> Demand {
        if self.fault.open {
            return Demand { watts: 0.0, siemens: LEAKAGE_S, farads: AHEAD_OF_FUSE_F };
        }
        self.advance(now, volts);
        let watts = self.watts(now, step);
        self.warm(step);
        Demand { watts, siemens: LEAKAGE_S + self.short_siemens(), farads: self.model.capacitance_f }
    }

    fn short_siemens(&self) -> f64 {
        self.fault
            .short_ohms
            .map_or(0.0, |ohms| 1.0 / (ohms * (1.0 + self.fault.short_warming * self.warmth)))
    }

    /// From 0, cold, to 1, as warm as it gets.
    fn warm(&mut self, step: f64) {
        let active = matches!(self.state, State::Stage { .. }) || self.fault.short_ohms.is_some();
        let target = f64::from(u8::from(active));
        self.warmth += (target - self.warmth) * (step / self.model.warming_s).min(1.0);
    }

    fn advance(&mut self, now: f64, volts: f64) {
        if volts < self.model.undervoltage_v && self.state != State::Unpowered {
            self.enter(State::Unpowered, now);
        }
        match self.state {
            State::Unpowered if volts >= self.model.restart_v => {
                self.enter(State::PoweringUp { until: now + self.model.power_good_s }, now);
            }
            State::PoweringUp { until } if now >= until => self.enter_standby(now),
            State::Standby { wakes_at } if self.wakes(wakes_at, now) => self.start(now),
            State::Stage { index, until, .. } if now >= until => self.end_stage(index, now),
            State::Spike { until, .. } if now >= until => self.end_attempt(now),
            State::Rest { until } if now >= until => self.start(now),
            _ => {}
        }
    }

    fn enter_standby(&mut self, now: f64) {
        let by_itself = self.resumes || self.model.wake == Wake::Power;
        let hold = self.model.hold_s * self.unit[0].1 * self.noise.factor(self.model.unit.run);
        let wait = if self.resumes { self.noise.between(0.6, 1.6) } else { hold };
        self.enter(State::Standby { wakes_at: by_itself.then_some(now + wait) }, now);
    }

    fn wakes(&self, wakes_at: Option<f64>, now: f64) -> bool {
        let held = self.pressed_since.is_some_and(|since| now - since >= self.model.hold_s);
        let by_button = self.model.wake == Wake::Button && held;
        self.fault.wakes && (by_button || wakes_at.is_some_and(|at| now >= at))
    }

    fn start(&mut self, now: f64) {
        self.attempts += 1;
        self.resumes = true;
        self.enter_stage(0, now);
    }

    fn enter_stage(&mut self, index: usize, now: f64) {
        let usual = self.usual_length(index) * self.noise.factor(self.model.unit.run);
        let ends_after = match self.fault.abort {
            Some(abort) if abort.stage == index => usual.min(MOST_RUNNING_S) * abort.share,
            _ if self.fault.stalls_in == Some(index) => f64::INFINITY,
            _ => usual,
        };
        let last = index + 1 == self.model.stages.len();
        let ends_after = if last { self.fault.holds_s.unwrap_or(ends_after) } else { ends_after };
        self.enter(State::Stage { index, since: now, until: now + ends_after }, now);
    }

    /// The unit's usual length of a stage; without end for the running level.
    fn usual_length(&self, index: usize) -> f64 {
        self.model.stages[index].seconds.map_or(f64::INFINITY, |seconds| seconds * self.unit[index + 1].1)
    }

    fn end_stage(&mut self, index: usize, now: f64) {
        match self.fault.abort {
            Some(abort) if abort.stage == index => self.trip(index, abort, now),
            _ if index + 1 < self.model.stages.len() => self.enter_stage(index + 1, now),
            _ => self.enter(State::Latched, now),
        }
    }

    fn trip(&mut self, index: usize, abort: Abort, now: f64) {
        if abort.spike_s > 0.0 {
            self.enter(State::Spike { index, until: now + abort.spike_s }, now);
        } else {
            self.end_attempt(now);
        }
    }

    fn end_attempt(&mut self, now: f64) {
        let Some(abort) = self.fault.abort else { return };
        if abort.attempts.is_some_and(|most| self.attempts >= most) {
            self.enter(State::Latched, now);
        } else {
            let rest = abort.rest_s * self.noise.factor(self.model.unit.run);
            self.enter(State::Rest { until: now + rest }, now);
        }
    }

    fn enter(&mut self, state: State, now: f64) {
        self.state = state;
        self.draw = Draw::new(self.load_of(state), now, &mut self.noise);
        let name = self.name_of(state);
        self.changes.push((now, name));
    }

    fn load_of(&self, state: State) -> Load {
        let standby =
            |share: f64| scaled(&self.model.standby, share * self.unit[0].0 * self.fault.standby_factor);
        let rest_share = self.fault.abort.map_or(1.0, |abort| abort.rest_share);
        match state {
            State::Unpowered => scaled(&self.model.standby, 0.0),
            State::PoweringUp { .. } => standby(0.6),
            State::Standby { .. } => standby(1.0),
            State::Rest { .. } | State::Latched => standby(rest_share),
            State::Stage { index, .. } | State::Spike { index, .. } => {
                let mut load = scaled(&self.model.stages[index].load(), self.unit[index + 1].0);
                if self.fault.stalls_in == Some(index) && self.fault.stall_is_quiet {
                    (load.burst, load.flutter_share) = (None, load.flutter_share.min(QUIET_FLUTTER));
                }
                load
            }
        }
    }

    fn watts(&mut self, now: f64, step: f64) -> f64 {
        let watts = self.draw.watts(now, step, &mut self.noise);
        match self.state {
            State::Stage { index, since, .. } => {
                let stage = &self.model.stages[index];
                let share = stage.step_share(now - since, self.usual_length(index));
                let warm = 1.0 + self.model.warming_share * self.warmth;
                watts * share * warm + surge_watts(stage, now - since)
            }
            State::Spike { .. } => watts + self.fault.abort.map_or(0.0, |abort| abort.spike_watts),
            _ => watts,
        }
    }

    fn name_of(&self, state: State) -> String {
        match state {
            State::Unpowered if self.attempts > 0 => "unpowered",
            State::Unpowered => "off",
            State::PoweringUp { .. } => "power-up",
            State::Standby { .. } => "standby",
            State::Stage { index, .. } => &self.model.stages[index].name,
            State::Spike { .. } => "trip",
            State::Rest { .. } => "rest",
            State::Latched => "latched",
        }
        .to_owned()
    }
}

/// How far into the running level an attempt that ends there gets, in seconds.
const MOST_RUNNING_S: f64 = 8.0;
/// The wandering of a stopped processor's power.
const QUIET_FLUTTER: f64 = 0.008;

fn surge_watts(stage: &Stage, elapsed: f64) -> f64 {
    stage.surge.map_or(0.0, |surge| surge.watts * (-elapsed / surge.seconds).exp())
}

/// The load with every power in it times `factor`.
fn scaled(load: &Load, factor: f64) -> Load {
    let mut load = load.clone();
    load.watts *= factor;
    if let Some(burst) = &mut load.burst {
        burst.watts *= factor;
    }
    if let Some(pulse) = &mut load.pulse {
        pulse.watts *= factor;
    }
    load
}
