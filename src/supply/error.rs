//! What can go wrong between feedtale and a supply.

use crate::link::LinkError;
use std::time::Duration;

/// Trouble with a supply. Nothing of a reply that ended in one of these was taken for a reading.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SupplyError {
    /// The link itself.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// No answer at all.
    #[error(
        "{port}: no answer to '{command}' within {:.2} s; check that the supply is on and set to remote control, the cable, and the baud rate (`feedtale supplies --probe {port}` tries the usual ones)",
        .waited.as_secs_f64()
    )]
    Silent {
        /// The port.
        port: String,
        /// What was asked.
        command: String,
        /// How long it was waited for.
        waited: Duration,
    },
    /// An answer without its end.
    #[error(
        "{port}: the answer to '{command}' was cut: '{received}' and no end of line; check the cable and the baud rate"
    )]
    Cut {
        /// The port.
        port: String,
        /// What was asked.
        command: String,
        /// What came.
        received: String,
    },
    /// More than one answer to one question.
    #[error(
        "{port}: two answers to '{command}': '{received}' and more; which is which cannot be told, so neither was taken"
    )]
    Joined {
        /// The port.
        port: String,
        /// What was asked.
        command: String,
        /// The first of them.
        received: String,
    },
    /// Bytes that never end in a line.
    #[error("{port}: endless bytes without an end of line; this is no supply, or the baud rate is wrong")]
    Babble {
        /// The port.
        port: String,
    },
    /// An answer that is not what was asked for.
    #[error("{port}: '{command}' was answered by '{reply}': {why}")]
    NotUnderstood {
        /// The port.
        port: String,
        /// What was asked.
        command: String,
        /// The answer, or its start.
        reply: String,
        /// What is wrong with it.
        why: String,
    },
    /// The supply found again is not the one that was lost.
    #[error("{port}: another supply answers: '{found}', not '{expected}'")]
    AnotherSupply {
        /// The port.
        port: String,
        /// The supply that was lost.
        expected: String,
        /// The supply that answers.
        found: String,
    },
    /// A supply that cannot say who it is cannot be known again at another port.
    #[error(
        "{port}: not looked at: this supply cannot identify itself, so another port may hold another supply"
    )]
    Unidentified {
        /// The other port.
        port: String,
    },
    /// Another output is selected than the one to be read.
    #[error(
        "{port}: output {found} is selected, not {wanted}; select it at the supply, or allow feedtale to do so (--prepare)"
    )]
    WrongChannel {
        /// The port.
        port: String,
        /// The one selected.
        found: u32,
        /// The one wanted.
        wanted: u32,
    },
}

impl SupplyError {
    /// Whether the link is lost, so that only opening it again can help.
    #[must_use]
    pub fn is_link_lost(&self) -> bool {
        matches!(self, Self::Link(error) if error.is_loss())
    }

    /// Whether the supply said nothing at all.
    #[must_use]
    pub fn is_silence(&self) -> bool {
        matches!(self, Self::Silent { .. })
    }
}
