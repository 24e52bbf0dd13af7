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
//! this is the plain sample variance of the boards. The tolerance factor for the two variances is the exact one of the
//! simple sample with those degrees of freedom, after Mee, "β-expectation and β-content tolerance limits for balanced
//! one-way ANOVA random model", Technometrics 26 (1984) 251, from memory; where Mee counts more values than boards towards
//! the centre, boards alone are counted, for the drawn samples of the test below cover too rarely otherwise.
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
pub(super) const EXPANSION: f64 = 2.0;

/// Standard uncertainty of a stage's length, in renewals of the readback: two edges, each evenly within one renewal, make
/// √(2/12); where the load is restless the cut falls beside the edge now and then.
pub(super) const LENGTH_SD_UPDATES: f64 = 0.6;
/// ... and in seconds, where the log does not say how often the readback was renewed, and at the least.
const LENGTH_SD_S: f64 = 0.1;

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

/// Standard deviation of the log of mean power between good boards, before any was measured; `first` for a first stage,
/// which may be a standby.
pub(super) fn usual_spread(first: bool) -> f64 {
    prior(Quantity::MeanPower, first).0
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
    let (centre, variance, evidence) = spread(&values, prior(quantity, waits))?;
    let factor = tolerance::two_sided(evidence, Coverage::new(CONTENT, CONFIDENCE).ok()?);
    let half = factor * variance.sqrt();
    let mut uncertainties: Vec<f64> = values.iter().map(|value| value.uncertainty).collect();
    let widening = EXPANSION * robust::median(&mut uncertainties)?;
    Some(rounded((centre - half).exp() - widening, centre.exp(), (centre + half).exp() + widening))
}

fn value(board: usize, measure: &StageMeasure, factor: f64, quantity: Quantity) -> Option<Value> {
    let is_power = !matches!(quantity, Quantity::Duration);
    let found = measure.value(quantity)? * if is_power { factor } else { 1.0 };
    let length_sd =
        measure.update.map_or(LENGTH_SD_S, |update| (LENGTH_SD_UPDATES * update).max(LENGTH_SD_S));
    let uncertainty = match quantity {
        Quantity::Duration => length_sd,
        Quantity::Energy => {
            measure.uncertainty * measure.duration.unwrap_or(0.0) + length_sd * measure.mean_power
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

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha8Rng;
    use statrs::function::erf::erf;

    /// Standard normal deviates (Box & Muller, Ann. Math. Stat. 29 (1958) 610).
    fn normal(random: &mut ChaCha8Rng) -> f64 {
        let (u, v): (f64, f64) = (random.random_range(1e-12..1.0), random.random());
        (-2.0 * u.ln()).sqrt() * (std::f64::consts::TAU * v).cos()
    }

    /// Share of a normal population of mean 0 and that variance between the bounds.
    fn held(low: f64, high: f64, variance: f64) -> f64 {
        let below = |x: f64| f64::midpoint(1.0, erf(x / (2.0 * variance).sqrt()));
        below(high) - below(low)
    }

    fn sample(random: &mut ChaCha8Rng, captures: &[usize], between: f64, within: f64) -> Vec<Value> {
        let mut values = Vec::new();
        for (board, count) in captures.iter().enumerate() {
            let own = between * normal(random);
            for _ in 0..*count {
                let log = own + within * normal(random);
                values.push(Value { board, log, uncertainty: 0.0, blurred: false });
            }
        }
        values
    }

    /// How often, of a thousand samples, the interval holds the content.
    fn confidence(captures: &[usize], between: f64, within: f64, prior: (f64, f64)) -> f64 {
        let mut random = ChaCha8Rng::seed_from_u64(7);
        let coverage = Coverage::new(CONTENT, CONFIDENCE).unwrap();
        let mut factors: Vec<((u64, u64), f64)> = Vec::new();
        let covers = (0..1000).filter(|_| {
            let values = sample(&mut random, captures, between, within);
            let (centre, variance, evidence) = spread(&values, prior).unwrap();
            // The factor changes slowly: to a tenth of a degree of freedom is exact enough, and much quicker.
            let round = |x: f64| (x * 10.0).floor() / 10.0;
            let (count, freedom) = evidence.parts();
            let key = (round(count).to_bits(), round(freedom).to_bits());
            let known = factors.iter().find(|(found, _)| *found == key).map(|(_, factor)| *factor);
            let factor = known.unwrap_or_else(|| {
                let evidence = Evidence::new(round(count), round(freedom)).unwrap();
                let factor = tolerance::two_sided(evidence, coverage);
                factors.push((key, factor));
                factor
            });
            let half = factor * variance.sqrt();
            held(centre - half, centre + half, between * between + within * within) >= CONTENT
        });
        let covers = u32::try_from(covers.count()).unwrap();
        f64::from(covers) / 1000.0
    }

    #[test]
    fn the_interval_covers_as_often_as_it_says_whatever_the_captures_of_each_board() {
        // Counted on drawn samples, with the prior taken out; 0.95 in 1000 draws is good to 0.014 (two standard
        // errors). More is cautious, and comes from few degrees of freedom never being called more than they are.
        const NO_PRIOR: (f64, f64) = (0.0, 1e-9);
        for (captures, between, within) in [
            (&[1, 1, 1, 1, 1][..], 0.06, 0.02),
            (&[4, 1, 1, 2, 1][..], 0.06, 0.03),
            (&[3, 3, 3, 3, 3, 3][..], 0.05, 0.05),
            (&[6, 1, 1][..], 0.06, 0.0),
        ] {
            let found = confidence(captures, between, within, NO_PRIOR);
            assert!((0.93..=0.995).contains(&found), "{found} with {captures:?} captures");
        }
    }

    #[test]
    fn with_the_prior_one_board_is_enough_where_boards_differ_as_is_usual() {
        let usual = prior(Quantity::MeanPower, false);
        for captures in [&[1][..], &[1, 1][..], &[1, 1, 2, 1, 1][..]] {
            let found = confidence(captures, usual.0, 0.01, usual);
            assert!(found >= 0.95, "{found} with {captures:?} captures");
        }
    }

    #[test]
    fn captures_of_one_board_do_not_count_as_boards() {
        let value = |board, log| Value { board, log, uncertainty: 0.0, blurred: false };
        let usual = prior(Quantity::MeanPower, false);
        let once = spread(&[value(0, 0.0), value(1, 0.1)], usual).unwrap();
        let often: Vec<Value> = (0..20).map(|_| value(0, 0.0)).chain([value(1, 0.1)]).collect();
        let often = spread(&often, usual).unwrap();
        assert!((once.0 - often.0).abs() < 1e-12 && (once.1 - often.1).abs() < 1e-12, "{once:?} {often:?}");
        assert_eq!(once.2.parts().0.to_bits(), often.2.parts().0.to_bits());
    }
}
