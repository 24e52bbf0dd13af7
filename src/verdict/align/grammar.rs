//! Which state may follow which, and at what cost in nats.
//!
//! The costs are set by judgement, from what boards and benches do (common practice, no source), and were checked on
//! labelled simulated captures; none is fitted.

use super::super::attempts::LEAST_REST_S;
use super::super::model::{LEAST_LEVEL_SD, Model};
use super::super::piece::LOOK_S;
use super::score::SCATTER_ALLOWED;
use super::{State, tail};

/// A board falls back: once in a good many stages, but falling back is what a sick board does.
const FALL_BACK: f64 = 1.5;
/// An attempt is broken off before the stage's end.
const BREAK_OFF: f64 = 1.0;
/// A restart without a rest that the supply could show ...
const RESTART_UNSEEN_REST: f64 = 4.0;
/// ... and as much more where it would have shown one: two readings see a rest (by judgement).
const READINGS_OF_A_REST: f64 = 2.0;
/// An excursion that fits no stage of the board, against one that does.
const UNKNOWN_EXCURSION: f64 = 2.5;
/// ... when it comes straight from a stage: what follows a stage is the next one, or less.
const UNKNOWN_AFTER_STAGE: f64 = 5.0;
/// The feed gives way.
const GIVE_WAY: f64 = 1.0;
/// A short or a heavy load that comes up with the wake, not at switch-on.
const SHORT_AT_WAKE: f64 = 3.0;
/// A board falls back to more than its standby: a leak from before, or one that the attempt made.
const FALL_BACK_TO_MORE: f64 = 4.0;
/// A heavy load is `without a sequence before it`; after the first stage it is more likely the next one.
const HEAVY_AFTER_STAGES: f64 = 6.0;
/// A fault that shows from switch-on.
const FAULT_AT_SWITCH_ON: f64 = 1.0;
/// A board that waits for a person goes without: the button was held at switch-on, or shorted.
const NO_WAIT: f64 = 4.0;
/// A board that starts by itself stays put first.
const WAIT_UNASKED: f64 = 0.5;
/// A running board gets busy as in the stage before, and calm again; how often it does in a minute is what counts.
const BUSY_AGAIN: f64 = 2.0;
const BUSY_WITHIN_S: f64 = 60.0;
/// A log that begins with the board at work already.
const BEGAN_BEFORE: f64 = 1.0;
/// Most that skipping a stage can cost: even a certain one may be hidden by a gap.
const MOST_SKIP: f64 = 12.0;
/// Cost of a skipped stage for each readback update that its shortest good duration should have shown.
const SKIP_PER_UPDATE: f64 = 1.2;
/// Least cost of a skipped stage, however short.
const LEAST_SKIP: f64 = 0.7;
/// Cost of two levels that lie a standard deviation closer together than on most boards, in nats.
const CLOSER_THAN_MOST: f64 = 0.5;
/// Cost of skipping a stage whose duration is unknown.
const UNKNOWN_SKIP: f64 = 6.0;

/// A board of which only the kind is known goes on to another level of its own.
const OTHER_LEVEL: f64 = 1.0;

/// Share of a step's cost that is left when the board has taken it again and again.
const AGAIN: f64 = 0.2;

/// A step from one state to the next.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Edge {
    pub cost: f64,
    /// Its cost once the board tried twice: it is expected to try again, in the same way, so that the twentieth attempt is
    /// no news. A load of another kind is.
    pub cost_again: f64,
    /// An attempt ends with it.
    pub gave_up: bool,
    /// The last stage is left with it.
    pub left_last: bool,
    /// The feed had given way before it.
    pub starved: bool,
}

/// The grammar of one board, seen by one supply.
#[derive(Debug, Clone)]
pub(super) struct Grammar<'a> {
    model: &'a Model,
    /// Time between fresh readings, in seconds.
    update_s: f64,
    switch_on_seen: bool,
    /// How long the run lasts, in seconds.
    lasts_s: f64,
}

impl<'a> Grammar<'a> {
    pub(super) fn new(model: &'a Model, update_s: f64, switch_on_seen: bool, lasts_s: f64) -> Self {
        Self { model, update_s, switch_on_seen, lasts_s: lasts_s.max(1.0) }
    }

    /// Cost of beginning the run in `state`.
    pub(super) fn start(&self, state: State) -> Option<f64> {
        match state {
            State::Inrush => self.switch_on_seen.then_some(0.0),
            State::Low if !self.model.standby.waits && self.model.standby.watts.is_none() => {
                Some(WAIT_UNASKED)
            }
            State::Low | State::Nothing => Some(0.0),
            // What is heavy from switch-on is a fault; a board at work is as heavy.
            State::Heavy if !self.switch_on_seen => Some(FAULT_AT_SWITCH_ON + BEGAN_BEFORE),
            State::Excess | State::Heavy | State::Collapsed => Some(FAULT_AT_SWITCH_ON),
            State::Starved => Some(GIVE_WAY + 1.0),
            State::Surge => Some(UNKNOWN_EXCURSION + self.unasked()),
            State::Burst => None,
            State::Done(j) | State::Held(j) if self.switch_on_seen => {
                Some(self.unasked() + self.skipped(0, j))
            }
            State::Done(_) | State::Held(_) => Some(BEGAN_BEFORE),
        }
    }

    /// Cost of an awake board right after switch-on.
    fn unasked(&self) -> f64 {
        if self.model.standby.waits && self.switch_on_seen { NO_WAIT } else { 0.0 }
    }

    /// Cost of not having seen stages `from..to`.
    fn skipped(&self, from: usize, to: usize) -> f64 {
        (from..to).map(|stage| self.skip(stage)).sum()
    }

    fn skip(&self, stage: usize) -> f64 {
        let unread = self.model.stages[stage].duration.map_or(UNKNOWN_SKIP, |span| {
            (SKIP_PER_UPDATE * span.low / self.update_s).clamp(LEAST_SKIP, MOST_SKIP)
        });
        let like = self.model.is_like_the_one_before(stage).then_some(0.0);
        let hidden = [self.hidden_in_running_level(stage), like];
        hidden.into_iter().flatten().fold(unread, |least, hidden| least.min(LEAST_SKIP + hidden))
    }

    /// Cost of not telling the stage before the running level from it, where that is busy and lies close: its own ups and
    /// downs go down to the stage, and for as long.
    fn hidden_in_running_level(&self, stage: usize) -> Option<f64> {
        if !self.model.of_this_board || stage + 1 != self.model.last() {
            return None;
        }
        let (stage, running) = (&self.model.stages[stage], &self.model.stages[stage + 1]);
        let apart = (running.watts / stage.watts).ln().abs();
        let looks = (stage.duration?.typical / LOOK_S).max(1.0);
        let unseen =
            |apart: f64| -looks * tail((apart.max(0.0) / running.activity - SCATTER_ALLOWED).max(0.0));
        // The two may lie closer together on this board than on most.
        let closer = apart - stage.sd.hypot(LEAST_LEVEL_SD);
        Some(unseen(apart).min(CLOSER_THAN_MOST + unseen(closer)))
    }

    /// The step from one state to another, if there is one.
    pub(super) fn edge(&self, from: State, to: State) -> Option<Edge> {
        let cost = self.cost(from, to)?;
        let last = self.model.last();
        let awake = from.stage().is_some() || matches!(from, State::Surge | State::Burst | State::Starved);
        let restart = matches!((from.stage(), to.stage()), (Some(a), Some(b)) if b <= a && a != last);
        let new_load = matches!(to, State::Excess | State::Heavy | State::Collapsed);
        Some(Edge {
            cost,
            cost_again: if new_load { cost } else { AGAIN * cost },
            gave_up: (awake && to.is_rest()) || restart,
            left_last: self.model.of_this_board
                && (from.stage() == Some(last) || from == State::Burst)
                && !to.is_stage_or_excursion(),
            starved: from == State::Starved,
        })
    }

    fn cost(&self, from: State, to: State) -> Option<f64> {
        match (from, to) {
            (State::Inrush, State::Inrush | State::Surge) | (State::Excess, State::Heavy) => None,
            (State::Inrush, to) => self.start(to),
            (State::Low | State::Excess, to) => self.after_rest(to),
            (State::Surge | State::Starved, State::Low) => Some(0.0),
            (State::Surge | State::Burst | State::Starved, State::Excess) => Some(FALL_BACK_TO_MORE),
            (State::Surge | State::Burst, State::Starved) => Some(GIVE_WAY),
            (State::Burst, State::Held(j)) if j == self.model.last() => Some(0.0),
            (State::Burst, State::Low) => Some(FALL_BACK),
            (State::Starved, State::Surge) => Some(BREAK_OFF),
            (State::Starved, State::Done(j) | State::Held(j)) => Some(BREAK_OFF + self.after_starving(j)),
            (State::Done(j), State::Done(k) | State::Held(k)) if k > j => Some(self.skipped(j + 1, k)),
            (State::Held(j), to) => self.after_stage(j, to),
            _ => None,
        }
    }

    fn after_rest(&self, to: State) -> Option<f64> {
        match to {
            State::Done(stage) | State::Held(stage) => Some(self.skipped(0, stage)),
            State::Surge => Some(UNKNOWN_EXCURSION),
            State::Starved => Some(GIVE_WAY + 1.0),
            State::Heavy | State::Collapsed => Some(SHORT_AT_WAKE),
            _ => None,
        }
    }

    /// Cost of starting again without a rest in between.
    fn unseen_rest(&self) -> f64 {
        RESTART_UNSEEN_REST * (1.0 + (LEAST_REST_S / (READINGS_OF_A_REST * self.update_s)).min(1.0))
    }

    /// A feed that gave way hides which stage the board was in: any may follow, the later the dearer.
    fn after_starving(&self, stage: usize) -> f64 {
        if stage == self.model.last() { 1.0 } else { 0.0 }
    }

    fn after_stage(&self, stage: usize, to: State) -> Option<f64> {
        let last = self.model.last();
        match to {
            State::Low => Some(FALL_BACK),
            State::Excess => Some(FALL_BACK_TO_MORE),
            State::Starved => Some(GIVE_WAY),
            State::Burst if stage == last && self.model.of_this_board => {
                Some(BUSY_AGAIN * (BUSY_WITHIN_S / self.lasts_s).min(1.0))
            }
            State::Surge if stage != last || !self.model.of_this_board => Some(UNKNOWN_AFTER_STAGE),
            State::Collapsed => Some(SHORT_AT_WAKE),
            State::Heavy if stage == 0 && self.model.of_this_board => Some(HEAVY_AFTER_STAGES),
            State::Held(_) if !self.model.of_this_board => Some(OTHER_LEVEL),
            State::Done(k) | State::Held(k) if k <= stage && stage != last => {
                Some(self.unseen_rest() + self.skipped(0, k))
            }
            _ => None,
        }
    }
}

impl State {
    fn is_stage_or_excursion(self) -> bool {
        self.stage().is_some() || matches!(self, State::Surge | State::Burst)
    }
}

#[cfg(test)]
mod tests {
    use super::super::Progress;
    use super::*;
    use crate::units::Volts;
    use crate::verdict::kind;
    use crate::verdict::tests::{SET_V, profile};

    /// A board with a standby that waits and the stages rails, loading and idle.
    fn known() -> Model {
        Model::from_profile(&profile(), Volts::constant(SET_V))
    }

    fn guessed() -> Model {
        Model::from_kind(kind::by_feed(SET_V).unwrap(), f64::INFINITY)
    }

    fn edge(model: &Model, from: State, to: State) -> Option<Edge> {
        Grammar::new(model, 0.1, true, 60.0).edge(from, to)
    }

    fn costs(from: State, to: State) -> [f64; 3] {
        let edge = edge(&known(), from, to).unwrap();
        [0, 1, 2].map(|attempts| Progress { attempts, ..Progress::default() }.cost(&edge))
    }

    #[test]
    fn after_two_attempts_another_is_no_news() {
        let [first, second, third] = costs(State::Held(1), State::Low);
        assert!(first > 1.0 && third < first / 2.0, "{first} {third}");
        assert!(first.total_cmp(&second).is_eq(), "{first} {second}");
    }

    #[test]
    fn a_load_of_another_kind_is_news_however_often_the_board_has_tried() {
        for (from, to) in
            [(State::Held(1), State::Collapsed), (State::Held(1), State::Excess), (State::Low, State::Heavy)]
        {
            let [first, _, third] = costs(from, to);
            assert!(first > 0.0 && first.total_cmp(&third).is_eq(), "{from:?} {to:?}");
        }
    }

    #[test]
    fn a_leak_does_not_grow_to_a_short_but_a_rest_may_end_in_one() {
        assert_eq!(edge(&known(), State::Excess, State::Heavy), None);
        assert!(edge(&known(), State::Low, State::Heavy).is_some());
        assert!(edge(&known(), State::Excess, State::Collapsed).is_some());
    }

    #[test]
    fn only_a_board_without_a_profile_goes_from_its_level_to_another_of_its_own() {
        let (known, guessed) = (known(), guessed());
        let stay = |model: &Model| edge(model, State::Held(model.last()), State::Held(model.last()));
        assert_eq!(stay(&known), None);
        assert!(stay(&guessed).is_some_and(|edge| !edge.gave_up));
        let below = edge(&known, State::Held(1), State::Held(1)).unwrap();
        assert!(below.gave_up, "the same stage again is a restart");
    }

    #[test]
    fn a_stage_that_a_busy_running_level_goes_down_to_may_pass_unseen() {
        let skip = |share: f64, activity: f64| {
            let mut model = known();
            let last = model.last();
            model.stages[last - 1].watts = share * model.stages[last].watts;
            model.stages[last].activity = activity;
            Grammar::new(&model, 0.1, true, 60.0).skip(last - 1)
        };
        assert!(skip(0.8, 0.2) < 1.0, "one of its downs: {}", skip(0.8, 0.2));
        assert!(skip(0.85, 0.05) < 2.0, "on some boards as close as that: {}", skip(0.85, 0.05));
        assert!(skip(0.7, 0.05) > 6.0, "a calm level: {}", skip(0.7, 0.05));
        assert!(skip(0.4, 0.2) > 6.0, "far below: {}", skip(0.4, 0.2));
    }

    #[test]
    fn a_stage_at_the_level_of_the_one_before_it_may_pass_unseen() {
        let skip = |share: f64| {
            let mut model = known();
            model.stages[1].watts = share * model.stages[0].watts;
            Grammar::new(&model, 0.1, true, 60.0).skip(1)
        };
        assert!(skip(0.97) < 1.0 && skip(1.03) < 1.0, "{} {}", skip(0.97), skip(1.03));
        assert!(skip(1.3) > 6.0, "{}", skip(1.3));
    }
}
