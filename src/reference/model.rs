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
