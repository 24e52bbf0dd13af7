//! Whether the step from one stage to the next was seen.

use super::super::align::{Ending, Look, Scores, State, Step};

/// Share of the usual step from a stage to the next from which it is one (by judgement).
pub(super) const STEP_SEEN: f64 = 0.25;
/// Levels of stages that are no further apart than this, as a log, need show no step (by judgement).
pub(super) const STEP_LEAST: f64 = 0.15;

/// A step that comes just when it is to be expected is one from this on, as a log: a board that warms up creeps by some hundredths
/// (by judgement).
const STEP_IN_TIME: f64 = 0.07;

/// What speaks against a board being in `stage` to which it did not step from the stage before: what a running board draws is its
/// software's business, and what a stuck one draws depends on where it stopped, so that the step is what tells the stage,
/// unless it is the usual level.
pub(super) fn not_gone_on(scores: &Scores, ending: &Ending, stage: usize) -> f64 {
    /// In nats (by judgement) ...
    const UNSEEN: f64 = -3.0;
    /// ... for a step of up to this, as a log: software moves a running level by some tenths, not by twice ...
    const BY_SOFTWARE: f64 = 0.4;
    /// ... and for what it is longer (by judgement).
    const UNSEEN_BEYOND: f64 = -15.0;
    /// Share of it that a step at the usual time takes back, whichever way it goes (by judgement).
    const IN_TIME: f64 = 0.8;
    let Some(before) = stage.checked_sub(1) else { return 0.0 };
    let usual = (scores.model.stages[stage].watts / scores.model.stages[before].watts).ln();
    let Some(moved) = moved(scores, ending, before) else { return 0.0 };
    if usual.abs() <= STEP_LEAST || moved / usual >= STEP_SEEN {
        return 0.0;
    }
    let held = ending.path.iter().rfind(|step| step.state == State::Held(stage));
    let unseen = UNSEEN + UNSEEN_BEYOND * (usual.abs() - BY_SOFTWARE).max(0.0);
    // A level that is that of the stage before as well tells nothing, of a board that moves about as in that.
    let tells = |look: &Look<'_>| scores.fits(look, stage) * (1.0 - still_in(scores, look, before));
    let untold = held.map_or(0.0, |step| 1.0 - tells(&scores.look(&step.stretch)));
    unseen * untold * (1.0 - IN_TIME * stepped_in_time(scores, ending, stage))
}

/// How far the likeliest way to the running level went on to it in time, 0 to 1.
pub(super) fn went_on_in_time(scores: &Scores, endings: &[Ending]) -> f64 {
    let last = scores.model.last();
    let running = endings.iter().filter(|ending| ending.state == State::Held(last));
    let likeliest = running.max_by(|one, other| one.score.total_cmp(&other.score));
    likeliest.map_or(0.0, |ending| stepped_in_time(scores, ending, last))
}

/// How far a board that goes another way than good boards at the end of the stage before the running level went on there, 0 to
/// 1: it was in that stage, at its level and for its time, and what it draws from then on moves about as a running board does. A
/// stuck one steps at any time.
fn stepped_in_time(scores: &Scores, ending: &Ending, stage: usize) -> f64 {
    let (Some(before), true) = (stage.checked_sub(1), stage == scores.model.last()) else { return 0.0 };
    let pairs = ending.path.windows(2).rev();
    let is_step =
        |pair: &&[Step]| pair[0].state == State::Done(before) && pair[1].state == State::Held(stage);
    let Some([left, held]) = pairs.into_iter().find(is_step).and_then(|pair| pair.first_chunk::<2>()) else {
        return 0.0;
    };
    // A load that wanders by as much afterwards may have wandered there.
    let wanders = held.stretch.spread_w / held.stretch.watts;
    if (held.stretch.watts / left.stretch.watts).ln().abs() < STEP_IN_TIME.max(wanders) {
        return 0.0;
    }
    let [left, held] = [left, held].map(|step| scores.look(&step.stretch));
    let in_time = scores.late(&left, before).map_or(0.0, |z| (-z * z / 2.0).exp());
    let [as_before, as_after] = [before, stage].map(|stage| scores.activity(&held, stage).exp());
    scores.fits(&left, before) * in_time * as_after / (as_before + as_after)
}

/// How far a stay looks, in level and in how it moves about, like stage `before` and not the one after that, 0 to 1.
fn still_in(scores: &Scores, look: &Look<'_>, before: usize) -> f64 {
    let [as_before, as_after] = [before, before + 1].map(|stage| scores.activity(look, stage).exp());
    scores.fits(look, before) * as_before / (as_before + as_after)
}

/// How far the level moved from stage `before` to the next, as a log, the stays compared as a whole, since a busy load wanders;
/// the least that it can be. `None` where either was not seen.
pub(super) fn moved(scores: &Scores, ending: &Ending, before: usize) -> Option<f64> {
    /// Ups and downs of a busy stage, in their standard deviations (by judgement).
    const UPS_AND_DOWNS: f64 = 2.0;
    let (stages, stage) = (&scores.model.stages, before + 1);
    let to = mean_of(ending, State::Held(stage))?;
    // What was not told from the running level moved as little.
    let untold = (stage == scores.model.last()).then_some(to);
    let from = mean_of(ending, State::Done(before)).or(untold)?;
    // A short stay in a busy stage is off its level by some of its ups and downs; going back to that is no step.
    let off = (from / stages[before].watts).ln();
    let own = off.signum() * (off.abs() - UPS_AND_DOWNS * stages[before].activity).max(0.0);
    let (seen, beyond_own) = ((to / from).ln(), (to / stages[before].watts).ln() - own);
    let up = stages[stage].watts > stages[before].watts;
    Some(if up { seen.min(beyond_own) } else { seen.max(beyond_own) })
}

/// Mean power of all stays in `state`, in watts; `None` if there is none.
fn mean_of(ending: &Ending, state: State) -> Option<f64> {
    let stays = ending.path.iter().filter(|step| step.state == state);
    let (joules, seconds) = stays.fold((0.0, 0.0), |(joules, seconds), step| {
        let lasted = step.stretch.duration();
        (joules + lasted * step.stretch.watts, seconds + lasted)
    });
    (joules > 0.0).then(|| joules / seconds)
}

#[cfg(test)]
mod tests {
    use super::super::super::align::Progress;
    use super::super::super::model::Model;
    use super::super::super::piece::Stretch;
    use super::super::super::tests::{SET_V, fed, profile};
    use super::*;
    use crate::units::Volts;

    /// A stay of so many watts that moves about by as many.
    fn step(state: State, (start_s, end_s): (f64, f64), (watts, spread_w): (f64, f64)) -> Step {
        let (volts, levels) = (SET_V, 8.0);
        let (sag, dip, limit, level) = (0.0, 0.0, 0.0, watts.ln());
        let amps = watts / volts;
        let stretch =
            Stretch { start_s, end_s, watts, amps, volts, sag, dip, limit, spread_w, levels, level };
        Step { state, from: 0, to: 1, rested: false, stretch }
    }

    /// What `judge` says of a board that leaves the stage before the running level, usually a busy 9.6 W, at `left_s` for that
    /// level, usually a calm one, with the watts of both stays and how far they move about.
    fn judged(judge: fn(&Scores, &Ending, usize) -> f64, left_s: f64, stays: [(f64, f64); 2]) -> f64 {
        let mut model = Model::from_profile(&profile(), Volts::constant(SET_V));
        let last = model.last();
        (model.stages[last - 1].watts, model.stages[last - 1].activity) = (9.6, 0.1);
        model.stages[last].activity = 0.03;
        let (run, readout) = fed(60.0);
        let scores = Scores::new(&model, &run, &readout, 0.0);
        let states = [(State::Done(last - 1), (6.0, left_s)), (State::Held(last), (left_s, 60.0))];
        let path =
            states.into_iter().zip(stays).map(|((state, span), stay)| step(state, span, stay)).collect();
        let ending = Ending { state: State::Held(last), progress: Progress::default(), score: 0.0, path };
        judge(&scores, &ending, last)
    }

    /// What is said against the running level, usually a calm 8 W, of a board that stays at 8.7 W without a step from the stage
    /// before, usually a busy 9.6 W, and moves about by so many watts.
    fn said_of(spread_w: f64) -> f64 {
        judged(not_gone_on, 14.0, [(8.7, spread_w); 2])
    }

    #[test]
    fn a_level_between_two_stages_is_the_running_level_of_a_board_that_moves_about_as_that() {
        let (calm, busy) = (said_of(0.1), said_of(0.9));
        assert!(busy < calm - 0.5, "{busy} {calm}");
    }

    /// How far a board went on in time that was in the stage before the running level for `seconds`, usually 8 s, at 9.6 W, and
    /// draws `watts` from then on, moving about by so many watts.
    fn in_time(seconds: f64, watts: f64, spread_w: f64) -> f64 {
        judged(stepped_in_time, 6.0 + seconds, [(9.6, 0.9), (watts, spread_w)])
    }

    #[test]
    fn a_calm_step_the_other_way_at_the_usual_time_is_one_to_the_running_level() {
        assert!(in_time(8.0, 13.0, 0.3) > 0.7, "{}", in_time(8.0, 13.0, 0.3));
        assert!(in_time(2.0, 13.0, 0.3) < 0.1, "at any time: {}", in_time(2.0, 13.0, 0.3));
        assert!(in_time(8.0, 13.0, 1.3) < 0.3, "as busy as before: {}", in_time(8.0, 13.0, 1.3));
        assert!(in_time(8.0, 9.7, 0.3) < 0.1, "no step: {}", in_time(8.0, 9.7, 0.3));
        assert!(in_time(8.0, 8.7, 0.3) > 0.7, "a tenth is more than it creeps: {}", in_time(8.0, 8.7, 0.3));
        assert!(in_time(8.0, 8.7, 1.0) < 0.1, "and less than it wanders: {}", in_time(8.0, 8.7, 1.0));
    }

    #[test]
    fn a_step_in_time_speaks_against_being_stuck_in_the_stage_before() {
        let told = |in_time: f64, stage| {
            let model = Model::from_profile(&profile(), Volts::constant(SET_V));
            let (run, readout) = fed(60.0);
            super::super::stuck_in_time(&Scores::new(&model, &run, &readout, 0.0), stage, in_time)
        };
        let last = Model::from_profile(&profile(), Volts::constant(SET_V)).last();
        assert!(told(0.9, last - 1) < -2.0);
        assert!(told(0.1, last - 1) > -0.3, "stepped at another time");
        assert!(told(0.9, last - 2).abs() < 1e-12, "stuck two stages before");
    }
}
