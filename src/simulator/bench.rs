//! Supply, leads, board and person, moved on together in steps of a millisecond.

use super::board::{Board, Demand};
use super::noise::Noise;
use super::scenario::{Operator, Scenario};
use super::supply::{Feed, Mode, Moment, Output, Protection, Readback, Reading, Setting, SupplyKind};
use std::collections::VecDeque;

/// One step, in seconds: an eighteenth of the shortest averaging window there is.
const STEP_S: f64 = 1e-3;
/// How long the contacts of a connector bounce when it is plugged in live, in seconds (common practice, no source).
const BOUNCE_S: f64 = 0.035;
/// Share of the bounce that the contacts are closed.
const BOUNCE_CLOSED: f64 = 0.6;

/// What happened at the bench, to the millisecond.
#[derive(Debug, Clone, PartialEq)]
pub struct TruthEvent {
    /// Bench seconds.
    pub at_s: f64,
    /// What happened.
    pub what: Truth,
}

/// What can happen at the bench.
#[derive(Debug, Clone, PartialEq)]
pub enum Truth {
    /// The output came on.
    OutputOn,
    /// The output went off.
    OutputOff,
    /// Somebody pressed the power button.
    Press,
    /// The board went into a state: `off`, `power-up`, `standby`, a stage, `trip`, `rest`, `latched`, `unpowered`.
    State(String),
}

/// Supply, leads, board and person. Time stands still unless it is moved on.
#[derive(Debug, Clone)]
pub struct Bench {
    kind: SupplyKind,
    board: Board,
    output: Output,
    readback: Readback,
    pub(super) protection: Protection,
    /// How many times the set volts the regulator gives: 1 in a sound supply.
    pub(super) volts_factor: f64,
    setting: Setting,
    operator: Operator,
    /// When the button goes down and up, after the output came on.
    button_edges: VecDeque<(f64, bool)>,
    contacts: Noise,
    /// Steps done so far: the clock, with no rounding error to add up.
    steps: u64,
    on_since: Option<f64>,
    demand: Demand,
    feed: Feed,
    truth: Vec<TruthEvent>,
}

impl Bench {
    /// The bench of a scenario, at time zero, with the output off.
    #[must_use]
    pub fn new(scenario: &Scenario) -> Self {
        let mut board = scenario.board();
        let demand = board.step(0.0, STEP_S, 0.0);
        // The errors of the supply belong to the supply: the same whatever unit and run.
        let device = Noise::new(number_of(scenario.supply.identity), 5);
        let mut readback = Readback::new(&scenario.supply, device);
        readback.begin_run(Noise::new(scenario.unit.rotate_left(32) ^ scenario.run, 6));
        Self {
            kind: scenario.supply.clone(),
            board,
            output: Output::new(scenario.supply.clone(), scenario.lead_ohms),
            readback,
            protection: Protection::default(),
            volts_factor: 1.0,
            setting: Setting { volts: scenario.set_volts, amps: scenario.limit, on: false },
            operator: scenario.operator.clone(),
            button_edges: edges(&scenario.operator.presses),
            contacts: Noise::new(scenario.run, 7),
            steps: 0,
            on_since: None,
            demand,
            feed: Feed { terminal_volts: 0.0, board_volts: 0.0, amps: 0.0, mode: Mode::Off },
            truth: Vec::new(),
        }
    }

    /// Bench time in seconds.
    #[must_use]
    pub fn now(&self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "2^53 milliseconds are 285 000 years")]
        let steps = self.steps as f64;
        steps * STEP_S
    }

    /// Moves on to `until`, in bench seconds; a time that has passed does nothing.
    pub fn advance(&mut self, until: f64) {
        while self.now() + STEP_S <= until {
            self.steps += 1;
            self.step();
        }
    }

    /// What the supply shows.
    #[must_use]
    pub fn reading(&self) -> Reading {
        self.readback.shown()
    }

    /// The supply.
    #[must_use]
    pub fn supply(&self) -> &SupplyKind {
        &self.kind
    }

    /// The board.
    #[must_use]
    pub fn board(&self) -> &Board {
        &self.board
    }

    /// Volts that the supply is set to.
    #[must_use]
    pub fn set_volts(&self) -> f64 {
        self.setting.volts
    }

    /// Current limit that the supply is set to.
    #[must_use]
    pub fn limit(&self) -> f64 {
        self.setting.amps
    }

    /// Whether the output is on.
    #[must_use]
    pub fn is_on(&self) -> bool {
        self.setting.on
    }

    /// What regulates at this moment, ahead of the readback.
    #[must_use]
    pub fn mode(&self) -> Mode {
        self.feed.mode
    }

    /// Sets the volts. The caller keeps within what the supply can do.
    pub fn set_volts_to(&mut self, volts: f64) {
        self.setting.volts = volts;
    }

    /// Sets the current limit. The caller keeps within what the supply can do.
    pub fn set_limit_to(&mut self, amps: f64) {
        self.setting.amps = amps;
    }

    /// Leaves the output to the program that asks: the person only plugs in and presses.
    pub fn leave_output_to_program(&mut self) {
        self.operator.on_s = None;
        self.operator.off_s = None;
    }

    /// Switches the output.
    pub fn switch(&mut self, on: bool) {
        if on == self.setting.on {
            return;
        }
        self.setting.on = on;
        self.note(if on { Truth::OutputOn } else { Truth::OutputOff });
        if on && self.on_since.is_none() {
            self.on_since = Some(self.now());
        }
    }

    /// What happened since the last call.
    pub fn take_truth(&mut self) -> Vec<TruthEvent> {
        std::mem::take(&mut self.truth)
    }

    fn note(&mut self, what: Truth) {
        self.truth.push(TruthEvent { at_s: self.now(), what });
    }

    fn step(&mut self) {
        let now = self.now();
        self.operate(now);
        self.demand = self.board.step(now, STEP_S, self.output.board_volts());
        for (at_s, state) in self.board.take_changes() {
            self.truth.push(TruthEvent { at_s, what: Truth::State(state) });
        }
        let setting = Setting { volts: self.setting.volts * self.volts_factor, ..self.setting };
        self.feed = self.output.step(STEP_S, setting, self.demand);
        if self.protection.watch(STEP_S, self.feed) {
            self.switch(false);
        }
        self.readback.take(Moment { now, feed: self.feed });
    }

    /// Lets the person do what is due.
    fn operate(&mut self, now: f64) {
        if self.operator.on_s.is_some_and(|at| now >= at) {
            self.operator.on_s = None;
            self.switch(true);
        }
        self.plug(now);
        let Some(on_since) = self.on_since else { return };
        let since = now - on_since;
        if self.operator.off_s.is_some_and(|at| since >= at) {
            self.operator.off_s = None;
            self.switch(false);
        }
        while let Some((_, down)) = self.next_edge(since) {
            self.board.button(down, now);
            if down {
                self.note(Truth::Press);
            }
        }
    }

    fn next_edge(&mut self, since: f64) -> Option<(f64, bool)> {
        let due = self.button_edges.front().is_some_and(|(at, _)| since >= *at);
        if due { self.button_edges.pop_front() } else { None }
    }

    /// Before it is plugged in the board hangs in the air; then the contacts bounce, then they hold.
    fn plug(&mut self, now: f64) {
        let Some(plugs_in) = self.operator.plugs_in_s else { return };
        let since = self.on_since.map_or(f64::NEG_INFINITY, |on| now - on - plugs_in);
        let closed = since >= BOUNCE_S || (since >= 0.0 && self.contacts.chance(BOUNCE_CLOSED));
        self.output.plug(closed, self.demand.farads);
        if since >= BOUNCE_S {
            self.operator.plugs_in_s = None;
        }
    }
}

/// A number that belongs to that identity.
fn number_of(identity: &str) -> u64 {
    identity.bytes().fold(0, |sum: u64, byte| sum.wrapping_mul(31).wrapping_add(u64::from(byte)))
}

/// When the button goes down and up, in order of time.
fn edges(presses: &[(f64, f64)]) -> VecDeque<(f64, bool)> {
    let mut edges: Vec<_> = presses.iter().flat_map(|(at, held)| [(*at, true), (at + held, false)]).collect();
    edges.sort_by(|a, b| a.0.total_cmp(&b.0));
    edges.into()
}
