//! The semi-Markov alignment: which sequence of states, each holding for a while, explains the pieces of a run best.
//!
//! A run is a sequence of pieces. A *state* holds for one or more whole pieces; how well it explains them is its
//! plausibility, in nats below a perfect fit (`score`): what the stay shows as a whole (level, activity, sag, duration),
//! what each piece says against lying in it, and whether the step from stage to stage is to be seen. Which state may
//! follow which, and at what cost, is the grammar (`grammar`). With each state go a few facts that later decide
//! the class: attempts so far, whether the last stage was reached, whether the feed gave way (`Progress`). The best
//! path into every end is found by dynamic programming (`search`), so that each class competes with its own best
//! explanation of the whole run, and not with a rule of thumb.
//!
//! Explicit-duration (semi-Markov) decoding as in L. R. Rabiner, "A tutorial on hidden Markov models", Proc. IEEE 77
//! (1989), section IV.D; the scores here are plausibilities, turned to probabilities by calibration afterwards.

mod alike;
mod grammar;
mod hidden;
mod running;
mod score;
mod search;
mod wake;

pub(super) use alike::with_alike_tries;
pub(super) use hidden::with_hidden_tries;
pub(super) use running::{first_running, has_a_level, to_running_level};
pub(super) use score::{Look, Scores, soft, tail};
pub(super) use search::{Ending, Path, Step, search};
#[cfg(test)]
pub(super) use search::{SIDE_BY_SIDE, search_beside};
pub(super) use wake::{Fineness, from_first_reading, with_last_start};

/// A state of the board or the feed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(super) enum State {
    /// The first moments after switch-on: capacitors charge, connectors bounce.
    Inrush,
    /// Nothing that this supply can resolve.
    Nothing,
    /// Standby or less.
    Low,
    /// Above standby, far below boot, steady.
    Excess,
    /// A short excursion above standby that fits no stage.
    Surge,
    /// A short excursion of a running board: it gets busy, as boards do.
    Burst,
    /// The feed gives way: in limit, volts sagging.
    Starved,
    /// A steady load of boot size without a sequence before it.
    Heavy,
    /// In limit, the feed collapsed.
    Collapsed,
    /// Stage, gone through to its end.
    Done(usize),
    /// Stage, broken off, or still on when the log ends.
    Held(usize),
}

impl State {
    const FIXED: [Self; 9] = [
        Self::Inrush,
        Self::Nothing,
        Self::Low,
        Self::Excess,
        Self::Surge,
        Self::Burst,
        Self::Starved,
        Self::Heavy,
        Self::Collapsed,
    ];

    /// Every state of a board with `stages` stages.
    fn all(stages: usize) -> Vec<Self> {
        let of_stages = (0..stages).flat_map(|j| [Self::Done(j), Self::Held(j)]);
        Self::FIXED.into_iter().chain(of_stages).collect()
    }

    /// The stage that the board is in, if it is in one.
    pub(super) fn stage(self) -> Option<usize> {
        match self {
            Self::Done(stage) | Self::Held(stage) => Some(stage),
            _ => None,
        }
    }

    /// Whether the board draws no more than in standby.
    pub(super) fn is_rest(self) -> bool {
        matches!(self, Self::Low | Self::Excess | Self::Nothing)
    }
}

/// What happened up to some moment, as far as the class depends on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Progress {
    /// Attempts that fell back, up to three.
    pub attempts: u8,
    /// Whether the last stage was reached and left.
    pub left_last: bool,
    /// Whether the feed gave way.
    pub starved: bool,
}

impl Progress {
    const COUNT: usize = 16;
    /// More attempts than this make no difference.
    const MOST_ATTEMPTS: u8 = 3;

    fn index(self) -> usize {
        usize::from(self.attempts) + 4 * usize::from(self.left_last) + 8 * usize::from(self.starved)
    }

    /// What the step `edge` costs, given what came before.
    fn cost(self, edge: &grammar::Edge) -> f64 {
        if self.attempts >= 2 { edge.cost_again } else { edge.cost }
    }

    fn at(index: usize) -> Self {
        #[expect(clippy::cast_possible_truncation, reason = "0 to 3")]
        let attempts = (index % 4) as u8;
        Self { attempts, left_last: index / 4 % 2 == 1, starved: index / 8 == 1 }
    }

    /// After going from one state to another.
    fn after(self, edge: &grammar::Edge) -> Self {
        Self {
            attempts: (self.attempts + u8::from(edge.gave_up)).min(Self::MOST_ATTEMPTS),
            left_last: self.left_last || edge.left_last,
            starved: self.starved || edge.starved,
        }
    }
}
