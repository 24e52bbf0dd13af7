//! The data model: header, samples, events.

use super::plain::PlainRows;
use super::text::TextColumn;
use crate::units::{Amps, Seconds, Volts};
use chrono::{DateTime, FixedOffset};

/// What the head of a log says of the run. Every field may be missing.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Header {
    /// Board model, the name that profiles go by.
    pub board: Option<String>,
    /// Serial number of this one board.
    pub serial: Option<String>,
    /// Repair ticket.
    pub ticket: Option<String>,
    /// Where on the board the supply was connected, in words.
    pub feed_point: Option<String>,
    /// The supply's identification, as it gave it.
    pub supply: Option<String>,
    /// Volts that the supply was set to.
    pub set_volts: Option<Volts>,
    /// Current limit that the supply was set to.
    pub limit: Option<Amps>,
    /// Wall-clock time of the first sample.
    pub started: Option<DateTime<FixedOffset>>,
    /// Every other key of the header, in the order found; kept so that a read and a write lose nothing. No key is
    /// empty, given twice, or one of those that have a field of their own.
    pub other: Vec<(String, String)>,
}

/// What regulates the supply's output, by the supply's own word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Mode {
    /// The supply did not say, or was not asked.
    #[default]
    Unknown,
    /// Constant voltage: the board takes what it wants.
    ConstantVoltage,
    /// Constant current: the supply is in its limit and the volts give way.
    ConstantCurrent,
    /// The output is off.
    Off,
}

/// One reading: what the supply said of its output at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Middle of the exchange with the supply, on the log's clock.
    pub time: Seconds,
    /// Volts at the supply's terminals.
    pub volts: Volts,
    /// Amps out of the supply.
    pub amps: Amps,
    /// What regulated the output.
    pub mode: Mode,
    /// How long the exchange took; the stamp is good to half of it.
    pub span: Option<Seconds>,
}

/// Something that happened during the run.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// When, on the log's clock.
    pub time: Seconds,
    /// Index of the first sample at or after `time` (the number of samples, if none followed).
    pub sample: usize,
    /// What.
    pub kind: EventKind,
}

/// The kinds of event that a log knows.
#[derive(Debug, Clone, PartialEq)]
pub enum EventKind {
    /// The output was switched on (or seen to come on).
    OutputOn,
    /// The output was switched off (or seen to go off).
    OutputOff,
    /// A word by the person at the bench: `power button`, `image on screen`.
    Mark(String),
    /// The set volts were changed, or seen to have changed.
    SetVolts(Volts),
    /// The current limit was changed, or seen to have changed.
    Limit(Amps),
    /// Readings are missing from here to the next sample.
    Gap,
    /// The supply stopped answering.
    LinkLost,
    /// The supply answers again.
    LinkBack,
    /// A trip switched the output off; the reason in words.
    Trip(String),
    /// A word that this version does not know; kept so that a read and a write lose nothing.
    Other(String),
}

impl EventKind {
    /// Whether the person at the bench marked a press of the power button.
    #[must_use]
    pub fn is_press(&self) -> bool {
        let Self::Mark(mark) = self else { return false };
        let mark = mark.to_lowercase();
        ["button", "press", "power key"].iter().any(|word| mark.contains(word))
    }
}

/// Why readings do not make a trace.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TraceError {
    /// Time stood still or ran backwards.
    #[error("time {found} s follows {before} s; the time of samples must increase")]
    TimeNotIncreasing {
        /// The earlier sample's time in seconds.
        before: f64,
        /// The offending time in seconds.
        found: f64,
    },
    /// An event is older than the row before it.
    #[error("event at {found} s follows {before} s; rows must be in order of time")]
    EventOutOfOrder {
        /// The time of the row before, in seconds.
        before: f64,
        /// The event's time in seconds.
        found: f64,
    },
    /// A column name that is given twice, or belongs to the readings.
    #[error("column {0:?} is given twice; every column needs a name of its own")]
    ColumnTwice(String),
}

/// The columns that a log knows; others are kept as text.
pub(super) const COLUMNS: [&str; 6] = ["t_s", "volts", "amps", "mode", "span_s", "event"];

/// A log in memory: columns of equal length, finite, in strictly increasing time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Trace {
    header: Header,
    time: Vec<f64>,
    volts: Vec<f64>,
    amps: Vec<f64>,
    /// Empty if no sample has a mode, else one a sample.
    mode: Vec<Mode>,
    /// Empty if no sample has a span, else one a sample (NaN-free: zero stands for none).
    span: Vec<f32>,
    events: Vec<Event>,
    text: Vec<TextColumn>,
}

impl Trace {
    /// What the head of the log says.
    #[must_use]
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// The header, to be filled in or corrected.
    pub fn header_mut(&mut self) -> &mut Header {
        &mut self.header
    }

    /// Number of samples.
    #[must_use]
    pub fn len(&self) -> usize {
        self.time.len()
    }

    /// Whether there is no sample at all.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.time.is_empty()
    }

    /// Times of the samples in seconds, strictly increasing.
    #[must_use]
    pub fn time(&self) -> &[f64] {
        &self.time
    }

    /// Volts, one a sample.
    #[must_use]
    pub fn volts(&self) -> &[f64] {
        &self.volts
    }

    /// Amps, one a sample.
    #[must_use]
    pub fn amps(&self) -> &[f64] {
        &self.amps
    }

    /// Whether sample `index` shows other amps or volts than the one before: a supply that is asked faster than it
    /// measures repeats its last reading. The first sample is always fresh.
    ///
    /// # Panics
    /// If there is no such sample.
    #[must_use]
    pub fn is_fresh(&self, index: usize) -> bool {
        let differs = |values: &[f64]| index == 0 || values[index].total_cmp(&values[index - 1]).is_ne();
        differs(&self.amps) || differs(&self.volts)
    }

    /// What regulated the output at sample `index`.
    #[must_use]
    pub fn mode(&self, index: usize) -> Mode {
        self.mode.get(index).copied().unwrap_or_default()
    }

    /// Whether any sample says what regulated the output.
    #[must_use]
    pub fn has_modes(&self) -> bool {
        !self.mode.is_empty()
    }

    /// How long the exchange of sample `index` took, where the log says so.
    #[must_use]
    pub fn span(&self, index: usize) -> Option<Seconds> {
        self.span.get(index).filter(|s| **s > 0.0).and_then(|s| Seconds::new(f64::from(*s)).ok())
    }

    /// Whether any sample says how long its exchange took.
    #[must_use]
    pub fn has_spans(&self) -> bool {
        !self.span.is_empty()
    }

    /// Events in order of time.
    #[must_use]
    pub fn events(&self) -> &[Event] {
        &self.events
    }

    /// Columns that this version does not know, in the order found.
    #[must_use]
    pub fn text_columns(&self) -> &[TextColumn] {
        &self.text
    }

    /// Sample `index`, or `None` past the end.
    #[must_use]
    pub fn sample(&self, index: usize) -> Option<Sample> {
        Some(Sample {
            time: Seconds::new(*self.time.get(index)?).ok()?,
            volts: Volts::new(self.volts[index]).ok()?,
            amps: Amps::new(self.amps[index]).ok()?,
            mode: self.mode(index),
            span: self.span(index),
        })
    }

    /// From the first sample to the last; `None` with fewer than two samples.
    #[must_use]
    pub fn duration(&self) -> Option<Seconds> {
        match self.time.as_slice() {
            [first, .., last] => Seconds::new(last - first).ok(),
            _ => None,
        }
    }
}

/// Builds a [`Trace`] row by row and refuses what is out of order.
#[derive(Debug, Clone, Default)]
pub struct TraceBuilder {
    trace: Trace,
    last_row: Option<f64>,
}

impl TraceBuilder {
    /// An empty trace under `header`.
    #[must_use]
    pub fn new(header: Header) -> Self {
        Self { trace: Trace { header, ..Trace::default() }, last_row: None }
    }

    /// Adds a column of text beside the readings; see [`Self::sample_text`].
    ///
    /// # Errors
    /// [`TraceError::ColumnTwice`] if the name is taken.
    pub fn text_column(&mut self, name: &str) -> Result<(), TraceError> {
        let taken = COLUMNS.contains(&name.trim())
            || self.trace.text.iter().any(|column| column.name() == name.trim());
        if taken {
            return Err(TraceError::ColumnTwice(name.to_owned()));
        }
        self.trace.text.push(TextColumn::new(name));
        Ok(())
    }

    /// Sets the cell of text column `column` (from 0, in the order added) for the sample added last; an unknown column
    /// or no sample yet changes nothing.
    pub fn sample_text(&mut self, column: usize, cell: &str) {
        if let (Some(text), Some(last)) =
            (self.trace.text.get_mut(column), self.trace.time.len().checked_sub(1))
        {
            text.set_cell(last, cell);
        }
    }

    /// Sets the cell of text column `column` for a row that holds events only, of which event `first` is the first.
    pub fn event_text(&mut self, first: usize, column: usize, cell: &str) {
        if let (Some(text), true) = (self.trace.text.get_mut(column), first < self.trace.events.len()) {
            text.set_cell_of_event(first, cell);
        }
    }

    /// Makes room for `additional` samples.
    pub fn reserve(&mut self, additional: usize) {
        self.trace.time.reserve(additional);
        self.trace.volts.reserve(additional);
        self.trace.amps.reserve(additional);
    }

    /// The trace as it stands.
    #[must_use]
    pub fn trace(&self) -> &Trace {
        &self.trace
    }

    /// The header, to be filled in or corrected.
    pub fn header_mut(&mut self) -> &mut Header {
        &mut self.trace.header
    }

    /// Adds a reading.
    ///
    /// # Errors
    /// [`TraceError::TimeNotIncreasing`] unless its time is after every row so far.
    pub fn sample(&mut self, sample: Sample) -> Result<(), TraceError> {
        let time = sample.time.value();
        if let Some(&before) = self.trace.time.last()
            && time <= before
        {
            return Err(TraceError::TimeNotIncreasing { before, found: time });
        }
        if let Some(before) = self.last_row.filter(|before| time < *before) {
            return Err(TraceError::TimeNotIncreasing { before, found: time });
        }
        self.last_row = Some(time);
        let count = self.trace.time.len();
        self.trace.time.push(time);
        self.trace.volts.push(sample.volts.value());
        self.trace.amps.push(sample.amps.value());
        push_sparse(&mut self.trace.mode, count, sample.mode);
        #[expect(clippy::cast_possible_truncation, reason = "a span needs no more than seven figures")]
        push_sparse(&mut self.trace.span, count, sample.span.map_or(0.0, |span| span.value() as f32));
        Ok(())
    }

    /// Adds readings whose numbers are finite and whose times increase; says whether they fit. None is added unless all
    /// are after every row so far.
    pub(super) fn samples(&mut self, rows: &PlainRows) -> bool {
        let (Some(first), Some(last)) = (rows.time().first(), rows.time().last()) else { return false };
        let after = |before: &f64| first > before;
        // A reading may share the time of the event before it, as when it is added alone.
        let fits = self.trace.time.last().is_none_or(after) && self.last_row.is_none_or(|row| *first >= row);
        if fits {
            self.last_row = Some(*last);
            let count = self.trace.time.len();
            self.trace.time.extend_from_slice(rows.time());
            self.trace.volts.extend_from_slice(rows.volts());
            self.trace.amps.extend_from_slice(rows.amps());
            extend_sparse(&mut self.trace.mode, count, rows.mode(), rows.len());
            extend_sparse(&mut self.trace.span, count, rows.span(), rows.len());
        }
        fits
    }

    /// Adds an event at `time`, which may be the time of the last sample or between two samples.
    ///
    /// # Errors
    /// [`TraceError::EventOutOfOrder`] if a later row was already added.
    pub fn event(&mut self, time: Seconds, kind: EventKind) -> Result<(), TraceError> {
        let found = time.value();
        if let Some(before) = self.last_row.filter(|before| found < *before) {
            return Err(TraceError::EventOutOfOrder { before, found });
        }
        self.last_row = Some(found);
        let at_last = self.trace.time.last().is_some_and(|last| *last >= found);
        let sample = self.trace.time.len() - usize::from(at_last);
        self.trace.events.push(Event { time, sample, kind });
        Ok(())
    }

    /// The finished trace.
    #[must_use]
    pub fn finish(self) -> Trace {
        self.trace
    }
}

/// Keeps a column that is empty until its first value that says something, so that logs without it cost nothing.
fn push_sparse<T: Copy + Default + PartialEq>(column: &mut Vec<T>, before: usize, value: T) {
    if column.is_empty() && value != T::default() {
        column.resize(before, T::default());
        column.push(value);
    } else if !column.is_empty() {
        column.push(value);
    }
}

/// The same for `more` values, of which `values` are all or none.
fn extend_sparse<T: Copy + Default + PartialEq>(
    column: &mut Vec<T>,
    before: usize,
    values: &[T],
    more: usize,
) {
    if !column.is_empty() || values.iter().any(|value| *value != T::default()) {
        column.resize(before, T::default());
        column.extend_from_slice(values);
        column.resize(before + more, T::default());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample(time: f64) -> Sample {
        Sample {
            time: Seconds::constant(time),
            volts: Volts::constant(12.8),
            amps: Amps::constant(0.024),
            mode: Mode::Unknown,
            span: None,
        }
    }

    #[test]
    fn a_sample_is_fresh_if_amps_or_volts_differ_from_the_one_before() {
        let mut builder = TraceBuilder::new(Header::default());
        for (index, (volts, amps)) in (0_u32..).zip([(12.8, 1.0), (12.8, 1.0), (12.8, 1.1), (12.7, 1.1)]) {
            let (volts, amps) = (Volts::constant(volts), Amps::constant(amps));
            builder.sample(Sample { volts, amps, ..sample(f64::from(index)) }).unwrap();
        }
        let trace = builder.finish();
        let fresh: Vec<bool> = (0..trace.len()).map(|index| trace.is_fresh(index)).collect();
        assert_eq!(fresh, [true, false, true, true]);
    }

    #[test]
    fn time_must_increase() {
        let mut builder = TraceBuilder::new(Header::default());
        builder.sample(sample(1.0)).unwrap();
        let error = builder.sample(sample(1.0)).unwrap_err();
        assert_eq!(error.to_string(), "time 1 s follows 1 s; the time of samples must increase");
        assert_eq!(builder.trace().len(), 1);
    }

    #[test]
    fn an_event_points_at_the_sample_it_precedes_or_shares_a_row_with() {
        let mut builder = TraceBuilder::new(Header::default());
        builder.event(Seconds::ZERO, EventKind::OutputOn).unwrap();
        builder.sample(sample(1.0)).unwrap();
        builder.event(Seconds::constant(1.0), EventKind::Mark("power button".into())).unwrap();
        builder.event(Seconds::constant(1.5), EventKind::Gap).unwrap();
        builder.sample(sample(2.0)).unwrap();
        let trace = builder.finish();
        assert_eq!(trace.events().iter().map(|event| event.sample).collect::<Vec<_>>(), [0, 0, 1]);
    }

    #[test]
    fn modes_cost_nothing_until_one_is_known() {
        let mut builder = TraceBuilder::new(Header::default());
        builder.sample(sample(0.0)).unwrap();
        builder.sample(Sample { mode: Mode::ConstantCurrent, ..sample(1.0) }).unwrap();
        builder.sample(sample(2.0)).unwrap();
        let trace = builder.finish();
        assert_eq!([0, 1, 2].map(|i| trace.mode(i)), [Mode::Unknown, Mode::ConstantCurrent, Mode::Unknown]);
        assert!(trace.has_modes() && !trace.has_spans());
    }
}
