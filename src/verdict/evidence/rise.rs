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
    /// The level of the second half before, in amps.
    level_a: f64,
    /// The level that it rises from: that of the readings just before, in amps.
    from_a: f64,
    /// The highest reading of the try before them, in amps.
    earlier_a: f64,
    /// How many standard deviations of the readings before it stands above their level.
    sds: f64,
    /// The chance that the highest of the readings is one of the last, of a try whose second half does the same throughout.
    by_chance: f64,
}

impl Rise {
    /// The highest reading in times of the level before.
    fn times(&self) -> f64 {
        self.peak_a / self.level_a.max(f64::MIN_POSITIVE)
    }

    /// Whether nothing in the try came near it before.
    fn stands_alone(&self) -> bool {
        /// Share of its peak that nothing before it comes to (by judgement).
        const BEFORE: f64 = 0.8;
        self.earlier_a <= BEFORE * self.peak_a
    }

    /// Whether it is the highest of its try, and clear of what the readings before it scatter by.
    fn is_clear(&self) -> bool {
        /// Standard deviations that a steady load, and a ramp beside its own middle, stay within (by judgement).
        const SDS: f64 = 3.0;
        /// Times the level before: nobody looks for less (by judgement).
        const LEAST: f64 = 1.1;
        self.earlier_a < self.peak_a && self.sds >= SDS && self.times() >= LEAST
    }
}

/// What most tries end in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::verdict) struct Rises {
    /// When it begins, on average, in seconds from where a try is counted from.
    pub after_s: f64,
    /// How many tries end so.
    pub count: usize,
    /// The lowest and the highest of the levels before them, in amps.
    pub levels_a: (f64, f64),
    /// ... and of what they go up to.
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
    /// A single try shows no more than a spike.
    const FEW: usize = 2;
    let all = given_up(seen).count();
    let least = if all >= FEW { RISE } else { SPIKE };
    most(seen, SPIKE)
        .or_else(|| most(seen, least))
        .or_else(|| little_each_time(seen))
        .or_else(|| more_often_than_not(seen))
}

/// Whether most tries end in a spike: readings at the very end well above the level before it.
pub(in crate::verdict) fn ends_in_a_spike(seen: &Seen) -> bool {
    most(seen, SPIKE).is_some()
}

/// Whether every try ends in several readings on the limit: what is flat is no spike.
pub(super) fn sits_on_the_limit(seen: &Seen) -> bool {
    /// More than a spike is read as (by judgement).
    const SEVERAL: usize = 3;
    /// Readings at the end that average over the fall.
    const FALL: usize = 1;
    let run = &seen.analysis.run;
    given_up(seen).all(|attempt| {
        let read = seen.amps_between(attempt.start_s.value(), attempt.end_s.value());
        let last = read.iter().rev().skip_while(|amps| !run.nears_limit(**amps));
        let skipped = read.len() - last.clone().count();
        skipped <= FALL && last.take_while(|amps| run.nears_limit(**amps)).count() >= SEVERAL
    })
}

/// Whether two readings and more of a single try come after its highest: one may average over its end.
pub(super) fn peak_is_followed(seen: &Seen) -> bool {
    let Some(start) = given_up(seen).next() else { return false };
    let read = seen.amps_between(start.start_s.value(), start.end_s.value());
    let highest = (0..read.len()).rev().max_by(|a, b| read[*a].total_cmp(&read[*b]));
    highest.is_some_and(|highest| read.len() - highest > 2)
}

/// What most tries end in that goes to so many `times` the level before; with those that rise less, for the readings
/// average over what is brief. What is no spike counts wherever it is clear.
fn most(seen: &Seen, times: f64) -> Option<Rises> {
    let is_one = |rise: &Rise| rise.stands_alone() && rise.times() >= times;
    let like = |rise: &Rise| rise.stands_alone() && rise.times() >= times.min(RISE);
    let counts = |rise: &Rise| like(rise) || (times < SPIKE && rise.is_clear());
    let ends = given_up(seen).filter_map(|attempt| {
        let brief = at_the_end(seen, attempt, END);
        brief.filter(is_one).or_else(|| long_spike(seen, attempt)).or(brief)
    });
    let rises: Vec<Rise> = ends.filter(counts).collect();
    let shown = rises.iter().filter(|rise| is_one(rise)).count();
    taken_together(&rises, times >= SPIKE).filter(|_| shown > 0 && are_most(shown, given_up(seen).count()))
}

/// A rise that stands alone at the end of many tries, if not of nearly all: a load step that some readings miss.
fn more_often_than_not(seen: &Seen) -> Option<Rises> {
    /// Fewer may be a busy stage by chance (by judgement).
    const MANY: usize = 5;
    let ends = given_up(seen).filter_map(|attempt| at_the_end(seen, attempt, END));
    let rises: Vec<Rise> = ends.filter(|rise| rise.stands_alone() && rise.is_clear()).collect();
    let many = rises.len() >= MANY && 2 * rises.len() > given_up(seen).count();
    taken_together(&rises, false).filter(|_| many)
}

/// A rise that each single try would leave open, for the readings average over what is brief: the highest reading of nearly
/// every try is one of its last.
fn little_each_time(seen: &Seen) -> Option<Rises> {
    let all: Vec<Rise> = given_up(seen).filter_map(|attempt| at_the_end(seen, attempt, END)).collect();
    let clear: Vec<Rise> = all.iter().filter(|rise| rise.is_clear()).copied().collect();
    let by_chance: Moments = all.iter().map(|rise| rise.by_chance).collect();
    let no_chance = are_no_chance(clear.len(), all.len(), by_chance.mean()?);
    taken_together(&clear, false).filter(|rises| no_chance && are_most(rises.count, given_up(seen).count()))
}

/// Whether so many of `all` tries are no chance, where each would be one with `by_chance`: a sign test (W. J. Dixon, A. M. Mood,
/// "The statistical sign test", J. Am. Stat. Assoc. 41 (1946) 557), with the bound of W. Hoeffding, "Probability inequalities
/// for sums of bounded random variables", J. Am. Stat. Assoc. 58 (1963) 13, theorem 1.
fn are_no_chance(shown: usize, all: usize, by_chance: f64) -> bool {
    /// Boards of which it would be said by chance (by judgement).
    const ONE_IN: f64 = 1000.0;
    #[expect(clippy::cast_precision_loss, reason = "counts of tries")]
    let (shown, all) = (shown as f64, all as f64);
    let part = |count: f64, chance: f64| {
        if count > 0.0 { count * (count / (all * chance.max(f64::MIN_POSITIVE))).ln() } else { 0.0 }
    };
    let nats = part(shown, by_chance) + part(all - shown, 1.0 - by_chance);
    shown > all * by_chance && nats >= ONE_IN.ln()
}

/// Whether so many of `all` tries are most of them.
fn are_most(shown: usize, all: usize) -> bool {
    /// Times those without from which it is no chance.
    const MOST: usize = 3;
    (all - shown) * MOST <= all
}

/// The rises but those that go no higher than what another try reads before its end.
fn taken_together(rises: &[Rise], is_spike: bool) -> Option<Rises> {
    let middle_a = rises.iter().map(|rise| rise.earlier_a).fold(0.0, f64::max);
    let is_higher = |rise: &&Rise| rise.stands_alone() || rise.peak_a > middle_a;
    let rises: Vec<Rise> = rises.iter().filter(is_higher).copied().collect();
    let after: Moments = rises.iter().map(|rise| rise.after_s).collect();
    let bounds = |amps: fn(&Rise) -> f64| extent(&rises.iter().map(amps).collect::<Vec<f64>>());
    Some(Rises {
        after_s: after.mean()?,
        count: rises.len(),
        levels_a: bounds(|rise| rise.from_a)?,
        peaks_a: bounds(|rise| rise.peak_a)?,
        is_spike,
    })
}

/// Share of a try, at its end, that a rise lies in.
const END: f64 = 0.15;

/// A spike that is a larger part of its try than a rise may be, for it goes beyond what any good board reads up to the stage
/// after the one that it would be in by then: it is none of the board's own steps.
fn long_spike(seen: &Seen, attempt: &Attempt) -> Option<Rise> {
    /// Share of the try that it may be (by judgement).
    const LONG: f64 = 0.4;
    let lasted_s = attempt.end_s.value() - attempt.start_s.value();
    let usual = seen.usual_stage(lasted_s)?;
    let stages = 0..seen.analysis.model.stages.len().min(usual + 2);
    let most_a = stages.filter_map(|stage| seen.highest_of(stage)).max_by(f64::total_cmp)?;
    let rise = at_the_end(seen, attempt, LONG)?;
    (rise.peak_a > most_a && rise.times() >= SPIKE && rise.stands_alone()).then_some(rise)
}

/// The rise that a try ends in: its highest reading, if that is one of the last, in the `share` of it at its end.
fn at_the_end(seen: &Seen, attempt: &Attempt, share: f64) -> Option<Rise> {
    /// ... and no longer than this, in seconds: what lasts is a level (by judgement).
    const BRIEF_S: f64 = 0.5;
    /// ... and no less than two readings, in renewals: what is brief is split by the averaging, and readings do not come
    /// evenly.
    const LEAST: f64 = 2.25;
    let (start, end) = (attempt.start_s.value(), goes_off_s(seen, attempt));
    let (half, update_s) = (f64::midpoint(start, end), seen.readout.update_s());
    let from = end - (share * (end - start)).min(BRIEF_S).max(LEAST * update_s);
    let peak_a = seen.amps_between(from, end + update_s).into_iter().max_by(f64::total_cmp)?;
    let mut before = seen.amps_between(half, from);
    let level_a =
        robust::median(&mut before).or_else(|| level_of_a_brief_one(seen, (start, from), peak_a))?;
    let amps = seen.amps_between(start, end + update_s);
    let first = first_of(&amps, peak_a, f64::midpoint(level_a, peak_a))?;
    let begins_s = *seen.trace.time().get(seen.samples_between(start, end).start + first)?;
    (begins_s + update_s >= from).then(|| Rise {
        after_s: begins_s - start,
        peak_a: amps[first..].iter().copied().fold(peak_a, f64::max),
        level_a,
        from_a: just_before(&amps[..first]).unwrap_or(level_a),
        earlier_a: amps[..first].iter().copied().fold(0.0, f64::max),
        sds: scatter(seen, &mut before).map_or(0.0, |scatter| (peak_a - level_a) / scatter),
        by_chance: ((end - from) / (end - half)).min(1.0),
    })
}

/// The level of the last readings of a try that do not rise yet; `None` of too few.
fn just_before(amps: &[f64]) -> Option<f64> {
    /// Readings that tell a level whichever of them is an average over an edge.
    const READINGS: usize = 5;
    robust::median(&mut amps.get(amps.len().checked_sub(READINGS)?..)?.to_vec())
}

/// When a try goes off: the readings at its end that average over the fall, at less than half of what it draws, are no part
/// of it.
fn goes_off_s(seen: &Seen, attempt: &Attempt) -> f64 {
    let (start_s, end_s) = (attempt.start_s.value(), attempt.end_s.value());
    let drawn = seen.amps_between(start_s, end_s);
    let last = robust::median(&mut drawn.clone())
        .and_then(|level| drawn.iter().rposition(|amps| *amps >= level / 2.0))
        .and_then(|last| seen.trace.time().get(seen.samples_between(start_s, end_s).start + last + 1));
    last.map_or(end_s, |off_s| off_s.min(end_s))
}

/// What the readings `before` a rise scatter by; `None` of too few.
fn scatter(seen: &Seen, before: &mut [f64]) -> Option<f64> {
    /// Fewer show no scatter.
    const READINGS: usize = 4;
    let scatter = (before.len() >= READINGS).then(|| robust::deviation(before))??;
    Some(scatter.max(seen.readout.noise_a).max(f64::MIN_POSITIVE))
}

/// The level of a try whose second half is all end: that of its first readings, if it ends in more than any good board draws
/// in the stage that it would be in by then.
fn level_of_a_brief_one(seen: &Seen, (start, from): (f64, f64), peak_a: f64) -> Option<f64> {
    /// A single one may be an average over the start.
    const READINGS: usize = 2;
    let most_a = seen.highest_of(seen.usual_stage(from - start)?)?;
    let mut first = seen.amps_between(start, from);
    (first.len() >= READINGS && peak_a > most_a).then(|| robust::median(&mut first))?
}

/// The first of the readings around the last `peak` that lie above `half`.
fn first_of(amps: &[f64], peak: f64, half: f64) -> Option<usize> {
    let last = amps.iter().rposition(|amps| *amps >= peak)?;
    let before = amps[..last].iter().rev().take_while(|amps| **amps > half).count();
    Some(last - before)
}

#[cfg(test)]
mod tests {
    use super::{Rise, are_no_chance, taken_together};

    /// The exact chances are those of a fair coin: 2^-9 and 2^-10, 154 of 2^17, 211 of 2^20.
    #[test]
    fn tries_are_no_chance_where_a_coin_would_do_so_less_than_once_in_a_thousand() {
        assert!(!are_no_chance(9, 9, 0.5) && are_no_chance(10, 10, 0.5));
        assert!(!are_no_chance(15, 17, 0.5) && are_no_chance(18, 20, 0.5));
        // Nor is what is seldom among many.
        assert!(!are_no_chance(0, 20, 0.5) && !are_no_chance(20, 20, 1.0));
    }

    #[test]
    fn a_rise_is_from_the_level_just_before_it_whatever_the_try_did_earlier() {
        let amps = [0.033, 0.033, 0.033, 0.0376, 0.0475, 0.0476, 0.0473, 0.0469, 0.0471];
        assert!(super::just_before(&amps).is_some_and(|level| (level - 0.0473).abs() < 1e-9));
        assert!(super::just_before(&amps[..4]).is_none(), "too few");
    }

    #[test]
    fn what_another_try_reads_in_the_middle_is_no_rise() {
        let rise = |earlier_a: f64, peak_a: f64| Rise {
            after_s: 1.0,
            peak_a,
            level_a: 0.33,
            from_a: 0.33,
            earlier_a,
            sds: 5.0,
            by_chance: 0.2,
        };
        let of = |rises: &[Rise]| taken_together(rises, false).expect("some").count;
        assert_eq!(of(&[rise(0.38, 0.70), rise(0.35, 0.376), rise(0.35, 0.62)]), 2);
        assert_eq!(of(&[rise(0.36, 0.70), rise(0.35, 0.376), rise(0.35, 0.62)]), 3);
        assert_eq!(of(&[rise(0.60, 0.70), rise(0.40, 0.55)]), 2, "one that stands alone");
    }
}
