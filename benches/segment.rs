//! Time a sample of the exact optimum: `cargo bench --bench segment -- [PEER-SIGNAL-FOLDER]`.
//!
//! Prints seconds (least of five) for the signals that `benches/peers/run.sh` also hands to the Python libraries;
//! with a folder, writes the signals there for them, as little-endian doubles.

use feedtale::segment::optimum::{Loss, Optimum};
use rand::{RngExt, SeedableRng};
use std::path::Path;
use std::time::Instant;

fn main() {
    let folder = std::env::args().skip(1).find(|word| !word.starts_with('-'));
    println!(
        "{:>9} {:>7} {:>9} {:>9} {:>6} {:>8} {:>7}",
        "samples", "changes", "loss", "seconds", "ns", "found", "pieces"
    );
    for (count, changes) in [(100_000, 20), (1_000_000, 20), (1_000_000, 1000), (10_000_000, 20)] {
        let values = signal(count, changes);
        if let Some(folder) = folder.as_deref().filter(|_| count == 1_000_000) {
            write(Path::new(folder), changes, &values);
        }
        #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
        let penalty = 2.0 * (count as f64).ln();
        // A bound between one and two penalties a sample: one wild sample is cheaper to bear than a segment, two are not.
        for (name, loss) in [("squares", Loss::Squares), ("bounded", Loss::Bounded((1.5 * penalty).sqrt()))] {
            time(name, loss, penalty, &values, changes);
        }
    }
}

fn time(name: &str, loss: Loss, penalty: f64, values: &[f64], changes: usize) {
    let mut least = f64::INFINITY;
    let mut found = (0, 0);
    for _ in 0..5 {
        let start = Instant::now();
        let mut optimum = Optimum::new(loss, penalty).expect("a positive penalty");
        optimum.extend(values).expect("finite samples");
        found = (optimum.changes().len(), optimum.pieces());
        least = least.min(start.elapsed().as_secs_f64());
    }
    #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
    let each = least * 1e9 / values.len() as f64;
    println!(
        "{:>9} {changes:>7} {name:>9} {least:>9.4} {each:>6.1} {:>8} {:>7}",
        values.len(),
        found.0,
        found.1
    );
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

fn write(folder: &Path, changes: usize, values: &[f64]) {
    let bytes: Vec<u8> = values.iter().flat_map(|value| value.to_le_bytes()).collect();
    std::fs::write(folder.join(format!("signal-{changes}.f64")), bytes)
        .expect("a folder that can be written to");
}
