//! Where the running level begins.
//!
//! To an alignment, a stage that lasts longer than on good boards and a board that runs and is busy as in that stage are much the
//! same, and the second may cost it less. What this very board draws once it runs, and drew in the stage before, tells.

use super::super::model::Model;
use super::super::piece::{LOOK_S, Piece, Sums};
use super::{Path, State, Step};
use crate::stats::robust;
use std::ops::Range;

/// Levels that lie no further apart on this board, as a log, do not tell (by judgement).
const TELLS: f64 = 0.08;
/// More of its time than this a board is at its running level, if it is there at all (by judgement).
const MOST: f64 = 0.5;

/// Shorter stages are edges as much as levels, in seconds: what follows one may be the rest of its edge (by judgement).
const SHORT_S: f64 = 2.0 * LOOK_S;

/// `path` with every stage before the running level gone on with for as long as the board drew what it did there.
pub(in super::super) fn to_running_level(mut path: Path, pieces: &[Piece], model: &Model) -> Path {
    let (sums, last) = (Sums::of(pieces), model.last());
    for index in 1..path.len() {
        let to = index + path[index..].iter().take_while(|step| runs(step, last)).count();
        let State::Done(stage) = path[index - 1].state else { continue };
        if to == index || !has_a_level(model.stages[stage].duration.map(|span| span.typical)) {
            continue;
        }
        let (stage, running) = (path[index - 1].from..path[index].from, path[index].from..path[to - 1].to);
        let first = first_running(pieces, stage, running);
        for step in &mut path[index - 1..to] {
            *step = beginning_at(first, step, last, &sums);
        }
    }
    path.retain(|step| step.from < step.to);
    path
}

/// Whether a stage that usually lasts `seconds` has a level that goes on.
pub(in super::super) fn has_a_level(seconds: Option<f64>) -> bool {
    seconds.is_some_and(|seconds| seconds >= SHORT_S)
}

fn runs(step: &Step, last: usize) -> bool {
    step.state == State::Held(last) || step.state == State::Burst
}

/// `step` without what is not its own if the running level begins with piece `first`; empty if nothing is.
fn beginning_at(first: usize, step: &Step, last: usize, sums: &Sums) -> Step {
    if !runs(step, last) {
        return Step { to: first, stretch: sums.stretch(step.from, first), ..*step };
    }
    let from = step.from.max(first.min(step.to));
    let begins = from == first && from > step.from;
    let state = if begins { State::Held(last) } else { step.state };
    let stretch = if from < step.to { sums.stretch(from, step.to) } else { step.stretch };
    Step { state, from, stretch, ..*step }
}

/// The first piece of the running level that follows a stage of the pieces `stage`: where the absolute deviations from what the
/// board draws in each, in all, are least.
pub(in super::super) fn first_running(pieces: &[Piece], stage: Range<usize>, running: Range<usize>) -> usize {
    let (Some(before), Some(after)) = (median_level(&pieces[stage]), settled_level(&pieces[running.clone()]))
    else {
        return running.start;
    };
    if (after - before).abs() < TELLS {
        return running.start;
    }
    let until_s = MOST.mul_add(lasts(&pieces[running.clone()]), pieces[running.start].start_s);
    let in_time = pieces[running.clone()].iter().take_while(|piece| piece.end_s < until_s);
    let ahead = in_time.scan(0.0, |ahead, piece| {
        *ahead += piece.duration() * ((piece.level() - after).abs() - (piece.level() - before).abs());
        Some(*ahead)
    });
    let ends = ahead.enumerate().max_by(|(_, one), (_, other)| one.total_cmp(other));
    ends.filter(|(_, ahead)| *ahead > TELLS * LOOK_S)
        .map_or(running.start, |(index, _)| running.start + index + 1)
}

fn lasts(pieces: &[Piece]) -> f64 {
    pieces.first().zip(pieces.last()).map_or(0.0, |(first, last)| last.end_s - first.start_s)
}

/// The level of the later half of `pieces`.
fn settled_level(pieces: &[Piece]) -> Option<f64> {
    let (first, last) = (pieces.first()?, pieces.last()?);
    let middle_s = f64::midpoint(first.start_s, last.end_s);
    median_level(&pieces[pieces.partition_point(|piece| piece.end_s <= middle_s)..])
}

/// The median of the level over the time of `pieces`.
fn median_level(pieces: &[Piece]) -> Option<f64> {
    let mut levels: Vec<(f64, f64)> = pieces.iter().map(|piece| (piece.level(), piece.duration())).collect();
    robust::weighted_median(&mut levels)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::segment::{Settings, segment};
    use crate::units::Volts;
    use crate::verdict::piece::pieces;
    use crate::verdict::tests::{OFF, SET_V, fed, profile, trace};

    /// The second stage, about 13 W, and the running level, about 8 W.
    const LOADING: usize = 1;
    const IDLE: usize = 2;

    /// When the running level begins of a board that loads for 4 s, draws `amps` for 4 s, which an alignment took for a busy
    /// running level, and idles from then on, all after 1 s without feed.
    fn running_from(amps: f64) -> f64 {
        let levels = [OFF, (4.0, SET_V, 1.0), (4.0, SET_V, amps), (20.0, SET_V, 0.63)];
        let (trace, (run, readout)) = (trace(&levels), fed(28.0));
        let cut = segment(&trace, &Settings::default()).expect("a trace with readings");
        let pieces = pieces(&trace, &cut, &run, &readout);
        let sums = Sums::of(&pieces);
        let at = |time: f64| pieces.partition_point(|piece| piece.start_s < time - 0.5);
        let step = |state, from, to| Step { state, from, to, rested: false, stretch: sums.stretch(from, to) };
        let (busy, calm) = (at(5.0), at(9.0));
        let path = vec![
            step(State::Done(LOADING), 0, busy),
            step(State::Burst, busy, calm),
            step(State::Held(IDLE), calm, pieces.len()),
        ];
        let model = Model::from_profile(&profile(), Volts::constant(SET_V));
        let path = to_running_level(path, &pieces, &model);
        assert!(path.windows(2).all(|pair| pair[0].to == pair[1].from), "{path:?}");
        path.iter().find(|step| runs(step, IDLE)).map_or(f64::NAN, |step| step.stretch.start_s)
    }

    #[test]
    fn a_stage_goes_on_for_as_long_as_the_board_draws_what_it_did_there() {
        assert!((8.5..9.5).contains(&running_from(1.06)), "its own level: {}", running_from(1.06));
        assert!((4.5..5.5).contains(&running_from(0.68)), "the running level: {}", running_from(0.68));
    }

    #[test]
    fn a_stage_that_is_mostly_edge_has_no_level_that_goes_on() {
        assert!(!has_a_level(Some(0.5)) && has_a_level(Some(1.5)) && !has_a_level(None));
    }
}
