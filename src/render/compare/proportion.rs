//! One number beside another, in words.

/// `draws 32 % less`, `draws 3.4 times as much`; of coarse readings `draws about 32 % less`.
pub(super) fn in_proportion(verb: &str, before: f64, after: f64, coarse: bool) -> String {
    const TIMES_FROM: f64 = 2.0;
    if before <= 0.0 || after <= 0.0 {
        return format!("{verb} {}", if after > before { "more" } else { "less" });
    }
    let ratio = after / before;
    if ratio >= TIMES_FROM {
        return format!("{verb} {} times as much", crate::units::figures(ratio, 2));
    }
    let word = if ratio > 1.0 { "more" } else { "less" };
    let by = (ratio - 1.0).abs() * 100.0;
    if coarse {
        return format!("{verb} about {by:.0} % {word}");
    }
    format!("{verb} {by:.0} % {word}")
}
