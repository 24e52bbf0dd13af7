//! Driving a supply from the command line: what it refuses, what it sets in which order, and that the output is off on
//! every way out. What truly happened to the output is read from the simulated supply itself.

use crate::program::{Run, Running, feedtale};
use feedtale::simulator::{BoardModel, Case, Manners, Operator, Scenario, Server, Setup, SupplyKind, Truth};
use feedtale::trace::{self, EventKind};
use std::net::TcpListener;
use std::time::{Duration, Instant};

/// The panel on a fast supply; nobody but the program touches the output.
fn setup(case: Case, quirks: &str, faults: &[&str]) -> Setup {
    let model = BoardModel::named("kiln-24").unwrap();
    let mut scenario = Scenario::new(model, case, SupplyKind::named("bench-fast").unwrap(), 1, 1);
    scenario.operator = Operator { on_s: None, ..Operator::default() };
    let mut manners: Manners = quirks.parse().unwrap();
    manners.device_s = 0.01;
    let faults = faults.iter().map(|fault| fault.parse().unwrap()).collect();
    Setup { manners, faults, rewind_s: None, ..Setup::new(scenario) }
}

fn served(case: Case, quirks: &str, faults: &[&str]) -> Server {
    Server::tcp(setup(case, quirks, faults), TcpListener::bind("127.0.0.1:0").unwrap()).unwrap()
}

fn sound() -> Server {
    served(Case::FullBoot, "", &[])
}

/// `record --drive` of the panel by its profile.
fn drive(server: &Server) -> Run {
    let profile = concat!(env!("CARGO_MANIFEST_DIR"), "/profiles/kiln-24.toml");
    feedtale(["record", &server.address(), "--drive", "--profile", profile, "--output", "run.csv"])
}

/// What happened to the output, in order.
fn switched(server: &Server) -> Vec<Truth> {
    let switches = |what: &Truth| matches!(what, Truth::OutputOn | Truth::OutputOff);
    server.look(|record| record.events.iter().map(|event| event.what.clone()).filter(switches).collect())
}

fn heard(server: &Server) -> Vec<String> {
    server.look(|record| {
        record.messages.iter().map(|message| String::from_utf8_lossy(message).into_owned()).collect()
    })
}

fn set_nothing(server: &Server) -> bool {
    heard(server).iter().all(|message| message.split(';').all(|unit| unit.ends_with('?')))
}

/// Waits for something that the supply shows.
#[track_caller]
fn wait_until(what: &str, mut holds: impl FnMut() -> bool) {
    let deadline = Instant::now() + Duration::from_secs(30);
    while !holds() {
        assert!(Instant::now() < deadline, "never: {what}");
        std::thread::sleep(Duration::from_millis(10));
    }
}

fn started(run: Run, server: &Server) -> Running {
    let run = run.with(&["--yes"]).start();
    wait_until("output on", || switched(server) == [Truth::OutputOn]);
    run
}

const ON_AND_OFF: [Truth; 2] = [Truth::OutputOn, Truth::OutputOff];

#[test]
fn what_is_not_allowed_is_refused_with_its_reason_and_nothing_is_set() {
    let server = sound();
    for (more, said) in [
        (&["--yes", "--volts", "30"][..], "30.0 V is above the 28.8 V that the profile allows"),
        (&["--yes", "--volts", "30"], "can destroy every chip behind them"),
        (&["--yes", "--volts", "15"], "15.0 V is below the 20.4 V from which a good board boots"),
        (&["--yes", "--limit", "4"], "a limit of 4.00 A is above the 1.50 A that the profile advises"),
        (&["--yes", "--volts", "-1"], "--volts -1: expected a number above 0"),
        (&[], "nobody at the terminal to confirm this; scripts say --yes"),
        (&[], "not confirmed; nothing was sent to the supply"),
        (&["--prepare"], "cannot be used with"),
    ] {
        drive(&server).with(more).end().code(2).printed("").warns(said);
    }
    let address = server.address();
    feedtale(["record", &address, "--drive", "--yes"])
        .end()
        .code(2)
        .warns("give --profile, or --volts and --limit");
    feedtale(["record", &address, "--drive", "--yes", "--volts", "12", "--limit", "1"])
        .end()
        .code(2)
        .warns("without a profile nothing says what this board stands");
    feedtale(["record", &address, "--yes"]).end().code(2).warns("--drive");
    feedtale(["record", &address, "--leave-on"]).end().code(2).warns("--drive");
    assert!(set_nothing(&server), "{:?}", heard(&server));
}

#[test]
fn the_order_is_off_set_read_back_on_and_off_again() {
    let server = sound();
    let ended = drive(&server)
        .with(&["--yes", "--for", "2s"])
        .end()
        .code(0)
        .warns("about to feed 24.0 V at a limit of 1.50 A")
        .warns("caution: Disconnect the panel from its machine")
        .warns("output on")
        .warns("output off");
    let heard = heard(&server);
    let at = |message: &str| heard.iter().position(|found| found == message).expect(message);
    let order = ["OUTP OFF", "VOLT 24.000", "CURR 1.500", "VOLT?;CURR?;OUTP?", "OUTP ON"].map(at);
    assert!(order.is_sorted(), "{heard:?}");
    assert_eq!(switched(&server), ON_AND_OFF);
    let last = heard.iter().rposition(|message| message == "OUTP OFF").unwrap();
    assert_eq!(heard[last + 1], "OUTP?", "the way out is confirmed: {heard:?}");
    let log = trace::read_file(ended.path("run.csv")).unwrap().trace;
    let kinds: Vec<_> = log.events().iter().map(|event| event.kind.clone()).collect();
    assert_eq!(kinds, [EventKind::OutputOn, EventKind::OutputOff]);
}

#[test]
fn beyond_the_profile_goes_when_it_is_asked_for() {
    let server = sound();
    drive(&server).with(&["--yes", "--for", "1s", "--volts", "30", "--beyond-profile"]).end().code(0);
    assert!(heard(&server).contains(&"VOLT 30.000".to_owned()));
    assert_eq!(switched(&server), ON_AND_OFF);
}

#[test]
fn a_short_is_found_before_the_full_feed() {
    let server = served(Case::HardShort, "", &[]);
    drive(&server)
        .with(&["--yes", "--for", "3s", "--short-check"])
        .end()
        .code(5)
        .warns("feedtale: short check: ")
        .warns(", below 8.00 Ω; the output is confirmed off and the board was not fed. Find the short first");
    let volts = |message: &String| message.strip_prefix("VOLT ").and_then(|number| number.parse().ok());
    let set: Vec<f64> = heard(&server).iter().filter_map(volts).collect();
    assert_eq!(set, [1.0], "the full feed was never set");
    assert_eq!(switched(&server), ON_AND_OFF);
    let on: Vec<f64> = server.look(|record| {
        let switch = |what: Truth| record.events.iter().find(|event| event.what == what).unwrap().at_s;
        vec![switch(Truth::OutputOff) - switch(Truth::OutputOn)]
    });
    assert!(on[0] < 2.0, "well under a second on an idle machine: {on:?}");
}

#[test]
fn without_a_short_the_check_goes_on_to_the_full_feed() {
    let server = sound();
    drive(&server).with(&["--yes", "--for", "1500ms", "--short-check"]).end().code(0).warns("going on");
    assert_eq!(switched(&server), [ON_AND_OFF, ON_AND_OFF].concat());
}

#[test]
fn volts_above_those_set_trip_in_the_next_exchange() {
    let server = served(Case::FullBoot, "high=1.2", &[]);
    let ended = drive(&server)
        .with(&["--yes", "--for", "20s"])
        .end()
        .code(5)
        .warns("V at the output, set to 24.0 V; the output is confirmed off");
    assert_eq!(switched(&server), ON_AND_OFF);
    let log = std::fs::read_to_string(ended.path("run.csv")).unwrap();
    let over = log.lines().filter(|line| {
        line.split(',').nth(1).is_some_and(|volts| volts.parse().is_ok_and(|v: f64| v > 24.72))
    });
    assert_eq!(over.count(), 1, "one reading above, then off:\n{log}");
    // The first reading above may be averaged over the rise.
    assert!(
        log.contains("trip=2") && log.contains(" V at the output") && log.contains(",output-off"),
        "{log}"
    );
}

#[test]
fn amps_over_their_level_for_their_time_trip() {
    let server = sound();
    drive(&server)
        .with(&["--yes", "--for", "60s", "--trip-amps", "0.05", "--trip-after", "300ms"])
        .end()
        .code(5)
        .warns("feedtale: tripped: over 50.0 mA for 0.300 s (")
        .warns("; the output is confirmed off");
    assert_eq!(switched(&server), ON_AND_OFF);
}

#[test]
fn a_short_at_full_feed_trips_after_its_time() {
    let server = served(Case::HardShort, "", &[]);
    let begin = Instant::now();
    drive(&server)
        .with(&["--yes", "--for", "60s", "--trip-collapse", "800ms"])
        .end()
        .code(5)
        .warns("feedtale: tripped: in current limit with the feed at ")
        .warns(" of 24.0 V for 0.800 s: a short; the output is confirmed off");
    assert_eq!(switched(&server), ON_AND_OFF);
    assert!(begin.elapsed() < Duration::from_secs(30));
}

#[test]
fn a_link_that_comes_back_is_used_to_switch_off() {
    let server = served(Case::FullBoot, "", &["unplug=800ms@1500ms"]);
    drive(&server).with(&["--yes", "--for", "60s"]).end().code(5).warns("feedtale: tripped: link lost: ");
    assert_eq!(switched(&server), ON_AND_OFF);
}

#[test]
fn an_output_that_cannot_be_reached_or_does_not_go_off_is_said_so_that_nobody_misses_it() {
    let gone = served(Case::FullBoot, "", &["unplug=60s@1500ms"]);
    let stuck = served(Case::FullBoot, "stuck-on", &[]);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            drive(&gone)
                .with(&["--yes", "--for", "60s"])
                .end()
                .code(5)
                .warns("**  THE OUTPUT MAY STILL BE ON. ")
                .warns("Switch it off at the supply itself, or pull the supply's mains plug")
                .warns("the output could not be confirmed off: ");
            assert_eq!(switched(&gone), [Truth::OutputOn], "and so it is");
        });
        scope.spawn(|| {
            let ended = drive(&stuck)
                .with(&["--yes", "--for", "1s"])
                .end()
                .code(5)
                .warns("**  THE OUTPUT MAY STILL BE ON. ")
                .warns("the supply says that its output is still on");
            let log = std::fs::read_to_string(ended.path("run.csv")).unwrap();
            assert!(!log.contains("output-off"), "off is not claimed: {log}");
        });
    });
}

#[test]
fn an_output_that_is_stuck_on_is_found_before_anything_is_set() {
    let mut setup = setup(Case::FullBoot, "stuck-on", &[]);
    setup.scenario.operator.on_s = Some(0.0);
    let server = Server::tcp(setup, TcpListener::bind("127.0.0.1:0").unwrap()).unwrap();
    // The bench's clock starts with the first measurement: let somebody have looked before.
    feedtale(["record", &server.address(), "--for", "500ms", "--output", "look.csv"]).end().code(0);
    drive(&server).with(&["--yes", "--for", "1s"]).end().code(5).warns("THE OUTPUT MAY STILL BE ON");
    assert!(heard(&server).iter().all(|message| !message.starts_with("VOLT ")), "{:?}", heard(&server));
}

#[test]
fn left_on_only_when_asked_for_and_never_after_a_signal() {
    let server = sound();
    drive(&server).with(&["--yes", "--for", "1s", "--leave-on"]).end().code(0);
    assert_eq!(switched(&server), [Truth::OutputOn]);
    let server = sound();
    let run = started(drive(&server).with(&["--leave-on"]), &server);
    run.signal("TERM");
    run.end().code(0);
    assert_eq!(switched(&server), ON_AND_OFF);
}

#[cfg(unix)]
#[test]
fn every_signal_that_asks_to_end_switches_off_and_keeps_the_log() {
    std::thread::scope(|scope| {
        for signal in ["INT", "TERM", "HUP"] {
            scope.spawn(move || {
                let server = sound();
                let run = started(drive(&server), &server);
                run.signal(signal);
                let ended = run.end().code(0).warns("output off").mentions("log: run.csv");
                assert_eq!(switched(&server), ON_AND_OFF, "{signal}");
                assert!(trace::read_file(ended.path("run.csv")).is_ok(), "{signal}");
            });
        }
    });
}

#[test]
fn a_killed_program_cannot_switch_off_but_the_supplys_own_watchdog_does() {
    let dialect = std::fs::read_to_string(concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/profiles/dialects/list-with-status.toml"
    ));
    let dialect = dialect.unwrap().replace("seconds = 5", "seconds = 1");
    let server = served(Case::FullBoot, "watts-in-list", &[]);
    let run = drive(&server).with(&["--dialect", "watched.toml"]).file("watched.toml", dialect);
    let run = started(run, &server);
    let heard = heard(&server);
    let at = |message: &str| heard.iter().position(|found| found == message).expect(message);
    // Protection above what is set, with room for what is usual, and read back; the watchdog before the output.
    let order = [
        "SOUR:VOLT:PROT 26.4000",
        "SOUR:VOLT:PROT?",
        "SOUR:CURR:PROT 1.6500",
        "SOUR:CURR:PROT?",
        "SYST:WATC:TIME 1",
        "SYST:WATC ON",
        "OUTP:STAT ON",
    ]
    .map(at);
    assert!(order.is_sorted(), "{heard:?}");
    run.signal("KILL");
    let ended = run.end();
    wait_until("the watchdog switched off", || switched(&server) == ON_AND_OFF);
    assert!(trace::read_file(ended.path("run.csv")).is_ok(), "and the log is kept");
}

#[cfg(target_os = "linux")]
mod at_a_terminal {
    use super::*;
    use rustix::event::{PollFd, PollFlags, Timespec, poll};
    use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
    use std::fs::File;
    use std::io::{Read, Write};
    use std::os::unix::fs::OpenOptionsExt;
    use std::process::{Child, Command, Stdio};

    /// The program on a controlling terminal of its own, whose other end is a technician.
    struct Bench {
        child: Child,
        technician: Option<File>,
        folder: tempfile::TempDir,
    }

    /// Both ends of a new terminal, of which a child inherits only what it is given.
    fn terminal() -> (File, File) {
        let own = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).unwrap();
        grantpt(&own).unwrap();
        unlockpt(&own).unwrap();
        let name = ptsname(&own, Vec::new()).unwrap().into_string().unwrap();
        let no_ctty = rustix::fs::OFlags::NOCTTY.bits().cast_signed();
        let end = File::options().read(true).write(true).custom_flags(no_ctty).open(name).unwrap();
        (File::from(own), end)
    }

    impl Bench {
        fn start(server: &Server, more: &[&str]) -> Self {
            let (technician, terminal) = terminal();
            let folder = tempfile::tempdir().unwrap();
            let profile = concat!(env!("CARGO_MANIFEST_DIR"), "/profiles/kiln-24.toml");
            // util-linux, on every Linux: makes the terminal on standard input the controlling one, then becomes the
            // program.
            let child = Command::new("setsid")
                .args(["--ctty", env!("CARGO_BIN_EXE_feedtale"), "record", &server.address()])
                .args(["--drive", "--profile", profile, "--output", "run.csv"])
                .args(more)
                .current_dir(folder.path())
                .stdin(Stdio::from(terminal.try_clone().unwrap()))
                .stdout(Stdio::from(terminal.try_clone().unwrap()))
                .stderr(Stdio::from(terminal))
                .spawn()
                .unwrap();
            Self { child, technician: Some(technician), folder }
        }

        fn types(&mut self, keys: &[u8]) {
            self.technician.as_mut().unwrap().write_all(keys).unwrap();
        }

        /// Reads what is on the terminal until `words` are.
        #[track_caller]
        fn reads(&mut self, words: &str) -> String {
            let technician = self.technician.as_mut().unwrap();
            let (mut seen, mut chunk) = (String::new(), [0; 512]);
            let wait = Timespec { tv_sec: 0, tv_nsec: 100_000_000 };
            wait_until(words, || {
                let ready = poll(&mut [PollFd::new(technician, PollFlags::IN)], Some(&wait));
                if matches!(ready, Ok(1..)) {
                    let count = technician.read(&mut chunk).unwrap_or_default();
                    seen.push_str(&String::from_utf8_lossy(&chunk[..count]));
                }
                seen.contains(words)
            });
            seen
        }

        /// Closes the terminal's window.
        fn closes(&mut self) {
            self.technician = None;
        }

        #[track_caller]
        fn ends_with(&mut self, code: i32) {
            wait_until("the program ends", || {
                if let Some(technician) = &mut self.technician {
                    let now = Timespec { tv_sec: 0, tv_nsec: 0 };
                    while matches!(poll(&mut [PollFd::new(technician, PollFlags::IN)], Some(&now)), Ok(1..))
                        && technician.read(&mut [0; 512]).is_ok_and(|count| count > 0)
                    {}
                }
                self.child.try_wait().unwrap().is_some()
            });
            assert_eq!(self.child.wait().unwrap().code(), Some(code));
        }
    }

    impl Drop for Bench {
        fn drop(&mut self) {
            // A check that failed must not leave the program behind.
            let _ = self.child.kill();
        }
    }

    #[test]
    fn a_yes_is_typed_marks_are_keys_and_escape_ends_with_the_output_off() {
        let server = sound();
        let mut bench = Bench::start(&server, &[]);
        let shown = bench.reads("type yes to go on:");
        assert!(shown.contains("caution: ") && set_nothing(&server), "{shown}");
        bench.types(b"yes\n");
        bench.reads(" output on");
        // The first space is the power button, the rest a word.
        bench.types(b" fan spins\r");
        bench.reads("mark: fan spins");
        bench.types(b"\x1b");
        bench.reads("log: run.csv");
        bench.ends_with(0);
        assert_eq!(switched(&server), ON_AND_OFF);
        let log = std::fs::read_to_string(bench.folder.path().join("run.csv")).unwrap();
        assert!(log.contains(",mark=power button\n") && log.contains(",mark=fan spins\n"), "{log}");
    }

    #[test]
    fn control_c_at_the_question_sets_nothing() {
        let server = sound();
        let mut bench = Bench::start(&server, &[]);
        bench.reads("type yes to go on:");
        bench.types(b"\x03");
        bench.reads("not confirmed; nothing was sent to the supply");
        bench.ends_with(2);
        assert!(set_nothing(&server));
    }

    #[test]
    fn a_closed_terminal_switches_off_and_keeps_the_log() {
        let server = sound();
        let mut bench = Bench::start(&server, &["--yes"]);
        bench.reads(" output on");
        bench.closes();
        bench.ends_with(0);
        assert_eq!(switched(&server), ON_AND_OFF);
        assert!(trace::read_file(bench.folder.path().join("run.csv")).unwrap().trace.len() > 3);
    }

    #[test]
    fn a_closed_terminal_hides_no_exit_code() {
        let server = served(Case::FullBoot, "stuck-on", &[]);
        let mut bench = Bench::start(&server, &["--yes"]);
        bench.reads(" output on");
        bench.closes();
        // Could not be confirmed, whoever hears it.
        bench.ends_with(5);
    }
}
