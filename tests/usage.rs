//! What every command owes its user: help, a version, and exit codes that a script can trust.

use crate::program::feedtale;

#[test]
fn the_version_is_the_crates() {
    feedtale(["--version"]).end().code(0).printed(concat!("feedtale ", env!("CARGO_PKG_VERSION"), "\n"));
}

#[test]
fn no_command_shows_the_help() {
    feedtale([""; 0]).end().code(2).printed("").warns("Usage: feedtale");
}
