//! What speaks for a limit that stops the board.

use super::tries::{given_up, told_dips};
use crate::stats::extent;
use crate::trace::Mode;
use crate::units::{Volts, range};
use crate::verdict::seen::{Seen, exact};
use crate::verdict::{Attempt, Class};

/// What speaks for a limit that stops the board: how often the supply says that it limits, and what a good boot takes.
pub(super) fn starving(seen: &Seen) -> Option<String> {
    if seen.class() != Class::FeedLimited {
        return None;
    }
    let need = none_could_boot(seen).or_else(|| usually_needs_more(seen));
    let facts: Vec<String> = marked_limit(seen)
        .or_else(|| averaged(seen))
        .or_else(|| unmarked(seen))
        .into_iter()
        .chain(need)
        .collect();
    (!facts.is_empty()).then(|| facts.join("; "))
}

fn usually_needs_more(seen: &Seen) -> Option<String> {
    let (model, run) = (&seen.analysis.model, &seen.analysis.run);
    let need = model.peak_w? / run.set_v;
    let above = run.limit_a.is_none_or(|limit| need > limit);
    above.then(|| format!("a good boot usually peaks at {}", exact(need, "A")))
}

/// `good boards peak at 1.61 to 1.79 A: none could boot under this limit`, with the mean of their hungriest stage where
/// that alone is above the limit; `None` where one of them peaked below it, or the limit is not what stops the board.
pub(in crate::verdict) fn none_could_boot(seen: &Seen) -> Option<String> {
    let (run, profile) = (&seen.analysis.run, seen.profile?);
    let limit = run.limit_a.filter(|_| seen.class() == Class::FeedLimited)?;
    let hungriest = seen.analysis.model.stages.iter().max_by(|a, b| a.watts.total_cmp(&b.watts))?;
    // At the volts that were set, as pictures have it, and not at those that its readback shows of them.
    let set = seen.trace.header().set_volts.or_else(|| Volts::new(run.set_v).ok())?;
    let peaks = profile.boot_peaks(set).into_iter().map(|watts| watts / set.value());
    let factor = seen.reference_at(&hungriest.name).map_or(0.0, |(_, factor)| factor);
    let stages = profile.learned.logs.iter().flat_map(|log| &log.stages);
    let means = stages.filter(|stage| stage.phase == hungriest.name);
    let means = means.map(|stage| stage.mean_power * factor / run.set_v);
    let above = |amps: Vec<f64>| extent(&amps).filter(|(low, _)| *low > limit);
    let said = |(low, high): (f64, f64)| range(&seen.reference_amps(low), &seen.reference_amps(high));
    let peak = said(above(peaks.collect())?);
    let mean = above(means.collect()).map_or_else(String::new, |mean| {
        format!("draw {} on average in {}, and ", said(mean), hungriest.name)
    });
    Some(format!("good boards {mean}peak at {peak}: none could boot under this limit"))
}

/// A supply that says in which mode it is, and never that it limits: neither that nor the amps tell of the limit.
fn unmarked(seen: &Seen) -> Option<String> {
    let run = &seen.analysis.run;
    let limit = run.limit_a?;
    let marks = |mode: Mode| run.samples.clone().any(|i| seen.trace.mode(i) == mode);
    let reads_less = given_up(seen).all(|attempt| attempt.peak_a.value() < BELOW * limit);
    let never = marks(Mode::ConstantVoltage) && !marks(Mode::ConstantCurrent) && reads_less;
    // As the volts are told beside it.
    let steady = seen.tries().is_none_or(|tries| seen.is_steady(tries.lowest_v));
    let shown = if steady && told_dips(seen).is_empty() {
        ", and the volts show no clear dip: what a good boot needs alone speaks for it"
    } else {
        ": the dips alone show it"
    };
    never.then(|| format!("the supply never marks its limit{shown}"))
}

/// Share of the limit up to which a reading is plainly below it.
const BELOW: f64 = 0.95;

/// A board that is starved for moments is read at less than the limit: its volts show it.
fn averaged(seen: &Seen) -> Option<String> {
    let tries = seen.tries().filter(|tries| !seen.holds(tries.lowest_v))?;
    let limit = seen.analysis.run.limit_a?;
    let below = given_up(seen).filter(|attempt| attempt.peak_a.value() < BELOW * limit).count();
    match below {
        all if all == tries.count => Some(
            "the amps read are averages, and stay below the limit, but the volts fall as in the limit".into(),
        ),
        most if 2 * most > tries.count => Some(format!(
            "the amps read are averages, and stay below the limit in {most} of {} tries, but the volts fall as in the limit",
            tries.count
        )),
        _ => None,
    }
}

/// `the supply marks its limit (cc) in 3 of 8 tries`: its amps are averages and may lie below.
pub(super) fn marked_limit(seen: &Seen) -> Option<String> {
    let given_up: Vec<&Attempt> = seen.attempts.iter().filter(|attempt| attempt.given_up).collect();
    let end = |attempt: &Attempt| attempt.end_s.value() + seen.readout.update_s();
    let limits = |attempt: &&&Attempt| {
        let mut samples = seen.samples_between(attempt.start_s.value(), end(attempt));
        samples.any(|i| seen.trace.mode(i) == Mode::ConstantCurrent)
    };
    let count = given_up.iter().filter(limits).count();
    let all = given_up.len();
    let of = if all == 1 { "1 try".into() } else { format!("{all} tries") };
    (count > 0).then(|| format!("the supply marks its limit (cc) in {count} of {of}"))
}
