//! `feedtale simulate`: a simulated supply and board for the other commands to talk to.

mod truth;

use super::output::print;
use super::{Failure, Outcome, signals};
use crate::link::SPEEDS;
use crate::simulator::{
    Alteration, BoardModel, Case, DEFAULT_REWIND_S, Manners, QUIRKS, Scenario, Server, Setup, SupplyKind,
    TROUBLES, WireFault,
};
use std::fmt::Write as _;
use std::net::TcpListener;
use std::path::PathBuf;
use std::time::Duration;

/// How often the true record is written and the end is looked for.
const LOOK_EVERY: Duration = Duration::from_millis(100);

/// Serve a simulated supply with a simulated board, for trying everything else without a bench.
///
/// The first line on standard output is the address for `record`. The bench's clock starts with the first measurement
/// that is asked for; some seconds later somebody switches the output on and, on a board with a button, presses it.
/// Leave the supply alone for three seconds and the bench is back at the beginning. A program that sets or switches
/// anything itself is left in charge of the output. Ctrl-C ends it.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Board: harrow-13 (laptop mainboard), wren-4 (handheld on one cell), kiln-24 (24 V panel).
    #[arg(long, value_name = "NAME", default_value = "harrow-13")]
    board: String,
    /// What the run shows, by the verdict that it should get: no-draw, hard-short, …, full-boot.
    #[arg(long, value_name = "CLASS", default_value = "full-boot")]
    case: String,
    /// Stage in which a start stalls, cycles or latches off.
    #[arg(long, value_name = "NAME")]
    stage: Option<String>,
    /// Supply: bench-fine (1 mA, 10 readings a second), bench-coarse (10 mA, 4), bench-fast (0.1 mA, 50).
    #[arg(long, value_name = "KIND", default_value = "bench-fine")]
    supply: String,
    /// Serve on TCP at HOST:PORT; port 0 takes a free one.
    #[arg(long, value_name = "HOST:PORT", conflicts_with = "pty")]
    tcp: Option<String>,
    /// Serve on a pseudo-terminal (the default), with a link of this name to it.
    #[arg(long, value_name = "PATH")]
    pty: Option<PathBuf>,
    /// Line rate that a pseudo-terminal keeps to.
    #[arg(long, value_name = "BITS/S", default_value_t = 115_200)]
    baud: u32,
    /// Number of the run: noise, jitter, the person at the bench.
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Number of the unit: its tolerances and the particulars of its fault [default: that of --seed].
    #[arg(long, value_name = "N")]
    unit: Option<u64>,
    /// How many times faster than real time everything runs.
    #[arg(long, value_name = "X", default_value_t = 1.0)]
    speed: f64,
    /// When the output is switched on, from the first measurement; `never` leaves it to the program that asks.
    #[arg(long, value_name = "TIME", value_parser = time_or_never)]
    on: Option<Moment>,
    /// When the button is pressed, after the output came on; may be given again; `never` for not at all.
    #[arg(long, value_name = "TIME", value_parser = time_or_never)]
    press: Vec<Moment>,
    /// When the output is switched off again, after it came on.
    #[arg(long, value_name = "TIME", value_parser = time_or_never)]
    off: Option<Moment>,
    /// Plug the board in live, this long after the output came on.
    #[arg(long, value_name = "TIME", value_parser = time_or_never)]
    plug_in: Option<Moment>,
    /// Volts that the supply is set to [default: the board's usual feed].
    #[arg(long, value_name = "VOLTS")]
    volts: Option<f64>,
    /// Current limit that the supply is set to [default: what is advised for the board].
    #[arg(long, value_name = "AMPS")]
    limit: Option<f64>,
    /// Resistance of the leads, both together.
    #[arg(long, value_name = "OHMS")]
    leads: Option<f64>,
    /// A state whose power or length is off by a factor: `standby:power=3`, `firmware:time=2`.
    #[arg(long, value_name = "STATE:WHAT=FACTOR", value_parser = alteration)]
    alter: Vec<Alteration>,
    /// A departure from the plain standard, such as `suffix`, `echo`, `delay=20ms`; `help` lists them.
    #[arg(long, value_name = "WORD", value_delimiter = ',')]
    quirk: Vec<String>,
    /// Trouble on the wire, such as `cut@20`, `silent@5x3`, `garbage@every7`, `unplug=2s@4s`; `help` lists it.
    #[arg(long, value_name = "KIND@WHEN", value_delimiter = ',')]
    fault: Vec<String>,
    /// Write what truly happened to this file as CSV.
    #[arg(long, value_name = "FILE")]
    truth: Option<PathBuf>,
    /// After how long without a byte the bench goes back to the beginning; `never` for not at all.
    #[arg(long, value_name = "TIME", value_parser = time_or_never)]
    rewind: Option<Moment>,
}

/// A time after something, or never.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Moment {
    Seconds(f64),
    Never,
}

impl Moment {
    fn seconds(self) -> Option<f64> {
        match self {
            Self::Seconds(seconds) => Some(seconds),
            Self::Never => None,
        }
    }
}

/// Runs the command.
pub(super) fn run(args: &Args) -> Result<Outcome, Failure> {
    if args.quirk.iter().chain(&args.fault).any(|word| word == "help") {
        print(words().as_bytes())?;
        return Ok(Outcome::Done);
    }
    let setup = setup(args)?;
    signals::catch().map_err(Failure::Link)?;
    let mut truth = args.truth.as_deref().map(truth::File::create).transpose()?;
    let server = serve(args, setup)?;
    announce(&server.address())?;
    loop {
        let ends = signals::asked_to_end() || !server.is_running();
        if let Some(truth) = &mut truth {
            truth.write(&server)?;
        }
        if ends {
            break;
        }
        std::thread::sleep(LOOK_EVERY);
    }
    server.stop().map_err(|error| Failure::Link(format!("simulated supply: {error}")))?;
    Ok(Outcome::Done)
}

fn words() -> String {
    let mut text = "Quirks (--quirk, separated by commas):\n".to_owned();
    list(&mut text, &QUIRKS);
    text.push_str("\nFaults (--fault KIND@WHEN; WHEN is 20, 20x3, every7 or 4s):\n");
    list(&mut text, &TROUBLES);
    text
}

fn list(text: &mut String, words: &[(&str, &str)]) {
    for (word, meaning) in words {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "  {word:24} {meaning}");
    }
}

/// The address on a line of its own, at once, even into a pipe.
fn announce(address: &str) -> Result<(), Failure> {
    use std::io::Write;
    let mut out = std::io::stdout();
    writeln!(out, "{address}")
        .and_then(|()| out.flush())
        .map_err(|error| Failure::Link(format!("standard output: {error}")))
}

fn serve(args: &Args, setup: Setup) -> Result<Server, Failure> {
    if let Some(place) = &args.tcp {
        let listener = TcpListener::bind(place).map_err(|error| {
            Failure::Link(format!("cannot listen on {place}: {error}; port 0 takes a free one"))
        })?;
        return Server::tcp(setup, listener).map_err(|error| Failure::Link(format!("tcp {place}: {error}")));
    }
    serve_on_pty(args, setup)
}

#[cfg(unix)]
fn serve_on_pty(args: &Args, setup: Setup) -> Result<Server, Failure> {
    let place =
        args.pty.as_ref().map_or_else(|| "pseudo-terminal".to_owned(), |link| link.display().to_string());
    Server::pty(setup, args.pty.as_deref()).map_err(|error| match error.kind() {
        std::io::ErrorKind::AlreadyExists => {
            Failure::Link(format!("{place}: is there already; take it away or choose another name"))
        }
        _ => Failure::Link(format!("{place}: {error}")),
    })
}

#[cfg(not(unix))]
fn serve_on_pty(_args: &Args, _setup: Setup) -> Result<Server, Failure> {
    Err(Failure::Usage("this system has no pseudo-terminals; use --tcp 127.0.0.1:0".to_owned()))
}

fn setup(args: &Args) -> Result<Setup, Failure> {
    let usage = |error: &dyn std::error::Error| Failure::Usage(error.to_string());
    if !SPEEDS.contains(&args.speed) {
        let (least, most) = SPEEDS.into_inner();
        let found = args.speed;
        return Err(Failure::Usage(format!("--speed {found}: expected a number from {least} to {most}")));
    }
    if args.baud == 0 {
        return Err(Failure::Usage("--baud 0: expected a line rate above 0".to_owned()));
    }
    let mut manners = Manners::default();
    for word in &args.quirk {
        manners.set(word).map_err(|error| usage(&error))?;
    }
    let faults = args.fault.iter().map(|text| text.parse::<WireFault>()).collect::<Result<_, _>>();
    let baud = args.tcp.is_none().then_some(args.baud);
    Ok(Setup {
        scenario: scenario(args)?,
        manners,
        faults: faults.map_err(|error| usage(&error))?,
        baud,
        speed: args.speed,
        rewind_s: args.rewind.map_or(Some(DEFAULT_REWIND_S), Moment::seconds),
    })
}

fn scenario(args: &Args) -> Result<Scenario, Failure> {
    let usage = |text: String| Failure::Usage(text);
    let model = BoardModel::named(&args.board).map_err(|error| usage(error.to_string()))?;
    let known = |names: Vec<&str>| names.join(", ");
    let case = Case::from_name(&args.case)
        .ok_or_else(|| {
            format!("no case {}; there are {}", args.case, known(Case::ALL.map(Case::name).to_vec()))
        })
        .map_err(usage)?;
    let supply = SupplyKind::named(&args.supply)
        .ok_or_else(|| {
            let names = SupplyKind::built_in().iter().map(|kind| kind.name).collect();
            format!("no supply {}; there are {}", args.supply, known(names))
        })
        .map_err(usage)?;
    let mut scenario = Scenario::new(model, case, supply, args.unit.unwrap_or(args.seed), args.seed);
    if let Some(stage) = &args.stage {
        scenario = scenario.with_stage(stage).map_err(|error| usage(error.to_string()))?;
    }
    let mut scenario = scenario.with_alterations(&args.alter).map_err(|error| usage(error.to_string()))?;
    scenario.set_volts = positive("--volts", args.volts)?.unwrap_or(scenario.set_volts);
    scenario.limit = positive("--limit", args.limit)?.unwrap_or(scenario.limit);
    scenario.lead_ohms = positive("--leads", args.leads)?.unwrap_or(scenario.lead_ohms);
    direct(&mut scenario, args);
    Ok(scenario)
}

/// What the person at the bench is told to do, in place of what would be drawn.
fn direct(scenario: &mut Scenario, args: &Args) {
    let hold_s = scenario.model.hold_s + 0.2;
    let operator = &mut scenario.operator;
    if let Some(on) = args.on {
        operator.on_s = on.seconds();
    }
    if !args.press.is_empty() {
        operator.presses = args.press.iter().filter_map(|at| at.seconds()).map(|at| (at, hold_s)).collect();
    }
    if let Some(off) = args.off {
        operator.off_s = off.seconds();
    }
    if let Some(plug_in) = args.plug_in {
        operator.plugs_in_s = plug_in.seconds();
    }
}

fn positive(option: &str, value: Option<f64>) -> Result<Option<f64>, Failure> {
    /// Volts, amps and ohms far beyond any bench.
    const MOST: f64 = 1e6;
    match value {
        Some(number) if !(number > 0.0 && number <= MOST) => {
            Err(Failure::Usage(format!("{option} {number}: expected a number above 0 and at most {MOST}")))
        }
        other => Ok(other),
    }
}

/// `4s`, `600ms`, `2min`, `never`.
fn time_or_never(text: &str) -> Result<Moment, String> {
    if text == "never" {
        return Ok(Moment::Never);
    }
    let units = [("ms", 1e-3), ("min", 60.0), ("s", 1.0)];
    units
        .iter()
        .find_map(|(unit, factor)| Some(text.strip_suffix(unit)?.trim().parse::<f64>().ok()? * factor))
        .filter(|seconds| seconds.is_finite() && *seconds >= 0.0)
        .map(Moment::Seconds)
        .ok_or_else(|| "expected a time like 4s, 600ms or 2min, or never".to_owned())
}

/// `standby:power=3`, `firmware:time=2`.
fn alteration(text: &str) -> Result<Alteration, String> {
    let parsed = || {
        let (state, rest) = text.split_once(':')?;
        let (what, factor) = rest.split_once('=')?;
        let factor = factor.parse::<f64>().ok().filter(|factor| factor.is_finite() && *factor > 0.0)?;
        let (power, duration) = match what {
            "power" => (factor, 1.0),
            "time" => (1.0, factor),
            _ => return None,
        };
        Some(Alteration { state: state.to_owned(), power, duration })
    };
    parsed().ok_or_else(|| "expected STATE:power=FACTOR or STATE:time=FACTOR".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_read_with_their_unit() {
        assert_eq!(time_or_never("4s"), Ok(Moment::Seconds(4.0)));
        assert_eq!(time_or_never("2min"), Ok(Moment::Seconds(120.0)));
        assert_eq!(time_or_never("never"), Ok(Moment::Never));
        assert_eq!(time_or_never("600ms").unwrap().seconds().map(|s| (s * 1e3).round()), Some(600.0));
        assert!(
            time_or_never("4").is_err() && time_or_never("-1s").is_err() && time_or_never("nans").is_err()
        );
    }

    #[test]
    fn alterations_are_read() {
        let read = alteration("firmware:time=2").unwrap();
        assert_eq!((read.state.as_str(), read.power, read.duration), ("firmware", 1.0, 2.0));
        assert!(alteration("firmware=2").is_err() && alteration("firmware:size=2").is_err());
    }
}
