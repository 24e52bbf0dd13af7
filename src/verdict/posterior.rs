//! From plausibilities to probabilities.

use super::Class;
use super::explain::Explanation;

/// Nats of plausibility that count as one nat of probability. The penalties of the alignment add up evidence that is
/// partly the same evidence; dividing by this keeps the probabilities from running to 0 and 1. Set by judgement, not
/// fitted: what is said at 0.9 is not known to be right nine times in ten.
const TEMPERATURE: f64 = 2.5;

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
