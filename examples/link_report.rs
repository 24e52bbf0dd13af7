//! Measures the link on a simulated supply and prints four tables: rates, stamps, kills, faults.
//!
//! `cargo build --release && cargo run --release --example link_report -- --kills 200`
//!
//! The truth is the simulator's own record of every measurement, on the clock of this process. Rates are held against
//! the wire's limit: bytes out and in at ten bits a byte and the baud rate, and the device's own time; the host's time
//! is what a recorder can lose.

use clap::Parser;
use feedtale::capture::{
    Pace, Plan, Reading, RealClock, Report, Saved, Session, Settings, Source, SupplySource, Trouble,
    settings_of,
};
use feedtale::link::Address;
use feedtale::simulator::{
    BoardModel, Case, Exchange, Manners, Operator, Record, Scenario, Server, Setup, SupplyKind,
};
use feedtale::supply::{Dialect, Supply};
use feedtale::trace::{self, EventKind, Header, Trace};
use feedtale::units::Seconds;
use rand::{RngExt, SeedableRng};
use std::error::Error;
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// What one poll sends, with its terminator.
const QUERY: &str = "MEAS:VOLT?;CURR?\n";
/// Start bit, eight data bits, stop bit.
const BITS_PER_BYTE: f64 = 10.0;
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
    #[arg(long, default_value_t = 3.0)]
    seconds: f64,
    /// The program to kill [default: feedtale beside this example's folder]
    #[arg(long)]
    program: Option<PathBuf>,
    /// Seed of the moments at which recordings are killed
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

type Result<T> = std::result::Result<T, Box<dyn Error>>;

fn main() -> Result<()> {
    let flags = Flags::parse();
    let runs = rates(flags.seconds)?;
    stamps(&runs);
    faults()?;
    kills(&flags)
}

/// A sound board on a fast supply whose output comes on early.
fn setup() -> Result<Setup> {
    let supply = SupplyKind::named("bench-fast").ok_or("no supply bench-fast")?;
    let mut scenario = Scenario::new(BoardModel::named("kiln-24")?, Case::FullBoot, supply, 1, 1);
    scenario.operator = Operator { on_s: Some(0.2), ..Operator::default() };
    Ok(Setup { rewind_s: None, ..Setup::new(scenario) })
}

fn tcp(setup: Setup) -> Result<Server> {
    Ok(Server::tcp(setup, TcpListener::bind("127.0.0.1:0")?)?)
}

/// Notes when each understood answer was asked for and in.
struct Noted {
    source: SupplySource,
    spans: Arc<Mutex<Vec<(Instant, Instant)>>>,
}

impl Source for Noted {
    fn read(&mut self) -> std::result::Result<Reading, Trouble> {
        let reading = self.source.read()?;
        let mut spans = self.spans.lock().unwrap_or_else(PoisonError::into_inner);
        spans.push((reading.asked, reading.answered));
        Ok(reading)
    }

    fn settings(&mut self) -> std::result::Result<Settings, Trouble> {
        self.source.settings()
    }

    fn reopen(&mut self) -> std::result::Result<(), Trouble> {
        self.source.reopen()
    }
}

/// A run that is over.
struct Run {
    name: String,
    report: Report,
    log: Trace,
    spans: Vec<(Instant, Instant)>,
    truth: Record,
}

/// Records for that many log seconds, as fast as the wire carries.
fn record(name: &str, server: Server, seconds: f64) -> Result<Run> {
    let address: Address = server.address().parse()?;
    let mut supply = Supply::open(&address, Dialect::plain())?;
    supply.identify()?;
    let settings = settings_of(&mut supply)?;
    let spans = Arc::<Mutex<Vec<_>>>::default();
    let source = Noted { source: SupplySource::new(supply), spans: Arc::clone(&spans) };
    let folder = tempfile::tempdir()?;
    let plan = Plan {
        header: Header::default(),
        wall: (Instant::now(), chrono::Local::now().fixed_offset()),
        speed: address.speed().unwrap_or(1.0),
        pace: Pace::AsFastAsTheWire,
        length: Some(Seconds::new(seconds)?),
        until: Vec::new(),
        marks: Vec::new(),
        places: vec![folder.path().join("run.csv")],
        settings,
        drive: None,
    };
    let report = Session::start(Box::new(source), plan, Arc::new(RealClock))?.finish();
    let truth = server.stop()?;
    let Saved::At(path) = &report.saved else { return Err(format!("{name}: no log: {report:?}").into()) };
    let log = trace::read_file(path)?.trace;
    let spans = spans.lock().unwrap_or_else(PoisonError::into_inner).clone();
    Ok(Run { name: name.to_owned(), report, log, spans, truth })
}

impl Run {
    /// The one measurement that the supply took within the exchange of sample `index`.
    fn taken(&self, index: usize) -> Option<&Exchange> {
        let (asked, answered) = *self.spans.get(index)?;
        let first = self.truth.exchanges.partition_point(|taken| taken.at < asked);
        self.truth.exchanges.get(first).filter(|taken| taken.at <= answered)
    }

    /// Whether sample `index` is what the supply showed within its own exchange.
    fn is_true(&self, index: usize) -> bool {
        self.taken(index).is_some_and(|taken| {
            (self.log.volts()[index] - taken.reading.volts).abs() < SAME
                && (self.log.amps()[index] - taken.reading.amps).abs() < SAME
        })
    }

    /// How far the stamp of sample `index` is off, and half of its span, in log seconds that are real seconds.
    fn stamp_error(&self, index: usize) -> Option<(f64, f64)> {
        let (asked, answered) = *self.spans.first()?;
        let zero = asked + (answered - asked) / 2;
        let at = self.taken(index)?.at;
        let after = at.saturating_duration_since(zero).as_secs_f64();
        let before = zero.saturating_duration_since(at).as_secs_f64();
        let error = (self.log.time()[index] - (after - before)).abs();
        Some((error, self.log.span(index)?.value() / 2.0))
    }

    fn count(&self, kind: &EventKind) -> usize {
        self.log.events().iter().filter(|event| event.kind == *kind).count()
    }

    /// Bytes of a reply, on average.
    fn reply_bytes(&self) -> f64 {
        let length =
            |taken: &Exchange| format!("{:.4};{:.4}\n", taken.reading.volts, taken.reading.amps).len();
        count(self.truth.exchanges.iter().map(length).sum()) / count(self.truth.exchanges.len().max(1))
    }
}

#[expect(clippy::cast_precision_loss, reason = "counts of readings and bytes stay far below 2^53")]
fn count(number: usize) -> f64 {
    number as f64
}

fn rates(seconds: f64) -> Result<Vec<Run>> {
    println!("Rates, {seconds} s each, one message a poll (17 bytes out, replies as counted)\n");
    println!("| wire | device ms | polls/s | limit/s | of limit | changes/s |");
    println!("|---|---:|---:|---:|---:|---:|");
    let mut runs = Vec::new();
    for baud in [Some(9600), Some(115_200), None] {
        for device_ms in [0.0, 5.0, 20.0] {
            runs.push(rate(baud, device_ms, seconds)?);
        }
    }
    println!();
    Ok(runs)
}

fn rate(baud: Option<u32>, device_ms: f64, seconds: f64) -> Result<Run> {
    let manners = Manners { device_s: device_ms / 1e3, ..Manners::default() };
    let setup = Setup { manners, baud, ..setup()? };
    let (wire, server) = match baud {
        Some(baud) => (format!("serial {baud}"), Server::pty(setup, None)?),
        None => ("tcp".to_owned(), tcp(setup)?),
    };
    let run = record(&format!("{wire}, {device_ms} ms"), server, seconds)?;
    let bytes = count(QUERY.len()) + run.reply_bytes();
    let wire_s = baud.map_or(0.0, |baud| bytes * BITS_PER_BYTE / f64::from(baud)) + device_ms / 1e3;
    let polls = run.report.tally.poll_hz().unwrap_or(0.0);
    let changes = run.report.tally.changed_hz().unwrap_or(0.0);
    let (limit, share) = if wire_s > 0.0 {
        (format!("{:.1}", 1.0 / wire_s), format!("{:.1} %", 100.0 * polls * wire_s))
    } else {
        ("none".to_owned(), "-".to_owned())
    };
    println!("| {wire} | {device_ms} | {polls:.1} | {limit} | {share} | {changes:.1} |");
    Ok(run)
}

fn stamps(runs: &[Run]) {
    println!("Stamps against the simulator's true time\n");
    println!("| wire | readings | median error ms | worst error ms | worst of half its span | beyond it |");
    println!("|---|---:|---:|---:|---:|---:|");
    for run in runs {
        let found: Vec<(f64, f64)> = (0..run.log.len()).filter_map(|index| run.stamp_error(index)).collect();
        let mut errors: Vec<f64> = found.iter().map(|(error, _)| error * 1e3).collect();
        errors.sort_by(f64::total_cmp);
        let (median, worst) = (errors.get(errors.len() / 2), errors.last());
        let share = found.iter().map(|(error, half)| error / half).fold(0.0, f64::max);
        let beyond = run.log.len() - found.iter().filter(|(error, half)| error <= half).count();
        println!(
            "| {} | {} | {:.3} | {:.3} | {:.1} % | {beyond} |",
            run.name,
            run.log.len(),
            median.copied().unwrap_or(f64::NAN),
            worst.copied().unwrap_or(f64::NAN),
            100.0 * share
        );
    }
    println!();
}

/// One of each kind of trouble; those by number strike the 40th answer.
const FAULTS: [&str; 16] = [
    "silent@40",
    "silent@40x3",
    "garbage@40",
    "garbage@every10",
    "cut@40",
    "hold@40",
    "glue@40",
    "late=1100ms@40",
    "slow=300ms@40x3",
    "nul@40",
    "ends@40x9",
    "err@40",
    "nan@40",
    "inf@40",
    "unplug=700ms@1s",
    "reboot=700ms@1s",
];

fn faults() -> Result<()> {
    println!("Trouble on the wire (TCP, 10 ms device time, 6 s each)\n");
    println!(
        "| fault | readings | not understood | gaps | link lost | link back | wrong numbers | last reading s |"
    );
    println!("|---|---:|---:|---:|---:|---:|---:|---:|");
    let runs: Vec<std::result::Result<Run, String>> = std::thread::scope(|scope| {
        let threads: Vec<_> = FAULTS.iter().map(|fault| scope.spawn(|| faulty(fault))).collect();
        threads
            .into_iter()
            .map(|thread| thread.join().unwrap_or_else(|_| Err("a recording broke down".into())))
            .collect()
    });
    for run in runs {
        let run = run?;
        let wrong = (0..run.log.len()).filter(|index| !run.is_true(*index)).count();
        println!(
            "| {} | {} | {} | {} | {} | {} | {wrong} | {:.2} |",
            run.name,
            run.log.len(),
            run.report.tally.failures,
            run.count(&EventKind::Gap),
            run.count(&EventKind::LinkLost),
            run.count(&EventKind::LinkBack),
            run.log.time().last().copied().unwrap_or(f64::NAN)
        );
    }
    println!();
    Ok(())
}

fn faulty(fault: &str) -> std::result::Result<Run, String> {
    let run = || -> Result<Run> {
        let manners = Manners { device_s: 0.01, ..Manners::default() };
        record(fault, tcp(Setup { faults: vec![fault.parse()?], manners, ..setup()? })?, 6.0)
    };
    run().map_err(|error| format!("{fault}: {error}"))
}

/// What a killed recording left.
struct Killed {
    /// Readings in the log, if there is one.
    logged: Option<usize>,
    /// Age at the kill of the oldest reading that is not in the log, in seconds.
    lost_age: f64,
    /// Whether the log loads and holds what the supply showed.
    sound: bool,
}

fn kills(flags: &Flags) -> Result<()> {
    let program = flags.program.clone().map_or_else(beside, Ok)?;
    let next = Mutex::new((0, rand_chacha::ChaCha8Rng::seed_from_u64(flags.seed)));
    let draw = || {
        let mut next = next.lock().unwrap_or_else(PoisonError::into_inner);
        next.0 += 1;
        (next.0 <= flags.kills).then(|| Duration::from_secs_f64(next.1.random_range(0.05..2.0)))
    };
    let kill_some = || -> std::result::Result<Vec<Killed>, String> {
        std::iter::from_fn(draw)
            .map(|after| kill(&program, after).map_err(|error| error.to_string()))
            .collect()
    };
    let parts: Vec<std::result::Result<Vec<Killed>, String>> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..flags.at_once.max(1)).map(|_| scope.spawn(kill_some)).collect();
        threads
            .into_iter()
            .map(|thread| thread.join().unwrap_or_else(|_| Err("a kill broke down".into())))
            .collect()
    });
    let parts = parts.into_iter().collect::<std::result::Result<Vec<_>, _>>()?;
    print_kills(&parts.into_iter().flatten().collect::<Vec<_>>());
    Ok(())
}

fn print_kills(killed: &[Killed]) {
    let logs: Vec<&Killed> = killed.iter().filter(|killed| killed.logged.is_some()).collect();
    let mut ages: Vec<f64> = logs.iter().map(|killed| killed.lost_age).collect();
    ages.sort_by(f64::total_cmp);
    println!("Kills (-9) at random moments of a recording\n");
    println!("| what | count |");
    println!("|---|---:|");
    println!("| kills | {} |", killed.len());
    println!("| before the first reading was written: no log | {} |", killed.len() - logs.len());
    println!(
        "| logs that load and hold what the supply showed | {} |",
        logs.iter().filter(|k| k.sound).count()
    );
    println!("| logs that do not | {} |", logs.iter().filter(|k| !k.sound).count());
    println!("| readings in the logs | {} |", logs.iter().filter_map(|k| k.logged).sum::<usize>());
    println!(
        "| kills that lost a reading older than 1 s | {} |",
        killed.iter().filter(|k| k.lost_age > 1.0).count()
    );
    println!(
        "| oldest reading lost, median, ms | {:.0} |",
        1e3 * ages.get(ages.len() / 2).copied().unwrap_or(0.0)
    );
    println!("| oldest reading lost, worst, ms | {:.0} |", 1e3 * ages.last().copied().unwrap_or(0.0));
}

/// The program that was built with this example.
fn beside() -> Result<PathBuf> {
    let example = std::env::current_exe()?;
    let folder = example.parent().and_then(Path::parent).ok_or("this example lies in no build folder")?;
    let program = folder.join("feedtale").with_extension(std::env::consts::EXE_EXTENSION);
    if program.is_file() { Ok(program) } else { Err(format!("{}: build it first", program.display()).into()) }
}

/// Starts a recording, kills it `after` its first measurement, and looks at what it left.
fn kill(program: &Path, after: Duration) -> Result<Killed> {
    let manners = Manners { device_s: 0.01, ..Manners::default() };
    let server = tcp(Setup { manners, ..setup()? })?;
    let folder = tempfile::tempdir()?;
    let mut child = Command::new(program)
        .args(["record", &server.address(), "--output", "run.csv"])
        .current_dir(folder.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()?;
    let patience = Instant::now() + Duration::from_secs(20);
    while server.look(|record| record.zero.is_none()) && Instant::now() < patience {
        std::thread::sleep(Duration::from_millis(2));
    }
    std::thread::sleep(after);
    let at = Instant::now();
    child.kill()?;
    child.wait()?;
    let truth = server.stop()?;
    Ok(left(&folder.path().join("run.csv"), &truth, at))
}

fn left(path: &Path, truth: &Record, killed_at: Instant) -> Killed {
    let age = |index: usize| {
        truth
            .exchanges
            .get(index)
            .map_or(0.0, |lost| killed_at.saturating_duration_since(lost.at).as_secs_f64())
    };
    if !path.metadata().is_ok_and(|file| file.len() > 0) {
        return Killed { logged: None, lost_age: age(0), sound: true };
    }
    let Ok(log) = trace::read_file(path) else {
        return Killed { logged: Some(0), lost_age: age(0), sound: false };
    };
    let shown = |(index, volts): (usize, &f64)| {
        truth.exchanges.get(index).is_some_and(|taken| (taken.reading.volts - volts).abs() < SAME)
    };
    let log = log.trace;
    let sound = log.volts().iter().enumerate().all(shown);
    Killed { logged: Some(log.len()), lost_age: age(log.len()), sound }
}
