//! How one supply departs from the plain standard, as data.
//!
//! A dialect is a TOML file; [`Dialect::plain`] is the one that is built in. What each key means stands beside it in
//! `profiles/dialects/plain.toml`. What a dialect asks is checked to ask only when it is loaded: a
//! [`Query`] cannot hold a command that sets anything. What it orders is kept where only [`super::guard`] can see it.

mod load;
mod section;

pub(super) use load::{Syntax, milliseconds, query};
pub use section::DialectError;
pub(super) use section::Section;

use super::guard::Orders;
use crate::scpi::{Message, Suffix, Unit};
use crate::units::{Amps, Volts};
use std::time::Duration;

/// A message that only asks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Query(Message);

impl Query {
    /// A message of `units`, if every one of them is a query; else the first that is not.
    ///
    /// # Errors
    /// The unit that would set something.
    pub fn of(units: &[Unit]) -> Result<Self, Unit> {
        match units.iter().find(|unit| !unit.is_query()) {
            None => Ok(Self(Message::of(units))),
            Some(unit) => Err(unit.clone()),
        }
    }

    /// The message without its terminator.
    #[must_use]
    pub fn text(&self) -> &str {
        self.0.text()
    }
}

/// How the line is used, whatever is said over it.
#[derive(Debug, Clone, PartialEq)]
pub struct LineRules {
    /// Baud rate, where the address gives none.
    pub baud: Option<u32>,
    /// What ends a message to the supply.
    pub send_end: &'static str,
    /// What ends a reply: an end of line (`None`), or this long a silence.
    pub quiet: Option<Duration>,
    /// Whether the supply sends back each command before its reply.
    pub echo: bool,
    /// What the supply puts between replies; empty for nothing.
    pub prompt: String,
    /// How long the supply needs between the end of one exchange and the next message.
    pub delay: Duration,
    /// How long a reply may take.
    pub reply_within: Duration,
    /// Whether several queries may be sent in one message.
    pub compound: bool,
}

/// What a part of a reply is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Field {
    /// Measured volts.
    Volts,
    /// Measured amps.
    Amps,
    /// Something that is not used.
    Skip,
}

/// What one query of a message asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Item {
    /// Measured volts.
    Volts,
    /// Measured amps.
    Amps,
    /// Measured volts and amps in one list, in the order of [`Dialect::fields`].
    Both,
    /// The register that tells constant voltage from constant current.
    Status,
    /// Volts that the output is set to.
    SetVolts,
    /// Current limit that the output is set to.
    Limit,
    /// Whether the output is on.
    Output,
}

/// One message and what its reply holds, in order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ask {
    /// The message.
    pub query: Query,
    /// One item for each query in it.
    pub items: Vec<Item>,
}

/// How numbers stand in replies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NumberRules {
    /// Whether a unit stands behind a reading.
    pub suffix: Suffix,
    /// What separates volts and amps in a list.
    pub separator: char,
    /// Decimals that every reading of volts has, where the supply always gives the same number.
    pub volts_decimals: Option<u8>,
    /// Decimals that every reading of amps has, where the supply always gives the same number.
    pub amps_decimals: Option<u8>,
}

/// What regulates the output.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mode {
    /// Constant voltage.
    ConstantVoltage,
    /// Constant current: in the limit.
    ConstantCurrent,
    /// The output is off.
    Off,
}

/// Which bits of the status register mean what. There is no common rule among supplies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct StatusBits {
    /// Mask of the bit for constant voltage.
    pub constant_voltage: Option<u32>,
    /// Mask of the bit for constant current.
    pub constant_current: Option<u32>,
    /// Mask of the bit for output off.
    pub off: Option<u32>,
}

impl StatusBits {
    /// What `register` says; `None` if it says nothing or contradicts itself (between two states, or a failed supply).
    #[must_use]
    pub fn mode(&self, register: u32) -> Option<Mode> {
        let set = |mask: Option<u32>| mask.map(|mask| register & mask != 0);
        if set(self.off) == Some(true) {
            return Some(Mode::Off);
        }
        match (set(self.constant_voltage), set(self.constant_current)) {
            (Some(true), Some(false) | None) | (None, Some(false)) => Some(Mode::ConstantVoltage),
            (Some(false) | None, Some(true)) | (Some(false), None) => Some(Mode::ConstantCurrent),
            (Some(true), Some(true)) | (Some(false), Some(false)) | (None, None) => None,
        }
    }
}

/// Accuracy of a readback: a share of the reading and a fixed part.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Accuracy {
    /// Share of the reading, 0.001 for 0.1 %.
    pub share: f64,
    /// Fixed part, in volts or amperes.
    pub fixed: f64,
}

/// What the supply's own measurement is worth.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Readback {
    /// Smallest step of volts.
    pub volts_resolution: Option<Volts>,
    /// Smallest step of amps.
    pub amps_resolution: Option<Amps>,
    /// Accuracy of volts.
    pub volts_accuracy: Option<Accuracy>,
    /// Accuracy of amps.
    pub amps_accuracy: Option<Accuracy>,
    /// Shortest time between two new readings.
    pub fastest_update: Option<Duration>,
    /// Longest time between two new readings.
    pub slowest_update: Option<Duration>,
}

/// Which output of several is meant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Channel {
    /// Its number.
    pub number: u32,
    /// Asks which output is selected; `None` if queries name the channel themselves.
    pub selected: Option<Query>,
    /// How long the supply needs after a selection.
    pub settle: Duration,
}

/// How one supply departs from the plain standard.
#[derive(Debug, Clone, PartialEq)]
pub struct Dialect {
    /// Short name.
    pub name: String,
    /// What kind of supply, by its behaviour.
    pub description: String,
    /// How the line is used.
    pub line: LineRules,
    /// How numbers stand in replies.
    pub numbers: NumberRules,
    /// What a list of volts and amps holds, in order.
    pub fields: Vec<Field>,
    /// Asks who the supply is.
    pub identify: Option<Query>,
    /// Asks for volts and amps, and the status register where every poll reads it.
    pub readings: Vec<Ask>,
    /// Asks for what the supply is set to.
    pub settings: Vec<Ask>,
    /// Asks whether the output is on.
    pub output: Option<Query>,
    /// Asks for the next entry of the error queue.
    pub next_error: Option<Query>,
    /// Which status bits mean what.
    pub status: Option<StatusBits>,
    /// Which output of several.
    pub channel: Option<Channel>,
    /// What the readback is worth.
    pub readback: Readback,
    /// What sets anything: for the guard alone.
    pub(super) orders: Orders,
}

/// The plain standard: SCPI-1999 and IEEE 488.2, nothing assumed beyond them.
const PLAIN: &str = include_str!("../../../profiles/dialects/plain.toml");

impl Dialect {
    /// The dialect that is built in.
    ///
    /// # Panics
    /// Never: the text is part of the program, and a test loads it.
    #[must_use]
    pub fn plain() -> Self {
        Self::parse("plain.toml", PLAIN).expect("the built-in dialect loads")
    }

    /// Reads a dialect from TOML; `path` is for messages.
    ///
    /// # Errors
    /// [`DialectError`] with file, line and key.
    pub fn parse(path: &str, text: &str) -> Result<Self, DialectError> {
        load::load(path, text)
    }

    /// Reads a dialect file.
    ///
    /// # Errors
    /// [`DialectError`] with file, line and key.
    pub fn read(path: &std::path::Path) -> Result<Self, DialectError> {
        let name = path.display().to_string();
        let text = std::fs::read_to_string(path)
            .map_err(|e| DialectError::Unreadable { path: name.clone(), detail: e.to_string() })?;
        Self::parse(&name, &text)
    }

    /// Whether the dialect says how to drive the supply, not only how to read it.
    #[must_use]
    pub fn can_drive(&self) -> bool {
        self.orders.can_drive()
    }

    /// Every message that reading this supply may send, without terminators.
    #[must_use]
    pub fn all_queries(&self) -> Vec<&str> {
        let asks = self.readings.iter().chain(&self.settings).map(|ask| &ask.query);
        let single = self.identify.iter().chain(&self.output).chain(&self.next_error);
        let channel = self.channel.iter().filter_map(|channel| channel.selected.as_ref());
        asks.chain(single).chain(channel).map(Query::text).collect()
    }
}

#[cfg(test)]
mod tests;
