//! Measures the link on a simulated supply and prints five tables: rates, stamps, faults, random replies, kills.
//!
//! `cargo build --release && cargo run --release --example link_report -- --kills 200 --replies 10000000`
//!
//! The truth is the simulator's own record of every measurement, on the clock of this process. Rates are held against
//! the wire's limit: bytes out and in at ten bits a byte and the baud rate, and the device's own time. What a recorder
//! can lose is the host's time, and the simulator, which paces itself, loses some as well: a loop that only writes and
//! reads on the same kind of line, turn about with the recorder, says how much.

mod faults;
mod kills;
mod rates;
mod replies;
mod run;

use clap::Parser;
use std::error::Error;
use std::path::PathBuf;
use std::time::Instant;

/// Numbers have four decimals; what is closer is the same.
const SAME: f64 = 1e-6;

/// Prints the tables of the link.
#[derive(Debug, Parser)]
struct Flags {
    /// How often to kill a recording at a random moment
    #[arg(long, default_value_t = 200)]
    kills: usize,
    /// Recordings to be killed that run at the same time
    #[arg(long, default_value_t = 4)]
    at_once: usize,
    /// Seconds to measure each rate for
    #[arg(long, default_value_t = 6.0)]
    seconds: f64,
    /// Random replies to put through the reader
    #[arg(long, default_value_t = 1_000_000)]
    replies: u64,
    /// The program to kill [default: feedtale beside this example's folder]
    #[arg(long)]
    program: Option<PathBuf>,
    /// Seed of the moments at which recordings are killed, and of the replies
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

type Result<T> = std::result::Result<T, Box<dyn Error>>;

fn main() -> Result<()> {
    let flags = Flags::parse();
    let runs = rates::print(flags.seconds)?;
    rates::print_stamps(&runs);
    faults::print()?;
    print_replies(&flags)?;
    kills::print(&flags)
}

fn print_replies(flags: &Flags) -> Result<()> {
    let begin = Instant::now();
    let tally = replies::run(flags.replies, flags.seed)?;
    println!(
        "Random replies through the reader, a true one after each ({:.0} s)\n",
        begin.elapsed().as_secs_f64()
    );
    println!(
        "| replies | taken for a reading | wrong numbers | true ones after them not read as they were |"
    );
    println!("|---:|---:|---:|---:|");
    println!("| {} | {} | {} | {} |\n", tally.replies, tally.understood, tally.wrong, tally.after_wrong);
    Ok(())
}

#[expect(clippy::cast_precision_loss, reason = "counts of readings and bytes stay far below 2^53")]
fn count(number: usize) -> f64 {
    number as f64
}
