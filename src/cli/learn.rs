//! `feedtale learn`: a profile from known-good logs.

mod joined;
mod sound;

use super::logs::remark_cut;
use super::output::{print, refuse_to_replace, remark, write_file};
use super::{Failure, Outcome};
use crate::reference::{self, Capture, Learning, PhaseReference, Profile, Request};
use crate::trace;
use crate::units::{Amps, NotFinite, Seconds, Volts, counted};
use std::path::{Path, PathBuf};

/// Learns a reference profile from known-good logs.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// Logs of known-good boards; several boards, each with its serial number in the log, make the best profile
    #[arg(required = true, value_name = "LOG")]
    logs: Vec<PathBuf>,
    /// Board model, as the logs name it
    #[arg(long, value_name = "NAME", required_unless_present = "update")]
    board: Option<String>,
    /// Where to write the profile
    #[arg(long, short, value_name = "FILE", required_unless_present = "update")]
    output: Option<PathBuf>,
    /// Names of the stages in order, the last being the running level
    #[arg(long, value_name = "NAME,…", value_delimiter = ',')]
    names: Vec<String>,
    /// Add the logs to this profile (written back to it unless --output says otherwise)
    #[arg(long, value_name = "PROFILE", conflicts_with_all = ["board", "names"])]
    update: Option<PathBuf>,
    /// Keep logs that do not fit the others
    #[arg(long)]
    keep_all: bool,
    /// Overwrite an existing file
    #[arg(long)]
    force: bool,
    /// What kind of board it is, for people
    #[arg(long, value_name = "TEXT")]
    description: Option<String>,
    /// Where on the board the supply is connected
    #[arg(long, value_name = "TEXT")]
    point: Option<String>,
    /// Usual feed volts (else those that the logs were set to)
    #[arg(long, value_name = "VOLTS")]
    nominal: Option<f64>,
    /// Lowest feed volts at which a good board boots (else 5 % below the usual, or the lowest in the logs)
    #[arg(long, value_name = "VOLTS")]
    lowest: Option<f64>,
    /// Highest feed volts that do no harm (else 5 % above the usual, or the highest in the logs)
    #[arg(long, value_name = "VOLTS")]
    highest: Option<f64>,
    /// Advised current limit (else that of the logs, or a quarter over the highest peak)
    #[arg(long, value_name = "AMPS")]
    limit: Option<f64>,
    /// What to mind before switching on; may be given several times and replaces the general cautions
    #[arg(long, value_name = "TEXT")]
    caution: Vec<String>,
}

pub(super) fn run(args: &Args) -> Result<Outcome, Failure> {
    let output = output(args)?;
    refuse_to_replace(&args.logs, &output)?;
    let captures = args.logs.iter().map(capture).collect::<Result<Vec<_>, _>>()?;
    let (mut learning, doubts) = learned(args, &captures)?;
    adjust(&mut learning.profile, args)?;
    let text = learning.profile.to_toml();
    // What is written must read back: a flag may have given a value that no profile can hold.
    Profile::from_toml(&text).map_err(|fault| Failure::Usage(fault.problem.to_string()))?;
    // `output` has made sure that what is there may be written over.
    write_file(&output, text.as_bytes(), true)?;
    report(&learning, &doubts, &output)?;
    Ok(Outcome::Done)
}

fn output(args: &Args) -> Result<PathBuf, Failure> {
    match (&args.output, &args.update) {
        (Some(output), _) if output.exists() && !args.force => Err(Failure::Usage(format!(
            "{}: the file exists; --force overwrites it, --update adds to it",
            output.display()
        ))),
        (Some(output), _) | (None, Some(output)) => Ok(output.clone()),
        (None, None) => Err(Failure::Usage("--output says where to write the profile".to_owned())),
    }
}

fn capture(path: &PathBuf) -> Result<Capture, Failure> {
    let log = trace::read_file(path).map_err(Failure::input)?;
    let name =
        path.file_name().map_or_else(|| path.display().to_string(), |name| name.to_string_lossy().into());
    remark_cut(&name, log.cut);
    Ok(Capture { name, sha256: log.sha256, trace: log.trace })
}

/// What was learned, and what makes a person doubt the boards that it was learned from.
fn learned(args: &Args, captures: &[Capture]) -> Result<(Learning, Vec<String>), Failure> {
    let date = chrono::Local::now().format("%Y-%m-%d").to_string();
    if let Some(path) = &args.update {
        let profile = Profile::read(path).map_err(Failure::input)?;
        let learning = reference::update(&profile, captures, args.keep_all, &date).map_err(Failure::input)?;
        let doubts = sound::doubts(captures, &learning);
        return Ok((learning, doubts));
    }
    let request = Request {
        board: args.board.clone().unwrap_or_default(),
        names: args.names.iter().map(|name| name.trim().to_owned()).collect(),
        keep_all: args.keep_all,
        date,
    };
    joined::learned(captures, &request).map_err(Failure::input)
}

fn adjust(profile: &mut Profile, args: &Args) -> Result<(), Failure> {
    let usage = |error: NotFinite| Failure::Usage(error.to_string());
    if let Some(text) = &args.description {
        text.clone_into(&mut profile.description);
    }
    if let Some(text) = &args.point {
        text.clone_into(&mut profile.feed.point);
    }
    if !args.caution.is_empty() {
        args.caution.clone_into(&mut profile.feed.cautions);
    }
    let feed = &mut profile.feed;
    for (flag, volts) in [
        (args.nominal, &mut feed.nominal),
        (args.lowest, &mut feed.lowest),
        (args.highest, &mut feed.highest),
    ] {
        if let Some(value) = flag {
            *volts = Volts::new(value).map_err(usage)?;
        }
    }
    if let Some(value) = args.limit {
        feed.limit = Amps::new(value).map_err(usage)?;
    }
    Ok(())
}

fn report(learning: &Learning, doubts: &[String], output: &Path) -> Result<(), Failure> {
    for (name, reason) in &learning.refused {
        remark(&format!("feedtale: {name} is left out: {reason}"));
    }
    for note in learning.notes.iter().chain(doubts) {
        remark(&format!("feedtale: note: {note}"));
    }
    let Profile { board, feed, phases, learned, .. } = &learning.profile;
    let (boards, captures) = (counted(learned.boards, "board"), counted(learned.captures, "capture"));
    let volts = learned.feed.unwrap_or(feed.nominal);
    let phases: String = phases.iter().map(|phase| line(phase, volts)).collect();
    print(format!("{board}: {boards}, {captures}\n{phases}{}\n", output.display()).as_bytes())
}

/// A phase as a line for people, its envelope in amps at `volts`.
fn line(phase: &PhaseReference, volts: Volts) -> String {
    let amps = |watts: f64| Amps::new(watts / volts.value()).unwrap_or_default();
    let mean = phase.mean_power;
    let (low, typical, high) = (amps(mean.low), amps(mean.typical), amps(mean.high));
    let length = match phase.duration {
        Some(length) => format!("about {}", Seconds::new(length.typical).unwrap_or_default()),
        None if phase.waits_for_person => "until the button".to_owned(),
        None => "from then on".to_owned(),
    };
    format!("  {:<12} {typical:>8} ({low} to {high})  {length}\n", phase.name)
}
