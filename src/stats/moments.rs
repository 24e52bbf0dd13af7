//! Mean, standard deviation and lag-1 autocorrelation of a row of values, one value at a time.

/// The moments of all values given so far, about their own mean, so that a large offset costs no digits.
///
/// Mean and sum of squares by the updating formulas of Welford, Technometrics 4 (1962) 419 (West, Commun. ACM 22
/// (1979) 532), on values counted from the first one. The sum of the products of neighbours is kept about the running
/// mean in the same manner: when the mean m of n values moves by δ, then from `Σ (yᵢ − m)(yᵢ₊₁ − m)` follows
///
/// `Σ (yᵢ − m − δ)(yᵢ₊₁ − m − δ) = Σ (yᵢ − m)(yᵢ₊₁ − m) + δ ((yₙ − m) + (y₁ − m)) + (n − 1) δ²`,
///
/// since the deviations of all n values but the last, or but the first, sum up to minus that one.
///
/// Values must be finite: one that is not makes every answer NaN.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Moments {
    count: u64,
    first: f64,
    /// The newest value, from the first.
    newest: f64,
    /// Mean, from the first value.
    mean: f64,
    /// Σ (yᵢ − mean)².
    squares: f64,
    /// Σ (yᵢ − mean)(yᵢ₊₁ − mean).
    neighbours: f64,
}

impl Moments {
    /// Takes one more value.
    pub fn push(&mut self, value: f64) {
        if self.count == 0 {
            self.first = value;
        }
        let before = self.number();
        self.count += 1;
        let value = value - self.first;
        let shift = (value - self.mean) / self.number();
        let old_off = value - self.mean;
        if before > 0.0 {
            let ends = (self.newest - self.mean) - self.mean;
            self.neighbours += shift * ends + (before - 1.0) * shift * shift;
        }
        self.mean += shift;
        let off = value - self.mean;
        self.squares += old_off * off;
        if before > 0.0 {
            self.neighbours += (self.newest - self.mean) * off;
        }
        self.newest = value;
    }

    /// How many values were given.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.count
    }

    #[expect(clippy::cast_precision_loss, reason = "2^53 values are never given")]
    fn number(&self) -> f64 {
        self.count as f64
    }

    /// The mean; `None` without values.
    #[must_use]
    pub fn mean(&self) -> Option<f64> {
        (self.count > 0).then_some(self.first + self.mean)
    }

    /// The sample variance (divided by one less than the count); `None` below two values.
    #[must_use]
    pub fn variance(&self) -> Option<f64> {
        (self.count > 1).then(|| self.squares / (self.number() - 1.0))
    }

    /// The sample standard deviation; `None` below two values.
    #[must_use]
    pub fn deviation(&self) -> Option<f64> {
        self.variance().map(f64::sqrt)
    }

    /// The lag-1 autocorrelation coefficient `Σ (yᵢ − ȳ)(yᵢ₊₁ − ȳ) / Σ (yᵢ − ȳ)²`; `None` below two values and where
    /// all are equal.
    ///
    /// Source: Box & Jenkins, "Time Series Analysis", as NIST's reference data sets define it.
    #[must_use]
    pub fn autocorrelation(&self) -> Option<f64> {
        (self.squares > 0.0).then(|| self.neighbours / self.squares)
    }
}

impl Extend<f64> for Moments {
    fn extend<T: IntoIterator<Item = f64>>(&mut self, values: T) {
        values.into_iter().for_each(|value| self.push(value));
    }
}

impl FromIterator<f64> for Moments {
    fn from_iter<T: IntoIterator<Item = f64>>(values: T) -> Self {
        let mut moments = Self::default();
        moments.extend(values);
        moments
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::path::Path;

    /// NIST `StRD`, univariate summary statistics: file, values, certified mean, standard deviation, autocorrelation.
    /// (The four observed sets were also worked out in exact fractions, with the same digits.)
    const CERTIFIED: [(&str, u64, f64, f64, f64); 8] = [
        ("LEW", 200, -177.435, 277.332_168_044_316, -0.307_304_800_605_679),
        ("LOTTERY3", 218, 518.958_715_596_330, 291.699_727_470_969, -0.120_948_622_967_393),
        ("MAVRO", 50, 2.001_856, 0.000_429_123_454_003_053, 0.937_989_183_438_248),
        ("MICHELSO", 100, 299.852_4, 0.079_010_547_819_051_8, 0.535_199_668_621_283),
        ("NUMACC1", 3, 10_000_002.0, 1.0, -0.5),
        ("NUMACC2", 1001, 1.2, 0.1, -0.999),
        ("NUMACC3", 1001, 1_000_000.2, 0.1, -0.999),
        ("NUMACC4", 1001, 10_000_000.2, 0.1, -0.999),
    ];

    /// The first column of the rows at the end of the file that are all numbers.
    fn data(name: &str) -> Vec<f64> {
        let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/strd").join(format!("{name}.DAT"));
        let text = std::fs::read_to_string(file).unwrap();
        let row = |line: &str| -> Option<Vec<f64>> {
            line.split_whitespace().map(|word| word.parse().ok()).collect()
        };
        let rows = text.lines().rev().filter(|line| !line.trim().is_empty());
        let mut values: Vec<f64> = rows.map_while(row).map(|row| row[0]).collect();
        values.reverse();
        values
    }

    #[test]
    fn the_certified_values_of_nist_are_met() {
        for (name, count, mean, deviation, autocorrelation) in CERTIFIED {
            let values = data(name);
            let found: Moments = values.iter().copied().collect();
            assert_eq!(found.count(), count, "{name}");
            // What a double keeps of the data itself: half a unit in the last place of the largest value.
            let kept = values.iter().fold(0.0_f64, |most, value| most.max(value.abs())) * f64::EPSILON;
            let near = |found: Option<f64>, certified: f64, tolerance: f64| {
                let found = found.unwrap();
                assert!((found - certified).abs() <= tolerance, "{name}: {found}, certified {certified}");
            };
            near(found.mean(), mean, kept + 1e-14 * mean.abs());
            near(found.deviation(), deviation, kept + 1e-14 * deviation);
            near(found.autocorrelation(), autocorrelation, 2.0 * kept / deviation + 1e-13);
        }
    }

    #[test]
    fn too_little_has_no_moments() {
        let none = Moments::default();
        assert_eq!((none.mean(), none.variance(), none.autocorrelation()), (None, None, None));
        let one: Moments = [5.0].into_iter().collect();
        assert_eq!((one.mean(), one.deviation(), one.autocorrelation()), (Some(5.0), None, None));
        let equal: Moments = [0.1; 1000].into_iter().collect();
        assert_eq!((equal.mean(), equal.deviation(), equal.autocorrelation()), (Some(0.1), Some(0.0), None));
    }

    proptest! {
        #[test]
        fn one_at_a_time_is_the_same_as_two_passes(
            values in prop::collection::vec(-1e3..1e3_f64, 2..200),
            offset in -1e6..1e6_f64,
        ) {
            let values: Vec<f64> = values.into_iter().map(|value| value + offset).collect();
            let found: Moments = values.iter().copied().collect();
            #[expect(clippy::cast_precision_loss, reason = "at most 200 values")]
            let count = values.len() as f64;
            let mean = values.iter().map(|value| value - values[0]).sum::<f64>() / count + values[0];
            let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
            let neighbours: f64 = values.windows(2).map(|pair| (pair[0] - mean) * (pair[1] - mean)).sum();
            let scale = squares.sqrt() + 1e-9;
            prop_assert!((found.mean().unwrap() - mean).abs() < 1e-9 * (1.0 + scale));
            prop_assert!((found.deviation().unwrap() - (squares / (count - 1.0)).sqrt()).abs() < 1e-8 * scale);
            prop_assert!((found.autocorrelation().unwrap() - neighbours / squares).abs() < 1e-6);
        }
    }
}
