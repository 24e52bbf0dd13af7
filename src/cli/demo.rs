//! `feedtale demo`: the whole job on a simulated bench, over a real serial line, to tickets.
//!
//! Each board is served by a simulated supply on a pseudo-terminal (a TCP port where there are none) and recorded
//! through the same code that a real supply uses; the boards are worked side by side.

use super::logs::{GivenLog, GivenProfile};
use super::output::{make_folder, print, remark, write_ticket};
use super::{Failure, Outcome};
use crate::capture::{Pace, Plan, RealClock, Saved, Session, Settings, SupplySource, log_name, settings_of};
use crate::link::Address;
use crate::simulator::{BoardModel, Case, Scenario, Server, Setup, SupplyKind};
use crate::supply::{Dialect, Supply};
use crate::ticket::{Material, Notes, folder};
use crate::trace::Header;
use crate::units::Seconds;
use crate::verdict::Finding;
use chrono::Local;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

/// How many times faster than real time the simulated bench runs: a minute of it in some eight seconds.
const SPEED: f64 = 7.0;
/// Line rate of the simulated serial port.
const BAUD: u32 = 115_200;
/// How long each board is watched, in bench seconds.
const WATCHED: Seconds = Seconds::constant(55.0);

/// One board on the bench.
struct Patient {
    board: &'static str,
    case: Case,
    stage: Option<&'static str>,
    unit: u64,
}

/// What the demonstration shows, in the order in which the boards come off the shelf.
const SHELF: [Patient; 5] = [
    Patient { board: "harrow-13", case: Case::HardShort, stage: None, unit: 71 },
    Patient { board: "harrow-13", case: Case::StandbyOnly, stage: None, unit: 72 },
    Patient { board: "harrow-13", case: Case::Stalled, stage: Some("loading"), unit: 73 },
    Patient { board: "harrow-13", case: Case::FullBoot, stage: None, unit: 74 },
    Patient { board: "kiln-24", case: Case::Cycling, stage: None, unit: 75 },
];

/// Shows the whole job on a simulated bench: four sick boards and a sound one, five tickets.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Folder for the tickets
    #[arg(long, value_name = "DIR", default_value = "tickets")]
    output: PathBuf,
}

/// Works the whole shelf, all boards side by side, and prints a line and a path for each.
pub(super) fn run(args: &Args) -> Result<Outcome, Failure> {
    let logs = args.output.join("logs");
    make_folder(&logs)?;
    remark(&format!(
        "recording {} simulated boards side by side over simulated serial lines, {SPEED} times faster than life …",
        SHELF.len()
    ));
    let lines: Vec<Result<String, Failure>> = std::thread::scope(|scope| {
        let treat = |patient| scope.spawn(move || treat(patient, &args.output));
        let work: Vec<_> = SHELF.iter().map(treat).collect();
        work.into_iter()
            .map(|thread| thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
            .collect()
    });
    lines.into_iter().try_for_each(|line| print(line?.as_bytes()))?;
    Ok(Outcome::Done)
}

/// Records one board, diagnoses it and leaves its ticket; the line for people to read.
fn treat(patient: &Patient, output: &Path) -> Result<String, Failure> {
    let scenario = patient.scenario()?;
    let path = record(&scenario, &format!("T-{}", 1000 + patient.unit), &output.join("logs"))?;
    let (log, bytes) = GivenLog::with_bytes(&path)?;
    let profile = patient.profile()?;
    let finding = log.diagnose(Some(&profile));
    let material = Material {
        log: &bytes,
        log_name: &path.display().to_string(),
        trace: &log.trace,
        profile: Some(&profile.profile),
        finding: &finding,
        notes: &Notes::default(),
    };
    let folder = folder(&material).map_err(Failure::input)?;
    Ok(line(&finding, &write_ticket(output, &folder, true)?))
}

/// `harrow-13 HB-0073  stalled in loading   0.93  tickets/T-1073_harrow-13`.
fn line(finding: &Finding, folder: &Path) -> String {
    let board = finding.log.board.as_deref().unwrap_or("?");
    let serial = finding.log.serial.as_deref().unwrap_or("?");
    let verdict = match &finding.verdict.stalled_in {
        Some(stage) => format!("{} in {stage}", finding.verdict.class),
        None => finding.verdict.class.to_string(),
    };
    let confidence = finding.verdict.confidence;
    format!("{board:<10} {serial:<8} {verdict:<20} {confidence:.2}  {}\n", folder.display())
}

impl Patient {
    fn scenario(&self) -> Result<Scenario, Failure> {
        let model = BoardModel::named(self.board).map_err(Failure::input)?;
        let scenario = Scenario::new(model, self.case, SupplyKind::default(), self.unit, 1);
        match self.stage {
            Some(stage) => scenario.with_stage(stage).map_err(Failure::input),
            None => Ok(scenario),
        }
    }

    /// The profile that comes with the program, so that the demonstration needs no file.
    fn profile(&self) -> Result<GivenProfile, Failure> {
        let (name, text) = match self.board {
            "harrow-13" => ("profiles/harrow-13.toml", include_str!("../../profiles/harrow-13.toml")),
            _ => ("profiles/kiln-24.toml", include_str!("../../profiles/kiln-24.toml")),
        };
        GivenProfile::from_text(name, text)
    }
}

/// Serves the scenario on a wire of its own and records it as any supply is recorded; where the log is.
fn record(scenario: &Scenario, ticket: &str, logs: &Path) -> Result<PathBuf, Failure> {
    let server = serve(scenario).map_err(|error| Failure::Link(format!("no simulated port: {error}")))?;
    let address: Address = server.address().parse().map_err(link)?;
    let mut supply = Supply::open(&address, Dialect::plain()).map_err(link)?;
    let identity = supply.identify().map_err(link)?;
    let settings = settings_of(&mut supply).map_err(link)?;
    let header = Header {
        board: Some(scenario.model.name.clone()),
        serial: Some(scenario.serial()),
        ticket: Some(ticket.to_owned()),
        feed_point: Some(scenario.model.feed_point.clone()),
        supply: identity.map(|identity| identity.to_string()),
        set_volts: settings.volts,
        limit: settings.limit,
        other: vec![("simulated".to_owned(), "yes".to_owned())],
        ..Header::default()
    };
    let plan = plan(scenario, header, settings, logs)?;
    let session = Session::start(Box::new(SupplySource::new(supply)), plan, Arc::new(RealClock))
        .map_err(|error| Failure::Link(format!("the poll loop cannot be started: {error}")))?;
    // Nobody watches: the run goes on to its end by itself.
    session.updates().iter().for_each(drop);
    match session.finish().saved {
        Saved::At(path) => Ok(path),
        other => Err(Failure::Input(format!("the log was not kept: {other:?}"))),
    }
}

fn plan(scenario: &Scenario, header: Header, settings: Settings, logs: &Path) -> Result<Plan, Failure> {
    let wall = (Instant::now(), Local::now().fixed_offset());
    let on = scenario.operator.on_s.unwrap_or_default();
    let press = |(after, _): &(f64, f64)| {
        Seconds::new(on + after).map(|time| (time, "power button".to_owned())).map_err(Failure::input)
    };
    Ok(Plan {
        places: vec![logs.join(log_name(&header, wall.1))],
        header,
        wall,
        speed: SPEED,
        pace: Pace::AsFastAsTheWire,
        length: Some(WATCHED),
        until: Vec::new(),
        marks: scenario.operator.presses.iter().map(press).collect::<Result<_, _>>()?,
        settings,
        drive: None,
    })
}

fn link(error: impl std::error::Error) -> Failure {
    Failure::Link(error.to_string())
}

#[cfg(unix)]
fn serve(scenario: &Scenario) -> std::io::Result<Server> {
    Server::pty(Setup { speed: SPEED, baud: Some(BAUD), ..Setup::new(scenario.clone()) }, None)
}

#[cfg(not(unix))]
fn serve(scenario: &Scenario) -> std::io::Result<Server> {
    let listener = std::net::TcpListener::bind(("127.0.0.1", 0))?;
    Server::tcp(Setup { speed: SPEED, ..Setup::new(scenario.clone()) }, listener)
}
