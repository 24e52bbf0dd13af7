//! Reading logs, carefully: every malformed line is named, none is guessed at.

use super::fault::{Fault, FileError, LineFault, ReadError};
use super::header::HeaderReader;
use super::model::{Trace, TraceBuilder};
use super::rows::Rows;
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::io::Read;
use std::path::Path;

/// The longest line that is read: a thousand times what a reading needs.
const LONGEST_LINE: usize = 65_536;
/// What some editors put before UTF-8 text.
const BYTE_ORDER_MARK: char = '\u{feff}';
/// How many faults are kept; the rest is counted.
const MOST_FAULTS: usize = 100;
/// How much of a file is looked at before the rest is read, so that a device or an image is not read to its end.
const FIRST_LOOK: usize = 65_536;

/// A log that was read.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadLog {
    /// What it holds.
    pub trace: Trace,
    /// Set if the file ends amid a line, as after a power cut: that line is left out.
    pub cut: Option<Cut>,
    /// SHA-256 of all bytes, in hexadecimal.
    pub sha256: String,
}

/// Where a log is cut off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cut {
    /// Number of the incomplete line, from 1.
    pub line: u64,
    /// How many bytes of it there are.
    pub bytes: usize,
}

impl std::fmt::Display for Cut {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Self { line, bytes } = self;
        write!(
            f,
            "the log is cut off in line {line}; its last {bytes} bytes, an incomplete line, are left out"
        )
    }
}

/// Reads the log in the file at `path`.
///
/// # Errors
/// [`FileError`] with the path if the file cannot be read or is no log.
pub fn read_file(path: impl AsRef<Path>) -> Result<ReadLog, FileError> {
    let path = path.as_ref();
    let bytes = file_bytes(path)?;
    read(&bytes).map_err(|source| FileError::Content { path: path.to_owned(), source })
}

fn file_bytes(path: &Path) -> Result<Vec<u8>, FileError> {
    let access = |source| FileError::Access { path: path.to_owned(), source };
    if path.is_dir() {
        return Err(FileError::Folder { path: path.to_owned() });
    }
    let mut file = std::fs::File::open(path).map_err(access)?;
    let mut bytes = Vec::new();
    file.by_ref().take(FIRST_LOOK as u64).read_to_end(&mut bytes).map_err(access)?;
    let source = refuse_binary(&bytes).err();
    if let Some(source) = source {
        return Err(FileError::Content { path: path.to_owned(), source });
    }
    file.read_to_end(&mut bytes).map_err(access)?;
    Ok(bytes)
}

/// Reads a log.
///
/// # Errors
/// [`ReadError`] if there is no reading in it, or any line is malformed.
pub fn read(bytes: &[u8]) -> Result<ReadLog, ReadError> {
    if bytes.is_empty() {
        return Err(ReadError::Empty);
    }
    refuse_binary(bytes)?;
    let (whole, rest) = whole_lines(bytes);
    let text = std::str::from_utf8(whole).map_err(|_| ReadError::NotText("some bytes are not UTF-8"))?;
    let mut reader = LogReader::default();
    for line in text.strip_prefix(BYTE_ORDER_MARK).unwrap_or(text).split_terminator('\n') {
        reader.line(line.strip_suffix('\r').unwrap_or(line));
    }
    let cut = (!rest.is_empty()).then_some(Cut { line: reader.line + 1, bytes: rest.len() });
    let trace = reader.finish(cut.is_some())?;
    Ok(ReadLog { trace, cut, sha256: sha256(bytes) })
}

/// SHA-256 in hexadecimal, by which a finding names its log.
#[must_use]
pub fn sha256(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(64);
    for byte in Sha256::digest(bytes) {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
    }
    text
}

/// Refuses what is no text at all, by its first bytes.
fn refuse_binary(bytes: &[u8]) -> Result<(), ReadError> {
    let first = &bytes[..bytes.len().min(FIRST_LOOK)];
    if first.starts_with(&[0xFF, 0xFE]) || first.starts_with(&[0xFE, 0xFF]) {
        return Err(ReadError::NotText("it is UTF-16 text"));
    }
    if first.contains(&0) { Err(ReadError::NotText("it is a binary file")) } else { Ok(()) }
}

/// Everything up to the last line feed, and what is left over.
fn whole_lines(bytes: &[u8]) -> (&[u8], &[u8]) {
    bytes.split_at(bytes.iter().rposition(|byte| *byte == b'\n').map_or(0, |at| at + 1))
}

/// Takes in a log line by line.
#[derive(Debug, Default)]
struct LogReader {
    head: HeaderReader,
    rows: Option<Rows>,
    line: u64,
    first_faults: Vec<LineFault>,
    faults: usize,
}

impl LogReader {
    fn line(&mut self, text: &str) {
        self.line += 1;
        if let Err(fault) = self.try_line(text) {
            self.faults += 1;
            if self.faults <= MOST_FAULTS {
                self.first_faults.push(LineFault { line: self.line, fault });
            }
        }
    }

    fn try_line(&mut self, text: &str) -> Result<(), Fault> {
        if text.len() > LONGEST_LINE {
            return Err(Fault::TooLong { bytes: text.len(), most: LONGEST_LINE });
        }
        if let Some(control) = text.chars().find(|c| c.is_control() && *c != '\t') {
            return Err(Fault::ControlCharacter(control));
        }
        match &mut self.rows {
            _ if text.trim().is_empty() => Ok(()),
            Some(_) if text.starts_with('#') => Err(Fault::HeaderAmidRows),
            Some(rows) => rows.row(text),
            None if text.starts_with('#') => self.head.line(text, self.line),
            None => {
                let header = std::mem::take(&mut self.head.header);
                // Without columns no row can be read: the one fault is named instead of one a row.
                self.rows = Some(Rows::unreadable());
                self.rows = Some(Rows::new(text, TraceBuilder::new(header))?);
                Ok(())
            }
        }
    }

    fn finish(self, cut: bool) -> Result<Trace, ReadError> {
        if self.faults > 0 {
            return Err(ReadError::Malformed { first: self.first_faults, count: self.faults });
        }
        let trace = self.rows.map(Rows::finish).unwrap_or_default();
        if trace.is_empty() { Err(ReadError::NoReadings { cut }) } else { Ok(trace) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::{EventKind, Mode, Sample, write};

    const LOG: &str = "# log: 1\n# board: fenwick-14\n# bench: left\nt_s,volts,amps,mode,span_s,event,board_c\n\
        0,0,0,off,0.021,,24\n0.692,12.801,0.024,cv,0.02,output-on,24\n\
        1.5,,,,,mark=power button,25\n2,12.8,0.0241,cv,0.021,set_v=12.8;gap,\n";

    fn message(text: &str) -> String {
        read(text.as_bytes()).unwrap_err().to_string()
    }

    #[test]
    fn a_log_is_read_and_written_without_loss() {
        let log = read(LOG.as_bytes()).unwrap();
        assert_eq!((log.trace.len(), log.trace.events().len(), log.cut), (3, 4, None));
        assert_eq!(log.trace.events()[1].kind, EventKind::Mark("power button".into()));
        assert_eq!(log.trace.mode(1), Mode::ConstantVoltage);
        assert_eq!(log.trace.text_columns()[0].cell(1), "24");
        assert_eq!(log.trace.text_columns()[0].cell_of_event(1), Some("25"));
        assert_eq!(String::from_utf8(write(&log.trace)).unwrap(), LOG);
    }

    #[test]
    fn columns_go_by_name_in_any_order() {
        let log = read(b"amps,t_s,volts\n1,2,3\n").unwrap();
        let sample: Sample = log.trace.sample(0).unwrap();
        assert_eq!((sample.amps.value(), sample.time.value(), sample.volts.value()), (1.0, 2.0, 3.0));
    }

    #[test]
    fn a_log_cut_anywhere_loads_to_its_last_whole_line() {
        let first_reading = LOG.find("0,0,0").unwrap() + "0,0,0,off,0.021,,24\n".len();
        let whole = read(LOG.as_bytes()).unwrap().trace;
        for end in first_reading..=LOG.len() {
            let log = read(&LOG.as_bytes()[..end]).unwrap();
            assert_eq!(log.cut.is_some(), !LOG[..end].ends_with('\n'));
            assert_eq!(log.trace.time(), &whole.time()[..log.trace.len()]);
        }
        let cut = read(&LOG.as_bytes()[..LOG.len() - 3]).unwrap().cut.unwrap();
        assert_eq!(cut.line, 8);
    }

    #[test]
    fn every_malformed_line_is_named() {
        let head = "t_s,volts,amps,mode,span_s,event\n";
        for (row, expected) in [
            ("1,12.8,ERROR,,,", r#"line 2: amps "ERROR" is not a number"#),
            (
                "1,9.91E37,0,,,",
                r#"line 2: volts "9.91E37" stands for "no reading" and must not be logged as one"#,
            ),
            ("1,12.8,,,,", "line 2: amps is empty"),
            ("1,,,,,", "line 2: neither a reading nor an event in this row"),
            ("1,12.8,0,cx,,", r#"line 2: mode is "cx"; expected cv, cc, off or nothing"#),
            ("1,12.8,0,cv,-0.02,", "line 2: span_s is -0.02; an exchange cannot take less than no time"),
            (
                "1,12.8,0,cv,0.02,limit_a=x",
                r#"line 2: event "limit_a=x" has no number after its equals sign"#,
            ),
            ("1,12.8,0", "line 2: 3 fields; expected 6, one a column"),
            ("1,12,8,0,024,,,", "line 2: 8 fields; expected 6, one a column"),
            (
                "1,12.8,0,,,\"mark=x",
                "line 2: a quoted field does not end in its line; a row of a log is one line",
            ),
            (
                "1,,,cv,,gap",
                "line 2: mode is given, but volts and amps are empty; a row for an event alone has only time and event",
            ),
            (
                "# board: late",
                "line 2: a header line amid the rows; header lines stand above the column names",
            ),
            ("1,2,3,,,a\u{1}b", "line 2: control character '\\u{1}'; a line of a log is plain text"),
        ] {
            assert_eq!(message(&format!("{head}{row}\n9,12.8,0,,,\n")), expected);
        }
        assert_eq!(
            message(&format!("{head}2,1,1,,,\n2,1,1,,,\n3,x,1,,,\n")),
            "line 3: time 2 s follows 2 s; the time of samples must increase; line 4: volts \"x\" is not a number"
        );
    }

    #[test]
    fn what_is_no_log_gets_one_message() {
        assert!(message("").starts_with("the log is empty"));
        assert!(message("# log: 1\n").starts_with("the log has a header but not one reading"));
        assert!(message("# log: 1\nt_s,volts,amps\n1,2").ends_with("cut off in its last line"));
        assert!(message("\u{0}PNG").contains("binary file"));
        assert!(
            message("time_s,volts,amps\n1,2,3\nx,y,z\n")
                .starts_with("line 1: no column t_s in \"time_s,volts,amps\"")
        );
        assert_eq!(
            message("t_s,volts,amps,amps\n1,2,3,4\n"),
            "line 1: column \"amps\" is given twice; every column needs a name of its own"
        );
        assert!(read(b"t_s,volts,amps\n1,2,3\xff\n").unwrap_err().to_string().contains("not UTF-8"));
    }

    #[test]
    fn a_line_of_a_million_columns_is_refused_by_its_length() {
        let line = format!("t_s,volts,amps\n1,2,3\n{}\n", ",".repeat(1_000_000));
        assert_eq!(message(&line), "line 3: 1000000 bytes in one line; a row of a log has at most 65536");
        let line = format!("{}\n", "x,".repeat(1000));
        assert_eq!(message(&line), "line 1: 1001 columns; a log has at most 256");
    }

    #[test]
    fn files_are_named_in_errors() {
        let folder = tempfile::tempdir().unwrap();
        let error = |path: &Path| read_file(path).unwrap_err().to_string();
        assert!(error(folder.path()).ends_with("is a folder; name a log in it"));
        assert!(error(&folder.path().join("none.csv")).starts_with("cannot read "));
        let bad = folder.path().join("bad.csv");
        std::fs::write(&bad, "t_s,volts,amps\n1,2,x\n").unwrap();
        assert!(error(&bad).ends_with("bad.csv: line 2: amps \"x\" is not a number"));
    }

    #[test]
    fn the_hash_is_that_of_the_standard() {
        // FIPS 180-2, appendix B.1: the message "abc".
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(sha256(b"abc"), expected);
    }
}
