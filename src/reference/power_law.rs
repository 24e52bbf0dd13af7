//! How a stage's power follows the feed volts: a converter draws constant watts, a regulator constant amps, a resistive
//! part watts that go with the square of the volts.
//!
//! The exponent is the slope of log power on log volts. Captures of one board at different volts show it best, for
//! boards differ among each other; captures of different boards at different volts show it too, but only as well as the
//! spread between boards allows. Both slopes and what is commonly so are weighed by their precision: the normal
//! regression with a random level for each board (analysis of covariance; Searle, Casella & `McCulloch`, *Variance
//! components*, 1992, chapter 3) under a normal prior (Gelman et al., *Bayesian Data Analysis*, 3rd ed., 2.5); both from
//! memory.

use super::envelope::usual_spread;
use super::model::StageMeasure;

/// Repeats of one board at one feed differ in mean power (log) by about half of what boards differ by, for it is warm or
/// cold, and busy with other things: common practice, no source.
const OF_REPEATS: f64 = 0.5;
/// What is usual counts as so many repeats beyond those that were captured (by judgement).
const USUAL_COUNTS: f64 = 2.0;
/// A converter does a little better at higher volts, and what lights up from some volts on takes more than a resistor:
/// beyond these a slope is chance (by judgement).
const LEAST_AND_MOST: (f64, f64) = (-0.5, 2.5);
/// Most of what a board takes goes through converters, exponent 0; a linear regulator (1) is common and a stage that is
/// resistive as a whole (2) rare. Common practice, no source.
const PRIOR_SD: f64 = 0.7;
/// A level below this many times its uncertainty shows no law.
const RESOLVED: f64 = 3.0;

/// An exponent and its standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Law {
    pub(super) exponent: f64,
    pub(super) sd: f64,
}

/// Volts and power (logs) of one capture.
type Point = (f64, f64);

/// How the power of a stage follows the volts, from captures with the numbers of their boards; `waits` for one that
/// waits for a person, as a standby does.
pub(super) fn exponent(measures: &[(usize, &StageMeasure)], waits: bool) -> Law {
    let boards = by_board(measures);
    let means: Vec<Point> = boards.iter().map(|points| mean(points)).collect();
    let centred = |points: &[Point], centre: Point| -> Vec<Point> {
        points.iter().map(|(v, p)| (v - centre.0, p - centre.1)).collect()
    };
    let own: Vec<Point> =
        boards.iter().zip(&means).flat_map(|(points, mean)| centred(points, *mean)).collect();
    let freedom = own.len().saturating_sub(boards.len() + 1);
    let usual = usual_spread(waits);
    let within = slope(&own, OF_REPEATS * usual, freedom);
    let between = slope(&centred(&means, mean(&means)), usual, means.len().saturating_sub(2));
    let mut weight = 1.0 / (PRIOR_SD * PRIOR_SD);
    let mut sum = 0.0;
    for (found, sd) in [within, between].into_iter().flatten() {
        weight += 1.0 / (sd * sd);
        sum += found / (sd * sd);
    }
    let rounded = |value: f64| (value * 100.0).round() / 100.0 + 0.0;
    let (least, most) = LEAST_AND_MOST;
    Law { exponent: rounded((sum / weight).clamp(least, most)), sd: rounded(1.0 / weight.sqrt()).max(0.01) }
}

fn by_board(measures: &[(usize, &StageMeasure)]) -> Vec<Vec<Point>> {
    let mut boards: std::collections::BTreeMap<usize, Vec<Point>> = std::collections::BTreeMap::new();
    for (board, stage) in measures {
        if stage.volts > 0.0 && stage.mean_power > RESOLVED * stage.uncertainty {
            boards.entry(*board).or_default().push((stage.volts.ln(), stage.mean_power.ln()));
        }
    }
    boards.into_values().collect()
}

#[expect(clippy::cast_precision_loss, reason = "a handful of captures")]
fn mean(points: &[Point]) -> Point {
    let count = points.len().max(1) as f64;
    (
        points.iter().map(|point| point.0).sum::<f64>() / count,
        points.iter().map(|point| point.1).sum::<f64>() / count,
    )
}

/// The slope through centred points and its standard error, the scatter being pooled with what is `usual`.
fn slope(centred: &[Point], usual: f64, freedom: usize) -> Option<(f64, f64)> {
    let squares: f64 = centred.iter().map(|(v, _)| v * v).sum();
    if squares <= 1e-12 {
        return None;
    }
    let slope = centred.iter().map(|(v, p)| v * p).sum::<f64>() / squares;
    let rest: f64 = centred.iter().map(|(v, p)| (p - slope * v).powi(2)).sum();
    #[expect(clippy::cast_precision_loss, reason = "a handful of captures")]
    let variance = (rest + USUAL_COUNTS * usual * usual) / (freedom as f64 + USUAL_COUNTS);
    Some((slope, (variance / squares).sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stage(volts: f64, watts: f64) -> StageMeasure {
        StageMeasure {
            phase: "running".into(),
            mean_power: watts,
            peak_power: watts,
            activity: 0.0,
            duration: None,
            energy: None,
            volts,
            uncertainty: 0.001,
            seen: None,
            update: None,
        }
    }

    #[test]
    fn a_resistor_a_regulator_and_a_converter_are_told_apart() {
        // Ohm's law: 10 Ω from 10 to 14 V; 0.5 A at the same volts; 14 W at the same volts.
        for (law, expected) in [(|v: f64| v * v / 10.0) as fn(f64) -> f64, |v| v * 0.5, |_| 14.0]
            .into_iter()
            .zip([2.0, 1.0, 0.0])
        {
            let stages = [10.0, 11.0, 12.0, 13.0, 14.0].map(|volts| stage(volts, law(volts)));
            let measures: Vec<_> = stages.iter().map(|stage| (0, stage)).collect();
            let found = exponent(&measures, false);
            assert!(
                (found.exponent - expected).abs() < 0.1 && found.sd < 0.15,
                "{found:?} against {expected}"
            );
        }
    }

    #[test]
    fn boards_that_differ_do_not_pass_for_a_law() {
        // 10 % more power at 5 % more volts: two boards that differ as boards do, or a resistor; nobody can tell.
        let stages = [stage(12.0, 10.0), stage(12.6, 11.0)];
        let found = exponent(&[(0, &stages[0]), (1, &stages[1])], false);
        assert!(found.sd > 0.5 && found.exponent.abs() < 1.0, "{found:?}");
        let same = exponent(&[(0, &stages[0]), (0, &stages[0])], false);
        assert_eq!(same, Law { exponent: 0.0, sd: PRIOR_SD });
    }

    #[test]
    fn a_repeat_that_is_a_little_lower_at_a_little_more_volts_is_no_law() {
        // One board twice, 6 % less power at 3.5 % more volts, and another: as repeats differ.
        let stages = [stage(12.34, 3.2), stage(12.79, 3.0), stage(12.5, 3.1)];
        let found = exponent(&[(0, &stages[0]), (0, &stages[1]), (1, &stages[2])], false);
        assert!(found.exponent.abs() < found.sd && found.sd > 0.5, "{found:?}");
        let steep = [stage(10.0, 1.0), stage(14.0, 9.0)];
        let steepest = exponent(&[(0, &steep[0]), (0, &steep[1])], false).exponent;
        assert!((steepest - 2.5).abs() < 1e-12, "none is steeper: {steepest}");
    }

    #[test]
    fn many_boards_over_a_wide_feed_show_the_law_too() {
        // Resistive boards that differ by up to 6 % at feeds from 10 to 14 V.
        let stages: Vec<StageMeasure> = (0..9_u32)
            .map(|board| {
                let volts = 10.0 + 0.5 * f64::from(board);
                stage(volts, volts * volts / 10.0 * (1.0 + 0.06 * (f64::from(board * 5 % 7) / 3.0 - 1.0)))
            })
            .collect();
        let measures: Vec<_> = stages.iter().enumerate().collect();
        let found = exponent(&measures, false);
        assert!((found.exponent - 2.0).abs() < 2.0 * found.sd && found.exponent > 1.3, "{found:?}");
    }
}
