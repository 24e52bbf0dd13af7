//! Tries that a rest has swallowed: pulses as high and as long as the tries around it.
//!
//! To an alignment, a try that draws no more than the pulses which good boards have while they wait is a pulse: a rest with
//! it costs less than a rest, a try and a rest. Beside a row of tries of the same height and length it is one of them.

use super::super::piece::{Piece, Sums};
use super::{Path, State, Step};
use crate::stats::robust;

/// Share of the usual try's power and length from which a pulse is one (common practice, no source).
const AS_HIGH: f64 = 0.75;
const AS_LONG: f64 = 0.5;
/// Fewer tries do not tell what is usual.
const FEWEST: usize = 3;

/// `path` with the tries that its rests hold told apart, each as an excursion.
pub(in super::super) fn with_hidden_tries(path: Path, pieces: &[Piece]) -> Path {
    let Some(usual) = Usual::of(&path) else { return path };
    let sums = Sums::of(pieces);
    path.into_iter().flat_map(|step| usual.told_apart(step, pieces, &sums)).collect()
}

/// The usual try: its power in watts and its length in seconds.
struct Usual {
    watts: f64,
    seconds: f64,
}

impl Usual {
    fn of(path: &[Step]) -> Option<Self> {
        let tries = |step: &&Step| matches!(step.state, State::Held(_) | State::Surge);
        let of = |value: fn(&Step) -> f64| path.iter().filter(tries).map(value).collect::<Vec<f64>>();
        let (mut watts, mut seconds) = (of(|step| step.stretch.watts), of(|step| step.stretch.duration()));
        if watts.len() < FEWEST {
            return None;
        }
        Some(Self { watts: robust::median(&mut watts)?, seconds: robust::median(&mut seconds)? })
    }

    fn is_try(&self, piece: &Piece) -> bool {
        piece.watts >= AS_HIGH * self.watts && piece.duration() >= AS_LONG * self.seconds
    }

    /// The parts of `step`: rests and the tries between them.
    fn told_apart(&self, step: Step, pieces: &[Piece], sums: &Sums) -> Vec<Step> {
        let inner = step.from + 1..step.to.saturating_sub(1);
        let hidden = |index: usize| inner.contains(&index) && self.is_try(&pieces[index]);
        if step.state != State::Low || !(step.from..step.to).any(hidden) {
            return vec![step];
        }
        let indices: Vec<usize> = (step.from..step.to).collect();
        let parts = indices.chunk_by(|a, b| hidden(*a) == hidden(*b));
        parts
            .map(|part| {
                let (from, to) = (part[0], part[part.len() - 1] + 1);
                let state = if hidden(from) { State::Surge } else { step.state };
                let rested = step.rested || from > step.from;
                Step { state, from, to, rested, stretch: sums.stretch(from, to) }
            })
            .collect()
    }
}
