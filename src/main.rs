//! The thin binary: parse, run, exit.

use std::process::ExitCode;

fn main() -> ExitCode {
    feedtale::cli::main(std::env::args_os())
}
