//! A byte link to an instrument: serial, TCP or in memory, with deadlines. Knows nothing of supplies.
//!
//! [`Link`] owns a boxed [`Channel`] (a reader and writer that can be told how long to block) and adds what the
//! operating system does not give: deadlines over several reads, one write a message, and errors that say which
//! port, what happened and what to try. [`Address`] is what a person types.

mod address;
mod error;
mod memory;
mod serial;
mod tcp;

pub use address::{Address, AddressError, Parity, Place, SPEEDS, SerialSettings};
pub use error::LinkError;
pub use memory::{MemoryEnd, memory};
pub use serial::{SerialPortInfo, serial_ports};

use std::io::{self, Read, Write};
use std::time::{Duration, Instant};

/// How long opening a TCP connection may take before the host counts as not there.
const CONNECT_WITHIN: Duration = Duration::from_secs(3);

/// A reader and writer that can be told how long one call may block.
///
/// A per-call limit is not a deadline (a device that sends a byte now and then would hold it off for ever); [`Link`]
/// makes deadlines of it.
pub trait Channel: Read + Write + Send {
    /// Lets no later read or write block for longer than `limit`, which is never zero.
    ///
    /// # Errors
    /// What the operating system reports.
    fn block_at_most(&mut self, limit: Duration) -> io::Result<()>;

    /// Whether a read would return at once.
    ///
    /// # Errors
    /// What the operating system reports.
    fn has_input(&mut self) -> io::Result<bool>;
}

/// A byte link to one instrument.
pub struct Link {
    channel: Box<dyn Channel>,
    name: String,
    /// How long the line takes for one byte; zero where the system alone knows.
    byte_time: Duration,
}

impl std::fmt::Debug for Link {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Link").field("name", &self.name).finish_non_exhaustive()
    }
}

impl Link {
    /// Opens the port or connection that `address` names, ready to carry raw bytes.
    ///
    /// # Errors
    /// [`LinkError`], which says what to try.
    pub fn open(address: &Address) -> Result<Self, LinkError> {
        let (channel, byte_time) = match address.place() {
            Place::Serial { path, settings } => (serial::open(path, *settings)?, settings.byte_time()),
            Place::Tcp { host, port } => (tcp::open(host, *port, CONNECT_WITHIN)?, Duration::ZERO),
        };
        Ok(Self { channel, name: address.place().to_string(), byte_time })
    }

    /// A link over any channel, called `name` in messages.
    #[must_use]
    pub fn over(channel: Box<dyn Channel>, name: impl Into<String>) -> Self {
        Self { channel, name: name.into(), byte_time: Duration::ZERO }
    }

    /// A link that is gone: what stands in the place of a lost one, so that its port is free to be opened again.
    #[must_use]
    pub fn gone(name: impl Into<String>) -> Self {
        Self::over(Box::new(Gone), name)
    }

    /// What messages call the other end.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// How long `bytes` are on their way after they were sent: a serial port takes them at once and lets them out at
    /// the line's pace.
    #[must_use]
    pub fn time_on_line(&self, bytes: usize) -> Duration {
        self.byte_time.saturating_mul(u32::try_from(bytes).unwrap_or(u32::MAX))
    }

    /// Sends `message` in one write (split writes cost a delayed acknowledgement each on TCP).
    ///
    /// # Errors
    /// [`LinkError::Gone`] if the other end is no longer there, [`LinkError::Blocked`] if it takes no bytes until
    /// `deadline`.
    pub fn send(&mut self, message: &[u8], deadline: Instant) -> Result<(), LinkError> {
        let started = Instant::now();
        let mut rest = message;
        while !rest.is_empty() {
            let Some(limit) = remaining(deadline) else {
                return Err(LinkError::Blocked { port: self.name.clone(), waited: started.elapsed() });
            };
            self.channel.block_at_most(limit).map_err(|e| self.failed(&e))?;
            match self.channel.write(rest) {
                Ok(0) => return Err(LinkError::Gone { port: self.name.clone() }),
                Ok(count) => rest = &rest[count..],
                Err(e) if is_only_a_wait(&e) => {}
                Err(e) => return Err(self.failed(&e)),
            }
        }
        Ok(())
    }

    /// Waits for bytes until `deadline` and returns as soon as there are any, with their number; 0 means that none
    /// came in time. A deadline that has passed still takes what is already there.
    ///
    /// # Errors
    /// [`LinkError::Gone`] if the other end is no longer there.
    pub fn receive(&mut self, buffer: &mut [u8], deadline: Instant) -> Result<usize, LinkError> {
        loop {
            let Some(limit) = remaining(deadline) else {
                return self.receive_waiting(buffer);
            };
            self.channel.block_at_most(limit).map_err(|e| self.failed(&e))?;
            match self.channel.read(buffer) {
                Ok(0) => return Err(LinkError::Gone { port: self.name.clone() }),
                Ok(count) => return Ok(count),
                Err(e) if is_only_a_wait(&e) => {}
                Err(e) => return Err(self.failed(&e)),
            }
        }
    }

    /// Takes what has already come, without waiting; 0 for nothing.
    ///
    /// # Errors
    /// [`LinkError::Gone`] if the other end is no longer there.
    pub fn receive_waiting(&mut self, buffer: &mut [u8]) -> Result<usize, LinkError> {
        if !self.channel.has_input().map_err(|e| self.failed(&e))? {
            return Ok(0);
        }
        match self.channel.read(buffer) {
            Ok(0) => Err(LinkError::Gone { port: self.name.clone() }),
            Ok(count) => Ok(count),
            Err(e) if is_only_a_wait(&e) => Ok(0),
            Err(e) => Err(self.failed(&e)),
        }
    }

    fn failed(&self, error: &io::Error) -> LinkError {
        LinkError::in_use(&self.name, error)
    }
}

/// The end of a cable that leads nowhere.
struct Gone;

impl Read for Gone {
    fn read(&mut self, _: &mut [u8]) -> io::Result<usize> {
        Err(io::ErrorKind::BrokenPipe.into())
    }
}

impl Write for Gone {
    fn write(&mut self, _: &[u8]) -> io::Result<usize> {
        Err(io::ErrorKind::BrokenPipe.into())
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Channel for Gone {
    fn block_at_most(&mut self, _: Duration) -> io::Result<()> {
        Ok(())
    }
    fn has_input(&mut self) -> io::Result<bool> {
        Err(io::ErrorKind::BrokenPipe.into())
    }
}

/// What is left until `deadline`, never zero (which the operating system takes for no limit at all).
fn remaining(deadline: Instant) -> Option<Duration> {
    deadline.checked_duration_since(Instant::now()).filter(|left| !left.is_zero())
}

/// Whether a call only found nothing to do within its time, or was interrupted by a signal.
fn is_only_a_wait(error: &io::Error) -> bool {
    matches!(error.kind(), io::ErrorKind::TimedOut | io::ErrorKind::WouldBlock | io::ErrorKind::Interrupted)
}

#[cfg(test)]
mod tests;
