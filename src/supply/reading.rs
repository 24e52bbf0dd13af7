//! What a supply says of itself, and how a reply becomes that.

use super::dialect::{Ask, Dialect, Field, Item, Mode, Readback};
use crate::scpi::{self, Number};
use crate::units::{Amps, Volts};
use std::time::{Duration, Instant};

/// No bench supply comes near these: a larger number is garbage that happens to be digits.
const BEYOND_ANY_SUPPLY: f64 = 1e5;
/// Where the dialect gives no accuracy, a reading within this share of a setting is at it: common practice, no source.
const AT_SETTING_SHARE: f64 = 0.01;
/// The same in volts or amperes, for small settings.
const AT_SETTING_FIXED: f64 = 0.02;

/// One reading: volts and amps of the output, and when they were asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Volts at the supply's terminals.
    pub volts: Volts,
    /// Amps out of the supply.
    pub amps: Amps,
    /// What regulates the output, if the supply says so or it can be told from the settings.
    pub mode: Option<Mode>,
    /// When the question left.
    pub start: Instant,
    /// When the end of the answer was in.
    pub end: Instant,
    /// Decimals that the supply gave volts with.
    pub volts_decimals: u8,
    /// Decimals that the supply gave amps with.
    pub amps_decimals: u8,
}

impl Reading {
    /// The middle of the exchange: the best estimate of when the reading was true.
    #[must_use]
    pub fn middle(&self) -> Instant {
        self.start + self.span() / 2
    }

    /// How long the exchange took.
    #[must_use]
    pub fn span(&self) -> Duration {
        self.end - self.start
    }
}

/// What the supply is set to. What it cannot tell is `None`.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Settings {
    /// Volts that the output is set to.
    pub set_volts: Option<Volts>,
    /// Current limit that the output is set to.
    pub limit: Option<Amps>,
    /// Whether the output is on.
    pub output_on: Option<bool>,
}

/// What the parts of the replies gave so far.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Gathered {
    pub(super) volts: Option<Number>,
    pub(super) amps: Option<Number>,
    pub(super) status: Option<u32>,
    pub(super) settings: Settings,
}

impl Gathered {
    /// Takes in the reply to `ask`; an error says in words what is wrong with it, and nothing of it was taken.
    pub(super) fn take(&mut self, dialect: &Dialect, ask: &Ask, reply: &str) -> Result<(), String> {
        let units = scpi::response_units(reply);
        if units.len() != ask.items.len() {
            return Err(format!("{} values instead of {}", units.len(), ask.items.len()));
        }
        let mut next = *self;
        for (item, text) in ask.items.iter().zip(units) {
            next.item(dialect, *item, text)?;
        }
        *self = next;
        Ok(())
    }

    fn item(&mut self, dialect: &Dialect, item: Item, text: &str) -> Result<(), String> {
        match item {
            Item::Volts => self.volts = Some(measured(dialect, Field::Volts, text)?),
            Item::Amps => self.amps = Some(measured(dialect, Field::Amps, text)?),
            Item::Both => self.list(dialect, text)?,
            Item::Status => self.status = Some(scpi::register(text).map_err(|e| e.to_string())?),
            Item::SetVolts => {
                let value = number(dialect, "V", text)?.value();
                self.settings.set_volts = Some(Volts::new(value).map_err(|e| e.to_string())?);
            }
            Item::Limit => {
                let value = number(dialect, "A", text)?.value();
                self.settings.limit = Some(Amps::new(value).map_err(|e| e.to_string())?);
            }
            Item::Output => self.settings.output_on = Some(scpi::boolean(text).map_err(|e| e.to_string())?),
        }
        Ok(())
    }

    fn list(&mut self, dialect: &Dialect, text: &str) -> Result<(), String> {
        let parts = scpi::data_elements(text, dialect.numbers.separator);
        if parts.len() != dialect.fields.len() {
            return Err(format!("a list of {} instead of {}", parts.len(), dialect.fields.len()));
        }
        for (field, part) in dialect.fields.iter().zip(parts) {
            match field {
                Field::Volts => self.volts = Some(measured(dialect, *field, part)?),
                Field::Amps => self.amps = Some(measured(dialect, *field, part)?),
                Field::Skip => {}
            }
        }
        Ok(())
    }
}

fn measured(dialect: &Dialect, field: Field, text: &str) -> Result<Number, String> {
    let (symbol, decimals) = match field {
        Field::Volts | Field::Skip => ("V", dialect.numbers.volts_decimals),
        Field::Amps => ("A", dialect.numbers.amps_decimals),
    };
    let number = number(dialect, symbol, text)?;
    match decimals {
        Some(expected) if expected != number.decimals() => {
            let found = scpi::shown(text.as_bytes());
            let cut = scpi::NumberError::Decimals { found, decimals: number.decimals(), expected };
            Err(cut.to_string())
        }
        _ => Ok(number),
    }
}

fn number(dialect: &Dialect, symbol: &str, text: &str) -> Result<Number, String> {
    let number = Number::parse_with_unit(text, symbol, dialect.numbers.suffix).map_err(|e| e.to_string())?;
    if number.value().abs() < BEYOND_ANY_SUPPLY {
        Ok(number)
    } else {
        Err(format!("'{}' is beyond any bench supply", scpi::shown(text.as_bytes())))
    }
}

/// What regulates the output, told from a reading and the settings: in the limit if amps are at the limit and volts
/// below those set, constant voltage if volts are at those set and amps below the limit; else unknown.
pub(super) fn infer_mode(volts: Volts, amps: Amps, settings: &Settings, readback: &Readback) -> Option<Mode> {
    let (set_volts, limit) = (settings.set_volts?.value(), settings.limit?.value());
    let near = |setting: f64, accuracy: Option<super::dialect::Accuracy>, step: f64| {
        let (share, fixed) =
            accuracy.map_or((AT_SETTING_SHARE, AT_SETTING_FIXED), |known| (known.share, known.fixed));
        share * setting.abs() + fixed + step
    };
    let volts_step = readback.volts_resolution.map_or(0.0, Volts::value);
    let amps_step = readback.amps_resolution.map_or(0.0, Amps::value);
    let volts_near = near(set_volts, readback.volts_accuracy, volts_step);
    let amps_near = near(limit, readback.amps_accuracy, amps_step);
    let idle = volts.value().abs() <= volts_near && amps.value().abs() <= amps_near;
    if settings.output_on == Some(false) {
        return idle.then_some(Mode::Off);
    }
    let at_volts = (volts.value() - set_volts).abs() <= volts_near;
    let at_limit = (amps.value() - limit).abs() <= amps_near;
    match (at_volts, at_limit) {
        (true, false) if amps.value() < limit => Some(Mode::ConstantVoltage),
        (false, true) if volts.value() < set_volts => Some(Mode::ConstantCurrent),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mode(volts: f64, amps: f64, output_on: bool) -> Option<Mode> {
        let settings = Settings {
            set_volts: Some(Volts::constant(12.8)),
            limit: Some(Amps::constant(3.0)),
            output_on: Some(output_on),
        };
        infer_mode(Volts::constant(volts), Amps::constant(amps), &settings, &Readback::default())
    }

    #[test]
    fn the_mode_is_told_from_volts_and_amps_against_the_settings() {
        assert_eq!(mode(12.8, 0.024, true), Some(Mode::ConstantVoltage));
        assert_eq!(mode(0.9, 2.99, true), Some(Mode::ConstantCurrent));
        assert_eq!(mode(0.0, 0.0, false), Some(Mode::Off));
        // Between two readbacks, just switched off, or both at once: not to be told.
        assert_eq!(mode(0.0, 0.0, true), None);
        assert_eq!(mode(12.8, 3.0, true), None);
        assert_eq!(mode(6.0, 1.0, true), None);
        assert_eq!(mode(12.8, 1.0, false), None);
    }

    #[test]
    fn without_settings_the_mode_is_unknown() {
        let nothing = Settings::default();
        let found = infer_mode(Volts::constant(12.8), Amps::constant(0.1), &nothing, &Readback::default());
        assert_eq!(found, None);
    }
}
