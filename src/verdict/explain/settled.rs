//! A board that seems to be stuck in a stage, and settles in the midst of its stay as a running one does.

use super::super::align::{Ending, Look, Scores};
use super::super::piece::{Stretch, Sums};
use super::step::{STEP_LEAST, STEP_SEEN};

/// Levels no further apart than this, as a log, are one that wanders (by judgement).
const APART: f64 = 0.1;
/// What goes on for as long after the step has settled, in seconds: a busy load wanders in a few (by judgement).
const SETTLED_S: f64 = 8.0;
/// ... and before it as long as any stage that has a level of its own (by judgement).
const BEFORE_S: f64 = 2.0;
/// A board that is stuck stays where it is; that it steps to just the running level, and moves about as a running one from then
/// on, is a coincidence, in nats (by judgement).
const BY_CHANCE: f64 = -5.0;

/// What speaks against being stuck in `stage` to the end, of a board that settles within its stay: a step to the running level
/// and its ups and downs, however long it took to come to that.
pub(super) fn settles_as_running(scores: &Scores, ending: &Ending, sums: &Sums, stage: usize) -> f64 {
    let last = scores.model.last();
    let Some(step) = ending.path.last().filter(|_| scores.model.of_this_board && stage < last) else {
        return 0.0;
    };
    let Some((before, after)) = parted(sums, step.from, step.to) else { return 0.0 };
    let stages = &scores.model.stages;
    let usual = (stages[last].watts / stages[stage].watts).ln();
    let moved = (after.watts / before.watts).ln();
    // A stage that is off its own level may be left the other way than usual.
    let too_little = usual.abs() > STEP_LEAST && (moved / usual).abs() < STEP_SEEN;
    if moved.abs() < APART || too_little {
        return 0.0;
    }
    let after = scores.look(&after);
    BY_CHANCE * scores.runs_at(&after) * as_running(scores, &after, stage)
}

/// How far a stay moves about as a running board does and not as in `stage`, 0 to 1.
fn as_running(scores: &Scores, look: &Look<'_>, stage: usize) -> f64 {
    let [stuck, runs] = [stage, scores.model.last()].map(|stage| scores.activity(look, stage).exp());
    runs / (stuck + runs)
}

/// The stay of pieces `from..to` parted in two where their levels differ most for longest.
fn parted(sums: &Sums, from: usize, to: usize) -> Option<(Stretch, Stretch)> {
    let parts = (from + 1..to).map(|at| (sums.stretch(from, at), sums.stretch(at, to)));
    let long = |(before, after): &(Stretch, Stretch)| {
        before.duration() >= BEFORE_S
            && after.duration() >= SETTLED_S
            && before.watts > 0.0
            && after.watts > 0.0
    };
    let gain = |(before, after): &(Stretch, Stretch)| {
        let (one, other) = (before.duration(), after.duration());
        one * other / (one + other) * (after.watts / before.watts).ln().powi(2)
    };
    parts.filter(long).max_by(|a, b| gain(a).total_cmp(&gain(b)))
}

#[cfg(test)]
mod tests {
    use super::super::super::align::{Progress, State, Step};
    use super::super::super::model::Model;
    use super::super::super::piece::pieces;
    use super::super::super::tests::{OFF, SET_V, fed, profile, trace};
    use super::*;
    use crate::segment::{Settings, segment};
    use crate::units::Volts;

    /// The stage before the running level, about 13 W and busy, and its number; the running level is about 8 W and calm.
    const LOADING: usize = 1;

    /// What is said against being stuck in loading of a board that draws these amps there for 20 s, a tenth up and down, and then
    /// those for 30 s, up and down by `swing` of them.
    fn said_against(busy_a: f64, (settled_a, swing): (f64, f64)) -> f64 {
        let up_and_down = |amps: f64, swing: f64, count: usize| {
            [(0.5, SET_V, amps * (1.0 - swing)), (0.5, SET_V, amps * (1.0 + swing))].repeat(count)
        };
        let levels = [&[OFF][..], &up_and_down(busy_a, 0.1, 20), &up_and_down(settled_a, swing, 30)].concat();
        let (trace, (run, readout)) = (trace(&levels), fed(50.0));
        let cut = segment(&trace, &Settings::default()).expect("a trace with readings");
        let pieces = pieces(&trace, &cut, &run, &readout);
        let sums = Sums::of(&pieces);
        let stretch = sums.stretch(0, pieces.len());
        let path =
            vec![Step { state: State::Held(LOADING), from: 0, to: pieces.len(), rested: false, stretch }];
        let ending = Ending { state: State::Held(LOADING), progress: Progress::default(), score: 0.0, path };
        let mut model = Model::from_profile(&profile(), Volts::constant(SET_V));
        (model.stages[LOADING].activity, model.stages[LOADING + 1].activity) = (0.1, 0.03);
        settles_as_running(&Scores::new(&model, &run, &readout, 0.0), &ending, &sums, LOADING)
    }

    #[test]
    fn a_step_to_the_running_level_and_its_calm_speaks_against_being_stuck() {
        let settles = said_against(0.95, (0.65, 0.01));
        assert!(settles < 0.7 * BY_CHANCE, "{settles}");
        let busy = said_against(0.95, (0.65, 0.1));
        assert!(busy > 0.6 * BY_CHANCE && busy > settles + 1.0, "as busy as before: {busy}");
        let level = said_against(0.95, (0.97, 0.01));
        assert!(level.abs() < 1e-12, "no step: {level}");
        let elsewhere = said_against(0.95, (0.25, 0.01));
        assert!(elsewhere > 0.2 * BY_CHANCE, "to no level of its model: {elsewhere}");
        let part = said_against(0.95, (0.86, 0.01));
        assert!(part.abs() < 1e-12, "a small part of the way: {part}");
    }
}
