//! Where a board wakes: with its first reading above the rest before it.
//!
//! To an alignment, the readings of a rise are averages over an edge and short pulses, which a rest may hold as well as a
//! start. A start that follows them begins with them.

use super::super::piece::{Piece, Sums};
use super::{Path, State, Step};

/// Longest rise that is an edge and no stage, in seconds: capacitors charge and converters start in less (common practice,
/// no source).
const RISE_S: f64 = 0.5;
/// Share of the way from the rest to what follows from which a reading is on it; noise and housekeeping stay below.
const ON_THE_WAY: f64 = 0.05;
/// ... and times the rest's own level (by judgement).
const ABOVE_REST: f64 = 2.0;
/// ... or, where less will do for that, times all that the rest came to before the rise may have begun (by judgement).
const ABOVE_ALL: f64 = 1.25;

/// `path` with every start that follows a rest taken back to its first reading.
pub(in super::super) fn from_first_reading(mut path: Path, pieces: &[Piece]) -> Path {
    let sums = Sums::of(pieces);
    for index in 1..path.len() {
        let (before, start) = (path[index - 1], path[index]);
        let first = first_of_rise(&before, &start, pieces);
        if first < start.from {
            path[index - 1] = Step { to: first, stretch: sums.stretch(before.from, first), ..before };
            path[index] = Step { from: first, stretch: sums.stretch(first, start.to), ..start };
        }
    }
    path
}

/// Index of the first piece of the rise from the rest `before` to the `start` that follows it: its own first if there is
/// none.
fn first_of_rise(before: &Step, start: &Step, pieces: &[Piece]) -> usize {
    if !before.state.is_rest() || !(start.state == State::Surge || start.state.stage().is_some()) {
        return start.from;
    }
    let (rest, high) = (before.stretch.watts.max(0.0), pieces[start.from].watts);
    let soon = start.stretch.start_s - RISE_S;
    let earlier = pieces[before.from..start.from].iter().filter(|piece| piece.start_s < soon);
    let came_to = earlier.map(Piece::above_floor).max_by(f64::total_cmp);
    let above = came_to.map_or(f64::INFINITY, |highest| ABOVE_ALL * highest).min(ABOVE_REST * rest);
    let least = (rest + ON_THE_WAY * (high - rest)).max(above);
    let on_the_way = |index: &usize| pieces[*index].watts > least && pieces[*index].start_s >= soon;
    let rise = (before.from + 1..start.from).rev().take_while(on_the_way);
    rise.last().unwrap_or(start.from)
}
