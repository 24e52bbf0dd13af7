//! What is read after the presses of a board that does not wake, beside what is read at other times.

use crate::stats::extent;
use crate::units::{from_words, range};
use crate::verdict::align::Step;
use crate::verdict::attempts::RISES_S;
use crate::verdict::phases::without_zero;
use crate::verdict::presses::SHOWS_S;
use crate::verdict::seen::Seen;

/// A hand marks a press no better than this, in seconds (common practice, no source).
const EARLY_S: f64 = 0.3;

/// `; in the 2 s after it the current is 0 A, at other times (from 2.7 s on) 0 to 5 mA`: a board that does not even see its
/// button draws what it drew. Nothing where not all of that time was read.
pub(super) fn answer(seen: &Seen, last: &Step) -> String {
    let presses = &seen.analysis.run.presses;
    let since = seen.time(last.stretch.start_s.max(seen.analysis.run.start_s + RISES_S));
    let from_s = from_words(&since).unwrap_or(last.stretch.start_s);
    let whole = |press: &f64| *press >= from_s && *press + SHOWS_S <= last.stretch.end_s;
    if !presses.iter().all(whole) {
        return String::new();
    }
    if let Some([before, since_then]) = stirs(seen, from_s) {
        let [before, since_then] = [before, since_then].map(|(low, high)| from_to(seen, low, high));
        let first = if presses.len() == 1 { "it" } else { "the first press" };
        return format!(
            "; before {first} the current is {before} (from {since} on), from then on {since_then}: the board answers it"
        );
    }
    let Some([after, other]) = beside(seen, from_s) else { return String::new() };
    let [after, other] = [after, other].map(|(low, high)| from_to(seen, low, high));
    let press = if presses.len() == 1 { "it" } else { "each press" };
    if after == other {
        return format!(
            "; in the {SHOWS_S:.0} s after {press} the current is {after}, as at other times (from {since} on)"
        );
    }
    format!(
        "; in the {SHOWS_S:.0} s after {press} the current is {after}, at other times (from {since} on) {other}"
    )
}

/// Whether the board answers its button, though it does not wake.
pub(in crate::verdict) fn answers(seen: &Seen) -> bool {
    let run = &seen.analysis.run;
    stirs(seen, run.start_s + RISES_S).is_some()
}

/// The lowest and the highest reading from `from_s` to the first press, and those from then on, of a board that was quiet up to
/// it and goes well beyond that at once and again and again.
fn stirs(seen: &Seen, from_s: f64) -> Option<[(f64, f64); 2]> {
    /// Quiet for as long as this a board has no pulses of its own, in seconds: lamps and controllers blink every second or two
    /// (common practice, no source).
    const QUIET_S: f64 = 2.5;
    /// Readings beyond that are no chance.
    const LEAST_READINGS: usize = 6;
    /// How far beyond its quiet readings it goes, as a factor, and in steps of the supply (by judgement).
    const BEYOND: f64 = 1.3;
    const STEPS: f64 = 3.0;
    let run = &seen.analysis.run;
    let press_s = run.presses.first().copied().filter(|press| press - from_s >= QUIET_S)?;
    let read = |from_s: f64, to_s: f64| -> Vec<f64> {
        let amps = |i: usize| without_zero(seen.trace.amps()[i], seen.readout.zero_a);
        seen.samples_between(from_s, to_s).map(amps).collect()
    };
    // A hand marks the press a little late.
    let before = extent(&read(from_s, press_s - EARLY_S))?;
    let after = read(press_s - EARLY_S, run.end_s);
    let most_a =
        (BEYOND * before.1).max(STEPS.mul_add(seen.analysis.step_a.max(seen.readout.noise_a), before.1));
    let goes_beyond = |amps: &[f64]| amps.iter().filter(|amps| **amps > most_a).count();
    let at_once = goes_beyond(&read(press_s - EARLY_S, press_s + SHOWS_S)) > 0;
    (at_once && goes_beyond(&after) >= LEAST_READINGS).then_some([before, extent(&after)?])
}

/// `5 to 10 mA`, `0 to 15 mA`; `at most 2 mA`, where the lowest is no more than the supply can tell from nothing.
fn from_to(seen: &Seen, low: f64, high: f64) -> String {
    let [low_in_words, high_in_words] = [low, high].map(|amps| seen.amps(amps));
    match low {
        _ if low < 0.0 || low_in_words.starts_with("under") => format!("at most {high_in_words}"),
        0.0 if high > 0.0 => format!("0 to {high_in_words}"),
        _ => range(&low_in_words, &high_in_words),
    }
}

/// The lowest and the highest reading after the presses, and those of all others.
fn beside(seen: &Seen, from_s: f64) -> Option<[(f64, f64); 2]> {
    let time = |i: usize| seen.trace.time()[i];
    let follows = |i: &usize| {
        seen.analysis.run.presses.iter().any(|press| (0.0..=SHOWS_S).contains(&(time(*i) - press)))
    };
    let all = seen.samples_between(from_s, seen.analysis.run.end_s).start..seen.analysis.run.samples.end;
    let (after, other): (Vec<usize>, Vec<usize>) = all.partition(follows);
    let amps = |i: &usize| without_zero(seen.trace.amps()[*i], seen.readout.zero_a);
    let bounds = |samples: &[usize]| extent(&samples.iter().map(amps).collect::<Vec<f64>>());
    Some([bounds(&after)?, bounds(&other)?])
}
