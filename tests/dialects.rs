//! Every example dialect against a simulated supply that behaves as it says, through the program: read, driven, found.
//!
//! The simulator is written from the standards and shares no code with the client; what each quirk does stands in its
//! own documentation.

use crate::program::{Ended, feedtale};
use feedtale::simulator::{
    BoardModel, Case, Manners, Operator, Record, Scenario, Server, Setup, SupplyKind, Truth,
};
use feedtale::supply::Dialect;
use feedtale::trace;
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::time::{Duration, Instant};

/// A dialect, the quirks of the supply that it describes, and whether it takes control before it can be read.
const PAIRS: [(&str, &str, bool); 6] = [
    ("plain", "", false),
    ("console", "cr-in,end=cr,echo,prompt,no-compound,channel-word,suffix", false),
    ("endless", "end=none,no-compound", false),
    ("list-with-status", "watts-in-list", false),
    ("one-at-a-time", "end=crlf,no-compound,suffix,pause=50,no-queue,ok,decimals=2/3", false),
    ("second-output", "second,remote,bits=oper,select=500", true),
];

fn dialect_file(name: &str) -> String {
    format!("{}/profiles/dialects/{name}.toml", env!("CARGO_MANIFEST_DIR"))
}

/// A sound board that starts as soon as it is fed, on a supply whose output somebody switches on early.
fn served(quirks: &str) -> Server {
    let model = BoardModel::named("kiln-24").unwrap();
    let mut scenario = Scenario::new(model, Case::FullBoot, SupplyKind::named("bench-fast").unwrap(), 1, 1);
    scenario.operator = Operator { on_s: Some(0.3), ..Operator::default() };
    let mut manners: Manners = quirks.parse().unwrap();
    manners.device_s = 0.01;
    let setup = Setup { manners, rewind_s: None, ..Setup::new(scenario) };
    Server::tcp(setup, TcpListener::bind("127.0.0.1:0").unwrap()).unwrap()
}

fn kiln() -> String {
    std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/profiles/kiln-24.toml")).unwrap()
}

/// Every number of the log is one that the supply showed, to the decimals that it writes.
fn assert_true(name: &str, ended: &Ended, truth: &Record) {
    let log = trace::read_file(ended.path("run.csv")).unwrap().trace;
    assert!(log.len() > 5, "{name}: {} readings", log.len());
    let half_step = if name == "one-at-a-time" { (0.00501, 0.000_501) } else { (0.000_06, 0.000_06) };
    let shown = |value: f64, part: fn(&feedtale::simulator::Reading) -> f64, within: f64| {
        truth.exchanges.iter().any(|taken| (part(&taken.reading) - value).abs() <= within)
    };
    for (volts, amps) in log.volts().iter().zip(log.amps()) {
        assert!(shown(*volts, |reading| reading.volts, half_step.0), "{name}: never showed {volts} V");
        assert!(shown(*amps, |reading| reading.amps, half_step.1), "{name}: never showed {amps} A");
    }
    assert!(log.volts().iter().any(|volts| *volts > 20.0), "{name}: the log shows the feed");
}

/// Whether every message that the supply heard is one that the dialect may ask.
fn assert_only_asked(name: &str, truth: &Record, besides: &[&str]) {
    let dialect = Dialect::read(dialect_file(name).as_ref()).unwrap();
    let queries = dialect.all_queries();
    for message in &truth.messages {
        let text = String::from_utf8_lossy(message);
        let text = text.trim();
        assert!(queries.contains(&text) || besides.contains(&text), "{name}: '{text}' was sent");
    }
}

/// Whether the supply hears all of `orders`; what the recorder sent last may still be on its way when it has ended.
fn hears(server: &Server, orders: &[&str]) -> bool {
    let deadline = Instant::now() + Duration::from_secs(10);
    let heard =
        |truth: &Record| orders.iter().all(|order| truth.messages.iter().any(|m| m == order.as_bytes()));
    while !server.look(heard) {
        if Instant::now() > deadline {
            return false;
        }
        std::thread::sleep(Duration::from_millis(5));
    }
    true
}

#[test]
fn each_example_dialect_reads_the_supply_that_it_describes() {
    std::thread::scope(|scope| {
        for (name, quirks, control) in PAIRS {
            scope.spawn(move || {
                let server = served(quirks);
                let ended = feedtale(["record", &server.address(), "--for", "2s", "--output", "run.csv"])
                    .with(&["--dialect", &dialect_file(name)])
                    .with(if control { &["--prepare"] } else { &[] })
                    .end()
                    .code(0);
                let prepared: &[&str] = if control { &["SYST:REM", "INST:NSEL 2", "SYST:LOC"] } else { &[] };
                assert!(
                    hears(&server, prepared),
                    "{name}: {:?}",
                    server.look(|truth| truth.messages.clone())
                );
                let truth = server.stop().unwrap();
                assert_true(name, &ended, &truth);
                assert_only_asked(name, &truth, prepared);
                let log = std::fs::read_to_string(ended.path("run.csv")).unwrap();
                let knows_settings = name != "endless";
                assert_eq!(log.contains("# set_v: 24"), knows_settings, "{name}: {log}");
            });
        }
    });
}

#[test]
fn a_supply_on_another_output_than_its_dialect_means_is_not_read() {
    let server = served("second,bits=oper");
    feedtale(["record", &server.address(), "--for", "1s", "--output", "run.csv"])
        .with(&["--dialect", &dialect_file("second-output")])
        .end()
        .code(4)
        .warns(
            "output 1 is selected, not 2; select it at the supply, or allow feedtale to do so (--prepare)",
        );
    assert!(server.record().exchanges.is_empty(), "not one reading of the wrong output");
}

#[test]
fn each_dialect_that_can_drives_its_supply_and_leaves_it_off() {
    std::thread::scope(|scope| {
        for (name, quirks, _) in PAIRS {
            let drives = Dialect::read(dialect_file(name).as_ref()).unwrap().can_drive();
            scope.spawn(move || {
                let server = served(quirks);
                let run = feedtale(["record", &server.address(), "--for", "3s", "--output", "run.csv"])
                    .with(&["--dialect", &dialect_file(name), "--drive", "--yes", "--profile", "board.toml"])
                    .file("board.toml", kiln())
                    .end();
                if !drives {
                    run.code(2).warns("has no [drive] section: this supply can be read but not driven");
                    return;
                }
                let ended = run.code(0);
                let truth = server.stop().unwrap();
                assert_true(name, &ended, &truth);
                let events: Vec<&Truth> = truth.events.iter().map(|event| &event.what).collect();
                let switched: Vec<_> =
                    events.iter().filter(|what| matches!(what, Truth::OutputOn | Truth::OutputOff)).collect();
                assert_eq!(switched, [&&Truth::OutputOn, &&Truth::OutputOff], "{name}");
            });
        }
    });
}

#[test]
fn probing_finds_each_supply_by_asking_only_and_the_file_reads_it() {
    // Of the second output nothing can be found by asking: the supply is deaf until it is put in remote control.
    std::thread::scope(|scope| {
        for (name, quirks, _) in PAIRS.into_iter().filter(|(name, ..)| *name != "second-output") {
            scope.spawn(move || {
                let server = served(quirks);
                let ended = feedtale(["supplies", "--probe", &server.address(), "--output", "found.toml"])
                    .end()
                    .code(0)
                    .mentions("supply        SALTMARSH BENCH,BENCH-FAST,0003,1.0")
                    .mentions("poll rate ")
                    .mentions("round trip ")
                    .mentions("new readings ")
                    .mentions("resolution ");
                for message in &server.record().messages {
                    let text = String::from_utf8_lossy(message);
                    let asks =
                        text.split(';').all(|unit| unit.trim().is_empty() || unit.trim().ends_with('?'));
                    assert!(asks, "{name}: '{text}' does more than ask");
                }
                let found = std::fs::read(ended.path("found.toml")).unwrap();
                feedtale(["record", &server.address(), "--for", "1s", "--dialect", "found.toml"])
                    .with(&["--output", "run.csv"])
                    .file("found.toml", found)
                    .end()
                    .code(0)
                    .mentions("readings in ");
            });
        }
    });
}

/// Something that listens and is no supply.
fn stranger(mut answer: impl FnMut(&[u8]) -> Vec<u8> + Send + 'static) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = format!("tcp:{}", listener.local_addr().unwrap());
    std::thread::spawn(move || {
        for stream in listener.incoming() {
            let mut stream: TcpStream = stream.unwrap();
            let mut heard = [0; 256];
            while let Ok(count @ 1..) = stream.read(&mut heard) {
                if stream.write_all(&answer(&heard[..count])).is_err() {
                    break;
                }
            }
        }
    });
    address
}

#[test]
fn probing_survives_a_device_that_is_no_supply() {
    // A terminal that says what was typed, a printer that says nothing, a sender that never stops, noise.
    let echo = stranger(<[u8]>::to_vec);
    let silent = stranger(|_| Vec::new());
    let babble = stranger(|_| vec![b'x'; 9000]);
    let noise = stranger(|heard| heard.iter().map(|byte| byte.wrapping_mul(167) | 0x80).collect());
    let shell = stranger(|_| b"command not found\r\n$ ".to_vec());
    std::thread::scope(|scope| {
        for (address, says) in [
            (echo, "no answer to any question"),
            (silent, "no answer to any question"),
            (babble, "no answer to any question"),
            (noise, "no answer to any question"),
            (shell, "gives no volts and amps; this is no supply"),
        ] {
            scope.spawn(move || feedtale(["supplies", "--probe", &address]).end().code(4).warns(says));
        }
    });
}
