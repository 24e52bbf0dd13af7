//! `plot`: a picture of a run, of two, of many, or of what good boards do.

use super::logs::{GivenLog, GivenProfile};
use super::output::{print, refuse_to_overwrite, refuse_to_replace, write_file};
use super::{Failure, Outcome};
use crate::reference::Profile;
use crate::render::{self, Format, Options, RenderError, Run, Size, Theme, words};
use crate::units::{Seconds, counted};
use crate::verdict::Finding;
use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// Draws the run of a board as a picture: verdict, stages, amps against good boards, volts. Two logs are drawn as before
/// and after, three or more on one panel, so that an odd one out is seen.
#[derive(Debug, Args)]
pub(super) struct PlotArgs {
    /// The logs to draw: one run, BEFORE and AFTER, or many; `-` reads one from standard input
    #[arg(value_name = "LOG", required_unless_present = "card")]
    logs: Vec<PathBuf>,
    /// Reference profile of the board model [default: the one of the log's board in ./profiles, if any]
    #[arg(long, value_name = "FILE", conflicts_with = "card")]
    profile: Option<PathBuf>,
    /// Draw the reference card of this profile: stages, amps, feed, limit, cautions
    #[arg(long, value_name = "PROFILE", conflicts_with_all = ["logs", "overlay", "from", "to", "zoom"])]
    card: Option<PathBuf>,
    /// Draw the logs on one panel, even if there are only one or two
    #[arg(long)]
    overlay: bool,
    /// The picture to write, a .png or a .svg
    #[arg(long, short, value_name = "FILE")]
    output: PathBuf,
    /// Start of the stretch to show, such as 4s: on the log's clock, or of several logs after the wake [default: the
    /// first reading, or shortly before the feed comes on if that is long after it]
    #[arg(long, value_name = "TIME")]
    from: Option<Seconds>,
    /// End of the stretch to show [default: the last reading, or shortly after the feed is off for good]
    #[arg(long, value_name = "TIME")]
    to: Option<Seconds>,
    /// Show this phase, with some of what comes before and after
    #[arg(long, value_name = "PHASE")]
    zoom: Option<String>,
    /// Light for tickets and print, dark for screens
    #[arg(long, value_enum, default_value_t = ThemeName::Light)]
    theme: ThemeName,
    /// Width and height in pixels, such as 1600x900, or wide, phone, a4
    #[arg(long, value_name = "SIZE", default_value_t = Size::WIDE)]
    size: Size,
    /// Dots per inch: fixes the size of the text on paper [default: the text grows with the picture]
    #[arg(long, value_parser = clap::value_parser!(u32).range(DENSITIES))]
    dpi: Option<u32>,
    /// Overwrite an existing file
    #[arg(long)]
    force: bool,
}

/// From a coarse screen to a fine printer.
const DENSITIES: std::ops::RangeInclusive<i64> = 36..=2400;

#[derive(Debug, Clone, Copy, ValueEnum)]
enum ThemeName {
    Light,
    Dark,
}

impl From<ThemeName> for Theme {
    fn from(name: ThemeName) -> Self {
        match name {
            ThemeName::Light => Self::Light,
            ThemeName::Dark => Self::Dark,
        }
    }
}

pub(super) fn run(args: &PlotArgs) -> Result<Outcome, Failure> {
    let options = options(args)?;
    refuse_to_replace(args.logs.iter().chain(&args.profile).chain(&args.card), &args.output)?;
    refuse_to_overwrite(&args.output, args.force)?;
    let (picture, line) = match &args.card {
        Some(path) => card(&GivenProfile::read(path)?.profile, &options)?,
        None => of_logs(args, &options)?,
    };
    write_file(&args.output, &picture, args.force)?;
    print(format!("{}: {line}\n", args.output.display()).as_bytes())?;
    Ok(Outcome::Done)
}

/// A picture, and what it shows in one line.
type Drawn = (Vec<u8>, String);

fn card(profile: &Profile, options: &Options) -> Result<Drawn, Failure> {
    let picture = render::card(profile, options).map_err(failure)?;
    let boards = counted(profile.learned.boards, "board");
    Ok((picture, format!("what good boards do, {} from {boards}", profile.board)))
}

fn of_logs(args: &PlotArgs, options: &Options) -> Result<Drawn, Failure> {
    let logs: Vec<GivenLog> = args.logs.iter().map(|path| GivenLog::read(path)).collect::<Result<_, _>>()?;
    let Some(first) = logs.first() else { return Err(Failure::Usage("no log to draw".into())) };
    let reference = GivenProfile::of(first, args.profile.as_deref())?;
    let profile = reference.as_ref().map(|reference| &reference.profile);
    let findings: Vec<Finding> = logs.iter().map(|log| log.diagnose(reference.as_ref())).collect();
    let runs: Vec<Run> =
        logs.iter().zip(&findings).map(|(log, finding)| Run { trace: &log.trace, finding }).collect();
    drawn(&runs, profile, args.overlay, options).map_err(failure)
}

fn drawn(
    runs: &[Run],
    profile: Option<&Profile>,
    overlay: bool,
    options: &Options,
) -> Result<Drawn, RenderError> {
    match runs {
        [run] if !overlay => {
            let line = format!("{} ({})", words::headline_of(run.finding), words::confidence(run.finding));
            Ok((render::timeline(run.trace, profile, run.finding, options)?, line))
        }
        [before, after] if !overlay => {
            let line = render::before_after_headline(*before, *after);
            Ok((render::before_after(*before, *after, profile, options)?, line))
        }
        _ => Ok((render::overlay(runs, profile, options)?, render::overlay_headline(runs))),
    }
}

fn options(args: &PlotArgs) -> Result<Options, Failure> {
    let format = Format::of_path(&args.output).map_err(|error| Failure::Usage(error.to_string()))?;
    Ok(Options {
        format,
        size: args.size,
        dpi: args.dpi,
        theme: args.theme.into(),
        from: args.from,
        to: args.to,
        zoom: args.zoom.clone(),
    })
}

/// A stretch or a phase that the log does not have was asked for wrongly; a log without readings is bad input.
fn failure(error: RenderError) -> Failure {
    match error {
        RenderError::EmptyWindow { .. } | RenderError::NoSuchPhase { .. } => {
            Failure::Usage(error.to_string())
        }
        _ => Failure::input(error),
    }
}
