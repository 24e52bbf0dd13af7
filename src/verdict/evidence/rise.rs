//! How tries end: in a spike, or a rise, just before they go off.

use super::tries::given_up;
use crate::stats::moments::Moments;
use crate::stats::{extent, robust};
use crate::verdict::Attempt;
use crate::verdict::seen::Seen;

/// The readings at the very end of a try that stand well above the level before them.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Rise {
    /// The first of them, in seconds from where the try is counted from.
    after_s: f64,
    /// The highest, in amps.
    peak_a: f64,
    /// The same in times of the level before.
    times: f64,
}

/// What most tries end in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::verdict) struct Rises {
    /// When it begins, on average, in seconds from where a try is counted from.
    pub after_s: f64,
    /// How many tries end so.
    pub count: usize,
    /// The lowest and the highest of the peaks, in amps.
    pub peaks_a: (f64, f64),
    /// Whether it is a spike.
    pub is_spike: bool,
}

/// Times the level before it from which a rise is a spike.
const SPIKE: f64 = 2.0;
/// Times the level before it that a rise goes to at least: a stage that is busy goes there now and then, and not at the very
/// end of most tries (by judgement).
const RISE: f64 = 1.4;

/// What most tries end in: a spike, or else a rise of several tries.
pub(in crate::verdict) fn rises_at_the_end(seen: &Seen) -> Option<Rises> {
    /// Fewer tries show no more than a spike.
    const FEW: usize = 3;
    let all = given_up(seen).count();
    let least = if all >= FEW { RISE } else { SPIKE };
    most(seen, SPIKE).or_else(|| most(seen, least))
}

/// Whether most tries end in a spike: readings at the very end well above the level before it.
pub(in crate::verdict) fn ends_in_a_spike(seen: &Seen) -> bool {
    most(seen, SPIKE).is_some()
}

/// What most tries end in that goes to so many `times` the level before; with those that rise less, for the readings
/// average over what is brief.
fn most(seen: &Seen, times: f64) -> Option<Rises> {
    /// Times those without from which it is no chance.
    const MOST: usize = 3;
    let all = given_up(seen).count();
    let rises = given_up(seen).filter_map(|attempt| at_the_end(seen, attempt));
    let rises: Vec<Rise> = rises.filter(|rise| rise.times >= times.min(RISE)).collect();
    let shown = rises.iter().filter(|rise| rise.times >= times).count();
    let after: Moments = rises.iter().map(|rise| rise.after_s).collect();
    let peaks: Vec<f64> = rises.iter().map(|rise| rise.peak_a).collect();
    let found = Rises {
        after_s: after.mean()?,
        count: rises.len(),
        peaks_a: extent(&peaks)?,
        is_spike: times >= SPIKE,
    };
    (shown > 0 && (all - shown) * MOST <= all).then_some(found)
}

/// The rise that a try ends in. One that the try has been as high as before is none.
fn at_the_end(seen: &Seen, attempt: &Attempt) -> Option<Rise> {
    /// Share of the try, at its end, that it lies in.
    const END: f64 = 0.15;
    /// ... and no longer than this, in seconds: what lasts is a level (by judgement).
    const BRIEF_S: f64 = 0.5;
    /// Share of its peak that nothing before it comes to (by judgement).
    const BEFORE: f64 = 0.8;
    let (start, end) = (attempt.start_s.value(), attempt.end_s.value());
    let update_s = seen.readout.update_s();
    let from = end - (END * (end - start)).min(BRIEF_S).max(2.0 * update_s);
    let level = robust::median(&mut seen.amps_between(end - (end - start) / 2.0, from))?;
    let peak_a = seen.amps_between(from, end + update_s).into_iter().max_by(f64::total_cmp)?;
    let amps = seen.amps_between(start, end + update_s);
    let first = first_of(&amps, peak_a, f64::midpoint(level, peak_a))?;
    let begins_s = *seen.trace.time().get(seen.samples_between(start, end).start + first)?;
    let earlier = amps[..first].iter().copied().fold(0.0, f64::max);
    let at_the_end = begins_s + update_s >= from && earlier <= BEFORE * peak_a;
    at_the_end.then(|| Rise {
        after_s: begins_s - start,
        peak_a,
        times: peak_a / level.max(f64::MIN_POSITIVE),
    })
}

/// The first of the readings around the last `peak` that lie above `half`.
fn first_of(amps: &[f64], peak: f64, half: f64) -> Option<usize> {
    let last = amps.iter().rposition(|amps| *amps >= peak)?;
    let before = amps[..last].iter().rev().take_while(|amps| **amps > half).count();
    Some(last - before)
}
