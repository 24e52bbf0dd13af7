//! `diagnose --stream`: a log that grows on standard input.

use crate::program::{Run, feedtale};
use std::io::Write as _;
use std::path::Path;

fn kept(name: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).unwrap()
}

fn diagnose(more: &[&str]) -> Run {
    feedtale(["diagnose", "-"]).with(more).file("profiles/harrow-13.toml", kept("profiles/harrow-13.toml"))
}

#[test]
fn the_last_word_on_a_growing_log_is_that_on_the_whole_of_it() {
    for case in ["stalled", "full-boot", "cycling"] {
        let log = kept(&format!("logs/samples/harrow-13-{case}.csv"));
        let whole = diagnose(&["--json"]).input(log.clone()).end().code(0).stdout();
        let (first, rest) = log.split_at(log.len() / 3);
        let mut running = diagnose(&["--json", "--stream"]).input(first).start();
        for piece in rest.chunks(log.len() / 7) {
            running.stdin().write_all(piece).unwrap();
        }
        let followed = running.end().code(0).stdout();
        assert_eq!(followed.lines().last(), whole.lines().last(), "{case}");
    }
}

#[test]
fn a_verdict_is_said_before_the_log_ends() {
    let log = kept("logs/samples/harrow-13-hard-short.csv");
    let mut running = diagnose(&["--stream"]).input(log).start();
    // Nothing more comes for now: what was said is said without the end of the log.
    std::thread::sleep(std::time::Duration::from_millis(1500));
    assert!(running.goes_on());
    let said = running.end().code(0).stdout();
    let first = said.lines().next().unwrap();
    assert!(first.contains(" s  hard-short ("), "{said}");
    assert!(said.contains("-: harrow-13"), "{said}");
}

#[test]
fn a_malformed_line_is_named_at_the_end() {
    let log = [&kept("logs/samples/harrow-13-stalled.csv")[..], b"1e6,12.8,ERROR,cv,,\n"].concat();
    diagnose(&["--stream"]).input(log).end().code(3).warns("amps \"ERROR\" is not a number");
}

#[test]
fn a_log_that_is_cut_off_says_so_as_it_does_as_a_whole() {
    let log = kept("logs/samples/harrow-13-stalled.csv");
    let cut =
        "feedtale: -: the log is cut off in line 914; its last 18 bytes, an incomplete line, are left out\n";
    for more in [&[][..], &["--stream"]] {
        diagnose(more).input(&log[..log.len() - 9]).end().code(0).complained(cut);
    }
}
