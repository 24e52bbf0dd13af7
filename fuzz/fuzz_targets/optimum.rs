//! Any bytes are samples, weights, a loss and a penalty, or are refused; the optimum is the same however they arrive.
#![no_main]

use feedtale::segment::optimum::{Loss, Optimum};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let mut numbers =
        bytes.chunks_exact(8).map(|chunk| f64::from_le_bytes(chunk.try_into().expect("eight bytes")));
    let (Some(penalty), Some(bound)) = (numbers.next(), numbers.next()) else { return };
    // The rest: two bytes a sample, of few codes so that ties are common; some are any number at all.
    let rest = &bytes[16..];
    let values: Vec<f64> = rest.chunks_exact(2).map(value).collect();
    let weights: Vec<f64> = rest.chunks_exact(2).map(|pair| 1.0 + f64::from(pair[1] % 4)).collect();
    let loss = if bound.is_finite() && bound > 0.0 { Loss::Bounded(bound) } else { Loss::Squares };
    let Ok(mut whole) = Optimum::new(loss, penalty) else { return };
    let mut parts = whole.clone();
    let taken = whole.extend_weighted(&values, &weights);
    let good = if taken.is_ok() { values.len() } else { 0 };
    for (value, weight) in values.iter().zip(&weights).take(good) {
        parts.push_weighted(*value, *weight).expect("taken at once, so one at a time");
    }
    assert_eq!(whole.cost().to_bits(), parts.cost().to_bits());
    let changes = whole.changes();
    assert_eq!(changes, parts.changes());
    assert!(
        changes.windows(2).all(|pair| pair[0] < pair[1]) && changes.iter().all(|at| (1..good).contains(at))
    );
});

fn value(pair: &[u8]) -> f64 {
    match pair[1] {
        255 => f64::from_bits(u64::from(pair[0]) << 56 | 0x00f0_0000_0000_0000),
        254 => [f64::NAN, f64::INFINITY, f64::MAX, 1e99][usize::from(pair[0] % 4)],
        253 => f64::from(pair[0]) * 1e6,
        _ => f64::from(pair[0] % 16) * 0.25 + f64::from(pair[1] % 2) * 40.0 * f64::from(pair[0] / 250),
    }
}
