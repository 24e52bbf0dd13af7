//! `feedtale convert`: another logger's file to a log.

use super::output::{refuse_to_replace, remark, write_file};
use super::{Failure, Outcome};
use crate::trace::{self, ConvertOptions, Header};
use crate::units::{Amps, Volts};

use std::path::PathBuf;

/// Turn another logger's table of time, volts and amps into a log.
///
/// Columns, units, separators and the notation of numbers and times are found out from the file; what was assumed is
/// said on stderr and kept in the log's header.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The logger's file: text with commas, semicolons, tabs or blanks between cells, packed with gzip or not.
    file: PathBuf,
    /// The log to write.
    #[arg(long, short, value_name = "LOG")]
    output: PathBuf,
    /// Which column holds what, by name or number, with units where the names have none: `time=1:ms,volts=3,amps=4:mA`
    /// (also `date` and `watts`).
    #[arg(long, value_name = "ROLE=COLUMN[:UNIT],…")]
    columns: Option<String>,
    /// The feed volts, for a file that has only amps or watts.
    #[arg(long, value_name = "VOLTS")]
    volts: Option<f64>,
    /// Board model, the name that profiles go by.
    #[arg(long)]
    board: Option<String>,
    /// Serial number of the board.
    #[arg(long)]
    serial: Option<String>,
    /// Repair ticket.
    #[arg(long)]
    ticket: Option<String>,
    /// Where on the board the supply was connected.
    #[arg(long, value_name = "PLACE")]
    feed_point: Option<String>,
    /// What supplied and logged the board.
    #[arg(long)]
    supply: Option<String>,
    /// Volts that the supply was set to.
    #[arg(long, value_name = "VOLTS")]
    set_volts: Option<f64>,
    /// Current limit that the supply was set to.
    #[arg(long, value_name = "AMPS")]
    limit: Option<f64>,
    /// Write over a log that is there already.
    #[arg(long)]
    force: bool,
}

pub(super) fn run(args: &Args) -> Result<Outcome, Failure> {
    let named = |message: String| Failure::Input(format!("{}: {message}", args.file.display()));
    let options = options(args)?;
    refuse_to_replace([&args.file], &args.output)?;
    let file = std::fs::File::open(&args.file).map_err(|error| named(format!("cannot read it: {error}")))?;
    if is_device(&file) {
        return Err(named("it is a device; save what it sends to a file first".into()));
    }
    let converted = trace::convert_from(file, &options).map_err(|error| named(error.to_string()))?;
    for assumption in &converted.assumed {
        remark(&format!("assumed: {assumption}"));
    }
    write_file(&args.output, &trace::write(&converted.trace), args.force)?;
    remark(&format!("{}: {} readings", args.output.display(), converted.trace.len()));
    Ok(Outcome::Done)
}

/// Whether `file` is neither a plain file nor a pipe: most devices never end.
#[cfg(unix)]
fn is_device(file: &std::fs::File) -> bool {
    use std::os::unix::fs::FileTypeExt as _;
    let kind = file.metadata().map(|metadata| metadata.file_type());
    kind.is_ok_and(|kind| kind.is_char_device() || kind.is_block_device())
}

#[cfg(not(unix))]
fn is_device(_: &std::fs::File) -> bool {
    false
}

fn options(args: &Args) -> Result<ConvertOptions, Failure> {
    let quantity = |number: Option<f64>| number.map(Volts::new).transpose();
    let slip = |error: crate::units::NotFinite| Failure::Usage(error.to_string());
    let source = args.file.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
    let header = Header {
        board: args.board.clone(),
        serial: args.serial.clone(),
        ticket: args.ticket.clone(),
        feed_point: args.feed_point.clone(),
        supply: args.supply.clone(),
        set_volts: quantity(args.set_volts).map_err(slip)?,
        limit: args.limit.map(Amps::new).transpose().map_err(slip)?,
        started: None,
        other: vec![("converted_from".into(), source)],
    };
    Ok(ConvertOptions { columns: args.columns.clone(), volts: quantity(args.volts).map_err(slip)?, header })
}
