//! A recording from the outside: what to do, what it says while it runs, what it ends with.

use super::clock::Clock;
use super::condition::Condition;
use super::disk::RealDisk;
use super::journal::{Journal, JournalNotice, JournalThread, Saved};
use super::poll::Poll;
use super::slots::Pace;
use super::source::{Settings, Source, Unconfirmed};
use super::trips::{Trip, TripLevels};
use crate::trace::{EventKind, Header, Sample};
use crate::units::Seconds;
use chrono::{DateTime, FixedOffset};
use std::io;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, SendError, Sender, channel};
use std::thread::JoinHandle;
use std::time::Instant;

/// What to record, how, and until when.
#[derive(Debug, Clone)]
pub struct Plan {
    /// The head of the log; `started` is filled in with the first reading.
    pub header: Header,
    /// A moment on the monotonic clock and what the clock on the wall showed then.
    pub wall: (Instant, DateTime<FixedOffset>),
    /// Log seconds in a real second: 1, but for a simulated bench that runs faster.
    pub speed: f64,
    /// How fast to poll.
    pub pace: Pace,
    /// When to stop by itself.
    pub length: Option<Seconds>,
    /// Conditions on readings, any of which stops the run.
    pub until: Vec<Condition>,
    /// Marks set ahead, on the log's clock.
    pub marks: Vec<(Seconds, String)>,
    /// Where the log goes; the next is for when one fails. Never empty.
    pub places: Vec<PathBuf>,
    /// What the supply was set to when it was asked before the run.
    pub settings: Settings,
    /// Whether and how to drive the output.
    pub drive: Option<DrivePlan>,
}

/// How to drive an output that is set up and confirmed off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrivePlan {
    /// For how long to read before switching on, so that the log shows the feed before it.
    pub lead_in: Seconds,
    /// What trips.
    pub trips: TripLevels,
    /// Whether to leave the output on at the end of a run that did not trip.
    pub leave_on: bool,
}

/// What the outside may ask of a recording.
#[derive(Debug, Clone, PartialEq)]
pub enum Request {
    /// Write down a word, with the moment at which the person gave it.
    Mark {
        /// When the key was pressed.
        at: Instant,
        /// The word.
        word: String,
    },
    /// End the run.
    Stop(Ended),
}

impl Request {
    /// The request of an outside that is gone.
    pub(super) fn gone() -> Self {
        Self::Stop(Ended::Abandoned)
    }
}

/// Why a run ended.
#[derive(Debug, Clone, PartialEq)]
pub enum Ended {
    /// The time asked for has passed.
    Length,
    /// The verdict can no longer change.
    Settled,
    /// The person at the bench said so.
    ByHand,
    /// A condition held.
    Condition(Condition),
    /// A signal asked the program to end.
    Signal,
    /// A trip switched the output off.
    Trip(Trip),
    /// Whoever started the run is gone.
    Abandoned,
    /// The output was to be switched on, and that failed.
    NotSwitchedOn(String),
    /// The program itself failed (a bug); the output was looked after all the same.
    Crashed(String),
}

/// What became of a driven output at the end.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OutputState {
    /// It was not ours to switch.
    NotDriven,
    /// Off, confirmed by reading back.
    ConfirmedOff,
    /// On, as was asked for.
    LeftOn,
    /// Perhaps on: nothing confirmed that it is off.
    Unknown(Unconfirmed),
}

/// What a run says while it goes on.
#[derive(Debug, Clone, PartialEq)]
pub enum Update {
    /// The first reading is in: the head of the log as written.
    Started(Box<Header>),
    /// A reading, as logged.
    Sample(Sample),
    /// An event, as logged.
    Event(Seconds, EventKind),
    /// There is no reading, and why; said at the start of a gap and when the link is lost.
    Trouble(String),
    /// The log file had to move.
    Journal(JournalNotice),
}

/// How a run ended and what it holds.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// Why it ended.
    pub ended: Ended,
    /// What became of the output.
    pub output: OutputState,
    /// What became of the log.
    pub saved: Saved,
    /// What was counted.
    pub tally: Tally,
}

/// What a run counted.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Tally {
    /// Readings.
    pub samples: u64,
    /// Readings that differ from the one before.
    pub changes: u64,
    /// From the first reading to the last.
    pub duration: Seconds,
    /// Slots of a fixed rate that passed without a reading.
    pub missed_slots: u64,
    /// Answers that were not understood, and queries without one.
    pub failures: u64,
}

impl Tally {
    /// Readings a second; `None` with fewer than two.
    #[must_use]
    pub fn poll_hz(&self) -> Option<f64> {
        self.rate(self.samples.saturating_sub(1))
    }

    /// Changes of the reading a second: how often the supply renews it; `None` with fewer than two readings.
    #[must_use]
    pub fn changed_hz(&self) -> Option<f64> {
        self.rate(self.changes)
    }

    #[expect(clippy::cast_precision_loss, reason = "counts of readings stay far below 2^53")]
    fn rate(&self, count: u64) -> Option<f64> {
        (self.samples >= 2 && self.duration > Seconds::ZERO).then(|| count as f64 / self.duration.value())
    }
}

/// A recording that goes on, on threads of its own.
#[derive(Debug)]
pub struct Session {
    updates: Receiver<Update>,
    requests: Sender<Request>,
    /// Taken by whoever waits for the end.
    thread: Option<JoinHandle<Report>>,
}

impl Session {
    /// Starts to poll `source` by `plan`.
    ///
    /// # Errors
    /// When the system gives no thread.
    pub fn start(source: Box<dyn Source>, plan: Plan, clock: Arc<dyn Clock>) -> io::Result<Self> {
        let (to_outside, updates) = channel();
        let (requests, from_outside) = channel();
        let (journal, notice) = Journal::open(Box::new(RealDisk), plan.places.clone());
        let tell = to_outside.clone();
        let say = move |notice| {
            // An outside that is gone cannot be told; the poll loop ends for that reason.
            let _ = tell.send(Update::Journal(notice));
        };
        notice.into_iter().for_each(&say);
        let journal = JournalThread::start(journal, say)?;
        let poll = Poll::new(source, plan, clock, from_outside, to_outside, journal);
        let thread = std::thread::Builder::new().name("poll".into()).spawn(move || poll.run())?;
        Ok(Self { updates, requests, thread: Some(thread) })
    }

    /// What the run says, in order. The channel closes when the run has ended.
    #[must_use]
    pub fn updates(&self) -> &Receiver<Update> {
        &self.updates
    }

    /// A way to ask, for a thread that listens to the keyboard or to signals. The run goes on until it ends by itself
    /// or the last of these and the session are gone.
    #[must_use]
    pub fn requests(&self) -> Sender<Request> {
        self.requests.clone()
    }

    /// Asks for something; a run that has ended already takes no request.
    ///
    /// # Errors
    /// The request, if the run has ended.
    pub fn ask(&self, request: Request) -> Result<(), SendError<Request>> {
        self.requests.send(request)
    }

    /// Waits for the end: the output in its final state, the log on the disk.
    ///
    /// # Panics
    /// If the thread panicked while it brought the output and the log to their final state. A panic before that is
    /// [`Ended::Crashed`].
    #[must_use]
    pub fn finish(mut self) -> Report {
        let thread = self.thread.take().expect("the thread is taken only here and in drop");
        thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    }
}

impl Drop for Session {
    /// Ends the run and waits for it: whoever drops a session because of an error of their own must not end the
    /// program before the output is off.
    fn drop(&mut self) {
        let Some(thread) = self.thread.take() else { return };
        // A run that has ended already takes no request, and a crash at its end was said by its own thread.
        let _ = self.requests.send(Request::gone());
        let _ = thread.join();
    }
}
