//! Conditions on readings that hold for a time: what a run may stop on, and what a trip acts on.

use crate::trace::Sample;
use crate::units::Seconds;
use std::fmt;
use std::str::FromStr;

/// Stamps are whole microseconds: differences closer than half of one are equal, whatever binary rounding does.
const HALF_A_TICK: f64 = 0.5e-6;

/// Remembers since when something holds, on the log's clock.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Held {
    since: Option<Seconds>,
}

impl Held {
    /// Whether something has now held for at least `long`, given that at `time` it `holds` or not.
    pub(super) fn update(&mut self, holds: bool, time: Seconds, long: Seconds) -> bool {
        if !holds {
            self.since = None;
            return false;
        }
        let since = *self.since.get_or_insert(time);
        time.value() - since.value() >= long.value() - HALF_A_TICK
    }
}

/// What of a reading is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Quantity {
    Volts,
    Amps,
    Watts,
}

impl Quantity {
    fn of(self, sample: &Sample) -> f64 {
        match self {
            Self::Volts => sample.volts.value(),
            Self::Amps => sample.amps.value(),
            Self::Watts => (sample.volts * sample.amps).value(),
        }
    }

    fn name(self) -> &'static str {
        match self {
            Self::Volts => "volts",
            Self::Amps => "amps",
            Self::Watts => "watts",
        }
    }
}

/// A reading above or below a level for a time: `amps>1.5 for 5s`, `volts<0.5`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Condition {
    quantity: Quantity,
    above: bool,
    level: f64,
    hold: Seconds,
    held: Held,
}

impl Condition {
    /// Whether the condition has held for its time, with `sample` as the newest reading.
    pub fn update(&mut self, sample: &Sample) -> bool {
        let value = self.quantity.of(sample);
        let holds = if self.above { value > self.level } else { value < self.level };
        self.held.update(holds, sample.time, self.hold)
    }
}

impl fmt::Display for Condition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.above { '>' } else { '<' };
        write!(f, "{}{sign}{}", self.quantity.name(), self.level)?;
        if self.hold > Seconds::ZERO { write!(f, " for {}", self.hold) } else { Ok(()) }
    }
}

/// Why a text is no condition.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "'{found}' is no condition; expected volts, amps or watts, < or >, a level, and perhaps a time: 'amps>1.5 for 5s'"
)]
pub struct BadCondition {
    /// What was given.
    pub found: String,
}

impl FromStr for Condition {
    type Err = BadCondition;

    fn from_str(text: &str) -> Result<Self, BadCondition> {
        parse(text).ok_or_else(|| BadCondition { found: text.to_owned() })
    }
}

fn parse(text: &str) -> Option<Condition> {
    let (comparison, hold) = match text.split_once(" for ") {
        Some((comparison, hold)) => (comparison, hold.parse().ok()?),
        None => (text, Seconds::ZERO),
    };
    let (name, level) = comparison.split_once(['<', '>'])?;
    let quantity = [Quantity::Volts, Quantity::Amps, Quantity::Watts]
        .into_iter()
        .find(|quantity| quantity.name() == name.trim())?;
    let level = level.trim().parse::<f64>().ok().filter(|level| level.is_finite())?;
    Some(Condition { quantity, above: comparison.contains('>'), level, hold, held: Held::default() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::Mode;
    use crate::units::{Amps, Volts};

    fn sample(time: f64, amps: f64) -> Sample {
        Sample {
            time: Seconds::constant(time),
            volts: Volts::constant(12.0),
            amps: Amps::constant(amps),
            mode: Mode::Unknown,
            span: None,
        }
    }

    #[test]
    fn a_condition_must_hold_without_a_break() {
        let mut condition: Condition = "amps>1 for 2s".parse().unwrap();
        let readings = [(0.0, 2.0), (1.0, 2.0), (1.5, 0.5), (2.0, 2.0), (3.9, 2.0), (4.0, 2.0)];
        let held = readings.map(|(time, amps)| condition.update(&sample(time, amps)));
        assert_eq!(held, [false, false, false, false, false, true]);
    }

    #[test]
    fn without_a_time_one_reading_is_enough() {
        let mut condition: Condition = "watts < 6".parse().unwrap();
        assert!(!condition.update(&sample(0.0, 0.5)), "6 W is not below 6 W");
        assert!(condition.update(&sample(1.0, 0.4)));
    }

    #[test]
    fn what_is_no_condition_is_refused_with_an_example() {
        for text in ["", "amps", "ohms>1", "amps>x", "amps>nan", "amps>1 for ever", "amps>1 for 5"] {
            let error = text.parse::<Condition>().unwrap_err().to_string();
            assert!(error.contains("'amps>1.5 for 5s'"), "{text:?}: {error}");
        }
    }
}
