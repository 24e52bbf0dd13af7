//! Nothing lost: the log when its place fails, and when the program is killed.

use crate::program::feedtale;
use feedtale::simulator::{BoardModel, Case, Manners, Operator, Scenario, Server, Setup, SupplyKind};
use feedtale::trace;
use std::net::TcpListener;
use std::path::Path;
use std::time::{Duration, Instant};

fn served() -> Server {
    let model = BoardModel::named("kiln-24").unwrap();
    let mut scenario = Scenario::new(model, Case::FullBoot, SupplyKind::named("bench-fast").unwrap(), 1, 1);
    scenario.operator = Operator { on_s: Some(0.2), ..Operator::default() };
    let manners = Manners { device_s: 0.01, ..Manners::default() };
    let setup = Setup { manners, rewind_s: None, ..Setup::new(scenario) };
    Server::tcp(setup, TcpListener::bind("127.0.0.1:0").unwrap()).unwrap()
}

/// How many readings `log` holds, each as the supply showed it, in order from the first.
#[track_caller]
fn true_readings(log: &Path, server: &Server) -> usize {
    let log = trace::read_file(log).unwrap().trace;
    let truth = server.record();
    for (index, volts) in log.volts().iter().enumerate() {
        let shown = truth.exchanges[index].reading.volts;
        assert!((shown - volts).abs() < 1e-6, "reading {index} is {volts}, the supply showed {shown}");
    }
    log.len()
}

#[track_caller]
fn wait_for_readings(server: &Server, count: usize) {
    let deadline = Instant::now() + Duration::from_secs(30);
    while server.look(|record| record.exchanges.len()) < count {
        assert!(Instant::now() < deadline, "no {count} readings");
        std::thread::sleep(Duration::from_millis(5));
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_folder_that_takes_no_file_is_said_at_once_and_the_log_is_elsewhere() {
    let server = served();
    // Nobody may make a file there, not even root.
    let ended = feedtale(["record", &server.address(), "--for", "1s", "--output", "/proc/run.csv"])
        .end()
        .code(0)
        .warns("the log cannot be kept in /proc/run.csv: ")
        .warns("; all of it is now in ");
    assert!(true_readings(&ended.path("run.csv"), &server) > 20);
    assert!(ended.stdout().contains("run.csv\n") && !ended.stdout().contains("/proc"), "{}", ended.stdout());
}

#[cfg(unix)]
#[test]
fn a_file_that_is_taken_away_is_written_anew_whole() {
    let server = served();
    let run = feedtale(["record", &server.address(), "--for", "3s", "--output", "run.csv"]).start();
    wait_for_readings(&server, 40);
    std::fs::rename(run.path("run.csv"), run.path("taken.csv")).unwrap();
    let ended = run.end().code(0).warns("taken away, replaced or cut").mentions("log: run.csv");
    let taken = true_readings(&ended.path("taken.csv"), &server);
    assert!(true_readings(&ended.path("run.csv"), &server) > taken.max(100));
}

#[cfg(unix)]
#[test]
fn a_folder_that_is_taken_away_moves_the_log_to_the_next_place() {
    let server = served();
    let run = feedtale(["record", &server.address(), "--for", "3s", "--output", "stick/run.csv"]);
    std::fs::create_dir(run.folder().join("stick")).unwrap();
    let run = run.start();
    wait_for_readings(&server, 40);
    std::fs::remove_dir_all(run.path("stick")).unwrap();
    let ended = run.end().code(0).warns("the log cannot be kept in stick/run.csv: ");
    assert!(true_readings(&ended.path("run.csv"), &server) > 100);
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_said_at_once_and_the_run_goes_on() {
    let server = served();
    let folder = tempfile::tempdir().unwrap();
    // No file may grow beyond 2 KiB: what a full disk does, without one. The signal that goes with it is ignored.
    let script = "trap '' XFSZ; ulimit -f 2; exec \"$0\" \"$@\"";
    let run = std::process::Command::new("bash")
        .args(["-c", script, env!("CARGO_BIN_EXE_feedtale"), "record", &server.address()])
        .args(["--for", "2s", "--output", "run.csv"])
        .current_dir(folder.path())
        .env("HOME", folder.path())
        .env("TMPDIR", folder.path())
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&run.stderr);
    assert_eq!(run.status.code(), Some(3), "{said}");
    assert_eq!(said.matches("it goes on in memory only").count(), 1, "said once: {said}");
    assert!(said.ends_with("what the last file holds is all that is on disk\n"), "{said}");
    let readings = server.look(|record| record.exchanges.len());
    assert!(readings > 100, "the run went on: {readings}");
    assert!(true_readings(&folder.path().join("run.csv"), &server) > 10, "and what fitted loads");
}

#[test]
fn two_recordings_into_one_folder_are_two_logs() {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().display().to_string();
    std::thread::scope(|scope| {
        for _ in 0..3 {
            scope.spawn(|| {
                let server = served();
                feedtale(["record", &server.address(), "--for", "500ms", "--output", &place]).end().code(0);
            });
        }
    });
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 3);
}

#[cfg(unix)]
#[test]
fn killed_at_any_moment_all_but_the_last_second_is_on_disk() {
    std::thread::scope(|scope| {
        for moment in [60_u64, 310, 720, 1130, 1490, 1910] {
            scope.spawn(move || {
                let server = served();
                let run = feedtale(["record", &server.address(), "--output", "run.csv"]).start();
                wait_for_readings(&server, 10);
                std::thread::sleep(Duration::from_millis(moment));
                let killed = Instant::now();
                run.signal("KILL");
                let ended = run.end();
                let path = ended.path("run.csv");
                let kept = if path.metadata().is_ok_and(|file| file.len() > 0) {
                    true_readings(&path, &server)
                } else {
                    0
                };
                let age = server.look(|record| {
                    record
                        .exchanges
                        .get(kept)
                        .map_or(Duration::ZERO, |lost| killed.saturating_duration_since(lost.at))
                });
                assert!(age < Duration::from_secs(1), "a reading {age:?} old was lost");
            });
        }
    });
}
