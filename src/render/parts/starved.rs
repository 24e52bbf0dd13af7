//! Where the supply starved the board.

use super::Subject;
use super::attempts::span;
use super::notes::Note;
use super::readings::AT_LIMIT;
use super::turning::{
    LEAST_SAG, OFF, at_reading, deepest as deepest_of, drawn as drawn_at, given_up, gives_up, in_stage,
    note as note_at, volts_read,
};
use crate::units::Amps;
use crate::verdict::{Attempt, RISES_S, visible_below};
use std::ops::Range;

/// Where the volts first went down, with what was read there and how far they go at most; where no reading shows what
/// pulled them down, the first try that ends in a dip.
pub(super) fn gives_way(subject: &Subject) -> Option<Note> {
    let (volts, amps) = (subject.trace.volts(), subject.trace.amps());
    let deepest = deepest_of(subject, fed_samples(subject)?)?;
    let usual = subject.feed_volts()?.value();
    let dips = |volts: f64| volts <= usual * (1.0 - LEAST_SAG);
    // Where the readback misses the dips, that it gives up is all there is to be seen.
    if !dips(volts[deepest]) {
        return gives_up(subject);
    }
    // A reading over the edge at which the board gives up shows less than was drawn: the one before tells that.
    let before = |index: usize| if amps[index.saturating_sub(1)] > amps[index] { index - 1 } else { index };
    let limit = subject.finding.log.limit_a;
    let unlimited = |index: usize| limit.filter(|limit| amps[before(index)] < AT_LIMIT * limit.value());
    if let Some(limit) = unlimited(deepest) {
        return unread(subject, limit, deepest, dips);
    }
    // Of tries that are alike the first is where it left what good boards do, not the one that happened to go deepest.
    let lowest = |attempt: &Attempt| deepest_of(subject, late(subject, span(attempt)));
    let first =
        given_up(subject).filter_map(lowest).find(|index| dips(volts[*index]) && unlimited(*index).is_none());
    let shown = first.unwrap_or(deepest);
    let drawn = drawn_at(subject, before(shown))?;
    let limit = limit.map_or_else(String::new, |limit| format!(", limit {limit}"));
    let down = volts_read(subject, volts[shown])?;
    let body = format!("{drawn} pull it down to {down}{limit}");
    let head = format!("the feed gives way{}", in_stage(subject).unwrap_or_default());
    let mut note = at_reading(subject, shown, before(shown), head, body);
    let far_lower = deepest > shown && volts[deepest] < volts[shown] - LEAST_SAG * usual;
    let further = volts_read(subject, volts[deepest]).filter(|_| far_lower);
    note.lines.extend(further.map(|further| format!("later down to {further}")));
    Some(note)
}

/// The readings of the later half of a try, and of the edge at its end, which is known to a reading or so; how the feed rose
/// to the first of them is no dip.
fn late(subject: &Subject, (start, end): (f64, f64)) -> Range<usize> {
    let times = subject.trace.time();
    let index = |t: f64| times.partition_point(|time| *time < t);
    index(f64::midpoint(start, end))..(index(end) + 2).min(times.len())
}

/// Of volts that go down although less than the limit is read: what pulls them down is over before the supply reads it.
fn unread(subject: &Subject, limit: Amps, deepest: usize, dips: impl Fn(f64) -> bool) -> Option<Note> {
    let (times, volts, amps) = (subject.trace.time(), subject.trace.volts(), subject.trace.amps());
    // As the text counts them.
    let log = &subject.finding.log;
    let visible = visible_below(subject.trace, &subject.finding.attempts, log.update_s().unwrap_or(0.0));
    let dips = |volts: f64| visible.map_or_else(|| dips(volts), |visible| volts < visible);
    let lowest = |span| deepest_of(subject, late(subject, span));
    let ends: Vec<Option<usize>> = given_up(subject)
        .map(|attempt| lowest(span(attempt)).filter(|_| dips(attempt.lowest_v.value())))
        .collect();
    let found = ends.iter().flatten().count();
    let first = ends.iter().flatten().next().copied().unwrap_or(deepest);
    let down = volts_read(subject, volts[deepest])?;
    let body = match (ends.len(), found) {
        (2, 2) => format!("volts dip to {down} in both tries"),
        (2.., found) if found == ends.len() => format!("volts dip to {down} in every try"),
        (count @ 2.., 1..) => format!("volts dip to {down} in {found} of {count} tries"),
        _ => format!("volts dip to {down}"),
    };
    let point = if amps[first.saturating_sub(1)] > amps[first] { first - 1 } else { first };
    // Where in the boot comes first: it is what is asked of a picture.
    let head = in_stage(subject).map_or_else(
        || format!("over {limit} for less than a reading"),
        |place| format!("over {limit}{place}"),
    );
    // What the supply reads there is over or not yet begun: the dot stands as near to the limit as the trace comes.
    let mut note = note_at(times[first], Some(limit.value()), head, body);
    note.lines.push(format!("for less than a reading: only {} read", drawn_at(subject, point)?));
    Some(note)
}

/// Whether the head of a note says itself at which step the tries end.
pub(super) fn names_the_step(subject: &Subject, note: &Note) -> bool {
    let head = note.lines.first();
    head.is_some_and(|head| in_stage(subject).is_some_and(|place| head.ends_with(&place)))
}

/// The readings of the last stretch with feed, without the rise of the volts.
fn fed_samples(subject: &Subject) -> Option<Range<usize>> {
    let phases = &subject.finding.phases;
    let last = phases.iter().rposition(|phase| phase.name != OFF)?;
    let first = phases[..last].iter().rposition(|phase| phase.name == OFF).map_or(0, |off| off + 1);
    let index = |t: f64| subject.trace.time().partition_point(|time| *time < t);
    Some(index(phases[first].start_s.value() + RISES_S)..index(phases[last].end_s.value()))
}
