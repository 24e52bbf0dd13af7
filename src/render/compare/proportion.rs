//! One number beside another, in words.

use super::super::words;
use super::seen::Seen;
use crate::units::Amps;

/// Means of one sound board's captures keep within so many per cent of the one before (common practice, no source).
const ALIKE_PERCENT: f64 = 10.0;

/// `draws 32 % less`, `draws 3.4 times as much`; of coarse readings `draws about 32 % less`.
fn in_proportion(verb: &str, before: f64, after: f64, coarse: bool) -> String {
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

/// In the amps that the row shows, so that the one follows from the other. Where the feeds differ, by power, as profiles
/// compare, and in watts: amps alone change with the volts.
pub(super) fn power(before: &Seen, after: &Seen) -> Option<String> {
    if !is_one_feed(before, after) {
        return in_watts(before, after);
    }
    let (a, b) = (before.shown_amps(), after.shown_amps());
    let step = coarsest(before, after);
    // What only the edges of a short stage make unlike is no difference of levels.
    let levels = is_unlike(before.level(), after.level());
    let differs = levels && is_unlike(a, b) && (a - b).abs() > step && !within_few(before, after);
    differs.then(|| in_proportion("draws", a, b, step > FINE * a.min(b)))
}

fn is_one_feed(before: &Seen, after: &Seen) -> bool {
    /// Up to this share volts are those of one feed: at constant power the amps differ by no more (common practice, no
    /// source).
    const SAME_FEED: f64 = 0.03;
    let volts = |seen: &Seen| seen.phase.mean_v.value();
    (volts(before) - volts(after)).abs() <= SAME_FEED * volts(before).max(volts(after))
}

/// The coarser of the steps of the readbacks, in amps.
fn coarsest(before: &Seen, after: &Seen) -> f64 {
    let step = |seen: &Seen| seen.run.resolution().map_or(0.0, Amps::value);
    step(before).max(step(after))
}

/// `draws 32 % less (3.1 W, then 2.1 W)`.
fn in_watts(before: &Seen, after: &Seen) -> Option<String> {
    let (a, b) = (before.mean_watts(), after.mean_watts());
    let step = coarsest(before, after);
    let coarse = step * after.phase.mean_v.value();
    let differs = is_unlike(a, b) && (a - b).abs() > coarse && !within_few(before, after);
    let least = before.mean().min(after.mean());
    let watts = |value: f64| words::quantity(value, "W", None);
    let said = || in_proportion("draws", a, b, step > FINE * least);
    differs.then(|| format!("{} ({}, then {})", said(), watts(a), watts(b)))
}

/// Beside a step of more than this share, a difference is known to a few in a hundred only.
const FINE: f64 = 0.01;

/// Whether two means differ by more than captures of one board do, in the whole per cent that are said of them.
fn is_unlike(before: f64, after: f64) -> bool {
    (before - after).abs() > (ALIKE_PERCENT + 0.5) / 100.0 * before.abs()
}

/// Whether one of two means is of few readings which, within a step, come as far as the other: what differs is then which
/// of the readings fell into the stage.
fn within_few(before: &Seen, after: &Seen) -> bool {
    let step = coarsest(before, after);
    let range = |seen: &Seen| seen.few_readings().unwrap_or([seen.mean(); 2].into());
    let ((low, high), (other_low, other_high)) = (range(before), range(after));
    let few = before.few_readings().or(after.few_readings()).is_some();
    few && low - other_high <= step && other_low - high <= step
}

/// `alike`; where the two differ as shown and only the steps of the readback leave that open, `alike within steps of 5 mA`.
pub(super) fn alike(before: &Seen, after: &Seen) -> String {
    let (a, b, step) = (before.shown_amps(), after.shown_amps(), coarsest(before, after));
    let (before_w, after_w) = (before.mean_watts(), after.mean_watts());
    let unlike = if is_one_feed(before, after) { is_unlike(a, b) } else { is_unlike(before_w, after_w) };
    if unlike && (a - b).abs() <= step {
        return format!("alike within steps of {}", words::amps(step, Amps::new(step).ok()));
    }
    let short = before.is_mostly_edges() || after.is_mostly_edges() || within_few(before, after);
    if unlike && short {
        return "too few readings to tell apart".into();
    }
    "alike".into()
}
