//! Where a board wakes: with its first reading above the rest before it.
//!
//! To an alignment, the readings of a rise are averages over an edge and short pulses, which a rest may hold as well as a
//! start. A start that follows them begins with them.

use super::super::model::Stage;
use super::super::piece::{Piece, Sums};
use super::{Path, State, Step};

/// Longest rise that is an edge and no stage, in seconds: capacitors charge and converters start in less (common practice,
/// no source).
const RISE_S: f64 = 0.5;
/// ... and in renewals of the readings: one that averages over the edge, the next, and what they come early or late.
const RISE_UPDATES: f64 = 2.5;
/// Share of the way from the rest to what follows from which a reading is on it; noise and housekeeping stay below.
const ON_THE_WAY: f64 = 0.05;
/// ... and times the rest's own level (by judgement).
const ABOVE_REST: f64 = 2.0;
/// ... or, where less will do for that, times all that the rest came to before the rise may have begun (by judgement).
const ABOVE_ALL: f64 = 1.25;
/// Steps of the readback above the rest's mean that are no more than it: a coarse one shows it as one step or the next (by
/// judgement) ...
const STEPS_OF_REST: f64 = 1.5;
/// ... but for what is this share of the way up (by judgement).
const SURELY_ON_THE_WAY: f64 = 0.5;

/// How finely a supply shows what a board draws.
#[derive(Debug, Clone, Copy)]
pub(in super::super) struct Fineness {
    /// Seconds from one fresh reading to the next.
    pub(in super::super) update_s: f64,
    /// Step of the readings, in watts.
    pub(in super::super) step_w: f64,
}

/// `path` with every start that follows a rest taken back to its first reading, of readings as fine as `fineness` from a board
/// that goes through `stages`. What the last reading of a piece comes to, in watts, `ends_at` tells.
pub(in super::super) fn from_first_reading(
    mut path: Path,
    pieces: &[Piece],
    (fineness, stages): (Fineness, &[Stage]),
    ends_at: impl Fn(&Piece) -> f64,
) -> Path {
    let edge_s = RISE_S.max(RISE_UPDATES * fineness.update_s);
    let sums = Sums::of(pieces);
    for index in 1..path.len() {
        let (before, start) = (path[index - 1], path[index]);
        let rise_s = edge_s + passed_over_s(start.state, stages);
        let first = first_of_rise(&before, &start, pieces, (rise_s, fineness.step_w, &ends_at));
        if first < start.from {
            path[index - 1] = Step { to: first, stretch: sums.stretch(before.from, first), ..before };
            path[index] = Step { from: first, stretch: sums.stretch(first, start.to), ..start };
        }
    }
    path
}

/// `path` with what a brief log ends in taken for a start where it is a rest of at most `rest_w` watts and a level well above it:
/// to an alignment the two together, too short for a level of its own, are a rest that draws more.
pub(in super::super) fn with_last_start(mut path: Path, pieces: &[Piece], rest_w: f64) -> Path {
    /// Times the most that good boards draw at rest, beyond which a level is none (by judgement).
    const WELL_ABOVE: f64 = 2.0;
    let Some(last) = path.last().copied().filter(|last| last.state == State::Excess) else { return path };
    let own = &pieces[last.from..last.to];
    let first = last.from + own.iter().take_while(|piece| piece.watts <= rest_w).count();
    let up = pieces[first..last.to].iter().all(|piece| piece.is_edge() || piece.watts > WELL_ABOVE * rest_w);
    if first == last.from || first == last.to || !up {
        return path;
    }
    let sums = Sums::of(pieces);
    path.pop();
    path.push(Step { state: State::Low, to: first, stretch: sums.stretch(last.from, first), ..last });
    path.push(Step { state: State::Surge, from: first, stretch: sums.stretch(first, last.to), ..last });
    path
}

/// How long the stages take at most that come before `state`: a start that is found late in the boot may have gone through
/// them at levels that the alignment takes for the rest's.
fn passed_over_s(state: State, stages: &[Stage]) -> f64 {
    let first = state.stage().unwrap_or(0).min(stages.len());
    stages[..first].iter().filter_map(|stage| Some(stage.duration.as_ref()?.high)).sum()
}

/// Index of the first piece of the rise of at most `rise_s` from the rest `before` to the `start` that follows it: its own
/// first if there is none.
fn first_of_rise(
    before: &Step,
    start: &Step,
    pieces: &[Piece],
    (rise_s, step_w, ends_at): (f64, f64, impl Fn(&Piece) -> f64),
) -> usize {
    if !before.state.is_rest() || !(start.state == State::Surge || start.state.stage().is_some()) {
        return start.from;
    }
    let (rest, high) = (before.stretch.watts.max(0.0), pieces[start.from].watts);
    let soon = start.stretch.start_s - rise_s;
    let earlier = pieces[before.from..start.from].iter().filter(|piece| piece.start_s < soon);
    let came_to = earlier.map(Piece::above_floor).max_by(f64::total_cmp);
    let above = came_to.map_or(f64::INFINITY, |highest| ABOVE_ALL * highest).min(ABOVE_REST * rest);
    let not_yet = (STEPS_OF_REST * step_w).min(SURELY_ON_THE_WAY * (high - rest));
    let least = (rest + not_yet.max(ON_THE_WAY * (high - rest))).max(above);
    // What falls back to the rest is a pulse of it, however near the rise it comes.
    let stays_up = |piece: &Piece| piece.watts > least && ends_at(piece) > least;
    let on_the_way = |index: &usize| stays_up(&pieces[*index]) && pieces[*index].start_s >= soon;
    let rise = (before.from + 1..start.from).rev().take_while(on_the_way);
    rise.last().unwrap_or(start.from)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::segment::{Settings, segment};
    use crate::verdict::model::Span;
    use crate::verdict::piece::pieces;
    use crate::verdict::tests::{OFF, SET_V, fed, trace};

    fn brief() -> Stage {
        let duration = Some(Span { low: 0.1, typical: 0.2, high: 0.3, sd: 0.3 });
        Stage { name: "rails".into(), watts: 0.5, sd: 0.1, activity: 0.1, headroom: 0.1, duration }
    }

    /// The piece that a start begins with, of a rest of 0.3 W, two readings that go above it, the last of which comes to
    /// `last_w`, and a rise to 2.3 W.
    fn begins_with(last_w: f64, update_s: f64, from_s: f64) -> usize {
        begins_after(last_w, update_s, from_s, State::Surge)
    }

    /// ... of a start that is found in the state `found`, of a board whose stages last 0.3 s at most.
    fn begins_after(last_w: f64, update_s: f64, from_s: f64, found: State) -> usize {
        begins_in_steps(0.01, (last_w, update_s, from_s), found)
    }

    /// ... as a readback in steps of `step_w` shows it.
    fn begins_in_steps(step_w: f64, (last_w, update_s, from_s): (f64, f64, f64), found: State) -> usize {
        let (trace, (run, readout)) = (trace(&[OFF, (4.0, SET_V, 0.0234)]), fed(4.0));
        let cut = segment(&trace, &Settings::default()).expect("a trace with readings");
        let rest = pieces(&trace, &cut, &run, &readout).pop().expect("a rest");
        let at = |start_s: f64, end_s: f64, watts: f64| {
            let mut piece = rest.clone();
            (piece.start_s, piece.end_s, piece.watts) = (start_s, end_s, watts);
            piece
        };
        let pieces = [at(1.0, from_s, 0.3), at(from_s, 4.16, 0.5), at(4.16, 4.24, 0.52), at(4.24, 6.1, 2.3)];
        let sums = Sums::of(&pieces);
        let step = |state, from, to| Step { state, from, to, rested: false, stretch: sums.stretch(from, to) };
        let path = vec![step(State::Low, 0, 3), step(found, 3, 4)];
        let is_last = |piece: &Piece| (4.15..4.2).contains(&piece.start_s);
        let ends_at = |piece: &Piece| if is_last(piece) { last_w } else { piece.watts };
        let fineness = Fineness { update_s, step_w };
        from_first_reading(path, &pieces, (fineness, &[brief(), brief()]), ends_at)[1].from
    }

    #[test]
    fn a_start_begins_with_its_rise_and_not_with_a_pulse_of_the_rest_before_it() {
        assert_eq!(begins_with(0.6, 0.05, 4.12), 1, "a rise");
        assert_eq!(begins_with(0.31, 0.05, 4.12), 3, "it falls back to the rest");
        assert_eq!(begins_with(0.6, 0.05, 3.7), 2, "a level of its own before it");
        assert_eq!(begins_with(0.6, 0.25, 3.7), 1, "two renewals of the readings");
    }

    #[test]
    fn a_reading_a_step_above_the_rest_is_no_rise() {
        let begins = |step_w: f64| begins_in_steps(step_w, (0.6, 0.05, 4.12), State::Surge);
        assert_eq!((begins(0.1), begins(0.15)), (1, 3), "0.5 W, from 0.3 W");
    }

    #[test]
    fn a_start_that_is_found_late_in_the_boot_may_have_risen_through_the_stages_before() {
        assert_eq!(begins_after(0.6, 0.05, 3.7, State::Done(0)), 2, "none before it");
        assert_eq!(begins_after(0.6, 0.05, 3.7, State::Done(1)), 1, "the rails");
        assert_eq!(begins_after(0.31, 0.05, 3.7, State::Done(1)), 3, "it falls back to the rest");
    }

    #[test]
    fn a_rest_and_a_level_well_above_it_are_a_start_of_a_brief_log() {
        let (trace, (run, readout)) = (trace(&[OFF, (4.0, SET_V, 0.0234)]), fed(4.0));
        let cut = segment(&trace, &Settings::default()).expect("a trace with readings");
        let rest = pieces(&trace, &cut, &run, &readout).pop().expect("a rest");
        let states = |levels: &[f64]| {
            let of = |watts: &f64| {
                let mut piece = rest.clone();
                piece.watts = *watts;
                piece
            };
            let pieces: Vec<Piece> = levels.iter().map(of).collect();
            let stretch = Sums::of(&pieces).stretch(0, pieces.len());
            let path = vec![Step { state: State::Excess, from: 0, to: pieces.len(), rested: false, stretch }];
            let path = with_last_start(path, &pieces, 1.0);
            path.iter().map(|step| (step.state, step.from, step.to)).collect::<Vec<_>>()
        };
        assert_eq!(states(&[0.6, 0.7, 2.4, 3.8]), [(State::Low, 0, 2), (State::Surge, 2, 4)]);
        assert_eq!(states(&[0.6, 1.5]), [(State::Excess, 0, 2)], "not well above");
        assert_eq!(states(&[2.4, 3.8]), [(State::Excess, 0, 2)], "no rest before it");
        assert_eq!(states(&[0.6, 2.4, 0.6]), [(State::Excess, 0, 3)], "it falls back");
    }
}
