//! What every command owes its user: help, a version, and exit codes that a script can trust.

use crate::program::feedtale;
use std::io::Write as _;

#[test]
fn the_version_is_the_crates() {
    feedtale(["--version"]).end().code(0).printed(concat!("feedtale ", env!("CARGO_PKG_VERSION"), "\n"));
}

#[test]
fn no_command_shows_the_help() {
    feedtale([""; 0]).end().code(2).printed("").warns("Usage: feedtale");
}

/// The pipes are closed before the program has anything to say: it waits for its log on standard input, or is still
/// recording.
#[test]
fn a_reader_that_has_gone_away_changes_no_exit_code() {
    let log = include_bytes!("../logs/samples/harrow-13-stalled.csv");
    for arguments in [
        &["diagnose", "-"][..],
        &["ticket", "-", "--output", "tickets"],
        &["plot", "-", "--output", "picture.png"],
        &["diagnose", "--stream", "-"],
    ] {
        let mut run = feedtale(arguments).start().unheard();
        run.stdin().write_all(log).unwrap();
        run.end().code(0);
    }
    // Nothing is read here, but what is printed in the end comes long after the pipes were closed.
    let learn = ["learn", "a.csv", "b.csv", "--board", "harrow-13", "--output", "p.toml"];
    feedtale(learn).file("a.csv", log).file("b.csv", &log[..log.len() - 9]).start().unheard().end().code(0);
    feedtale(["diagnose", "no.csv", "nor.csv"]).start().unheard().end().code(3);
    feedtale(["simulate", "--quirk", "help"]).start().unheard().end().code(0);
}

#[test]
fn a_log_that_is_cut_off_says_so_on_stderr() {
    let log = include_bytes!("../logs/samples/harrow-13-stalled.csv");
    let cut = "feedtale: cut.csv: the log is cut off in line 914; its last 18 bytes, an incomplete line, are left out";
    feedtale(["diagnose", "cut.csv"]).file("cut.csv", &log[..log.len() - 9]).end().code(0).warns(cut);
}

#[test]
fn what_is_written_over_is_written_whole_and_keeps_its_place() {
    let log = include_bytes!("../logs/samples/harrow-13-stalled.csv");
    let run = feedtale(["learn", "a.csv", "--board", "harrow-13", "--output", "p.toml", "--force"]);
    let done = run.file("a.csv", log).file("p.toml", "old").end().code(0);
    assert!(std::fs::read_to_string(done.path("p.toml")).unwrap().contains("harrow-13"));
    assert!(!done.path("p.toml.new").exists());
}
