//! How long the picture of a long log takes, from the log in memory to the bytes of a PNG of 1600 × 900.
//!
//! `LOG=FILE cargo bench --bench picture` prints the least of several runs; `benches/peers/whole.sh` makes a log of ten
//! million samples and draws it with matplotlib and datashader too.

use feedtale::render::{Options, timeline};
use feedtale::trace::read_file;
use feedtale::verdict::{Sources, diagnose};
use std::hint::black_box;
use std::time::Instant;

const RUNS: usize = 10;

fn main() {
    let Some(path) = std::env::var_os("LOG") else {
        println!("name a log in LOG, such as LOG=logs/samples/harrow-13-full-boot.csv");
        return;
    };
    let log = read_file(path).expect("a log");
    let finding = diagnose(&log.trace, None, &Sources::default());
    let run = |_| {
        let start = Instant::now();
        black_box(timeline(&log.trace, None, &finding, &Options::default()).expect("a picture"));
        start.elapsed().as_secs_f64()
    };
    let least = (0..RUNS).map(run).fold(f64::INFINITY, f64::min);
    println!("picture of {} samples, 1600 x 900, least of {RUNS}: {least:.4} s", log.trace.len());
}
