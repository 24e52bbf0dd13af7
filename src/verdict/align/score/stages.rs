//! How well a stay looks like a stage of the model: its level, its activity, and how long it lasts.

use super::{HOPELESS, LEAST_DURATION_S, Look, MOST_LOOKS, SAG_UNEXPLAINED, Scores, both, tail};
use crate::verdict::model::LEAST_LEVEL_SD;
use crate::verdict::piece::LOOK_S;

/// Most that unusual activity can count against a stage, in nats.
const MOST_ACTIVITY: f64 = 4.0;

impl Scores<'_> {
    pub(super) fn done(&self, look: &Look, j: usize, first: bool) -> f64 {
        let cut_in = first && !self.run.switch_on_seen;
        let duration = match self.late(look, j) {
            Some(late) if cut_in => tail(late.max(0.0)),
            Some(late) => tail(late / self.blurred(j)),
            None => 0.0,
        };
        self.stage(look, j) + duration
    }

    /// By how much the end of stage `j` is less certain than its own length: a busy load wanders for seconds, so that
    /// between two levels that lie close together the board has gone on before or after it seems to.
    pub(super) fn blurred(&self, j: usize) -> f64 {
        /// Levels further apart than this, as a log, are told apart within a look or two (common practice, no source).
        const CLOSE: f64 = 0.25;
        /// ... or, where the next wanders more, than so many standard deviations of it (by judgement).
        const CLOSE_SDS: f64 = 3.0;
        /// Standard deviation of the log of the length that is seen, where the levels are the same.
        const BLUR_SD: f64 = 0.5;
        let ends = (self.model.stages[j].duration, self.model.stages.get(j + 1));
        let (Some(span), Some(next)) = ends else { return 1.0 };
        let apart = (next.watts / self.model.stages[j].watts).ln().abs();
        let close = (CLOSE_SDS * next.activity).max(CLOSE);
        both(1.0, BLUR_SD * (1.0 - apart / close).max(0.0) / span.sd)
    }

    pub(super) fn held(&self, look: &Look, j: usize) -> f64 {
        let overdue = self.late(look, j).map_or(0.0, |late| tail(late.max(0.0)).max(-6.0));
        self.stage(look, j) + overdue - self.hardly_known(look, j)
    }

    /// A stay in stage `j` that the log's end cuts off, leaving open whether the board is stuck there or going on: only
    /// what both have in common.
    pub(in super::super) fn cut_off(&self, look: &Look, j: usize) -> f64 {
        /// What has begun with the last readings, in renewals and in seconds, may be the end of what was before ...
        const JUST: f64 = 2.2;
        const JUST_S: f64 = LOOK_S;
        /// ... which it costs to call a stage, in nats.
        const JUST_BEGUN: f64 = 2.0;
        let just_begun = if look.duration <= (JUST * self.update_s).max(JUST_S) { JUST_BEGUN } else { 0.0 };
        self.level(look, j) - SAG_UNEXPLAINED * look.sag - just_begun - self.hardly_known(look, j)
    }

    /// What a stay longer than good boards' in stage `j` costs where the reference hardly knows its level, as that of a
    /// stage of a few readings: any load fits such a stage, so that fitting it says little. In nats, the log of how much
    /// wider than a level that is known.
    pub(super) fn hardly_known(&self, look: &Look, j: usize) -> f64 {
        let stage = &self.model.stages[j];
        let overlong = stage.duration.is_some_and(|span| look.duration > span.high);
        if overlong && self.model.of_this_board { (stage.sd / LEAST_LEVEL_SD).ln().max(0.0) } else { 0.0 }
    }

    /// How much longer than usual the stretch lasts as stage `j`, in standard deviations of the log; `None` where the
    /// stage has no end of its own.
    pub(in crate::verdict) fn late(&self, look: &Look, j: usize) -> Option<f64> {
        let span = self.model.stages[j].duration?;
        // A stage may have ended anywhere in a gap; it is only late by what was read of it.
        let ln_lasted = if look.read >= look.duration {
            look.ln_duration
        } else {
            span.typical.clamp(look.read, look.duration).max(LEAST_DURATION_S).ln()
        };
        let edge = (self.update_s / span.typical).min(2.0);
        Some((ln_lasted - self.scales[j].ln_typical) / both(span.sd, edge))
    }

    /// Level and sag of a stretch as a stay in stage `j`, and its activity.
    pub(super) fn stage(&self, look: &Look, j: usize) -> f64 {
        self.level(look, j) + self.activity(look, j) - SAG_UNEXPLAINED * look.sag
    }

    /// What the level of a stuck board is held less against it: it stops at some point of stage `j`, whose mean is not
    /// what that point draws.
    pub(in crate::verdict) fn stuck_level(&self, look: &Look, j: usize) -> f64 {
        /// Standard deviation of the log of the power between points of one stage (common practice, no source).
        const POINT_SD: f64 = 0.25;
        let sd = self.model.stages[j].sd;
        let wide = both(sd, POINT_SD);
        let narrower = (wide / sd).ln() / 2.0;
        (self.level_within(look, j, wide) - self.level(look, j) - narrower).max(0.0)
    }

    /// What the ups and downs of a stuck board say of stage `j`, in nats: some go round in a circle, some stop dead, but none does
    /// more than what drives it at that point can.
    pub(in crate::verdict) fn stuck_activity(&self, look: &Look, j: usize) -> f64 {
        /// Share of stuck boards that stop dead (by judgement).
        const STOPS_DEAD: f64 = 0.5;
        let activity = self.activity(look, j);
        if look.ln_seen < self.scales[j].ln_activity { activity.max(STOPS_DEAD.ln()) } else { activity }
    }

    /// How well the level fits the running level, 0 to 1; no running level is known of a board without a profile.
    pub(in crate::verdict) fn runs_at(&self, look: &Look) -> f64 {
        if self.model.of_this_board { self.fits(look, self.model.last()) } else { 0.0 }
    }

    /// What a level off the usual running level says more against a board at it where only that level tells it from the
    /// stage before: what its software does may be any, but then it may as well be in that stage.
    pub(in crate::verdict) fn off_running_level(&self, look: &Look) -> f64 {
        let last = self.model.last();
        let sd = both(LEAST_LEVEL_SD, LEAST_LEVEL_SD);
        (self.level_within(look, last, sd) - self.level(look, last)).min(0.0)
    }

    /// How well the level fits stage `j`, 0 to 1.
    pub(in crate::verdict) fn fits(&self, look: &Look, j: usize) -> f64 {
        self.level(look, j).exp()
    }

    /// How well the level fits some stage, 0 to 1.
    pub(in crate::verdict) fn at_a_stage(&self, look: &Look) -> f64 {
        if !self.model.of_this_board {
            return 0.0;
        }
        (0..self.model.stages.len()).map(|j| self.fits(look, j)).fold(0.0, f64::max)
    }

    fn level(&self, look: &Look, j: usize) -> f64 {
        self.level_within(look, j, self.model.stages[j].sd)
    }

    /// The level as that of stage `j`, whose log scatters by `sd` from board to board.
    fn level_within(&self, look: &Look, j: usize, sd: f64) -> f64 {
        if look.net_w <= 0.0 {
            return HOPELESS;
        }
        let u = look.uncertainty_w / look.net_w;
        // A short stay in a busy stage samples its ups and downs.
        let looks = (look.duration / LOOK_S).clamp(0.5, MOST_LOOKS);
        let sampled = self.model.stages[j].activity.powi(2) / looks;
        tail((look.ln_net - self.scales[j].ln_watts) / (sd * sd + u * u + sampled).sqrt())
    }

    /// Gaussian likelihood ratio of the spread that was seen against the one expected of stage `j`, softened: loads are
    /// not Gaussian.
    pub(in crate::verdict) fn activity(&self, look: &Look, j: usize) -> f64 {
        const SOFTEN: f64 = 0.35;
        let looks = (look.duration / LOOK_S).min(MOST_LOOKS);
        let ln_ratio = look.ln_seen - self.scales[j].ln_activity;
        // Too calm, by the Gaussian likelihood; too busy, with a heavy tail, for a single burst makes it so.
        let gap = if ln_ratio < 0.0 {
            -ln_ratio + (2.0 * ln_ratio).exp() / 2.0 - 0.5
        } else {
            (ln_ratio - self.ln_busier).max(0.0)
        };
        -(SOFTEN * looks * gap).min(MOST_ACTIVITY)
    }
}
