//! Any bytes are a series or are refused; its changes are in order, within and nested, and a stream ends with the same.
#![no_main]

use feedtale::segment::{Settings, Stream, changes};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let (mut time, mut values, mut now) = (Vec::new(), Vec::new(), 0.0);
    for triple in bytes.chunks_exact(3) {
        now += step(triple[2]);
        time.push(now);
        values.push(value(triple[0], triple[1]));
    }
    let settings = Settings::default();
    let mut stream = Stream::new(settings);
    let streamed = time.iter().zip(&values).try_for_each(|(time, value)| stream.push(*time, *value));
    let Ok(found) = changes(&time, &values, &settings) else {
        assert!(streamed.is_err() || values.is_empty(), "refused at once and taken one by one");
        return;
    };
    assert_eq!(streamed, Ok(()));
    assert_eq!(stream.changes().as_ref(), Ok(&found));
    for list in [&found.fine, &found.coarse, &found.spread] {
        assert!(list.windows(2).all(|pair| pair[0] < pair[1]), "{list:?}");
        assert!(list.iter().all(|at| (1..values.len()).contains(at) && found.fine.contains(at)), "{list:?}");
    }
    assert!(found.spikes.iter().all(|spike| spike.start < spike.end && spike.end <= values.len()));
});

/// Even steps, mostly; tiny and huge ones, and such as stand still or run back.
fn step(byte: u8) -> f64 {
    match byte {
        255 => 0.0,
        254 => -1.0,
        253 => f64::NAN,
        252 => 1e79,
        248..=251 => 1e-9,
        240..=247 => 3600.0,
        _ => 0.0625,
    }
}

fn value(code: u8, kind: u8) -> f64 {
    match kind {
        // The limit is 1e80: a value near it is still a number on the scale of the noise.
        255 => [f64::NAN, f64::INFINITY, f64::MAX, 1e80][usize::from(code % 4)],
        254 => f64::MIN_POSITIVE * f64::from(code),
        253 => -f64::from(code) * 1e6,
        _ => f64::from(kind / 64) + f64::from(code % 8) * 0.01,
    }
}
