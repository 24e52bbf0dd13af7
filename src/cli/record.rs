//! `feedtale record`: log a supply. Asks only, unless told to drive.

mod drive;
mod follow;
mod judge;
mod summary;
mod tall;

use super::console::{Console, Style};
use super::keys::Keys;
use super::{Failure, Outcome, signals};
use crate::capture::{
    Condition, DrivePlan, Elsewhere, Ended, GuardedSource, OutputState, Pace, Plan, RealClock, Report,
    Request, Session, Settings, Source, SupplySource, elsewhere, log_name,
};
use crate::link::Address;
use crate::reference::Profile;
use crate::scpi::Identity;
use crate::supply::guard::{self, Preparation};
use crate::supply::{Dialect, Supply};
use crate::trace::Header;
use crate::units::Seconds;
use crate::verdict::Finding;
use chrono::Local;

use std::path::{Path, PathBuf};
use std::str::FromStr;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Log a supply: asks only, unless --drive.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Where the supply is: a device path (/dev/ttyUSB0?baud=115200, COM3) or tcp:HOST:PORT
    address: Address,
    /// Stop after this time, such as 30s or 2min
    #[arg(long = "for", value_name = "TIME")]
    length: Option<Seconds>,
    /// Stop when a reading holds for a time ('amps>1.5 for 5s'), or when the verdict is 'settled'; may be given again
    #[arg(long, value_name = "CONDITION")]
    until: Vec<Until>,
    /// The board's reference profile
    #[arg(long, value_name = "FILE")]
    profile: Option<PathBuf>,
    /// The log to write, or a folder to name it in [default: a new name in logs/]
    #[arg(long, value_name = "LOG")]
    output: Option<PathBuf>,
    /// Readings a second [default: as many as the wire carries]
    #[arg(long, value_name = "HZ", value_parser = rate)]
    rate: Option<f64>,
    /// Board model [default: the profile's]
    #[arg(long)]
    board: Option<String>,
    /// Serial number of the board
    #[arg(long)]
    serial: Option<String>,
    /// Repair ticket
    #[arg(long)]
    ticket: Option<String>,
    /// Where on the board the supply is connected [default: the profile's]
    #[arg(long, value_name = "WORDS")]
    feed_point: Option<String>,
    /// How the supply is spoken to [default: the plain standard]
    #[arg(long, value_name = "FILE")]
    dialect: Option<PathBuf>,
    /// First put the supply in remote control and select its output, as the dialect says; sets no volts, no limit and
    /// no output
    #[arg(long, conflicts_with = "drive")]
    prepare: bool,
    /// Where the supply may come back if its port vanishes; may be given again. New serial ports are looked at anyhow
    #[arg(long, value_name = "ADDRESS")]
    elsewhere: Vec<Address>,
    /// Set a mark at a time of the run: 'power button@4s'; may be given again
    #[arg(long, value_name = "WORD@TIME")]
    mark: Vec<MarkAhead>,
    #[command(flatten)]
    drive: drive::DriveArgs,
}

/// A mark set ahead.
#[derive(Debug, Clone)]
struct MarkAhead {
    time: Seconds,
    word: String,
}

impl FromStr for MarkAhead {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (word, time) =
            text.rsplit_once('@').ok_or("expected a word and its time, such as 'power button@4s'")?;
        if word.trim().is_empty() {
            return Err("a mark needs a word before the @".into());
        }
        let time = time.parse().map_err(|error: crate::units::BadDuration| error.to_string())?;
        Ok(Self { time, word: word.trim().to_owned() })
    }
}

/// What a run may stop on.
#[derive(Debug, Clone, Copy)]
enum Until {
    /// The verdict has stayed the same for longer than any stage of the board lasts.
    Settled,
    Condition(Condition),
}

impl FromStr for Until {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if text == "settled" {
            return Ok(Self::Settled);
        }
        text.parse().map(Self::Condition).map_err(|error: crate::capture::BadCondition| {
            format!("{error}; or 'settled', when the verdict no longer changes")
        })
    }
}

/// Fastest rate that can be asked for, in readings a second: beyond what any link of a bench supply carries.
const FASTEST: f64 = 10_000.0;
/// Slowest: one reading a day.
const SLOWEST: f64 = 1.0 / 86_400.0;

fn rate(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(rate) if (SLOWEST..=FASTEST).contains(&rate) => Ok(rate),
        _ => Err(format!("expected readings a second, from {SLOWEST:.6} (one a day) to {FASTEST}")),
    }
}

pub(super) fn run(args: &Args) -> Result<Outcome, Failure> {
    let profile = args.profile.as_deref().map(Profile::read).transpose().map_err(Failure::input)?;
    let dialect = args.dialect.as_deref().map(Dialect::read).transpose().map_err(Failure::input)?;
    args.drive.check().map_err(Failure::Usage)?;
    refuse_to_overwrite(args.output.as_deref())?;
    signals::catch().map_err(Failure::Safety)?;
    let mut console = Console::stderr();
    let supply = Supply::open(&args.address, dialect.unwrap_or_else(Dialect::plain)).map_err(link)?;
    let places = elsewhere(&supply, args.elsewhere.clone());
    let prepared = if args.drive.is_asked_for() {
        drive::prepare(supply, places, &args.drive, profile.as_ref(), &mut console)?
    } else {
        prepare(supply, places, args.prepare)?
    };
    let mut header = header(args, profile.as_ref(), prepared.identity.as_ref().map(ToString::to_string));
    (header.set_volts, header.limit) = (prepared.settings.volts, prepared.settings.limit);
    let (report, finding) = record(args, profile.as_ref(), header, prepared, &mut console)?;
    summary::print(&report, finding.as_ref().filter(|_| profile.is_some()));
    how_it_ended(&report, &mut console)
}

/// A supply that is ready to be recorded.
struct Prepared {
    identity: Option<Identity>,
    source: Box<dyn Source>,
    settings: Settings,
    drive: Option<DrivePlan>,
}

/// Makes a supply ready that is only read.
fn prepare(mut supply: Supply, places: Elsewhere, take_control: bool) -> Result<Prepared, Failure> {
    let preparation = take_control.then(Preparation::asked_for);
    if let Some(preparation) = &preparation {
        guard::prepare(&mut supply, preparation).map_err(link)?;
    }
    let identity = supply.identify().map_err(link)?;
    let settings = crate::capture::settings_of(&mut supply).map_err(link)?;
    let source = SupplySource::looking(supply, places);
    let source = match preparation {
        Some(preparation) => source.prepared(preparation),
        None => source,
    };
    Ok(Prepared { identity, source: Box::new(source), settings, drive: None })
}

fn link(error: impl std::error::Error) -> Failure {
    Failure::Link(error.to_string())
}

fn header(args: &Args, profile: Option<&Profile>, supply: Option<String>) -> Header {
    let of_profile = |part: fn(&Profile) -> &String| profile.map(|profile| part(profile).clone());
    let mut other = Vec::new();
    if let Some(speed) = args.address.speed() {
        other.push(("simulated_speed".to_owned(), speed.to_string()));
    }
    if let Some(rate) = args.rate {
        other.push(("rate_hz".to_owned(), rate.to_string()));
    }
    Header {
        board: args.board.clone().or_else(|| of_profile(|profile| &profile.board)),
        serial: args.serial.clone(),
        ticket: args.ticket.clone(),
        feed_point: args.feed_point.clone().or_else(|| of_profile(|profile| &profile.feed.point)),
        supply,
        other,
        ..Header::default()
    }
}

/// Records until the run ends, with keys, signals and the status line.
fn record(
    args: &Args,
    profile: Option<&Profile>,
    header: Header,
    prepared: Prepared,
    console: &mut Console,
) -> Result<(Report, Option<Finding>), Failure> {
    let plan = plan(args, header, prepared.settings, prepared.drive)?;
    let session = Session::start(prepared.source, plan, Arc::new(RealClock))
        .map_err(|error| Failure::Link(format!("the poll loop cannot be started: {error}")))?;
    let requests = session.requests();
    signals::then(move || {
        // A run that has ended already needs no stopping.
        let _ = requests.send(Request::Stop(Ended::Signal));
    });
    let keys = Keys::listen(session.requests());
    console.line(&hint(&keys, args.length));
    let judge = judge(args, profile, console, &session)?;
    follow::Follower { console, keys: &keys, judge: judge.as_ref() }.follow(&session);
    Ok((session.finish(), judge.and_then(judge::Judge::finish)))
}

/// A judge, where somebody wants to know: at the end, on the way, or for when to stop.
fn judge(
    args: &Args,
    profile: Option<&Profile>,
    console: &Console,
    session: &Session,
) -> Result<Option<judge::Judge>, Failure> {
    let settles = args.until.iter().any(|until| matches!(until, Until::Settled));
    if profile.is_none() && !settles && !console.is_live() {
        return Ok(None);
    }
    judge::Judge::start(profile, settles.then(|| session.requests()))
        .map(Some)
        .map_err(|error| Failure::Link(format!("the verdict's thread cannot be started: {error}")))
}

fn hint(keys: &Keys, length: Option<Seconds>) -> String {
    let end = length.map_or_else(|| "until stopped".to_owned(), |length| format!("for {length}"));
    if keys.at_terminal() {
        format!("recording {end}; space: power button, a word and Enter: any other mark, Esc: stop")
    } else {
        format!("recording {end}; Ctrl-C stops")
    }
}

fn plan(args: &Args, header: Header, settings: Settings, drive: Option<DrivePlan>) -> Result<Plan, Failure> {
    let wall = (Instant::now(), Local::now().fixed_offset());
    let speed = args.address.speed().unwrap_or(1.0);
    let name = log_name(&header, wall.1);
    let pace = args
        .rate
        .map_or(Pace::AsFastAsTheWire, |rate| Pace::Every(Duration::from_secs_f64(1.0 / (rate * speed))));
    Ok(Plan {
        header,
        wall,
        speed,
        pace,
        length: args.length,
        until: conditions(&args.until),
        marks: args.mark.iter().map(|mark| (mark.time, mark.word.clone())).collect(),
        places: places(args.output.as_deref(), &name)?,
        settings,
        drive,
    })
}

fn conditions(until: &[Until]) -> Vec<Condition> {
    let condition = |until: &Until| match until {
        Until::Condition(condition) => Some(*condition),
        Until::Settled => None,
    };
    until.iter().filter_map(condition).collect()
}

/// A log never overwrites another file, and a mistyped folder is found before the run, not after it.
fn refuse_to_overwrite(output: Option<&Path>) -> Result<(), Failure> {
    let Some(output) = output.filter(|output| !output.is_dir()) else { return Ok(()) };
    if output.exists() {
        return Err(Failure::Input(format!(
            "{}: is there already; a log never overwrites another, give a new name or a folder",
            output.display()
        )));
    }
    match output.parent() {
        Some(folder) if folder != Path::new("") && !folder.is_dir() => Err(Failure::Input(format!(
            "{}: no such folder; make it first, or give another --output",
            folder.display()
        ))),
        _ => Ok(()),
    }
}

/// Where the log goes, and where it goes should that fail: this folder, the user's home, the temporary folder.
fn places(output: Option<&Path>, name: &str) -> Result<Vec<PathBuf>, Failure> {
    let first = match output {
        Some(folder) if folder.is_dir() => folder.join(name),
        Some(file) => file.to_owned(),
        None => {
            let folder = Path::new("logs");
            if let Err(error) = std::fs::create_dir_all(folder) {
                let why = format!("logs: {error}; give a place that can be written to with --output");
                return Err(Failure::Input(why));
            }
            folder.join(name)
        }
    };
    let spare = first.file_name().map_or_else(|| name.into(), ToOwned::to_owned);
    let folders = [std::env::current_dir().ok(), std::env::home_dir(), Some(std::env::temp_dir())];
    let mut places = vec![first];
    places.extend(folders.into_iter().flatten().map(|folder| folder.join(&spare)));
    Ok(places)
}

/// The exit of a run that is over: what happened to the output goes before everything else.
fn how_it_ended(report: &Report, console: &mut Console) -> Result<Outcome, Failure> {
    if let OutputState::Unknown(why) = &report.output {
        for line in summary::BANNER {
            console.line(&console.styled(Style::Alarm, line));
        }
        return Err(Failure::Safety(why.to_string()));
    }
    match &report.ended {
        Ended::Trip(trip) => Err(Failure::Safety(format!("tripped: {trip}; the output is confirmed off"))),
        Ended::NotSwitchedOn(why) => {
            Err(Failure::Safety(format!("the output was not switched on: {why}; it is confirmed off")))
        }
        Ended::Crashed(why) => Err(Failure::Link(format!("the program failed ({why}); the log was kept"))),
        _ => summary::saved_or_failure(report),
    }
}
