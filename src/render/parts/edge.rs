//! Where the trace falls: the edge, the reading from which it does, and the gap in which it may lie.

use super::Subject;
use crate::stats::robust::median;

/// The first reading after the edge at which the amps fall at about `at`: where a phase ends is known to a reading or
/// so, and the line belongs to the edge and not to the peak before it.
pub(super) fn edge(subject: &Subject, at: f64) -> Option<usize> {
    /// Readings on either side that tell the level there.
    const NEAR: usize = 3;
    /// Below the level before by this share of the fall: an averaged reading may lie anywhere between.
    const CLEARLY: f64 = 0.3;
    /// It is no edge where at least this share is left (common practice, no source).
    const FALLS: f64 = 0.7;
    let amps = subject.trace.amps();
    let about = subject.trace.time().partition_point(|time| *time < at);
    let before = amps.get(about.saturating_sub(NEAR)..=about)?.iter().copied().fold(0.0, f64::max);
    let near = about.saturating_sub(1)..(about + NEAR + 1).min(amps.len());
    let after = amps[near.clone()].iter().copied().fold(f64::INFINITY, f64::min);
    let falls = after <= FALLS * before;
    let fallen = |index: &usize| falls && *index > 0 && amps[*index] <= before - CLEARLY * (before - after);
    near.into_iter().find(fallen)
}

/// The last reading before the gap in which a fall lies that shows at the reading after it; `None` without a gap there.
pub(super) fn before_gap(subject: &Subject, edge: usize) -> Option<f64> {
    let time = subject.trace.time();
    let (before, after) = (*time.get(edge.checked_sub(1)?)?, *time.get(edge)?);
    let lies_there =
        subject.finding.log.gaps.iter().any(|gap| gap.start_s.value() < after && gap.end_s.value() > before);
    lies_there.then_some(before)
}

/// The reading from which a try that began at `start` falls at `edge`: the last before the fall, or the peak where a spike
/// is the last thing that the try does. With a word where it is that.
pub(super) fn top(subject: &Subject, start: f64, edge: usize) -> (usize, &'static str) {
    /// Renewals of the readings that are the very end of a try: a spike, and a reading that the fall crosses.
    const VERY_END: f64 = 2.5;
    /// Renewals of the readings that tell the level before the fall.
    const LEVEL: f64 = 5.0;
    /// Less above the usual reading of the try, it is no spike (common practice, no source).
    const STANDS_OUT: f64 = 1.2;
    /// Below this share of the level before, a reading lies over the fall and is no level (common practice, no source).
    const STANDS: f64 = 0.85;
    let (time, drawn) = (subject.trace.time(), subject.trace.amps());
    let first = time.partition_point(|t| *t < start).min(edge - 1);
    let within = |renewals: f64| {
        let from = time[edge] - (renewals + 0.5) * renewal(subject, edge);
        time.partition_point(|t| *t < from).clamp(first, edge - 1)
    };
    let usual = |from: usize| median(&mut drawn[from..edge].to_vec()).unwrap_or(0.0);
    let peak = (first..=edge).max_by(|a, b| drawn[*a].total_cmp(&drawn[*b])).unwrap_or(edge - 1);
    if peak >= within(VERY_END) && drawn[peak] > STANDS_OUT * usual(first) {
        return (peak, "its peak ");
    }
    let late = within(LEVEL);
    let stands = |index: &usize| drawn[*index] >= STANDS * usual(late);
    ((late..edge).rev().find(stands).unwrap_or(edge - 1), "")
}

/// From one renewal of the readings to the next, in seconds; from the reading before `edge` to it, where nothing says so.
fn renewal(subject: &Subject, edge: usize) -> f64 {
    let time = subject.trace.time();
    let polled = time[edge] - time[edge - 1];
    subject.finding.log.update_s().map_or(polled, |update| update.max(f64::MIN_POSITIVE))
}
