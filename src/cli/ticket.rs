//! `ticket`: what remains of a run when the supply is off.

use super::logs::{GivenLog, GivenProfile};
use super::output::{print, refuse_to_overwrite, write_file, write_ticket};
use super::{Failure, Outcome};
use crate::render::words;
use crate::ticket::{Material, Notes, folder};

use std::path::{Path, PathBuf};

/// Makes the ticket folder of a run: picture, log, finding, and a note as text, Markdown and HTML.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The log; `-` reads it from standard input
    #[arg(value_name = "LOG")]
    log: PathBuf,
    /// Reference profile of the board model [default: the one of the log's board in ./profiles, if any]
    #[arg(long, value_name = "FILE")]
    profile: Option<PathBuf>,
    /// Where to put the folder, which is named by ticket and board
    #[arg(long, short, value_name = "DIR")]
    output: PathBuf,
    /// What the customer complains of, in the customer's words; what the run proves is held against it
    #[arg(long, value_name = "WORDS")]
    symptom: Option<String>,
    /// What the technician wants to add
    #[arg(long, value_name = "WORDS")]
    note: Option<String>,
    /// Make one ZIP file instead of a folder
    #[arg(long)]
    zip: bool,
    /// Overwrite an existing ticket
    #[arg(long)]
    force: bool,
}

pub(super) fn run(args: &Args) -> Result<Outcome, Failure> {
    let (log, bytes) = GivenLog::with_bytes(&args.log)?;
    let reference = GivenProfile::of(&log, args.profile.as_deref())?;
    let finding = log.diagnose(reference.as_ref());
    let ticket = folder(&Material {
        log: &bytes,
        log_name: &args.log.display().to_string(),
        trace: &log.trace,
        profile: reference.as_ref().map(|reference| &reference.profile),
        finding: &finding,
        notes: &Notes { symptom: args.symptom.clone(), note: args.note.clone() },
    })
    .map_err(Failure::input)?;
    let place = if args.zip {
        let packed = ticket.zip().map_err(Failure::input)?;
        write_packed(&args.output, &ticket.name, &packed, args.force)?
    } else {
        write_ticket(&args.output, &ticket, args.force)?
    };
    let (said, sure) = (words::headline_of(&finding), words::confidence(&finding));
    let line = format!("{}: {said} ({sure})\n", place.display());
    print(line.as_bytes())?;
    Ok(Outcome::Done)
}

fn write_packed(output: &Path, name: &str, bytes: &[u8], force: bool) -> Result<PathBuf, Failure> {
    let place = output.join(format!("{name}.zip"));
    refuse_to_overwrite(&place, force)?;
    super::output::make_folder(output)?;
    write_file(&place, bytes, force)?;
    Ok(place)
}
