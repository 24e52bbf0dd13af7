//! `learn` asks about what it learned from: by the program's own verdict, is that board sound?

use crate::program::{Ended, feedtale};
use std::path::Path;

const ONE_BOARD: &str = "feedtale: note: learned from 1 board: how much boards differ is mostly assumed, not measured; add \
                         logs of other boards with --update\n";

/// Learns from logs of the repository, by the names of their files.
fn learned(logs: &[&str], more: &[&str]) -> Ended {
    let run = feedtale(["learn", "--board", "harrow-13", "--output", "p.toml"]).with(more);
    let kept =
        |log: &str| std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("logs").join(log)).unwrap();
    let file = |run, log: &&str| {
        let name = Path::new(log).file_name().unwrap().to_str().unwrap();
        crate::program::Run::file(run, name, kept(log)).with(&[name])
    };
    logs.iter().fold(run, file).end().code(0)
}

const GOOD: [&str; 5] = [
    "good/harrow-13-good-1-1.csv",
    "good/harrow-13-good-2-1.csv",
    "good/harrow-13-good-3-1.csv",
    "good/harrow-13-good-4-1.csv",
    "good/harrow-13-good-5-1.csv",
];

#[test]
fn sound_captures_are_taken_without_a_word() {
    learned(&GOOD, &[]).complained("");
    for good in &GOOD[..2] {
        let said = learned(&[good], &[]).stderr();
        assert!(said.starts_with(ONE_BOARD) && !said.contains(" reads as "), "{said}");
    }
}

#[test]
fn a_single_log_of_a_board_that_gives_up_is_asked_about() {
    for class in ["cycling", "latch-off"] {
        learned(&[&format!("samples/harrow-13-{class}.csv")], &[]).complained(&format!(
            "{ONE_BOARD}feedtale: note: harrow-13-{class}.csv reads as {class}: is that board sound?\n"
        ));
    }
}

#[test]
fn what_is_kept_although_it_does_not_fit_is_asked_about() {
    let all = [&GOOD[..], &["samples/harrow-13-excess-standby.csv"]].concat();
    learned(&all, &["--keep-all"]).complained(
        "feedtale: note: harrow-13-excess-standby.csv reads as excess-standby against the others: is that board sound?\n",
    );
    let log = [&GOOD[..], &["samples/harrow-13-latch-off.csv"]].concat();
    learned(&log, &["--keep-all"]).complained(
        "feedtale: note: harrow-13-latch-off.csv reads as standby-only against the others: is that board sound?\n",
    );
    let other = [&GOOD[..], &["good/wren-4-good-1-1.csv"]].concat();
    learned(&other, &["--keep-all"]).complained(
        "feedtale: note: wren-4-good-1-1.csv reads as inconclusive against the others: do they belong together?\n",
    );
    // What is left out taught the profile nothing, and is named once.
    let left_out = learned(&all, &[]).stderr();
    assert_eq!(left_out.lines().count(), 1, "{left_out}");
    assert!(left_out.starts_with("feedtale: harrow-13-excess-standby.csv is left out: "), "{left_out}");
}
