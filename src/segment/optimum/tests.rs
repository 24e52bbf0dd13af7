//! The engine against a plain dynamic programme over all partitions.

use super::*;
use proptest::prelude::*;

/// Cost of one segment: the least over its level. For a bounded loss the level minimises a sum of truncated
/// parabolas; between two neighbouring ends of the samples' windows it is one parabola, so each is tried.
fn segment_cost(values: &[f64], weights: &[f64], bound: f64) -> f64 {
    let at = |level: f64| -> f64 {
        values.iter().zip(weights).map(|(y, w)| w * (y - level).powi(2).min(bound * bound)).sum()
    };
    let mean_of = |inside: &dyn Fn(f64) -> bool| {
        let chosen = values.iter().zip(weights).filter(|(y, _)| inside(**y));
        let (sum, weight) = chosen.fold((0.0, 0.0), |(s, w), (y, v)| (s + y * v, w + v));
        sum / weight
    };
    if bound.is_infinite() {
        return at(mean_of(&|_| true));
    }
    let mut ends: Vec<f64> = values.iter().flat_map(|y| [y - bound, y + bound]).collect();
    ends.sort_by(f64::total_cmp);
    let between = ends.windows(2).map(|pair| f64::midpoint(pair[0], pair[1]));
    between.map(|middle| at(mean_of(&|y: f64| (y - middle).abs() < bound))).fold(f64::INFINITY, f64::min)
}

fn total_cost(values: &[f64], weights: &[f64], bound: f64, penalty: f64, changes: &[usize]) -> f64 {
    let bounds: Vec<usize> = [0].into_iter().chain(changes.iter().copied()).chain([values.len()]).collect();
    let segments = bounds.windows(2).map(|b| segment_cost(&values[b[0]..b[1]], &weights[b[0]..b[1]], bound));
    segments.sum::<f64>() + penalty * f64::from(u32::try_from(changes.len()).unwrap())
}

/// Optimal partitioning: Jackson et al., IEEE Signal Process. Lett. 12 (2005) 105.
fn plain(values: &[f64], weights: &[f64], bound: f64, penalty: f64) -> (f64, Vec<usize>) {
    let mut best = vec![-penalty];
    let mut from = vec![0];
    for end in 1..=values.len() {
        let (start, cost) = (0..end)
            .map(|start| {
                let own = segment_cost(&values[start..end], &weights[start..end], bound);
                (start, best[start] + penalty + own)
            })
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .unwrap();
        best.push(cost);
        from.push(start);
    }
    let mut changes = Vec::new();
    let mut at = from[values.len()];
    while at > 0 {
        changes.push(at);
        at = from[at];
    }
    changes.reverse();
    (best[values.len()], changes)
}

fn loss(bound: f64) -> Loss {
    if bound.is_finite() { Loss::Bounded(bound) } else { Loss::Squares }
}

/// Relative error of costs that rounding may leave.
const ROUNDING: f64 = 1e-9;

fn check(values: &[f64], weights: &[f64], bound: f64, penalty: f64) -> Result<(), TestCaseError> {
    let (cost, _) = plain(values, weights, bound, penalty);
    let mut one_by_one = Optimum::new(loss(bound), penalty).unwrap();
    for (value, weight) in values.iter().zip(weights) {
        one_by_one.push_weighted(*value, *weight).unwrap();
    }
    let mut at_once = Optimum::new(loss(bound), penalty).unwrap();
    at_once.extend_weighted(values, weights).unwrap();
    for engine in [&one_by_one, &at_once] {
        let tolerance = ROUNDING * (1.0 + cost.abs() + penalty);
        prop_assert!((engine.cost() - cost).abs() <= tolerance, "cost {} and not {cost}", engine.cost());
        // With ties the partition need not be the same one, but it must be worth the same.
        let own = total_cost(values, weights, bound, penalty, &engine.changes());
        prop_assert!(
            (own - cost).abs() <= tolerance,
            "changes {:?} cost {own}, not {cost}",
            engine.changes()
        );
    }
    Ok(())
}

/// Small whole numbers: ties, repeats and constant stretches everywhere.
fn coarse_signal() -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec((0_i8..4, 1_usize..9), 1..14)
        .prop_map(|runs| runs.into_iter().flat_map(|(level, count)| vec![f64::from(level); count]).collect())
}

/// Levels with noise and wild values.
fn noisy_signal(longest: usize) -> impl Strategy<Value = Vec<f64>> {
    let sample = prop_oneof![20 => -1.0..1.0_f64, 1 => -40.0..40.0_f64];
    let level = (-6.0..6.0_f64, prop::collection::vec(sample, 1..longest));
    prop::collection::vec(level, 1..5).prop_map(|runs| {
        runs.into_iter().flat_map(|(l, noise)| noise.into_iter().map(move |e| l + e)).collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1500))]

    #[test]
    fn squares_on_coarse_signals(values in coarse_signal(), penalty in 0.1..8.0_f64) {
        check(&values, &vec![1.0; values.len()], f64::INFINITY, penalty)?;
    }

    #[test]
    fn bounded_on_coarse_signals(values in coarse_signal(), penalty in 0.1..8.0_f64, bound in 0.3..4.0_f64) {
        check(&values, &vec![1.0; values.len()], bound, penalty)?;
    }

    #[test]
    fn squares_on_noisy_signals(values in noisy_signal(60), penalty in 0.1..30.0_f64) {
        check(&values, &vec![1.0; values.len()], f64::INFINITY, penalty)?;
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn bounded_on_noisy_signals(values in noisy_signal(40), penalty in 0.1..30.0_f64, bound in 0.5..9.0_f64) {
        check(&values, &vec![1.0; values.len()], bound, penalty)?;
    }

    #[test]
    fn weights(
        pairs in prop::collection::vec((-2.0..2.0_f64, 0.1..5.0_f64), 1..150),
        jump in 0.0..6.0_f64,
        penalty in 0.5..20.0_f64,
        bound in prop_oneof![Just(f64::INFINITY), 1.0..12.0_f64],
    ) {
        let (mut values, weights): (Vec<f64>, Vec<f64>) = pairs.into_iter().unzip();
        let half = values.len() / 2;
        values[half..].iter_mut().for_each(|value| *value += jump);
        check(&values, &weights, bound, penalty)?;
    }
}

#[test]
fn one_step_is_one_change() {
    let values: Vec<f64> = (0..40).map(|i| if i < 17 { 0.0 } else { 9.0 }).collect();
    for loss in [Loss::Squares, Loss::Bounded(5.0)] {
        let mut optimum = Optimum::new(loss, 10.0).unwrap();
        optimum.extend(&values).unwrap();
        assert_eq!((optimum.changes(), optimum.cost()), (vec![17], 10.0));
    }
}

#[test]
fn nonsense_is_refused_and_nothing_taken() {
    assert_eq!(Optimum::new(Loss::Squares, 0.0).unwrap_err(), OptimumError::Penalty { found: 0.0 });
    assert!(Optimum::new(Loss::Bounded(f64::NAN), 1.0).is_err());
    let mut optimum = Optimum::new(Loss::Squares, 1.0).unwrap();
    let error = optimum.extend(&[1.0, f64::NAN]).unwrap_err();
    assert_eq!(error.to_string(), "sample 1 is NaN; every sample must be finite and less than 1e100 in size");
    assert_eq!(optimum.push_weighted(1.0, 0.0), Err(OptimumError::Weight { index: 0, found: 0.0 }));
    assert!(optimum.is_empty() && optimum.changes().is_empty());
}
