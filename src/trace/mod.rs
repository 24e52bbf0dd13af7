//! A log in memory, and the reading and writing of logs.
//!
//! [`Trace`] is what every analysis works on: columns of time, volts and amps with equal lengths, finite values and
//! strictly increasing time, checked once by [`TraceBuilder`] and trusted from there on. What the header says and
//! what happened during the run ([`Event`]) travel with it. Nothing here knows of supplies or links: a log alone
//! gives the verdict.
//!
//! # The log format
//!
//! A log is UTF-8 text: lines `# key: value`, then a table after RFC 4180 of which every row is one line. Columns go
//! by name, in any order. `t_s`, `volts` and `amps` must be there; `mode` (`cv`, `cc`, `off` or nothing), `span_s`
//! and `event` may be missing; any other column, and any other key of the header, is kept as text. A row with an
//! event and neither volts nor amps is for the event alone, at its own time. `event` holds words separated by `;`:
//! `output-on`, `output-off`, `mark=…`, `set_v=…`, `limit_a=…`, `gap`, `link-lost`, `link-back`, `trip=…`.
//!
//! In words and header values a backslash escapes: `\;` a semicolon, `\n` a line feed, `\r` a carriage return, `\\` a
//! backslash, `\u{20}` any character by its code point; so any text fits on one line.
//!
//! A file that ends amid a line, as after a power cut, is read up to its last whole line, and [`ReadLog::cut`] says
//! so. Anything else that is not as described is an error that names the line.

mod convert;
mod fault;
mod header;
mod model;
mod number;
mod plain;
mod read;
pub mod readback;
mod reader;
mod rows;
mod text;
mod words;
mod write;

pub use convert::{ConvertError, ConvertOptions, Converted, convert, convert_from};
pub use fault::{Fault, FileError, LineFault, ReadError};
pub use model::{Event, EventKind, Header, Mode, Sample, Trace, TraceBuilder, TraceError};
pub use number::NumberFault;
pub use read::{Cut, Hasher, ReadLog, read, read_file, read_file_whole, sha256};
pub use reader::LogReader;
pub use text::TextColumn;
pub use write::{RowWriter, write};
