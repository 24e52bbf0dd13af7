//! How fast a log of ten million rows is read, beside the csv crate with byte records in the same run.
//!
//! `cargo bench --bench reading` prints the seconds of each and the ratio; `ROWS` in the environment changes the size.

use feedtale::trace;
use std::fmt::Write as _;
use std::fs;
use std::hint::black_box;
use std::path::Path;
use std::time::Instant;

/// Runs of each, of which the fastest counts: what is slower was disturbed.
const RUNS: usize = 5;

fn main() {
    if let Some(path) = std::env::var_os("LOG") {
        return compare(Path::new(&path), "as it is");
    }
    let rows = std::env::var("ROWS").ok().and_then(|rows| rows.parse().ok()).unwrap_or(10_000_000);
    let folder = tempfile::tempdir().expect("a temporary folder");
    println!("{rows} rows, fastest of {RUNS} runs, seconds");
    println!("{:<30} {:>7} {:>9} {:>9} {:>7}", "columns", "MB", "csv crate", "feedtale", "ratio");
    for (columns, row) in [("t_s,volts,amps", plain_row as fn(usize) -> String), (ALL_COLUMNS, full_row)] {
        let path = folder.path().join("log.csv");
        write_log(&path, columns, rows, row);
        compare(&path, columns);
    }
}

const ALL_COLUMNS: &str = "t_s,volts,amps,mode,span_s,event";

fn write_log(path: &Path, columns: &str, rows: usize, row: fn(usize) -> String) {
    let mut log = format!("# log: 1\n{columns}\n");
    (0..rows).for_each(|index| log.push_str(&row(index)));
    fs::write(path, log).expect("room for the log");
}

/// Ten thousand readings a second: volts by the millivolt, amps by the tenth of a milliampere.
fn plain_row(index: usize) -> String {
    let (seconds, ticks) = (index / 10_000, index % 10_000);
    let (millivolts, amps) = (800 - index % 7, 240 + index * 7919 % 10_000);
    format!("{seconds}.{ticks:04},12.{millivolts},{}.{:04}\n", amps / 10_000, amps % 10_000)
}

/// What a recording holds: a mode and a span in every row, now and then an event.
fn full_row(index: usize) -> String {
    let mut row = plain_row(index);
    row.pop();
    let event = if index % 100_000 == 99_999 { "mark=power button" } else { "" };
    let _ = writeln!(row, ",cv,0.021,{event}");
    row
}

fn compare(path: &Path, columns: &str) {
    let peer = fastest(|| csv_crate(path));
    let own = fastest(|| trace::read_file(path).expect("a log").trace.len());
    let megabytes = fs::metadata(path).map_or(0, |file| file.len() / 1_000_000);
    println!("{columns:<30} {megabytes:>7} {peer:>9.3} {own:>9.3} {:>7.2}", peer / own);
}

fn fastest(mut read: impl FnMut() -> usize) -> f64 {
    let run = |_| {
        let start = Instant::now();
        black_box(read());
        start.elapsed().as_secs_f64()
    };
    (0..RUNS).map(run).fold(f64::INFINITY, f64::min)
}

/// The csv crate as its documentation says it is fastest: one byte record used again for every row.
fn csv_crate(path: &Path) -> usize {
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(path).expect("a file");
    let mut record = csv::ByteRecord::new();
    let mut columns: [Vec<f64>; 3] = Default::default();
    while reader.read_byte_record(&mut record).expect("a row") {
        for (column, field) in columns.iter_mut().zip(record.iter()) {
            column.push(fast_float2::parse(field).expect("a number"));
        }
    }
    columns[0].len()
}
