//! Time and memory a sample of the exact optimum: `cargo bench --bench segment`.
//!
//! Prints seconds (least of five), nanoseconds a sample and the bytes a sample by which the process's peak grows over
//! the signal itself (Linux; read from the kernel in a process of its own for each line).
//!
//! `-- --signals FOLDER` writes the signals there, as little-endian doubles, for `benches/peers/run.sh`, which times
//! the Python libraries on the same ones.

use feedtale::segment::optimum::{Loss, Optimum};
use rand::{RngExt, SeedableRng};
use std::path::Path;
use std::process::Command;
use std::time::Instant;

/// Samples and changes of each signal.
const SIGNALS: [(usize, usize); 5] =
    [(100_000, 20), (1_000_000, 20), (1_000_000, 1000), (10_000_000, 20), (10_000_000, 1000)];

/// The longest signal that is written for the peers.
const LONGEST_WRITTEN: usize = 1_000_000;

fn main() {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    match words[..] {
        ["--signals", folder, ..] => write_signals(Path::new(folder)),
        ["--growth", count, changes, loss] => {
            let number = |word: &str| word.parse().expect("a number");
            println!("{}", growth(number(count), number(changes), loss).unwrap_or(f64::NAN));
        }
        _ => table(),
    }
}

fn table() {
    let head = ["samples", "changes", "loss", "seconds", "ns", "bytes", "found", "pieces"];
    println!(
        "{:>9} {:>7} {:>8} {:>9} {:>6} {:>6} {:>6} {:>7}",
        head[0], head[1], head[2], head[3], head[4], head[5], head[6], head[7]
    );
    for (count, changes) in SIGNALS {
        let values = signal(count, changes);
        for name in ["squares", "bounded"] {
            line(&values, changes, name);
        }
    }
}

fn line(values: &[f64], changes: usize, name: &str) {
    let count = values.len();
    let mut least = f64::INFINITY;
    let mut found = (0, 0);
    for _ in 0..5 {
        let start = Instant::now();
        let optimum = optimum(values, name);
        found = (optimum.changes().len(), optimum.pieces());
        least = least.min(start.elapsed().as_secs_f64());
    }
    let each = least * 1e9 / float(count);
    let bytes = growth_of_child(count, changes, name);
    println!(
        "{count:>9} {changes:>7} {name:>8} {least:>9.4} {each:>6.1} {bytes:>6} {:>6} {:>7}",
        found.0, found.1
    );
}

fn optimum(values: &[f64], name: &str) -> Optimum {
    let penalty = 2.0 * float(values.len()).ln();
    // A bound between one and two penalties a sample: one wild sample is cheaper to bear than a segment, two are not.
    let loss = if name == "bounded" { Loss::Bounded((1.5 * penalty).sqrt()) } else { Loss::Squares };
    let mut optimum = Optimum::new(loss, penalty).expect("a positive penalty");
    optimum.extend(values).expect("finite samples");
    optimum
}

#[expect(clippy::cast_precision_loss, reason = "a count of samples")]
fn float(count: usize) -> f64 {
    count as f64
}

/// Bytes a sample by which the peak of a new process grows while it finds the optimum.
fn growth_of_child(count: usize, changes: usize, name: &str) -> String {
    let this = std::env::current_exe().expect("the path of this program");
    let arguments = ["--growth".to_owned(), count.to_string(), changes.to_string(), name.to_owned()];
    let run = Command::new(this).args(arguments).output().expect("a process of its own");
    let bytes: f64 = String::from_utf8_lossy(&run.stdout).trim().parse().unwrap_or(f64::NAN);
    if bytes.is_nan() { "-".to_owned() } else { format!("{bytes:.1}") }
}

fn growth(count: usize, changes: usize, name: &str) -> Option<f64> {
    let values = signal(count, changes);
    let before = resident("VmRSS:")?;
    let found = optimum(&values, name).changes().len();
    assert!(found <= count, "used, so that it is not left out");
    Some((resident("VmHWM:")? - before) / float(count))
}

/// A figure of this process's memory in bytes, as the Linux kernel keeps it.
fn resident(key: &str) -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix(key))?;
    line.split_whitespace().next()?.parse::<f64>().ok().map(|kilobytes| kilobytes * 1024.0)
}

/// Unit normal noise on levels 0 5 1 7 2 in turn, each as long as the next.
fn signal(count: usize, changes: usize) -> Vec<f64> {
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(1);
    let mut unit = move || random.random::<f64>();
    let length = count / (changes + 1) + 1;
    (0..count)
        .map(|index| {
            let noise = (-2.0 * (1.0 - unit()).ln()).sqrt() * (std::f64::consts::TAU * unit()).cos();
            [0.0, 5.0, 1.0, 7.0, 2.0][index / length % 5] + noise
        })
        .collect()
}

fn write_signals(folder: &Path) {
    for (count, changes) in SIGNALS.into_iter().filter(|(count, _)| *count <= LONGEST_WRITTEN) {
        let bytes: Vec<u8> = signal(count, changes).iter().flat_map(|value| value.to_le_bytes()).collect();
        std::fs::write(folder.join(format!("signal-{count}-{changes}.f64")), bytes)
            .expect("a folder that can be written to");
    }
}
