//! Lowest and highest.

/// Lowest and highest of `values`, by [`f64::total_cmp`]; `None` of none. They may not be NaN.
#[must_use]
pub fn extent(values: &[f64]) -> Option<(f64, f64)> {
    // Eight independent lanes, so that the compiler can compare several values at once.
    const LANES: usize = 8;
    let first = *values.first()?;
    let (mut lows, mut highs) = ([first; LANES], [first; LANES]);
    let chunks = values.chunks_exact(LANES);
    for &value in chunks.remainder() {
        lows[0] = lows[0].min(value);
        highs[0] = highs[0].max(value);
    }
    for chunk in chunks {
        for lane in 0..LANES {
            lows[lane] = if chunk[lane] < lows[lane] { chunk[lane] } else { lows[lane] };
            highs[lane] = if chunk[lane] > highs[lane] { chunk[lane] } else { highs[lane] };
        }
    }
    let (low, high) = (lows.into_iter().fold(first, f64::min), highs.into_iter().fold(first, f64::max));
    Some((signed(low, -0.0, values), signed(high, 0.0, values)))
}

/// The extreme itself, or `preferred` of the two zeros if it is zero and `values` have that one.
fn signed(extreme: f64, preferred: f64, values: &[f64]) -> f64 {
    let has = || values.iter().any(|value| value.to_bits() == preferred.to_bits());
    match extreme {
        0.0 if has() => preferred,
        0.0 => -preferred,
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn extent_is_that_of_a_plain_loop(
            values in prop::collection::vec(prop_oneof![-1e3..1e3_f64, Just(0.0), Just(-0.0)], 0..30),
            from in -1e3..1e3_f64,
        ) {
            let values: Vec<f64> = values.into_iter().map(|value| value.max(from.min(0.0))).collect();
            let low = values.iter().copied().min_by(f64::total_cmp);
            let high = values.iter().copied().max_by(f64::total_cmp);
            let bits = |ends: Option<(f64, f64)>| ends.map(|(low, high)| (low.to_bits(), high.to_bits()));
            prop_assert_eq!(bits(extent(&values)), bits(low.zip(high)));
        }
    }
}
