//! How a stage's power follows the feed volts: a converter draws constant watts, a regulator constant amps, a resistive
//! part watts that go with the square of the volts.
//!
//! Only captures of one board at different volts tell these apart: boards differ among each other by more than a few
//! per cent of feed changes the power. So the exponent is the slope of log power on log volts with a level for each
//! board (analysis of covariance).

use super::model::StageMeasure;

/// Repeats of one board at one feed differ by about this much in mean power (log); common practice, no source.
const REPEAT_SPREAD: f64 = 0.01;
/// The exponent is believed where its standard error is below this: 0, 1 and 2 are then told apart at two standard
/// errors.
const BELIEVED_BELOW: f64 = 0.35;

/// The exponent, to one decimal; `None` where the captures do not tell.
pub(super) fn exponent(measures: &[(usize, &StageMeasure)]) -> Option<f64> {
    let points: Vec<(usize, f64, f64)> = measures
        .iter()
        .filter(|(_, stage)| stage.volts > 0.0 && stage.mean_power > 3.0 * stage.uncertainty)
        .map(|(board, stage)| (*board, stage.volts.ln(), stage.mean_power.ln()))
        .collect();
    let (mut squares, mut products, mut rest) = (0.0, 0.0, 0.0);
    let mut freedom = -1.0;
    let mut boards: Vec<usize> = points.iter().map(|point| point.0).collect();
    boards.dedup();
    boards.sort_unstable();
    boards.dedup();
    let mut centred = Vec::new();
    for board in boards {
        let own: Vec<(f64, f64)> =
            points.iter().filter(|point| point.0 == board).map(|point| (point.1, point.2)).collect();
        #[expect(clippy::cast_precision_loss, reason = "a handful of captures")]
        let count = own.len() as f64;
        freedom += count - 1.0;
        let mean = |pick: fn(&(f64, f64)) -> f64| own.iter().map(pick).sum::<f64>() / count;
        let (mean_v, mean_p) = (mean(|point| point.0), mean(|point| point.1));
        centred.extend(own.iter().map(|(v, p)| (v - mean_v, p - mean_p)));
    }
    for (v, p) in &centred {
        squares += v * v;
        products += v * p;
    }
    if squares <= 0.0 {
        return None;
    }
    let slope = products / squares;
    for (v, p) in &centred {
        rest += (p - slope * v).powi(2);
    }
    let seen = if freedom > 0.0 { (rest / freedom).sqrt() } else { 0.0 };
    let error = seen.max(REPEAT_SPREAD) / squares.sqrt();
    (error < BELIEVED_BELOW).then(|| ((slope * 10.0).round() / 10.0 + 0.0).clamp(-2.0, 4.0))
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
        }
    }

    #[test]
    fn a_resistor_a_regulator_and_a_converter_are_told_apart() {
        // Ohm's law: 10 Ω at 11, 12 and 13 V; 0.5 A at the same volts; 14 W at the same volts.
        for (law, expected) in [(|v: f64| v * v / 10.0) as fn(f64) -> f64, |v| v * 0.5, |_| 14.0]
            .into_iter()
            .zip([2.0, 1.0, 0.0])
        {
            let stages = [11.0, 12.0, 13.0].map(|volts| stage(volts, law(volts)));
            let measures: Vec<_> = stages.iter().map(|stage| (0, stage)).collect();
            assert_eq!(exponent(&measures), Some(expected));
        }
    }

    #[test]
    fn boards_that_differ_do_not_pass_for_a_law() {
        let stages = [stage(12.0, 10.0), stage(12.6, 11.0)];
        assert_eq!(exponent(&[(0, &stages[0]), (1, &stages[1])]), None);
        assert_eq!(exponent(&[(0, &stages[0]), (0, &stages[0])]), None);
    }
}
