//! Location and scale that single wild values cannot move.

/// Makes the median absolute deviation estimate the standard deviation of a normal sample: 1 / Φ⁻¹(3/4).
///
/// Source: Rousseeuw & Croux, "Alternatives to the median absolute deviation", J. Am. Stat. Assoc. 88 (1993) 1273.
pub const MAD_TO_SD: f64 = 1.482_602_218_505_602;

/// The median of `values`, reordering them; `None` if there are none.
///
/// With an even count it is the mean of the two middle values. Linear time on average.
#[must_use]
pub fn median(values: &mut [f64]) -> Option<f64> {
    let middle = values.len() / 2;
    if values.is_empty() {
        return None;
    }
    let (below, upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    let upper = *upper;
    if below.len() < middle || values.len() % 2 == 1 {
        return Some(upper);
    }
    let lower = values[..middle].iter().copied().max_by(f64::total_cmp)?;
    Some(lower + (upper - lower) / 2.0)
}

/// Standard deviation by the median absolute deviation from the median, reordering `values`; `None` if there are none.
///
/// Up to half of the values may be wild. On rounded data it can be zero although the values vary.
#[must_use]
pub fn deviation(values: &mut [f64]) -> Option<f64> {
    let centre = median(values)?;
    for value in values.iter_mut() {
        *value = (*value - centre).abs();
    }
    median(values).map(|mad| mad * MAD_TO_SD)
}

/// Mean square of differences about zero, of which a share up to `trimmed` may be wild, reordering them; `None` if there
/// are none.
///
/// It is the mean of the squares without the largest share, scaled to be right for a normal sample (a trimmed scale:
/// Huber & Ronchetti, "Robust Statistics", 2nd ed. 2009, section 5). The mean of the smallest share p of the squares of
/// a standard normal variable is 1 − 2 c φ(c) / p with c = Φ⁻¹((1 + p)/2): the integral of z² φ(z) over −c..c by parts.
/// Unlike the median absolute deviation it does not jump between zero and a whole step on rounded data.
#[must_use]
pub fn trimmed_square(values: &mut [f64], trimmed: f64) -> Option<f64> {
    let share = (1.0 - trimmed).clamp(0.1, 1.0);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "a share of a count"
    )]
    let kept = (values.len() as f64 * share).ceil() as usize;
    if kept >= values.len() {
        return mean_square(values);
    }
    let (smallest, _, _) = values.select_nth_unstable_by(kept, |a, b| a.abs().total_cmp(&b.abs()));
    mean_square(smallest).map(|mean| mean / smallest_squares(share))
}

/// Mean of the smallest share of the squares of a standard normal variable.
fn smallest_squares(share: f64) -> f64 {
    let c = std::f64::consts::SQRT_2 * statrs::function::erf::erf_inv(share);
    let density = (-c * c / 2.0).exp() / std::f64::consts::TAU.sqrt();
    1.0 - 2.0 * c * density / share
}

fn mean_square(values: &[f64]) -> Option<f64> {
    #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
    let count = values.len() as f64;
    (count > 0.0).then(|| values.iter().map(|value| value * value).sum::<f64>() / count)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_median_is_the_middle_or_the_mean_of_the_two_middles() {
        assert_eq!(median(&mut []), None);
        assert_eq!(median(&mut [3.0]), Some(3.0));
        assert_eq!(median(&mut [5.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(&mut [5.0, 1.0, 2.0, 4.0]), Some(3.0));
    }

    #[test]
    fn half_the_values_may_be_wild() {
        let mut values = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 1e9, -1e9, 1e12];
        // The median is 4; the absolute deviations in order are 0 1 1 2 2 3 and three huge ones: median 2.
        assert_eq!(deviation(&mut values), Some(2.0 * MAD_TO_SD));
    }

    #[test]
    fn the_trimmed_square_is_the_variance_of_a_normal_sample() {
        use statrs::distribution::{ContinuousCDF, Normal};
        let normal = Normal::new(0.0, 2.0).unwrap();
        // The quantiles of the distribution at even steps are a sample without chance in it.
        let mut values: Vec<f64> =
            (0..10_000).map(|index| normal.inverse_cdf((f64::from(index) + 0.5) / 10_000.0)).collect();
        for trimmed in [0.0, 0.2, 0.4] {
            let found = trimmed_square(&mut values, trimmed).unwrap();
            assert!((found - 4.0).abs() < 0.01, "{found} at {trimmed}");
        }
        values[..1500].fill(1e9);
        assert!(trimmed_square(&mut values, 0.2).unwrap() < 8.0);
    }

    #[test]
    fn the_trimmed_square_sees_rounded_data_vary() {
        let mut values: Vec<f64> = (0..100).map(|index| f64::from(u8::from(index % 2 == 0))).collect();
        assert!(trimmed_square(&mut values, 0.2).unwrap() > 0.5);
        assert_eq!(trimmed_square(&mut [], 0.2), None);
    }
}
