//! Tries that are alike go through the same stages.
//!
//! To an alignment, each try costs what it costs by itself, and one in which the readings leave a boundary open may be put
//! together in another way than the rest of a row that does the same again and again.

use super::super::piece::{Piece, Sums};
use super::{Path, State, Step};
use crate::stats::robust;
use std::ops::Range;

/// How far tries that are alike, and the stages in them, may differ in length and in level, as a log (by judgement: less than
/// stages of a board lie apart, more than tries of one board do).
const ALIKE: f64 = 0.25;

/// `path` with each try that is as long and as high as most others divided as those are, wherever its levels allow it.
pub(in super::super) fn with_alike_tries(path: Path, pieces: &[Piece]) -> Path {
    let sums = Sums::of(pieces);
    let tries = tries(&path);
    let Some(usual) = Usual::of(&path, &tries) else { return path };
    let mut alike = path.clone();
    for of_try in tries.into_iter().rev().filter(|of_try| states(&path[of_try.clone()]) != usual.states) {
        if let Some(steps) = usual.divide(&path[of_try.clone()], pieces, &sums) {
            alike.splice(of_try, steps);
        }
    }
    alike
}

/// The steps of each try that a rest follows.
fn tries(path: &[Step]) -> Vec<Range<usize>> {
    let rests = |step: &Step| matches!(step.state, State::Low | State::Nothing);
    let mut found = Vec::new();
    let mut from = None;
    for (index, step) in path.iter().enumerate() {
        match (rests(step), from) {
            (true, Some(first)) => found.push(first..index),
            (false, Some(_)) => continue,
            _ => {}
        }
        from = (!rests(step) && step.state != State::Inrush).then_some(index);
    }
    found
}

fn states(steps: &[Step]) -> Vec<State> {
    steps.iter().map(|step| step.state).collect()
}

/// What most tries go through: stages only, each with where it begins after the wake, in seconds, and the log of its power.
struct Usual {
    states: Vec<State>,
    begins_s: Vec<f64>,
    levels: Vec<f64>,
    lasts_s: f64,
}

impl Usual {
    fn of(path: &[Step], tries: &[Range<usize>]) -> Option<Self> {
        let rows: Vec<&[Step]> = tries.iter().map(|of_try| &path[of_try.clone()]).collect();
        let like = |row: &[Step]| rows.iter().filter(|other| states(other) == states(row)).count();
        let most = rows.iter().copied().max_by_key(|row| like(row))?;
        let in_stages = most.iter().all(|step| step.state.stage().is_some());
        if !in_stages || like(most) < 2 || 2 * like(most) <= rows.len() || like(most) == rows.len() {
            return None;
        }
        let states_of_most = states(most);
        let alike: Vec<&[Step]> = rows.into_iter().filter(|row| states(row) == states_of_most).collect();
        let median = |of: &dyn Fn(&[Step]) -> f64| {
            robust::median(&mut alike.iter().map(|row| of(row)).collect::<Vec<_>>())
        };
        let each = |of: &dyn Fn(&[Step], usize) -> f64| -> Option<Vec<f64>> {
            (0..most.len()).map(|k| median(&|row: &[Step]| of(row, k))).collect()
        };
        Some(Self {
            begins_s: each(&|row, k| row[k].stretch.start_s - row[0].stretch.start_s)?,
            levels: each(&|row, k| level(&row[k]))?,
            lasts_s: median(&lasts_s)?,
            states: states_of_most,
        })
    }

    /// The steps of one more try, divided as these; `None` if it is not alike.
    fn divide(&self, of_try: &[Step], pieces: &[Piece], sums: &Sums) -> Option<Vec<Step>> {
        let (first, last) = (of_try.first()?, of_try.last()?);
        if (lasts_s(of_try) / self.lasts_s).ln().abs() > ALIKE {
            return None;
        }
        let at = |begins_s: &f64| {
            let due_s = first.stretch.start_s + begins_s;
            let off_s = |index: &usize| (pieces[*index].start_s - due_s).abs();
            (first.from..last.to).min_by(|one, other| off_s(one).total_cmp(&off_s(other)))
        };
        let mut bounds: Vec<usize> = self.begins_s.iter().map(at).collect::<Option<_>>()?;
        bounds.push(last.to);
        let steps: Vec<Step> = bounds
            .windows(2)
            .zip(&self.states)
            .filter(|(pair, _)| pair[0] < pair[1])
            .map(|(pair, state)| {
                let (from, to) = (pair[0], pair[1]);
                Step { state: *state, from, to, rested: first.rested, stretch: sums.stretch(from, to) }
            })
            .collect();
        let near = |(step, usual): (&Step, &f64)| (level(step) - usual).abs() <= ALIKE;
        (steps.len() == self.states.len() && steps.iter().zip(&self.levels).all(near)).then_some(steps)
    }
}

fn lasts_s(of_try: &[Step]) -> f64 {
    of_try.iter().map(|step| step.stretch.duration()).sum()
}

fn level(step: &Step) -> f64 {
    step.stretch.watts.max(f64::MIN_POSITIVE).ln()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::segment::{Settings, segment};
    use crate::verdict::piece::pieces;
    use crate::verdict::tests::{OFF, SET_V, fed, trace};

    /// Where a try of its own division ends up, after two that go from rails to loading and hang there: for a second, at `watts`,
    /// and `seconds` more.
    fn third(watts: f64, seconds: f64) -> Vec<(State, f64)> {
        let (trace, (run, readout)) = (trace(&[OFF, (4.0, SET_V, 0.0234)]), fed(4.0));
        let cut = segment(&trace, &Settings::default()).expect("a trace with readings");
        let rest = pieces(&trace, &cut, &run, &readout).pop().expect("a rest");
        let levels = [(1.0, 2.0), (2.0, 12.0), (1.0, 0.3)].repeat(2);
        let levels =
            [&[(1.0, 0.3)][..], &levels, &[(1.0, 2.0), (1.0, watts), (seconds, watts), (1.0, 0.3)]].concat();
        let mut start_s = 0.0;
        let each = |(lasts_s, watts): &(f64, f64)| {
            let mut piece = rest.clone();
            (piece.start_s, piece.end_s, piece.watts) = (start_s, start_s + lasts_s, *watts);
            start_s += lasts_s;
            piece
        };
        let pieces: Vec<Piece> = levels.iter().map(each).collect();
        let sums = Sums::of(&pieces);
        let step =
            |state, from, to| Step { state, from, to, rested: from > 0, stretch: sums.stretch(from, to) };
        let (rails, loading) = (State::Done(0), State::Held(1));
        let states = [State::Low, rails, loading, State::Low, rails, loading, State::Low];
        let mut path: Path = (0..).zip(states).map(|(from, state)| step(state, from, from + 1)).collect();
        path.extend([step(State::Held(0), 7, 9), step(State::Excess, 9, 10), step(State::Low, 10, 11)]);
        let path = with_alike_tries(path, &pieces);
        assert!(path.windows(2).all(|pair| pair[0].to == pair[1].from), "{path:?}");
        path[7..path.len() - 1].iter().map(|step| (step.state, step.stretch.duration())).collect()
    }

    #[test]
    fn a_try_as_long_and_as_high_as_the_others_is_divided_as_they_are() {
        let own = [(State::Held(0), 2.0), (State::Excess, 1.0)];
        assert_eq!(third(12.0, 1.0), [(State::Done(0), 1.0), (State::Held(1), 2.0)]);
        assert_eq!(third(6.0, 1.0), own, "not as high");
        assert_eq!(third(12.0, 3.0), [(State::Held(0), 2.0), (State::Excess, 3.0)], "not as long");
    }
}
