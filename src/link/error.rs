//! What can go wrong with a link: which port, what happened, what to try.

use std::io;
use std::time::Duration;

/// Trouble with a link. Every message names the port and ends in what to try.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum LinkError {
    /// There is no such port.
    #[error(
        "{port}: no such port; is the cable plugged in and the supply switched on? `feedtale supplies` lists the ports that are there"
    )]
    NoSuchPort {
        /// The port asked for.
        port: String,
    },
    /// This user may not open the port.
    #[error("{port}: permission denied; {remedy}")]
    Permission {
        /// The port asked for.
        port: String,
        /// What to do about it: which group owns the device.
        remedy: String,
    },
    /// Another program has the port.
    #[error("{port}: in use by another program; close that program (or the other feedtale) and try again")]
    Busy {
        /// The port asked for.
        port: String,
    },
    /// The path names something that is no serial port.
    #[error(
        "{port}: not a serial port ({detail}); give a device path such as /dev/ttyUSB0 or COM3, or tcp:HOST:PORT"
    )]
    NotSerial {
        /// The path asked for.
        port: String,
        /// What the operating system said.
        detail: String,
    },
    /// The port does not take the settings.
    #[error(
        "{port}: does not take these settings ({detail}); check the baud rate, bits, parity and stop bits"
    )]
    Settings {
        /// The port asked for.
        port: String,
        /// What the operating system said.
        detail: String,
    },
    /// Nothing listens at the TCP address.
    #[error(
        "{port}: connection refused; nothing listens there. Is the supply's network service on, and is the port number right?"
    )]
    Refused {
        /// The address asked for.
        port: String,
    },
    /// The host name is not known.
    #[error(
        "{port}: unknown host ({detail}); check the name, or give the supply's IP address from its front panel"
    )]
    UnknownHost {
        /// The address asked for.
        port: String,
        /// What the resolver said.
        detail: String,
    },
    /// The host does not answer.
    #[error("{port}: no answer to the connection within {:.1} s; is the supply on this network?", .waited.as_secs_f64())]
    Unreachable {
        /// The address asked for.
        port: String,
        /// How long it was tried.
        waited: Duration,
    },
    /// The other end went away while in use.
    #[error(
        "{port}: the link is gone (unplugged, switched off, or closed by the other end); plug it in again"
    )]
    Gone {
        /// The port in use.
        port: String,
    },
    /// The other end takes no bytes.
    #[error("{port}: takes no bytes since {:.1} s; check flow control (flow=none) and the cable", .waited.as_secs_f64())]
    Blocked {
        /// The port in use.
        port: String,
        /// How long it was tried.
        waited: Duration,
    },
    /// Anything else that the operating system reports.
    #[error("{port}: {detail}; unplug and replug the cable, then try again")]
    Other {
        /// The port.
        port: String,
        /// What the operating system said.
        detail: String,
    },
}

impl LinkError {
    /// What an error of a read or write on an open port means.
    ///
    /// An unplugged serial adapter shows as a broken pipe, as ENXIO, ENODEV or EIO (which the serial library reports
    /// without a kind of its own), a closed connection as a reset.
    pub(super) fn in_use(port: &str, error: &io::Error) -> Self {
        use io::ErrorKind as K;
        let port = port.to_owned();
        match error.kind() {
            K::TimedOut | K::WouldBlock => Self::Blocked { port, waited: Duration::ZERO },
            K::OutOfMemory | K::InvalidInput => Self::Other { port, detail: error.to_string() },
            _ => Self::Gone { port },
        }
    }

    /// Whether opening the port again may help, once it is plugged in.
    #[must_use]
    pub fn is_loss(&self) -> bool {
        matches!(
            self,
            Self::Gone { .. } | Self::NoSuchPort { .. } | Self::Refused { .. } | Self::Unreachable { .. }
        )
    }
}
