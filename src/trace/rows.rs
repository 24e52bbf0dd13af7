//! The table of a log: column names, and a row a line.

use super::fault::Fault;
use super::model::{COLUMNS, EventKind, Mode, Sample, Trace, TraceBuilder, TraceError};
use super::number;
use super::plain::{Column, PlainRows};
use super::words;
use crate::units::{Amps, Seconds, Volts};

/// The most columns that are read.
const MOST_COLUMNS: usize = 256;
/// The fewest bytes that rows of a long log take on average: three numbers of some figures, and their separators.
const LEAST_ROW: usize = 16;

/// Which column holds what.
#[derive(Debug, Default)]
struct Layout {
    time: usize,
    volts: usize,
    amps: usize,
    mode: Option<usize>,
    span: Option<usize>,
    event: Option<usize>,
    /// Columns kept as text.
    text: Vec<usize>,
    /// The same, column by column.
    columns: Vec<Column>,
    count: usize,
}

/// Takes in the rows of a log into a trace.
#[derive(Debug)]
pub(super) struct Rows {
    layout: Option<Layout>,
    builder: TraceBuilder,
    fields: Fields,
    /// Room for plain rows.
    plain: PlainRows,
}

impl Rows {
    /// A table with the column names of line `names`.
    pub(super) fn new(names: &str, mut builder: TraceBuilder) -> Result<Self, Fault> {
        let mut fields = Fields::default();
        fields.split(names)?;
        let layout = layout(&fields, names, &mut builder)?;
        Ok(Self { layout: Some(layout), builder, fields, plain: PlainRows::default() })
    }

    /// A table whose column names were not understood: its rows are passed over.
    pub(super) fn unreadable() -> Self {
        Self {
            layout: None,
            builder: TraceBuilder::default(),
            fields: Fields::default(),
            plain: PlainRows::default(),
        }
    }

    /// The columns in order, if rows may be plain: not with columns that are kept as text.
    pub(super) fn plain_columns(&self) -> Option<&[Column]> {
        self.layout.as_ref().filter(|layout| layout.text.is_empty()).map(|layout| layout.columns.as_slice())
    }

    /// Takes in the plain rows at the start of whole lines, up to a number; says how many rows and bytes that were.
    pub(super) fn plain_rows(&mut self, lines: &[u8]) -> (usize, usize) {
        let mut plain = std::mem::take(&mut self.plain);
        if let Some(columns) = self.plain_columns() {
            plain.read(lines, columns);
        }
        let taken = self.take_plain(&plain);
        let read = if taken { (plain.len(), plain.bytes()) } else { (0, 0) };
        self.plain = plain;
        read
    }

    /// Takes in rows that were read already; says whether they fit. What does not is left to the careful way, which names
    /// the fault.
    pub(super) fn take_plain(&mut self, plain: &PlainRows) -> bool {
        self.builder.samples(plain)
    }

    /// Makes room for the readings of a log of `bytes`, by the least that a row takes.
    pub(super) fn reserve_for(&mut self, bytes: usize) {
        self.builder.reserve(bytes / LEAST_ROW);
    }

    /// The trace as it stands.
    pub(super) fn trace(&self) -> &Trace {
        self.builder.trace()
    }

    /// The trace of all rows.
    pub(super) fn finish(self) -> Trace {
        self.builder.finish()
    }

    /// Takes in one row.
    pub(super) fn row(&mut self, text: &str) -> Result<(), Fault> {
        let Some(layout) = &self.layout else { return Ok(()) };
        self.fields.split(text)?;
        if self.fields.len() != layout.count {
            return Err(Fault::FieldCount { found: self.fields.len(), expected: layout.count });
        }
        let row = Row { layout, fields: &self.fields };
        let (time, events) = (row.number("t_s", layout.time)?, row.events()?);
        let time = Seconds::new(time).map_err(|_| row.not_finite("t_s", layout.time))?;
        match row.reading(time)? {
            Some(sample) => {
                self.builder.sample(sample).map_err(Fault::Order)?;
                for kind in events {
                    self.builder.event(time, kind).map_err(Fault::Order)?;
                }
                for (column, field) in layout.text.iter().enumerate() {
                    self.builder.sample_text(column, self.fields.get(*field));
                }
            }
            None if events.is_empty() => return Err(Fault::NothingInRow),
            None => {
                let first = self.builder.trace().events().len();
                for kind in events {
                    self.builder.event(time, kind).map_err(Fault::Order)?;
                }
                for (column, field) in layout.text.iter().enumerate() {
                    self.builder.event_text(first, column, self.fields.get(*field));
                }
            }
        }
        Ok(())
    }
}

fn layout(fields: &Fields, names: &str, builder: &mut TraceBuilder) -> Result<Layout, Fault> {
    let mut found = [None; COLUMNS.len()];
    let (mut text, mut columns) = (Vec::new(), Vec::new());
    for index in 0..fields.len() {
        let name = fields.get(index).trim();
        match COLUMNS.iter().position(|known| *known == name) {
            Some(known) if found[known].is_some() => {
                return Err(Fault::Columns(TraceError::ColumnTwice(name.to_owned())));
            }
            Some(known) => {
                found[known] = Some(index);
                columns.push(Column::ALL[known]);
            }
            None => {
                builder.text_column(name).map_err(Fault::Columns)?;
                text.push(index);
            }
        }
    }
    let [Some(time), Some(volts), Some(amps), mode, span, event] = found else {
        let missing = (0..3).filter(|known| found[*known].is_none()).map(|known| COLUMNS[known]).collect();
        return Err(Fault::ColumnsMissing { missing, found: names.to_owned() });
    };
    Ok(Layout { time, volts, amps, mode, span, event, text, columns, count: fields.len() })
}

/// One row, looked at by columns.
struct Row<'a> {
    layout: &'a Layout,
    fields: &'a Fields,
}

impl Row<'_> {
    /// The reading; `None` if volts and amps are both empty.
    fn reading(&self, time: Seconds) -> Result<Option<Sample>, Fault> {
        let Layout { volts, amps, .. } = *self.layout;
        let (mode, span) = (self.mode()?, self.span()?);
        if self.is_empty(volts) && self.is_empty(amps) {
            return match (mode, span) {
                (Mode::Unknown, None) => Ok(None),
                (Mode::Unknown, Some(_)) => Err(Fault::ReadingIncomplete { column: "span_s" }),
                _ => Err(Fault::ReadingIncomplete { column: "mode" }),
            };
        }
        let volts = self.number("volts", volts)?;
        let amps = self.number("amps", amps)?;
        let volts = Volts::new(volts).map_err(|_| self.not_finite("volts", self.layout.volts))?;
        let amps = Amps::new(amps).map_err(|_| self.not_finite("amps", self.layout.amps))?;
        Ok(Some(Sample { time, volts, amps, mode, span }))
    }

    fn is_empty(&self, field: usize) -> bool {
        self.fields.get(field).trim().is_empty()
    }

    fn number(&self, column: &'static str, field: usize) -> Result<f64, Fault> {
        let found = self.fields.get(field);
        number::parse(found).map_err(|fault| Fault::Number { column, found: found.trim().to_owned(), fault })
    }

    fn not_finite(&self, column: &'static str, field: usize) -> Fault {
        let found = self.fields.get(field).to_owned();
        Fault::Number { column, found, fault: number::NumberFault::NoReading }
    }

    fn mode(&self) -> Result<Mode, Fault> {
        match self.layout.mode.map_or("", |field| self.fields.get(field).trim()) {
            "" => Ok(Mode::Unknown),
            "cv" => Ok(Mode::ConstantVoltage),
            "cc" => Ok(Mode::ConstantCurrent),
            "off" => Ok(Mode::Off),
            other => Err(Fault::Mode(other.to_owned())),
        }
    }

    fn span(&self) -> Result<Option<Seconds>, Fault> {
        let Some(field) = self.layout.span.filter(|field| !self.is_empty(*field)) else { return Ok(None) };
        let span = self.number("span_s", field)?;
        if span < 0.0 { Err(Fault::NegativeSpan(span)) } else { Ok(Seconds::new(span).ok()) }
    }

    fn events(&self) -> Result<Vec<EventKind>, Fault> {
        let cell = self.layout.event.map_or("", |field| self.fields.get(field));
        words::events(cell).map_err(Fault::EventValue)
    }
}

/// The fields of one line, split by the rules of RFC 4180 into room that is used again for the next line.
#[derive(Debug)]
struct Fields {
    core: csv_core::Reader,
    text: Vec<u8>,
    ends: [usize; MOST_COLUMNS + 1],
    count: usize,
}

impl Default for Fields {
    fn default() -> Self {
        Self { core: csv_core::Reader::new(), text: Vec::new(), ends: [0; MOST_COLUMNS + 1], count: 0 }
    }
}

impl Fields {
    fn len(&self) -> usize {
        self.count
    }

    fn get(&self, index: usize) -> &str {
        let start = index.checked_sub(1).map_or(0, |before| self.ends[before]);
        // The line was UTF-8 and is split at ASCII characters, so this never falls back.
        std::str::from_utf8(&self.text[start..self.ends[index]]).unwrap_or_default()
    }

    fn split(&mut self, line: &str) -> Result<(), Fault> {
        use csv_core::ReadRecordResult::{InputEmpty, OutputEndsFull, OutputFull, Record};
        self.core.reset();
        self.text.resize(line.len() + 1, 0);
        let (result, _, text_length, fields) =
            self.core.read_record(line.as_bytes(), &mut self.text, &mut self.ends);
        let end = match result {
            InputEmpty => {
                self.core.read_record(b"\n", &mut self.text[text_length..], &mut self.ends[fields..])
            }
            other => (other, 0, 0, 0),
        };
        match end.0 {
            Record => {
                self.count = fields + end.3;
                Ok(())
            }
            OutputEndsFull | OutputFull => {
                let found = line.bytes().filter(|byte| *byte == b',').count() + 1;
                Err(Fault::TooManyColumns { found, most: MOST_COLUMNS })
            }
            _ => Err(Fault::OpenQuote),
        }
    }
}
