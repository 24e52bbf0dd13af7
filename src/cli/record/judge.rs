//! The verdict of a run that still goes on, on a thread of its own so that no reading waits for it.

use crate::capture::{Ended, Request, Update};
use crate::cli::PAUSE_SHARE;
use crate::reference::Profile;
use crate::trace::EventKind;
use crate::units::Seconds;
use crate::verdict::{Class, Finding, Live, Sources};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// How often the verdict is looked at anew, at most: a person reads no faster.
const LOOK_EVERY: Duration = Duration::from_millis(500);
/// How sure a verdict must be before it can be settled: likelier than all others together. More is not asked for,
/// since without a profile some verdicts never get surer, however long one waits.
const SURE: f64 = 0.5;
/// For how long, in log seconds, a verdict must stay the same before it is settled, where no profile says how long
/// stages last (an engineering default).
const USUAL_HOLD: Seconds = Seconds::constant(10.0);
/// The hold with a profile, in the time that its longest stage may take: a board that is stuck or has come up stays
/// there for longer than any stage lasts.
const HOLD_STAGES: f64 = 1.5;

/// The verdict so far.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Saying {
    /// Log time of the newest reading that it takes into account.
    time: f64,
    class: Class,
    confidence: f64,
    /// The phase that the board is in, or was in last.
    stage: Option<String>,
}

impl Saying {
    fn of(finding: &Finding, time: f64) -> Self {
        Self {
            time,
            class: finding.verdict.class,
            confidence: finding.verdict.confidence,
            stage: finding.phases.last().map(|phase| phase.name.clone()),
        }
    }

    /// `running  full-boot 97 %`, for the status line.
    pub(super) fn in_short(&self) -> String {
        let stage = self.stage.as_deref().map_or(String::new(), |stage| format!("{stage}  "));
        format!("{stage}{} {:.0} %", self.class, 100.0 * self.confidence)
    }
}

/// Follows the run and judges it.
#[derive(Debug)]
pub(super) struct Judge {
    rows: Sender<Update>,
    said: Arc<Mutex<Option<Saying>>>,
    thread: JoinHandle<Option<Finding>>,
}

impl Judge {
    /// Starts to judge; with `stop`, the run is asked to end once the verdict is settled.
    pub(super) fn start(profile: Option<&Profile>, stop: Option<Sender<Request>>) -> std::io::Result<Self> {
        let (rows, incoming) = channel();
        let said = Arc::default();
        let bench = Bench {
            settling: Settling::new(profile),
            profile: profile.cloned(),
            live: None,
            said: Arc::clone(&said),
            stop,
        };
        let thread =
            std::thread::Builder::new().name("verdict".into()).spawn(move || bench.judge(&incoming))?;
        Ok(Self { rows, said, thread })
    }

    /// Takes what the run says.
    pub(super) fn take(&self, update: &Update) {
        if matches!(update, Update::Started(_) | Update::Sample(_) | Update::Event(..)) {
            // A judge that failed says no verdict at the end; the recording goes on.
            let _ = self.rows.send(update.clone());
        }
    }

    /// The verdict so far, if there is one.
    pub(super) fn said(&self) -> Option<Saying> {
        self.said.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// The finding on the whole run; `None` without a reading.
    pub(super) fn finish(self) -> Option<Finding> {
        drop(self.rows);
        self.thread.join().ok().flatten()
    }
}

/// The judge's own side.
struct Bench {
    profile: Option<Profile>,
    live: Option<Live>,
    settling: Settling,
    said: Arc<Mutex<Option<Saying>>>,
    stop: Option<Sender<Request>>,
}

impl Bench {
    fn judge(mut self, rows: &Receiver<Update>) -> Option<Finding> {
        let mut due = Instant::now() + LOOK_EVERY;
        while self.take_until(due, rows) {
            let begin = Instant::now();
            self.look();
            due = Instant::now() + LOOK_EVERY.max(begin.elapsed() * PAUSE_SHARE);
        }
        self.live.map(|live| live.finding())
    }

    /// Takes rows until `due`; `false` once the run is over.
    fn take_until(&mut self, due: Instant, rows: &Receiver<Update>) -> bool {
        loop {
            match rows.recv_timeout(due.saturating_duration_since(Instant::now())) {
                Ok(update) => self.take(update),
                Err(RecvTimeoutError::Timeout) => return true,
                Err(RecvTimeoutError::Disconnected) => return false,
            }
        }
    }

    fn take(&mut self, update: Update) {
        let taken = match (update, &mut self.live) {
            (Update::Started(header), live) => {
                *live = Some(Live::new(*header, self.profile.take(), Sources::default()));
                Ok(())
            }
            (Update::Sample(sample), Some(live)) => live.sample(sample),
            (Update::Event(time, kind), Some(live)) => {
                self.settling.saw(&kind);
                live.event(time, kind)
            }
            _ => Ok(()),
        };
        // Rows come in order; if one did not, a verdict on the rest would not be that of the log.
        if taken.is_err() {
            self.live = None;
        }
    }

    fn look(&mut self) {
        let Some(live) = &self.live else { return };
        let Some(time) = live.trace().time().last().copied() else { return };
        let saying = Saying::of(&live.finding(), time);
        let settled = self.settling.is_settled(&saying);
        *self.said.lock().unwrap_or_else(PoisonError::into_inner) = Some(saying);
        if let Some(stop) = self.stop.as_ref().filter(|_| settled) {
            // A run that has ended already needs no stopping.
            let _ = stop.send(Request::Stop(Ended::Settled));
        }
    }
}

/// Tells when a verdict can be taken for final: it has been the same and sure for longer than any stage lasts. What
/// waits for a person is final only after that person did something.
#[derive(Debug, Clone)]
struct Settling {
    hold: f64,
    waits_for_person: bool,
    /// Whether somebody set a mark (pressed the button).
    acted: bool,
    /// The verdict that holds, and since when.
    since: Option<(f64, Class, Option<String>)>,
}

impl Settling {
    fn new(profile: Option<&Profile>) -> Self {
        let phases = profile.map_or(&[][..], |profile| &profile.phases);
        let longest =
            phases.iter().filter_map(|phase| phase.duration).map(|usual| usual.high).fold(0.0, f64::max);
        Self {
            hold: USUAL_HOLD.value().max(HOLD_STAGES * longest),
            waits_for_person: phases.iter().any(|phase| phase.waits_for_person) || profile.is_none(),
            acted: false,
            since: None,
        }
    }

    fn saw(&mut self, kind: &EventKind) {
        if matches!(kind, EventKind::Mark(_)) && !self.acted {
            // What held before the button was pressed says nothing of what comes after.
            (self.acted, self.since) = (true, None);
        }
    }

    fn is_settled(&mut self, saying: &Saying) -> bool {
        let waits = matches!(saying.class, Class::NoDraw | Class::StandbyOnly | Class::ExcessStandby)
            && self.waits_for_person
            && !self.acted;
        if waits || saying.class == Class::Inconclusive || saying.confidence < SURE {
            self.since = None;
            return false;
        }
        let same = |(_, class, stage): &(f64, Class, Option<String>)| {
            *class == saying.class && *stage == saying.stage
        };
        let held = self.since.take().filter(same);
        let (since, ..) =
            self.since.insert(held.unwrap_or((saying.time, saying.class, saying.stage.clone())));
        saying.time - *since >= self.hold
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn saying(time: f64, class: Class, confidence: f64) -> Saying {
        Saying { time, class, confidence, stage: Some("running".into()) }
    }

    #[test]
    fn a_verdict_settles_when_it_was_sure_and_the_same_for_long_enough() {
        let mut settling = Settling::new(None);
        let course = [
            (0.0, Class::Stalled, 0.95),
            (9.0, Class::FullBoot, 0.95),
            (12.0, Class::FullBoot, 0.4),
            (13.0, Class::FullBoot, 0.95),
            (22.9, Class::FullBoot, 0.95),
            (23.0, Class::FullBoot, 0.95),
        ];
        let settled = course.map(|(time, class, sure)| settling.is_settled(&saying(time, class, sure)));
        assert_eq!(settled, [false, false, false, false, false, true]);
    }

    #[test]
    fn a_board_that_waits_for_its_button_is_not_settled_before_it_is_pressed() {
        let mut settling = Settling::new(None);
        let standby = |time| saying(time, Class::StandbyOnly, 0.99);
        assert!([0.0, 20.0, 40.0].iter().all(|time| !settling.is_settled(&standby(*time))));
        settling.saw(&EventKind::Mark("power button".into()));
        assert!(!settling.is_settled(&standby(41.0)));
        assert!(settling.is_settled(&standby(51.0)));
    }

    #[test]
    fn nothing_is_settled_while_nothing_can_be_said() {
        let mut settling = Settling::new(None);
        assert!([0.0, 60.0].iter().all(|time| !settling.is_settled(&saying(
            *time,
            Class::Inconclusive,
            1.0
        ))));
    }

    #[test]
    fn the_status_line_says_stage_and_verdict() {
        assert_eq!(saying(1.0, Class::FullBoot, 0.97).in_short(), "running  full-boot 97 %");
    }
}
