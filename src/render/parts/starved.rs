//! Where the supply starved the board.

use super::super::words;
use super::Subject;
use super::attempts::span;
use super::gives_up::{elsewhere, ends_there, given_up, gives_up, which};
use super::need;
use super::notes::Note;
use super::readings::AT_LIMIT;
use super::turning::{
    LEAST_SAG, OFF, at_reading, deepest as deepest_of, drawn as drawn_at, in_stage, volts_read,
};
use crate::stats::extent;
use crate::trace::Mode;
use crate::units::{Amps, Volts};
use crate::verdict::{Attempt, Class, Phase, RISES_S, visible_below};
use std::ops::Range;

/// Where the feed gives way, with the reason before all that was read there.
pub(super) fn gives_way(subject: &Subject) -> Option<Note> {
    let mut note = read_there(subject)?;
    if let Some(need) = need::in_words(subject) {
        note.lines.insert(note.lines.len().min(1), need);
    }
    Some(note)
}

/// Where the volts first went down, with what was read there and how far they go at most; where no reading shows what
/// pulled them down, the first try that ends in a dip.
fn read_there(subject: &Subject) -> Option<Note> {
    let (volts, amps) = (subject.trace.volts(), subject.trace.amps());
    let deepest = deepest_of(subject, fed_samples(subject)?)?;
    let usual = subject.feed_volts()?.value();
    let dips = |volts: f64| volts <= usual * (1.0 - LEAST_SAG);
    // Where the readback misses the dips, that it gives up is all there is to be seen.
    if !dips(volts[deepest]) {
        return gives_up(subject);
    }
    let before = |index: usize| before(amps, index);
    let limit = subject.finding.log.limit_a;
    let unlimited = |index: usize| limit.filter(|limit| amps[before(index)] < AT_LIMIT * limit.value());
    if let Some(limit) = unlimited(deepest) {
        return unread(subject, limit, deepest, dips);
    }
    let first = first_of(subject, |index| dips(volts[index]));
    let shown = first.map_or(deepest, |(_, index)| index);
    let first = first.map(|(attempt, _)| attempt);
    let unlimited = unlimited(shown);
    let point = if unlimited.is_some() { told_of(amps, shown) } else { before(shown) };
    let drawn = drawn_at(subject, point)?;
    let down = volts_read(subject, volts[shown])?;
    let body = match (unlimited, limit) {
        (Some(_), _) => format!("down to {down}, {drawn} read {}", then(shown, point)),
        (None, Some(limit)) => format!("{drawn} pull it down to {down}, limit {limit}"),
        (None, None) => format!("{drawn} pull it down to {down}"),
    };
    let head = head(subject, first, dips);
    let mut note = at_reading(subject, shown, point, head, body);
    // The deepest shows it.
    note.lines.extend(unlimited.map(|limit| uncaught_here(subject, limit, shown)));
    let far_lower = deepest > shown && volts[deepest] < volts[shown] - LEAST_SAG * usual;
    let further = volts_read(subject, volts[deepest]).filter(|_| far_lower);
    note.lines.extend(further.map(|further| format!("later down to {further}")));
    note.lines.extend(first.and_then(|first| elsewhere(subject, first)));
    Some(note)
}

/// `the feed gives way in firmware`, with which try that is where it is not the first, and that none before it shows a dip:
/// it would seem to be picked at random.
fn head(subject: &Subject, shown: Option<&Attempt>, dips: impl Fn(f64) -> bool) -> String {
    let which = shown.and_then(|shown| which(subject, shown)).unwrap_or_default();
    let first = dipping(subject, dips).first().copied();
    let is_first = first.zip(shown).is_some_and(|(first, shown)| std::ptr::eq(first, shown));
    let which = if is_first { which.replace("(try", "(first seen in try") } else { which };
    format!("the feed gives way{}{which}", in_stage(subject).unwrap_or_default())
}

/// What was over before the supply read it, in words that need no knowledge of how it reads. A supply that marks its limit
/// at `index`, or a reading from it, leaves no doubt that it was met.
fn uncaught(subject: &Subject, limit: Amps, index: usize) -> String {
    if is_marked(subject, index) {
        return format!("limit {limit} met (the log has cc there), too briefly for its amps");
    }
    let marked =
        given_up(subject).filter(|attempt| late(subject, span(attempt)).any(|i| is_marked(subject, i)));
    match marked.count() {
        0 => format!("limit {limit} likely met, too briefly for the meter"),
        count => {
            format!("limit {limit} met (the log has cc in {count} of {} tries)", given_up(subject).count())
        }
    }
}

/// The same where another try shows it.
fn uncaught_here(subject: &Subject, limit: Amps, index: usize) -> String {
    if is_marked(subject, index) {
        return format!("limit {limit} met in this try (the log has cc there), too briefly to be read");
    }
    format!("limit {limit} likely met in this try, too briefly to be read")
}

/// Whether the supply says of a reading beside `index` that it is in its limit.
fn is_marked(subject: &Subject, index: usize) -> bool {
    let beside = index.saturating_sub(1)..=(index + 1).min(subject.trace.len() - 1);
    beside.into_iter().any(|index| subject.trace.mode(index) == Mode::ConstantCurrent)
}

/// Whether a try other than the `shown` one was read at the limit.
fn is_caught(subject: &Subject, limit: Amps, shown: Option<&Attempt>) -> bool {
    let is_other = |attempt: &&Attempt| !shown.is_some_and(|shown| std::ptr::eq(*attempt, shown));
    given_up(subject).filter(is_other).any(|attempt| attempt.peak_a.value() >= AT_LIMIT * limit.value())
}

/// The reading whose amps are told of a dip that is read at `index`: its own, unless the board had let go by then.
fn told_of(amps: &[f64], index: usize) -> usize {
    /// Share of what was drawn before below which it had (common practice, no source).
    const LET_GO: f64 = 0.5;
    let before = before(amps, index);
    if amps[index] < LET_GO * amps[before] { before } else { index }
}

/// When the reading `told` was, seen from the dip: two readings are not to be taken for one.
const fn then(dip: usize, told: usize) -> &'static str {
    if told < dip { "just before" } else { "then" }
}

/// Of the tries in which the volts dip, at the reading that `dips` tells, the first, with its deepest reading; of those that
/// ended in the stage which the head names, where there are any. How deep a readback shows a dip is chance, and a dip before
/// the mark would be taken for none.
fn first_of<'a>(subject: &Subject<'a>, dips: impl Fn(usize) -> bool) -> Option<(&'a Attempt, usize)> {
    let dip = |attempt: &'a Attempt| {
        let index = last_deepest(subject, late(subject, span(attempt))).filter(|index| dips(*index))?;
        Some((attempt, index))
    };
    let mut found: Vec<(&Attempt, usize)> = given_up(subject).filter_map(dip).collect();
    if found.iter().any(|(attempt, _)| ends_there(subject, attempt)) {
        found.retain(|(attempt, _)| ends_there(subject, attempt));
    }
    found.into_iter().next()
}

/// The last reading of the lowest volts among `readings`: of two dips that are alike a try ends at the later.
fn last_deepest(subject: &Subject, readings: Range<usize>) -> Option<usize> {
    let volts = subject.trace.volts();
    let lowest = volts[deepest_of(subject, readings.clone())?];
    readings.rev().find(|index| volts.get(*index).is_some_and(|volts| *volts <= lowest))
}

/// The readings of the later half of a try, and of the edge at its end, which is known to a reading or so; how the feed rose
/// to the first of them is no dip.
fn late(subject: &Subject, (start, end): (f64, f64)) -> Range<usize> {
    let times = subject.trace.time();
    let index = |t: f64| times.partition_point(|time| *time < t);
    index(f64::midpoint(start, end))..(index(end) + 2).min(times.len())
}

/// Of volts that go down although less than the limit is read: what pulls them down is over before the supply reads it.
fn unread(subject: &Subject, limit: Amps, deepest: usize, dips: impl Fn(f64) -> bool + Copy) -> Option<Note> {
    let volts = subject.trace.volts();
    let found = dipping(subject, dips);
    // Where no reading shows which try it was, it was about the deepest.
    let first =
        first_of(subject, |index| found.iter().any(|attempt| late(subject, span(attempt)).contains(&index)));
    let at = first.map_or(deepest, |(_, index)| index);
    let first = first.map(|(attempt, _)| attempt);
    let body = dips_in_words(subject, &found, volts[deepest])?;
    let head = head(subject, first, dips);
    // Where in the boot comes first: it is what is asked of a picture. That the limit was met follows from the volts and
    // was not read, so it is no head.
    // The dot stands at the dip, at what was read then: the most of the try may have been read long before.
    let point = told_of(subject.trace.amps(), at);
    let mut note = at_reading(subject, at, point, head, body);
    let read = read_in_words(subject, point, then(at, point))?;
    let caught = is_caught(subject, limit, first);
    let uncaught = if caught { uncaught_here } else { uncaught }(subject, limit, at);
    note.lines.extend([uncaught, read]);
    note.lines.extend(first.and_then(|first| elsewhere(subject, first)));
    Some(note)
}

/// The reading that tells what pulled the volts down which are read at `index`: over the edge at which the board gives up
/// less is read than was drawn, and the one before it tells that.
fn before(amps: &[f64], index: usize) -> usize {
    /// An edge takes no more readings than these (common practice, no source).
    const EDGE: usize = 3;
    let mut before = index;
    while before > 0 && index - before < EDGE && amps[before - 1] > amps[before] {
        before -= 1;
    }
    before
}

/// `0.537 A read then, at most 0.629 A in any try`: beside a count of tries what was read in one alone would be taken for the
/// most of all. A try that is on when the log ends may read more than those that ended.
fn read_in_words(subject: &Subject, at: usize, then: &str) -> Option<String> {
    let here = drawn_at(subject, at)?;
    let peaks = given_up(subject).map(|attempt| attempt.peak_a);
    let most = peaks.max_by(|a, b| a.value().total_cmp(&b.value()));
    let going_on = subject.finding.attempts.last().filter(|last| !last.given_up);
    let more =
        going_on.zip(most).is_some_and(|(last, most)| last.peak_a.value().total_cmp(&most.value()).is_gt());
    let tries = if more { "that ended" } else { "try" };
    let most = most.map(|most| words::amps(most.value(), subject.resolution()));
    Some(match most.filter(|most| *most != here) {
        Some(most) => format!("{here} read {then}, at most {most} in any {tries}"),
        None => format!("{here} read {then}, the most of any {tries}"),
    })
}

/// The tries in which the volts dip, as the text counts them: all that show it where several go further down than a readback
/// that is steady, or most of them at all. Else those that do go further: one small dip is an accident, and the text says steady.
fn dipping<'a>(subject: &Subject<'a>, dips: impl Fn(f64) -> bool) -> Vec<&'a Attempt> {
    let (log, attempts) = (&subject.finding.log, &subject.finding.attempts);
    let fed = subject.feed_volts().map(Volts::value).zip(fed_from(subject));
    let visible =
        fed.and_then(|fed| visible_below(subject.trace, attempts, log.update_s().unwrap_or(0.0), fed));
    let shows = |volts: f64| visible.map_or_else(|| dips(volts), |visible| volts < visible);
    let that = |is_one: &dyn Fn(f64) -> bool| {
        given_up(subject).filter(|attempt| is_one(attempt.lowest_v.value())).collect::<Vec<_>>()
    };
    let (seen, deep, tries) = (that(&shows), that(&dips), given_up(subject).count());
    let most = tries > 1 && 2 * seen.len() > tries;
    if most || deep.len() > 1 { seen } else { deep }
}

/// The readings at which the volts dip in the tries of a board that the supply starves: where the amps are averages these are
/// the proof.
pub(super) fn dips(subject: &Subject) -> Vec<usize> {
    let usual = subject.feed_volts().map(Volts::value);
    let Some(usual) = usual.filter(|_| subject.finding.verdict.class == Class::FeedLimited) else {
        return Vec::new();
    };
    let found = dipping(subject, |volts| volts <= usual * (1.0 - LEAST_SAG));
    found.into_iter().filter_map(|attempt| last_deepest(subject, late(subject, span(attempt)))).collect()
}

/// `volts dip to between 3.52 V and 3.69 V in every try`; of tries of which none shows it, how far they go down at all.
fn dips_in_words(subject: &Subject, found: &[&Attempt], deepest: f64) -> Option<String> {
    let lowest = found.iter().map(|attempt| attempt.lowest_v.value());
    let (low, high) = extent(&lowest.collect::<Vec<_>>()).unwrap_or((deepest, deepest));
    let (low, high) = (volts_read(subject, low)?, volts_read(subject, high)?);
    let down = if low == high { low } else { format!("between {low} and {high}") };
    Some(match (given_up(subject).count(), found.len()) {
        (2, 2) => format!("volts dip to {down} in both tries"),
        (2.., found) if found == given_up(subject).count() => format!("volts dip to {down} in every try"),
        // A readback misses dips that are shorter than it.
        (count @ 2.., 1..) => format!("volts dip to {down}, seen in {} of {count} tries", found.len()),
        _ => format!("volts dip to {down}"),
    })
}

/// From when on the board was fed in the run of the tries, in seconds.
fn fed_from(subject: &Subject) -> Option<f64> {
    let first = subject.finding.attempts.first()?.start_s.value();
    let run = subject.finding.runs.iter().rfind(|run| run.start_s.value() <= first);
    let off = |phase: &&Phase| phase.name == OFF && phase.end_s.value() <= first;
    let switched_on = || subject.finding.phases.iter().rfind(off).map_or(0.0, |off| off.end_s.value());
    Some(run.map_or_else(switched_on, |run| run.start_s.value()))
}

/// The readings of the last stretch with feed, without the rise of the volts.
fn fed_samples(subject: &Subject) -> Option<Range<usize>> {
    let phases = &subject.finding.phases;
    let last = phases.iter().rposition(|phase| phase.name != OFF)?;
    let first = phases[..last].iter().rposition(|phase| phase.name == OFF).map_or(0, |off| off + 1);
    let index = |t: f64| subject.trace.time().partition_point(|time| *time < t);
    Some(index(phases[first].start_s.value() + RISES_S)..index(phases[last].end_s.value()))
}
