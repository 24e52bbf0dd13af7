//! Which part may know which: the folders of `src` import only what the design lets them.

use std::fs;
use std::path::{Path, PathBuf};

/// Parts that a log alone must be enough for: they turn a trace into a verdict, a picture and a ticket.
const FROM_A_LOG_ALONE: [&str; 8] =
    ["trace", "stats", "segment", "reference", "verdict", "archive", "render", "ticket"];

/// Parts that only a supply at hand makes sense of.
const OF_THE_BENCH: [&str; 6] = ["link", "scpi", "supply", "capture", "live", "simulator"];

/// Every (user, used) pair that must not be.
fn forbidden() -> Vec<(&'static str, &'static str)> {
    let mut pairs = Vec::new();
    for user in FROM_A_LOG_ALONE {
        pairs.extend(OF_THE_BENCH.map(|used| (user, used)));
    }
    // A shared bug in client and device would cancel out and never be seen.
    pairs.extend([
        ("simulator", "scpi"),
        ("simulator", "supply"),
        ("scpi", "simulator"),
        ("supply", "simulator"),
    ]);
    pairs.extend([("link", "supply"), ("link", "scpi"), ("scpi", "supply"), ("live", "supply")]);
    pairs.extend(FROM_A_LOG_ALONE.iter().chain(&OF_THE_BENCH).map(|user| (*user, "cli")));
    pairs
}

fn rust_files(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
    entries
        .flat_map(|entry| {
            let path = entry.expect("a readable folder entry").path();
            if path.is_dir() { rust_files(&path) } else { vec![path] }
        })
        .filter(|path| path.extension().is_some_and(|ending| ending == "rs"))
        .collect()
}

/// Whether the source text of one part names another part, by `crate::part` or inside `use crate::{…}`.
fn names(source: &str, part: &str) -> bool {
    let code: String = source
        .lines()
        .filter(|line| !line.trim_start().starts_with("//"))
        .flat_map(|line| [line, "\n"])
        .collect();
    let direct = format!("crate::{part}");
    let is_word_end = |rest: &str| !rest.starts_with(|c: char| c.is_alphanumeric() || c == '_');
    if code.match_indices(&direct).any(|(at, found)| is_word_end(&code[at + found.len()..])) {
        return true;
    }
    code.match_indices("crate::{").any(|(at, _)| {
        let group = &code[at..code[at..].find(';').map_or(code.len(), |end| at + end)];
        group.split(|c: char| !(c.is_alphanumeric() || c == '_')).any(|word| word == part)
    })
}

#[test]
fn no_part_uses_what_it_must_not_know() {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut broken = Vec::new();
    for (user, used) in forbidden() {
        for file in rust_files(&source.join(user)) {
            if names(&fs::read_to_string(&file).expect("a readable source file"), used) {
                broken.push(format!("{} uses {used}", file.display()));
            }
        }
    }
    assert!(broken.is_empty(), "forbidden arrows:\n{}", broken.join("\n"));
}

#[test]
fn the_check_sees_a_forbidden_import_in_each_form() {
    assert!(names("use crate::supply::Guard;", "supply"));
    assert!(names("use crate::{units::Volts, supply};", "supply"));
    assert!(names("let guard = crate::supply::guard();", "supply"));
    assert!(!names("use crate::supply_chain::X;", "supply"));
    assert!(!names("// crate::supply is not for here", "supply"));
}
