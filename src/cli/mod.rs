//! The command line: one file a command. The only place that prints, reads the environment or exits.
//!
//! Every command is an `Args` that clap fills and a `run` that returns `Outcome` or `Failure`; how that becomes
//! text on stderr and an exit code stands here once.

mod completions;
mod console;
mod convert;
mod demo;
mod diagnose;
mod failure;
mod keys;
mod learn;
mod logs;
mod manual;
mod output;
mod plot;
mod record;
mod schema;
mod signals;
mod simulate;
mod supplies;
mod ticket;

use failure::{Failure, Outcome};

use clap::{Parser, Subcommand};
use std::ffi::OsString;
use std::process::ExitCode;

/// The pause after a look at a log that still grows, in the time that the look took: at most a fifth of one core goes into
/// verdicts, however long the log gets.
const PAUSE_SHARE: u32 = 4;

/// Reads how far a repaired board boots from the volts and amps of the lab supply that feeds it.
#[derive(Debug, Parser)]
#[command(name = "feedtale", version, max_term_width = 100)]
struct CommandLine {
    #[command(subcommand)]
    command: Command,
}

/// The commands, in the order in which a technician meets them.
#[derive(Debug, Subcommand)]
enum Command {
    Demo(demo::Args),
    Supplies(supplies::Args),
    Record(Box<record::Args>),
    Diagnose(diagnose::Arguments),
    Ticket(ticket::Args),
    Simulate(Box<simulate::Args>),
    Plot(Box<plot::PlotArgs>),
    Convert(Box<convert::Args>),
    /// Print the JSON Schema (2020-12) of a finding, as `diagnose --json` prints it and a ticket holds it.
    Schema,
    Completions(completions::Args),
    /// Print the man page, every command in it: `feedtale manual | man -l -`.
    Manual,
    Learn(Box<learn::Args>),
}

/// Parses `arguments`, runs the command, prints what went wrong and says how to exit.
pub fn main(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let parsed = match CommandLine::try_parse_from(arguments) {
        Ok(parsed) => parsed,
        Err(usage) => return failure::report_usage(&usage),
    };
    match run(parsed.command) {
        Ok(Outcome::Done) => ExitCode::SUCCESS,
        Ok(Outcome::CheckFailed) => ExitCode::from(failure::CHECK_FAILED),
        Err(failure) => failure::report(&failure),
    }
}

fn run(command: Command) -> Result<Outcome, Failure> {
    match command {
        Command::Demo(args) => demo::run(&args),
        Command::Supplies(args) => supplies::run(&args),
        Command::Record(args) => record::run(&args),
        Command::Diagnose(args) => diagnose::run(&args),
        Command::Ticket(args) => ticket::run(&args),
        Command::Simulate(args) => simulate::run(&args),
        Command::Plot(args) => plot::run(&args),
        Command::Convert(args) => convert::run(&args),
        Command::Schema => schema::run(),
        Command::Completions(args) => completions::run(&args),
        Command::Manual => manual::run(),
        Command::Learn(args) => learn::run(&args),
    }
}
