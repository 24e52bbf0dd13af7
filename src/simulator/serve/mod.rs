//! The simulated supply on a wire: a pseudo-terminal or a TCP port on loopback.
//!
//! A pseudo-terminal moves bytes at once; the server paces them itself, both ways, at the baud rate that was asked
//! for, as a real line would. It runs on a thread of its own until it is stopped or dropped.
//!
//! The bench's clock starts with the first measurement that is asked for, so that a recording sees the whole run
//! however long it took to type. Leave the supply alone for [`Setup::rewind_s`] seconds and the bench is back at the
//! beginning, ready for the next recording of the same run.

mod clock;
mod converse;
#[cfg(unix)]
mod pty;
mod tcp;

use super::bench::TruthEvent;
use super::fault::WireFault;
use super::instrument::Manners;
use super::scenario::Scenario;
use super::supply::Reading;
use std::io;
use std::net::TcpListener;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::Instant;

/// Bits on the line for a byte of 8 data bits, no parity, 1 stop bit: with the start bit ten.
const BITS_PER_BYTE: f64 = 10.0;

/// What is served, and how.
#[derive(Debug, Clone, PartialEq)]
pub struct Setup {
    /// The run.
    pub scenario: Scenario,
    /// How the supply departs from the standard.
    pub manners: Manners,
    /// Trouble on the wire.
    pub faults: Vec<WireFault>,
    /// Line rate to keep to; `None` for as fast as it goes.
    pub baud: Option<u32>,
    /// How many times faster than real time the bench runs, its line included.
    pub speed: f64,
    /// After how many real seconds without a byte the bench goes back to the beginning; `None` for never.
    pub rewind_s: Option<f64>,
}

impl Setup {
    /// That run, plainly served in real time.
    #[must_use]
    pub fn new(scenario: Scenario) -> Self {
        Self {
            scenario,
            manners: Manners::default(),
            faults: Vec::new(),
            baud: None,
            speed: 1.0,
            rewind_s: Some(DEFAULT_REWIND_S),
        }
    }
}

/// Seconds without a byte after which the bench goes back to the beginning, unless it is said otherwise.
pub const DEFAULT_REWIND_S: f64 = 3.0;

/// One measurement as it truly was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exchange {
    /// When the supply took the reading from its display, on the clock of this process.
    pub at: Instant,
    /// The same in bench seconds.
    pub bench_s: f64,
    /// What it showed.
    pub reading: Reading,
}

/// What truly happened, for comparing with what was logged.
#[derive(Debug, Clone, Default)]
pub struct Record {
    /// When the bench's clock started, if it has.
    pub zero: Option<Instant>,
    /// Measurements in order of time.
    pub exchanges: Vec<Exchange>,
    /// What happened at the bench, in bench seconds.
    pub events: Vec<TruthEvent>,
    /// Every message that the supply received, without its terminator.
    pub messages: Vec<Vec<u8>>,
    /// How often the bench went back to the beginning; the record is of the run since then.
    pub rewinds: usize,
}

/// A supply that is being served, until it is dropped.
#[derive(Debug)]
pub struct Server {
    address: Arc<Mutex<String>>,
    record: Arc<Mutex<Record>>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<io::Result<()>>>,
}

impl Server {
    /// Serves on a new pseudo-terminal. With `link`, a symbolic link of that name leads to it, and keeps leading to
    /// it when the cable was out; the link is taken away at the end.
    ///
    /// # Errors
    /// If there is no pseudo-terminal to be had, or `link` is there already or cannot be made.
    #[cfg(unix)]
    pub fn pty(setup: Setup, link: Option<&Path>) -> io::Result<Self> {
        let port = pty::Port::open(link)?;
        let address = with_settings(port.path(), setup.baud, setup.speed);
        Self::start(setup, address, move |talk| pty::serve(port, talk))
    }

    /// Serves on the listener, one client at a time.
    ///
    /// # Errors
    /// If the listener has no address or cannot be polled.
    pub fn tcp(setup: Setup, listener: TcpListener) -> io::Result<Self> {
        listener.set_nonblocking(true)?;
        let place = format!("tcp:{}", listener.local_addr()?);
        let address = with_settings(&place, None, setup.speed);
        Self::start(setup, address, move |talk| tcp::serve(listener, talk))
    }

    fn start<F>(setup: Setup, address: String, serve: F) -> io::Result<Self>
    where
        F: FnOnce(&mut converse::Talk) -> io::Result<()> + Send + 'static,
    {
        let address = Arc::new(Mutex::new(address));
        let record = Arc::new(Mutex::new(Record::default()));
        let stop = Arc::new(AtomicBool::new(false));
        let mut talk = converse::Talk::new(setup, record.clone(), stop.clone(), address.clone());
        let thread = std::thread::Builder::new().name("simulated supply".to_owned()).spawn(move || {
            clock::be_punctual();
            serve(&mut talk)
        })?;
        Ok(Self { address, record, stop, thread: Some(thread) })
    }

    /// The address for a recorder, with its settings.
    ///
    /// It changes when a fault brings the port back under another name.
    #[must_use]
    pub fn address(&self) -> String {
        locked(&self.address).clone()
    }

    /// What truly happened so far.
    #[must_use]
    pub fn record(&self) -> Record {
        locked(&self.record).clone()
    }

    /// Looks at what truly happened so far without copying it; the supply waits meanwhile.
    pub fn look<T>(&self, look: impl FnOnce(&Record) -> T) -> T {
        look(&locked(&self.record))
    }

    /// Whether the thread still serves.
    #[must_use]
    pub fn is_running(&self) -> bool {
        self.thread.as_ref().is_some_and(|thread| !thread.is_finished())
    }

    /// Stops serving and gives back what truly happened.
    ///
    /// # Errors
    /// What the wire failed with, if it failed.
    pub fn stop(mut self) -> io::Result<Record> {
        self.end()?;
        Ok(self.record())
    }

    fn end(&mut self) -> io::Result<()> {
        self.stop.store(true, Ordering::Relaxed);
        match self.thread.take().map(JoinHandle::join) {
            Some(Ok(result)) => result,
            Some(Err(_)) => Err(io::Error::other("the simulated supply broke down")),
            None => Ok(()),
        }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // Whoever drops it has no use for how it ended.
        let _ = self.end();
    }
}

/// Waits for bytes by the system's precise timers: a socket's own timeout is rounded up to ticks of 4 ms and more, and an
/// answer that is due soon would be late.
#[cfg(unix)]
fn wait_for_bytes(wire: &impl std::os::fd::AsFd, wait: std::time::Duration) -> io::Result<bool> {
    use rustix::event::{PollFd, PollFlags, Timespec, poll};
    let wait = Timespec::try_from(wait).map_err(io::Error::other)?;
    match poll(&mut [PollFd::new(wire, PollFlags::IN)], Some(&wait)) {
        Ok(ready) => Ok(ready > 0),
        Err(rustix::io::Errno::INTR) => Ok(false),
        Err(error) => Err(error.into()),
    }
}

/// A lock whose holder cannot leave it half-done.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The address with what a recorder must know of it.
fn with_settings(place: &str, baud: Option<u32>, speed: f64) -> String {
    let baud = baud.map(|baud| format!("baud={baud}"));
    let speed = ((speed - 1.0).abs() > f64::EPSILON).then(|| format!("speed={speed}"));
    let settings: Vec<String> = baud.into_iter().chain(speed).collect();
    if settings.is_empty() { place.to_owned() } else { format!("{place}?{}", settings.join("&")) }
}

#[cfg(test)]
mod tests;
