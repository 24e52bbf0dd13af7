//! Tolerance factors of the normal distribution: how many sample standard deviations around the sample mean hold a
//! stated share of the population at a stated confidence.
//!
//! The factors are exact: the defining probability is integrated numerically and solved for the factor, as ISO
//! 16269-6:2014 (annexes on the two-sided case with unknown mean and standard deviation) does. Many handbooks print
//! Howe's approximation instead, which differs for very small samples (two-sided 0.95/0.95, n = 2: about 37.7 against
//! the exact 36.5192).
//!
//! The sample mean and the sample standard deviation enter apart: the mean is known from `count` values, the standard
//! deviation from `freedom` degrees of freedom. With one sample, `freedom` is `count` − 1. With several groups of one
//! size and a common standard deviation it is the sum over the groups, which is the pooled case of ISO 16269-6.

use statrs::function::erf::{erf, erf_inv};
use statrs::function::gamma::checked_gamma_ur;

/// Deviates of the mean beyond this many of its own standard deviations have a probability below 1e-16.
const FURTHEST: f64 = 8.3;
/// Panels of Simpson's rule over `0..=FURTHEST`; twice as many change no factor of the published tables in its seventh
/// figure.
const PANELS: u32 = 240;
/// The solved factor is good to this relative error.
const RELATIVE_ERROR: f64 = 1e-9;

/// Why a tolerance factor cannot be computed.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ToleranceError {
    /// Content or confidence is no share.
    #[error("{name} {found} is not a share; it must lie between 0 and 1, both excluded")]
    NotAShare {
        /// `content` or `confidence`.
        name: &'static str,
        /// What was given.
        found: f64,
    },
    /// Too few values.
    #[error("{name} is {found}; it must be a finite number of at least {least}")]
    TooFew {
        /// `count` or `freedom`.
        name: &'static str,
        /// What was given.
        found: f64,
        /// The least that there must be.
        least: f64,
    },
}

/// A share of a population and the confidence of covering it, both strictly between 0 and 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coverage {
    content: f64,
    confidence: f64,
}

impl Coverage {
    /// `content` of the population at `confidence`.
    ///
    /// # Errors
    /// [`ToleranceError::NotAShare`] unless both lie strictly between 0 and 1.
    pub fn new(content: f64, confidence: f64) -> Result<Self, ToleranceError> {
        for (name, found) in [("content", content), ("confidence", confidence)] {
            if !(found > 0.0 && found < 1.0) {
                return Err(ToleranceError::NotAShare { name, found });
            }
        }
        Ok(Self { content, confidence })
    }

    /// The share of the population.
    #[must_use]
    pub fn content(self) -> f64 {
        self.content
    }

    /// The confidence of covering it.
    #[must_use]
    pub fn confidence(self) -> f64 {
        self.confidence
    }
}

/// What a mean and a standard deviation were estimated from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    count: f64,
    freedom: f64,
}

impl Evidence {
    /// A mean of `count` values (an effective number may be fractional) and a standard deviation of `freedom` degrees
    /// of freedom.
    ///
    /// # Errors
    /// [`ToleranceError::TooFew`] if either is not a finite number, `count` is below 1 or `freedom` is not above 0.
    pub fn new(count: f64, freedom: f64) -> Result<Self, ToleranceError> {
        if !(count.is_finite() && count >= 1.0) {
            return Err(ToleranceError::TooFew { name: "count", found: count, least: 1.0 });
        }
        if !(freedom.is_finite() && freedom >= f64::MIN_POSITIVE) {
            return Err(ToleranceError::TooFew { name: "freedom", found: freedom, least: f64::MIN_POSITIVE });
        }
        Ok(Self { count, freedom })
    }

    /// The number of values that the mean is worth, and the degrees of freedom of the standard deviation.
    #[must_use]
    pub fn parts(self) -> (f64, f64) {
        (self.count, self.freedom)
    }

    /// One sample of `count` values.
    ///
    /// # Errors
    /// [`ToleranceError::TooFew`] below two values.
    pub fn sample(count: usize) -> Result<Self, ToleranceError> {
        #[expect(clippy::cast_precision_loss, reason = "no sample has 2^53 values")]
        let found = count as f64;
        if count < 2 {
            return Err(ToleranceError::TooFew { name: "count", found, least: 2.0 });
        }
        Self::new(found, found - 1.0)
    }
}

/// The factor k of the interval `mean ± k·s` that holds the content at the confidence.
///
/// Solves `γ = 2 ∫₀^∞ P(χ²_ν > ν·r(z)²/k²) φ(z) dz`, with `r(z)` from `Φ(z/√n + r) − Φ(z/√n − r) = p` (ISO 16269-6;
/// Odeh & Owen, "Tables for Normal Tolerance Limits", 1980).
#[must_use]
pub fn two_sided(evidence: Evidence, coverage: Coverage) -> f64 {
    let root = evidence.count.sqrt();
    let grid = Grid::new(0.0, |z| half_width(z / root, coverage.content));
    solve(|k| 2.0 * grid.integral(|r| deviation_exceeds(r / k, evidence.freedom)), coverage.confidence)
}

/// The factor k of the bound `mean + k·s` (or `mean − k·s`) that holds the content at the confidence.
///
/// It is `t'⁻¹(γ; ν, z_p √n) / √n` with the noncentral t distribution, computed as
/// `γ = ∫ P(χ²_ν > ν·((z_p − z/√n)/k)²) φ(z) dz`, where the probability is 1 once the mean alone covers.
#[must_use]
pub fn one_sided(evidence: Evidence, coverage: Coverage) -> f64 {
    let root = evidence.count.sqrt();
    let bound = normal_quantile(coverage.content);
    let grid = Grid::new(-FURTHEST, |z| bound - z / root);
    let covered = |k: f64| grid.integral(|r| deviation_exceeds(r / k, evidence.freedom));
    solve(covered, coverage.confidence)
}

/// The quantile of the standard normal distribution.
#[must_use]
pub fn normal_quantile(probability: f64) -> f64 {
    std::f64::consts::SQRT_2 * erf_inv(2.0 * probability - 1.0)
}

fn normal(z: f64) -> f64 {
    f64::midpoint(1.0, erf(z / std::f64::consts::SQRT_2))
}

fn density(z: f64) -> f64 {
    (-z * z / 2.0).exp() / (2.0 * std::f64::consts::PI).sqrt()
}

/// Probability that s/σ exceeds `ratio`, for a standard deviation of `freedom` degrees of freedom (chi-square).
fn deviation_exceeds(ratio: f64, freedom: f64) -> f64 {
    if ratio <= 0.0 {
        return 1.0;
    }
    checked_gamma_ur(freedom / 2.0, freedom * ratio * ratio / 2.0).unwrap_or(0.0)
}

/// The half-width r of the interval around `centre` that holds `content` of the standard normal distribution.
fn half_width(centre: f64, content: f64) -> f64 {
    let held = |r: f64| normal(centre + r) - normal(centre - r);
    bisect(|r| held(r) - content, 0.0, centre.abs() + FURTHEST)
}

/// Values of a function of z with the weights of Simpson's rule and of the normal density.
struct Grid(Vec<(f64, f64)>);

impl Grid {
    fn new(from: f64, value: impl Fn(f64) -> f64) -> Self {
        let step = (FURTHEST - from) / f64::from(PANELS);
        let weight = |i: u32| match i {
            0 | PANELS => 1.0,
            odd if odd % 2 == 1 => 4.0,
            _ => 2.0,
        };
        let point = |i: u32| {
            let z = from + step * f64::from(i);
            (value(z), weight(i) * step / 3.0 * density(z))
        };
        Self((0..=PANELS).map(point).collect())
    }

    fn integral(&self, of: impl Fn(f64) -> f64) -> f64 {
        self.0.iter().map(|(value, weight)| weight * of(*value)).sum()
    }
}

/// The k at which the rising `covered` reaches `confidence`.
fn solve(covered: impl Fn(f64) -> f64, confidence: f64) -> f64 {
    let (mut low, mut high) = (1e-3, 2.0);
    while covered(high) < confidence && high < 1e12 {
        low = high;
        high *= 4.0;
    }
    bisect(|k| covered(k) - confidence, low, high)
}

/// The root of a rising function between `low` and `high`.
fn bisect(rising: impl Fn(f64) -> f64, mut low: f64, mut high: f64) -> f64 {
    while high - low > RELATIVE_ERROR * high.max(1e-12) {
        let middle = f64::midpoint(low, high);
        if rising(middle) < 0.0 { low = middle } else { high = middle }
    }
    f64::midpoint(low, high)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn two(count: usize, content: f64, confidence: f64) -> f64 {
        two_sided(Evidence::sample(count).unwrap(), Coverage::new(content, confidence).unwrap())
    }

    /// ISO tables are rounded up in the fourth decimal.
    fn matches_table(found: f64, printed: f64) {
        assert!(
            found <= printed + 1e-9 && found > printed - 1.000_001e-4,
            "{found} against printed {printed}"
        );
    }

    #[test]
    fn two_sided_factors_are_those_of_iso_16269_6() {
        // ISO 16269-6:2014, table F5 (0.95/0.95), m = 1.
        let f5 = [(5, 5.0769), (10, 3.3935), (26, 2.6188), (90, 2.2519), (200, 2.1430), (1000, 2.0362)];
        for (count, printed) in f5 {
            matches_table(two(count, 0.95, 0.95), printed);
        }
        // Table F1 (0.90/0.90) and table F2 (content 0.95, confidence 0.90).
        matches_table(two(2, 0.90, 0.90), 15.5124);
        matches_table(two(8, 0.90, 0.90), 2.7542);
        for (count, printed) in [(3, 6.8233), (9, 3.1323), (15, 2.7196), (30, 2.4166)] {
            matches_table(two(count, 0.95, 0.90), printed);
        }
    }

    #[test]
    fn groups_pooled_are_those_of_iso_16269_6() {
        // ISO 16269-6:2014, table F5, n = 5, m = 1…5 groups: the mean of one group, the spread of all.
        let coverage = Coverage::new(0.95, 0.95).unwrap();
        for (groups, printed) in [(1.0, 5.0769), (2.0, 3.6939), (3.0, 3.2936), (4.0, 3.0986), (5.0, 2.9820)] {
            let evidence = Evidence::new(5.0, groups * 4.0).unwrap();
            matches_table(two_sided(evidence, coverage), printed);
        }
    }

    #[test]
    fn the_handbook_case_is_met_exactly_and_not_by_howes_approximation() {
        // NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3, works n = 43 at 0.90/0.99; the exact two-sided
        // value by numerical integration is 2.2228 (Howe's approximation 2.2173); one-sided by the noncentral t.
        assert_relative_eq!(two(43, 0.90, 0.99), 2.2228, epsilon = 5e-5);
        let coverage = Coverage::new(0.90, 0.99).unwrap();
        assert_relative_eq!(one_sided(Evidence::sample(43).unwrap(), coverage), 1.8740, epsilon = 5e-5);
        // The exact factor for the smallest sample, where approximations are worst.
        assert_relative_eq!(two(2, 0.95, 0.95), 36.5192, epsilon = 5e-5);
    }

    #[test]
    fn with_all_the_evidence_the_factor_is_the_normal_quantile() {
        let evidence = Evidence::new(1e9, 1e9).unwrap();
        let coverage = Coverage::new(0.95, 0.95).unwrap();
        assert_relative_eq!(two_sided(evidence, coverage), normal_quantile(0.975), epsilon = 1e-3);
        assert_relative_eq!(normal_quantile(0.975), 1.959_963_984_540_054, epsilon = 1e-12);
    }

    #[test]
    fn shares_and_counts_that_cannot_be_are_refused() {
        for bad in [0.0, 1.0, -0.1, f64::NAN] {
            assert!(Coverage::new(bad, 0.9).is_err() && Coverage::new(0.9, bad).is_err());
        }
        assert_eq!(
            Evidence::sample(1).unwrap_err().to_string(),
            "count is 1; it must be a finite number of at least 2"
        );
        assert!(Evidence::new(0.5, 1.0).is_err() && Evidence::new(2.0, 0.0).is_err());
        assert!(Evidence::new(f64::NAN, 1.0).is_err() && Evidence::new(2.0, f64::INFINITY).is_err());
    }

    #[test]
    fn more_evidence_never_widens() {
        let counts = [2, 3, 5, 8, 13, 21, 34, 55];
        let factors: Vec<f64> = counts.iter().map(|count| two(*count, 0.95, 0.95)).collect();
        assert!(factors.windows(2).all(|pair| pair[1] < pair[0]), "{factors:?}");
    }
}
