//! What the poll loop asks of a supply: readings, settings, and the link back after it was lost.
//!
//! A small trait rather than the supply itself, so that the loop can be tested against one made of numbers and time.

use crate::trace::Mode;
use crate::units::{Amps, Volts};
use std::time::Instant;

/// One understood answer of the supply.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Volts at the supply's terminals.
    pub volts: Volts,
    /// Amps out of the supply.
    pub amps: Amps,
    /// What regulates the output.
    pub mode: Mode,
    /// When the first byte of the query went out.
    pub asked: Instant,
    /// When the last byte of the answer was in.
    pub answered: Instant,
}

/// What a supply says that it is set to; `None` where it cannot say.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Settings {
    /// Volts that it is set to.
    pub volts: Option<Volts>,
    /// Current limit that it is set to.
    pub limit: Option<Amps>,
    /// Whether the output is on.
    pub output_on: Option<bool>,
}

/// Why there is no reading. The message of each names what happened.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Trouble {
    /// Something came that is not a reading; the stream is in step again.
    #[error("{0}")]
    NotUnderstood(String),
    /// Nothing came in time.
    #[error("{0}")]
    Silent(String),
    /// The link is gone.
    #[error("{0}")]
    Lost(String),
}

/// A supply that can be read.
pub trait Source: Send {
    /// One reading in one exchange.
    ///
    /// # Errors
    /// [`Trouble`]; never a number that was not understood.
    fn read(&mut self) -> Result<Reading, Trouble>;

    /// What the supply is set to.
    ///
    /// # Errors
    /// [`Trouble`], as for [`Self::read`].
    fn settings(&mut self) -> Result<Settings, Trouble>;

    /// Tries once to have the link back, to the same supply.
    ///
    /// # Errors
    /// [`Trouble::Lost`] while it is not there, or another device is in its place.
    fn reopen(&mut self) -> Result<(), Trouble>;

    /// The supply's output, if this source was given permission to switch it.
    fn output(&mut self) -> Option<&mut dyn Output> {
        None
    }
}

/// An output that may be switched.
pub trait Output {
    /// Switches the output on and confirms it by reading back.
    ///
    /// # Errors
    /// [`Trouble`]; the output may then be on or off.
    fn switch_on(&mut self) -> Result<(), Trouble>;

    /// Switches the output off and confirms it by reading back.
    ///
    /// # Errors
    /// [`Unconfirmed`] when nothing shows that the output is off.
    fn switch_off(&mut self) -> Result<(), Unconfirmed>;

    /// Leaves the output as it is when this source goes; otherwise it is switched off with it.
    fn leave_on(&mut self);
}

/// The output may still be on: nobody may touch the board on this program's word.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the output could not be confirmed off: {0}")]
pub struct Unconfirmed(pub String);
