//! A supply within the process, for tests: a strict device, with a load, and faults on demand.

use crate::link::{Channel, Link};
use std::collections::VecDeque;
use std::io::{self, Read, Write};
use std::sync::{Arc, Mutex, MutexGuard};
use std::time::{Duration, Instant};

/// What goes wrong with one reply.
#[derive(Debug, Clone)]
pub(super) enum Fault {
    /// Nothing.
    None,
    /// No reply.
    Silent,
    /// The reply comes so much later.
    Late(Duration),
    /// The end of the reply, with its end of line, is lost.
    Cut,
    /// The reply comes twice.
    Doubled,
    /// Something else comes instead.
    Instead(&'static [u8]),
    /// Something comes before the reply.
    Before(&'static [u8]),
}

/// The device as it stands.
#[expect(clippy::struct_excessive_bools, reason = "independent switches of a test device")]
#[derive(Debug)]
pub(super) struct State {
    pub(super) set_volts: f64,
    pub(super) limit: f64,
    pub(super) on: bool,
    /// Set when switching off is ignored.
    pub(super) stuck_on: bool,
    /// Set when settings are ignored.
    pub(super) deaf_to_settings: bool,
    pub(super) plugged: bool,
    pub(super) load_ohms: f64,
    pub(super) load_farads: f64,
    pub(super) faults: VecDeque<Fault>,
    pub(super) heard: Vec<String>,
    pub(super) errors: VecDeque<&'static str>,
    since: Instant,
    coming: VecDeque<(Instant, Vec<u8>)>,
}

/// A handle on the device that a [`Link`] talks to.
#[derive(Clone)]
pub(super) struct Fake(Arc<Mutex<State>>);

struct Cable {
    state: Fake,
    limit: Duration,
    line: Vec<u8>,
}

impl Fake {
    pub(super) fn new() -> Self {
        Self(Arc::new(Mutex::new(State {
            set_volts: 5.0,
            limit: 1.0,
            on: false,
            stuck_on: false,
            deaf_to_settings: false,
            plugged: true,
            load_ohms: 100.0,
            load_farads: 0.0,
            faults: VecDeque::new(),
            heard: Vec::new(),
            errors: VecDeque::new(),
            since: Instant::now(),
            coming: VecDeque::new(),
        })))
    }

    pub(super) fn state(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
    }

    pub(super) fn link(&self) -> Link {
        let cable = Cable { state: self.clone(), limit: Duration::from_secs(1), line: Vec::new() };
        Link::over(Box::new(cable), "bench")
    }

    pub(super) fn faults(&self, faults: impl IntoIterator<Item = Fault>) {
        self.state().faults.extend(faults);
    }
}

impl State {
    fn hear(&mut self, message: &str) {
        self.heard.push(message.to_owned());
        let replies: Vec<_> = message.split(';').filter_map(|unit| self.unit(unit)).collect();
        if replies.is_empty() {
            return;
        }
        let mut reply = replies.join(";").into_bytes();
        reply.push(b'\n');
        let mut at = Instant::now();
        match self.faults.pop_front().unwrap_or(Fault::None) {
            Fault::None => {}
            Fault::Silent => return,
            Fault::Late(by) => at += by,
            Fault::Cut => reply.truncate(reply.len() / 2),
            Fault::Doubled => reply = reply.repeat(2),
            Fault::Instead(bytes) => reply = bytes.to_vec(),
            Fault::Before(bytes) => reply = [bytes, &reply].concat(),
        }
        self.coming.push_back((at, reply));
    }

    fn unit(&mut self, unit: &str) -> Option<String> {
        let (header, value) = unit.split_once(' ').unwrap_or((unit, ""));
        let number = value.parse::<f64>().unwrap_or_default();
        let (volts, amps) = self.measured();
        match header {
            "*IDN?" => return Some("SALTMARSH BENCH,FAKE,0007,1.0".to_owned()),
            "MEAS:VOLT?" => return Some(format!("{volts:.3}")),
            "CURR?" if self.heard.last().is_some_and(|m| m.starts_with("MEAS")) => {
                return Some(format!("{amps:.4}"));
            }
            "VOLT?" => return Some(format!("{:.3}", self.set_volts)),
            "CURR?" => return Some(format!("{:.3}", self.limit)),
            "OUTP?" => return Some(u8::from(self.on).to_string()),
            "SYST:ERR?" => return Some(self.errors.pop_front().unwrap_or("0,\"No error\"").to_owned()),
            "VOLT" if !self.deaf_to_settings => self.set_volts = number,
            "CURR" if !self.deaf_to_settings => self.limit = number,
            "OUTP" if value == "ON" => (self.on, self.since) = (true, Instant::now()),
            "OUTP" if !self.stuck_on => self.on = false,
            _ => {}
        }
        None
    }

    /// Constant voltage into a resistance, limited; a capacitor instead charges at the limit.
    fn measured(&self) -> (f64, f64) {
        if !self.on {
            return (0.0, 0.0);
        }
        if self.load_farads > 0.0 {
            let volts = self.limit / self.load_farads * self.since.elapsed().as_secs_f64();
            return if volts < self.set_volts { (volts, self.limit) } else { (self.set_volts, 0.0) };
        }
        let amps = (self.set_volts / self.load_ohms).min(self.limit);
        (amps * self.load_ohms, amps)
    }
}

impl Write for Cable {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let mut state = self.state.state();
        if !state.plugged {
            return Err(io::ErrorKind::BrokenPipe.into());
        }
        for byte in bytes {
            if *byte == b'\n' {
                let message = String::from_utf8(std::mem::take(&mut self.line)).unwrap();
                state.hear(&message);
            } else {
                self.line.push(*byte);
            }
        }
        Ok(bytes.len())
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Read for Cable {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let until = Instant::now() + self.limit;
        loop {
            let mut state = self.state.state();
            if !state.plugged {
                return Ok(0);
            }
            let now = Instant::now();
            if let Some((_, bytes)) = state.coming.front_mut().filter(|(at, _)| *at <= now) {
                let count = bytes.len().min(buffer.len());
                buffer[..count].copy_from_slice(&bytes[..count]);
                bytes.drain(..count);
                if bytes.is_empty() {
                    state.coming.pop_front();
                }
                return Ok(count);
            }
            let next = state.coming.front().map_or(until, |(at, _)| *at).min(until);
            drop(state);
            if now >= until {
                return Err(io::ErrorKind::TimedOut.into());
            }
            std::thread::sleep(next.saturating_duration_since(now).max(Duration::from_micros(50)));
        }
    }
}

impl Channel for Cable {
    fn block_at_most(&mut self, limit: Duration) -> io::Result<()> {
        self.limit = limit;
        Ok(())
    }
    fn has_input(&mut self) -> io::Result<bool> {
        let state = self.state.state();
        let now = Instant::now();
        Ok(!state.plugged || state.coming.front().is_some_and(|(at, _)| *at <= now))
    }
}
