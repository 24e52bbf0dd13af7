//! A run as it is set up: board, fault, supply, and what the person at the bench does.

use super::board::{Alteration, Board, BoardModel, Case, Wake};
use super::noise::Noise;
use super::supply::SupplyKind;

/// Resistance of ordinary leads with clips, both together, in ohms (common practice, no source).
const LEAD_OHMS: (f64, f64) = (0.03, 0.08);

/// Why a run cannot be set up.
#[derive(Debug, thiserror::Error)]
pub enum ScenarioError {
    /// The stage is not one of the board's, or one that the fault cannot be in.
    #[error("{board} has no stage {found} that it could be {case} in; its stages are {known}")]
    Stage {
        /// The board.
        board: String,
        /// What was asked for.
        found: String,
        /// The case.
        case: Case,
        /// The stages that there are.
        known: String,
    },
    /// An alteration of a state that the board does not have.
    #[error("{board} has no state {found}; its states are {known}")]
    State {
        /// The board.
        board: String,
        /// What was asked for.
        found: String,
        /// The states that there are.
        known: String,
    },
}

/// A run as it is set up.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// The board.
    pub model: BoardModel,
    /// What is wrong with it.
    pub case: Case,
    /// Where a start stalls or ends, by the stage's index, if it matters.
    pub stage: Option<usize>,
    /// Which unit of the board: its tolerances and the particulars of its fault.
    pub unit: u64,
    /// Which run of that unit: noise, jitter, the person.
    pub run: u64,
    /// Quantities that are off besides.
    pub alterations: Vec<Alteration>,
    /// The supply.
    pub supply: SupplyKind,
    /// Volts that it is set to.
    pub set_volts: f64,
    /// Current limit that it is set to.
    pub limit: f64,
    /// Resistance of the leads, both together.
    pub lead_ohms: f64,
    /// The person.
    pub operator: Operator,
}

/// What the person at the bench does, in seconds.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Operator {
    /// When the output is switched on, from the start of the run; `None` leaves that to the program that asks.
    pub on_s: Option<f64>,
    /// When the board is plugged in, after the output came on; `None` if it is plugged in before.
    pub plugs_in_s: Option<f64>,
    /// Presses of the power button: when, after the output came on, and for how long.
    pub presses: Vec<(f64, f64)>,
    /// When the output is switched off again, after it came on.
    pub off_s: Option<f64>,
}

impl Scenario {
    /// A run with everything that is not asked for drawn from `unit` and `run`: usual feed, ordinary leads, a person
    /// who switches on within a few seconds and presses the button some seconds later, now and then too briefly.
    #[must_use]
    pub fn new(model: BoardModel, case: Case, supply: SupplyKind, unit: u64, run: u64) -> Self {
        let mut noise = Noise::new(unit.rotate_left(32) ^ run, 4);
        let operator = Operator::draw(&model, case, &mut noise);
        let (set_volts, limit) = (model.feed_v, model.limit_a);
        let lead_ohms = noise.between(LEAD_OHMS.0, LEAD_OHMS.1);
        let mut scenario = Self {
            model,
            case,
            stage: None,
            unit,
            run,
            alterations: Vec::new(),
            supply,
            set_volts,
            limit,
            lead_ohms,
            operator,
        };
        if case == Case::FeedLimited {
            scenario.starve(&mut noise);
        }
        scenario
    }

    /// The same with the start stalling or ending in the stage of that name.
    ///
    /// # Errors
    /// [`ScenarioError::Stage`] if the board has no such stage, or nothing can stall there.
    pub fn with_stage(mut self, name: &str) -> Result<Self, ScenarioError> {
        let index = self.model.stage_names().position(|stage| stage == name);
        let last = self.model.stages.len() - 1;
        match index {
            Some(index) if index < last || self.case != Case::Stalled => self.stage = Some(index),
            _ => {
                return Err(ScenarioError::Stage {
                    board: self.model.name.clone(),
                    found: name.to_owned(),
                    case: self.case,
                    known: self.model.stage_names().collect::<Vec<_>>().join(", "),
                });
            }
        }
        Ok(self)
    }

    /// The same with quantities that are off besides.
    ///
    /// # Errors
    /// [`ScenarioError::State`] if the board has no state of a name.
    pub fn with_alterations(mut self, alterations: &[Alteration]) -> Result<Self, ScenarioError> {
        let known: Vec<&str> = self.model.state_names().collect();
        if let Some(other) = alterations.iter().find(|other| !known.contains(&other.state.as_str())) {
            return Err(ScenarioError::State {
                board: self.model.name.clone(),
                found: other.state.clone(),
                known: known.join(", "),
            });
        }
        self.alterations.extend_from_slice(alterations);
        Ok(self)
    }

    /// The board of this run.
    #[must_use]
    pub fn board(&self) -> Board {
        let mut board = Board::new(self.model.clone(), self.case, self.stage, self.unit, self.run);
        board.alter(&self.alterations);
        board
    }

    /// Serial number of the unit.
    #[must_use]
    pub fn serial(&self) -> String {
        format!("{}-{:04}", self.model.serial_prefix, self.unit % 10_000)
    }

    /// A limit that the hungriest stage pulls down, and that everything before it lives with.
    ///
    /// Leads that are too long starve a board as well, but at the board only: the supply does not see it.
    fn starve(&mut self, noise: &mut Noise) {
        let hungriest = self.model.hungriest_stage();
        let most = self.model.stages[hungriest].watts;
        let before = self.model.stages[..hungriest].iter().map(|stage| stage.watts).fold(0.0, f64::max);
        let watts = noise.between(before + 0.35 * (most - before), before + 0.75 * (most - before));
        self.limit = (watts / self.set_volts * 100.0).round() / 100.0;
    }
}

impl Operator {
    fn draw(model: &BoardModel, case: Case, noise: &mut Noise) -> Self {
        let on_s = Some(round_to_milli(noise.between(0.8, 2.8)));
        let mut presses = Vec::new();
        let first = round_to_milli(noise.between(3.0, 6.5));
        if model.wake == Wake::Button {
            // Now and then the first press is too short to count.
            let brief = noise.chance(0.12);
            if brief {
                presses.push((first, 0.4 * model.hold_s));
            }
            let proper = if brief { first + round_to_milli(noise.between(1.2, 3.0)) } else { first };
            presses.push((proper, model.hold_s + noise.between(0.08, 0.4)));
            if matches!(case, Case::StandbyOnly | Case::NoDraw | Case::ExcessStandby) && noise.chance(0.6) {
                let again = proper + round_to_milli(noise.between(4.0, 9.0));
                presses.push((again, model.hold_s + noise.between(0.3, 1.5)));
            }
        }
        // Cut off before the board can have shown anything.
        let off_s = (case == Case::Inconclusive).then(|| round_to_milli(noise.between(0.7, 2.0)));
        Self { on_s, plugs_in_s: None, presses, off_s }
    }
}

fn round_to_milli(seconds: f64) -> f64 {
    (seconds * 1e3).round() / 1e3
}
