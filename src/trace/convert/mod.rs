//! Other loggers' files: from any table of time, volts and amps to a trace.
//!
//! What the file says is taken, what it leaves open is assumed and said ([`Converted::assumed`]), and what could be
//! meant in two ways is refused with the choice that settles it.

mod cell;
mod clock;
mod columns;
mod spread;
mod table;
mod text;

use super::model::{EventKind, Header, Mode, Sample, Trace, TraceBuilder};
use crate::units::{Amps, Seconds, Volts};
use cell::{Cell, Decimal};
use chrono::TimeZone as _;
use clock::{Clock, Moment};
use columns::{Chosen, Role};
use std::io::Read;
use table::Table;

/// The most bytes that are read of a file, packed or not: a day at a hundred rows a second is a third of it.
const MOST_BYTES: u64 = 1 << 30;
/// How many rows are looked at to find out how numbers and times are written.
const SAMPLE_ROWS: usize = 1000;
/// How many malformed lines a message names.
const NAMED_LINES: usize = 5;

/// What the user knows of a foreign file.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ConvertOptions {
    /// Which column holds what, if not by its name: `time=1:ms,volts=Voltage,amps=3:mA`.
    pub columns: Option<String>,
    /// The feed volts, for a file that has none.
    pub volts: Option<Volts>,
    /// What the file does not say of board and run.
    pub header: Header,
}

/// A foreign file as a trace.
#[derive(Debug, Clone, PartialEq)]
pub struct Converted {
    /// The readings.
    pub trace: Trace,
    /// What was assumed, for people; also in the header under `assumed`.
    pub assumed: Vec<String>,
}

/// Why a foreign file is no trace.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ConvertError {
    /// Not text.
    #[error("{0} is not a table of text; export the readings as CSV")]
    NotText(&'static str),
    /// A file, or what is packed in it, that is longer than any logger's or has no end, such as a device.
    #[error("more than {most} bytes; cut the file into parts")]
    TooLong {
        /// The most that is read.
        most: u64,
    },
    /// Nothing to convert.
    #[error("it is a log already: give it to the other commands as it is")]
    AlreadyLog,
    /// A file that cannot be read.
    #[error("cannot read it: {0}")]
    Read(String),
    /// A packed file that cannot be unpacked.
    #[error("cannot unpack the file: {0}")]
    Packed(String),
    /// No table in it.
    #[error(
        "no table found: expected lines with the same number of cells, at least two, some of them numbers"
    )]
    NoTable,
    /// More columns than any logger has.
    #[error("{found} columns; expected at most {most}")]
    TooManyColumns {
        /// How many there are.
        found: usize,
        /// The most that are read.
        most: usize,
    },
    /// A column that has to be there and is not.
    #[error("no column of {role} among {found}; name it with --columns (time=…,volts=…,amps=…){hint}")]
    NoColumn {
        /// What is missing.
        role: &'static str,
        /// What there is.
        found: String,
        /// What else can be done.
        hint: &'static str,
    },
    /// Several columns could be it.
    #[error("several columns could be {role}: {}; choose with --columns", .names.join(", "))]
    Ambiguous {
        /// What is looked for.
        role: &'static str,
        /// The columns, with their numbers.
        names: Vec<String>,
    },
    /// A slip in the choice of columns.
    #[error("--columns: {part:?}: {why}")]
    Choice {
        /// The part with the slip.
        part: String,
        /// What is wrong.
        why: String,
    },
    /// Times in no known notation.
    #[error(
        "{0:?} is no time that is understood; expected a number, a date and time, or hours:minutes:seconds"
    )]
    Clock(String),
    /// Lines that are not as the others.
    #[error("{}", .0.join("; "))]
    Lines(Vec<String>),
    /// Time that runs back.
    #[error("line {line}: time goes back by {by}; cut the file in two before this line")]
    TimeGoesBack {
        /// The line, from 1.
        line: usize,
        /// By how much.
        by: Seconds,
    },
    /// No reading in it.
    #[error("a table, but not one row with time, volts and amps")]
    NoReadings,
}

/// Reads another logger's table from a file or anything else that is read to its end.
///
/// # Errors
/// [`ConvertError`] as from [`convert`], or if it cannot be read or goes on for too long.
pub fn convert_from(file: impl Read, options: &ConvertOptions) -> Result<Converted, ConvertError> {
    let bytes = read_up_to(file, MOST_BYTES).map_err(|error| ConvertError::Read(error.to_string()))?;
    convert(&bytes.ok_or(ConvertError::TooLong { most: MOST_BYTES })?, options)
}

/// Everything in `file`; `None` if that is more than `most` bytes.
fn read_up_to(file: impl Read, most: u64) -> std::io::Result<Option<Vec<u8>>> {
    let mut bytes = Vec::new();
    let read = file.take(most + 1).read_to_end(&mut bytes)?;
    Ok((read as u64 <= most).then_some(bytes))
}

/// Reads another logger's table.
///
/// # Errors
/// [`ConvertError`] if there is no such table in it, or anything in it could be meant in two ways.
pub fn convert(bytes: &[u8], options: &ConvertOptions) -> Result<Converted, ConvertError> {
    let mut assumed = Vec::new();
    let text = text::decode(bytes, &mut assumed)?;
    // One with a slip in it may be had through here, as any other table.
    if text.starts_with("# log:") && super::read(text.as_bytes()).is_ok() {
        return Err(ConvertError::AlreadyLog);
    }
    let lines: Vec<&str> = text.split(['\n', '\r']).collect();
    let lines = if text.contains("\r\n") { text.lines().collect() } else { lines };
    let table = Table::find(&lines, &mut assumed)?;
    let plan = Plan::make(&table, &lines, options, &mut assumed)?;
    let readings = plan.read(&table, &lines, &mut assumed)?;
    let trace = trace(&readings, options, &mut assumed)?;
    Ok(Converted { trace, assumed })
}

/// A row with its values in SI units; values that the file has not are NaN here and go no further.
#[derive(Debug, Clone, Copy)]
struct Reading {
    line: usize,
    moment: Moment,
    values: Option<(f64, f64)>,
}

/// How each column is read.
#[derive(Debug)]
struct Plan {
    columns: Vec<Chosen>,
    decimal: Decimal,
    clock: Clock,
    volts: Option<f64>,
}

impl Plan {
    fn make(
        table: &Table,
        lines: &[&str],
        options: &ConvertOptions,
        assumed: &mut Vec<String>,
    ) -> Result<Self, ConvertError> {
        let columns = match &options.columns {
            Some(choice) => columns::by_choice(choice, &table.names, table.count)?,
            None => columns::by_name(&table.names)?,
        };
        let columns = needed(columns, options.volts.is_some(), table, assumed)?;
        let rows: Vec<Vec<String>> = lines[table.first..]
            .iter()
            .take(SAMPLE_ROWS)
            .map(|line| table::cells(line, table.separator))
            .filter(|row| row.len() == table.count)
            .collect();
        let numbers = columns.iter().filter(|column| !matches!(column.role, Role::Date | Role::Time));
        let decimal =
            Decimal::of(numbers.flat_map(|column| rows.iter().map(|row| row[column.index].as_str())));
        if decimal == Decimal::Comma {
            assumed.push("decimals are written with a comma".into());
        }
        let plan = Self { columns, decimal, clock: Clock::Hours, volts: options.volts.map(Volts::value) };
        let times: Vec<String> = rows.iter().map(|row| plan.time_cell(row)).collect();
        let clock = plan.clock(&times, assumed)?;
        Ok(Self { clock, ..plan })
    }

    fn clock(&self, times: &[String], assumed: &mut Vec<String>) -> Result<Clock, ConvertError> {
        let cells: Vec<&str> = times.iter().map(String::as_str).collect();
        let column = self.column(Role::Time).or(self.column(Role::Date)).ok_or(ConvertError::NoReadings)?;
        let clock = Clock::of(&cells, column.unit, column.unit_given, self.decimal, assumed);
        clock.ok_or_else(|| ConvertError::Clock(times.first().cloned().unwrap_or_default()))
    }

    fn column(&self, role: Role) -> Option<&Chosen> {
        self.columns.iter().find(|column| column.role == role)
    }

    /// The cell with the time, with the date before it if that has a column of its own.
    fn time_cell(&self, row: &[String]) -> String {
        let cell = |role| self.column(role).map(|column| row[column.index].trim());
        match (cell(Role::Date), cell(Role::Time)) {
            (Some(date), Some(time)) => format!("{date} {time}"),
            (date, time) => date.or(time).unwrap_or_default().to_owned(),
        }
    }

    fn read(
        &self,
        table: &Table,
        lines: &[&str],
        assumed: &mut Vec<String>,
    ) -> Result<Vec<Reading>, ConvertError> {
        let (mut readings, mut slips) = (Vec::new(), Vec::new());
        let last = lines.iter().rposition(|line| !line.trim().is_empty()).unwrap_or(0);
        for (index, line) in lines.iter().enumerate().skip(table.first) {
            if line.trim().is_empty() {
                continue;
            }
            match self.row(&table::cells(line, table.separator), table.count) {
                Ok((moment, values)) => readings.push(Reading { line: index + 1, moment, values }),
                Err(_) if index == last && !readings.is_empty() => {
                    assumed.push(format!("line {} is incomplete and was left out", index + 1));
                }
                Err(slip) => slips.push(format!("line {}: {slip}", index + 1)),
            }
        }
        if slips.is_empty() { Ok(readings) } else { Err(ConvertError::Lines(few(slips))) }
    }

    fn row(&self, row: &[String], count: usize) -> Result<(Moment, Option<(f64, f64)>), String> {
        if row.len() != count {
            return Err(format!("{} cells; expected {count}", row.len()));
        }
        let time = self.time_cell(row);
        let moment = self.clock.read(&time, self.decimal).ok_or_else(|| format!("{time:?} is no time"))?;
        let value = |role| self.value(row, role);
        let (volts, amps, watts) = (value(Role::Volts)?, value(Role::Amps)?, value(Role::Watts)?);
        let volts = volts
            .or(Some(Cell::Missing).filter(|_| self.column(Role::Volts).is_some()))
            .or(self.volts.map(Cell::Number));
        Ok((moment, volts_and_amps(volts, amps, watts)))
    }

    /// The value of a column; `None` where there is no such column.
    fn value(&self, row: &[String], role: Role) -> Result<Option<Cell>, String> {
        let Some(column) = self.column(role) else { return Ok(None) };
        let cell = &row[column.index];
        let value = self.decimal.read(cell, column.unit);
        value
            .map(Some)
            .ok_or_else(|| format!("{} {cell:?} is not a number of {}", role.name(), column.unit.symbol))
    }
}

/// Volts and amps from what there is: power stands in for the one that is missing.
fn volts_and_amps(volts: Option<Cell>, amps: Option<Cell>, watts: Option<Cell>) -> Option<(f64, f64)> {
    match (volts, amps, watts) {
        (Some(Cell::Number(volts)), Some(Cell::Number(amps)), _) => Some((volts, amps)),
        (Some(Cell::Number(volts)), None, Some(Cell::Number(watts))) if volts > 0.0 => {
            Some((volts, watts / volts))
        }
        (None, Some(Cell::Number(amps)), Some(Cell::Number(watts))) if amps > 0.0 => {
            Some((watts / amps, amps))
        }
        _ => None,
    }
}

/// The columns that are used, or what is missing.
fn needed(
    columns: Vec<Chosen>,
    volts_given: bool,
    table: &Table,
    assumed: &mut Vec<String>,
) -> Result<Vec<Chosen>, ConvertError> {
    let has = |role| columns.iter().any(|column| column.role == role);
    let missing = |role: Role, hint| ConvertError::NoColumn {
        role: role.name(),
        found: columns::list(&table.names, table.count),
        hint,
    };
    if !has(Role::Time) && !has(Role::Date) {
        return Err(missing(Role::Time, ""));
    }
    if !has(Role::Amps) && !has(Role::Watts) {
        return Err(missing(Role::Amps, ""));
    }
    let volts_known = has(Role::Volts) || volts_given || (has(Role::Amps) && has(Role::Watts));
    if !volts_known {
        return Err(missing(Role::Volts, ", or give the feed volts with --volts"));
    }
    let both = has(Role::Amps) && (has(Role::Volts) || volts_given);
    let used: Vec<Chosen> =
        columns.into_iter().filter(|column| !(both && column.role == Role::Watts)).collect();
    assumed.extend(used.iter().map(|column| column_in_words(column, table)));
    if volts_given && !used.iter().any(|column| column.role == Role::Volts) {
        assumed.push("volts are those given, the same in every row".into());
    }
    if !both {
        assumed.push("what is missing of volts and amps was worked out from watts".into());
    }
    Ok(used)
}

/// `amps is column 3 "Current" in mA`.
fn column_in_words(column: &Chosen, table: &Table) -> String {
    let name = table.names.get(column.index).map_or(String::new(), |name| format!(" {name:?}"));
    let unit = if matches!(column.role, Role::Date | Role::Time) {
        String::new()
    } else {
        format!(" in {}", column.unit.symbol)
    };
    format!("{} is column {}{name}{unit}", column.role.name(), column.index + 1)
}

fn few(mut slips: Vec<String>) -> Vec<String> {
    let more = slips.len().saturating_sub(NAMED_LINES);
    slips.truncate(NAMED_LINES);
    slips.extend((more > 0).then(|| format!("and {more} more malformed lines")));
    slips
}

/// The trace of the readings, in time from the first of them.
fn trace(
    readings: &[Reading],
    options: &ConvertOptions,
    assumed: &mut Vec<String>,
) -> Result<Trace, ConvertError> {
    let first = readings.first().ok_or(ConvertError::NoReadings)?.moment;
    let times = spread::times(readings, assumed)?;
    let pauses = spread::pauses(&times, assumed);
    let mut header = options.header.clone();
    start(&mut header, first, assumed);
    let mut builder = TraceBuilder::new(header);
    let left_out = fill(&mut builder, readings, &times, &pauses)?;
    if left_out > 0 {
        assumed
            .push(format!("{left_out} rows without a reading were left out, each stretch marked as a gap"));
    }
    if builder.trace().is_empty() {
        return Err(ConvertError::NoReadings);
    }
    if !assumed.is_empty() {
        builder.header_mut().other.push(("assumed".into(), assumed.join("; ")));
    }
    Ok(builder.finish())
}

/// Puts the readings into the log, with a gap after a pause and where rows have none; how many rows those are.
fn fill(
    builder: &mut TraceBuilder,
    readings: &[Reading],
    times: &[f64],
    pauses: &[usize],
) -> Result<usize, ConvertError> {
    let (mut left_out, mut gap) = (0, false);
    for (index, (reading, time)) in readings.iter().zip(times).enumerate() {
        gap |= pauses.binary_search(&index).is_ok();
        let time = finite(*time, reading.line)?;
        let Some((volts, amps)) = reading.values else {
            left_out += 1;
            gap = true;
            continue;
        };
        if gap && let Some(last) = builder.trace().time().last().copied() {
            let last = finite(last, reading.line)?;
            builder.event(last, EventKind::Gap).map_err(|_| ConvertError::NoReadings)?;
        }
        gap = false;
        let (Ok(volts), Ok(amps)) = (Volts::new(volts), Amps::new(amps)) else { continue };
        builder
            .sample(Sample { time, volts, amps, mode: Mode::Unknown, span: None })
            .map_err(|_| ConvertError::TimeGoesBack { line: reading.line, by: Seconds::ZERO })?;
    }
    Ok(left_out)
}

fn finite(seconds: f64, line: usize) -> Result<Seconds, ConvertError> {
    Seconds::new(seconds).map_err(|_| ConvertError::Lines(vec![format!("line {line}: time is not finite")]))
}

/// Puts the wall-clock time of the first row into the header, if the file tells it.
fn start(header: &mut Header, first: Moment, assumed: &mut Vec<String>) {
    match first.wall {
        Some((wall, Some(offset))) => {
            header.started = header.started.or_else(|| Some(offset.from_utc_datetime(&(wall - offset))));
        }
        Some((wall, None)) => {
            assumed.push("dates have no offset from UTC; they are kept as started_local".into());
            header.other.push(("started_local".into(), wall.format("%Y-%m-%dT%H:%M:%S").to_string()));
        }
        None => {}
    }
}

#[cfg(test)]
mod tests;
