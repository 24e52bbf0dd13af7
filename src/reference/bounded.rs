//! The cheapest way of a long run through stages of one level each, found without looking at every stretch of it.
//!
//! The answer is that of [`course::align`](super::course::align), whose work grows with the square of the run: a board
//! that is watched for a day has two hundred thousand pieces. Here a way is not followed further once it costs more than
//! a way that is known, with what the rest of the run costs at the least (branch and bound: Land & Doig, Econometrica 28
//! (1960) 497). What a rest costs at the least is had by giving every piece to the stage that it fits best; a way that is
//! known, by leaving the lengths of the stages out of the reckoning.

use super::capture::Run;
use super::course::{SHORTEST_STAY_S, Stage, trace_back};

/// Rounding of sums, so that the way that is known is not itself given up, in nats.
const SLACK: f64 = 1e-6;

/// What the pieces of a run cost in every stage.
struct Costs<'a> {
    run: &'a Run,
    stages: &'a [Stage],
    /// For each stage, running sums over the pieces.
    sums: Vec<Vec<f64>>,
    /// From each piece on, what the rest costs at the least.
    rest: Vec<f64>,
    /// From each stage on, what the lengths cost at the least.
    lengths: Vec<f64>,
}

/// The first piece of each stage and the cost; `None` if there is no way. The stages must have no slope.
pub(super) fn align(run: &Run, stages: &[Stage]) -> Option<(Vec<usize>, f64)> {
    let costs = Costs::of(run, stages);
    let known = costs.cost(&costs.without_lengths()?);
    costs.within(known + SLACK)
}

impl<'a> Costs<'a> {
    fn of(run: &'a Run, stages: &'a [Stage]) -> Self {
        let count = run.pieces.len();
        let mut sums = vec![vec![0.0; count + 1]; stages.len()];
        let mut rest = vec![0.0; count + 1];
        for (index, piece) in run.pieces.iter().enumerate() {
            let mut least = f64::INFINITY;
            for (sums, stage) in sums.iter_mut().zip(stages) {
                let cost = stage.piece_cost(piece, 0.0);
                sums[index + 1] = sums[index] + cost;
                least = least.min(cost);
            }
            rest[index] = least;
        }
        for index in (0..count).rev() {
            rest[index] += rest[index + 1];
        }
        let mut lengths: Vec<f64> = stages.iter().map(Stage::least_length_cost).collect();
        for k in (1..stages.len()).rev() {
            lengths[k - 1] += lengths[k];
        }
        Self { run, stages, sums, rest, lengths }
    }

    /// Where a stage that ends after `end` pieces has begun at the latest to last long enough: one past that piece.
    fn latest(&self, from: usize, end: usize) -> usize {
        let pieces = &self.run.pieces;
        let ends = pieces[end - 1].to;
        (from..end).find(|start| ends - pieces[*start].from < SHORTEST_STAY_S).unwrap_or(end)
    }

    /// The cheapest way if stages may last as long as they like.
    fn without_lengths(&self) -> Option<Vec<usize>> {
        let count = self.run.pieces.len();
        let mut from = vec![vec![0; count + 1]; self.stages.len() + 1];
        let mut before = vec![f64::INFINITY; count + 1];
        before[0] = 0.0;
        for (k, sums) in self.sums.iter().enumerate() {
            let mut after = vec![f64::INFINITY; count + 1];
            let (mut least, mut begun, mut next) = (f64::INFINITY, 0, 0);
            for end in 1..=count {
                let latest = self.latest(next, end);
                for start in next..latest {
                    if before[start] - sums[start] < least {
                        (least, begun) = (before[start] - sums[start], start);
                    }
                }
                next = latest;
                (after[end], from[k + 1][end]) = (least + sums[end], begun);
            }
            before = after;
        }
        before[count].is_finite().then(|| trace_back(&from, count))
    }

    /// Cost of a way.
    fn cost(&self, starts: &[usize]) -> f64 {
        let ends = starts.iter().copied().skip(1).chain([self.run.pieces.len()]);
        starts.iter().zip(ends).enumerate().map(|(k, (start, end))| self.stay(k, *start, end)).sum()
    }

    /// Cost of pieces `start..end` in stage `k`.
    fn stay(&self, k: usize, start: usize, end: usize) -> f64 {
        let length = self.run.pieces[end - 1].to - self.run.pieces[start].from;
        self.sums[k][end] - self.sums[k][start] + self.stages[k].length_cost(length)
    }

    /// The cheapest way of those that cost no more than `most`.
    fn within(&self, most: f64) -> Option<(Vec<usize>, f64)> {
        let count = self.run.pieces.len();
        let mut from = vec![vec![0; count + 1]; self.stages.len() + 1];
        let mut before = vec![f64::INFINITY; count + 1];
        before[0] = 0.0;
        for k in 0..self.stages.len() {
            let mut after = vec![f64::INFINITY; count + 1];
            for (start, &cost) in before.iter().enumerate().take(count) {
                if cost + self.rest[start] + self.lengths[k] <= most {
                    self.extend(k, start, cost, most, |end, total| {
                        if total < after[end] {
                            (after[end], from[k + 1][end]) = (total, start);
                        }
                    });
                }
            }
            before = after;
        }
        let cost = before[count];
        cost.is_finite().then(|| (trace_back(&from, count), cost))
    }

    /// Tells every end, with the cost up to there, of stage `k` from piece `start` that may lead to `most` or less.
    fn extend(&self, k: usize, start: usize, before: f64, most: f64, mut tell: impl FnMut(usize, f64)) {
        let count = self.run.pieces.len();
        let first = if k + 1 == self.stages.len() { count } else { start + 1 };
        for end in first..=count {
            let least = before + self.sums[k][end] - self.sums[k][start] + self.rest[end];
            // Further on it only grows: no piece costs less here than where it fits best.
            if least + self.lengths[k] > most {
                break;
            }
            if self.run.pieces[end - 1].to - self.run.pieces[start].from >= SHORTEST_STAY_S {
                tell(end, before + self.stay(k, start, end));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::course;
    use super::*;
    use proptest::prelude::*;

    fn stage() -> impl Strategy<Value = Stage> {
        let length = prop::option::of((-1.0..2.0_f64, 0.1..1.0_f64));
        (-2.0..2.0_f64, 0.06..0.6_f64, length).prop_map(|(level, spread, length)| Stage {
            level,
            slope: 0.0,
            spread,
            length,
        })
    }

    proptest! {
        #[test]
        fn the_way_is_the_cheapest_of_all(
            pieces in prop::collection::vec((0.05..0.9_f64, -2.0..2.0_f64), 1..60),
            stages in prop::collection::vec(stage(), 1..5),
        ) {
            let run = Run::of_pieces(&pieces);
            match (align(&run, &stages), course::align(&run, &stages)) {
                (Some((starts, cost)), Some((_, least))) => {
                    prop_assert!((cost - least).abs() < 1e-6, "{cost} {least}");
                    prop_assert!((Costs::of(&run, &stages).cost(&starts) - least).abs() < 1e-6);
                }
                (found, expected) => prop_assert_eq!(found.is_some(), expected.is_some()),
            }
        }
    }
}
