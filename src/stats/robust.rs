//! Location and scale that single wild values cannot move.

use std::ops::Range;

/// Makes the median absolute deviation estimate the standard deviation of a normal sample: 1 / Φ⁻¹(3/4).
///
/// Source: Rousseeuw & Croux, "Alternatives to the median absolute deviation", J. Am. Stat. Assoc. 88 (1993) 1273.
pub const MAD_TO_SD: f64 = 1.482_602_218_505_602;

/// The median of values with weights, each a pair, which it sorts; `None` of none.
#[must_use]
pub fn weighted_median(weighted: &mut [(f64, f64)]) -> Option<f64> {
    weighted.sort_by(|(one, _), (other, _)| one.total_cmp(other));
    let half = weighted.iter().map(|(_, weight)| weight).sum::<f64>() / 2.0;
    let sums = weighted.iter().scan(0.0, |sum, (value, weight)| {
        *sum += weight;
        Some((*sum, *value))
    });
    sums.into_iter().find(|(sum, _)| *sum >= half).map(|(_, value)| value)
}

/// The median of `values`, reordering them; `None` if there are none.
///
/// With an even count it is the mean of the two middle values. Linear time on average.
#[must_use]
pub fn median(values: &mut [f64]) -> Option<f64> {
    middle(values).map(Middle::median)
}

/// What lies in the middle of a row in order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Middle {
    /// The middle value, of an even count the upper of the two.
    upper: f64,
    /// The lower of the two.
    lower: Option<f64>,
}

impl Middle {
    /// The median: of an even count, the mean of the two middle values.
    #[must_use]
    pub fn median(self) -> f64 {
        self.lower.map_or(self.upper, |lower| lower + (self.upper - lower) / 2.0)
    }

    /// The middle of the same row with every value on another scale that rises with this one.
    #[must_use]
    pub fn on(self, scale: impl Fn(f64) -> f64) -> Self {
        Self { upper: scale(self.upper), lower: self.lower.map(scale) }
    }
}

/// The middle of `values`, reordering them; `None` if there are none. Linear time on average.
fn middle(values: &mut [f64]) -> Option<Middle> {
    let at = values.len() / 2;
    if values.is_empty() {
        return None;
    }
    let upper = *values.select_nth_unstable_by(at, f64::total_cmp).1;
    let is_even = values.len().is_multiple_of(2);
    let lower = if is_even { values[..at].iter().copied().max_by(f64::total_cmp) } else { None };
    Some(Middle { upper, lower })
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
    let (kept, share) = kept(values.len(), trimmed);
    if kept >= values.len() {
        return mean_square(values);
    }
    let (smallest, _, _) = values.select_nth_unstable_by(kept, |a, b| a.abs().total_cmp(&b.abs()));
    mean_square(smallest).map(|mean| mean / smallest_squares(share))
}

/// Parts of a long row that [`parts`] gives.
pub const PARTS: usize = 256;

/// Indices in each.
pub const LENGTH: usize = 1024;

/// The indices of a row from whose neighbours something is to be taken: all, or of a long row short parts spread evenly
/// over the whole of it, with 262144 indices in all.
pub fn parts(count: usize) -> impl Iterator<Item = Range<usize>> {
    let (parts, length) = if count > PARTS * LENGTH { (PARTS, LENGTH) } else { (1, count) };
    (0..parts).map(move |part| {
        let start = part * (count - length) / (parts - 1).max(1);
        start..start + length
    })
}

/// How many of `count` values stay, and what share that is, when a share of them is trimmed.
fn kept(count: usize, trimmed: f64) -> (usize, f64) {
    let share = (1.0 - trimmed).clamp(0.1, 1.0);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "a share of a count"
    )]
    let kept = (count as f64 * share).ceil() as usize;
    (kept, share)
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

/// Of longer rows, so many values stand for all: the median of a normal sample of that size is known to 0.4 % of a
/// standard deviation (1.2533 σ/√n; Kendall & Stuart, "The Advanced Theory of Statistics" vol. 1, 14.5).
const ENOUGH: usize = 1 << 17;
/// 1/φ, the golden ratio less one.
const GOLDEN: f64 = 0.618_033_988_749_894_8;

/// The median of `value(0)`, … `value(count - 1)`, of a long row by [`enough`]; `None` if there are none.
#[must_use]
pub fn median_at(count: usize, value: impl Fn(usize) -> f64) -> Option<f64> {
    middle_at(count, value).map(Middle::median)
}

/// The middle of the same row; `None` if there are no values.
#[must_use]
pub fn middle_at(count: usize, value: impl Fn(usize) -> f64) -> Option<Middle> {
    middle(&mut enough(count, value))
}

/// [`deviation`] of `value(0)`, … `value(count - 1)`, of a long row by [`enough`]; `None` if there are none.
#[must_use]
pub fn deviation_at(count: usize, value: impl Fn(usize) -> f64) -> Option<f64> {
    deviation(&mut enough(count, value))
}

/// [`trimmed_square`] of `value(0)`, … `value(count - 1)`, of a long row by [`enough`]; `None` if there are none.
#[must_use]
pub fn trimmed_square_at(count: usize, trimmed: f64, value: impl Fn(usize) -> f64) -> Option<f64> {
    trimmed_square(&mut enough(count, value), trimmed)
}

/// All of `value(0)`, … `value(count - 1)`, or 131072 of them, by [`some`].
#[must_use]
pub fn enough(count: usize, value: impl Fn(usize) -> f64) -> Vec<f64> {
    some(ENOUGH, count, value)
}

/// All of `value(0)`, … `value(count - 1)`, or `most` of them, spread over the whole row.
///
/// One is taken from each of as many stretches of one length, at places that follow the golden ratio, so that nothing
/// that repeats is met at the same point every time.
#[must_use]
pub fn some(most: usize, count: usize, value: impl Fn(usize) -> f64) -> Vec<f64> {
    if count <= most {
        return (0..count).map(value).collect();
    }
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "an index below the count"
    )]
    let place = |stretch: usize| {
        let position = stretch as f64 * GOLDEN;
        // What follows the point: the cast is a single instruction everywhere, and `fract` a call on older processors.
        let within = position - f64::from(position as u32);
        ((stretch as f64 + within) / most as f64 * count as f64) as usize
    };
    (0..most).map(|stretch| value(place(stretch).min(count - 1))).collect()
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

    #[test]
    fn parts_are_the_whole_of_a_short_row_and_reach_both_ends_of_a_long_one() {
        assert_eq!((parts(1000).count(), parts(1000).next()), (1, Some(0..1000)));
        let long: Vec<_> = parts(10_000_000).collect();
        assert_eq!((long.len(), long[0].start, long[255].end), (256, 0, 10_000_000));
        assert!(long.windows(2).all(|pair| pair[0].end <= pair[1].start));
    }

    #[test]
    fn enough_is_everything_of_a_short_row_and_like_everything_of_a_long_one() {
        let normal = statrs::distribution::Normal::new(3.0, 2.0).unwrap();
        // Levels that repeat after 64 values: a sample in equal steps would meet one of them only.
        let value = |index: usize| {
            use statrs::distribution::ContinuousCDF;
            normal.inverse_cdf((f64::from(u8::try_from(index % 64).unwrap()) + 0.5) / 64.0)
        };
        for count in [0, 1, 2, 1001, ENOUGH] {
            let mut all: Vec<f64> = (0..count).map(value).collect();
            assert_eq!(enough(count, value), all);
            assert_eq!(median_at(count, value), median(&mut all));
        }
        let count = 64 * ENOUGH;
        assert_eq!(enough(count, value).len(), ENOUGH);
        let few = some(1 << 10, count, value);
        let scale = few.iter().copied().collect::<crate::stats::moments::Moments>().deviation().unwrap();
        assert!(few.len() == 1 << 10 && (scale / 2.0 - 1.0).abs() < 0.05, "{scale}");
        let mut block: Vec<f64> = (0..64).map(value).collect();
        let (centre, scale) = (median(&mut block.clone()).unwrap(), deviation(&mut block).unwrap());
        // Neighbouring levels lie up to 0.15 apart where medians fall.
        assert!((median_at(count, value).unwrap() - centre).abs() < 0.15);
        assert!((deviation_at(count, value).unwrap() - scale).abs() < 0.3);
    }
}
