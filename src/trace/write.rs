//! Writing logs: a whole trace at once, or row by row as a run goes on.

use super::header;
use super::model::{Event, EventKind, Header, Mode, Sample, Trace};
use super::number::Shortest;
use super::text::TextColumn;
use super::words;
use crate::units::Seconds;
use std::io::Write as _;

/// A log that reads back as the same trace.
#[must_use]
pub fn write(trace: &Trace) -> Vec<u8> {
    let names = trace.text_columns().iter().map(|column| column.name().to_owned()).collect();
    let writer = RowWriter { mode: trace.has_modes(), span: trace.has_spans(), text: names };
    let mut log = writer.head(trace.header());
    let mut events = trace.events().iter().enumerate().peekable();
    for index in 0..trace.len() {
        let Some(sample) = trace.sample(index) else { break };
        while let Some((number, event)) = events.next_if(|(_, event)| event.time < sample.time) {
            event_row(&writer, &mut log, trace, number, event);
        }
        // An event with text of its own needs a row of its own, and so do those after it, or the order would be lost.
        let mut with_sample = Vec::new();
        while let Some((_, event)) =
            events.next_if(|(number, event)| event.time == sample.time && !has_text(trace, *number))
        {
            with_sample.push(&event.kind);
        }
        let cells: Vec<&str> = trace.text_columns().iter().map(|column| column.cell(index)).collect();
        writer.row(&mut log, sample.time, Some(&sample), &with_sample, &cells);
        while let Some((number, event)) = events.next_if(|(_, event)| event.time == sample.time) {
            event_row(&writer, &mut log, trace, number, event);
        }
    }
    events.for_each(|(number, event)| event_row(&writer, &mut log, trace, number, event));
    log
}

fn has_text(trace: &Trace, event: usize) -> bool {
    trace.text_columns().iter().any(|column| column.cell_of_event(event).is_some())
}

fn event_row(writer: &RowWriter, log: &mut Vec<u8>, trace: &Trace, number: usize, event: &Event) {
    let cell = |column: &'_ TextColumn| column.cell_of_event(number).unwrap_or_default().to_owned();
    let cells: Vec<String> = trace.text_columns().iter().map(cell).collect();
    let cells: Vec<&str> = cells.iter().map(String::as_str).collect();
    writer.row(log, event.time, None, &[&event.kind], &cells);
}

/// Formats the parts of a log one by one, each ending in a line feed, for a file that is only ever appended to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RowWriter {
    mode: bool,
    span: bool,
    text: Vec<String>,
}

impl Default for RowWriter {
    /// The columns of a recording: time, volts, amps, mode, span and event.
    fn default() -> Self {
        Self { mode: true, span: true, text: Vec::new() }
    }
}

impl RowWriter {
    /// The header and the column names.
    #[must_use]
    pub fn head(&self, header: &Header) -> Vec<u8> {
        let mut head = header::lines(header).into_bytes();
        head.extend_from_slice(b"t_s,volts,amps");
        head.extend_from_slice(if self.mode { b",mode" } else { b"" });
        head.extend_from_slice(if self.span { b",span_s" } else { b"" });
        head.extend_from_slice(b",event");
        self.text.iter().for_each(|name| cell(&mut head, name));
        head.push(b'\n');
        head
    }

    /// Appends a reading, with the events at its time.
    pub fn sample(&self, log: &mut Vec<u8>, sample: &Sample, events: &[&EventKind]) {
        self.row(log, sample.time, Some(sample), events, &[]);
    }

    /// Appends a row for an event alone, at its own time.
    pub fn event(&self, log: &mut Vec<u8>, time: Seconds, kind: &EventKind) {
        self.row(log, time, None, &[kind], &[]);
    }

    fn row(
        &self,
        log: &mut Vec<u8>,
        time: Seconds,
        sample: Option<&Sample>,
        events: &[&EventKind],
        text: &[&str],
    ) {
        write_number(log, time.value());
        match sample {
            Some(sample) => {
                log.push(b',');
                write_number(log, sample.volts.value());
                log.push(b',');
                write_number(log, sample.amps.value());
            }
            None => log.extend_from_slice(b",,"),
        }
        if self.mode {
            log.push(b',');
            log.extend_from_slice(mode_word(sample.map_or(Mode::Unknown, |sample| sample.mode)).as_bytes());
        }
        if self.span {
            log.push(b',');
            write_span(log, sample.and_then(|sample| sample.span));
        }
        let words: Vec<String> = events.iter().map(|kind| words::word(kind)).collect();
        cell(log, &words.join(";"));
        (0..self.text.len()).for_each(|column| cell(log, text.get(column).copied().unwrap_or_default()));
        log.push(b'\n');
    }
}

fn write_number(log: &mut Vec<u8>, number: f64) {
    // Writing to a vector cannot fail.
    let _ = write!(log, "{}", Shortest(number));
}

/// Spans are kept in single precision, in which their shortest text is short.
fn write_span(log: &mut Vec<u8>, span: Option<Seconds>) {
    #[expect(clippy::cast_possible_truncation, reason = "a span needs no more than seven figures")]
    if let Some(span) = span {
        // Writing to a vector cannot fail.
        let _ = write!(log, "{}", Shortest(span.value() as f32));
    }
}

fn mode_word(mode: Mode) -> &'static str {
    match mode {
        Mode::Unknown => "",
        Mode::ConstantVoltage => "cv",
        Mode::ConstantCurrent => "cc",
        Mode::Off => "off",
    }
}

/// A comma and a text cell, in quotes where RFC 4180 asks for them.
fn cell(log: &mut Vec<u8>, text: &str) {
    log.push(b',');
    if text.contains([',', '"']) {
        log.push(b'"');
        log.extend_from_slice(text.replace('"', "\"\"").as_bytes());
        log.push(b'"');
    } else {
        log.extend_from_slice(text.as_bytes());
    }
}
