//! `record` as a technician runs it, against a small instrument that is written here for the purpose: it shares no
//! code with the program, and keeps every message that reached it.

use crate::profiles::valid;
use crate::program::feedtale;
use std::io::{BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex};

/// What the instrument holds. Header paths after IEEE 488.2-1992, 7.6.1.5; replies after SCPI-1999 vol. 2.
#[derive(Default)]
struct State {
    volts: f64,
    limit: f64,
    on: bool,
    /// Volts that the output gives instead of those set.
    gives: Option<f64>,
    heard: Vec<String>,
}

struct Instrument {
    address: String,
    state: Arc<Mutex<State>>,
}

impl Instrument {
    fn start(state: State) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = format!("tcp:{}", listener.local_addr().unwrap());
        let state = Arc::new(Mutex::new(state));
        let shared = Arc::clone(&state);
        std::thread::spawn(move || {
            for stream in listener.incoming() {
                serve(&stream.unwrap(), &shared);
            }
        });
        Self { address, state }
    }

    fn heard(&self) -> Vec<String> {
        self.state.lock().unwrap().heard.clone()
    }
}

fn serve(stream: &TcpStream, state: &Mutex<State>) {
    stream.set_nodelay(true).unwrap();
    let mut out = stream;
    for line in BufReader::new(stream).lines() {
        let Ok(line) = line else { return };
        let mut state = state.lock().unwrap();
        state.heard.push(line.clone());
        let answers = message(&line, &mut state);
        drop(state);
        if !answers.is_empty() {
            // A slow instrument: some hundred polls a second.
            std::thread::sleep(std::time::Duration::from_millis(5));
            let _ = out.write_all(format!("{}\n", answers.join(";")).as_bytes());
        }
    }
}

/// Header paths: a unit without a leading colon continues where the one before it left off, less its last node
/// (SCPI-1999 vol. 1, 6.2.4); a common command keeps the path.
fn message(line: &str, state: &mut State) -> Vec<String> {
    let mut path = String::new();
    let mut answers = Vec::new();
    for unit in line.to_ascii_uppercase().split(';').map(str::trim) {
        let full = match unit.strip_prefix(':') {
            Some(absolute) => absolute.to_owned(),
            None if unit.starts_with('*') => unit.to_owned(),
            None => format!("{path}{unit}"),
        };
        if !unit.starts_with('*') {
            let header = full.split(' ').next().unwrap_or_default();
            path = header.rsplit_once(':').map_or(String::new(), |(above, _)| format!("{above}:"));
        }
        answers.extend(answer(&full, state));
    }
    answers
}

fn answer(unit: &str, state: &mut State) -> Option<String> {
    let (header, value) = unit.split_once(' ').unwrap_or((unit, ""));
    let number = || value.trim().parse().expect("a number behind a setting");
    let output = if state.on { state.gives.unwrap_or(state.volts) } else { 0.0 };
    Some(match header {
        "*IDN?" => "BENCH,TEST,7,1.0".into(),
        "MEAS:VOLT?" => format!("{output:.3}"),
        "MEAS:CURR?" => if state.on { "0.1000" } else { "0.0000" }.into(),
        "VOLT?" => format!("{:.3}", state.volts),
        "CURR?" => format!("{:.3}", state.limit),
        "OUTP?" => u8::from(state.on).to_string(),
        "SYST:ERR?" => "0,\"No error\"".into(),
        "VOLT" => {
            state.volts = number();
            return None;
        }
        "CURR" => {
            state.limit = number();
            return None;
        }
        "OUTP" => {
            state.on = value.trim() == "ON";
            return None;
        }
        other => panic!("the instrument was sent '{other}'"),
    })
}

#[test]
fn recording_only_asks_and_leaves_a_log_that_loads() {
    let bench = Instrument::start(State { volts: 12.8, limit: 3.0, on: true, ..State::default() });
    let ended = feedtale([
        "record",
        &bench.address,
        "--for",
        "500ms",
        "--output",
        "run.csv",
        "--mark",
        "image@200ms",
    ])
    .end()
    .code(0)
    .mentions("log: run.csv\n");
    let log = feedtale::trace::read_file(ended.path("run.csv")).unwrap().trace;
    assert!(log.len() > 3 && log.volts().iter().all(|volts| (12.79..12.81).contains(volts)));
    assert_eq!(log.header().supply.as_deref(), Some("BENCH,TEST,7,1.0"));
    assert_eq!(log.header().set_volts.map(f64::from), Some(12.8));
    assert_eq!(log.events().len(), 1, "{:?}", log.events());
    for message in bench.heard() {
        assert!(message.split(';').all(|unit| unit.ends_with('?')), "'{message}' does more than ask");
    }
}

#[test]
fn a_driven_run_sets_up_before_it_switches_on_and_ends_with_the_output_off() {
    let bench = Instrument::start(State { volts: 5.0, limit: 1.0, on: true, ..State::default() });
    let ended =
        feedtale(["record", &bench.address, "--for", "1500ms", "--output", "run.csv", "--drive", "--yes"])
            .with(&["--profile", "board.toml"])
            .file("board.toml", valid().to_toml())
            .end()
            .code(0)
            .warns("caution: ");
    let heard = bench.heard();
    let at = |order: &str| heard.iter().position(|message| message.contains(order));
    assert!(at("OUTP OFF") < at("VOLT 3.8") && at("VOLT 3.8") < at("OUTP ON"), "{heard:?}");
    assert!(at("OUTP ON").is_some() && !bench.state.lock().unwrap().on);
    let log = feedtale::trace::read_file(ended.path("run.csv")).unwrap().trace;
    let words: Vec<_> = log.events().iter().map(|event| event.kind.clone()).collect();
    assert_eq!(words, [feedtale::trace::EventKind::OutputOn, feedtale::trace::EventKind::OutputOff]);
    assert!(log.volts()[0] < 0.1, "the log starts before the output is on");
}

#[test]
fn volts_above_those_set_trip_with_exit_5_and_the_output_off() {
    let bench = Instrument::start(State { gives: Some(5.0), ..State::default() });
    feedtale(["record", &bench.address, "--for", "20s", "--output", "run.csv", "--drive", "--yes"])
        .with(&["--profile", "board.toml"])
        .file("board.toml", valid().to_toml())
        .end()
        .code(5)
        .warns("tripped: 5.00 V at the output, set to 3.80 V; the output is confirmed off");
    assert!(!bench.state.lock().unwrap().on);
}

#[test]
fn without_a_yes_or_beyond_the_profile_nothing_is_set() {
    for (more, complaint) in
        [(&["--limit", "1"][..], "not confirmed"), (&["--yes", "--volts", "20"], "can destroy")]
    {
        let bench = Instrument::start(State::default());
        feedtale(["record", &bench.address, "--for", "1s", "--drive", "--profile", "board.toml"])
            .with(more)
            .file("board.toml", valid().to_toml())
            .end()
            .code(2)
            .warns(complaint);
        assert!(bench.heard().iter().all(|message| message.ends_with('?')), "{:?}", bench.heard());
    }
}

#[test]
fn a_log_never_overwrites_and_a_supply_that_is_not_there_is_exit_4() {
    feedtale(["record", "tcp:127.0.0.1:1", "--for", "1s", "--output", "run.csv"])
        .file("run.csv", "another run")
        .end()
        .code(3)
        .warns("never overwrites");
    feedtale(["record", "tcp:127.0.0.1:1", "--for", "1s"]).end().code(4).printed("");
}

#[test]
fn lines_on_standard_input_are_marks() {
    let bench = Instrument::start(State { on: true, volts: 5.0, limit: 1.0, ..State::default() });
    let ended = feedtale(["record", &bench.address, "--for", "500ms", "--output", "run.csv"])
        .input("fan spins\n\n")
        .end()
        .code(0);
    let log = std::fs::read_to_string(ended.path("run.csv")).unwrap();
    assert!(log.contains("mark=fan spins") && log.contains("mark=power button"), "{log}");
}

#[test]
fn a_knob_turned_during_the_run_is_an_event() {
    let bench = Instrument::start(State { on: true, volts: 5.0, limit: 1.0, ..State::default() });
    let run = feedtale(["record", &bench.address, "--for", "8s", "--output", "run.csv"]).start();
    std::thread::sleep(std::time::Duration::from_millis(1500));
    {
        let mut state = bench.state.lock().unwrap();
        (state.volts, state.limit) = (5.5, 0.8);
    }
    let ended = run.end().code(0).warns("set volts are now 5.50 V").warns("the current limit is now 0.800 A");
    let log = std::fs::read_to_string(ended.path("run.csv")).unwrap();
    assert!(log.contains("# set_v: 5\n# limit_a: 1\n"), "{log}");
    assert!(log.contains(",set_v=5.5\n") && log.contains(",limit_a=0.8\n"), "{log}");
}

#[test]
fn network_supplies_are_listed_without_a_byte_sent() {
    let bench = Instrument::start(State::default());
    feedtale(["supplies", &bench.address, "tcp:127.0.0.1:1"])
        .end()
        .code(0)
        .mentions("  answers; --probe finds out how it is spoken to\n")
        .mentions("tcp:127.0.0.1:1  tcp:127.0.0.1:1: connection refused");
    assert_eq!(bench.heard(), [""; 0]);
}

#[test]
fn a_bad_dialect_is_refused_with_file_line_and_key() {
    let slip = "name = \"slip\"\n[ask]\nvolts = \"MEAS:VOLT?\"\namps = \"OUTP ON\"\n";
    feedtale(["record", "tcp:127.0.0.1:1", "--dialect", "slip.toml"])
        .file("slip.toml", slip)
        .end()
        .code(3)
        .complained(
            "feedtale: slip.toml:4: key 'ask.amps': 'OUTP ON' sets something; expected a query, with '?' behind its header\n",
        );
}

#[test]
fn a_condition_ends_a_run() {
    let bench = Instrument::start(State { on: true, volts: 5.0, limit: 1.0, ..State::default() });
    let ended = feedtale(["record", &bench.address, "--until", "volts>4 for 300ms", "--output", "run.csv"])
        .end()
        .code(0);
    let log = feedtale::trace::read_file(ended.path("run.csv")).unwrap().trace;
    assert!((0.3..3.0).contains(log.time().last().unwrap()), "{:?}", log.time().last());
}

#[test]
fn a_fixed_rate_is_kept() {
    let bench = Instrument::start(State { on: true, volts: 5.0, limit: 1.0, ..State::default() });
    let ended = feedtale(["record", &bench.address, "--rate", "20", "--for", "2s", "--output", "run.csv"])
        .end()
        .code(0);
    let log = feedtale::trace::read_file(ended.path("run.csv")).unwrap().trace;
    // A slot that a busy machine missed is missing; none is there twice.
    assert!((20..=41).contains(&log.len()), "{} readings", log.len());
    let first = log.time()[0];
    let slots: std::collections::BTreeSet<i64> = log.time().iter().map(|time| slot(time - first)).collect();
    assert_eq!(slots.len(), log.len(), "one reading a slot: {:?}", log.time());
}

/// The slot of twenty a second that a reading is nearest to or late in.
fn slot(after: f64) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "some tens of slots")]
    let slot = (after * 20.0 + 0.2).floor() as i64;
    slot
}
