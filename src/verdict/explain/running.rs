//! A board at its running level: whether it ran, whether it stays, whether it fell from there.

use super::super::Class;
use super::super::align::{Ending, Scores, State, Step, soft};
use super::super::feed::starving;
use super::step::{STEP_LEAST, STEP_SEEN, moved, not_gone_on};
use super::{COINCIDENCE, OFF_ITS_OWN, carried, given_up_again};

/// Stay at the running level from which it counts as reached, in seconds: a dip in a busy stage is shorter.
const STAYED_S: f64 = 1.5;

/// At the running level when the log ends.
pub(super) fn running(scores: &Scores, ending: &Ending) -> Vec<(Class, f64)> {
    if !scores.model.of_this_board {
        return match ending.progress.attempts {
            3.. => given_up_again(scores, ending, Class::Inconclusive),
            _ => vec![(Class::Inconclusive, 0.0)],
        };
    }
    if !ending.progress.left_last {
        return boots(scores, ending, stays_now(scores, ending));
    }
    let [ran, touched] = [1.0, -1.0].map(|sign| soft(sign * stayed(scores, ending)));
    let goes_on = stays_now(scores, ending).min(stays_longer(scores, ending));
    let again = given_up_again(scores, ending, Class::Inconclusive).into_iter();
    let again = again.map(|(class, score)| (class, score + soft(-goes_on)));
    let boots = boots(scores, ending, goes_on).into_iter().filter(|(class, _)| *class == Class::FullBoot);
    let touched = again.chain(boots).map(|(class, score)| (class, score + touched));
    std::iter::once((Class::DroppedOut, ran)).chain(touched).collect()
}

/// What a board at the running level is called, with the evidence that it is there to stay.
fn boots(scores: &Scores, ending: &Ending, stays: f64) -> Vec<(Class, f64)> {
    let (low, ample) = gave_way_before(scores, ending);
    let booted = carried(Class::FullBoot, stays).into_iter();
    let ample = ample + not_gone_on(scores, ending, scores.model.last()) + untold_before(scores, ending);
    booted.map(|(class, score)| (class, score + ample)).chain([(Class::FeedLimited, low)]).collect()
}

/// Evidence that the board is through with the stage before the running level at which it is when the log ends.
fn stays_now(scores: &Scores, ending: &Ending) -> f64 {
    /// A board that is busy for most of the time since it seemed to run may not be through with the stage before.
    const MOSTLY: f64 = 0.4;
    let (calm, all) = stays(scores, ending).last().copied().unwrap_or((0.0, 1.0));
    let stayed = (calm.max(1e-3) / STAYED_S).ln() / 0.3;
    let mostly = (calm.max(1e-3) / all.max(1e-3) / MOSTLY).ln() / 0.2;
    stayed.min(mostly)
}

/// Evidence that the board stays at the running level for longer this time than the times before.
fn stays_longer(scores: &Scores, ending: &Ending) -> f64 {
    /// How many times as long as the longest tells no more than that it does not (by judgement).
    const AS_LONG: f64 = 1.5;
    let stays = stays(scores, ending);
    let Some(((_, now), before)) = stays.split_last() else { return 0.0 };
    let longest = before.iter().map(|(_, all)| *all).fold(1e-3, f64::max);
    (now / (AS_LONG * longest)).ln() / 0.3
}

/// Evidence that the board stayed at the running level once, before it left it, and did not just touch it.
pub(super) fn stayed(scores: &Scores, ending: &Ending) -> f64 {
    let mut stays = stays(scores, ending);
    if ending.state == State::Held(scores.model.last()) || ending.state == State::Burst {
        stays.pop();
    }
    let longest = stays.into_iter().map(|(_, all)| all).fold(1e-3, f64::max);
    (longest / stay_of_a_run(ending)).ln() / 0.3
}

/// Stay at the running level from which a board ran before it fell, in seconds: one that tries again and again gives up after
/// its power-good or watchdog time, of a second or so, wherever that finds it (common practice, no source).
fn stay_of_a_run(ending: &Ending) -> f64 {
    const OF_MANY_TRIES_S: f64 = 2.0 * STAYED_S;
    if ending.progress.attempts > 2 { OF_MANY_TRIES_S } else { STAYED_S }
}

/// Whether the board stayed at the running level, whatever it did on its way down from there.
pub(super) fn ran(scores: &Scores, ending: &Ending) -> bool {
    let least_s = stay_of_a_run(ending);
    scores.model.of_this_board && stays(scores, ending).iter().any(|(calm, _)| *calm >= least_s)
}

/// How long the board was at the running level each time that it got there, in seconds: calm, and with its bursts.
fn stays(scores: &Scores, ending: &Ending) -> Vec<(f64, f64)> {
    let calm = |step: &Step| step.state == State::Held(scores.model.last());
    let runs = |step: &Step| calm(step) || step.state == State::Burst;
    let together = ending.path.chunk_by(|a, b| runs(a) == runs(b));
    let running = together.filter(|steps| steps.first().is_some_and(runs));
    let lasted = |step: &Step| step.stretch.duration();
    running
        .map(|steps| {
            let calm = steps.iter().filter(|step| calm(step)).map(lasted).sum();
            (calm, steps.iter().map(lasted).sum())
        })
        .collect()
}

/// What speaks against a board having left its running level: without a standby to compare with, it may as well run on a
/// little less.
pub(super) fn left_running(scores: &Scores, ending: &Ending, back: f64) -> f64 {
    match (scores.model.standby.watts, ending.state) {
        (None, _) => back,
        (Some(_), State::Excess) => fell_to_a_part(scores, ending),
        (Some(_), _) => 0.0,
    }
}

/// What speaks against a fall of a running board to more than its standby: if it ran for a moment only, what is left may be
/// its running level, and the moment an edge.
fn fell_to_a_part(scores: &Scores, ending: &Ending) -> f64 {
    soft(stayed(scores, ending))
}

/// What the running level says of a board of which the stage before was not told from it; that it draws what that stage does
/// is a coincidence, and more so where it is not what running boards draw.
fn untold_before(scores: &Scores, ending: &Ending) -> f64 {
    let Some(before) = scores.model.last().checked_sub(1) else { return 0.0 };
    let held = ending.path.iter().rfind(|step| step.state == State::Held(before + 1));
    let stages = &scores.model.stages;
    let usual = (stages[before + 1].watts / stages[before].watts).ln();
    // Of levels further apart the step is asked for by itself.
    let stepped = usual.abs() > STEP_LEAST
        || moved(scores, ending, before).is_some_and(|moved| moved / usual >= STEP_SEEN);
    let told = stepped && ending.path.iter().any(|step| step.state == State::Done(before));
    let Some(held) = held.filter(|_| !told) else { return 0.0 };
    let look = scores.look(&held.stretch);
    let off = scores.off_running_level(&look);
    off - (COINCIDENCE + OFF_ITS_OWN) * scores.fits(&look, before) * (1.0 - off.exp())
}

/// What the tries before one that went through say of the feed: of a limit that only peaks pass, one try in a few goes
/// through.
fn gave_way_before(scores: &Scores, ending: &Ending) -> (f64, f64) {
    if ending.progress.attempts == 0 { (f64::NEG_INFINITY, 0.0) } else { starving(scores, ending) }
}

#[cfg(test)]
mod tests {
    use super::super::super::align::Progress;
    use super::super::super::model::Model;
    use super::super::super::piece::Stretch;
    use super::super::super::tests::{SET_V, fed, profile};
    use super::super::outcomes;
    use super::*;
    use crate::units::Volts;

    /// How plausible each class is of a board that gets to its running level again and again, for so many seconds each time with
    /// one of rest after it, and is there when the log ends if `on`, else in standby.
    fn called(seconds: &[f64], on: bool) -> Vec<(Class, f64)> {
        let model = Model::from_profile(&profile(), Volts::constant(SET_V));
        let (run, readout) = fed(60.0);
        let mut time = 1.0;
        let mut step = |state, seconds: f64, watts: f64, rested| {
            let (start_s, end_s) = (time, time + seconds);
            time = end_s;
            let (amps, volts, level) = (watts / SET_V, SET_V, watts.ln());
            let (sag, dip, limit, spread_w, levels) = (0.0, 0.0, 0.0, 0.05, 8.0);
            let stretch =
                Stretch { start_s, end_s, watts, amps, volts, sag, dip, limit, spread_w, levels, level };
            Step { state, from: 0, to: 1, rested, stretch }
        };
        let runs = State::Held(model.last());
        let standby_w = model.standby.watts.expect("a standby");
        let mut path = vec![step(State::Low, 1.0, standby_w, false)];
        for (index, seconds) in seconds.iter().enumerate() {
            path.push(step(runs, *seconds, model.stages[model.last()].watts, index > 0));
            path.push(step(State::Low, 1.0, standby_w, true));
        }
        if on {
            path.pop();
        } else {
            path.push(step(State::Low, 20.0, standby_w, true));
        }
        let attempts = u8::try_from(seconds.len() - usize::from(on)).expect("a few").min(3);
        let progress = Progress { attempts, left_last: true, ..Progress::default() };
        let state = path.last().expect("a step").state;
        outcomes(&Scores::new(&model, &run, &readout, 0.0), &Ending { state, progress, score: 0.0, path })
    }

    /// The likeliest class of `called`.
    fn likeliest(seconds: &[f64], on: bool) -> Class {
        let all = called(seconds, on);
        all.into_iter().max_by(|(_, one), (_, other)| one.total_cmp(other)).expect("a class").0
    }

    #[test]
    fn a_board_that_touches_its_running_level_has_tried_and_not_run() {
        assert_eq!(likeliest(&[12.0], false), Class::DroppedOut);
        assert_eq!(likeliest(&[1.0], false), Class::LatchOff);
        assert_eq!(likeliest(&[1.0, 1.1], false), Class::LatchOff);
        assert_eq!(likeliest(&[1.3, 1.4, 1.3, 1.4], false), Class::Cycling);
        assert_eq!(likeliest(&[12.0, 11.0, 13.0, 12.5], false), Class::DroppedOut);
    }

    #[test]
    fn a_log_that_ends_in_a_try_like_those_before_shows_no_boot() {
        assert_eq!(likeliest(&[1.3, 1.4, 1.3, 1.5], true), Class::Cycling);
        assert_eq!(likeliest(&[1.3, 1.4, 1.3, 20.0], true), Class::FullBoot);
        assert_eq!(likeliest(&[12.0, 3.0], true), Class::DroppedOut);
    }
}
