//! The cable: pulled and put back under the same name and another, held by somebody else, and a supply that starts anew.
//! Over real pseudo-terminals, through the program.
#![cfg(unix)]

use crate::program::{Ended, feedtale};
use feedtale::simulator::{BoardModel, Case, Manners, Operator, Scenario, Server, Setup, SupplyKind};
use feedtale::trace::{self, EventKind, Trace};
use std::path::Path;
use std::time::Duration;

fn setup(supply: &str, faults: &[&str]) -> Setup {
    let model = BoardModel::named("kiln-24").unwrap();
    let mut scenario = Scenario::new(model, Case::FullBoot, SupplyKind::named(supply).unwrap(), 1, 1);
    scenario.operator = Operator { on_s: Some(0.2), ..Operator::default() };
    let manners = Manners { device_s: 0.02, ..Manners::default() };
    let faults = faults.iter().map(|fault| fault.parse().unwrap()).collect();
    Setup { faults, manners, baud: Some(115_200), rewind_s: None, ..Setup::new(scenario) }
}

fn at(folder: &Path, faults: &[&str]) -> Server {
    Server::pty(setup("bench-fast", faults), Some(&folder.join("supply"))).unwrap()
}

fn record(server: &Server, length: &str, more: &[&str]) -> Ended {
    feedtale(["record", &server.address(), "--for", length, "--output", "run.csv"]).with(more).end()
}

fn log(ended: &Ended) -> Trace {
    trace::read_file(ended.path("run.csv")).unwrap().trace
}

fn time_of(log: &Trace, kind: &EventKind) -> Option<f64> {
    log.events().iter().find(|event| event.kind == *kind).map(|event| event.time.value())
}

/// The log stops at the loss, goes on after the link is back, and holds nothing that the supply did not show.
#[track_caller]
fn assert_goes_on(ended: &Ended, server: &Server) {
    let log = log(ended);
    let (lost, back) = (time_of(&log, &EventKind::LinkLost), time_of(&log, &EventKind::LinkBack));
    let (lost, back) = (lost.expect("link lost"), back.expect("link back"));
    let readings = |from: f64, to: f64| log.time().iter().filter(|time| (from..to).contains(*time)).count();
    assert!(lost < back && readings(lost + 0.001, back) == 0, "{:?}", log.events());
    assert!(readings(0.0, lost) > 5 && readings(back, f64::INFINITY) > 5, "{:?}", log.events());
    let truth = server.record();
    let shown = |volts: f64| truth.exchanges.iter().any(|taken| (taken.reading.volts - volts).abs() < 1e-6);
    assert!(log.volts().iter().all(|volts| shown(*volts)), "a number that the supply never showed");
}

#[test]
fn put_back_under_the_same_name() {
    let folder = tempfile::tempdir().unwrap();
    let server = at(folder.path(), &["unplug=700ms@1s"]);
    let ended = record(&server, "4s", &[]).code(0).warns("link lost").warns("link back");
    assert_goes_on(&ended, &server);
}

#[test]
fn put_back_at_eight_times_the_speed_again_and_again() {
    let folder = tempfile::tempdir().unwrap();
    let faults = ["unplug=2s@4s", "unplug=2s@14s", "unplug=1s@24s"];
    let setup = Setup { speed: 8.0, ..setup("bench-fast", &faults) };
    let server = Server::pty(setup, Some(&folder.path().join("supply"))).unwrap();
    let ended = record(&server, "40s", &[]).code(0);
    assert_goes_on(&ended, &server);
    let log = log(&ended);
    let back = log.events().iter().filter(|event| event.kind == EventKind::LinkBack).count();
    assert_eq!(back, 3, "{:?}", log.events());
    assert!(log.time().last().unwrap() > &35.0, "{:?}", log.time().last());
}

#[test]
fn put_back_under_another_name() {
    let folder = tempfile::tempdir().unwrap();
    let server = at(folder.path(), &["rename=700ms@1s"]);
    let other = folder.path().join("supply-2");
    let ended = record(&server, "4s", &["--elsewhere", &other.display().to_string()]).code(0);
    assert_goes_on(&ended, &server);
}

#[test]
fn another_supply_at_another_name_is_not_read() {
    let folder = tempfile::tempdir().unwrap();
    let server = at(folder.path(), &["unplug=60s@1s"]);
    let other = Server::pty(setup("bench-coarse", &[]), Some(&folder.path().join("other"))).unwrap();
    let ended = record(&server, "3s", &["--elsewhere", &other.address()]).code(0).warns("link lost");
    let log = log(&ended);
    assert_eq!(time_of(&log, &EventKind::LinkBack), None);
    assert!(log.time().last().unwrap() < &1.5, "the log ends where the link did");
    let heard = other.record().messages;
    assert!(!heard.is_empty() && heard.iter().all(|message| message == b"*IDN?"), "{heard:?}");
}

#[test]
fn a_supply_that_is_silent_for_longer_than_a_link_may_be_is_read_again() {
    // The program holds its own port all the while: it must let go of it to open it again.
    let folder = tempfile::tempdir().unwrap();
    let server = at(folder.path(), &["reboot=3s@1s"]);
    let ended = record(&server, "8s", &[]).code(0).warns("link lost").warns("link back");
    assert_goes_on(&ended, &server);
    let log = log(&ended);
    assert!(time_of(&log, &EventKind::OutputOff).is_some(), "the output is now off: {:?}", log.events());
    assert!(log.volts().last().unwrap() < &0.5);
}

#[test]
fn a_port_that_another_program_holds_is_said_to_be_in_use() {
    let folder = tempfile::tempdir().unwrap();
    let server = at(folder.path(), &[]);
    let port = folder.path().join("supply").display().to_string();
    let _held = serialport::new(&port, 115_200).timeout(Duration::from_secs(1)).open().unwrap();
    record(&server, "1s", &[]).code(4).complained(&format!(
        "feedtale: {port}: in use by another program; close that program (or the other feedtale) and try again\n"
    ));
}
