//! `supplies`: which ports there are, and how a supply is spoken to.

use super::output::{print, remark, write_file};
use super::{Failure, Outcome};
use crate::link::{Address, Link, Place, serial_ports};
use crate::supply::probe::{Found, Measured, probe};
use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long a probed supply is polled as fast as it answers.
const MEASURE_FOR: Duration = Duration::from_secs(3);

/// List serial ports, or find out how a supply is spoken to by asking only.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Supplies on the network to list as well: tcp:HOST:PORT
    #[arg(value_name = "ADDRESS")]
    addresses: Vec<Address>,
    /// Ask this supply how it is spoken to; nothing is ever set or switched
    #[arg(long, value_name = "ADDRESS", conflicts_with = "addresses")]
    probe: Option<Address>,
    /// Write the dialect that was found to this file
    #[arg(long, value_name = "FILE", requires = "probe")]
    output: Option<PathBuf>,
    /// Replace the file if it is there
    #[arg(long, requires = "output")]
    force: bool,
}

pub(super) fn run(args: &Args) -> Result<Outcome, Failure> {
    match &args.probe {
        Some(address) => find_dialect(address, args.output.as_deref(), args.force),
        None => list(&args.addresses),
    }
}

fn list(addresses: &[Address]) -> Result<Outcome, Failure> {
    let ports = serial_ports().map_err(|e| Failure::Link(e.to_string()))?;
    for port in &ports {
        say(&format!("{}  {}", port.path, port.description))?;
    }
    if ports.is_empty() {
        say("no serial ports; plug in the supply's cable, or give network supplies as tcp:HOST:PORT")?;
    }
    for address in addresses {
        let state = match Link::open(address) {
            Ok(_) => "answers; --probe finds out how it is spoken to".to_owned(),
            Err(error) => error.to_string(),
        };
        say(&format!("{address}  {state}"))?;
    }
    Ok(Outcome::Done)
}

fn find_dialect(address: &Address, output: Option<&Path>, force: bool) -> Result<Outcome, Failure> {
    let try_rates = matches!(address.place(), Place::Serial { .. }) && !address.gives_baud();
    let open =
        |baud: Option<u32>| Link::open(&baud.map_or_else(|| address.clone(), |b| address.with_baud(b)));
    let found = probe(&address.place().to_string(), try_rates, MEASURE_FOR, open, progress)
        .map_err(|e| Failure::Link(e.to_string()))?;
    say(&in_words(&found))?;
    match output {
        Some(path) => {
            write_file(path, found.text.as_bytes(), force)?;
            say(&format!("dialect       {}", path.display()))?;
        }
        None => say(&format!("\n{}", found.text.trim_end()))?,
    }
    Ok(Outcome::Done)
}

fn in_words(found: &Found) -> String {
    let identity = found.identity.as_ref().map_or_else(|| "does not say".to_owned(), ToString::to_string);
    let Measured { polls, poll_hz, changed_hz, round_trip, decimals, .. } = found.measured;
    let changed = changed_hz.map_or_else(
        || "never (nothing moved at the output meanwhile)".to_owned(),
        |hz| format!("{hz:.1} times a second"),
    );
    let asks: Vec<_> = found.dialect.readings.iter().map(|ask| ask.query.text()).collect();
    let baud = found.baud.map(|baud| format!("baud rate     {baud}"));
    let lines = [
        Some(format!("supply        {identity}")),
        baud,
        Some(format!("asked by      {}", asks.join(" and "))),
        Some(format!("resolution    {} decimals of volts, {} of amps", decimals.0, decimals.1)),
        Some(format!("round trip    {:.1} ms (median of {polls})", round_trip.as_secs_f64() * 1e3)),
        Some(format!("poll rate     {poll_hz:.1} a second")),
        Some(format!("new readings  {changed}")),
    ];
    lines.into_iter().flatten().collect::<Vec<_>>().join("\n")
}

/// What is being tried, for a person who watches.
fn progress(what: &str) {
    if std::io::stderr().is_terminal() {
        remark(&format!("trying {what}"));
    }
}

/// A line on stdout.
fn say(line: &str) -> Result<(), Failure> {
    print(format!("{line}\n").as_bytes())
}
