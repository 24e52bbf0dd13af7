//! The poll loop: one thread that asks, stamps, logs, and acts on trips.

use super::clock::{Clock, TimeBase};
use super::condition::Condition;
use super::journal::JournalThread;
use super::logbook::Logbook;
use super::session::{DrivePlan, Ended, OutputState, Plan, Report, Request, Update};
use super::slots::{Pace, Slots};
use super::source::{Reading, Source, Trouble, Unconfirmed};
use super::trips::{Trip, TripWatch};
use super::watch::SettingsWatch;
use crate::trace::{EventKind, Sample};
use crate::units::Seconds;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender};
use std::time::{Duration, Instant};

/// How long a supply may be silent, real time, before the link counts as lost: several times the slowest answer of a
/// supply that works, and short enough that a driven board is not left alone for long.
const SILENT_AT_MOST: Duration = Duration::from_secs(2);
/// Pause between attempts to have the link back.
const REOPEN_EVERY: Duration = Duration::from_millis(300);
/// How long to go on trying to switch off an output whose link was lost, before the person must be told to do it.
const SWITCH_OFF_WITHIN: Duration = Duration::from_secs(5);
/// Pause after a failed query, so that a device that fails at once is not asked in a frantic loop.
const AFTER_FAILURE: Duration = Duration::from_millis(20);

/// The state of a running poll loop.
pub(super) struct Poll {
    source: Box<dyn Source>,
    clock: Arc<dyn Clock>,
    requests: Receiver<Request>,
    logbook: Logbook,
    speed: f64,
    started: Instant,
    slots: Option<Slots>,
    length: Option<Seconds>,
    until: Vec<Condition>,
    watch: SettingsWatch,
    drive: Option<Drive>,
    /// Since when there is no reading, if there is none.
    failing_since: Option<Instant>,
    ended: Option<Ended>,
}

/// A driven output: what to hold it to, and whether it was switched on.
struct Drive {
    plan: DrivePlan,
    trips: TripWatch,
    on: bool,
}

impl Poll {
    pub(super) fn new(
        source: Box<dyn Source>,
        plan: Plan,
        clock: Arc<dyn Clock>,
        requests: Receiver<Request>,
        updates: Sender<Update>,
        journal: JournalThread,
    ) -> Self {
        let started = clock.now();
        let slots = match plan.pace {
            Pace::AsFastAsTheWire => None,
            Pace::Every(period) => Some(Slots::new(started, period)),
        };
        let drive = plan.drive.map(|plan| Drive { plan, trips: TripWatch::new(plan.trips), on: false });
        Self {
            source,
            requests,
            logbook: Logbook::new(plan.header, plan.wall, plan.speed, plan.marks, journal, updates),
            speed: plan.speed,
            started,
            slots,
            length: plan.length,
            until: plan.until,
            watch: SettingsWatch::new(plan.settings, started),
            drive,
            failing_since: None,
            ended: None,
            clock,
        }
    }

    /// Polls until something ends the run, then brings the output and the log to their final state.
    pub(super) fn run(mut self) -> Report {
        // A bug must not leave a board fed: whatever state a panic leaves behind is good enough to switch off with.
        let polled = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| self.poll_until_ended()));
        let ended = polled.unwrap_or_else(|panic| Ended::Crashed(panic_in_words(panic.as_ref())));
        let output = self.final_output(&ended);
        let now = self.clock.now();
        let (saved, tally) = self.logbook.finish(now);
        Report { ended, output, saved, tally }
    }

    fn poll_until_ended(&mut self) -> Ended {
        loop {
            if let Some(ended) = self.ended.take() {
                return ended;
            }
            self.step();
        }
    }

    /// One turn: look after the settings, wait for the slot, look after the output, read once.
    fn step(&mut self) {
        self.look_at_settings();
        let due = self.slots.as_ref().map_or_else(|| self.clock.now(), Slots::due);
        self.listen(due);
        let now = self.clock.now();
        self.logbook.flush_until(now);
        self.check_length(now);
        self.switch_on_when_due(now);
        if self.ended.is_none() {
            self.take_slot();
            self.read_once();
        }
    }

    /// Serves requests until `deadline`, or until one of them ends the run.
    fn listen(&mut self, deadline: Instant) {
        while self.ended.is_none() {
            match self.clock.wait(&self.requests, deadline) {
                Some(Request::Mark { at, word }) => self.logbook.mark(at, word),
                Some(Request::Stop(ended)) => self.ended = Some(ended),
                None => break,
            }
        }
    }

    /// How long the run has gone on, in log time.
    fn run_time(&self, now: Instant) -> Seconds {
        self.logbook.time(now).unwrap_or_else(|| TimeBase::new(self.started, self.speed).at(now))
    }

    fn check_length(&mut self, now: Instant) {
        if self.length.is_some_and(|length| self.run_time(now) >= length) {
            self.ended.get_or_insert(Ended::Length);
        }
    }

    fn take_slot(&mut self) {
        let now = self.clock.now();
        let Some(missed) = self.slots.as_mut().map(|slots| slots.take(now)) else { return };
        // A gap that failed queries have opened already is one gap, not two.
        self.logbook.missed(missed, self.failing_since.is_none());
    }

    fn read_once(&mut self) {
        let asked = self.clock.now();
        let outcome = self.source.read();
        // Marks given while the exchange went on belong before or after its middle: only now is that known.
        let now = self.clock.now();
        self.listen(now);
        match outcome {
            Ok(reading) => self.take(&reading),
            Err(trouble) => self.fail(asked, &trouble),
        }
    }

    fn take(&mut self, reading: &Reading) {
        let now = self.clock.now();
        if self.failing_since.take().is_some() {
            self.watch.ask_soon(now);
        }
        let sample = self.logbook.sample(reading);
        self.watch.saw(&sample, now);
        self.check_trips(&sample);
        let held = self.until.iter_mut().find_map(|until| until.update(&sample).then_some(*until));
        if let Some(condition) = held {
            self.ended.get_or_insert(Ended::Condition(condition));
        }
    }

    fn check_trips(&mut self, sample: &Sample) {
        let Some(drive) = self.drive.as_mut().filter(|drive| drive.on) else { return };
        if let Some(trip) = drive.trips.update(sample) {
            // A trip goes before whatever else would end the run.
            self.ended = Some(Ended::Trip(trip));
        }
    }

    fn fail(&mut self, asked: Instant, trouble: &Trouble) {
        self.logbook.failed();
        let since = *self.failing_since.get_or_insert_with(|| {
            self.logbook.event(asked, EventKind::Gap);
            self.logbook.say(Update::Trouble(trouble.to_string()));
            asked
        });
        let silent = self.clock.now().saturating_duration_since(since) > SILENT_AT_MOST;
        if silent || matches!(trouble, Trouble::Lost(_)) {
            self.lose_link(trouble);
        } else {
            self.listen(self.clock.now() + AFTER_FAILURE);
        }
    }

    /// The link is lost: a driven output trips, a run that only reads waits for it to come back.
    fn lose_link(&mut self, trouble: &Trouble) {
        let now = self.clock.now();
        self.logbook.event(now, EventKind::LinkLost);
        self.logbook.say(Update::Trouble(trouble.to_string()));
        if self.drive.is_some() {
            self.ended = Some(Ended::Trip(Trip::LinkLost(trouble.to_string())));
            return;
        }
        while self.ended.is_none() {
            if self.source.reopen().is_ok() {
                let now = self.clock.now();
                self.logbook.event(now, EventKind::LinkBack);
                // From here on silence counts anew; the open gap lasts until the next reading.
                self.failing_since = Some(now);
                return;
            }
            self.listen(self.clock.now() + REOPEN_EVERY);
            let now = self.clock.now();
            self.logbook.flush_until(now);
            self.check_length(now);
        }
    }

    fn look_at_settings(&mut self) {
        let asked = self.clock.now();
        let before = self.slots.as_ref().map(Slots::due);
        if self.ended.is_some() || self.logbook.last().is_none() || !self.watch.is_due(asked, before) {
            return;
        }
        let found = self.source.settings();
        let now = self.clock.now();
        match found {
            Ok(found) => {
                for (kind, seen) in self.watch.took(found, asked, now) {
                    if seen { self.logbook.event_at_last_row(kind) } else { self.logbook.event(now, kind) }
                }
            }
            // The next reading meets the same trouble, and deals with it.
            Err(_) => self.watch.passed(asked, now),
        }
    }

    /// Switches the output on once the lead-in is read.
    fn switch_on_when_due(&mut self, now: Instant) {
        let read = self.logbook.last().is_some();
        let run = self.run_time(now);
        let Some(drive) = self.drive.as_mut() else { return };
        if self.ended.is_some() || drive.on || !read || run < drive.plan.lead_in {
            return;
        }
        let Some(output) = self.source.output() else {
            self.ended = Some(Ended::NotSwitchedOn("this source may not switch its output".into()));
            return;
        };
        // On from the moment at which it may be: trips and the way out must hold even if the answer is lost.
        drive.on = true;
        match output.switch_on() {
            Ok(()) => {
                self.watch.output_is(true);
                self.logbook.event(now, EventKind::OutputOn);
            }
            Err(trouble) => self.ended = Some(Ended::NotSwitchedOn(trouble.to_string())),
        }
    }

    /// Brings a driven output to its final state: off and confirmed, unless it was to stay on and nothing tripped.
    fn final_output(&mut self, ended: &Ended) -> OutputState {
        let Some(plan) = self.drive.as_ref().map(|drive| drive.plan) else { return OutputState::NotDriven };
        let calm = matches!(ended, Ended::Length | Ended::Settled | Ended::ByHand | Ended::Condition(_));
        if plan.leave_on && calm {
            if let Some(output) = self.source.output() {
                output.leave_on();
            }
            return OutputState::LeftOn;
        }
        let off = self.switch_off();
        let now = self.clock.now();
        if let Ended::Trip(trip) = ended {
            self.logbook.event_at_last_row(EventKind::Trip(trip.to_string()));
        }
        match off {
            Ok(()) => {
                self.logbook.event(now, EventKind::OutputOff);
                OutputState::ConfirmedOff
            }
            Err(unconfirmed) => OutputState::Unknown(unconfirmed),
        }
    }

    /// Switches off, over a link that may have to be opened again first.
    fn switch_off(&mut self) -> Result<(), Unconfirmed> {
        let deadline = self.clock.now() + SWITCH_OFF_WITHIN;
        loop {
            let Some(output) = self.source.output() else {
                return Err(Unconfirmed("this source may not switch its output".into()));
            };
            let outcome = output.switch_off();
            if outcome.is_ok() || self.clock.now() >= deadline {
                return outcome;
            }
            // Requests are served no more; marks given now have no reading to belong to.
            self.clock.pause(REOPEN_EVERY);
            // If this fails, so does the next attempt to switch off, and that is what counts.
            let _ = self.source.reopen();
        }
    }
}

/// What a panic said, where it said it in words.
fn panic_in_words(panic: &(dyn std::any::Any + Send)) -> String {
    let text = panic.downcast_ref::<&str>().map(ToString::to_string);
    text.or_else(|| panic.downcast_ref::<String>().cloned()).unwrap_or_else(|| "a panic without words".into())
}
