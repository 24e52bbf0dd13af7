//! Whether the feed is what a board fails for: its limit beside what a boot needs, and what the tries show of it.

use super::align::{Ending, Scores, State, Step, soft};
use super::model::Stage;
use crate::stats::moments::Moments;

/// How sharply the limit divides a starved board from a sick one, as a standard deviation of the log of the current
/// that a boot needs.
const NEED_SD: f64 = 0.2;

/// Log of the probability that the limit is too low for this board, and of its opposite.
pub(super) fn limit_too_low(scores: &Scores) -> (f64, f64) {
    let run = scores.run;
    match (scores.model.need_w, run.limit_a) {
        (Some(need), Some(limit)) => {
            let z = (need / run.set_v / limit).ln() / NEED_SD;
            (soft(z), soft(-z))
        }
        // Without a reference or a limit, a feed that gives way again and again points to the feed.
        _ => (0.7_f64.ln(), 0.3_f64.ln()),
    }
}

/// Whether the furthest attempt got to a stage that usually asks for more than `limit` amps, or to the one before it: by
/// its stages where they show, or by the time that it took to the hungriest.
fn fails_where_hungry(scores: &Scores, ending: &Ending, limit: f64) -> bool {
    let stages = &scores.model.stages;
    let asks_more = |stage: &Stage| stage.watts * stage.headroom.exp() > limit * scores.run.set_v;
    let hungriest = (0..stages.len()).max_by(|a, b| stages[*a].watts.total_cmp(&stages[*b].watts));
    let reached = ending.path.iter().filter_map(|step| step.state.stage()).max();
    let by_stage = |reached: usize| {
        hungriest.is_some_and(|hungriest| reached + 1 >= hungriest)
            || stages[reached..].iter().take(2).any(asks_more)
    };
    let share = if reached.is_some() { USUAL_TIME } else { LEAST_TIME };
    reached.is_some_and(by_stage)
        || hungriest.is_some_and(|stage| asks_more(&stages[stage]) && comes_to(scores, ending, stage, share))
}

/// Share of the usual time to a stage from which a try has come to it: where some of its stages show, others would ...
const USUAL_TIME: f64 = 0.95;
/// ... and where none does (by judgement).
const LEAST_TIME: f64 = 0.65;

/// Whether a try lasts for that share of the time that good boards usually take to come to `stage`.
fn comes_to(scores: &Scores, ending: &Ending, stage: usize, share: f64) -> bool {
    let spans: Option<Vec<f64>> =
        scores.model.stages[..stage].iter().map(|stage| Some(stage.duration?.typical)).collect();
    let usual: Option<f64> = spans.map(|spans| spans.iter().sum());
    let longest = tries(ending).map(awake_s).fold(0.0, f64::max);
    usual.is_some_and(|usual| longest >= share * usual)
}

/// The tries of a run, each with the rest that follows it.
fn tries(ending: &Ending) -> impl Iterator<Item = &[Step]> {
    let is_try =
        |steps: &&[Step]| steps.iter().any(|step| !step.state.is_rest() && step.state != State::Inrush);
    ending.path.split_inclusive(|step| step.state.is_rest()).filter(is_try)
}

/// Share of the tries in which some reading shows the volts below what was set; it may come just after the end.
fn dipping(ending: &Ending) -> f64 {
    let dips = |steps: &[Step]| steps.iter().any(|step| step.stretch.sag.max(step.stretch.dip) > 0.0);
    let share: Moments = tries(ending).map(|steps| f64::from(u8::from(dips(steps)))).collect();
    share.mean().unwrap_or(0.0)
}

/// How long a board was awake in `steps`, in seconds.
fn awake_s(steps: &[Step]) -> f64 {
    steps.iter().filter(|step| !step.state.is_rest()).map(|step| step.stretch.duration()).sum()
}

/// Whether the tries last now short, now long: peaks of a busy load come to a limit when they please, while a fault of the
/// board strikes at about the same time (common practice, no source).
fn are_erratic(ending: &Ending) -> bool {
    /// Fewer tries show no scatter.
    const FEW: usize = 3;
    /// Standard deviation of the log of their lengths from which they are erratic.
    const SCATTER: f64 = 0.35;
    // The last one may be on.
    let over = ending.path.last().is_some_and(|last| last.state.is_rest());
    let lengths: Vec<f64> = tries(ending).map(|steps| awake_s(steps).max(1e-3).ln()).collect();
    let lengths = &lengths[..lengths.len() - usize::from(!over && !lengths.is_empty())];
    let scatter: Moments = lengths.iter().copied().collect();
    lengths.len() >= FEW && scatter.deviation().is_some_and(|sd| sd > SCATTER)
}

/// Readings that touch the limit say less than volts that give way, in nats (by judgement).
const UNSEEN: f64 = 1.0;

/// Volts that dip as each try ends, in nats: a supply lets them go only in limit, which a board that gives up by itself
/// seldom comes to (by judgement).
const VOLTS_DIP: f64 = 1.8;

/// Share of the tries from which volts that dip in them are no accident (by judgement).
const MOST_TRIES: f64 = 0.5;

/// Log of the probability that the feed starves this board, and of its opposite, from limit and readings.
pub(super) fn starving(scores: &Scores, ending: &Ending) -> (f64, f64) {
    /// Tries that end now early, now late, with readings of no less than that share of the limit, in nats.
    const ERRATIC: f64 = 1.0;
    const CLOSE_TO_LIMIT: f64 = 0.85;
    let (low, ample) = limit_too_low(scores);
    if ending.progress.starved {
        return (low + VOLTS_DIP * dipping(ending), ample);
    }
    let Some(limit) = scores.run.limit_a.filter(|_| scores.model.need_w.is_some()) else {
        return (f64::NEG_INFINITY, 0.0);
    };
    let erratic = scores.run.highest_a > CLOSE_TO_LIMIT * limit && are_erratic(ending);
    let low = low + if erratic { ERRATIC } else { 0.0 };
    let touches = touches(scores, ending, limit);
    if fails_where_hungry(scores, ending, limit) {
        failing_where_hungry(ending, touches, (low, ample))
    } else {
        failing_elsewhere(ending, touches, (low, ample))
    }
}

/// Whether the feed gave way as the tries ended: for long enough to be a state of its own, or with volts that dip while the
/// amps touch the limit.
pub(super) fn gave_way(scores: &Scores, ending: &Ending) -> bool {
    let touched = |limit| touches(scores, ending, limit) > 0.0;
    ending.progress.starved || scores.run.limit_a.is_some_and(touched) && dipping(ending) > MOST_TRIES
}

/// Whether the supply says of some try that it ends in limit.
fn ends_in_limit(ending: &Ending) -> bool {
    let last_awake = |steps: &[Step]| steps.iter().rfind(|step| !step.state.is_rest()).copied();
    tries(ending).filter_map(last_awake).any(|step| step.stretch.limit > 0.0)
}

/// Evidence that the board asked for all of `limit` amps: what its highest reading shows of them, averages considered, or what
/// the supply says of its mode, however little an average over the moment reads.
fn touches(scores: &Scores, ending: &Ending, limit: f64) -> f64 {
    /// In standard deviations (by judgement).
    const SAID_BY_SUPPLY: f64 = 3.0;
    /// Share of the limit that an averaged reading shows when the board asked for all of it (by judgement).
    const NEAR_LIMIT: f64 = 0.9;
    const NEAR_SD: f64 = 0.03;
    let read = (scores.run.highest_a / limit - NEAR_LIMIT) / NEAR_SD;
    if ends_in_limit(ending) { read.max(SAID_BY_SUPPLY) } else { read }
}

/// A good board that asks for more than the limit fails just there; a sick one, now and then.
fn failing_where_hungry(ending: &Ending, touches: f64, (low, ample): (f64, f64)) -> (f64, f64) {
    /// Share of sick boards that give up where a low limit would have stopped a good one too (by judgement).
    const BY_CHANCE: f64 = 0.2;
    let seen = VOLTS_DIP * dipping(ending) - UNSEEN / 2.0 * (1.0 - soft(touches).exp());
    (low + seen, (ample.exp() + BY_CHANCE * low.exp()).ln())
}

/// Elsewhere, the readings or the volts must show it.
fn failing_elsewhere(ending: &Ending, touches: f64, (low, ample): (f64, f64)) -> (f64, f64) {
    let dips = dipping(ending);
    // A dip that is shorter than a reading shows in some of them only.
    let dips = if dips > 0.0 { VOLTS_DIP * dips.max(MOST_TRIES) - UNSEEN } else { f64::NEG_INFINITY };
    (low + (soft(touches) - UNSEEN).max(dips), ample.max(soft(-touches)))
}

#[cfg(test)]
mod tests {
    use super::super::align::Progress;
    use super::super::model::{Model, Span};
    use super::super::piece::Stretch;
    use super::super::tests::{SET_V, profile};
    use super::*;
    use crate::units::Volts;

    /// A board whose hungriest stage comes after one that draws as much as the first, for 6 s or so.
    fn model() -> Model {
        let mut model = Model::from_profile(&profile(), Volts::constant(SET_V));
        let span = Span { low: 4.0, typical: 6.0, high: 9.0, sd: 0.15 };
        let between = Stage { duration: Some(span), ..model.stages[0].clone() };
        model.stages.splice(1..1, [between.clone(), between]);
        model
    }

    fn step(state: State, start_s: f64, end_s: f64) -> Step {
        let stretch = Stretch {
            start_s,
            end_s,
            watts: 2.2,
            amps: 0.17,
            volts: SET_V,
            sag: 0.0,
            dip: 0.0,
            limit: 0.0,
            spread_w: 0.1,
            levels: 4.0,
            level: 0.8,
        };
        Step { state, from: 0, to: 1, rested: true, stretch }
    }

    #[test]
    fn volts_that_dip_in_one_try_of_some_point_to_a_limit_that_is_too_low() {
        let path = |sag: f64| {
            let tries = (0..4_u32).flat_map(|index| {
                let at = 5.0 + 4.0 * f64::from(index);
                let mut end = step(State::Surge, at + 1.0, at + 1.1);
                end.stretch.sag = if index == 2 { sag } else { 0.0 };
                [step(State::Held(0), at, at + 1.0), end, step(State::Low, at + 1.1, at + 4.0)]
            });
            tries.collect()
        };
        let weights = |sag: f64| {
            let path = path(sag);
            let ending = Ending { state: State::Low, progress: Progress::default(), score: 0.0, path };
            failing_elsewhere(&ending, -5.0, (-0.1, -3.0))
        };
        let ((with, ample), (without, _)) = (weights(1.0), weights(0.0));
        assert!((with - ample).abs() < 0.5, "{with} {ample}");
        assert!(without < ample - 4.0, "{without}");
    }

    #[test]
    fn a_try_that_lasts_as_long_as_good_boards_take_to_the_hungriest_stage_fails_there() {
        let model = model();
        let (run, readout) = super::super::tests::fed(20.0);
        let scores = Scores::new(&model, &run, &readout, 0.0);
        let fails = |seconds: f64| {
            let path = vec![step(State::Held(0), 5.0, 5.0 + seconds), step(State::Low, 5.0 + seconds, 30.0)];
            let ending = Ending { state: State::Low, progress: Progress::default(), score: 0.0, path };
            fails_where_hungry(&scores, &ending, 0.9)
        };
        assert!(fails(12.6), "they take 12.8 s");
        assert!(!fails(7.0), "they are in the stage before for 5 s more");
    }

    #[test]
    fn a_supply_that_says_once_that_a_try_ends_in_limit_is_believed() {
        let model = model();
        let (mut run, readout) = super::super::tests::fed(20.0);
        run.highest_a = 0.5;
        let scores = Scores::new(&model, &run, &readout, 0.0);
        let touched = |limit: f64| {
            let mut last = step(State::Held(0), 5.0, 8.0);
            last.stretch.limit = limit;
            let path = vec![last, step(State::Low, 8.0, 12.0)];
            let ending = Ending { state: State::Low, progress: Progress::default(), score: 0.0, path };
            touches(&scores, &ending, 1.0)
        };
        assert!(touched(0.0) < -10.0, "half the limit is all that was read");
        assert!(touched(0.1) > 1.0, "one reading is marked");
    }
}
