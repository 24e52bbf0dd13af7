//! The supply as an instrument: it takes messages and gives answers.
//!
//! This is the device's side of IEEE 488.2-1992 and SCPI-1999, written from the standards alone. It shares nothing
//! with the client's side of this program.

mod commands;
mod manners;
mod message;
mod status;
mod tree;

pub use manners::{Manners, ModeBits, QUIRKS, QuirkError, Terminator};

use super::bench::Bench;
use super::supply::Mode;
use message::{Complaint, Unit};
use status::Status;
use tree::{Command, Tree};

/// The longest message that fits the input buffer, in bytes.
const LONGEST_MESSAGE: usize = 1024;

/// What the instrument does with a message.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Answer {
    /// Bytes to send back; empty for silence.
    pub bytes: Vec<u8>,
    /// Seconds from the end of the message until they begin.
    pub after_s: f64,
    /// Whether the message asked for a measurement.
    pub measured: bool,
    /// Whether the message changed a setting or the output.
    pub changed: bool,
}

/// A simulated supply with a simulated board, behind the message syntax.
#[derive(Debug, Clone)]
pub struct Instrument {
    bench: Bench,
    manners: Manners,
    tree: Tree,
    status: Status,
    input: Vec<u8>,
    remote: bool,
    /// After how much silence the output goes off, if the watchdog is armed.
    watchdog_s: Option<f64>,
    /// The same, for when it will be armed.
    watchdog_time_s: f64,
    last_message_s: f64,
    /// The output that is selected, and what the one with nothing connected is set to.
    selected: u8,
    bare: Bare,
}

/// An output with nothing connected.
#[derive(Debug, Clone, Copy, Default)]
struct Bare {
    volts: f64,
    amps: f64,
    on: bool,
}

/// Seconds of silence after which a watchdog acts that was armed without a word on its time.
const WATCHDOG_S: f64 = 10.0;

/// What one message does, as it is worked through.
#[derive(Debug, Default)]
#[expect(clippy::struct_excessive_bools, reason = "four independent facts of one message")]
struct Course {
    answers: Vec<String>,
    path: Vec<String>,
    /// A query whose answer has no definite end came before (IEEE 488.2 §6.3.5: nothing may follow it).
    indefinite: bool,
    understood: bool,
    busy_s: f64,
    measured: bool,
    changed: bool,
}

impl Instrument {
    /// The instrument of a bench.
    #[must_use]
    pub fn new(mut bench: Bench, manners: Manners) -> Self {
        bench.volts_factor = manners.volts_factor;
        Self {
            bench,
            manners,
            tree: Tree::new(),
            status: Status::new(),
            input: Vec::new(),
            remote: false,
            watchdog_s: None,
            watchdog_time_s: WATCHDOG_S,
            last_message_s: 0.0,
            selected: 1,
            bare: Bare::default(),
        }
    }

    /// The bench behind it.
    #[must_use]
    pub fn bench(&self) -> &Bench {
        &self.bench
    }

    /// The bench behind it, to be acted on.
    pub fn bench_mut(&mut self) -> &mut Bench {
        &mut self.bench
    }

    /// Its departures from the standard.
    #[must_use]
    pub fn manners(&self) -> &Manners {
        &self.manners
    }

    /// Puts another bench in its place, as when the next board is connected.
    pub fn replace_bench(&mut self, bench: Bench) {
        self.last_message_s = bench.now();
        self.bench = bench;
        self.bench.volts_factor = self.manners.volts_factor;
    }

    /// Switches itself off and on again: output off, status and settings as after power-on.
    pub fn power_cycle(&mut self) {
        self.reset();
        self.status = Status::new();
        self.input.clear();
        self.remote = false;
        (self.selected, self.bare) = (1, Bare::default());
    }

    /// Moves the bench on to `until`, in bench seconds.
    pub fn advance(&mut self, until: f64) {
        self.bench.advance(until);
        if self.watchdog_s.is_some_and(|after| until - self.last_message_s > after) {
            self.bench.switch(false);
        }
        self.update_conditions();
    }

    /// Takes bytes from the wire, and gives back the messages that they complete.
    pub fn receive(&mut self, bytes: &[u8]) -> Vec<Vec<u8>> {
        let end = match self.manners.accepts {
            Terminator::LineFeed => b'\n',
            Terminator::CarriageReturn => b'\r',
        };
        let mut messages = Vec::new();
        for &byte in bytes {
            if byte == end {
                messages.push(std::mem::take(&mut self.input));
            } else if self.input.len() < LONGEST_MESSAGE {
                self.input.push(byte);
            } else {
                // What is too long is lost as a whole.
                self.input.clear();
                self.status.complain(Complaint::INPUT_OVERRUN);
            }
        }
        messages
    }

    /// Does what a message asks for.
    pub fn execute(&mut self, message: &[u8]) -> Answer {
        self.last_message_s = self.bench.now();
        let mut course = Course { understood: true, ..Course::default() };
        match std::str::from_utf8(message) {
            Ok(text) if text.is_ascii() => self.work_through(text, &mut course),
            _ => self.fail(Complaint::INVALID_CHARACTER, &mut course),
        }
        self.update_conditions();
        Answer {
            bytes: self.framed(message, &course),
            after_s: self.manners.device_s + course.busy_s,
            measured: course.measured,
            changed: course.changed,
        }
    }

    fn work_through(&mut self, text: &str, course: &mut Course) {
        let taken = if self.manners.compound { usize::MAX } else { 1 };
        for text in message::units(text).into_iter().take(taken) {
            let done = match message::unit(text) {
                Ok(None) => Ok(()),
                Ok(Some(unit)) => self.obey(&unit, course),
                Err(complaint) => Err(complaint),
            };
            if let Err(complaint) = done {
                self.fail(complaint, course);
                // After a command error the parser can no longer trust what follows (IEEE 488.2 §6.1.6.1.1).
                if complaint.is_command_error() {
                    break;
                }
            }
        }
    }

    fn obey(&mut self, unit: &Unit, course: &mut Course) -> Result<(), Complaint> {
        let command = self.resolve(unit, course)?;
        if !self.listens_to(command) {
            return Ok(());
        }
        if unit.query && course.indefinite {
            return Err(Complaint::AFTER_INDEFINITE);
        }
        let answer = commands::run(self, command, unit, course)?;
        course.indefinite |= command == Command::Identify;
        course.answers.extend(answer);
        Ok(())
    }

    /// The command of a unit. A header that does not start at the root goes on from the path of the one before: its
    /// header less its last word. A common command leaves the path as it is (SCPI-1999 volume 1 §6.2.4).
    fn resolve(&self, unit: &Unit, course: &mut Course) -> Result<Command, Complaint> {
        let common = unit.header[0].starts_with('*');
        let mut header = if unit.from_root { Vec::new() } else { course.path.clone() };
        header.extend(unit.header.iter().cloned());
        let command = self.tree.find(&header, unit.query)?;
        if !self.manners.error_queue && matches!(command, Command::NextError | Command::ErrorCount) {
            return Err(Complaint::UNDEFINED_HEADER);
        }
        if !common {
            header.pop();
            course.path = header;
        }
        Ok(command)
    }

    fn listens_to(&self, command: Command) -> bool {
        !self.manners.needs_remote || self.remote || matches!(command, Command::Remote | Command::Identify)
    }

    fn fail(&mut self, complaint: Complaint, course: &mut Course) {
        course.understood = false;
        self.status.complain(complaint);
    }

    fn framed(&self, message: &[u8], course: &Course) -> Vec<u8> {
        let manners = &self.manners;
        let mut bytes = Vec::new();
        if manners.echo {
            bytes.extend_from_slice(message);
            bytes.extend_from_slice(&manners.ends_with);
        }
        let mut answer = course.answers.join(";");
        if answer.is_empty() {
            let word = if course.understood {
                manners.says_ok.then_some("OK")
            } else {
                manners.error_word.as_deref()
            };
            answer.push_str(word.unwrap_or_default());
        }
        if !answer.is_empty() {
            bytes.extend_from_slice(answer.as_bytes());
            bytes.extend_from_slice(&manners.ends_with);
        }
        bytes.extend_from_slice(&manners.prompt);
        bytes
    }

    fn reset(&mut self) {
        self.bench.switch(false);
        self.bench.set_volts_to(0.0);
        self.bench.set_limit_to(0.0);
        self.bench.protection = super::supply::Protection::default();
        (self.watchdog_s, self.watchdog_time_s) = (None, WATCHDOG_S);
    }

    fn update_conditions(&mut self) {
        let (cv, cc) = match self.bench.mode() {
            Mode::Off => (false, false),
            Mode::ConstantVoltage => (true, false),
            Mode::ConstantCurrent => (false, true),
        };
        let bits = |low: u32, high: u32, first: bool, second: bool| {
            (u16::from(first) << low) | (u16::from(second) << high)
        };
        let (questionable, operation) = match self.manners.mode_bits {
            ModeBits::CurrentThenVoltage => (bits(0, 1, cc, cv), 0),
            ModeBits::VoltageThenCurrent => (bits(0, 1, cv, cc), 0),
            ModeBits::Operation => (0, bits(8, 10, cv, cc)),
            ModeBits::None => (0, 0),
        };
        self.status.questionable.update(questionable);
        self.status.operation.update(operation);
    }
}

#[cfg(test)]
mod tests;
