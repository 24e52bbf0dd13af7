//! What is wrong with a board: the verdict classes of the program, each as the physics that cause it.

use super::model::BoardModel;
use crate::simulator::noise::Noise;
use std::fmt;

/// What a simulated run shows, by the name that the verdict goes by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Case {
    /// The input is open: a blown fuse.
    NoDraw,
    /// The input is shorted to a fraction of an ohm.
    HardShort,
    /// A heavy load sits on the input from the start.
    PartialShort,
    /// Something draws a multiple of the standby, and the board never wakes.
    ExcessStandby,
    /// Healthy standby; the board never wakes.
    StandbyOnly,
    /// One or two attempts end in a protection that stays.
    LatchOff,
    /// Every attempt ends in the same stage, for ever.
    Cycling,
    /// A stage before the last never ends.
    Stalled,
    /// A sound board.
    FullBoot,
    /// A sound start that falls back.
    DroppedOut,
    /// A sound board on a feed that is too weak: limit too low, or leads too long.
    FeedLimited,
    /// A sound board, and a run that ends before anything can be said.
    Inconclusive,
}

impl Case {
    /// Every case, in the order in which a board gets further.
    pub const ALL: [Self; 12] = [
        Self::NoDraw,
        Self::HardShort,
        Self::PartialShort,
        Self::ExcessStandby,
        Self::StandbyOnly,
        Self::LatchOff,
        Self::Cycling,
        Self::Stalled,
        Self::FullBoot,
        Self::DroppedOut,
        Self::FeedLimited,
        Self::Inconclusive,
    ];

    /// The name of the verdict that it should get.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::NoDraw => "no-draw",
            Self::HardShort => "hard-short",
            Self::PartialShort => "partial-short",
            Self::ExcessStandby => "excess-standby",
            Self::StandbyOnly => "standby-only",
            Self::LatchOff => "latch-off",
            Self::Cycling => "cycling",
            Self::Stalled => "stalled",
            Self::FullBoot => "full-boot",
            Self::DroppedOut => "dropped-out",
            Self::FeedLimited => "feed-limited",
            Self::Inconclusive => "inconclusive",
        }
    }

    /// The case of that name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|case| case.name() == name)
    }
}

impl fmt::Display for Case {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// A quantity of one state that is off, on a board that otherwise does what its case says.
#[derive(Debug, Clone, PartialEq)]
pub struct Alteration {
    /// `standby` or a stage.
    pub state: String,
    /// Factor on its power.
    pub power: f64,
    /// Factor on its length.
    pub duration: f64,
}

/// How attempts end early.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Abort {
    /// The stage in which they end.
    pub(super) stage: usize,
    /// The share of that stage that is still done.
    pub(super) share: f64,
    /// Watts on top in the last moment, as the fault trips a protection; 0 for a watchdog that just resets.
    pub(super) spike_watts: f64,
    /// Length of that last moment.
    pub(super) spike_s: f64,
    /// From the end of an attempt to the start of the next.
    pub(super) rest_s: f64,
    /// After how many attempts the protection stays; `None` for never.
    pub(super) attempts: Option<usize>,
    /// Share of standby power that is still drawn at rest and after the last attempt.
    pub(super) rest_share: f64,
}

/// The faults of one unit in one run, as physics.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fault {
    /// Nothing behind the input is connected.
    pub(super) open: bool,
    /// A short across the input, in ohms.
    pub(super) short_ohms: Option<f64>,
    /// How the short changes as it warms up.
    pub(super) short_warming: f64,
    /// Factor on standby power.
    pub(super) standby_factor: f64,
    /// Whether the board leaves standby at all.
    pub(super) wakes: bool,
    /// The stage that never ends.
    pub(super) stalls_in: Option<usize>,
    /// Whether a stalled stage goes quiet (a stopped processor) or goes on with its work in a loop.
    pub(super) stall_is_quiet: bool,
    /// How attempts end.
    pub(super) abort: Option<Abort>,
    /// How long the running level holds.
    pub(super) holds_s: Option<f64>,
}

impl Fault {
    fn none() -> Self {
        Self {
            open: false,
            short_ohms: None,
            short_warming: 0.0,
            standby_factor: 1.0,
            wakes: true,
            stalls_in: None,
            stall_is_quiet: false,
            abort: None,
            holds_s: None,
        }
    }

    /// The physics of `case`. `stage` is where a start stalls or ends, if the caller minds.
    pub(super) fn draw(case: Case, model: &BoardModel, stage: Option<usize>, noise: &mut Noise) -> Self {
        let sound = Self::none();
        match case {
            Case::NoDraw => Self { open: true, ..sound },
            // A few per cent of the set volts, up to about 15 % with the lead's drop, at the advised limit.
            Case::HardShort => {
                let share = noise.between_log(0.008, 0.1);
                Self { short_ohms: Some(share * model.feed_v / model.limit_a), wakes: false, ..sound }
            }
            Case::PartialShort => Self::partial_short(model, noise),
            Case::ExcessStandby => {
                Self { standby_factor: noise.between_log(3.0, most_excess(model)), wakes: false, ..sound }
            }
            Case::StandbyOnly => Self { wakes: false, ..sound },
            Case::LatchOff => Self { abort: Some(Abort::latching(model, stage, noise)), ..sound },
            Case::Cycling => Self { abort: Some(Abort::cycling(model, stage, noise)), ..sound },
            Case::Stalled => Self {
                stalls_in: Some(stage.unwrap_or_else(|| noise.pick(model.stages.len() - 1))),
                stall_is_quiet: noise.chance(0.5),
                ..sound
            },
            Case::DroppedOut => Self { holds_s: Some(noise.between(5.0, 14.0)), ..sound },
            Case::FullBoot | Case::FeedLimited | Case::Inconclusive => sound,
        }
    }

    /// From the boot's highest sustained current up to three times the advised limit.
    fn partial_short(model: &BoardModel, noise: &mut Noise) -> Self {
        let boot = model.stages[model.hungriest_stage()].watts / model.feed_v;
        let amps = noise.between_log(1.1 * boot, 2.6 * model.limit_a);
        Self {
            short_ohms: Some(model.feed_v / amps),
            short_warming: noise.between(-0.06, 0.06),
            wakes: false,
            ..Self::none()
        }
    }
}

/// The largest factor on standby that is still far below what the board's start takes.
fn most_excess(model: &BoardModel) -> f64 {
    let least_boot = model.stages.iter().skip(1).map(|stage| stage.watts).fold(f64::INFINITY, f64::min);
    (0.35 * least_boot / model.standby.watts).clamp(3.5, 9.0)
}

impl Abort {
    /// An overload trips a protection that stays, within a second or so from the start.
    fn latching(model: &BoardModel, stage: Option<usize>, noise: &mut Noise) -> Self {
        let (stage, share) = end_of_attempt(model, stage, noise);
        Self {
            stage,
            share,
            spike_watts: noise.between(0.5, 1.6) * model.stages[model.hungriest_stage()].watts,
            spike_s: noise.between(0.04, 0.2),
            rest_s: noise.between(0.8, 2.0),
            attempts: Some(1 + usize::from(noise.chance(0.35))),
            rest_share: noise.between(0.6, 1.0),
        }
    }

    /// A watchdog or a protection that tries again and again.
    fn cycling(model: &BoardModel, stage: Option<usize>, noise: &mut Noise) -> Self {
        let (stage, share) = end_of_attempt(model, stage, noise);
        let trips = noise.chance(0.5);
        Self {
            stage,
            share,
            spike_watts: if trips { model.stages[model.hungriest_stage()].watts } else { 0.0 },
            spike_s: if trips { noise.between(0.02, 0.12) } else { 0.0 },
            rest_s: noise.between(0.7, 2.2),
            attempts: None,
            rest_share: noise.between(0.8, 1.0),
        }
    }
}

/// The stage in which attempts end, and the share of it that is done: as asked for, or early.
fn end_of_attempt(model: &BoardModel, stage: Option<usize>, noise: &mut Noise) -> (usize, f64) {
    match stage {
        Some(stage) => (stage, noise.between(0.15, 0.9)),
        None => early(model, noise),
    }
}

/// A point of the start that is reached 0.4 to 2.2 seconds into an attempt: the stage and the share of it.
fn early(model: &BoardModel, noise: &mut Noise) -> (usize, f64) {
    let mut left = noise.between(0.4, 2.2);
    for (index, stage) in model.stages.iter().enumerate() {
        let Some(seconds) = stage.seconds else { return (index, 0.1) };
        if left < seconds {
            return (index, left / seconds);
        }
        left -= seconds;
    }
    (0, 0.5)
}
