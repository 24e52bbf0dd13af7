//! The engine against a plain dynamic programme over all partitions.

use super::*;
use proptest::prelude::*;

/// Costs of every stretch of samples: the least over its level. For a bounded loss the level minimises a sum of
/// truncated parabolas; between two neighbouring ends of the samples' windows that sum is one parabola, so the least
/// of each is tried.
struct Stretches<'a> {
    values: &'a [f64],
    weights: &'a [f64],
    bound: f64,
    /// For each sample, the first and one past the last interval between neighbouring ends within its window.
    windows: Vec<(usize, usize)>,
    intervals: usize,
}

/// A parabola over the level, and what the samples cost that are out of reach.
#[derive(Clone, Copy, Default)]
struct Parabola {
    weight: f64,
    mean: f64,
    squares: f64,
    beyond: f64,
}

impl Parabola {
    /// Welford's update, which keeps its digits at any level.
    fn add(&mut self, value: f64, weight: f64) {
        self.weight += weight;
        let off = value - self.mean;
        self.mean += off * weight / self.weight;
        self.squares += weight * off * (value - self.mean);
    }

    fn least(&self) -> f64 {
        self.squares + self.beyond
    }
}

impl<'a> Stretches<'a> {
    fn new(values: &'a [f64], weights: &'a [f64], bound: f64) -> Self {
        if bound.is_infinite() {
            return Self { values, weights, bound, windows: vec![(0, 1); values.len()], intervals: 1 };
        }
        let mut ends: Vec<f64> = values.iter().flat_map(|y| [y - bound, y + bound]).collect();
        ends.sort_by(f64::total_cmp);
        ends.dedup();
        let place = |end: f64| ends.partition_point(|other| *other < end);
        let windows = values.iter().map(|y| (place(y - bound), place(y + bound))).collect();
        Self { values, weights, bound, windows, intervals: ends.len() - 1 }
    }

    /// Costs of the stretches that end before `end` and start at 0, 1, 2, …
    fn ending(&self, end: usize) -> Vec<f64> {
        let mut parabolas = vec![Parabola::default(); self.intervals];
        let mut costs: Vec<f64> = (0..end)
            .rev()
            .map(|start| {
                let (value, weight, (from, to)) =
                    (self.values[start], self.weights[start], self.windows[start]);
                let (below, rest) = parabolas.split_at_mut(from);
                let (inside, above) = rest.split_at_mut(to - from);
                for parabola in inside {
                    parabola.add(value, weight);
                }
                let beyond = weight * self.bound * self.bound;
                below.iter_mut().chain(above).for_each(|parabola| parabola.beyond += beyond);
                parabolas.iter().map(Parabola::least).fold(f64::INFINITY, f64::min)
            })
            .collect();
        costs.reverse();
        costs
    }

    fn total(&self, penalty: f64, changes: &[usize]) -> f64 {
        let ends: Vec<usize> = changes.iter().copied().chain([self.values.len()]).collect();
        let starts = [0].into_iter().chain(changes.iter().copied());
        let stretches = starts.zip(&ends).map(|(start, end)| self.ending(*end)[start]);
        stretches.sum::<f64>() + penalty * f64::from(u32::try_from(changes.len()).unwrap())
    }

    /// Optimal partitioning: Jackson et al., IEEE Signal Process. Lett. 12 (2005) 105.
    fn plain(&self, penalty: f64) -> (f64, Vec<usize>) {
        let mut best = vec![-penalty];
        let mut from = vec![0];
        for end in 1..=self.values.len() {
            let own = self.ending(end);
            let costs = best.iter().zip(&own).map(|(before, own)| before + penalty + own);
            let (start, cost) = costs.enumerate().min_by(|a, b| a.1.total_cmp(&b.1)).unwrap();
            best.push(cost);
            from.push(start);
        }
        let mut changes = Vec::new();
        let mut at = from[self.values.len()];
        while at > 0 {
            changes.push(at);
            at = from[at];
        }
        changes.reverse();
        (best[self.values.len()], changes)
    }
}

fn loss(bound: f64) -> Loss {
    if bound.is_finite() { Loss::Bounded(bound) } else { Loss::Squares }
}

/// Relative error of costs that rounding may leave.
const ROUNDING: f64 = 1e-9;

/// Whether two partitions may be worth the same, so that either is right.
#[derive(Clone, Copy, PartialEq)]
enum Ties {
    Possible,
    /// Continuous noise and squares: two partitions of equal cost have probability zero.
    Never,
}

fn check(values: &[f64], weights: &[f64], bound: f64, penalty: f64, ties: Ties) -> Result<(), TestCaseError> {
    let stretches = Stretches::new(values, weights, bound);
    let (cost, changes) = stretches.plain(penalty);
    let mut engine = Optimum::new(loss(bound), penalty).unwrap();
    engine.extend_weighted(values, weights).unwrap();
    let tolerance = ROUNDING * (1.0 + cost.abs() + penalty);
    prop_assert!((engine.cost() - cost).abs() <= tolerance, "cost {} and not {cost}", engine.cost());
    let found = engine.changes();
    if found != changes {
        prop_assert!(ties == Ties::Possible, "changes {found:?} and not {changes:?}");
        let own = stretches.total(penalty, &found);
        prop_assert!((own - cost).abs() <= tolerance, "changes {found:?} cost {own}, not {cost}");
    }
    Ok(())
}

fn check_unweighted(values: &[f64], bound: f64, penalty: f64, ties: Ties) -> Result<(), TestCaseError> {
    check(values, &vec![1.0; values.len()], bound, penalty, ties)
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
    #![proptest_config(ProptestConfig::with_cases(3000))]

    #[test]
    fn squares_on_coarse_signals(values in coarse_signal(), penalty in 0.1..8.0_f64) {
        check_unweighted(&values, f64::INFINITY, penalty, Ties::Possible)?;
    }

    #[test]
    fn bounded_on_coarse_signals(values in coarse_signal(), penalty in 0.1..8.0_f64, bound in 0.3..4.0_f64) {
        check_unweighted(&values, bound, penalty, Ties::Possible)?;
    }

    #[test]
    fn squares_on_noisy_signals(values in noisy_signal(60), penalty in 0.1..30.0_f64) {
        check_unweighted(&values, f64::INFINITY, penalty, Ties::Never)?;
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1000))]

    /// A wild sample between two segments costs the same in either.
    #[test]
    fn bounded_on_noisy_signals(values in noisy_signal(40), penalty in 0.1..30.0_f64, bound in 0.5..9.0_f64) {
        check_unweighted(&values, bound, penalty, Ties::Possible)?;
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
        check(&values, &weights, bound, penalty, Ties::Possible)?;
    }

    /// Blocks of calm samples are taken at once, so signals must be long enough for many of them.
    #[test]
    fn however_the_samples_arrive_the_answer_is_the_same_to_the_last_digit(
        values in prop_oneof![
            noisy_signal(400),
            coarse_signal().prop_map(|values| values.iter().cycle().take(700).copied().collect::<Vec<_>>()),
        ],
        parts in prop::collection::vec(1_usize..90, 1..20),
        weighted in any::<bool>(),
        penalty in 0.5..30.0_f64,
        bound in prop_oneof![Just(f64::INFINITY), 0.5..9.0_f64],
    ) {
        let weight = |at: usize| if weighted { [1.0, 0.5, 2.5][at % 3] } else { 1.0 };
        let weights: Vec<f64> = (0..values.len()).map(weight).collect();
        let new = || Optimum::new(loss(bound), penalty).unwrap();
        let (mut at_once, mut one_by_one, mut in_parts) = (new(), new(), new());
        at_once.extend_weighted(&values, &weights).unwrap();
        for (value, weight) in values.iter().zip(&weights) {
            one_by_one.push_weighted(*value, *weight).unwrap();
        }
        let mut at = 0;
        for part in parts.iter().cycle() {
            let end = (at + part).min(values.len());
            in_parts.extend_weighted(&values[at..end], &weights[at..end]).unwrap();
            if end == values.len() {
                break;
            }
            // An answer on the way changes nothing.
            let _ = in_parts.changes();
            at = end;
        }
        for engine in [&one_by_one, &in_parts] {
            prop_assert_eq!(engine.cost().to_bits(), at_once.cost().to_bits());
            prop_assert_eq!(engine.changes(), at_once.changes());
        }
    }

    /// At every moment of a stream the answer is the optimum of the samples so far.
    #[test]
    fn every_answer_on_the_way_is_the_optimum(
        values in noisy_signal(25),
        penalty in 0.5..30.0_f64,
        bound in prop_oneof![Just(f64::INFINITY), 0.5..9.0_f64],
    ) {
        let mut engine = Optimum::new(loss(bound), penalty).unwrap();
        let weights = vec![1.0; values.len()];
        for (at, value) in values.iter().enumerate() {
            engine.push(*value).unwrap();
            if at % 7 == 0 {
                let (cost, _) = Stretches::new(&values[..=at], &weights, bound).plain(penalty);
                prop_assert!((engine.cost() - cost).abs() <= ROUNDING * (1.0 + cost + penalty));
            }
        }
    }
}

/// Long levels with noise and few wild values: here blocks are taken at once most of the time.
fn calm_signal(longest: usize) -> impl Strategy<Value = Vec<f64>> {
    let sample =
        prop_oneof![400 => (-1.0..1.0_f64, -1.0..1.0_f64).prop_map(|(a, b)| a + b), 1 => -40.0..40.0_f64];
    let level = (-6.0..6.0_f64, prop::collection::vec(sample, 1..longest));
    (prop::collection::vec(level, 1..4), prop_oneof![Just(0.0), Just(1e3), Just(-1e6)]).prop_map(
        |(runs, offset)| {
            let run = |(l, noise): (f64, Vec<f64>)| noise.into_iter().map(move |e| offset + l + e);
            runs.into_iter().flat_map(run).collect()
        },
    )
}

/// Two long levels so far apart that a change between them saves about what it costs: with it and without it are nearly
/// as good for block after block.
fn undecided_signal() -> impl Strategy<Value = (Vec<f64>, f64)> {
    let noise = || prop::collection::vec((-1.0..1.0_f64, -1.0..1.0_f64).prop_map(|(a, b)| a + b), 100..400);
    (noise(), noise(), 0.5..1.5_f64, 2.0..20.0_f64).prop_map(|(one, other, share, penalty)| {
        let count = |part: &[f64]| f64::from(u32::try_from(part.len()).unwrap());
        let (n, m) = (count(&one), count(&other));
        let apart = (share * penalty * (n + m) / (n * m)).sqrt();
        (one.into_iter().chain(other.into_iter().map(|value| value + apart)).collect(), penalty)
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn squares_on_undecided_signals((values, penalty) in undecided_signal()) {
        check_unweighted(&values, f64::INFINITY, penalty, Ties::Never)?;
    }

    #[test]
    fn squares_on_calm_signals(values in calm_signal(700), penalty in 2.0..20.0_f64) {
        check_unweighted(&values, f64::INFINITY, penalty, Ties::Never)?;
    }

    #[test]
    fn bounded_on_calm_signals(values in calm_signal(150), penalty in 2.0..20.0_f64, bound in 2.0..9.0_f64) {
        check_unweighted(&values, bound, penalty, Ties::Possible)?;
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
