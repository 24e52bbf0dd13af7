//! The same answer, to the last digit, however the samples arrive.
//!
//! Samples given one at a time must be in the answer at once, but a block of them can only be tried when all of it is
//! there, and what a block leaves differs in its rounding from what its samples leave one by one. So where a block may
//! begin, the state is remembered; its samples are taken one by one, which is the answer meanwhile; and when the block
//! is full the state is restored and the block taken as if it had come whole.

use super::Optimum;
use super::calm::BLOCK;
use super::envelope::Envelope;

/// The samples of a block begun and not yet full, and the state before it.
#[derive(Debug, Clone)]
pub(super) struct Ahead {
    values: [f64; BLOCK],
    weights: [f64; BLOCK],
    count: usize,
    envelope: Envelope,
    origin: f64,
    settled: f64,
    least: f64,
    since_rebase: usize,
}

impl Ahead {
    pub(super) fn new() -> Self {
        Self {
            values: [0.0; BLOCK],
            weights: [1.0; BLOCK],
            count: 0,
            envelope: Envelope::new(),
            origin: 0.0,
            settled: 0.0,
            least: 0.0,
            since_rebase: 0,
        }
    }

    /// Whether a block was begun.
    pub(super) fn is_begun(&self) -> bool {
        self.count > 0
    }
}

impl Optimum {
    /// Takes one sample where a block may begin or was begun.
    pub(super) fn take_ahead(&mut self, value: f64, weight: f64) {
        if self.ahead.count == 0 {
            self.remember();
        }
        self.ahead.values[self.ahead.count] = value;
        self.ahead.weights[self.ahead.count] = weight;
        self.ahead.count += 1;
        self.take_one(value, weight);
        if self.ahead.count == BLOCK {
            self.restore();
            let (values, weights) = (self.ahead.values, self.ahead.weights);
            self.take(&values, |_| &weights, |at| weights[at]);
        }
    }

    fn remember(&mut self) {
        let ahead = &mut self.ahead;
        ahead.envelope.copy_from(&self.envelope);
        (ahead.origin, ahead.settled, ahead.least) = (self.origin, self.settled, self.least);
        ahead.since_rebase = self.since_rebase;
    }

    fn restore(&mut self) {
        let ahead = &mut self.ahead;
        std::mem::swap(&mut ahead.envelope, &mut self.envelope);
        (self.origin, self.settled, self.least) = (ahead.origin, ahead.settled, ahead.least);
        self.since_rebase = ahead.since_rebase;
        self.last.truncate(self.last.len() - ahead.count);
        ahead.count = 0;
    }
}
