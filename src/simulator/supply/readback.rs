//! What the supply says of its output: averaged, renewed at its own pace, noisy, rounded.

use super::SupplyKind;
use super::kind::ReadbackKind;
use super::output::Feed;
use crate::simulator::noise::Noise;

/// What regulates the output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Mode {
    /// The output is off.
    #[default]
    Off,
    /// Constant voltage.
    ConstantVoltage,
    /// Constant current: the limit holds.
    ConstantCurrent,
}

impl Mode {
    /// The word of a log.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Off => "off",
            Self::ConstantVoltage => "cv",
            Self::ConstantCurrent => "cc",
        }
    }
}

/// What the supply shows.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Reading {
    /// Volts at the terminals, as shown.
    pub volts: f64,
    /// Amps, as shown.
    pub amps: f64,
    /// What regulates.
    pub mode: Mode,
    /// When the reading was renewed, in bench seconds.
    pub renewed_s: f64,
}

/// A moment of the output, as the measuring circuit sees it.
#[derive(Debug, Clone, Copy)]
pub(in crate::simulator) struct Moment {
    pub(in crate::simulator) now: f64,
    pub(in crate::simulator) feed: Feed,
}

/// The measuring circuit.
#[derive(Debug, Clone)]
pub(in crate::simulator) struct Readback {
    kind: ReadbackKind,
    gain: (f64, f64),
    amps_offset: f64,
    noise: Noise,
    sum: (f64, f64),
    count: f64,
    next: f64,
    shown: Reading,
}

impl Readback {
    /// The measuring circuit of one device, whose errors are drawn from `noise`.
    pub(in crate::simulator) fn new(kind: &SupplyKind, mut noise: Noise) -> Self {
        let kind = kind.readback;
        let gain = (noise.factor(0.3 * kind.gain_share), noise.factor(kind.gain_share));
        let amps_offset = kind.amps_offset * noise.normal();
        let next = noise.uniform() * kind.period_s;
        Self { kind, gain, amps_offset, noise, sum: (0.0, 0.0), count: 0.0, next, shown: Reading::default() }
    }

    /// Takes the noise and the phase of the renewals of this run.
    pub(in crate::simulator) fn begin_run(&mut self, mut noise: Noise) {
        self.next = noise.uniform() * self.kind.period_s;
        self.noise = noise;
    }

    /// What the supply shows.
    pub(in crate::simulator) fn shown(&self) -> Reading {
        self.shown
    }

    /// Takes note of a moment, and renews the reading when it is due.
    pub(in crate::simulator) fn take(&mut self, moment: Moment) {
        if moment.now >= self.next - self.kind.window_s {
            self.sum.0 += moment.feed.terminal_volts;
            self.sum.1 += moment.feed.amps;
            self.count += 1.0;
        }
        if moment.now >= self.next {
            self.renew(moment);
        }
    }

    fn renew(&mut self, moment: Moment) {
        let (volts, amps) = (self.sum.0 / self.count, self.sum.1 / self.count);
        let spread = self.kind.amps_noise + self.kind.amps_noise_share * amps.abs();
        let volts = volts * self.gain.0 + self.kind.volts_noise * self.noise.normal();
        let amps = amps * self.gain.1 + self.amps_offset + spread * self.noise.normal();
        // A display shows no less than zero, and an output that is off reads zero.
        let live = f64::from(u8::from(moment.feed.mode != Mode::Off));
        self.shown = Reading {
            volts: rounded(volts.max(0.0), self.kind.volts_step),
            amps: rounded(amps.max(0.0) * live, self.kind.amps_step),
            mode: moment.feed.mode,
            renewed_s: moment.now,
        };
        (self.sum, self.count) = ((0.0, 0.0), 0.0);
        self.next += self.kind.period_s;
    }
}

fn rounded(value: f64, step: f64) -> f64 {
    (value / step).round() * step
}

#[cfg(test)]
mod tests {
    use super::*;

    fn readings(amps: impl Fn(f64) -> f64, seconds: f64) -> Vec<Reading> {
        let mut readback = Readback::new(&SupplyKind::default(), Noise::new(1, 0));
        let mut shown: Vec<Reading> = Vec::new();
        let steps = (0..).map(|index| f64::from(index) * 1e-3).take_while(|now| *now < seconds);
        for now in steps {
            let feed = Feed {
                terminal_volts: 12.0,
                board_volts: 12.0,
                amps: amps(now),
                mode: Mode::ConstantVoltage,
            };
            readback.take(Moment { now, feed });
            if shown.last().is_none_or(|last| last.renewed_s < readback.shown().renewed_s) {
                shown.push(readback.shown());
            }
        }
        shown
    }

    #[test]
    fn the_reading_is_renewed_at_its_own_pace_and_within_its_errors() {
        let shown = readings(|_| 1.0, 20.0);
        assert!((198..=201).contains(&shown.len()), "{} readings", shown.len());
        // Six standard deviations of gain, offset and noise together, and half a step.
        assert!(shown[1..].iter().all(|reading| (reading.amps - 1.0).abs() < 0.01), "{shown:?}");
        assert!(shown.iter().all(|reading| (reading.amps * 1e3 - (reading.amps * 1e3).round()).abs() < 1e-6));
    }

    #[test]
    fn a_step_within_the_window_reads_as_its_average() {
        let shown = readings(|now| if now < 1.0 { 0.0 } else { 1.0 }, 2.0);
        let between = shown.iter().filter(|reading| reading.amps > 0.05 && reading.amps < 0.95).count();
        assert!(between <= 1, "{shown:?}");
    }
}
