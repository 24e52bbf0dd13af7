//! Taking in a log piece by piece: lines put together, faults gathered, rows passed on.

use super::fault::{Fault, LineFault, ReadError};
use super::header::HeaderReader;
use super::model::{Trace, TraceBuilder};
use super::plain::{Column, PlainRows};
use super::read::Cut;
use super::rows::Rows;

/// The longest line that is read: a thousand times what a reading needs.
const LONGEST_LINE: usize = 65_536;
/// What some editors put before UTF-8 text.
const BYTE_ORDER_MARK: &[u8] = "\u{feff}".as_bytes();
/// How many faults are kept; the rest is counted.
const MOST_FAULTS: usize = 100;
/// How much of the first piece is looked at for bytes that no text has.
const FIRST_LOOK: usize = 65_536;

/// Reads a log that comes in pieces, such as one that is still growing.
#[derive(Debug)]
pub struct LogReader {
    started: bool,
    refused: Option<ReadError>,
    head: HeaderReader,
    rows: Option<Rows>,
    /// Number of lines taken in.
    line: u64,
    /// The start of a line whose end has not come yet, as far as a line can be read.
    pending: Vec<u8>,
    /// How long that start is in all.
    pending_length: usize,
    first_faults: Vec<LineFault>,
    faults: usize,
    expected_bytes: usize,
    fast: bool,
}

impl Default for LogReader {
    fn default() -> Self {
        Self::new()
    }
}

impl LogReader {
    /// A reader that has seen nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self {
            started: false,
            refused: None,
            head: HeaderReader::default(),
            rows: None,
            line: 0,
            pending: Vec::new(),
            pending_length: 0,
            first_faults: Vec::new(),
            faults: 0,
            expected_bytes: 0,
            fast: true,
        }
    }

    /// The same reader without its short cut for plain rows, to check the one against the other.
    #[cfg(test)]
    pub(super) fn without_short_cut() -> Self {
        Self { fast: false, ..Self::new() }
    }

    /// Says how many bytes will come, so that room is made for their readings at once.
    pub fn expect_bytes(&mut self, bytes: usize) {
        self.expected_bytes = bytes;
    }

    /// Whether what came so far is no text at all, so that the rest need not be read.
    #[must_use]
    pub fn has_refused(&self) -> bool {
        self.refused.is_some()
    }

    /// Whether a line so far was malformed, so that [`Self::finish`] will refuse the log.
    #[must_use]
    pub fn has_faults(&self) -> bool {
        self.faults > 0
    }

    /// What was read so far, without the line that is still incomplete; `None` before the column names.
    #[must_use]
    pub fn so_far(&self) -> Option<&Trace> {
        self.rows.as_ref().map(Rows::trace)
    }

    /// Takes in the next piece.
    pub fn feed(&mut self, piece: &[u8]) {
        if !self.started {
            self.started = !piece.is_empty();
            self.refused = refuse_binary(piece).err();
        }
        if self.refused.is_some() {
            return;
        }
        let end = piece.iter().rposition(|byte| *byte == b'\n').map_or(0, |at| at + 1);
        let (whole, rest) = piece.split_at(end);
        self.lines(whole);
        self.pend(rest);
    }

    /// The columns by which plain rows can be read ahead of [`Self::feed_ahead`], once they are known.
    pub(super) fn plain_columns(&self) -> Option<Vec<Column>> {
        self.rows.as_ref().filter(|_| self.fast).and_then(Rows::plain_columns).map(<[Column]>::to_vec)
    }

    /// Takes in the next piece, as [`Self::feed`] does, of which the `plain` rows that it begins with were read already.
    pub(super) fn feed_ahead(&mut self, piece: &[u8], plain: Option<&PlainRows>) {
        let begins_a_line = self.pending_length == 0;
        let taken = plain
            .filter(|plain| begins_a_line && self.rows.as_mut().is_some_and(|rows| rows.take_plain(plain)));
        let (lines, bytes) = taken.map_or((0, 0), |plain| (plain.len(), plain.bytes()));
        self.line += lines as u64;
        self.feed(&piece[bytes..]);
    }

    /// Keeps the start of a line until its end comes, without holding more of it than can be read.
    fn pend(&mut self, start: &[u8]) {
        let room = (LONGEST_LINE + 1).saturating_sub(self.pending.len());
        self.pending.extend_from_slice(&start[..start.len().min(room)]);
        self.pending_length += start.len();
    }

    /// Takes in whole lines.
    fn lines(&mut self, mut whole: &[u8]) {
        if self.pending_length > 0 && !whole.is_empty() {
            let (end, rest) = split_line(whole);
            self.pend(end);
            let (line, length) =
                (std::mem::take(&mut self.pending), std::mem::take(&mut self.pending_length));
            self.line(&line, length);
            whole = rest;
        }
        while !whole.is_empty() {
            if self.fast
                && let Some(rows) = &mut self.rows
            {
                let (read, bytes) = rows.plain_rows(whole);
                self.line += read as u64;
                whole = &whole[bytes..];
                if bytes > 0 {
                    continue;
                }
            }
            let (line, rest) = split_line(whole);
            self.line(line, line.len());
            whole = rest;
        }
    }

    /// Takes in one line, of `length` bytes in all.
    fn line(&mut self, line: &[u8], length: usize) {
        self.line += 1;
        if let Err(fault) = self.try_line(line, length) {
            self.faults += 1;
            if self.faults <= MOST_FAULTS {
                self.first_faults.push(LineFault { line: self.line, fault });
            }
        }
    }

    fn try_line(&mut self, line: &[u8], length: usize) -> Result<(), Fault> {
        if length > LONGEST_LINE {
            return Err(Fault::TooLong { bytes: length, most: LONGEST_LINE });
        }
        let mark = if self.line == 1 { BYTE_ORDER_MARK } else { b"" };
        let text =
            std::str::from_utf8(line.strip_prefix(mark).unwrap_or(line)).map_err(|_| Fault::NotUtf8)?;
        let text = text.strip_suffix('\r').unwrap_or(text);
        if let Some(control) = text.chars().find(|c| c.is_control() && *c != '\t') {
            return Err(Fault::ControlCharacter(control));
        }
        match &mut self.rows {
            _ if text.trim().is_empty() => Ok(()),
            Some(_) if text.starts_with('#') => Err(Fault::HeaderAmidRows),
            Some(rows) => rows.row(text),
            None if text.starts_with('#') => self.head.line(text, self.line),
            None => self.columns(text),
        }
    }

    fn columns(&mut self, names: &str) -> Result<(), Fault> {
        let header = std::mem::take(&mut self.head.header);
        // Without columns no row can be read: the one fault is named instead of one a row.
        self.rows = Some(Rows::unreadable());
        let rows = self.rows.insert(Rows::new(names, TraceBuilder::new(header))?);
        rows.reserve_for(self.expected_bytes);
        Ok(())
    }

    /// What was read, and where the log is cut off if it ends amid a line.
    ///
    /// # Errors
    /// [`ReadError`] if there is no reading in it, or any line is malformed.
    pub fn finish(self) -> Result<(Trace, Option<Cut>), ReadError> {
        if let Some(refused) = self.refused {
            return Err(refused);
        }
        if !self.started {
            return Err(ReadError::Empty);
        }
        if self.faults > 0 {
            return Err(ReadError::Malformed { first: self.first_faults, count: self.faults });
        }
        let cut =
            (self.pending_length > 0).then_some(Cut { line: self.line + 1, bytes: self.pending_length });
        let trace = self.rows.map(Rows::finish).unwrap_or_default();
        if trace.is_empty() { Err(ReadError::NoReadings { cut: cut.is_some() }) } else { Ok((trace, cut)) }
    }
}

/// The first line without its line feed, and what follows it.
fn split_line(lines: &[u8]) -> (&[u8], &[u8]) {
    let end = lines.iter().position(|byte| *byte == b'\n').unwrap_or(lines.len());
    (&lines[..end], lines.get(end + 1..).unwrap_or_default())
}

/// Refuses what is no text at all, by its first bytes.
fn refuse_binary(bytes: &[u8]) -> Result<(), ReadError> {
    let first = &bytes[..bytes.len().min(FIRST_LOOK)];
    if first.starts_with(&[0xFF, 0xFE]) || first.starts_with(&[0xFE, 0xFF]) {
        return Err(ReadError::NotText("it is UTF-16 text"));
    }
    if first.contains(&0) { Err(ReadError::NotText("it is a binary file")) } else { Ok(()) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Rows as people, programs and accidents write them.
    fn row() -> impl Strategy<Value = String> {
        let number = prop_oneof![
            6 => (-30_000_i32..30_000).prop_map(|x| (f64::from(x) / 1000.0).to_string()),
            2 => any::<f64>().prop_map(|x| x.to_string()),
            1 => "-?[0-9]{1,22}(\\.[0-9]{0,25})?",
            1 => r#"[ +0-9.eE\-"a]{0,6}"#,
        ];
        let mode =
            prop_oneof![Just("cv"), Just("cc"), Just("off"), Just(""), Just("c"), Just("cvx"), Just(" cv")];
        let event =
            prop_oneof![4 => Just(""), 1 => Just("gap"), 1 => Just("\"mark=a,b\""), 1 => Just("x;\r")];
        let end = prop_oneof![4 => Just("\n"), 1 => Just("\r\n"), 1 => Just(",\n"), 1 => Just(" \n"), 1 => Just("\n\n")];
        (0_u32..4, number.clone(), number.clone(), mode, number, event, end).prop_map(
            |(decimals, volts, amps, mode, span, event, end)| {
                format!(
                    "{:.*},{volts},{amps},{mode},{span},{event}{end}",
                    decimals as usize,
                    f64::from(decimals)
                )
            },
        )
    }

    proptest! {
        #[test]
        fn the_short_cut_reads_what_the_careful_way_reads(
            rows in proptest::collection::vec(row(), 1..8),
            piece in prop_oneof![1_usize..40, 40_usize..400],
        ) {
            for names in ["t_s,volts,amps,mode,span_s,event\n", "t_s,volts,amps,mode,span_s,note\n"] {
                // With rows after them that are long enough, the rows before are not the last of their piece.
                let log = format!("{names}{}70000,12.800,0.0240,cv,0.020,\n80000,12.800,0.0240,cv,0.020,\n", rows.concat());
                let (mut fast, mut careful) = (LogReader::new(), LogReader::without_short_cut());
                log.as_bytes().chunks(piece).for_each(|piece| fast.feed(piece));
                careful.feed(log.as_bytes());
                prop_assert_eq!(fast.so_far(), careful.so_far());
                prop_assert_eq!(fast.finish(), careful.finish());
            }
        }
    }

    #[test]
    fn a_line_without_end_takes_no_more_memory_than_a_line_can() {
        let mut reader = LogReader::new();
        for _ in 0..100 {
            reader.feed(&vec![b'x'; LONGEST_LINE]);
        }
        assert!(reader.pending.capacity() < 4 * LONGEST_LINE);
        reader.feed(b"\n");
        assert_eq!(
            reader.finish().unwrap_err().to_string(),
            "line 1: 6553600 bytes in one line; a row of a log has at most 65536"
        );
    }
}
