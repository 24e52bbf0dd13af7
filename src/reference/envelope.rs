//! Envelopes: the range that good boards keep within, from what a few of them measured.
//!
//! An envelope is a two-sided normal tolerance interval on the log of the quantity, content 0.95 at confidence 0.95.
//!
//! **Boards are counted, not captures.** A capture's log value is `y = μ + b + e`, with `b` between boards and `e`
//! between captures of one board. From the board means (unweighted) comes `s_B²`, which estimates `σ_b² + h·σ_e²`, h
//! being the mean of 1/captures; from the captures within boards comes `s_W²`. A new board measured once varies by
//! `σ_b² + σ_e²`, estimated by `s_B² + (1 − h)·s_W²` with Satterthwaite's degrees of freedom. Source: Thomas & Hultquist,
//! "Interval estimation for the unbalanced case of the one-way random effects model", Ann. Stat. 6 (1978) 582, and
//! Krishnamoorthy & Mathew, *Statistical Tolerance Regions* (2009), chapter 5; both from memory. With one capture a board
//! this is the plain sample variance of the boards.
//!
//! **Few boards borrow a spread.** From one board no spread can be had, and from five a factor of 5.08 would make the
//! envelope blind. What is known before the first capture, how much good boards of one model differ, enters as a
//! scaled inverse chi-square prior of `ν₀` degrees of freedom at `s₀²` (Gelman et al., *Bayesian Data Analysis*, 3rd
//! ed., sections 2.6 and 3.2, from memory): the pooled variance is `(ν₀ s₀² + ν s²)/(ν₀ + ν)` on `ν₀ + ν` degrees of
//! freedom, and the tolerance factor for that many degrees of freedom is the pooled-groups case of ISO 16269-6. As
//! boards are added the prior's share falls: half with ten boards, a fifth with forty.
//!
//! **The supply widens.** Half a readback step and the gain error do not shrink with more boards of one supply, so
//! twice their standard uncertainty is added outside the interval.

use super::model::{Envelope, Quantity, StageMeasure};
use crate::stats::robust;
use crate::stats::tolerance::{self, Coverage, Evidence};

/// Share of good boards that an envelope holds, and the confidence of that.
pub const CONTENT: f64 = 0.95;
/// See [`CONTENT`].
pub const CONFIDENCE: f64 = 0.95;

/// Expanded uncertainty is this many standard uncertainties (GUM, JCGM 100:2008, 6.2.1: about 95 %).
const EXPANSION: f64 = 2.0;

/// Seconds by which a readback renewed a few times a second misplaces a stage's two edges together.
const TIME_UNCERTAINTY_S: f64 = 0.2;

/// A value less certain than this share of itself is left out where other boards have better: a supply that rounds
/// to 10 mA says of a 3 mA standby only that it is small.
const BLURRED_FROM: f64 = 0.3;

/// Envelopes are written to this many significant figures.
const FIGURES: i32 = 4;

/// What is known of a quantity's spread among good boards before any was measured: standard deviation of the log and
/// the degrees of freedom that the knowledge is worth.
///
/// Common practice, no source: good boards of one model differ by 3 to 10 % in power; 6 % on 10 degrees of freedom puts
/// 95 % of the belief between 4.2 and 10.5 %. Standby is a sum of leakages and varies about twice as much; a peak
/// depends on which instant the supply catches, activity on what the software happens to do, lengths on storage and
/// temperature, and each is known less well.
fn prior(quantity: Quantity, waits: bool) -> (f64, f64) {
    match (quantity, waits) {
        (Quantity::MeanPower, false) => (0.06, 10.0),
        (Quantity::PeakPower, _) => (0.20, 6.0),
        (Quantity::Activity, _) => (0.30, 6.0),
        (Quantity::MeanPower, true) | (Quantity::Duration, _) => (0.12, 6.0),
        (Quantity::Energy, _) => (0.15, 6.0),
    }
}

/// A captured value: which board, the value, its standard uncertainty.
#[derive(Debug, Clone, Copy)]
struct Value {
    board: usize,
    log: f64,
    uncertainty: f64,
    blurred: bool,
}

/// The envelope of `quantity` from what captures measured, each with the number of its board. `None` if none did.
///
/// `factors` moves each capture's power to the volts that the profile is for.
pub(super) fn envelope(
    measures: &[(usize, &StageMeasure, f64)],
    quantity: Quantity,
    waits: bool,
) -> Option<Envelope> {
    let all: Vec<Value> = measures
        .iter()
        .filter_map(|(board, measure, factor)| value(*board, measure, *factor, quantity))
        .collect();
    let sharp: Vec<Value> = all.iter().copied().filter(|value| !value.blurred).collect();
    let values = if sharp.is_empty() { all } else { sharp };
    let (centre, variance, boards) = spread(&values, prior(quantity, waits))?;
    let factor = tolerance::two_sided(boards, Coverage::new(CONTENT, CONFIDENCE).ok()?);
    let half = factor * variance.sqrt();
    let mut uncertainties: Vec<f64> = values.iter().map(|value| value.uncertainty).collect();
    let widening = EXPANSION * robust::median(&mut uncertainties)?;
    Some(rounded((centre - half).exp() - widening, centre.exp(), (centre + half).exp() + widening))
}

fn value(board: usize, measure: &StageMeasure, factor: f64, quantity: Quantity) -> Option<Value> {
    let is_power = !matches!(quantity, Quantity::Duration);
    let found = measure.value(quantity)? * if is_power { factor } else { 1.0 };
    let uncertainty = match quantity {
        Quantity::Duration => TIME_UNCERTAINTY_S,
        Quantity::Energy => {
            measure.uncertainty * measure.duration.unwrap_or(0.0) + TIME_UNCERTAINTY_S * measure.mean_power
        }
        _ => measure.uncertainty,
    };
    // Below its own uncertainty a value is only known to be small.
    let log = found.max(uncertainty).max(f64::MIN_POSITIVE).ln();
    Some(Value { board, log, uncertainty, blurred: uncertainty > BLURRED_FROM * found })
}

/// Centre, pooled variance of a new single capture, and the evidence behind them.
fn spread(values: &[Value], (prior_spread, prior_freedom): (f64, f64)) -> Option<(f64, f64, Evidence)> {
    let boards = by_board(values);
    let count = f64::from(u32::try_from(boards.len()).ok()?);
    let mean_of = |logs: &[f64]| logs.iter().sum::<f64>() / number(logs.len());
    let means: Vec<f64> = boards.iter().map(|logs| mean_of(logs)).collect();
    if means.is_empty() {
        return None;
    }
    let centre = mean_of(&means);
    let between = means.iter().map(|mean| (mean - centre).powi(2)).sum::<f64>();
    let share = boards.iter().map(|logs| 1.0 / number(logs.len())).sum::<f64>() / count;
    let within_freedom: f64 = boards.iter().map(|logs| number(logs.len()) - 1.0).sum();
    let within = boards
        .iter()
        .zip(&means)
        .flat_map(|(logs, mean)| logs.iter().map(move |log| (log - mean).powi(2)))
        .sum::<f64>();
    let (variance, freedom) = total_variance(between, count - 1.0, within, within_freedom, 1.0 - share);
    let pooled_freedom = prior_freedom + freedom;
    let pooled = (prior_freedom * prior_spread * prior_spread + freedom * variance) / pooled_freedom;
    Some((centre, pooled, Evidence::new(count, pooled_freedom).ok()?))
}

/// `s_B² + (1 − h) s_W²` and its degrees of freedom after Satterthwaite (Biometrics Bull. 2 (1946) 110). With one board
/// there is no `s_B²`, and what the captures of one board say of the spread between boards is nothing.
fn total_variance(
    between: f64,
    between_freedom: f64,
    within: f64,
    within_freedom: f64,
    share: f64,
) -> (f64, f64) {
    if between_freedom <= 0.0 {
        return (0.0, 0.0);
    }
    let between = between / between_freedom;
    let within = if within_freedom > 0.0 { share * within / within_freedom } else { 0.0 };
    let total = between + within;
    let weights = between * between / between_freedom
        + if within_freedom > 0.0 { within * within / within_freedom } else { 0.0 };
    if weights <= 0.0 {
        return (total, between_freedom);
    }
    (total, (total * total / weights).max(between_freedom))
}

fn by_board(values: &[Value]) -> Vec<Vec<f64>> {
    let mut boards: Vec<(usize, Vec<f64>)> = Vec::new();
    for value in values {
        match boards.iter_mut().find(|(board, _)| *board == value.board) {
            Some((_, logs)) => logs.push(value.log),
            None => boards.push((value.board, vec![value.log])),
        }
    }
    boards.into_iter().map(|(_, logs)| logs).collect()
}

#[expect(clippy::cast_precision_loss, reason = "counts of captures")]
fn number(count: usize) -> f64 {
    count as f64
}

/// `value` to `count` significant figures.
pub(super) fn figures_of(value: f64, count: i32) -> f64 {
    crate::units::figures(value, count).parse().unwrap_or(value)
}

/// The three bounds to a few figures, still in order.
fn rounded(low: f64, typical: f64, high: f64) -> Envelope {
    let [low, typical, high] = [low.max(0.0), typical, high].map(|value| figures_of(value, FIGURES));
    Envelope { low: low.min(typical), typical, high: high.max(typical) }
}
