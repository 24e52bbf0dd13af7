//! Whole runs against a supply made of numbers and time.

use super::*;
use crate::trace::{self, EventKind, Header, Mode, Sample, Trace};
use crate::units::{Amps, Seconds, Volts};
use chrono::DateTime;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

mod driven;

const MILLI: Duration = Duration::from_millis(1);

/// What was asked of the fake, in order.
#[derive(Debug, Clone, PartialEq)]
enum Act {
    Read,
    On,
    Off,
    Reopen,
}

type Answer = dyn FnMut(u64) -> Result<(f64, f64), Trouble> + Send;

/// A supply whose answers are a function of the number of the query, and whose exchanges take fake time.
struct FakeSupply {
    clock: Arc<FakeClock>,
    answer: Box<Answer>,
    exchange: Box<dyn FnMut(u64) -> Duration + Send>,
    reads: u64,
    settings: Arc<Mutex<Settings>>,
    acts: Arc<Mutex<Vec<Act>>>,
    /// Attempts to reopen, and to switch off, that fail before one works.
    reopen_fails: u32,
    off_fails: u32,
    may_switch: bool,
}

impl FakeSupply {
    fn new(
        clock: &Arc<FakeClock>,
        answer: impl FnMut(u64) -> Result<(f64, f64), Trouble> + Send + 'static,
    ) -> Self {
        Self {
            clock: Arc::clone(clock),
            answer: Box::new(answer),
            exchange: Box::new(|_| 20 * MILLI),
            reads: 0,
            settings: Arc::default(),
            acts: Arc::default(),
            reopen_fails: 0,
            off_fails: 0,
            may_switch: false,
        }
    }

    fn act(&self, act: Act) {
        self.acts.lock().unwrap().push(act);
    }
}

impl Source for FakeSupply {
    fn read(&mut self) -> Result<Reading, Trouble> {
        self.act(Act::Read);
        let asked = self.clock.now();
        self.clock.advance((self.exchange)(self.reads));
        self.reads += 1;
        let (volts, amps) = (self.answer)(self.reads - 1)?;
        Ok(Reading {
            volts: Volts::constant(volts),
            amps: Amps::constant(amps),
            mode: Mode::Unknown,
            asked,
            answered: self.clock.now(),
        })
    }

    fn settings(&mut self) -> Result<Settings, Trouble> {
        self.clock.advance(5 * MILLI);
        Ok(*self.settings.lock().unwrap())
    }

    fn reopen(&mut self) -> Result<(), Trouble> {
        self.act(Act::Reopen);
        if self.reopen_fails == 0 {
            return Ok(());
        }
        self.reopen_fails -= 1;
        Err(Trouble::Lost("still gone".into()))
    }

    fn output(&mut self) -> Option<&mut dyn Output> {
        self.may_switch.then_some(self)
    }
}

impl Output for FakeSupply {
    fn switch_on(&mut self) -> Result<(), Trouble> {
        self.act(Act::On);
        Ok(())
    }

    fn switch_off(&mut self) -> Result<(), Unconfirmed> {
        self.act(Act::Off);
        if self.off_fails == 0 {
            return Ok(());
        }
        self.off_fails -= 1;
        Err(Unconfirmed("no answer".into()))
    }

    fn leave_on(&mut self) {}
}

/// A run that is over: its report, its log, and what was said while it went on.
struct Run {
    report: Report,
    trace: Trace,
    updates: Vec<Update>,
    _folder: tempfile::TempDir,
}

impl Run {
    fn words(&self) -> Vec<(f64, String)> {
        let word = |kind: &EventKind| format!("{kind:?}");
        self.trace.events().iter().map(|event| (event.time.value(), word(&event.kind))).collect()
    }

    fn kinds(&self) -> Vec<EventKind> {
        self.trace.events().iter().map(|event| event.kind.clone()).collect()
    }
}

fn plan(length: &str, clock: &FakeClock) -> Plan {
    Plan {
        header: Header { board: Some("fenwick-14".into()), ..Header::default() },
        wall: (clock.now(), DateTime::parse_from_rfc3339("2026-03-02T09:00:00Z").unwrap()),
        speed: 1.0,
        pace: Pace::AsFastAsTheWire,
        length: Some(length.parse().unwrap()),
        until: Vec::new(),
        marks: Vec::new(),
        places: Vec::new(),
        settings: Settings::default(),
        drive: None,
    }
}

fn run_with(supply: FakeSupply, mut plan: Plan, requests: Vec<Request>) -> Run {
    let folder = tempfile::tempdir().unwrap();
    plan.places = vec![folder.path().join("run.csv")];
    let clock = Arc::clone(&supply.clock);
    let (source, gate) = Gate::around(supply);
    let session = Session::start(Box::new(source), plan, clock).unwrap();
    for request in requests {
        session.ask(request).unwrap();
    }
    gate.send(()).unwrap();
    let updates: Vec<Update> = session.updates().iter().collect();
    let report = session.finish();
    let trace = match &report.saved {
        Saved::At(path) => trace::read_file(path).unwrap().trace,
        _ => Trace::default(),
    };
    Run { report, trace, updates, _folder: folder }
}

fn run(supply: FakeSupply, plan: Plan) -> Run {
    run_with(supply, plan, Vec::new())
}

/// Holds the first reading until the test has placed its requests.
struct Gate {
    supply: FakeSupply,
    opens: Option<std::sync::mpsc::Receiver<()>>,
}

impl Gate {
    fn around(supply: FakeSupply) -> (Self, std::sync::mpsc::Sender<()>) {
        let (gate, opens) = std::sync::mpsc::channel();
        (Self { supply, opens: Some(opens) }, gate)
    }
}

impl Source for Gate {
    fn read(&mut self) -> Result<Reading, Trouble> {
        if let Some(opens) = self.opens.take() {
            opens.recv().unwrap();
        }
        self.supply.read()
    }

    fn settings(&mut self) -> Result<Settings, Trouble> {
        self.supply.settings()
    }

    fn reopen(&mut self) -> Result<(), Trouble> {
        self.supply.reopen()
    }

    fn output(&mut self) -> Option<&mut dyn Output> {
        self.supply.output()
    }
}

#[expect(clippy::unnecessary_wraps, reason = "one of the answers that a fake supply gives")]
fn steady(_: u64) -> Result<(f64, f64), Trouble> {
    Ok((12.8, 0.024))
}

#[test]
fn an_hour_at_a_fixed_rate_does_not_drift() {
    let clock = Arc::new(FakeClock::default());
    let mut supply = FakeSupply::new(&clock, steady);
    // Exchanges of 5 to 85 ms, by a fixed rule: the slots must not move with them.
    supply.exchange = Box::new(|number| Duration::from_micros(5_000 + number * 7_919 % 80_000));
    let plan = Plan { pace: Pace::Every(100 * MILLI), ..plan("1h", &clock) };
    let run = run(supply, plan);
    let time = run.trace.time();
    assert_eq!(run.report.tally.missed_slots, 0);
    assert_eq!(time.len(), 36_001, "one a slot, the slots at both ends of the hour included");
    // The query of sample i goes out in slot i; its stamp is half its exchange later, and so was sample 0's.
    let first_span = run.trace.span(0).unwrap().value();
    for (index, time) in time.iter().enumerate() {
        let span = run.trace.span(index).unwrap().value();
        let query = time - span / 2.0 + first_span / 2.0;
        #[expect(clippy::cast_precision_loss, reason = "a small index")]
        let slot = index as f64 * 0.1;
        assert!((query - slot).abs() < 5e-6, "sample {index} was asked for at {query}, its slot is {slot}");
    }
}

#[test]
fn missed_slots_are_counted_and_one_gap_each_time() {
    let clock = Arc::new(FakeClock::default());
    let mut supply = FakeSupply::new(&clock, steady);
    supply.exchange = Box::new(|number| if number % 10 == 3 { 450 * MILLI } else { 10 * MILLI });
    let run = run(supply, Plan { pace: Pace::Every(100 * MILLI), ..plan("3s", &clock) });
    let slow = u64::try_from(run.trace.len()).unwrap().div_ceil(10);
    assert!(run.report.tally.missed_slots >= 3 * (slow - 1), "{:?}", run.report.tally);
    let gaps = run.kinds().iter().filter(|kind| **kind == EventKind::Gap).count();
    assert!(gaps >= 2 && gaps as u64 <= slow, "{gaps} gaps in {:?}", run.words());
}

#[test]
fn the_log_in_memory_and_on_disk_agree_to_the_last_digit() {
    let clock = Arc::new(FakeClock::default());
    let mut supply = FakeSupply::new(&clock, |number| {
        #[expect(clippy::cast_precision_loss, reason = "a small number")]
        let x = number as f64;
        Ok((12.8 + (x * 0.7).sin() / 3.0, 0.02 + (x * 0.3).cos() / 7.0))
    });
    supply.exchange = Box::new(|number| Duration::from_nanos(1_234_567 + number * 7_654_321 % 9_999_991));
    let run = run(supply, Plan { speed: 7.3, ..plan("20s", &clock) });
    let said: Vec<Sample> = run
        .updates
        .iter()
        .filter_map(|update| if let Update::Sample(sample) = update { Some(*sample) } else { None })
        .collect();
    let logged: Vec<Sample> = (0..run.trace.len()).filter_map(|index| run.trace.sample(index)).collect();
    assert!(said.len() > 100);
    assert_eq!(said, logged);
    let Some(Update::Started(header)) = run.updates.first() else { panic!("first the header is said") };
    assert_eq!(**header, *run.trace.header());
}

#[test]
fn the_clock_starts_with_the_first_reading() {
    let clock = Arc::new(FakeClock::default());
    let plan = plan("1s", &clock);
    clock.advance(Duration::from_secs(60));
    let run = run(FakeSupply::new(&clock, steady), plan);
    assert_eq!(run.trace.sample(0).unwrap().time, Seconds::ZERO);
    let started = run.trace.header().started.unwrap().to_rfc3339();
    assert!(started.starts_with("2026-03-02T09:01:00"), "{started}");
    assert_eq!(run.report.ended, Ended::Length);
    assert!((1.0 - 0.021..1.021).contains(&run.report.tally.duration.value()));
}

#[test]
fn what_is_not_understood_is_a_gap_and_never_a_number() {
    let clock = Arc::new(FakeClock::default());
    let supply = FakeSupply::new(&clock, |number| match number {
        10..=12 | 30 => Err(Trouble::NotUnderstood("'ERR' is no number".into())),
        _ => steady(number),
    });
    let run = run(supply, plan("1s", &clock));
    assert_eq!(run.kinds(), [EventKind::Gap, EventKind::Gap]);
    assert_eq!(run.report.tally.failures, 4);
    assert!(run.trace.volts().iter().all(|volts| (12.79..12.81).contains(volts)));
    assert!(run.updates.contains(&Update::Trouble("'ERR' is no number".into())));
}

#[test]
fn a_lost_link_comes_back_and_a_reboot_is_noticed() {
    let clock = Arc::new(FakeClock::default());
    let on = Settings { output_on: Some(true), limit: Some(Amps::constant(3.0)), volts: None };
    let now = Arc::new(Mutex::new(on));
    let rebooted = Arc::clone(&now);
    let mut supply = FakeSupply::new(&clock, move |number| {
        if number != 20 {
            return steady(number);
        }
        *rebooted.lock().unwrap() = Settings { output_on: Some(false), ..on };
        Err(Trouble::Lost("unplugged".into()))
    });
    (supply.settings, supply.reopen_fails) = (now, 3);
    let run = run(supply, Plan { settings: on, ..plan("5s", &clock) });
    assert_eq!(
        run.kinds(),
        [EventKind::Gap, EventKind::LinkLost, EventKind::LinkBack, EventKind::OutputOff],
        "{:?}",
        run.words()
    );
    assert!(run.trace.duration().unwrap().value() > 4.9, "the run went on");
}

#[test]
fn long_silence_is_a_lost_link() {
    let clock = Arc::new(FakeClock::default());
    let mut supply = FakeSupply::new(&clock, |number| match number {
        10..20 => Err(Trouble::Silent("no answer within 500 ms".into())),
        _ => steady(number),
    });
    supply.exchange = Box::new(|number| if (10..20).contains(&number) { 500 * MILLI } else { 20 * MILLI });
    let run = run(supply, plan("10s", &clock));
    assert_eq!(run.kinds()[..3], [EventKind::Gap, EventKind::LinkLost, EventKind::LinkBack]);
}

#[test]
fn a_run_without_one_reading_ends_in_time_and_leaves_no_file() {
    let clock = Arc::new(FakeClock::default());
    let supply = FakeSupply::new(&clock, |_| Err(Trouble::NotUnderstood("noise".into())));
    let run = run(supply, plan("5s", &clock));
    assert_eq!((run.report.ended, run.report.saved), (Ended::Length, Saved::Nothing));
}

#[test]
fn a_mark_has_the_time_of_its_key_press() {
    let clock = Arc::new(FakeClock::default());
    let start = clock.now();
    let mark = |ms: u32, word: &str| Request::Mark { at: start + ms * MILLI, word: word.into() };
    let requests = vec![mark(0, "early"), mark(5, "before the middle"), mark(15, "after it")];
    let run = run_with(FakeSupply::new(&clock, steady), plan("1s", &clock), requests);
    let expected = [("early", 0.0, 0), ("before the middle", 0.0, 0), ("after it", 0.005, 1)];
    for (event, (word, time, sample)) in run.trace.events().iter().zip(expected) {
        assert_eq!((&event.kind, event.time.value()), (&EventKind::Mark(word.into()), time));
        assert_eq!(event.sample, sample, "{word}");
    }
    assert_eq!(run.trace.events().len(), 3);
}

#[test]
fn marks_set_ahead_come_at_their_time() {
    let clock = Arc::new(FakeClock::default());
    let marks = vec![(Seconds::constant(0.75), "image".into()), (Seconds::constant(0.25), "button".into())];
    let run = run(FakeSupply::new(&clock, steady), Plan { marks, ..plan("1s", &clock) });
    assert_eq!(run.words(), [(0.25, "Mark(\"button\")".into()), (0.75, "Mark(\"image\")".into())]);
}

#[test]
fn a_condition_and_a_hand_stop_a_run() {
    let clock = Arc::new(FakeClock::default());
    let supply = FakeSupply::new(&clock, |number| Ok((12.8, if number < 50 { 0.02 } else { 1.5 })));
    let until: Condition = "amps>1 for 200ms".parse().unwrap();
    let run = run(supply, Plan { until: vec![until], ..plan("1h", &clock) });
    assert!(matches!(run.report.ended, Ended::Condition(_)), "{:?}", run.report.ended);
    assert_eq!(run.trace.len(), 61);

    let clock = Arc::new(FakeClock::default());
    let stop = vec![Request::Stop(Ended::ByHand)];
    let run = run_with(FakeSupply::new(&clock, steady), plan("1h", &clock), stop);
    assert_eq!(run.report.ended, Ended::ByHand);
}

#[test]
fn a_knob_turned_during_the_run_is_an_event() {
    let clock = Arc::new(FakeClock::default());
    let before = Settings { volts: Some(Volts::constant(12.8)), ..Settings::default() };
    let now = Arc::new(Mutex::new(before));
    let knob = Arc::clone(&now);
    let mut supply = FakeSupply::new(&clock, move |number| {
        if number == 100 {
            knob.lock().unwrap().volts = Some(Volts::constant(13.5));
        }
        steady(number)
    });
    supply.settings = now;
    let run = run(supply, Plan { settings: before, ..plan("6s", &clock) });
    assert_eq!(run.kinds(), [EventKind::SetVolts(Volts::constant(13.5))]);
}
