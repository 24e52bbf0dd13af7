//! The output stage: constant voltage, constant current, and the way from one to the other.
//!
//! The terminals, the leads and the board's input are one node with the sum of their capacitance behind the lead
//! resistance: lead inductance and the microseconds in which the capacitors share their charge are left out, as no
//! readback sees them. The node is stepped implicitly, so that a step of a millisecond is stable whatever the
//! resistances; the quadratic that this gives has the constant power of the board's converters in it exactly.

use super::SupplyKind;
use super::readback::Mode;
use crate::simulator::board::Demand;

/// Bleed across the terminals while the output is off, in siemens (1 kΩ).
const BLEED_S: f64 = 1e-3;

/// The output stage of a supply.
#[derive(Debug, Clone)]
pub(in crate::simulator) struct Output {
    kind: SupplyKind,
    lead_ohms: f64,
    /// What the regulator aims at: rises to the set volts after switch-on.
    aim: f64,
    /// Volts of the board's input, or of the bare terminals while nothing is plugged in.
    node: f64,
    /// Volts of the board while it is not plugged in.
    board: f64,
    plugged: bool,
    /// How much of the overshoot is left, 0 to 1.
    slack: f64,
}

/// What the output does at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::simulator) struct Feed {
    /// Volts at the supply's terminals.
    pub(in crate::simulator) terminal_volts: f64,
    /// Volts at the board.
    pub(in crate::simulator) board_volts: f64,
    /// Amps out of the regulator.
    pub(in crate::simulator) amps: f64,
    /// What regulates.
    pub(in crate::simulator) mode: Mode,
}

/// What the output is told to do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::simulator) struct Setting {
    pub(in crate::simulator) volts: f64,
    pub(in crate::simulator) amps: f64,
    pub(in crate::simulator) on: bool,
}

impl Output {
    /// An output at rest, with `lead_ohms` of leads (both together) to the board.
    pub(in crate::simulator) fn new(kind: SupplyKind, lead_ohms: f64) -> Self {
        Self { kind, lead_ohms, aim: 0.0, node: 0.0, board: 0.0, plugged: true, slack: 1.0 }
    }

    /// Volts at the board.
    pub(in crate::simulator) fn board_volts(&self) -> f64 {
        if self.plugged { self.node } else { self.board }
    }

    /// Opens or closes the connector at the board. On closing, the capacitors share their charge.
    pub(in crate::simulator) fn plug(&mut self, plugged: bool, board_farads: f64) {
        if plugged && !self.plugged {
            let own = self.kind.output_farads;
            self.node = (own * self.node + board_farads * self.board) / (own + board_farads);
        } else if !plugged && self.plugged {
            self.board = self.node;
        }
        self.plugged = plugged;
    }

    /// Moves `step` seconds on.
    pub(in crate::simulator) fn step(&mut self, step: f64, setting: Setting, demand: Demand) -> Feed {
        self.move_aim(step, setting);
        if !self.plugged {
            self.board = settle(self.board, step, demand, Drive { amps: 0.0, siemens: 0.0, bleed: 0.0 });
        }
        let demand = if self.plugged {
            Demand { farads: demand.farads + self.kind.output_farads, ..demand }
        } else {
            Demand { watts: 0.0, siemens: 0.0, farads: self.kind.output_farads }
        };
        let (amps, mode) =
            if setting.on { self.regulate(step, setting, demand) } else { self.idle(step, demand) };
        Feed {
            terminal_volts: self.node + amps * self.series_leads(),
            board_volts: self.board_volts(),
            amps,
            mode,
        }
    }

    fn series_leads(&self) -> f64 {
        if self.plugged { self.lead_ohms } else { 0.0 }
    }

    fn move_aim(&mut self, step: f64, setting: Setting) {
        let target = if setting.on { setting.volts } else { 0.0 };
        let most = self.kind.rise_v_per_s * step;
        self.aim = if setting.on { self.aim + (target - self.aim).clamp(-most, most) } else { 0.0 };
    }

    fn idle(&mut self, step: f64, demand: Demand) -> (f64, Mode) {
        self.node = settle(self.node, step, demand, Drive { amps: 0.0, siemens: 0.0, bleed: BLEED_S });
        (0.0, Mode::Off)
    }

    /// Tries constant voltage, and falls back to constant current where that takes more than the limit.
    fn regulate(&mut self, step: f64, setting: Setting, demand: Demand) -> (f64, Mode) {
        let before = self.node;
        let siemens = 1.0 / (self.kind.source_ohms + self.series_leads());
        let drive = Drive { amps: self.aim * siemens, siemens, bleed: 0.0 };
        let free = balance(before, step, demand, drive);
        let most = self.limit_now(setting, before);
        match free.map(|free| (free, (self.aim - free) * siemens)) {
            // A supply sources and does not sink: the node falls by what the board takes.
            Some((_, amps)) if amps < 0.0 => {
                self.node = settle(before, step, demand, Drive { amps: 0.0, siemens: 0.0, bleed: BLEED_S });
                self.recover(step);
                (0.0, Mode::ConstantVoltage)
            }
            Some((free, amps)) if amps <= most => {
                self.node = free;
                // Above the limit it is only a matter of time until the control bites.
                if amps > most / (1.0 + self.kind.limit_overshoot * self.slack) {
                    self.bite(step);
                } else {
                    self.recover(step);
                }
                (amps, Mode::ConstantVoltage)
            }
            _ => {
                self.node = settle(before, step, demand, Drive { amps: most, siemens: 0.0, bleed: 0.0 });
                self.bite(step);
                (most, Mode::ConstantCurrent)
            }
        }
    }

    /// The limit with what is left of the overshoot, folded back as the volts fall.
    fn limit_now(&self, setting: Setting, volts: f64) -> f64 {
        let share = (volts / setting.volts.max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
        let folded = self.kind.foldback + (1.0 - self.kind.foldback) * share;
        setting.amps * folded * (1.0 + self.kind.limit_overshoot * self.slack)
    }

    fn bite(&mut self, step: f64) {
        self.slack *= (-step / self.kind.limit_response_s).exp();
    }

    /// Out of the limit, the control forgets it as slowly as it took hold, ten times over.
    fn recover(&mut self, step: f64) {
        self.slack += (1.0 - self.slack) * (1.0 - (-step / (10.0 * self.kind.limit_response_s)).exp());
    }
}

/// What drives the node: a current, the conductance behind it, a bleed.
#[derive(Debug, Clone, Copy)]
struct Drive {
    amps: f64,
    siemens: f64,
    bleed: f64,
}

/// Volts of the node after `step`, by the implicit Euler rule: C (v' - v) / step = I - G v' - P / v'.
///
/// The larger root is the stable one. `None` where the converters take more than the node can give.
fn balance(volts: f64, step: f64, demand: Demand, drive: Drive) -> Option<f64> {
    let slope = demand.farads / step;
    let a = slope + demand.siemens + drive.siemens + drive.bleed;
    let b = slope * volts + drive.amps;
    let discriminant = b * b - 4.0 * a * demand.watts;
    (discriminant >= 0.0).then(|| ((b + discriminant.sqrt()) / (2.0 * a)).max(0.0))
}

/// The same for a node that is fed by a current: where there is no balance, its energy C v² / 2 runs down until the
/// board's undervoltage lockout lets go.
fn settle(volts: f64, step: f64, demand: Demand, drive: Drive) -> f64 {
    balance(volts, step, demand, drive).unwrap_or_else(|| {
        let watts = drive.amps * volts - (demand.siemens + drive.bleed) * volts * volts - demand.watts;
        (volts * volts + 2.0 * watts * step / demand.farads).max(0.0).sqrt()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const STEP: f64 = 1e-3;
    const SETTING: Setting = Setting { volts: 12.0, amps: 2.0, on: true };

    fn settled(demand: Demand, setting: Setting, lead_ohms: f64) -> Feed {
        let mut output = Output::new(SupplyKind::default(), lead_ohms);
        // Converters start once the volts are there.
        let waiting = Demand { watts: 0.0, ..demand };
        let demands = std::iter::repeat_n(waiting, 500).chain(std::iter::repeat_n(demand, 1500));
        demands.map(|demand| output.step(STEP, setting, demand)).last().unwrap()
    }

    fn load(watts: f64, ohms: f64) -> Demand {
        Demand { watts, siemens: 1.0 / ohms, farads: 200e-6 }
    }

    #[test]
    fn constant_power_draws_watts_over_volts_and_the_leads_drop_ohms_law() {
        let feed = settled(load(12.0, 1e9), SETTING, 0.1);
        // At the board: v (12 - v) / 0.104 = 12, so v = 11.8951.
        assert!((feed.board_volts - 11.8951).abs() < 1e-3, "{feed:?}");
        assert!((feed.amps - 12.0 / 11.8951).abs() < 1e-3, "{feed:?}");
        assert!((feed.terminal_volts - feed.board_volts - 0.1 * feed.amps).abs() < 1e-9);
        assert_eq!(feed.mode, Mode::ConstantVoltage);
    }

    #[test]
    fn a_short_sits_in_the_limit_at_the_volts_of_ohms_law() {
        let feed = settled(load(0.0, 0.2), SETTING, 0.05);
        assert_eq!(feed.mode, Mode::ConstantCurrent);
        assert!((feed.amps - 2.0).abs() < 1e-3, "{feed:?}");
        assert!((feed.terminal_volts - 2.0 * 0.25).abs() < 1e-3, "{feed:?}");
    }

    #[test]
    fn foldback_leaves_less_into_a_short() {
        let kind = SupplyKind { foldback: 0.5, limit_overshoot: 0.0, ..SupplyKind::default() };
        let mut output = Output::new(kind, 0.05);
        let feed = (0..2000).map(|_| output.step(STEP, SETTING, load(0.0, 0.01))).last().unwrap();
        assert!((feed.amps - 1.0).abs() < 0.01, "{feed:?}");
    }

    #[test]
    fn more_power_than_the_limit_gives_pulls_the_volts_down() {
        let feed = settled(load(30.0, 1e9), SETTING, 0.05);
        assert_eq!(feed.mode, Mode::ConstantCurrent);
        assert!(feed.board_volts < 1.0, "{feed:?}");
    }

    #[test]
    fn an_output_that_is_off_gives_nothing_and_its_capacitors_empty() {
        let mut output = Output::new(SupplyKind::default(), 0.05);
        for _ in 0..500 {
            output.step(STEP, SETTING, load(5.0, 1e9));
        }
        let off = Setting { on: false, ..SETTING };
        let feed = (0..5000).map(|_| output.step(STEP, off, load(0.0, 1e5))).last().unwrap();
        assert_eq!((feed.amps, feed.mode), (0.0, Mode::Off));
        assert!(feed.terminal_volts < 0.1, "{feed:?}");
    }

    #[test]
    fn plugging_in_live_shares_the_charge() {
        let mut output = Output::new(SupplyKind::default(), 0.05);
        output.plug(false, 200e-6);
        for _ in 0..500 {
            output.step(STEP, SETTING, load(0.0, 1e9));
        }
        assert!((output.node - 12.0).abs() < 1e-3 && output.board < 1e-6);
        output.plug(true, 200e-6);
        // 470 µF at 12 V onto 200 µF at 0 V.
        assert!((output.node - 12.0 * 470.0 / 670.0).abs() < 1e-3, "{}", output.node);
    }
}
