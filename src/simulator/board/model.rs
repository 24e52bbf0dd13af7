//! Board models as data: TOML, checked once at the door.

use serde::Deserialize;

/// The models that come with the program.
const BUILT_IN: [&str; 3] = [
    include_str!("models/harrow-13.toml"),
    include_str!("models/wren-4.toml"),
    include_str!("models/kiln-24.toml"),
];

/// Why a board model cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ModelError {
    /// Not TOML, or a key that no board has.
    #[error("board model: {0}")]
    Syntax(#[from] toml::de::Error),
    /// A number that no board can have.
    #[error("board model {board}: {what} is {found}; {expected}")]
    Value {
        /// The board.
        board: String,
        /// Which number.
        what: String,
        /// What it is.
        found: f64,
        /// What it may be.
        expected: &'static str,
    },
    /// A board with fewer than two stages has nothing to get stuck in.
    #[error(
        "board model {board}: {found} stages; a board needs at least two, the last one its running level"
    )]
    Stages {
        /// The board.
        board: String,
        /// How many stages it has.
        found: usize,
    },
    /// No model of that name.
    #[error("no board model {found}; there are {known}")]
    Unknown {
        /// What was asked for.
        found: String,
        /// The names that there are.
        known: String,
    },
}

/// What makes a board leave standby.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Wake {
    /// Somebody holds its button.
    Button,
    /// Power alone.
    Power,
}

/// A kind of board. SI units: volts, amps, watts, seconds, farads; a `share` is a fraction of what it varies.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BoardModel {
    /// Name that logs go by.
    pub name: String,
    /// What kind of board it is, for people.
    pub description: String,
    /// Letters that its serial numbers start with.
    pub serial_prefix: String,
    /// Where the supply is connected.
    pub feed_point: String,
    /// Usual feed.
    pub feed_v: f64,
    /// Lowest feed at which it boots.
    pub lowest_v: f64,
    /// Highest feed that does no harm.
    pub highest_v: f64,
    /// Advised current limit.
    pub limit_a: f64,
    /// What makes it leave standby.
    pub wake: Wake,
    /// How long the button must be held, or how long after power it starts by itself.
    pub hold_s: f64,
    /// Capacitance at the feed.
    pub capacitance_f: f64,
    /// Below this its converters stop.
    pub undervoltage_v: f64,
    /// Above this they start again.
    pub restart_v: f64,
    /// From power to standby.
    pub power_good_s: f64,
    /// How much more it draws once warm.
    pub warming_share: f64,
    /// How long it takes to warm up (time constant).
    pub warming_s: f64,
    /// How units and runs differ.
    pub unit: Spread,
    /// Standby.
    pub standby: Load,
    /// The stages of its start in order; the last is its running level.
    #[serde(rename = "stage")]
    pub stages: Vec<Stage>,
}

/// How much one unit, or one run of a unit, differs from the next, as a share (log-normal).
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Spread {
    /// Power of a stage, between units.
    pub power: f64,
    /// Length of a stage, between units.
    pub duration: f64,
    /// Length of a stage, between runs of one unit.
    pub run: f64,
}

/// A stage of the start.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stage {
    /// Its name.
    pub name: String,
    /// How long it lasts; missing for the running level.
    pub seconds: Option<f64>,
    /// Charging of what the stage switches on.
    pub surge: Option<Surge>,
    /// Shares of the power in equal parts of the stage, as rails come up one after another.
    #[serde(default)]
    pub steps: Vec<f64>,
    /// Watts.
    pub watts: f64,
    /// Autocorrelated wandering of the power.
    #[serde(default)]
    pub flutter_share: f64,
    /// Correlation time of the wandering.
    #[serde(default = "default_flutter_s")]
    pub flutter_s: f64,
    /// Work that comes at random.
    pub burst: Option<Burst>,
    /// Work that comes by the clock.
    pub pulse: Option<Pulse>,
}

/// What a state draws: a level, its wandering, and work on top of it.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Load {
    /// Watts.
    pub watts: f64,
    /// Autocorrelated wandering of the power.
    #[serde(default)]
    pub flutter_share: f64,
    /// Correlation time of the wandering.
    #[serde(default = "default_flutter_s")]
    pub flutter_s: f64,
    /// Work that comes at random.
    pub burst: Option<Burst>,
    /// Work that comes by the clock.
    pub pulse: Option<Pulse>,
}

/// Work that comes at random: exponential lengths and waits.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Burst {
    /// Watts on top.
    pub watts: f64,
    /// Mean length.
    pub mean_s: f64,
    /// Mean wait from the end of one to the next.
    pub every_s: f64,
}

/// Work that comes by the clock: housekeeping, a blinking cursor, a scan of the keys.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pulse {
    /// Watts on top.
    pub watts: f64,
    /// Length.
    pub seconds: f64,
    /// From one to the next.
    pub period_s: f64,
    /// How unsteady the period is.
    pub jitter_share: f64,
}

/// A charging surge at the start of a stage, falling off exponentially.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Surge {
    /// Watts on top, at first.
    pub watts: f64,
    /// Time constant.
    pub seconds: f64,
}

fn default_flutter_s() -> f64 {
    0.2
}

impl Stage {
    /// What the stage draws, apart from its surge and steps.
    pub(super) fn load(&self) -> Load {
        Load {
            watts: self.watts,
            flutter_share: self.flutter_share,
            flutter_s: self.flutter_s,
            burst: self.burst,
            pulse: self.pulse,
        }
    }

    /// The share of its full power that stage has `elapsed` seconds after it began, of a usual `length`.
    pub(super) fn step_share(&self, elapsed: f64, length: f64) -> f64 {
        #[expect(
            clippy::cast_precision_loss,
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a handful of steps; a negative time rounds to the first"
        )]
        let index = (elapsed / length * self.steps.len() as f64).max(0.0) as usize;
        self.steps.get(index).or(self.steps.last()).copied().unwrap_or(1.0)
    }
}

impl BoardModel {
    /// The models that come with the program, in the order in which they are listed to people.
    ///
    /// # Panics
    /// Never: the built-in models are parsed by a test.
    #[must_use]
    pub fn built_in() -> Vec<Self> {
        BUILT_IN.iter().map(|text| Self::from_toml(text).expect("a built-in model")).collect()
    }

    /// The built-in model of that name.
    ///
    /// # Errors
    /// [`ModelError::Unknown`], with the names that there are.
    pub fn named(name: &str) -> Result<Self, ModelError> {
        let all = Self::built_in();
        let known = all.iter().map(|model| model.name.as_str()).collect::<Vec<_>>().join(", ");
        all.into_iter()
            .find(|model| model.name == name)
            .ok_or_else(|| ModelError::Unknown { found: name.to_owned(), known })
    }

    /// A model from TOML.
    ///
    /// # Errors
    /// [`ModelError`] for a syntax error, an unknown key or a number that no board can have.
    pub fn from_toml(text: &str) -> Result<Self, ModelError> {
        let model: Self = toml::from_str(text)?;
        model.check()?;
        Ok(model)
    }

    /// Names of the stages in order.
    pub fn stage_names(&self) -> impl Iterator<Item = &str> {
        self.stages.iter().map(|stage| stage.name.as_str())
    }

    /// Names of what the board may be in: its standby and its stages, in order.
    pub fn state_names(&self) -> impl Iterator<Item = &str> {
        std::iter::once("standby").chain(self.stage_names())
    }

    /// Index of the stage that takes most power: the one that a starved feed fails in.
    #[must_use]
    pub fn hungriest_stage(&self) -> usize {
        (0..self.stages.len())
            .max_by(|a, b| self.stages[*a].watts.total_cmp(&self.stages[*b].watts))
            .unwrap_or_default()
    }

    fn check(&self) -> Result<(), ModelError> {
        if self.stages.len() < 2 {
            return Err(ModelError::Stages { board: self.name.clone(), found: self.stages.len() });
        }
        self.check_feed()?;
        let last = self.stages.len() - 1;
        for (index, stage) in self.stages.iter().enumerate() {
            self.positive(&format!("watts of stage {}", stage.name), stage.watts)?;
            match stage.seconds {
                Some(seconds) => self.positive(&format!("seconds of stage {}", stage.name), seconds)?,
                None if index < last => self.positive(&format!("seconds of stage {}", stage.name), 0.0)?,
                None => {}
            }
            self.positive(&format!("flutter_s of stage {}", stage.name), stage.flutter_s)?;
        }
        self.positive("watts of standby", self.standby.watts)
    }

    fn check_feed(&self) -> Result<(), ModelError> {
        self.positive("feed_v", self.feed_v)?;
        self.positive("limit_a", self.limit_a)?;
        self.positive("capacitance_f", self.capacitance_f)?;
        self.positive("warming_s", self.warming_s)?;
        self.positive("hold_s", self.hold_s)?;
        self.positive("power_good_s", self.power_good_s)?;
        self.positive("undervoltage_v", self.undervoltage_v)?;
        let rising = [self.undervoltage_v, self.restart_v, self.lowest_v, self.feed_v, self.highest_v];
        match rising.windows(2).find(|pair| pair[0] > pair[1]) {
            Some(pair) => Err(self.refuse(
                "a volts key",
                pair[1],
                "undervoltage_v, restart_v, lowest_v, feed_v and highest_v must not fall in this order",
            )),
            None => Ok(()),
        }
    }

    fn positive(&self, what: &str, found: f64) -> Result<(), ModelError> {
        if found.is_finite() && found > 0.0 {
            Ok(())
        } else {
            Err(self.refuse(what, found, "it must be above 0"))
        }
    }

    fn refuse(&self, what: &str, found: f64, expected: &'static str) -> ModelError {
        ModelError::Value { board: self.name.clone(), what: what.to_owned(), found, expected }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_built_in_model_is_sound() {
        let names: Vec<String> =
            BUILT_IN.iter().map(|text| BoardModel::from_toml(text).expect("a sound model").name).collect();
        assert_eq!(names, ["harrow-13", "wren-4", "kiln-24"]);
    }

    #[test]
    fn a_typo_and_an_impossible_number_are_named() {
        let typo = BUILT_IN[0].replace("feed_v", "fed_v");
        assert!(BoardModel::from_toml(&typo).unwrap_err().to_string().contains("fed_v"));
        let crossed = BUILT_IN[0].replace("lowest_v = 11.2", "lowest_v = 15");
        assert!(BoardModel::from_toml(&crossed).unwrap_err().to_string().contains("must not fall"));
        let negative = BUILT_IN[0].replace("watts = 17.5", "watts = -17.5");
        assert_eq!(
            BoardModel::from_toml(&negative).unwrap_err().to_string(),
            "board model harrow-13: watts of stage loading is -17.5; it must be above 0"
        );
    }

    #[test]
    fn an_unknown_name_lists_the_known_ones() {
        let error = BoardModel::named("harrow").unwrap_err();
        assert_eq!(error.to_string(), "no board model harrow; there are harrow-13, wren-4, kiln-24");
    }

    #[test]
    fn the_laptop_settles_near_1_1_amps() {
        // Common practice, no source: about 14 W at about 13 V once the picture is up.
        let model = BoardModel::named("harrow-13").unwrap();
        let amps = model.stages.last().unwrap().watts / model.feed_v;
        assert!((amps - 1.1).abs() < 0.05, "{amps} A");
    }
}
