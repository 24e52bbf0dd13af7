//! The lower envelope of the candidates' costs, as a function of the level of the segment now open.
//!
//! After t samples, the cost of having changed last after τ of them and having the level μ since is
//! `F(τ) + β + Σ loss(yᵢ − μ)` over the samples after τ. What can still become the optimum is the least of these
//! functions at some μ; everything else is pruned (Maidstone, Hocking, Rigaill & Fearnhead, Stat. Comput. 27 (2017)
//! 519, "FPOP"). The envelope is a row of [pieces](Envelope) in order of μ, each a quadratic on its interval.
//!
//! Every sample adds the same function of μ to every piece. So that a sample need not touch each of them, the sums of
//! all samples since the last [`Envelope::rebase`] are kept once ([`Sums`]) and a piece stores what it lacks of them:
//! with W, S, Q the sums of weights, weighted values and weighted squares, piece k costs
//! `(W − a) μ² − 2 (S − b) μ + Q + c`. Two pieces then compare by `c + (2b − aμ) μ` alone, whatever came since, and
//! a new candidate changes the envelope at its two outer ends, almost always.

/// Room for pieces at the start, and the least to keep free on either side.
const ROOM: usize = 512;

/// Sums over the samples since the last rebase: of weights, weighted values and weighted squares.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sums {
    pub(super) weight: f64,
    pub(super) value: f64,
    pub(super) square: f64,
}

impl Sums {
    pub(super) fn add(&mut self, value: f64, weight: f64) {
        self.weight += weight;
        self.value += weight * value;
        self.square += weight * value * value;
    }

    /// The sums of the same samples, with values counted from `shift`.
    fn shifted(self, shift: f64) -> Self {
        let square = (self.weight * shift - 2.0 * self.value) * shift + self.square;
        Self { weight: self.weight, value: self.value - self.weight * shift, square }
    }

    fn at(self, level: f64) -> f64 {
        (self.weight * level - 2.0 * self.value) * level + self.square
    }
}

/// A time of the last change that may become the optimum, with the part of its cost that never changes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Candidate {
    pub(super) a: f64,
    pub(super) b: f64,
    pub(super) c: f64,
    /// Number of samples before the change.
    pub(super) change: u32,
}

impl Candidate {
    /// A change after `change` samples, when the optimum and its penalty came to `level`.
    pub(super) fn at_level(sums: Sums, level: f64, change: u32) -> Self {
        Self { a: sums.weight, b: sums.value, c: level - sums.square, change }
    }

    /// The part of the cost that never changes, at level `mu`.
    fn at(&self, mu: f64) -> f64 {
        self.c + (2.0 * self.b - self.a * mu) * mu
    }
}

/// The least over all pieces.
#[derive(Debug, Clone, Copy)]
pub(super) struct Least {
    /// Which piece.
    pub(super) piece: usize,
    /// Its cost, less the sum of squares since the last rebase.
    pub(super) cost: f64,
    /// By how much the next best candidate is worse.
    pub(super) margin: f64,
}

/// Pieces in order of level: columns of a double-ended row, in use from `first` to `end`.
#[derive(Debug, Clone)]
pub(super) struct Envelope {
    pub(super) sums: Sums,
    a: Vec<f64>,
    b: Vec<f64>,
    c: Vec<f64>,
    /// Lower end of each piece's interval; it reaches to the next one's.
    low: Vec<f64>,
    /// The unchanging part of the envelope at `low` (unused at minus infinity).
    at_low: Vec<f64>,
    change: Vec<u32>,
    /// Least cost of each piece, filled by [`Envelope::least`].
    lowest: Vec<f64>,
    first: usize,
    end: usize,
    spare: Vec<(Candidate, f64)>,
}

impl Envelope {
    /// One candidate, "no change yet", at every level, at no cost.
    pub(super) fn new() -> Self {
        let column = || vec![0.0; ROOM];
        let mut envelope = Self {
            sums: Sums::default(),
            a: column(),
            b: column(),
            c: column(),
            low: column(),
            at_low: column(),
            change: vec![0; ROOM],
            lowest: column(),
            first: ROOM / 2,
            end: ROOM / 2 + 1,
            spare: Vec::new(),
        };
        envelope.low[ROOM / 2] = f64::NEG_INFINITY;
        envelope
    }

    /// Makes this the same row of pieces as `other`.
    pub(super) fn copy_from(&mut self, other: &Self) {
        if self.a.len() == other.a.len() {
            let pieces = other.first..other.end;
            self.a[pieces.clone()].copy_from_slice(&other.a[pieces.clone()]);
            self.b[pieces.clone()].copy_from_slice(&other.b[pieces.clone()]);
            self.c[pieces.clone()].copy_from_slice(&other.c[pieces.clone()]);
            self.low[pieces.clone()].copy_from_slice(&other.low[pieces.clone()]);
            self.at_low[pieces.clone()].copy_from_slice(&other.at_low[pieces.clone()]);
            self.change[pieces.clone()].copy_from_slice(&other.change[pieces]);
            (self.sums, self.first, self.end) = (other.sums, other.first, other.end);
        } else {
            *self = other.clone();
        }
    }

    pub(super) fn len(&self) -> usize {
        self.end - self.first
    }

    pub(super) fn change(&self, piece: usize) -> u32 {
        self.change[piece]
    }

    /// Weight of the samples that piece `piece` has been charged for.
    pub(super) fn weight(&self, piece: usize) -> f64 {
        self.sums.weight - self.a[piece]
    }

    /// Level at which piece `piece` is cheapest, its interval aside.
    pub(super) fn vertex(&self, piece: usize) -> f64 {
        (self.sums.value - self.b[piece]) / self.weight(piece)
    }

    pub(super) fn low(&self, piece: usize) -> f64 {
        self.low[piece]
    }

    pub(super) fn high(&self, piece: usize) -> f64 {
        if piece + 1 < self.end { self.low[piece + 1] } else { f64::INFINITY }
    }

    fn candidate(&self, piece: usize) -> Candidate {
        Candidate { a: self.a[piece], b: self.b[piece], c: self.c[piece], change: self.change[piece] }
    }

    fn set(&mut self, piece: usize, candidate: &Candidate, low: f64) {
        self.a[piece] = candidate.a;
        self.b[piece] = candidate.b;
        self.c[piece] = candidate.c;
        self.change[piece] = candidate.change;
        self.low[piece] = low;
        self.at_low[piece] = if low == f64::NEG_INFINITY { 0.0 } else { candidate.at(low) };
    }

    /// The least over all pieces, each taken over every level: right where each piece's function holds everywhere.
    pub(super) fn least(&mut self) -> Least {
        let pieces = self.first..self.end;
        let (weight, value) = (self.sums.weight, self.sums.value);
        let columns = self.a[pieces.clone()].iter().zip(&self.b[pieces.clone()]).zip(&self.c[pieces.clone()]);
        for (((a, b), c), lowest) in columns.zip(&mut self.lowest[pieces]) {
            let (charged, moment) = (weight - a, value - b);
            *lowest = if charged > 0.0 { c - moment * moment / charged } else { *c };
        }
        self.pick(false)
    }

    /// The least over all pieces, each taken over its own interval.
    pub(super) fn least_within(&mut self) -> Least {
        for piece in self.first..self.end {
            self.lowest[piece] = self.lowest_within(piece, &self.sums);
        }
        self.pick(true)
    }

    /// The least cost of piece `piece` over its own interval after the samples of `sums`, less their sum of squares.
    #[inline]
    pub(super) fn lowest_within(&self, piece: usize, sums: &Sums) -> f64 {
        let (charged, moment) = (sums.weight - self.a[piece], sums.value - self.b[piece]);
        if charged > 0.0 {
            let level = (moment / charged).max(self.low[piece]).min(self.high(piece));
            self.c[piece] + (charged * level - 2.0 * moment) * level
        } else {
            self.c[piece]
        }
    }

    /// The pieces but `best` that [`Self::least_within`] found to cost less than `most`.
    pub(super) fn rivals(&self, best: usize, most: f64) -> impl Iterator<Item = usize> {
        let pieces = self.first..self.end;
        pieces.filter(move |piece| *piece != best && self.lowest[*piece] < most)
    }

    /// The best piece, and how much worse the best of the others is (of `same` candidate or not).
    fn pick(&self, count_same: bool) -> Least {
        let pieces = self.first..self.end;
        let (mut best, mut second, mut leader) = (f64::INFINITY, f64::INFINITY, self.first);
        for (piece, cost) in pieces.clone().zip(&self.lowest[pieces]) {
            let other = count_same || self.change[piece] != self.change[leader];
            if *cost < best {
                second = if other { best } else { second };
                (best, leader) = (*cost, piece);
            } else if *cost < second && other {
                second = *cost;
            }
        }
        Least { piece: leader, cost: best, margin: second - best }
    }

    /// Where piece `piece` beats `new`: the middle of the interval and the square of half its width (negative:
    /// nowhere, infinite: everywhere).
    fn meet(&self, piece: usize, new: &Candidate) -> (f64, f64) {
        let charged = new.a - self.a[piece];
        if charged <= 0.0 {
            return (0.0, if self.c[piece] <= new.c { f64::INFINITY } else { -1.0 });
        }
        let middle = (new.b - self.b[piece]) / charged;
        (middle, (new.c - self.c[piece]) / charged + middle * middle)
    }

    /// Adds a candidate that may win on either side.
    pub(super) fn insert(&mut self, new: &Candidate) {
        let outer = self.outer_left(new, self.end - 1).and_then(|left| {
            let right = self.outer_right(new, left)?;
            (!self.wins_within(new, left + 1, right)).then_some((left, right))
        });
        match outer {
            Some((left, right)) => {
                self.append_right(right, new);
                self.append_left(left, new);
            }
            None => self.insert_anywhere(new),
        }
    }

    /// Adds a candidate that can win only above piece `star`; whether the pieces kept their places.
    pub(super) fn insert_right(&mut self, new: &Candidate, star: usize) -> bool {
        match self.outer_right(new, star) {
            Some(right) if !self.wins_within(new, star + 1, right) => {
                self.append_right(right, new);
                true
            }
            _ => {
                self.insert_anywhere(new);
                false
            }
        }
    }

    /// Adds a candidate that can win only below piece `star`; whether the pieces kept their places.
    pub(super) fn insert_left(&mut self, new: &Candidate, star: usize) -> bool {
        match self.outer_left(new, star) {
            Some(left) if !self.wins_within(new, left + 2, star + 1) => {
                self.append_left(left, new);
                true
            }
            _ => {
                self.insert_anywhere(new);
                false
            }
        }
    }

    /// The outermost piece above that survives `new`, going no lower than `stop`; `None` if a piece on the way might
    /// survive in the middle of its interval.
    fn outer_right(&self, new: &Candidate, stop: usize) -> Option<usize> {
        let mut piece = self.end - 1;
        while piece > stop && new.at(self.low[piece]) < self.at_low[piece] {
            let may_dip = new.b - self.b[piece] > (new.a - self.a[piece]) * self.low[piece];
            if may_dip && self.meet(piece, new).1 > 0.0 {
                return None;
            }
            piece -= 1;
        }
        Some(piece)
    }

    /// The outermost piece below that survives `new`, going no higher than `stop`.
    fn outer_left(&self, new: &Candidate, stop: usize) -> Option<usize> {
        let mut piece = self.first;
        while piece < stop && new.at(self.low[piece + 1]) < self.at_low[piece + 1] {
            let may_dip = new.b - self.b[piece] < (new.a - self.a[piece]) * self.low[piece + 1];
            if may_dip && self.meet(piece, new).1 > 0.0 {
                return None;
            }
            piece += 1;
        }
        Some(piece)
    }

    /// Whether `new` beats the envelope at the lower end of any of these pieces.
    fn wins_within(&self, new: &Candidate, from: usize, to: usize) -> bool {
        let to = to.max(from);
        let lows = self.low[from..to].iter().zip(&self.at_low[from..to]);
        lows.fold(false, |any, (low, at_low)| any | (new.at(*low) < *at_low))
    }

    fn append_right(&mut self, piece: usize, new: &Candidate) {
        let (middle, square) = self.meet(piece, new);
        // A constant piece has no root; it is beaten as a whole (by a rounding error, if it seemed to survive).
        let beaten = square < 0.0 && new.a <= self.a[piece];
        let root = if beaten { f64::NEG_INFINITY } else { middle + square.max(0.0).sqrt() };
        let low = root.max(self.low[piece]).min(self.high(piece));
        self.end = piece + 1;
        if low < f64::INFINITY {
            self.set(self.end, new, low);
            self.end += 1;
        }
    }

    fn append_left(&mut self, piece: usize, new: &Candidate) {
        let (middle, square) = self.meet(piece, new);
        let beaten = square < 0.0 && new.a <= self.a[piece];
        let root = if beaten { f64::INFINITY } else { middle - square.max(0.0).sqrt() };
        let low = root.min(self.high(piece)).max(self.low[piece]);
        self.first = piece;
        if low > f64::NEG_INFINITY {
            self.low[piece] = low;
            self.at_low[piece] = new.at(low);
            self.first -= 1;
            self.set(self.first, new, f64::NEG_INFINITY);
        }
    }

    /// Adds a candidate wherever it wins, be it in the middle: every piece is looked at.
    pub(super) fn insert_anywhere(&mut self, new: &Candidate) {
        let mut kept = std::mem::take(&mut self.spare);
        kept.clear();
        let mut open = f64::NEG_INFINITY;
        for piece in self.first..self.end {
            let (middle, square) = self.meet(piece, new);
            if square < 0.0 {
                continue;
            }
            let half = square.sqrt();
            let (low, high) = ((middle - half).max(self.low[piece]), (middle + half).min(self.high(piece)));
            if low > high {
                continue;
            }
            if open < low {
                kept.push((*new, open));
            }
            kept.push((self.candidate(piece), low));
            open = high;
        }
        if open < f64::INFINITY {
            kept.push((*new, open));
        }
        self.replace(&kept);
        self.spare = kept;
    }

    fn replace(&mut self, pieces: &[(Candidate, f64)]) {
        self.first = 0;
        self.end = pieces.len();
        self.make_room();
        self.first = (self.a.len() - pieces.len()) / 2;
        self.end = self.first + pieces.len();
        for (index, (candidate, low)) in pieces.iter().enumerate() {
            self.set(self.first + index, candidate, *low);
        }
    }

    /// Charges one sample under the bounded loss `weight · min((value − level)², bound²)`.
    ///
    /// The pieces are cut where the loss reaches its bound: within, a piece grows by a quadratic, without, by a
    /// constant (Fearnhead & Rigaill, J. Am. Stat. Assoc. 114 (2019) 169). Needs a row just rebased.
    pub(super) fn charge_bounded(&mut self, value: f64, weight: f64, bound: f64) {
        self.reserve(4);
        let (from, to) = (value - bound, value + bound);
        self.cut(from);
        self.cut(to);
        for piece in self.first..self.end {
            let low = self.low[piece];
            if low >= from && low < to {
                self.a[piece] -= weight;
                self.b[piece] -= weight * value;
                self.c[piece] += weight * value * value;
            } else {
                self.c[piece] += weight * bound * bound;
            }
            let off = low - value;
            self.at_low[piece] += weight * (off * off).min(bound * bound);
        }
        self.at_low[self.first] = 0.0;
    }

    /// Makes `level` the lower end of a piece.
    fn cut(&mut self, level: f64) {
        let piece = self.first + self.low[self.first..self.end].partition_point(|low| *low <= level);
        // The first piece reaches to minus infinity, so one lies before.
        if self.low[piece - 1] >= level {
            return;
        }
        let whole = self.candidate(piece - 1);
        for column in [&mut self.a, &mut self.b, &mut self.c, &mut self.low, &mut self.at_low] {
            column.copy_within(piece..self.end, piece + 1);
        }
        self.change.copy_within(piece..self.end, piece + 1);
        self.end += 1;
        self.set(piece, &whole, level);
    }

    /// Drops every piece that lies wholly outside `low..high`; the outermost ones left reach to infinity.
    pub(super) fn clip(&mut self, low: f64, high: f64) {
        while self.first + 1 < self.end && self.low[self.first + 1] <= low {
            self.first += 1;
        }
        while self.first + 1 < self.end && self.low[self.end - 1] >= high {
            self.end -= 1;
        }
        self.low[self.first] = f64::NEG_INFINITY;
    }

    /// Starts the sums anew, with values counted from `shift` and costs from `cost`, so that long rows of samples at
    /// a large level lose no digits.
    pub(super) fn rebase(&mut self, shift: f64, cost: f64) {
        for piece in self.first..self.end {
            let low = self.low[piece];
            if piece > self.first {
                self.at_low[piece] += self.sums.at(low) - cost;
            }
            let charged = Sums {
                weight: self.sums.weight - self.a[piece],
                value: self.sums.value - self.b[piece],
                square: self.sums.square + self.c[piece] - cost,
            }
            .shifted(shift);
            (self.a[piece], self.b[piece], self.c[piece]) = (-charged.weight, -charged.value, charged.square);
            self.low[piece] = low - shift;
        }
        self.sums = Sums::default();
    }

    /// Makes sure that `count` pieces can be added at either end.
    pub(super) fn reserve(&mut self, count: usize) {
        if self.first < count || self.end + count > self.a.len() {
            self.make_room();
            let first = (self.a.len() - self.len()) / 2;
            let (pieces, count) = (self.first..self.end, self.len());
            for column in [&mut self.a, &mut self.b, &mut self.c, &mut self.low, &mut self.at_low] {
                column.copy_within(pieces.clone(), first);
            }
            self.change.copy_within(pieces, first);
            self.first = first;
            self.end = first + count;
        }
    }

    /// Grows the columns so that the pieces in use fill no more than half of them.
    fn make_room(&mut self) {
        let size = (2 * self.len() + ROOM).next_power_of_two();
        if size > self.a.len() {
            for column in
                [&mut self.a, &mut self.b, &mut self.c, &mut self.low, &mut self.at_low, &mut self.lowest]
            {
                column.resize(size, 0.0);
            }
            self.change.resize(size, 0);
        }
    }
}
