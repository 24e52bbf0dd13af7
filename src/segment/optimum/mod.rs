//! The least penalised cost over all partitions, exactly, in nearly constant time a sample.
//!
//! How the samples are given, one at a time or in parts of any length, changes nothing of the answer, not a digit.

mod ahead;
mod calm;
mod envelope;
mod leaders;

use ahead::Ahead;
use calm::BLOCK;
use envelope::{Candidate, Envelope};
use leaders::Leaders;

/// Samples between two rebases of the sums.
const REBASE: usize = 1024;

/// What a sample costs that lies off the level of its segment, in squared units of the signal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Loss {
    /// The squared distance.
    Squares,
    /// The squared distance, but never more than this distance squared (the biweight loss): a single wild sample
    /// cannot buy itself a segment.
    Bounded(f64),
}

/// Why there is no optimum.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum OptimumError {
    /// The penalty must leave something to pay.
    #[error("penalty {found} is not a positive finite number; a change must cost something")]
    Penalty {
        /// What was given.
        found: f64,
    },
    /// The bound of the loss must let something differ.
    #[error("bound {found} of the loss is not a positive finite number; use the squared loss for no bound")]
    Bound {
        /// What was given.
        found: f64,
    },
    /// A sample that is no number.
    #[error("sample {index} is {found}; every sample must be finite and less than 1e100 in size")]
    Sample {
        /// Its index.
        index: usize,
        /// What was given.
        found: f64,
    },
    /// A weight that weighs nothing.
    #[error("sample {index} has weight {found}; a weight must be positive, finite and between 1e-9 and 1e9")]
    Weight {
        /// Its index.
        index: usize,
        /// What was given.
        found: f64,
    },
    /// More samples than an index has room for.
    #[error("more than {limit} samples; cut the signal into parts")]
    TooMany {
        /// The most that can be taken.
        limit: usize,
    },
}

/// Largest size of a sample: its square times any weight and count stays finite.
const LARGEST: f64 = 1e100;

/// The optimum over everything given so far; more can be given at any time.
#[derive(Debug, Clone)]
pub struct Optimum {
    penalty: f64,
    /// Infinite for the squared loss.
    bound: f64,
    envelope: Envelope,
    /// Level from which the envelope counts.
    origin: f64,
    /// Cost that was taken out of the envelope by rebasing.
    settled: f64,
    /// Cost of the optimum, beyond `settled`.
    least: f64,
    last: Leaders,
    since_rebase: usize,
    /// Samples to take one by one before a block is tried again.
    one_by_one: usize,
    ahead: Ahead,
}

impl Optimum {
    /// Nothing given yet. Every change costs `penalty`.
    ///
    /// # Errors
    /// [`OptimumError`] for a penalty or bound that is not a positive finite number.
    pub fn new(loss: Loss, penalty: f64) -> Result<Self, OptimumError> {
        let positive = |value: f64| value.is_finite() && value > 0.0;
        if !positive(penalty) {
            return Err(OptimumError::Penalty { found: penalty });
        }
        let bound = match loss {
            Loss::Squares => f64::INFINITY,
            Loss::Bounded(bound) if positive(bound) => bound,
            Loss::Bounded(found) => return Err(OptimumError::Bound { found }),
        };
        Ok(Self {
            penalty,
            bound,
            envelope: Envelope::new(),
            origin: 0.0,
            settled: 0.0,
            least: 0.0,
            last: Leaders::default(),
            since_rebase: 0,
            one_by_one: 1,
            ahead: Ahead::new(),
        })
    }

    /// Takes one more sample of unit weight.
    ///
    /// # Errors
    /// [`OptimumError`] for a sample that is no number; nothing was taken then.
    pub fn push(&mut self, value: f64) -> Result<(), OptimumError> {
        self.push_weighted(value, 1.0)
    }

    /// Takes one more sample that counts `weight` times.
    ///
    /// # Errors
    /// [`OptimumError`] for a sample or weight that is no number; nothing was taken then.
    pub fn push_weighted(&mut self, value: f64, weight: f64) -> Result<(), OptimumError> {
        self.admit(&[value], &[weight])?;
        self.take(&[value], |_| &[1.0; BLOCK], |_| weight);
        Ok(())
    }

    /// Takes many more samples of unit weight.
    ///
    /// # Errors
    /// [`OptimumError`] for a sample that is no number; nothing was taken then.
    pub fn extend(&mut self, values: &[f64]) -> Result<(), OptimumError> {
        self.admit(values, &[])?;
        let ones = [1.0; BLOCK];
        self.take(values, |_| &ones, |_| 1.0);
        Ok(())
    }

    /// Takes many more samples, each counting as often as its weight says (missing weights are 1).
    ///
    /// # Errors
    /// [`OptimumError`] for a sample or weight that is no number; nothing was taken then.
    pub fn extend_weighted(&mut self, values: &[f64], weights: &[f64]) -> Result<(), OptimumError> {
        if weights.len() < values.len() {
            let padded: Vec<f64> =
                weights.iter().copied().chain(std::iter::repeat(1.0)).take(values.len()).collect();
            return self.extend_weighted(values, &padded);
        }
        self.admit(values, &weights[..values.len()])?;
        let ones = [1.0; BLOCK];
        let block = |at: usize| weights[at..].first_chunk().unwrap_or(&ones);
        self.take(values, block, |at| weights[at]);
        Ok(())
    }

    fn admit(&self, values: &[f64], weights: &[f64]) -> Result<(), OptimumError> {
        let limit = u32::MAX as usize;
        if values.len() > limit - self.last.len() {
            return Err(OptimumError::TooMany { limit });
        }
        let taken = self.last.len();
        // NaN fails every comparison, so each check is written to pass only what is known to be good.
        if let Some(at) =
            values.iter().position(|value| !matches!(value.abs().partial_cmp(&LARGEST), Some(o) if o.is_lt()))
        {
            return Err(OptimumError::Sample { index: taken + at, found: values[at] });
        }
        match weights.iter().position(|weight| !(1e-9..=1e9).contains(weight)) {
            Some(at) => Err(OptimumError::Weight { index: taken + at, found: weights[at] }),
            None => Ok(()),
        }
    }

    fn start_at(&mut self, value: f64) {
        if self.is_empty() {
            self.origin = value;
        }
    }

    fn take<'a>(
        &mut self,
        values: &[f64],
        weights: impl Fn(usize) -> &'a [f64; BLOCK],
        weight: impl Fn(usize) -> f64,
    ) {
        if let Some(first) = values.first() {
            self.start_at(*first);
        }
        let mut at = 0;
        while at < values.len() {
            at += self.take_some(&values[at..], weights(at), weight(at));
        }
    }

    /// Takes the first sample or a block from the first; how many. `weights` are those of a block, `weight` the first's.
    fn take_some(&mut self, values: &[f64], weights: &[f64; BLOCK], weight: f64) -> usize {
        if self.one_by_one > 0 {
            self.one_by_one -= 1;
            self.take_one(values[0], weight);
            return 1;
        }
        match values.first_chunk() {
            Some(block) if !self.ahead.is_begun() => self.try_block(block, weights).unwrap_or(0),
            _ => {
                self.take_ahead(values[0], weight);
                1
            }
        }
    }

    fn try_block(&mut self, values: &[f64; BLOCK], weights: &[f64; BLOCK]) -> Option<usize> {
        self.envelope.reserve(2 * BLOCK);
        let taken = self.take_calm(values, weights);
        match taken {
            Some(count) => self.keep_exact(count),
            None => self.one_by_one = BLOCK / 2,
        }
        taken
    }

    fn take_one(&mut self, value: f64, weight: f64) {
        self.envelope.reserve(4);
        let value = value - self.origin;
        let least = if self.bound.is_finite() {
            self.rebase_in_place();
            self.envelope.charge_bounded(value, weight, self.bound);
            self.envelope.least_within()
        } else {
            self.envelope.sums.add(value, weight);
            self.envelope.least()
        };
        self.last.extend(self.envelope.change(least.piece), 1);
        self.least = least.cost + self.envelope.sums.square;
        #[expect(clippy::cast_possible_truncation, reason = "`admit` refuses more than u32::MAX samples")]
        let change = self.last.len() as u32;
        let new = Candidate::at_level(self.envelope.sums, self.least + self.penalty, change);
        self.envelope.insert(&new);
        self.keep_exact(1);
    }

    fn keep_exact(&mut self, taken: usize) {
        self.since_rebase += taken;
        if self.since_rebase >= REBASE {
            self.rebase();
        }
    }

    /// Starts the sums anew at the level of the present segment.
    fn rebase(&mut self) {
        self.since_rebase = 0;
        let weight = self.envelope.sums.weight;
        let shift = if weight > 0.0 { self.envelope.sums.value / weight } else { 0.0 };
        self.envelope.rebase(shift, self.least);
        self.origin += shift;
        self.settled += self.least;
        self.least = 0.0;
    }

    /// Starts the sums anew without moving the origin.
    fn rebase_in_place(&mut self) {
        if self.envelope.sums.weight > 0.0 {
            self.envelope.rebase(0.0, 0.0);
        }
    }

    /// How many samples were given.
    #[must_use]
    pub fn len(&self) -> usize {
        self.last.len()
    }

    /// Whether no sample was given.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// How many pieces the envelope has now: what the work of one sample grows with.
    #[must_use]
    pub fn pieces(&self) -> usize {
        self.envelope.len()
    }

    /// The least cost: losses and one penalty for each change.
    #[must_use]
    pub fn cost(&self) -> f64 {
        self.settled + self.least
    }

    /// The changes of the optimum: index of the first sample of each segment after the first.
    #[must_use]
    pub fn changes(&self) -> Vec<usize> {
        let mut changes = Vec::new();
        let mut next = self.last.last();
        while let Some(at) = next.filter(|at| *at > 0) {
            changes.push(at as usize);
            next = self.last.after(at as usize);
        }
        changes.reverse();
        changes
    }

    /// Where the segment now open begins, by the optimum of all samples so far.
    #[must_use]
    pub fn last_change(&self) -> usize {
        self.last.last().map_or(0, |change| change as usize)
    }
}

#[cfg(test)]
mod tests;
