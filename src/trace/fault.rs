//! What can be wrong with a log, line by line.

use super::model::TraceError;
use super::number::NumberFault;
use std::fmt;
use std::path::PathBuf;

/// How many malformed lines a message names before it only counts the rest.
const NAMED_IN_MESSAGE: usize = 5;

/// Why bytes are not a log.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ReadError {
    /// No byte at all.
    #[error("the log is empty; record one with `feedtale record`")]
    Empty,
    /// Not text.
    #[error("not a log: {0}; a log is UTF-8 text, and `feedtale convert` reads other loggers' files")]
    NotText(&'static str),
    /// A header, perhaps column names, but no reading.
    #[error("the log has a header but not one reading{}", if *.cut { ", and it is cut off in its last line" } else { "" })]
    NoReadings {
        /// Whether the last line was incomplete.
        cut: bool,
    },
    /// Lines that do not hold what they should.
    #[error("{}", name_lines(.first, *.count))]
    Malformed {
        /// The first faults, in order of lines; never empty.
        first: Vec<LineFault>,
        /// How many lines are malformed in all.
        count: usize,
    },
}

/// A malformed line.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("line {line}: {fault}")]
pub struct LineFault {
    /// Number of the line in the file, from 1.
    pub line: u64,
    /// What is wrong with it.
    pub fault: Fault,
}

/// What is wrong with a line.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Fault {
    /// The line is longer than any row can be.
    #[error("{bytes} bytes in one line; a row of a log has at most {most}")]
    TooLong {
        /// Its length.
        bytes: usize,
        /// The longest that is read.
        most: usize,
    },
    /// Bytes that are not UTF-8.
    #[error("bytes that are not UTF-8 text")]
    NotUtf8,
    /// A character that no text needs.
    #[error("control character {0:?}; a line of a log is plain text")]
    ControlCharacter(char),
    /// A header line without its colon.
    #[error("{} is not a header line; expected `# key: value`", Quoted(.0))]
    HeaderWithoutColon(String),
    /// A header line that repeats a key.
    #[error("header key {} was given in line {first_line} already", Quoted(.key))]
    HeaderTwice {
        /// The key.
        key: String,
        /// Where it was first.
        first_line: u64,
    },
    /// A header value that is not what the key holds.
    #[error("header value {key} is {}; expected {expected}", Quoted(.found))]
    HeaderValue {
        /// The key.
        key: String,
        /// The value.
        found: String,
        /// What it has to be.
        expected: &'static str,
    },
    /// A header line below the column names.
    #[error("a header line amid the rows; header lines stand above the column names")]
    HeaderAmidRows,
    /// Columns that every log has and this one has not.
    #[error(
        "no column {} in {}; a log has the columns t_s, volts and amps (for another logger's file see `feedtale convert`)",
        .missing.join(", no column "), Quoted(.found)
    )]
    ColumnsMissing {
        /// The missing columns.
        missing: Vec<&'static str>,
        /// The line of column names that was found.
        found: String,
    },
    /// Column names that make no table.
    #[error("{0}")]
    Columns(TraceError),
    /// More columns than a log has.
    #[error("{found} columns; a log has at most {most}")]
    TooManyColumns {
        /// How many there are.
        found: usize,
        /// The most that are read.
        most: usize,
    },
    /// A row with more or fewer fields than there are columns.
    #[error("{found} fields; expected {expected}, one a column")]
    FieldCount {
        /// How many there are.
        found: usize,
        /// How many columns.
        expected: usize,
    },
    /// A quoted field that does not end in its line.
    #[error("a quoted field does not end in its line; a row of a log is one line")]
    OpenQuote,
    /// A cell that is not the number that it has to be.
    #[error("{column} {}{fault}", quoted_with_blank(.found))]
    Number {
        /// The column.
        column: &'static str,
        /// The cell.
        found: String,
        /// What is wrong with it.
        fault: NumberFault,
    },
    /// A span below zero.
    #[error("span_s is {0}; an exchange cannot take less than no time")]
    NegativeSpan(f64),
    /// A mode that does not exist.
    #[error("mode is {}; expected cv, cc, off or nothing", Quoted(.0))]
    Mode(String),
    /// An event word whose value is not a number.
    #[error("event {} has no number after its equals sign", Quoted(.0))]
    EventValue(String),
    /// A row without volts, amps and event.
    #[error("neither a reading nor an event in this row")]
    NothingInRow,
    /// A row that has an event and no reading, but says something of the reading.
    #[error(
        "{column} is given, but volts and amps are empty; a row for an event alone has only time and event"
    )]
    ReadingIncomplete {
        /// What is given of the reading.
        column: &'static str,
    },
    /// Time that does not increase.
    #[error("{0}")]
    Order(TraceError),
}

/// Why a log file could not be read, with its path.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// The operating system would not give the file.
    #[error("cannot read {}: {source}", path.display())]
    Access {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The path is a folder.
    #[error("{} is a folder; name a log in it", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
    },
    /// The file is no log.
    #[error("{}: {source}", path.display())]
    Content {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        source: ReadError,
    },
}

/// Text from a file, in quotes, escaped and cut to a length that fits a message.
struct Quoted<'a>(&'a str);

impl fmt::Display for Quoted<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        const MOST: usize = 60;
        match self.0.char_indices().nth(MOST) {
            None => write!(f, "{:?}", self.0),
            Some((end, _)) => write!(f, "{:?}…", &self.0[..end]),
        }
    }
}

fn quoted_with_blank(found: &str) -> String {
    if found.is_empty() { String::new() } else { format!("{} ", Quoted(found)) }
}

fn name_lines(first: &[LineFault], count: usize) -> String {
    let named: Vec<String> = first.iter().take(NAMED_IN_MESSAGE).map(ToString::to_string).collect();
    match count - named.len() {
        0 => named.join("; "),
        1 => format!("{}; and one more malformed line", named.join("; ")),
        more => format!("{}; and {more} more malformed lines", named.join("; ")),
    }
}
