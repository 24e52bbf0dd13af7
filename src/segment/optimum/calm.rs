//! Many samples at once where nothing happens.
//!
//! Over most of a trace one candidate stays the best for thousands of samples. For a block of [`BLOCK`] of them this
//! file proves that it does, and then needs no look at the other candidates sample by sample:
//!
//! *Who leads.* Let the leader have weight W and mean m before the block, and let P be the running sum of w·(y − m).
//! Since any other candidate is charged at least the samples' own scatter about their mean, it catches up on the
//! leader by no more than `(ΔP)²/ΔW`, the gain of a separate mean: an older one between the start of the block and now,
//! one born within the block between its birth and now (the leader's mean having moved by at most η until then, by
//! `(|ΔP| + ηΔW)²/ΔW`). If that is at most the margin of the runner-up before the block, and at most β, the lead over a
//! candidate just born, then the leader leads throughout, and the optimum after each sample is a running sum. An older
//! candidate need only be kept off where it is the best of all, on its own piece: one born a sample away from the leader
//! is as good as it everywhere, but is the best only far from the mean. Where the bound of what it catches up does not
//! tell, what it costs there after every sample does.
//!
//! *Who survives.* A candidate born in the block can only win where it beats the leader: further from the mean than
//! ρ = √(β/W). One born later beats it on all of that side unless the samples between them lean to that side by more
//! than ρ/2 on average, that is, unless its P − (m + ρ/2)·W is less than every later one (above; below likewise). Few
//! are, so few need be entered in the envelope.
//!
//! *Bounded loss.* Let every sample of the block lie within X = bound/2 of the mean. For levels within X of it the loss
//! is then the plain square. Further out, a level is charged at least `X² ∓ 2X(y − m)` a sample more than the mean is
//! (the least of its difference over all such levels), whose sum Z gains X²·ΔW. A candidate that is out there and older
//! than the block's end is beaten by the one born at the end, if Z is nowhere larger than at the end. So the block is
//! cut where that holds, and all pieces out there are dropped.

use super::Optimum;
use super::envelope::{Candidate, Least, Sums};

/// Samples looked at together: more share the fixed cost, fewer stay calm more often.
pub(super) const BLOCK: usize = 64;

/// Weight that the leader must have before blocks are tried: below, its mean moves too much within a block.
const ENOUGH: f64 = 16.0;

/// The running sums of one block, about the leader's mean.
pub(super) struct Block {
    /// Σ w·(y − m) up to and with each sample.
    lean: [f64; BLOCK],
    /// Σ w·(y − m)² likewise.
    square: [f64; BLOCK],
    /// Σ w likewise.
    weight: [f64; BLOCK],
    lowest_lean: f64,
    highest_lean: f64,
    furthest: f64,
}

impl Block {
    fn of(values: &[f64; BLOCK], weights: &[f64; BLOCK], mean: f64) -> Self {
        let (mut lean, mut square, mut weight) = ([0.0; BLOCK], [0.0; BLOCK], [0.0; BLOCK]);
        let (mut p, mut q, mut w) = (0.0, 0.0, 0.0);
        let (mut lowest_lean, mut highest_lean, mut furthest) = (0.0_f64, 0.0_f64, 0.0_f64);
        for index in 0..BLOCK {
            let (off, each) = (values[index] - mean, weights[index]);
            p += each * off;
            q += each * off * off;
            w += each;
            (lean[index], square[index], weight[index]) = (p, q, w);
            lowest_lean = if p < lowest_lean { p } else { lowest_lean };
            highest_lean = if p > highest_lean { p } else { highest_lean };
            furthest = if off.abs() > furthest { off.abs() } else { furthest };
        }
        Self { lean, square, weight, lowest_lean, highest_lean, furthest }
    }

    /// Whether an older candidate cannot catch up by more than `margin`.
    fn leaves_behind(&self, margin: f64) -> bool {
        let sums = self.lean.iter().zip(&self.weight);
        let excesses = sums.map(|(lean, weight)| lean * lean - margin * weight);
        excesses.fold(f64::NEG_INFINITY, f64::max) <= 0.0
    }

    /// The most that an older candidate can catch up.
    fn most_caught_up(&self) -> f64 {
        let sums = self.lean.iter().zip(&self.weight);
        sums.map(|(lean, weight)| lean * lean / weight).fold(0.0, f64::max)
    }

    /// Whether no candidate born within catches up by more than `penalty`, the leader's mean moving by up to `drift`.
    fn is_calm(&self, penalty: f64, drift: f64) -> bool {
        let reach = self.furthest + drift;
        let lean = self.highest_lean - self.lowest_lean + self.weight[BLOCK - 1] * drift;
        // (ΔP)²/ΔW is at most |ΔP| times the largest |y − m|; only where that bound fails look at each pair.
        lean * reach <= penalty || self.no_pair_exceeds(penalty, drift)
    }

    #[inline(never)]
    fn no_pair_exceeds(&self, penalty: f64, drift: f64) -> bool {
        let exceeds = |lean: f64, weight: f64| {
            let lean = lean.abs() + drift * weight;
            lean * lean > penalty * weight
        };
        for apart in 1..BLOCK {
            let (lean, weight) = (&self.lean, &self.weight);
            let pairs = lean[apart..].iter().zip(lean).zip(weight[apart..].iter().zip(weight));
            let any = pairs.fold(false, |any, ((p1, p0), (w1, w0))| any | exceeds(p1 - p0, w1 - w0));
            if any {
                return false;
            }
        }
        true
    }

    /// How many samples of the block can be taken under a bounded loss with half bound `half`: the most at whose end
    /// every far level is dearer than ever before, and dearer than `margin` would allow an older piece to be.
    fn settled(&self, half: f64, penalty: f64) -> usize {
        (BLOCK / 2..=BLOCK).rev().find(|count| self.is_settled(count - 1, half, penalty)).unwrap_or(0)
    }

    fn is_settled(&self, last: usize, half: f64, penalty: f64) -> bool {
        let (lean, weight) = (self.lean[last], self.weight[last]);
        let dearer = |p: f64, w: f64| half * half * (weight - w) - 2.0 * half * (lean - p).abs();
        let inner = self.lean[..last].iter().zip(&self.weight[..last]);
        dearer(0.0, 0.0) >= penalty && inner.fold(true, |all, (p, w)| all & (dearer(*p, *w) >= 0.0))
    }

    /// Samples after which a candidate may survive above (`true`) or below the mean, the last first.
    fn survivors(&self, count: usize, slope: f64, above: bool, found: &mut [u8; BLOCK]) -> usize {
        let sign = if above { 1.0 } else { -1.0 };
        let (mut least, mut number) = (f64::INFINITY, 0);
        for index in (0..count).rev() {
            let height = sign * (self.lean[index] - slope * self.weight[index]);
            #[expect(clippy::cast_possible_truncation, reason = "below the block's length")]
            {
                found[number] = index as u8;
            }
            let survives = height < least;
            least = if survives { height } else { least };
            number += usize::from(survives);
        }
        number
    }
}

/// The leader before a block.
struct Lead {
    /// The sums of all samples.
    sums: Sums,
    weight: f64,
    mean: f64,
    /// Its cost, less the sum of squares.
    cost: f64,
}

impl Lead {
    /// The sums after sample `index` of the block, and the optimum if it leads still, less the squares before the block.
    #[inline]
    fn after(&self, block: &Block, index: usize) -> (Sums, f64) {
        let (lean, charged) = (block.lean[index], block.weight[index]);
        let sums = Sums {
            weight: self.sums.weight + charged,
            value: self.sums.value + lean + charged * self.mean,
            square: self.sums.square + block.square[index] + (2.0 * lean + charged * self.mean) * self.mean,
        };
        (sums, self.cost + block.square[index] - lean * lean / (self.weight + charged))
    }
}

impl Optimum {
    /// Takes up to a block of samples at once if it can be shown that one candidate leads throughout; how many.
    pub(super) fn take_calm(&mut self, values: &[f64; BLOCK], weights: &[f64; BLOCK]) -> Option<usize> {
        let bounded = self.bound.is_finite();
        if bounded {
            self.rebase();
        }
        let least = self.envelope.least_within();
        let (star, weight) = (least.piece, self.envelope.weight(least.piece));
        if weight < ENOUGH {
            return None;
        }
        let mean = self.envelope.vertex(star);
        let block = Block::of(values, weights, self.origin + mean);
        let lead = Lead { sums: self.envelope.sums, weight, cost: least.cost, mean };
        let drift = block.highest_lean.max(-block.lowest_lean) / weight;
        if !block.is_calm(self.penalty, drift) || !self.stays_ahead(&block, &least, &lead) {
            return None;
        }
        let count = if bounded { self.settle(&block, star, mean, drift)? } else { BLOCK };
        self.enter(&block, count, &least, &lead);
        Some(count)
    }

    /// Whether every candidate older than the block stays behind the leader: by the bound of what it can catch up, or else,
    /// under the squared loss, by what it costs on its own piece after every sample.
    fn stays_ahead(&self, block: &Block, least: &Least, lead: &Lead) -> bool {
        if block.leaves_behind(least.margin) {
            return true;
        }
        if self.bound.is_finite() {
            return false;
        }
        let mut rivals = self.envelope.rivals(least.piece, least.cost + block.most_caught_up());
        rivals.all(|piece| {
            let is_behind = |index: usize| {
                let (sums, optimum) = lead.after(block, index);
                let squares = sums.square - lead.sums.square;
                self.envelope.lowest_within(piece, &sums) + squares >= optimum
            };
            (0..BLOCK).all(is_behind)
        })
    }

    /// How much of the block can be taken under the bounded loss, with the far pieces dropped; `None` if not enough.
    fn settle(&mut self, block: &Block, star: usize, mean: f64, drift: f64) -> Option<usize> {
        let half = self.bound / 2.0;
        let inside = mean - drift >= self.envelope.low(star) && mean + drift <= self.envelope.high(star);
        if !inside || block.furthest > half {
            return None;
        }
        let count = block.settled(half, self.penalty);
        if count == 0 {
            return None;
        }
        self.envelope.clip(mean - half, mean + half);
        Some(count)
    }

    /// Enters what survives of the first `count` samples of the block.
    fn enter(&mut self, block: &Block, count: usize, least: &Least, lead: &Lead) {
        let Lead { sums, weight, .. } = *lead;
        let leader = self.envelope.change(least.piece);
        let (first, penalty) = (self.last.len(), self.penalty);
        let candidate = |index: u8| {
            let index = usize::from(index);
            let (at, optimum) = lead.after(block, index);
            #[expect(
                clippy::cast_possible_truncation,
                reason = "the number of samples fits, see `Optimum::extend`"
            )]
            let change = (first + index + 1) as u32;
            // Both costs lack the squares before the block.
            Candidate {
                c: optimum + penalty - (at.square - sums.square),
                ..Candidate::at_level(at, 0.0, change)
            }
        };
        let half_gap = (self.penalty / (weight + block.weight[BLOCK - 1])).sqrt() / 2.0;
        let mut found = [0_u8; BLOCK];
        let mut in_place = true;
        let above = block.survivors(count, block.lowest_lean / weight + half_gap, true, &mut found);
        for index in found[..above].iter().rev() {
            in_place = self.enter_one(&candidate(*index), least.piece, in_place, true);
        }
        let below = block.survivors(count, block.highest_lean / weight - half_gap, false, &mut found);
        for index in found[..below].iter().rev() {
            in_place = self.enter_one(&candidate(*index), least.piece, in_place, false);
        }
        let (after_block, optimum) = lead.after(block, count - 1);
        self.least = optimum + sums.square;
        self.envelope.sums = after_block;
        self.last.extend(leader, count);
    }

    /// Whether piece `star` is still where it was.
    fn enter_one(&mut self, new: &Candidate, star: usize, in_place: bool, above: bool) -> bool {
        if !in_place {
            self.envelope.insert_anywhere(new);
            false
        } else if above {
            self.envelope.insert_right(new, star)
        } else {
            self.envelope.insert_left(new, star)
        }
    }
}
