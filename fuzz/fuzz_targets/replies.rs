//! Any bytes as the reply to a reading: a number that was sent, or an error; and the next true reply is read.
#![no_main]

use feedtale::link::{Channel, Link};
use feedtale::supply::{Dialect, Supply};
use libfuzzer_sys::fuzz_target;
use std::collections::VecDeque;
use std::io::{self, Read, Write};
use std::time::Duration;

/// Answers readings by the replies in order, and every identification truly.
struct Far {
    replies: VecDeque<Vec<u8>>,
    coming: VecDeque<u8>,
}

impl Write for Far {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let identify = bytes.starts_with(b"*IDN?");
        let reply = if identify { Some(b"BENCH,NOISE,1,1.0\n".to_vec()) } else { self.replies.pop_front() };
        self.coming.extend(reply.unwrap_or_default());
        Ok(bytes.len())
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Read for Far {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = buffer.len().min(self.coming.len());
        for (slot, byte) in buffer.iter_mut().zip(self.coming.drain(..count)) {
            *slot = byte;
        }
        Ok(count)
    }
}

impl Channel for Far {
    fn block_at_most(&mut self, _: Duration) -> io::Result<()> {
        Ok(())
    }
    fn has_input(&mut self) -> io::Result<bool> {
        Ok(!self.coming.is_empty())
    }
}

fuzz_target!(|bytes: &[u8]| {
    let replies = VecDeque::from([bytes.to_vec(), b"12.800;0.0240\n".to_vec()]);
    let far = Far { replies, coming: VecDeque::new() };
    let mut dialect = Dialect::plain();
    dialect.line.reply_within = Duration::ZERO;
    let mut supply = Supply::over(Link::over(Box::new(far), "noise"), dialect);
    supply.identify().expect("the identification is true");
    if let Ok(reading) = supply.read() {
        let text = String::from_utf8_lossy(bytes);
        let said = |value: f64| {
            let parts = text.split(|c: char| c <= ' ' || c == ';' || c == '?');
            parts.filter_map(|part| part.parse::<f64>().ok()).any(|found| found == value)
        };
        assert!(said(reading.volts.value()) && said(reading.amps.value()), "{reading:?} from {text:?}");
    }
    let next = supply.read().expect("the next reply is true");
    assert_eq!((next.volts.value(), next.amps.value()), (12.8, 0.024));
});
