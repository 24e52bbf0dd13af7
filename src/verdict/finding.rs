//! The finding: everything that the analysis concluded.
//!
//! Times are those of the log's `t_s`. Numbers are SI without prefix. A missing number is null, never 0.

use crate::units::{Amps, Joules, Seconds, Volts, Watts, time_in_steps, volts_beside};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Everything that the analysis of one log concluded.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Finding {
    /// The program that made it.
    pub tool: Tool,
    /// The log that it is about.
    pub log: LogFacts,
    /// The profile that the log was compared with, if any.
    pub profile: Option<ProfileFacts>,
    /// How far the board got.
    pub verdict: Verdict,
    /// Every stretch of the log in which the board was fed, in order of time, each with its own verdict. The verdict
    /// above is that of the last which carries one.
    #[serde(default)]
    pub runs: Vec<RunVerdict>,
    /// The phases in order of time.
    pub phases: Vec<Phase>,
    /// Starts in the run of the verdict: every time that the board left its rest, in order of time.
    #[serde(default)]
    pub attempts: Vec<Attempt>,
    /// Where a board that ran fell back, in the run of the verdict; null where it did not.
    #[serde(default)]
    pub fall: Option<Fall>,
    /// Quantities outside their envelope, first in time first.
    pub departures: Vec<Departure>,
    /// What the run proves of the board's sections, in the order in which power passes them.
    pub power_path: Vec<SectionProof>,
    /// What to probe next, most telling first.
    pub next_checks: Vec<String>,
    /// What to mind while doing so.
    pub cautions: Vec<String>,
    /// What this capture cannot show, and why.
    pub limits: Vec<String>,
}

/// The program that made a finding.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Tool {
    /// Always `feedtale`.
    pub name: String,
    /// Its version.
    pub version: String,
}

/// What is known of the log itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LogFacts {
    /// Where the log was read from, as given; `-` for standard input.
    pub path: String,
    /// SHA-256 of the file, in hexadecimal.
    pub sha256: String,
    /// Board model.
    pub board: Option<String>,
    /// Serial number of the board.
    pub serial: Option<String>,
    /// Repair ticket.
    pub ticket: Option<String>,
    /// Where the supply was connected.
    pub feed_point: Option<String>,
    /// Wall-clock time of the first sample, RFC 3339.
    pub started: Option<String>,
    /// The supply's identification.
    pub supply: Option<String>,
    /// Volts that the supply was set to.
    pub set_v: Option<Volts>,
    /// Current limit that the supply was set to.
    pub limit_a: Option<Amps>,
    /// Number of readings.
    pub samples: usize,
    /// From the first reading to the last.
    pub duration_s: Option<Seconds>,
    /// Readings a second.
    pub poll_hz: Option<f64>,
    /// Changes of the reading a second while the board was fed: how often the supply's readback is renewed.
    pub changed_hz: Option<f64>,
    /// From one renewal of the readings to the next: no time is known better.
    #[serde(default)]
    pub renewed_s: Option<Seconds>,
    /// Smallest step of the amps readback that was seen.
    pub resolution_a: Option<Amps>,
    /// What the supply reads with nothing drawn: taken off all amps of a finding.
    #[serde(default)]
    pub zero_a: Option<Amps>,
    /// Stretches without readings.
    pub gaps: Vec<Gap>,
}

impl LogFacts {
    /// From one renewal of the readings to the next, in seconds, as far as the readings show it: a steady, coarsely
    /// rounded level repeats for minutes, which says nothing of how often it was measured.
    #[must_use]
    pub fn update_s(&self) -> Option<f64> {
        self.renewed_s.map(Seconds::value).or_else(|| self.update_by_rates())
    }

    /// The same of a finding that does not say it, by its rates.
    fn update_by_rates(&self) -> Option<f64> {
        /// A readback that is renewed less often than every so many polls is not polled so often for a reason.
        const POLLS: f64 = 4.0;
        let poll = self.poll_hz.filter(|hertz| *hertz > 0.0)?;
        let changed = self.changed_hz.filter(|hertz| *hertz > 0.0).unwrap_or(poll);
        Some((1.0 / changed).min(POLLS / poll).max(1.0 / poll))
    }

    /// Volts that were read; as they were set where they are no other.
    #[must_use]
    pub fn volts(&self, read: Volts) -> String {
        volts_beside(read.value(), self.set_v.map(Volts::value))
    }

    /// Amps as a finding has them, of what was read: without what the supply reads with nothing drawn.
    #[must_use]
    pub fn drawn(&self, read_a: f64) -> f64 {
        super::phases::without_zero(read_a, self.zero_a.map_or(0.0, Amps::value))
    }

    /// A moment of the log, or a length of time in it, no finer than the readings show it.
    #[must_use]
    pub fn time(&self, seconds: f64) -> String {
        time_in_steps(seconds, self.update_s().unwrap_or(0.0))
    }
}

/// A stretch without readings.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Gap {
    /// Last reading before it.
    pub start_s: Seconds,
    /// First reading after it.
    pub end_s: Seconds,
}

/// Which profile was used.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ProfileFacts {
    /// Board model that it is for.
    pub name: String,
    /// Where it was read from.
    pub path: String,
    /// SHA-256 of the file, in hexadecimal.
    pub sha256: String,
    /// How many boards it was learned from.
    pub boards: usize,
    /// How many captures of them.
    pub captures: usize,
}

/// How far the board got, as a class.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Class {
    /// Feed volts present, current never above what this supply can resolve.
    NoDraw,
    /// From switch-on the supply sits in current limit and the feed collapses.
    HardShort,
    /// From switch-on a heavy steady current of boot size or more with no sequence before it.
    PartialShort,
    /// Steady clearly above the reference standby and far below boot; the board never wakes.
    ExcessStandby,
    /// Normal standby, no wake.
    StandbyOnly,
    /// One or two attempts, then back to standby or less for good.
    LatchOff,
    /// Three or more attempts, repeating, no progress beyond the same stage.
    Cycling,
    /// Got to a stage before the last one and stays there far beyond its usual time.
    Stalled,
    /// Reached the last stage and stayed.
    FullBoot,
    /// Reached the last stage, then fell back.
    DroppedOut,
    /// The supply, not the board: its limit or the leads starve the boot.
    FeedLimited,
    /// The capture cannot carry a verdict.
    Inconclusive,
}

impl Class {
    /// Every class, in the order in which a board gets further.
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

    /// The name in findings, profiles and on the command line.
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

    /// The class of that name.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|class| class.name() == name)
    }
}

impl fmt::Display for Class {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// How far the board got, with confidence and evidence.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Verdict {
    /// The class.
    pub class: Class,
    /// Probability that the class is right, 0 to 1.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub confidence: f64,
    /// The furthest stage that was reached, by the profile's name for it.
    pub reached: Option<String>,
    /// The stage in which most tries end, where that is not the furthest; null where most end in that, or show none.
    #[serde(default)]
    pub usually_in: Option<String>,
    /// The stage that the board stays in, if it is stalled.
    pub stalled_in: Option<String>,
    /// The stage after the one reached, where tries end when that has run its usual length: what is at fault may begin with
    /// this one; null where it does not.
    #[serde(default)]
    pub step_into: Option<String>,
    /// Whether a press of the button is marked with the feed on; null for a board that needs none to start.
    #[serde(default)]
    pub asked: Option<bool>,
    /// How many tries were given up, of a board that starts again and again, or one that latches off and tries again at
    /// every press; null for another.
    #[serde(default)]
    pub tries: Option<usize>,
    /// How long a board that started again and again has stayed down since, in seconds, where that is long enough to show that
    /// it gave up; null where it would try again.
    #[serde(default)]
    pub stays_down_s: Option<f64>,
    /// Of a board that the supply starves, in words, that good boards draw more than the limit lets through, so that none
    /// could boot under it; one of the facts that decided. Left out where one of them could, or nothing tells.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub none_could_boot: Option<String>,
    /// The facts that decided, with numbers and units.
    pub because: Vec<String>,
    /// The next likeliest class, where it was close.
    pub runner_up: Option<RunnerUp>,
}

impl Verdict {
    /// Where in the boot the verdict has its place: where most tries end, else the furthest stage.
    #[must_use]
    pub fn place(&self) -> Option<&String> {
        self.usually_in.as_ref().or(self.reached.as_ref())
    }
}

/// How far the board got in one of the log's runs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RunVerdict {
    /// Switch-on, or the first reading where that was not seen.
    pub start_s: Seconds,
    /// When the feed was taken away, or the last reading.
    pub end_s: Seconds,
    /// The class.
    pub class: Class,
    /// Probability that the class is right, 0 to 1.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub confidence: f64,
    /// The furthest stage that was reached, by the profile's name for it.
    pub reached: Option<String>,
    /// The stage that the board stays in, if it is stalled.
    pub stalled_in: Option<String>,
}

/// The class that came second.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct RunnerUp {
    /// The class.
    pub class: Class,
    /// Probability, 0 to 1.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub confidence: f64,
}

/// As likely as all else together.
pub(crate) const EVEN: f64 = 0.5;

/// Whether a verdict is less likely to be right than to be wrong, or has another close behind it: it is then no more than the
/// first thing to look for. Of verdicts given so low every other one was wrong, as the table beside the temperature of the
/// probabilities counts them.
pub(crate) fn is_toss_up(class: Class, confidence: f64, runner_up: Option<RunnerUp>) -> bool {
    /// Below this share, with another above that, nobody would bet on the first (by judgement).
    const UNSURE: f64 = 0.6;
    const CLOSE: f64 = 0.35;
    let second = runner_up.filter(|second| second.class != Class::Inconclusive);
    let is_close = confidence < UNSURE && second.is_some_and(|second| second.confidence > CLOSE);
    class != Class::Inconclusive && (confidence < EVEN || is_close)
}

/// A stretch of the log with a meaning.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Phase {
    /// `off`, `standby`, a stage of the profile, `attempt`, `rest`.
    pub name: String,
    /// Start.
    pub start_s: Seconds,
    /// End.
    pub end_s: Seconds,
    /// Time-weighted mean current, without the readings over the edges of the phase. Of it, as of every current and power
    /// here, what the supply reads with its output off is taken off, where the log shows that.
    pub mean_a: Amps,
    /// Lowest reading.
    pub min_a: Amps,
    /// Highest reading.
    pub max_a: Amps,
    /// Time-weighted mean volts, without the same.
    pub mean_v: Volts,
    /// Time-weighted mean power, without the same.
    pub mean_w: Watts,
    /// Energy taken, edges and all.
    pub energy_j: Joules,
    /// Spread of power within the phase (robust standard deviation).
    pub activity_w: Watts,
    /// Period of the repetition, for phases that repeat.
    pub period_s: Option<Seconds>,
}

/// A start: the board leaves its rest, and gets somewhere or not.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Attempt {
    /// Where it left its rest.
    pub start_s: Seconds,
    /// Where it fell back, or the log ended.
    pub end_s: Seconds,
    /// The stage in which it ended, by the profile's name for it; null where none could be told.
    pub ended_in: Option<String>,
    /// The same, or else the last one that the time since its wake, and what it drew, leave.
    #[serde(default)]
    pub likely_in: Option<String>,
    /// The first one that they leave; null where there is but one.
    #[serde(default)]
    pub earliest_in: Option<String>,
    /// Highest reading.
    pub peak_a: Amps,
    /// Lowest volts.
    pub lowest_v: Volts,
    /// Whether it fell back; else it was on when the log, or the feed, ended.
    pub given_up: bool,
}

/// Where a board that ran fell back: what text and picture say of it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Fall {
    /// When.
    pub at_s: Seconds,
    /// Mean current of the last second before, or of the last five readings, without those over the edge, and from where on
    /// they lie about one level.
    pub from_a: Amps,
    /// Mean volts of the same.
    pub from_v: Volts,
    /// Mean current after.
    pub to_a: Amps,
    /// Mean volts after.
    pub to_v: Volts,
    /// Lowest volts in the second before.
    pub lowest_v: Volts,
}

/// A phase quantity outside its envelope.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Departure {
    /// The phase.
    pub phase: String,
    /// `mean power`, `peak power`, `activity`, `duration`, `energy`, shown in amps at the feed volts where power.
    pub quantity: String,
    /// On which side.
    pub direction: Direction,
    /// What was measured.
    pub measured: f64,
    /// Lower bound of the envelope.
    pub low: f64,
    /// Upper bound of the envelope.
    pub high: f64,
    /// Unit of the three numbers.
    pub unit: String,
    /// Where it starts.
    pub starts_s: Seconds,
}

/// On which side of an envelope a quantity lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Direction {
    /// More than good boards.
    Above,
    /// Less than good boards.
    Below,
    /// Lasts longer than on good boards.
    Longer,
    /// Lasts shorter than on good boards.
    Shorter,
}

/// What the run proves of one section of the board.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SectionProof {
    /// The section.
    pub section: String,
    /// What is known of it.
    pub state: SectionState,
    /// On what ground, in words; null where there is nothing to say.
    #[serde(default)]
    pub why: Option<String>,
}

/// What a run says of a section.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum SectionState {
    /// The run could not have gone this far without it.
    #[serde(rename = "proved")]
    Proved,
    /// The run stopped where it should have done its part.
    #[serde(rename = "suspect")]
    Suspect,
    /// The feed point's current does not pass it.
    #[serde(rename = "not exercised")]
    NotExercised,
    /// The run says nothing of it.
    #[serde(rename = "unknown")]
    Unknown,
}
