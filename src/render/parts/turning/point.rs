//! Notes, and where on the trace they point.

use super::super::Subject;
use super::super::notes::Note;
use crate::units::Amps;
use crate::verdict::Phase;

pub(in crate::render::parts) fn note(
    at: f64,
    amps: Option<f64>,
    head: impl Into<String>,
    body: String,
) -> Note {
    Note { at, point_at: None, amps, lines: vec![head.into(), body], more: 0, placed: true }
}

/// A note of what a phase draws, which points at the trace where it first has that level.
pub(super) fn note_of(subject: &Subject, phase: &Phase, head: impl Into<String>, body: String) -> Note {
    let level = phase.mean_a.value();
    let point_at = meets(subject, phase, level);
    Note { point_at, ..note(phase.start_s.value(), Some(level), head, body) }
}

/// When the trace first meets a level within a phase, in seconds: its first readings may be of what came before, or of an
/// edge. `None` where it never does.
pub(in crate::render) fn meets(subject: &Subject, phase: &Phase, level: f64) -> Option<f64> {
    meets_from(subject, phase.start_s.value(), phase, level)
}

/// The same from a moment within the phase on.
fn meets_from(subject: &Subject, from: f64, phase: &Phase, level: f64) -> Option<f64> {
    /// A reading this near to the level is at it (common practice, no source).
    const NEAR: f64 = 0.02;
    /// One further away is at another level (common practice, no source) …
    const FAR: f64 = 0.5;
    /// … and so is the mean of the next few that is.
    const FAR_IN_MEAN: f64 = 0.2;
    /// So many readings an inrush does not stay at one level (common practice, no source).
    const FEW: u8 = 5;
    let (time, read) = (subject.trace.time(), subject.trace.amps());
    let index = |t: f64| time.partition_point(|time| *time < t);
    let off = |index: usize| subject.finding.log.drawn(read[index]) - level;
    let crosses = |index: usize| index > 0 && (off(index - 1) < 0.0) != (off(index) < 0.0);
    // Of a level that lies between two steps of the readings, most of all of next to nothing, the nearest reading is at it.
    let step = subject.resolution().map_or(0.0, Amps::value);
    // One below a step is read as nothing or as one step, and either is all that there is of it.
    let rounded = if level.abs() < step { step } else { step / 2.0 };
    let (near, far) = ((NEAR * level.abs()).max(rounded), (FAR * level.abs()).max(rounded));
    let at_it = |index: &usize| off(*index).abs() <= near || crosses(*index);
    let all = || index(from)..index(phase.end_s.value());
    // Not where an inrush passes it: there the readings around are at something else.
    let next = |at: usize, few: u8| (at..(at + usize::from(few)).min(read.len())).map(off);
    let stays = |at: &usize| {
        let (count, sum) = next(*at, FEW).fold((0.0, 0.0), |(count, sum), off| (count + 1.0, sum + off));
        next(*at, 2).all(|off| off.abs() <= far)
            && f64::abs(sum / count) <= (FAR_IN_MEAN * level.abs()).max(rounded)
    };
    let found = all().find(|index| at_it(index) && stays(index)).or_else(|| all().find(at_it));
    found.map(|index| time[index])
}

/// A note of a moment within a phase that tells what the phase draws: the dot stands where the trace meets that level from
/// the moment on, and not on a spike that the moment happens to have.
pub(super) fn note_within(
    subject: &Subject,
    phase: &Phase,
    from: f64,
    head: impl Into<String>,
    body: String,
) -> Note {
    let level = phase.mean_a.value();
    let point_at = meets_from(subject, from, phase, level);
    Note { point_at, ..note(from, Some(level), head, body) }
}

/// A note at one reading that points at another.
pub(in crate::render::parts) fn at_reading(
    subject: &Subject,
    at: usize,
    point: usize,
    head: impl Into<String>,
    body: String,
) -> Note {
    let (time, amps) = (subject.trace.time(), subject.trace.amps());
    let drawn = subject.finding.log.drawn(amps[point]);
    Note { point_at: Some(time[point]), ..note(time[at], Some(drawn), head, body) }
}
