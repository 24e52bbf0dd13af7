//! What goes into the log, in order of time: rows for the journal, the same values for whoever watches.

use super::clock::TimeBase;
use super::journal::{JournalThread, Saved};
use super::session::{Tally, Update};
use super::slots::Missed;
use super::source::Reading;
use crate::trace::{EventKind, Header, RowWriter, Sample};
use crate::units::Seconds;
use chrono::{DateTime, FixedOffset, SubsecRound, TimeDelta};
use std::sync::mpsc::Sender;
use std::time::Instant;

/// Stamps what happens and writes it down. Rows never go back in time: what comes to be known late takes the time of
/// the row before it.
pub(super) struct Logbook {
    header: Header,
    wall: (Instant, DateTime<FixedOffset>),
    speed: f64,
    /// Marks set ahead, the next one last.
    ahead: Vec<(Seconds, String)>,
    /// Events whose place among the rows is not known yet, by their moment.
    waiting: Vec<(Instant, EventKind)>,
    /// Known from the first reading on, which is log time 0.
    base: Option<TimeBase>,
    rows: RowWriter,
    journal: JournalThread,
    updates: Sender<Update>,
    last_row: Seconds,
    last: Option<Sample>,
    tally: Tally,
}

impl Logbook {
    pub(super) fn new(
        header: Header,
        wall: (Instant, DateTime<FixedOffset>),
        speed: f64,
        mut ahead: Vec<(Seconds, String)>,
        journal: JournalThread,
        updates: Sender<Update>,
    ) -> Self {
        ahead.sort_by(|a, b| b.0.value().total_cmp(&a.0.value()));
        Self {
            header,
            wall,
            speed,
            ahead,
            waiting: Vec::new(),
            base: None,
            rows: RowWriter::default(),
            journal,
            updates,
            last_row: Seconds::ZERO,
            last: None,
            tally: Tally::default(),
        }
    }

    /// The log time of `instant`; `None` before the first reading.
    pub(super) fn time(&self, instant: Instant) -> Option<Seconds> {
        self.base.map(|base| base.at(instant))
    }

    /// The last reading, as logged.
    pub(super) fn last(&self) -> Option<&Sample> {
        self.last.as_ref()
    }

    /// Tells whoever watches.
    pub(super) fn say(&self, update: Update) {
        // Nobody watching is no reason to stop writing.
        let _ = self.updates.send(update);
    }

    /// Writes a reading down, with the marks that belong before it, and returns it as logged.
    pub(super) fn sample(&mut self, reading: &Reading) -> Sample {
        let span = reading.answered.saturating_duration_since(reading.asked);
        let middle = reading.asked + span / 2;
        let base = self.base_from(middle);
        self.flush_until(middle);
        let time = base.at(middle).max_of(self.last_row);
        let time = self.last.filter(|last| last.time >= time).map_or(time, |last| base.tick_after(last.time));
        #[expect(clippy::cast_possible_truncation, reason = "logs keep spans in single precision")]
        let span = f64::from(base.span(span).value() as f32);
        let sample = Sample {
            time,
            volts: reading.volts,
            amps: reading.amps,
            mode: reading.mode,
            span: Seconds::new(span).ok(),
        };
        let mut row = Vec::new();
        self.rows.sample(&mut row, &sample, &[]);
        self.journal.write(row);
        self.count(&sample);
        self.last_row = time;
        self.last = Some(sample);
        self.say(Update::Sample(sample));
        sample
    }

    /// A word by the person at the bench; written once its place among the readings is known.
    pub(super) fn mark(&mut self, at: Instant, word: String) {
        self.waiting.push((at, EventKind::Mark(word)));
    }

    /// Writes down what happened at `at`.
    pub(super) fn event(&mut self, at: Instant, kind: EventKind) {
        self.waiting.push((at, kind));
        self.flush_until(at);
    }

    /// Writes down what was seen in the last reading.
    pub(super) fn event_at_last_row(&mut self, kind: EventKind) {
        let time = self.last_row;
        self.write_event(time, kind);
    }

    /// Slots that passed without a reading; a gap, unless one is open already.
    pub(super) fn missed(&mut self, missed: Missed, new_gap: bool) {
        self.tally.missed_slots += missed.slots;
        if missed.slots > 0 && new_gap {
            self.event(missed.since, EventKind::Gap);
        }
    }

    /// A query without an understood answer.
    pub(super) fn failed(&mut self) {
        self.tally.failures += 1;
    }

    /// Writes down what waits and happened up to `now`.
    pub(super) fn flush_until(&mut self, now: Instant) {
        let Some(base) = self.base else { return };
        self.waiting.sort_by_key(|(at, _)| *at);
        let ready = self.waiting.partition_point(|(at, _)| *at <= now);
        let ready: Vec<_> = self.waiting.drain(..ready).collect();
        for (at, kind) in ready {
            self.flush_ahead(base.at(at));
            self.write_event(base.at(at), kind);
        }
        self.flush_ahead(base.at(now));
    }

    /// Ends the log.
    pub(super) fn finish(mut self, now: Instant) -> (Saved, Tally) {
        self.flush_until(now);
        (self.journal.finish(), self.tally)
    }

    fn flush_ahead(&mut self, time: Seconds) {
        while let Some((at, word)) = self.ahead.pop_if(|(at, _)| *at <= time) {
            self.write_event(at, EventKind::Mark(word));
        }
    }

    fn write_event(&mut self, time: Seconds, kind: EventKind) {
        let time = time.max_of(self.last_row);
        let mut row = Vec::new();
        self.rows.event(&mut row, time, &kind);
        self.journal.write(row);
        self.last_row = time;
        self.say(Update::Event(time, kind));
    }

    /// The time base; the first reading makes it, and with it the head of the log.
    fn base_from(&mut self, first: Instant) -> TimeBase {
        if let Some(base) = self.base {
            return base;
        }
        let base = TimeBase::new(first, self.speed);
        self.base = Some(base);
        let (then, wall) = self.wall;
        let later = TimeDelta::from_std(first.saturating_duration_since(then)).unwrap_or_default();
        // The clock on the wall is no better than that; the monotonic stamps are.
        self.header.started = Some((wall + later).trunc_subsecs(3));
        self.journal.write(self.rows.head(&self.header));
        self.say(Update::Started(Box::new(self.header.clone())));
        base
    }

    fn count(&mut self, sample: &Sample) {
        let changed = self.last.is_some_and(|last| (last.volts, last.amps) != (sample.volts, sample.amps));
        self.tally.samples += 1;
        self.tally.changes += u64::from(changed);
        self.tally.duration = sample.time;
    }
}

/// The later of two times.
trait Later {
    fn max_of(self, other: Self) -> Self;
}

impl Later for Seconds {
    fn max_of(self, other: Self) -> Self {
        if self < other { other } else { self }
    }
}
