//! The data of a profile. Reading, writing and learning stand in the files beside this one.

use crate::units::{Amps, Volts};

/// What known-good boards of one model do.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    /// Board model, as logs name it.
    pub board: String,
    /// What kind of board it is, for people.
    pub description: String,
    /// How the board is to be fed.
    pub feed: Feed,
    /// The stages in the order in which a good board goes through them; never empty, the last is the running level.
    pub phases: Vec<PhaseReference>,
    /// From what the profile was learned.
    pub learned: Learned,
    /// Sections between the inlets and the running board, in the order in which power passes them.
    pub power_path: Vec<PathSection>,
    /// What to probe next, by verdict and stage.
    pub checks: Vec<Check>,
}

/// How a board is to be fed.
#[derive(Debug, Clone, PartialEq)]
pub struct Feed {
    /// Usual volts.
    pub nominal: Volts,
    /// Lowest volts at which a good board still boots.
    pub lowest: Volts,
    /// Highest volts that do no harm.
    pub highest: Volts,
    /// Advised current limit.
    pub limit: Amps,
    /// Where the supply is connected, in words.
    pub point: String,
    /// What to mind before the output is switched on.
    pub cautions: Vec<String>,
}

/// One stage of a good board, with the envelopes of its quantities.
#[derive(Debug, Clone, PartialEq)]
pub struct PhaseReference {
    /// The stage's name.
    pub name: String,
    /// Whether the stage lasts until a person does something (standby until the button).
    pub waits_for_person: bool,
    /// Mean power over the stage, in watts.
    pub mean_power: Envelope,
    /// Highest power of one readback update in the stage, in watts.
    pub peak_power: Envelope,
    /// Spread (robust standard deviation) of power within the stage, in watts.
    pub activity: Envelope,
    /// How long the stage lasts, in seconds; `None` where it has no end of its own (standby, the running level).
    pub duration: Option<Envelope>,
    /// Energy that the stage takes, in joules; `None` where it has no end of its own.
    pub energy: Option<Envelope>,
    /// How the stage's power follows the feed volts: power goes with volts to this exponent. 0 is a converter (the
    /// same watts at any volts), 1 a linear regulator (the same amps), 2 a resistive load. The envelopes of power and
    /// energy hold at [`Learned::feed`]; at other volts they move by this law.
    pub volts_exponent: f64,
    /// How well the exponent is known (standard deviation); `None` where somebody wrote it who knew.
    pub volts_exponent_sd: Option<f64>,
}

impl PhaseReference {
    /// The envelope of `quantity`, where the stage has one.
    #[must_use]
    pub fn envelope(&self, quantity: Quantity) -> Option<Envelope> {
        match quantity {
            Quantity::MeanPower => Some(self.mean_power),
            Quantity::PeakPower => Some(self.peak_power),
            Quantity::Activity => Some(self.activity),
            Quantity::Duration => self.duration,
            Quantity::Energy => self.energy,
        }
    }
}

/// The name of a phase in which a board has power and has not woken.
pub(super) const STANDBY: &str = "standby";

impl Profile {
    /// What the board does before it wakes: its first phase, if that waits for a person or is called `standby`.
    #[must_use]
    pub fn standby(&self) -> Option<&PhaseReference> {
        self.phases.first().filter(|phase| phase.waits_for_person || phase.name.eq_ignore_ascii_case(STANDBY))
    }

    /// What the stage's envelopes of power and energy are to be multiplied by at `feed` volts.
    ///
    /// 1 for a converter, and where the profile does not say at which feed it was learned.
    #[must_use]
    pub fn power_factor(&self, phase: &PhaseReference, feed: Volts) -> f64 {
        let learned_at = self.learned.feed.unwrap_or(self.feed.nominal).value();
        if feed.value() > 0.0 && learned_at > 0.0 {
            (feed.value() / learned_at).powf(phase.volts_exponent)
        } else {
            1.0
        }
    }

    /// What each capture of the reference goes up to, whichever its stage, at `feed` volts, in watts.
    #[must_use]
    pub fn boot_peaks(&self, feed: Volts) -> Vec<f64> {
        let factor = |name: &str| {
            let phase = self.phases.iter().find(|phase| phase.name == name);
            phase.map_or(0.0, |phase| self.power_factor(phase, feed))
        };
        let of_log = |log: &SourceLog| {
            log.stages.iter().map(|stage| stage.peak_power * factor(&stage.phase)).fold(0.0, f64::max)
        };
        self.learned.logs.iter().map(of_log).collect()
    }
}

/// A quantity that an envelope can be for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Quantity {
    /// Mean power, watts.
    MeanPower,
    /// Peak power, watts.
    PeakPower,
    /// Activity, watts.
    Activity,
    /// Duration, seconds.
    Duration,
    /// Energy, joules.
    Energy,
}

impl Quantity {
    /// Every quantity, in the order in which a profile lists them.
    pub const ALL: [Self; 5] =
        [Self::MeanPower, Self::PeakPower, Self::Activity, Self::Duration, Self::Energy];

    /// Its words in a finding.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::MeanPower => "mean power",
            Self::PeakPower => "peak power",
            Self::Activity => "activity",
            Self::Duration => "duration",
            Self::Energy => "energy",
        }
    }

    /// Its key in a profile, which carries the unit.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::MeanPower => "mean_power_w",
            Self::PeakPower => "peak_power_w",
            Self::Activity => "activity_w",
            Self::Duration => "duration_s",
            Self::Energy => "energy_j",
        }
    }
}

/// The range that a stated share of good boards keeps within; SI units, `low <= typical <= high`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Envelope {
    /// Lower bound.
    pub low: f64,
    /// Centre (geometric mean of the boards).
    pub typical: f64,
    /// Upper bound.
    pub high: f64,
}

/// From what a profile was learned.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Learned {
    /// How many different boards.
    pub boards: usize,
    /// How many captures of them.
    pub captures: usize,
    /// Day of learning, ISO 8601.
    pub date: String,
    /// Median feed volts of the captures.
    pub feed: Option<Volts>,
    /// The logs, by name and hash.
    pub logs: Vec<SourceLog>,
}

/// A log that a profile was learned from.
#[derive(Debug, Clone, PartialEq)]
pub struct SourceLog {
    /// File name.
    pub name: String,
    /// SHA-256 of the file, in hexadecimal.
    pub sha256: String,
    /// Serial number of the board, if the log gave one.
    pub serial: Option<String>,
    /// Median feed volts of the log while the board was fed.
    pub feed: Option<Volts>,
    /// What was measured of each stage: the evidence that the envelopes come from, kept so that captures can be
    /// added later without the old logs. Empty in a profile written by hand.
    pub stages: Vec<StageMeasure>,
}

/// What one capture measured of one stage; SI units.
#[derive(Debug, Clone, PartialEq)]
pub struct StageMeasure {
    /// The stage's name in the profile.
    pub phase: String,
    /// Mean power, watts.
    pub mean_power: f64,
    /// Highest power of one readback update, watts.
    pub peak_power: f64,
    /// Spread of power, watts.
    pub activity: f64,
    /// Length in seconds; `None` where the stage has no end of its own in this capture.
    pub duration: Option<f64>,
    /// Energy in joules; `None` with `duration`.
    pub energy: Option<f64>,
    /// Median volts at which it was measured.
    pub volts: f64,
    /// Uncertainty of the power that supply resolution and accuracy leave, watts (one standard deviation).
    pub uncertainty: f64,
    /// How long the stage was seen, seconds; `None` if the profile does not say.
    pub seen: Option<f64>,
    /// From one renewal of the readback to the next, seconds; `None` if the profile does not say.
    pub update: Option<f64>,
}

impl StageMeasure {
    /// How many renewals of the readback the stage lasted; `None` if the profile does not say.
    #[must_use]
    pub fn updates(&self) -> Option<f64> {
        Some(self.seen? / self.update.filter(|update| *update > 0.0)?)
    }

    /// The measured value of `quantity`.
    #[must_use]
    pub fn value(&self, quantity: Quantity) -> Option<f64> {
        match quantity {
            Quantity::MeanPower => Some(self.mean_power),
            Quantity::PeakPower => Some(self.peak_power),
            Quantity::Activity => Some(self.activity),
            Quantity::Duration => self.duration,
            Quantity::Energy => self.energy,
        }
    }
}

/// A section of the board between an inlet and the running system.
#[derive(Debug, Clone, PartialEq)]
pub struct PathSection {
    /// What it is, for people: `charger`, `standby regulators`.
    pub section: String,
    /// The stages that, once reached and kept to their envelope, prove the section.
    pub proved_by: Vec<String>,
    /// The feed points whose current does not pass the section.
    pub skipped_from: Vec<String>,
}

/// What to probe next.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// The verdict class that asks for it, by its name in a finding.
    pub class: String,
    /// The stage that it applies to; `None` for every stage.
    pub stage: Option<String>,
    /// What to do, in words.
    pub probe: String,
}
