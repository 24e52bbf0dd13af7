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
}
