//! The command `simulate`: its first line is an address that answers, a signal ends it, and a slip is named.

use crate::program::feedtale;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Command, Stdio};
use std::time::Duration;

#[test]
fn slips_are_named_with_what_there_is() {
    for (arguments, said) in [
        (["--board", "harrow"], "no board model harrow; there are harrow-13, wren-4, kiln-24"),
        (["--case", "sleepy"], "no case sleepy; there are no-draw, hard-short"),
        (["--supply", "big"], "no supply big; there are bench-fine, bench-coarse, bench-fast"),
        (["--stage", "lunch"], "harrow-13 has no stage lunch"),
        (["--quirk", "loud"], "no quirk loud; there are cr-in"),
        (["--fault", "cut@soon"], "schedule 'soon'; expected @20, @20x3, @every7 or @4s"),
        (["--speed", "0"], "--speed 0: expected a number from 0.001 to 10000"),
        (["--speed", "1e-300"], "expected a number from 0.001 to 10000"),
        (["--volts", "1e300"], "expected a number above 0 and at most 1000000"),
        (["--alter", "nosuch:power=2"], "harrow-13 has no state nosuch; its states are standby, rails, "),
        (["--press", "4"], "expected a time like 4s, 600ms or 2min, or never"),
    ] {
        let run =
            Command::new(env!("CARGO_BIN_EXE_feedtale")).arg("simulate").args(arguments).output().unwrap();
        let message = String::from_utf8_lossy(&run.stderr).into_owned();
        assert_eq!(run.status.code(), Some(2), "{arguments:?}: {message}");
        assert!(message.contains(said), "{arguments:?}: {message}");
    }
    // The words can be asked for.
    feedtale(["simulate", "--quirk", "help"]).end().code(0).mentions("unplug=TIME");
}

#[cfg(unix)]
#[test]
fn the_first_line_is_an_address_that_answers_until_the_interrupt() {
    let folder = tempfile::tempdir().unwrap();
    let truth = folder.path().join("truth.csv");
    let mut child = Command::new(env!("CARGO_BIN_EXE_feedtale"))
        .args(["simulate", "--board", "kiln-24", "--tcp", "127.0.0.1:0", "--speed", "50", "--on", "500ms"])
        .arg("--truth")
        .arg(&truth)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut line = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
    let place = line.trim().strip_prefix("tcp:").and_then(|rest| rest.strip_suffix("?speed=50"));
    let mut client = TcpStream::connect(place.expect(&line)).unwrap();
    client.set_read_timeout(Some(Duration::from_secs(10))).unwrap();
    let mut answers = String::new();
    for _ in 0..20 {
        client.write_all(b"MEAS:VOLT?;CURR?\n").unwrap();
        let mut buffer = [0; 64];
        let count = client.read(&mut buffer).unwrap();
        answers.push_str(std::str::from_utf8(&buffer[..count]).unwrap());
        // At fifty times real time a board second passes in 20 ms.
        std::thread::sleep(Duration::from_millis(10));
    }
    assert_eq!(answers.lines().count(), 20);
    let interrupt = Command::new("kill").arg("-INT").arg(child.id().to_string()).status().unwrap();
    assert!(interrupt.success());
    assert_eq!(child.wait().unwrap().code(), Some(0));
    let truth = std::fs::read_to_string(truth).unwrap();
    assert!(truth.starts_with("bench_s,what,detail\n"), "{truth}");
    assert_eq!(truth.matches(",reading,").count(), 20, "{truth}");
    assert!(truth.contains(",output-on,") && truth.contains(",state,standby"), "{truth}");
}
