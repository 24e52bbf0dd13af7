//! What a thermal camera shows of so many watts, in the same words wherever it is used. All common practice at repair
//! benches, with no source.

/// From this on a small part that is soldered to planes of copper gets warm within seconds: some 100 K/W make some thirty
/// kelvin, in watts (common practice, no source).
pub(super) const WARMS_W: f64 = 0.3;

/// Below this a part warms by a few kelvin, and what is near it by as much, in watts (common practice, no source).
pub(super) const HARDLY_W: f64 = 0.1;

/// From this on a part that is seen cold is another one, in watts (common practice, no source).
const AT_ONCE_W: f64 = 1.0;

/// Whether so many watts are to be looked for from close by, or with more of them.
pub(super) fn hardly_warms_w(watts: f64) -> bool {
    watts < AT_ONCE_W
}

/// `0.13 W in one part warms it little, and may show at close range`.
pub(super) fn shows(said: &str, watts: f64) -> String {
    if watts < HARDLY_W {
        format!("{said} in one part hardly warms it, and may not show even at close range")
    } else if watts < WARMS_W {
        format!("{said} in one part warms it little, and may show at close range")
    } else {
        format!("{said} in one part should show at close range")
    }
}
