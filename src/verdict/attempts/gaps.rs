//! What gaps of the readings hide of the starts.

use super::{FEW, LEAST_REST_S};
use crate::stats::robust;
use crate::verdict::{Attempt, Gap};

/// Starts parted where nothing was read for as long as a rest lasts, if one of them seems to go on through it for much
/// longer than the others.
pub(super) fn parted_by_gaps(starts: Vec<Attempt>, gaps: &[Gap]) -> Vec<Attempt> {
    /// Times the usual length from which a start is more than one.
    const LONGER: f64 = 1.5;
    let lasted = |start: &Attempt| start.end_s.value() - start.start_s.value();
    let mut lengths: Vec<f64> = starts.iter().filter(|start| start.given_up).map(lasted).collect();
    let Some(usual) = robust::median(&mut lengths).filter(|_| lengths.len() >= FEW) else { return starts };
    let hides = |start: &Attempt, gap: &&Gap| {
        let (from, to) = (gap.start_s.value(), gap.end_s.value());
        let within = start.start_s.value() < from && to < start.end_s.value();
        within && to - from >= LEAST_REST_S && lasted(start) > LONGER * usual
    };
    let part = |start: Attempt| match gaps.iter().find(|gap| hides(&start, gap)) {
        Some(gap) => {
            let before = Attempt { end_s: gap.start_s, ended_in: None, given_up: true, ..start.clone() };
            vec![before, Attempt { start_s: gap.end_s, ..start }]
        }
        None => vec![start],
    };
    starts.into_iter().flat_map(part).collect()
}

/// How many starts the gaps seem to hide between each two: none but where one lies between them that is longer than a rest
/// may be, and the two are apart for several of the usual times.
pub(in crate::verdict) fn hidden_in_gaps(attempts: &[Attempt], gaps: &[Gap]) -> Vec<usize> {
    /// Part of a period that a time from start to start may be off by (by judgement).
    const OFF: f64 = 0.25;
    let apart = |pair: &[Attempt]| pair[1].start_s.value() - pair[0].start_s.value();
    let mut all: Vec<f64> = attempts.windows(2).map(apart).collect();
    let usual = robust::median(&mut all).filter(|_| attempts.len() > FEW);
    let hides = |pair: &[Attempt]| {
        let (from, to) = (pair[0].start_s.value(), pair[1].start_s.value());
        let within = |gap: &Gap| from < gap.start_s.value() && gap.end_s.value() <= to;
        gaps.iter().any(|gap| within(gap) && gap.end_s.value() - gap.start_s.value() >= LEAST_REST_S)
    };
    let hidden = |pair: &[Attempt]| {
        let periods = usual.filter(|usual| *usual > 0.0 && hides(pair)).map(|usual| apart(pair) / usual);
        let whole = periods.filter(|periods| (periods - periods.round()).abs() <= OFF);
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a small positive whole number"
        )]
        whole.map_or(0, |periods| periods.round() as usize).saturating_sub(1)
    };
    attempts.windows(2).map(hidden).collect()
}

/// Whether a gap of the readings lies between `from` and `to`, or at one of them.
pub(super) fn in_a_gap(gaps: &[Gap], from: f64, to: f64) -> bool {
    gaps.iter().any(|gap| gap.start_s.value() <= to && gap.end_s.value() >= from)
}
