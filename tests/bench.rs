//! Recording over a real wire: the simulated supply on TCP and on a pseudo-terminal, against what truly happened.
//!
//! The simulator shares no code with the client side; its record of every measurement, taken on the clock of this
//! process, is the truth that stamps and values are held against.

use crate::program::feedtale;
use feedtale::capture::{
    Ended, Pace, Plan, Reading, RealClock, Report, Saved, Session, Settings, Source, SupplySource, Trouble,
    settings_of,
};
use feedtale::simulator::{
    BoardModel, Case, Exchange, Manners, Operator, Record, Scenario, Server, Setup, SupplyKind,
};
use feedtale::supply::{Dialect, Supply};
use feedtale::trace::{self, EventKind, Header, Trace};
use feedtale::units::Seconds;
use std::net::TcpListener;
use std::sync::{Arc, Mutex};
use std::time::Instant;

/// Stamps are written to the microsecond.
const TICK: f64 = 1e-6;
/// Volts and amps as the supply writes them, to four decimals.
const SAME: f64 = 1e-6;

/// A sound board on a fast supply whose output comes on early.
fn setup(faults: &[&str]) -> Setup {
    let model = BoardModel::named("kiln-24").unwrap();
    let mut scenario = Scenario::new(model, Case::FullBoot, SupplyKind::named("bench-fast").unwrap(), 1, 1);
    scenario.operator = Operator { on_s: Some(0.2), ..Operator::default() };
    let faults = faults.iter().map(|fault| fault.parse().unwrap()).collect();
    // Enough polls to see the boot, few enough to leave the machine to others.
    let manners = Manners { device_s: 0.04, ..Manners::default() };
    Setup { faults, manners, rewind_s: None, ..Setup::new(scenario) }
}

fn tcp(setup: Setup) -> Server {
    Server::tcp(setup, TcpListener::bind("127.0.0.1:0").unwrap()).unwrap()
}

type Spans = Arc<Mutex<Vec<(Instant, Instant)>>>;

/// Notes when each understood answer was asked for and in.
struct Noted {
    source: SupplySource,
    spans: Spans,
}

impl Source for Noted {
    fn read(&mut self) -> Result<Reading, Trouble> {
        let reading = self.source.read()?;
        self.spans.lock().unwrap().push((reading.asked, reading.answered));
        Ok(reading)
    }

    fn settings(&mut self) -> Result<Settings, Trouble> {
        self.source.settings()
    }

    fn reopen(&mut self) -> Result<(), Trouble> {
        self.source.reopen()
    }
}

/// A run that is over: its log, and what truly happened.
struct Run {
    report: Report,
    log: Trace,
    spans: Vec<(Instant, Instant)>,
    truth: Record,
}

/// Records for `length` of the log's time, as fast as the wire carries.
fn record(server: Server, length: f64) -> Run {
    let address: feedtale::link::Address = server.address().parse().unwrap();
    let mut supply = Supply::open(&address, Dialect::plain()).unwrap();
    supply.identify().unwrap();
    let settings = settings_of(&mut supply).unwrap();
    let spans = Spans::default();
    let source =
        Noted { source: SupplySource::looking(supply, Box::new(Vec::new)), spans: Arc::clone(&spans) };
    let folder = tempfile::tempdir().unwrap();
    let plan = Plan {
        header: Header::default(),
        wall: (Instant::now(), chrono::Local::now().fixed_offset()),
        speed: address.speed().unwrap_or(1.0),
        pace: Pace::AsFastAsTheWire,
        length: Some(Seconds::constant(length)),
        until: Vec::new(),
        marks: Vec::new(),
        places: vec![folder.path().join("run.csv")],
        settings,
        drive: None,
    };
    let report = Session::start(Box::new(source), plan, Arc::new(RealClock)).unwrap().finish();
    let truth = server.stop().unwrap();
    let Saved::At(path) = &report.saved else { panic!("no log: {report:?}") };
    let log = trace::read_file(path).unwrap().trace;
    let spans = spans.lock().unwrap().clone();
    Run { report, log, spans, truth }
}

impl Run {
    fn kinds(&self) -> Vec<EventKind> {
        self.log.events().iter().map(|event| event.kind.clone()).collect()
    }

    /// The measurements that the supply took within the exchange of sample `index`.
    fn taken_within(&self, index: usize) -> Vec<&Exchange> {
        let (asked, answered) = self.spans[index];
        self.truth.exchanges.iter().filter(|taken| asked <= taken.at && taken.at <= answered).collect()
    }

    /// Every sample of the log is what the supply showed within its own exchange, and its stamp is off by less than
    /// half of its span.
    fn assert_true(&self, what: &str) {
        assert_eq!(self.log.len(), self.spans.len(), "{what}: every understood answer is in the log");
        let zero = self.spans[0].0 + (self.spans[0].1 - self.spans[0].0) / 2;
        let speed = self.log_seconds_a_second();
        for index in 0..self.log.len() {
            let sample = self.log.sample(index).unwrap();
            let taken = self.taken_within(index);
            let [taken] = taken[..] else {
                panic!("{what}: sample {index} had {} measurements in its exchange", taken.len())
            };
            assert!(
                (sample.volts.value() - taken.reading.volts).abs() < SAME
                    && (sample.amps.value() - taken.reading.amps).abs() < SAME,
                "{what}: sample {index} is {sample:?}, the supply showed {:?}",
                taken.reading
            );
            let after = taken.at.saturating_duration_since(zero).as_secs_f64();
            let before = zero.saturating_duration_since(taken.at).as_secs_f64();
            let error = (sample.time.value() - (after - before) * speed).abs();
            let span = sample.span.unwrap().value();
            assert!(
                error <= span / 2.0 + TICK,
                "{what}: stamp {index} is off by {error} s, its span is {span} s"
            );
        }
    }

    fn log_seconds_a_second(&self) -> f64 {
        let (first, last) = (self.truth.exchanges.first().unwrap(), self.truth.exchanges.last().unwrap());
        let ratio = (last.bench_s - first.bench_s) / (last.at - first.at).as_secs_f64();
        ratio.round()
    }

    /// Seconds of the log from the last event to the last sample.
    fn goes_on_for(&self) -> f64 {
        let last = self.log.events().last().map_or(0.0, |event| event.time.value());
        self.log.time().last().unwrap() - last
    }
}

#[test]
fn a_full_boot_is_recorded_over_tcp_with_true_values_and_stamps() {
    let run = record(tcp(Setup { speed: 10.0, ..setup(&[]) }), 20.0);
    assert_eq!((&run.report.ended, run.report.tally.failures), (&Ended::Length, 0));
    run.assert_true("a full boot");
    assert!((run.log_seconds_a_second() - 10.0).abs() < 0.1, "the log is in the seconds of the bench");
    let state = |name: &str| run.truth.events.iter().any(|event| format!("{:?}", event.what).contains(name));
    assert!(state("OutputOn") && state("rails"), "{:?}", run.truth.events);
    // The settings are asked for as soon as the feed appears, so the log says when it did.
    let on = run.log.events().iter().find(|event| event.kind == EventKind::OutputOn).expect("output on");
    assert!((0.0..3.0).contains(&on.time.value()), "{on:?}");
    let peak = run.log.amps().iter().copied().fold(0.0, f64::max);
    assert!(peak > 0.05, "the board drew current: {peak} A");
}

/// What a fault must leave besides the truth.
#[derive(Clone, Copy, PartialEq)]
enum Leaves {
    /// A gap: something was asked and not understood.
    AGap,
    /// Nothing: every answer is understood.
    Nothing,
}

/// Records over a wire with this trouble; every number in the log is true, and the stream is right again afterwards.
#[track_caller]
fn over_a_wire_with(fault: &str, leaves: Leaves) {
    let run = record(tcp(Setup { speed: 4.0, ..setup(&[fault]) }), 7.0);
    run.assert_true(fault);
    assert_eq!(run.kinds().contains(&EventKind::Gap), leaves == Leaves::AGap, "{fault}: {:?}", run.kinds());
    assert_eq!(run.report.tally.failures > 0, leaves == Leaves::AGap, "{fault}");
    assert!(!run.kinds().contains(&EventKind::LinkLost), "{fault}: {:?}", run.kinds());
    assert!(run.log.len() > 25, "{fault}: {} readings", run.log.len());
    // Garbage that strikes again and again may strike at the very end.
    assert!(fault.contains("every") || run.goes_on_for() > 0.5, "{fault}: {:?}", run.kinds());
}

/// Each trouble by its name. Answers are counted with those to identification and settings; the 30th is a reading.
mod trouble {
    use super::{Leaves::AGap, Leaves::Nothing, over_a_wire_with};

    #[test]
    fn a_silent_device() {
        over_a_wire_with("silent@30", AGap);
    }

    #[test]
    fn garbage() {
        over_a_wire_with("garbage@30", AGap);
    }

    #[test]
    fn garbage_again_and_again() {
        over_a_wire_with("garbage@every25", AGap);
    }

    #[test]
    fn a_reply_cut() {
        over_a_wire_with("cut@30", AGap);
    }

    #[test]
    fn two_replies_that_come_together() {
        over_a_wire_with("hold@30", AGap);
    }

    #[test]
    fn two_replies_joined() {
        over_a_wire_with("glue@30", AGap);
    }

    /// It comes when the next answers are under way: the plain dialect waits 1 s, 4 s of this bench.
    #[test]
    fn a_late_reply_of_the_last_query() {
        over_a_wire_with("late=4500ms@30", AGap);
    }

    #[test]
    fn a_slow_device() {
        over_a_wire_with("slow=2s@30x2", Nothing);
    }

    #[test]
    fn stray_nul() {
        over_a_wire_with("nul@30", Nothing);
    }

    #[test]
    fn a_mix_of_cr_and_lf() {
        over_a_wire_with("ends@30x4", Nothing);
    }

    #[test]
    fn err_in_place_of_a_number() {
        over_a_wire_with("err@30", AGap);
    }

    #[test]
    fn not_a_number() {
        over_a_wire_with("nan@30", AGap);
    }

    #[test]
    fn infinity() {
        over_a_wire_with("inf@30", AGap);
    }
}

#[test]
fn an_echo_that_the_dialect_does_not_know_of_is_no_reading() {
    let mut setup = setup(&[]);
    setup.manners.echo = true;
    let run = record(tcp(setup), 1.0);
    run.assert_true("an echo");
    assert_eq!(run.report.tally.failures, 0);
}

#[test]
fn a_unit_that_the_dialect_does_not_know_of_is_refused_before_anything_is_logged() {
    let mut setup = setup(&[]);
    setup.manners.unit_suffix = true;
    let server = tcp(setup);
    let ended = feedtale(["record", &server.address(), "--for", "1s", "--output", "run.csv"])
        .end()
        .code(4)
        .warns("was answered by '24.0000V;1.5000A;0': unit in '24.0000V': expected no unit");
    assert!(!ended.path("run.csv").exists());
}

#[test]
fn a_reboot_of_the_supply_is_a_gap_and_its_output_is_seen_off() {
    let run = record(tcp(setup(&["reboot=700ms@1s"])), 3.2);
    run.assert_true("a reboot");
    let kinds = run.kinds();
    let gap = kinds.iter().position(|kind| *kind == EventKind::Gap).expect("a gap");
    assert!(kinds[gap..].contains(&EventKind::OutputOff), "{kinds:?}");
    assert!(run.log.volts().last().unwrap() < &0.5, "the feed is gone");
    assert!(run.goes_on_for() > 0.1, "the log goes on after the reboot");
}

#[test]
fn a_run_until_settled_ends_by_itself_once_the_verdict_stays() {
    let mut setup = Setup { speed: 10.0, ..setup(&[]) };
    setup.scenario.case = Case::HardShort;
    let server = tcp(setup);
    let ended = feedtale(["record", &server.address(), "--until", "settled", "--for", "10min"])
        .with(&["--output", "short.csv"])
        .end()
        .code(0)
        .mentions("log: short.csv");
    let log = trace::read_file(ended.path("short.csv")).unwrap().trace;
    assert!((10.0..300.0).contains(log.time().last().unwrap()), "{:?}", log.time().last());
}

#[cfg(unix)]
#[test]
fn a_cable_pulled_in_the_middle_of_a_boot_and_put_back_leaves_one_log() {
    let folder = tempfile::tempdir().unwrap();
    let port = folder.path().join("supply");
    let setup = Setup { baud: Some(115_200), ..setup(&["unplug=500ms@1s"]) };
    let run = record(Server::pty(setup, Some(&port)).unwrap(), 3.5);
    run.assert_true("unplugged and back");
    let kinds = run.kinds();
    let position = |kind: &EventKind| kinds.iter().position(|found| found == kind);
    let (lost, back) = (position(&EventKind::LinkLost), position(&EventKind::LinkBack));
    assert!(lost.is_some() && lost < back, "{kinds:?}");
    let back = run.log.events().iter().find(|event| event.kind == EventKind::LinkBack).unwrap();
    assert!((1.0..3.0).contains(&back.time.value()), "{back:?}");
    assert!(run.log.time().last().unwrap() > &(back.time.value() + 0.1), "the log goes on");
}

#[cfg(unix)]
#[test]
fn the_program_records_a_boot_over_a_paced_pseudo_terminal_and_only_asks() {
    let folder = tempfile::tempdir().unwrap();
    let port = folder.path().join("supply");
    let setup = Setup { baud: Some(9600), speed: 8.0, ..setup(&["unplug=2s@6s", "err@40"]) };
    let server = Server::pty(setup, Some(&port)).unwrap();
    let ended = feedtale(["record", &server.address(), "--for", "40s", "--output", "boot.csv"])
        .end()
        .code(0)
        .warns("link lost")
        .warns("link back")
        .mentions("log: boot.csv");
    let log = trace::read_file(ended.path("boot.csv")).unwrap().trace;
    let (last, events) = (log.time().last().unwrap(), log.events());
    assert!(last > &20.0, "the last reading is at {last} s: {events:?}");
    let truth = server.stop().unwrap();
    for message in &truth.messages {
        let text = String::from_utf8_lossy(message);
        assert!(text.split(';').all(|unit| unit.trim().ends_with('?')), "'{text}' does more than ask");
    }
    // A stamp in the program's own process: the log's zero is not known here, but its readings are the supply's.
    let shown = |volts: f64| truth.exchanges.iter().any(|taken| (taken.reading.volts - volts).abs() < SAME);
    assert!(log.volts().iter().all(|volts| shown(*volts)), "a number that the supply never showed");
}
