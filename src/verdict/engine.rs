//! The analysis of one run: pieces, alignment, explanations, probabilities.

use super::Class;
use super::align::{
    Ending, Fineness, Path, Scores, State, from_first_reading, search, to_running_level, with_alike_tries,
    with_hidden_tries, with_last_start,
};
use super::explain::{Explanation, explanations};
use super::kind::{self, Kind};
use super::model::Model;
use super::piece::{Piece, pieces};
use super::posterior::{Probable, posterior};
use super::readout::Readout;
use super::run::Run;
use crate::reference::Profile;
use crate::segment::Segmentation;
use crate::trace::Trace;
use crate::units::Volts;

/// What the analysis of one run found.
#[derive(Debug, Clone)]
pub(super) struct Analysis {
    pub run: Run,
    pub pieces: Vec<Piece>,
    pub model: Model,
    /// Step of the amps readback, zero if none can be seen: words show nothing finer.
    pub step_a: f64,
    /// The kind of board that was guessed, where there is no profile.
    pub kind: Option<&'static Kind>,
    /// A steady load beside the board's own, in watts: standby above what the reference knows.
    pub leak_w: f64,
    /// Classes by probability, likeliest first.
    pub probable: Vec<Probable>,
    /// The best alignment under the likeliest class.
    pub path: Path,
    /// Whether some alignment explains the run at all.
    pub explained: bool,
}

impl Analysis {
    pub(super) fn class(&self) -> Class {
        self.probable.first().map_or(Class::Inconclusive, |probable| probable.class)
    }

    pub(super) fn confidence(&self) -> f64 {
        self.probable.first().map_or(0.0, |probable| probable.probability)
    }
}

/// A rest is at least this long, in seconds: shorter ones are on the way between two levels.
const REST_S: f64 = 0.7;

/// A board at rest draws no more than this many times its least: housekeeping, and what warms up (common practice, no
/// source).
const REST_FACTOR: f64 = 1.6;

/// Analyses one run.
pub(super) fn analyse(
    trace: &Trace,
    segmentation: &Segmentation,
    readout: &Readout,
    run: Run,
    profile: Option<&Profile>,
) -> Analysis {
    let kind = if profile.is_none() { kind::by_feed(run.set_v) } else { None };
    let pieces = pieces(trace, segmentation, &run, readout);
    let model = match (profile, kind) {
        (Some(profile), _) => Model::from_profile(profile, Volts::new(run.set_v).unwrap_or_default()),
        (None, kind) => guess(kind, &run, &pieces, readout),
    };
    let scores = |leak_w| Scores::new(&model, &run, readout, leak_w);
    let plain = Explained::by(&scores(0.0), &pieces);
    let leaky = leak(&model, &plain.endings).map(|leak_w| Explained::by(&scores(leak_w), &pieces));
    let Explained { leak_w, endings, explanations } = match leaky {
        Some(leaky) if leaky.best() > plain.best() => leaky,
        _ => plain,
    };
    let probable = posterior(&explanations);
    let ending = probable.first().and_then(|best| best.ending).and_then(|index| endings.get(index));
    let path = ending.or(endings.first()).map(|ending| ending.path.clone()).unwrap_or_default();
    let tries = probable.first().is_some_and(|best| best.class == Class::Cycling);
    let path = if tries { with_hidden_tries(path, &pieces) } else { path };
    let brief = model.of_this_board && probable.first().is_some_and(|best| best.class == Class::Inconclusive);
    let path = if brief { with_last_start(path, &pieces, model.standby.high) } else { path };
    let ends_at = |piece: &Piece| last_watts(trace, piece, readout);
    let fineness = Fineness { update_s: readout.update_s(), step_w: readout.step_a * run.set_v };
    let path = from_first_reading(path, &pieces, (fineness, &model.stages), ends_at);
    let path = with_alike_tries(path, &pieces);
    let path = if model.of_this_board { to_running_level(path, &pieces, &model) } else { path };
    let explained = ending.is_some();
    Analysis { run, pieces, model, step_a: readout.step_a, kind, leak_w, probable, path, explained }
}

/// What the last reading of a piece comes to, in watts.
fn last_watts(trace: &Trace, piece: &Piece, readout: &Readout) -> f64 {
    let last = piece.samples.end - 1;
    trace.volts()[last] * (trace.amps()[last] - readout.zero_a)
}

/// What is expected of a board without a profile: of its kind, or of any board that somebody gives such a limit, with
/// a rest as low as this run shows.
fn guess(kind: Option<&Kind>, run: &Run, pieces: &[Piece], readout: &Readout) -> Model {
    let kind = kind.copied().unwrap_or_else(|| kind::unknown(run.limit_a.map(|limit| limit * run.set_v)));
    let lasting = REST_S.max(2.0 * readout.update_s());
    let steady = pieces.iter().filter(|piece| piece.duration() >= lasting && piece.sag < 0.5);
    let lowest = steady.map(|piece| piece.watts).min_by(f64::total_cmp);
    let noise = 3.0 * readout.noise_a * run.set_v;
    Model::from_kind(&kind, lowest.map_or(f64::INFINITY, |watts| REST_FACTOR * watts.max(0.0) + noise))
}

/// The run explained under one assumption of what draws beside the board.
struct Explained {
    leak_w: f64,
    endings: Vec<Ending>,
    explanations: Vec<Explanation>,
}

impl Explained {
    fn by(scores: &Scores, pieces: &[Piece]) -> Self {
        let endings = search(scores, pieces);
        let explanations = explanations(scores, &endings, pieces);
        Self { leak_w: scores.leak_w, endings, explanations }
    }

    /// Plausibility of the best explanation.
    fn best(&self) -> f64 {
        self.explanations.first().map_or(f64::NEG_INFINITY, |best| best.score)
    }
}

/// What the board draws beyond the reference before it wakes, by the likeliest alignment: on an always-on rail, such a
/// leak stays when it wakes. `None` if it does not wake, or draws no more.
fn leak(model: &Model, endings: &[Ending]) -> Option<f64> {
    let typical = model.standby.watts?;
    let best = endings.first()?;
    let woke = best.path.iter().position(|step| step.state.stage().is_some())?;
    let excess = best.path[..woke].iter().find(|step| step.state == State::Excess)?;
    Some(excess.stretch.watts - typical).filter(|leak| *leak > 0.0)
}
