//! Random replies through the reader: no panic, and no number that was not sent.

use feedtale::link::{Channel, Link};
use feedtale::supply::{Dialect, Supply};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::collections::VecDeque;
use std::error::Error;
use std::io::{self, Read, Write};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

const IDENTITY: &[u8] = b"BENCH,NOISE,1,1.0\n";
const TRUE: &[u8] = b"12.800;0.0240\n";

/// What replies to readings are made of, besides any bytes at all.
const PARTS: [&str; 24] = [
    "12.800",
    "0.0240",
    "-1",
    "+5.0E-1",
    "1e",
    "9.91E37",
    "9.9E37",
    ";",
    ";",
    ";",
    ",",
    "\n",
    "\r\n",
    "\r",
    "\0",
    " ",
    "V",
    "A",
    "ERR",
    "OK",
    ".",
    "E+0",
    "MEAS:VOLT?;CURR?",
    "BENCH,NOISE,1,1.0",
];

/// The end of a cable at which every question is answered at once, by what lies ready.
#[derive(Clone, Default)]
struct Far(Arc<Mutex<Lines>>);

#[derive(Default)]
struct Lines {
    next: Vec<u8>,
    coming: VecDeque<u8>,
}

impl Far {
    fn answers(&self, reply: &[u8]) {
        reply.clone_into(&mut self.0.lock().unwrap_or_else(PoisonError::into_inner).next);
    }
}

impl Write for Far {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let mut lines = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let next =
            if bytes.starts_with(b"*IDN?") { IDENTITY.to_vec() } else { std::mem::take(&mut lines.next) };
        lines.coming.extend(next);
        Ok(bytes.len())
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Read for Far {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let mut lines = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let count = buffer.len().min(lines.coming.len());
        for (slot, byte) in buffer.iter_mut().zip(lines.coming.drain(..count)) {
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
        Ok(!self.0.lock().unwrap_or_else(PoisonError::into_inner).coming.is_empty())
    }
}

/// What became of random replies.
#[derive(Debug, Default, PartialEq)]
pub(crate) struct Tally {
    /// How many there were.
    pub(crate) replies: u64,
    /// How many were taken for a reading.
    pub(crate) understood: u64,
    /// How many of those gave other numbers than they say.
    pub(crate) wrong: u64,
    /// How many true readings right after a random reply were not understood as such.
    pub(crate) after_wrong: u64,
}

/// Puts so many random replies through the reader, each with a true one behind it.
pub(crate) fn run(replies: u64, seed: u64) -> Result<Tally, Box<dyn Error>> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let far = Far::default();
    let mut dialect = Dialect::plain();
    // Everything that is to come is there already: what is not there will not come.
    dialect.line.reply_within = Duration::ZERO;
    let mut supply = Supply::over(Link::over(Box::new(far.clone()), "noise"), dialect);
    supply.identify()?;
    let (mut tally, mut reply) = (Tally::default(), Vec::new());
    for _ in 0..replies {
        draw(&mut random, &mut reply);
        tally.take(&mut supply, &far, &reply);
    }
    Ok(tally)
}

impl Tally {
    fn take(&mut self, supply: &mut Supply, far: &Far, reply: &[u8]) {
        self.replies += 1;
        far.answers(reply);
        if let Ok(reading) = supply.read() {
            self.understood += 1;
            let found = (reading.volts.value(), reading.amps.value());
            self.wrong += u64::from(said(reply) != Some(found));
        }
        far.answers(TRUE);
        let right = supply.read().is_ok_and(|r| (r.volts.value(), r.amps.value()) == (12.8, 0.024));
        self.after_wrong += u64::from(!right);
    }
}

/// A reply like a real one with something wrong in it, or any bytes.
fn draw(random: &mut ChaCha8Rng, reply: &mut Vec<u8>) {
    reply.clear();
    match random.random_range(0..4) {
        0 => {
            let length = random.random_range(0..40);
            reply.extend((0..length).map(|_| random.random::<u8>()));
        }
        1 => {
            for _ in 0..random.random_range(0..8) {
                reply.extend_from_slice(PARTS[random.random_range(0..PARTS.len())].as_bytes());
            }
        }
        _ => {
            reply.extend_from_slice(TRUE);
            for _ in 0..random.random_range(0..4) {
                let at = random.random_range(0..reply.len());
                match random.random_range(0..3) {
                    0 => reply[at] = random.random(),
                    1 => reply.truncate(at + 1),
                    _ => reply.insert(at, random.random_range(b'+'..=b'E')),
                }
            }
        }
    }
    if random.random_range(0..4) > 0 {
        reply.push(b'\n');
    }
}

/// What volts and amps a reply says, read by the standard library alone: two numbers with a semicolon between them on the
/// one line that is there besides empty lines and the echo.
fn said(reply: &[u8]) -> Option<(f64, f64)> {
    let text = std::str::from_utf8(reply).ok()?;
    let blank = |c: char| c <= ' ';
    let text = text.trim_matches(blank);
    let text = text.strip_prefix("MEAS:VOLT?;CURR?").unwrap_or(text).trim_matches(blank);
    let (volts, amps) = text.split_once(';')?;
    let number =
        |text: &str| text.trim_matches(blank).parse::<f64>().ok().filter(|number| number.abs() < 1e5);
    Some((number(volts)?, number(amps)?))
}
