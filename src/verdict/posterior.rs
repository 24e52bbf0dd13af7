//! From plausibilities to probabilities.

use super::Class;
use super::explain::Explanation;

/// Nats of plausibility that count as one nat of probability.
///
/// The penalties of the alignment are softened where they add up what is partly the same evidence; whether a nat is one
/// was then measured on 246 simulated captures of six boards and four supplies that the models were not made with. The
/// log loss is flat below 1 and rises above; 1 is the careful end. The same captures, 146 others of four boards that took no
/// part in that choice, and 11562 of 282 further boards and twenty-four further supplies, each set as it was first seen, before
/// anything was changed for it, say how sure a verdict was and how often it was right:
///
/// | said | choosing: right of | others: right of | first seen: right of |
/// |---|---|---|---|
/// | below 0.5 | none | none | 27 of 54 |
/// | 0.5 to 0.6 | 1 of 1 | 4 of 4 | 134 of 189 |
/// | 0.6 to 0.8 | 7 of 7 | 4 of 5 | 464 of 541 |
/// | 0.8 to 0.9 | 18 of 19 | 4 of 4 | 686 of 708 |
/// | 0.9 to 1.0 | 219 of 219 | 133 of 133 | 9978 of 10070 |
///
/// The last 5166 of them are of `examples/unseen`, which makes such a set anew from a number. The first 1968 of these came before
/// the models knew boards of its kind, and 39 of the 92 that were said at 0.9 and over and were wrong are theirs.
///
/// `examples/score.rs` prints such tables, and one more for every board with a temperature fitted on all the others; it
/// comes out at 0.5 to 0.9, so that verdicts are right more often than they are said to be.
///
/// The models themselves were made with the first two sets in sight; the last column is what to expect of boards that
/// nobody has seen. Real boards have not been counted yet.
const TEMPERATURE: f64 = 1.0;

/// Share of the verdicts that go wrong for reasons outside every model here (by judgement, not fitted).
const OUTSIDE: f64 = 0.01;

/// A class with its probability.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Probable {
    pub class: Class,
    pub probability: f64,
    pub ending: Option<usize>,
}

/// Probabilities of the classes, likeliest first.
pub(super) fn posterior(explanations: &[Explanation]) -> Vec<Probable> {
    let best = explanations.iter().map(|e| e.score).fold(f64::NEG_INFINITY, f64::max);
    let weight = |e: &Explanation| ((e.score - best) / TEMPERATURE).exp();
    let total: f64 = explanations.iter().map(weight).sum();
    let probable = |e: &Explanation| Probable {
        class: e.class,
        probability: (1.0 - OUTSIDE) * weight(e) / total,
        ending: e.ending,
    };
    let mut found: Vec<Probable> = explanations.iter().map(probable).collect();
    found.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    found
}
