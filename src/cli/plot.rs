//! `plot`: a picture of a run.

use super::logs::{GivenLog, GivenProfile};
use super::output::{print, refuse_to_overwrite, write_file};
use super::{Failure, Outcome};
use crate::render::{self, Format, Options, RenderError, Size, Theme, words};
use crate::units::Seconds;
use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// Draws the run of a board as a picture: verdict, stages, amps against good boards, volts.
#[derive(Debug, Args)]
pub(super) struct PlotArgs {
    /// The log to draw; `-` reads it from standard input
    #[arg(value_name = "LOG")]
    log: PathBuf,
    /// Reference profile of the board model [default: the one of the log's board in ./profiles, if any]
    #[arg(long, value_name = "FILE")]
    profile: Option<PathBuf>,
    /// The picture to write, a .png or a .svg
    #[arg(long, short, value_name = "FILE")]
    output: PathBuf,
    /// Start of the stretch to show, on the log's clock, such as 4s [default: the first reading]
    #[arg(long, value_name = "TIME")]
    from: Option<Seconds>,
    /// End of the stretch to show [default: the last reading]
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
    refuse_to_overwrite(&args.output, args.force)?;
    let log = GivenLog::read(&args.log)?;
    let reference = GivenProfile::of(&log, args.profile.as_deref())?;
    let finding = log.diagnose(reference.as_ref());
    let profile = reference.as_ref().map(|reference| &reference.profile);
    let picture = render::timeline(&log.trace, profile, &finding, &options).map_err(failure)?;
    write_file(&args.output, &picture, args.force)?;
    let verdict = &finding.verdict;
    let line =
        format!("{}: {} ({})\n", args.output.display(), words::headline(verdict), words::confidence(verdict));
    print(line.as_bytes())?;
    Ok(Outcome::Done)
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
