//! Reading whole logs, from memory or a file.

use super::fault::{FileError, ReadError};
use super::model::Trace;
use super::plain::{Column, PlainRows};
use super::reader::LogReader;
use rayon::prelude::*;
use sha2::{Digest, Sha256};
use std::fmt::Write as _;
use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

/// How much of a file is held in memory at a time: it fits in a processor's second-level cache.
const BLOCK: usize = 256 * 1024;
/// How many blocks are read at once, and how many on their way from one step to the next.
const BLOCKS: usize = 8;

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

/// Reads a log.
///
/// # Errors
/// [`ReadError`] if there is no reading in it, or any line is malformed.
pub fn read(bytes: &[u8]) -> Result<ReadLog, ReadError> {
    std::thread::scope(|scope| {
        let hash = (bytes.len() > BLOCK).then(|| scope.spawn(|| sha256(bytes)));
        let mut reader = LogReader::new();
        reader.expect_bytes(bytes.len());
        let mut blocks = blocks(bytes).into_iter();
        feed(&mut reader, |batch, most| batch.extend(blocks.by_ref().take(most)), |_| ());
        let (trace, cut) = reader.finish()?;
        let sha256 = hash.and_then(|thread| thread.join().ok()).unwrap_or_else(|| sha256(bytes));
        Ok(ReadLog { trace, cut, sha256 })
    })
}

/// Reads the log in the file at `path`, of which only a small part is in memory at any time.
///
/// # Errors
/// [`FileError`] with the path if the file cannot be read or is no log.
pub fn read_file(path: impl AsRef<Path>) -> Result<ReadLog, FileError> {
    let path = path.as_ref();
    let access = |source| FileError::Access { path: path.to_owned(), source };
    let file = open(path)?;
    let size = file.metadata().map_or(0, |metadata| metadata.len());
    let mut reader = LogReader::new();
    reader.expect_bytes(usize::try_from(size).unwrap_or(0));
    let sha256 = feed_file(&mut reader, file).map_err(access)?;
    let (trace, cut) =
        reader.finish().map_err(|source| FileError::Content { path: path.to_owned(), source })?;
    Ok(ReadLog { trace, cut, sha256 })
}

/// Reads the log in the file at `path`, and gives the bytes that it was read from: a log may grow meanwhile.
///
/// # Errors
/// [`FileError`] with the path if the file cannot be read or is no log.
pub fn read_file_whole(path: impl AsRef<Path>) -> Result<(ReadLog, Vec<u8>), FileError> {
    let path = path.as_ref();
    let mut bytes = Vec::new();
    open(path)?
        .read_to_end(&mut bytes)
        .map_err(|source| FileError::Access { path: path.to_owned(), source })?;
    let log = read(&bytes).map_err(|source| FileError::Content { path: path.to_owned(), source })?;
    Ok((log, bytes))
}

fn open(path: &Path) -> Result<File, FileError> {
    if path.is_dir() {
        return Err(FileError::Folder { path: path.to_owned() });
    }
    File::open(path).map_err(|source| FileError::Access { path: path.to_owned(), source })
}

/// `bytes` in blocks of whole lines.
fn blocks(mut bytes: &[u8]) -> Vec<&[u8]> {
    let mut blocks = Vec::new();
    while !bytes.is_empty() {
        let rest = bytes.get(BLOCK..).unwrap_or_default();
        let line = rest.iter().position(|byte| *byte == b'\n').map_or(rest.len(), |end| end + 1);
        let (block, after) = bytes.split_at(bytes.len() - rest.len() + line);
        blocks.push(block);
        bytes = after;
    }
    blocks
}

/// Feeds a file to the reader; a thread of its own reads ahead and hashes.
fn feed_file(reader: &mut LogReader, file: impl Read + Send) -> std::io::Result<String> {
    let (to_parse, blocks) = sync_channel::<Vec<u8>>(BLOCKS);
    let (give_back, spare) = sync_channel::<Vec<u8>>(3 * BLOCKS);
    std::thread::scope(|scope| {
        let ahead = scope.spawn(move || read_ahead(file, &to_parse, &spare));
        let fetch = |batch: &mut Vec<Vec<u8>>, most: usize| {
            batch.extend(blocks.recv());
            batch.extend(blocks.try_iter().take(most.saturating_sub(batch.len())));
        };
        // With enough blocks on their way a spare one is simply dropped.
        feed(reader, fetch, |block| drop(give_back.try_send(block)));
        // Should the reader have had enough, the thread sees it by this.
        drop(blocks);
        ahead.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    })
}

/// Feeds blocks to the reader until there are no more, or it refuses them. `fetch` gets the next of them, up to a number,
/// and `done` has them back. While the reader takes in some blocks, the plain rows of the next are read side by side.
fn feed<Block: AsRef<[u8]> + Send + Sync>(
    reader: &mut LogReader,
    mut fetch: impl FnMut(&mut Vec<Block>, usize),
    mut done: impl FnMut(Block),
) {
    let (mut now, mut next) = (Batch::default(), Batch::default());
    loop {
        // The first block names the columns, without which no other can be read ahead.
        let columns = reader.plain_columns();
        fetch(&mut next.blocks, if columns.is_some() { BLOCKS } else { 1 });
        rayon::in_place_scope(|scope| {
            if let Some(columns) = &columns {
                scope.spawn(|_| next.read_ahead(columns));
            }
            now.feed_to(reader);
        });
        now.blocks.drain(..).for_each(&mut done);
        if reader.has_refused() || next.blocks.is_empty() {
            return;
        }
        std::mem::swap(&mut now, &mut next);
    }
}

/// Blocks that follow each other, and the plain rows that each begins with.
struct Batch<Block> {
    blocks: Vec<Block>,
    /// As many as blocks that were read ahead.
    plain: Vec<PlainRows>,
    ahead: usize,
}

impl<Block> Default for Batch<Block> {
    fn default() -> Self {
        Self { blocks: Vec::new(), plain: Vec::new(), ahead: 0 }
    }
}

impl<Block: AsRef<[u8]> + Sync> Batch<Block> {
    fn read_ahead(&mut self, columns: &[Column]) {
        self.plain.resize_with(self.blocks.len().max(self.plain.len()), PlainRows::default);
        self.plain
            .par_iter_mut()
            .zip(&self.blocks)
            .for_each(|(plain, block)| plain.read(block.as_ref(), columns));
        self.ahead = self.blocks.len();
    }

    fn feed_to(&mut self, reader: &mut LogReader) {
        let ahead = self.plain[..self.ahead].iter().map(Some).chain(std::iter::repeat(None));
        for (block, plain) in self.blocks.iter().zip(ahead) {
            reader.feed_ahead(block.as_ref(), plain);
        }
        self.ahead = 0;
    }
}

/// Reads blocks of whole lines and sends them on until the file or the interest in it ends; returns the hash of what was
/// read.
fn read_ahead(
    mut file: impl Read,
    to_parse: &SyncSender<Vec<u8>>,
    spare: &Receiver<Vec<u8>>,
) -> std::io::Result<String> {
    let mut hash = Sha256::new();
    let mut begun: Vec<u8> = Vec::new();
    loop {
        let mut block = spare.try_recv().unwrap_or_else(|_| Vec::with_capacity(2 * BLOCK));
        block.clear();
        block.append(&mut begun);
        let before = block.len();
        file.by_ref().take(BLOCK as u64).read_to_end(&mut block)?;
        hash.update(&block[before..]);
        let is_end = block.len() == before;
        if !is_end && let Some(end) = block.iter().rposition(|byte| *byte == b'\n') {
            begun.extend_from_slice(&block[end + 1..]);
            block.truncate(end + 1);
        }
        if to_parse.send(block).is_err() || is_end {
            return Ok(hexadecimal(&hash.finalize()));
        }
    }
}

/// SHA-256 in hexadecimal, by which a finding names its log.
#[must_use]
pub fn sha256(bytes: &[u8]) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

/// The same of a log that comes in pieces.
#[derive(Debug, Clone, Default)]
pub struct Hasher(Sha256);

impl Hasher {
    /// Nothing hashed yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes in the next piece.
    pub fn update(&mut self, piece: &[u8]) {
        self.0.update(piece);
    }

    /// The hash of everything so far.
    #[must_use]
    pub fn so_far(&self) -> String {
        hexadecimal(&self.0.clone().finalize())
    }
}

fn hexadecimal(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(2 * bytes.len());
    for byte in bytes {
        // Writing to a string cannot fail.
        let _ = write!(text, "{byte:02x}");
    }
    text
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
        assert!(
            read(b"t_s,volts,amps\n1,2,3\xff\n")
                .unwrap_err()
                .to_string()
                .starts_with("line 2: bytes that are not UTF-8")
        );
    }

    #[test]
    fn a_line_of_a_million_columns_is_refused_by_its_length() {
        let line = format!("t_s,volts,amps\n1,2,3\n{}\n", ",".repeat(1_000_000));
        assert_eq!(message(&line), "line 3: 1000000 bytes in one line; a row of a log has at most 65536");
        let line = format!("{}\n", "x,".repeat(1000));
        assert_eq!(message(&line), "line 1: 1001 columns; a log has at most 256");
    }

    /// Rows of a long log, with whatever `odd` puts after every so many of them.
    fn long_log(rows: u32, odd: impl Fn(u32) -> Option<&'static str>) -> String {
        let mut log = String::from("# log: 1\nt_s,volts,amps,mode,span_s,event\n");
        for row in 0..rows {
            let _ = writeln!(
                log,
                "{}.{:02},12.{:03},0.{:04},cv,0.021,",
                row / 100,
                row % 100,
                row % 7,
                row % 977
            );
            log.extend(odd(row));
        }
        log
    }

    #[test]
    fn blocks_read_side_by_side_are_the_log_read_line_by_line() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("long.csv");
        let event = |row: u32| (row % 9973 == 12).then_some("-1e-3,12.8,0.1,cc,,gap\n");
        let logs = [
            long_log(150_000, |_| None),
            long_log(150_000, |row| (row == 77_777).then_some("777.775,12.8,0.1,cc,,mark=power button\n")),
            long_log(150_000, |row| (row == 140_000).then_some("1e-3,12.8,x,cc,,\n\n")),
            long_log(150_000, event),
            long_log(150_000, |row| (row == 149_999).then_some("1499.995,12.8,0.1,c")),
            long_log(150_000, |row| (row == 60_000).then_some("# late\n")),
            long_log(30_000, |_| None) + &"x".repeat(3 * BLOCK),
        ];
        for log in logs {
            let mut careful = LogReader::without_short_cut();
            careful.feed(log.as_bytes());
            let careful = careful.finish();
            let whole = read(log.as_bytes()).map(|log| (log.trace, log.cut));
            assert!(whole == careful, "in memory");
            std::fs::write(&path, &log).unwrap();
            let by_file = read_file(&path);
            match (by_file, careful) {
                (Ok(found), Ok((trace, cut))) => {
                    assert!(found.trace == trace && found.cut == cut);
                    assert_eq!(found.sha256, sha256(log.as_bytes()));
                }
                (Err(FileError::Content { source, .. }), Err(expected)) => assert_eq!(source, expected),
                (found, _) => panic!("{found:?}"),
            }
        }
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
        let mut hasher = Hasher::new();
        hasher.update(b"a");
        assert_ne!(hasher.so_far(), expected);
        hasher.update(b"bc");
        assert_eq!(hasher.so_far(), expected);
    }
}
