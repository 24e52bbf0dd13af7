//! A try that is too brief for a stretch of time.

use crate::stats::robust;
use crate::verdict::seen::Seen;
use std::ops::Range;

/// The only try, where it is too brief for a stretch of time.
pub(super) struct Brief {
    /// The first reading that shows it, in seconds.
    pub(super) at_s: f64,
    /// How many do, those included that average over one of its edges.
    readings: usize,
    /// It is shorter than this, in seconds: the readings before and after show nothing of it.
    pub(super) most_s: f64,
}

impl Brief {
    pub(super) fn of(seen: &Seen) -> Option<Self> {
        /// More readings show how long a try is (by judgement).
        const FEW: usize = 2;
        let [only] = seen.attempts.as_slice() else { return None };
        let within = seen.samples_between(only.start_s.value(), only.end_s.value());
        if !only.given_up || within.is_empty() || within.len() > FEW {
            return None;
        }
        let shown = with_its_edges(seen, within);
        let time = seen.trace.time();
        let before_s = shown.start.checked_sub(1).map_or(seen.analysis.run.start_s, |before| time[before]);
        let after_s = time.get(shown.end).copied().unwrap_or(seen.analysis.run.end_s);
        Some(Self { at_s: *time.get(shown.start)?, readings: shown.len(), most_s: after_s - before_s })
    }

    /// `for under 0.2 s: one reading`.
    pub(super) fn length(&self, seen: &Seen) -> String {
        let readings =
            if self.readings == 1 { "one reading".into() } else { format!("{} readings", self.readings) };
        format!("for {}: {readings}", self.under(seen))
    }

    /// `under 0.2 s`.
    fn under(&self, seen: &Seen) -> String {
        format!("under {}", seen.time(self.most_s))
    }
}

/// The readings `within` a try and those next to them that average over its edges: they lie between its peak and the rest
/// on their side.
fn with_its_edges(seen: &Seen, within: Range<usize>) -> Range<usize> {
    /// Share of the way from the rest to the peak from which a reading is no rest (by judgement).
    const SHOWS: f64 = 0.1;
    /// Readings over which an edge is smeared, and as many more that show the rest beside it.
    const EDGE: usize = 2;
    let amps = seen.trace.amps();
    let peak_a = amps[within.clone()].iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let shows = |i: usize, rest: &Range<usize>| {
        let rest = amps.get(rest.clone()).and_then(|read| robust::median(&mut read.to_vec()));
        rest.is_some_and(|rest| amps[i] - rest > (SHOWS * (peak_a - rest)).max(2.0 * seen.readout.noise_a))
    };
    let Range { start, end } = within;
    let before = start.saturating_sub(2 * EDGE)..start.saturating_sub(EDGE);
    let after = (end + EDGE).min(amps.len())..(end + 2 * EDGE).min(amps.len());
    let first = (before.end..start).rev().take_while(|i| shows(*i, &before)).last().unwrap_or(start);
    let last = (end..after.start).take_while(|i| shows(*i, &after)).last();
    first..last.map_or(end, |last| last + 1)
}
