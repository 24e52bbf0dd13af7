//! The conversation over one connection: bytes in and out at their times.

use super::clock::Clock;
use super::{BITS_PER_BYTE, Exchange, Record, Setup, locked};
use crate::simulator::bench::Bench;
use crate::simulator::fault::{FaultPlan, Outage};
use crate::simulator::instrument::Instrument;
use std::collections::VecDeque;
use std::io;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// The longest that the server waits for bytes before it looks around.
const IDLE_WAIT: Duration = Duration::from_millis(10);
/// Answers leave the line in pieces of about this long.
const PIECE_S: f64 = 0.002;

/// A wire to one client.
pub(super) trait Wire {
    /// Bytes that arrive within `wait`; none if nothing does, an error if the client is gone.
    fn receive(&mut self, buffer: &mut [u8], wait: Duration) -> io::Result<usize>;
    /// Sends all of it.
    fn send(&mut self, bytes: &[u8]) -> io::Result<()>;
}

/// Why a conversation is over.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Ended {
    /// The server is to stop.
    Stopped,
    /// The client is gone.
    Gone,
    /// The cable is pulled.
    Unplugged { outage: Duration, renamed: bool },
}

/// The supply in conversation.
#[derive(Debug)]
pub(super) struct Talk {
    setup: Setup,
    instrument: Instrument,
    plan: FaultPlan,
    clock: Clock,
    record: Arc<Mutex<Record>>,
    stop: Arc<AtomicBool>,
    pub(super) address: Arc<Mutex<String>>,
    /// Messages, and when their last byte is in.
    inbox: VecDeque<(Instant, Vec<u8>)>,
    /// Pieces of answers, and when they are out.
    outbox: VecDeque<(Instant, Vec<u8>)>,
    line_in_free: Instant,
    line_out_free: Instant,
    busy_until: Instant,
    last_byte: Instant,
    deaf_until: Option<Instant>,
}

impl Talk {
    pub(super) fn new(
        setup: Setup,
        record: Arc<Mutex<Record>>,
        stop: Arc<AtomicBool>,
        address: Arc<Mutex<String>>,
    ) -> Self {
        let now = Instant::now();
        Self {
            instrument: Instrument::new(Bench::new(&setup.scenario), setup.manners.clone()),
            plan: FaultPlan::new(&setup.faults, setup.scenario.run),
            clock: Clock::new(setup.speed),
            setup,
            record,
            stop,
            address,
            inbox: VecDeque::new(),
            outbox: VecDeque::new(),
            line_in_free: now,
            line_out_free: now,
            busy_until: now,
            last_byte: now,
            deaf_until: None,
        }
    }

    pub(super) fn setup(&self) -> &Setup {
        &self.setup
    }

    /// Whether the server is to stop.
    pub(super) fn is_stopped(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }

    /// Waits out an outage, with the bench going on; `false` if the server is to stop.
    pub(super) fn wait_out(&mut self, outage: Duration) -> bool {
        let end = Instant::now() + outage;
        while Instant::now() < end && !self.is_stopped() {
            std::thread::sleep(IDLE_WAIT.min(end.saturating_duration_since(Instant::now())));
            self.move_on();
        }
        self.last_byte = Instant::now();
        !self.is_stopped()
    }

    /// Talks to one client until it is gone, or the cable is out, or the server is to stop.
    pub(super) fn converse(&mut self, wire: &mut dyn Wire) -> io::Result<Ended> {
        self.inbox.clear();
        self.outbox.clear();
        loop {
            if self.is_stopped() {
                return Ok(Ended::Stopped);
            }
            if let Some(ended) = self.look_around() {
                return Ok(ended);
            }
            match self.turn(wire) {
                Ok(()) => {}
                Err(error) if is_gone(&error) => return Ok(Ended::Gone),
                Err(error) => return Err(error),
            }
        }
    }

    /// Moves the bench on, and lets what is due at the bench happen.
    pub(super) fn look_around(&mut self) -> Option<Ended> {
        self.move_on();
        self.rewind_if_left_alone();
        match self.plan.outage(self.instrument.bench().now(), self.outbox.is_empty())? {
            Outage::Unplug { seconds, renamed } => {
                Some(Ended::Unplugged { outage: self.clock.real(seconds), renamed })
            }
            Outage::Reboot(seconds) => {
                self.instrument.power_cycle();
                self.inbox.clear();
                self.outbox.clear();
                self.deaf_until = Some(Instant::now() + self.clock.real(seconds));
                None
            }
        }
    }

    fn move_on(&mut self) {
        self.instrument.advance(self.clock.bench_s(Instant::now()));
        let events = self.instrument.bench_mut().take_truth();
        if !events.is_empty() {
            locked(&self.record).events.extend(events);
        }
    }

    fn rewind_if_left_alone(&mut self) {
        let started = self.clock.bench_s(Instant::now()) > 0.0;
        let alone = self.last_byte.elapsed().as_secs_f64();
        if !started || self.setup.rewind_s.is_none_or(|after| alone < after) {
            return;
        }
        self.clock.rewind();
        self.instrument.replace_bench(Bench::new(&self.setup.scenario));
        self.plan = FaultPlan::new(&self.setup.faults, self.setup.scenario.run);
        let mut record = locked(&self.record);
        *record = Record { rewinds: record.rewinds + 1, ..Record::default() };
    }

    /// One turn: what is due next, or bytes if they come before.
    fn turn(&mut self, wire: &mut dyn Wire) -> io::Result<()> {
        let now = Instant::now();
        let left = self.next_due().map_or(IDLE_WAIT, |due| due.saturating_duration_since(now));
        if left.is_zero() {
            return self.act(wire);
        }
        let mut buffer = [0_u8; 512];
        let count = wire.receive(&mut buffer, left.min(IDLE_WAIT))?;
        if count > 0 {
            self.take(&buffer[..count]);
        }
        Ok(())
    }

    fn next_due(&self) -> Option<Instant> {
        let message = self.inbox.front().map(|(at, _)| (*at).max(self.busy_until));
        let piece = self.outbox.front().map(|(at, _)| *at);
        message.into_iter().chain(piece).min()
    }

    /// Takes bytes that came in just now; on a paced line, each takes its time.
    fn take(&mut self, bytes: &[u8]) {
        let now = Instant::now();
        self.last_byte = now;
        if self.deaf_until.is_some_and(|until| now < until) {
            return;
        }
        self.deaf_until = None;
        for byte in bytes {
            self.line_in_free = self.line_in_free.max(now) + self.byte_time(1);
            let at = self.line_in_free;
            self.inbox.extend(self.instrument.receive(&[*byte]).into_iter().map(|message| (at, message)));
        }
    }

    /// Does what is due: sends a piece, or obeys a message.
    fn act(&mut self, wire: &mut dyn Wire) -> io::Result<()> {
        let now = Instant::now();
        if self.outbox.front().is_some_and(|(at, _)| *at <= now)
            && let Some((_, piece)) = self.outbox.pop_front()
        {
            return wire.send(&piece);
        }
        if self.inbox.front().is_some_and(|(at, _)| (*at).max(self.busy_until) <= now)
            && let Some((arrived, message)) = self.inbox.pop_front()
        {
            self.obey(arrived, arrived.max(self.busy_until), &message);
        }
        Ok(())
    }

    /// Obeys a message that was to be obeyed at `due`. The answer's times count from there: a server that wakes late
    /// answers as late as a real supply, not later.
    fn obey(&mut self, arrived: Instant, due: Instant, message: &[u8]) {
        let pause = self.clock.real(self.setup.manners.pause_s);
        // `line_out_free` is when the last answer ended; a hasty message is lost.
        if !pause.is_zero() && arrived < self.line_out_free + pause {
            return;
        }
        self.move_on();
        let answer = self.instrument.execute(message);
        let now = Instant::now();
        if answer.changed {
            self.instrument.bench_mut().leave_output_to_program();
        }
        self.note(message, now, answer.measured);
        let (bytes, later) = self.plan.distort(answer.bytes, self.clock.bench_s(now));
        let begin = due + self.clock.real(answer.after_s + later);
        self.busy_until = begin;
        self.post(&bytes, begin);
    }

    fn note(&mut self, message: &[u8], now: Instant, measured: bool) {
        let mut record = locked(&self.record);
        record.messages.push(message.to_vec());
        if !measured {
            return;
        }
        if self.clock.start(now) {
            record.zero = Some(now);
        }
        let reading = self.instrument.bench().reading();
        record.exchanges.push(Exchange { at: now, bench_s: self.clock.bench_s(now), reading });
    }

    /// Puts an answer on the line from `begin` on.
    fn post(&mut self, bytes: &[u8], begin: Instant) {
        let mut at = self.line_out_free.max(begin);
        for piece in bytes.chunks(self.piece_length()) {
            at += self.byte_time(piece.len());
            self.outbox.push_back((at, piece.to_vec()));
        }
        if !bytes.is_empty() {
            self.line_out_free = at;
        }
    }

    fn byte_time(&self, count: usize) -> Duration {
        #[expect(clippy::cast_precision_loss, reason = "a message has at most some thousand bytes")]
        let count = count as f64;
        self.setup
            .baud
            .map_or(Duration::ZERO, |baud| self.clock.real(count * BITS_PER_BYTE / f64::from(baud)))
    }

    fn piece_length(&self) -> usize {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a positive number of bytes, at most some thousand"
        )]
        self.setup
            .baud
            .map_or(usize::MAX, |baud| (PIECE_S * f64::from(baud) / BITS_PER_BYTE).ceil() as usize)
            .max(1)
    }
}

fn is_gone(error: &io::Error) -> bool {
    use io::ErrorKind::{BrokenPipe, ConnectionAborted, ConnectionReset, NotConnected, UnexpectedEof};
    matches!(error.kind(), BrokenPipe | ConnectionAborted | ConnectionReset | NotConnected | UnexpectedEof)
}
