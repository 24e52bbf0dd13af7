//! Where a start ends: a reading that averages over the last moment of it is no part of it.

use crate::stats::robust;
use crate::trace::Trace;
use crate::units::Seconds;
use crate::verdict::Attempt;
use crate::verdict::readout::Readout;

/// A start that was given up, without the renewal at its end that shows next to nothing of it: of the time that such a reading
/// averages over, nearly all was rest.
pub(super) fn without_its_tail(start: Attempt, trace: &Trace, readout: &Readout) -> Attempt {
    /// Renewals of the readings that an edge is smeared over; half of one more, for they come early or late.
    const RENEWAL: f64 = 1.5;
    let at = |time: f64| trace.time().partition_point(|t| *t < time);
    let (first, end) = (at(start.start_s.value()), at(start.end_s.value()));
    let amps = trace.amps();
    let shown = start.given_up.then(|| shown_above(amps, first..end)).flatten();
    let Some(least_a) = shown else { return start };
    let from = at(start.end_s.value() - RENEWAL * readout.update_s()).max(first + 1);
    let tail = (from..end).rev().take_while(|i| amps[*i] < least_a).last();
    let end_s = tail.and_then(|tail| Seconds::new(trace.time()[tail]).ok());
    Attempt { end_s: end_s.unwrap_or(start.end_s), ..start }
}

/// Amps above which a reading shows more of a start than of the rest after it; `None` where no rest follows it.
fn shown_above(amps: &[f64], start: std::ops::Range<usize>) -> Option<f64> {
    /// Share of the way from the rest to what the start mostly draws (by judgement).
    const SHOWS: f64 = 0.1;
    /// Readings that show the rest, beyond one that may be an average over the edge.
    const READINGS: usize = 5;
    let median = |read: Option<&[f64]>| robust::median(&mut read.unwrap_or_default().to_vec());
    let rest_a = median(amps.get(start.end..(start.end + READINGS).min(amps.len())))?;
    let drawn_a = median(amps.get(start))?;
    (drawn_a > rest_a).then_some(rest_a + SHOWS * (drawn_a - rest_a))
}
