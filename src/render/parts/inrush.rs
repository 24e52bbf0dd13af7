//! The inrush of a run: the reading or two after switch-on that may stand many times above all that follows.
//!
//! Charging the input capacitors of a board says nothing of how far it got, and on a scale that holds it the rest is a
//! line along zero. Where it stands far above all else, the scale serves the rest; the line then runs out of the strip,
//! and an arrow with the reading's value stands there. What peaks of good boards are is counted after the inrush, so a
//! line of theirs below it says nothing against it, and the words say so; a peak that comes later is compared.

use super::super::axis::ValueAxis;
use super::super::geometry::Rect;
use super::super::sheet::Sheet;
use super::super::words;
use super::Subject;
use super::cut::{self, Mark};
use super::envelope::{Expected, expected};
use super::readings::Readings;
use crate::reference::edge_s;
use crate::stats::extent;
use crate::trace::EventKind;
use crate::verdict::Class;
use std::ops::Range;

/// Input capacitors are charged within this long, in seconds (common practice, no source).
const LASTS_S: f64 = 0.3;

/// The readings soon after each switch-on, in order.
fn inrushes(subject: &Subject) -> Vec<Range<usize>> {
    /// A slow supply shows it in its first readings, which come within this long, in seconds.
    const SLOW_S: f64 = 1.0;
    /// As many readings as its averaging may spread it over.
    const FIRST: usize = 2;
    let time = subject.trace.time();
    let events = subject.trace.events().iter().filter(|event| event.kind == EventKind::OutputOn);
    let fed = subject.finding.phases.windows(2).filter(|pair| pair[0].name == "off" && pair[1].name != "off");
    let told = events.map(|event| event.time.value());
    let mut switched: Vec<f64> = told.chain(fed.map(|pair| pair[1].start_s.value())).collect();
    switched.sort_by(f64::total_cmp);
    let within = |on: f64| {
        let first = time.partition_point(|t| *t < on);
        let until = |length: f64| time.partition_point(|t| *t <= on + length);
        first..until(LASTS_S).max(until(SLOW_S).min(first + FIRST))
    };
    let mut found: Vec<Range<usize>> = Vec::new();
    for samples in switched.into_iter().map(within).filter(|samples| !samples.is_empty()) {
        match found.last_mut().filter(|last| samples.start < last.end) {
            Some(last) => last.end = last.end.max(samples.end),
            None => found.push(samples),
        }
    }
    found
}

/// When an inrush is past that goes on at a moment, in seconds; the moment itself where there is none.
pub(super) fn past(subject: &Subject, at: f64) -> f64 {
    let time = subject.trace.time();
    let on = |samples: &Range<usize>| time[samples.start] <= at + LASTS_S && at < time[samples.end - 1];
    let inrush = inrushes(subject).into_iter().find(on);
    let after = inrush.map(|samples| time.get(samples.end).copied().unwrap_or(f64::INFINITY));
    after.unwrap_or(at).max(at)
}

/// The readings that the window shows.
fn shown(subject: &Subject, readings: &Readings) -> Range<usize> {
    let time = subject.trace.time();
    let from = time.partition_point(|t| *t < readings.time.from);
    from..time.partition_point(|t| *t <= readings.time.to).max(from)
}

/// Readings that show no level yet.
const FEW: usize = 4;

/// The readings among `samples` of phases with feed.
fn fed(subject: &Subject, samples: Range<usize>) -> impl Iterator<Item = usize> {
    let time = subject.trace.time();
    let phases = subject.finding.phases.iter().filter(|phase| phase.name != "off");
    phases.flat_map(move |phase| {
        let index = |t: f64| time.partition_point(|time| *time < t);
        let (first, end) = (index(phase.start_s.value()), index(phase.end_s.value()));
        first.max(samples.start)..end.min(samples.end)
    })
}

/// Highest amps in the window outside any inrush; `None` if the highest of all is no inrush, or a short, whose first
/// readings are what is wrong.
pub(in crate::render) fn highest_beside(subject: &Subject, readings: &Readings) -> Option<f64> {
    if matches!(subject.finding.verdict.class, Class::HardShort | Class::PartialShort) {
        return None;
    }
    let shown = shown(subject, readings);
    let amps = subject.trace.amps();
    let highest = |samples: Range<usize>| {
        let samples = samples.start.max(shown.start)..samples.end.min(shown.end);
        amps.get(samples).and_then(extent).map_or(0.0, |(_, high)| subject.finding.log.drawn(high))
    };
    let inrushes = inrushes(subject);
    if inrushes.is_empty()
        || inrushes.iter().all(|samples| highest(samples.clone()) < readings.highest_amps())
    {
        return None;
    }
    // Of a capture that ends with its inrush there is nothing else to be seen.
    let past = |index: &usize| !inrushes.iter().any(|samples| samples.contains(index));
    fed(subject, shown.clone()).filter(past).nth(FEW)?;
    let starts = std::iter::once(shown.start).chain(inrushes.iter().map(|samples| samples.end));
    let ends = inrushes.iter().map(|samples| samples.start).chain([shown.end]);
    Some(starts.zip(ends).map(|(start, end)| highest(start..end)).fold(0.0, f64::max))
}

/// The marks of what the strip cuts off, clear of what is `taken`.
pub(in crate::render) fn marks(
    sheet: &Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    mut taken: Vec<Rect>,
) -> Vec<(usize, Mark)> {
    /// What stands out by less than this from all else needs no name (common practice, no source).
    const TALLER: f64 = 1.2;
    let highest = highest_beside(subject, readings);
    let mut marks = Vec::new();
    for peak in peaks(subject, readings) {
        let drawn = subject.finding.log.drawn(subject.trace.amps()[peak]);
        let x = readings.time.x_within(subject.trace.time()[peak]);
        if drawn <= axis.high {
            let at = (x, axis.row(drawn));
            let named = highest
                .filter(|rest| drawn > TALLER * rest)
                .and_then(|_| named(sheet, readings, axis, at, &taken));
            taken.extend(named.iter().flat_map(|mark| mark.areas(sheet)));
            marks.extend(named.map(|mark| (peak, mark)));
            continue;
        }
        let wordings = wordings(subject, &expected(subject, readings), peak);
        let beside = |text: &str, hides: &dyn Fn(Rect) -> bool| {
            Mark::beside(sheet, axis, x, (text, sheet.palette.ink), (&taken, hides))
        };
        // The trace may come down right beside its peak.
        let clear = wordings.iter().map(|text| beside(text, &|words| readings.cross(axis, words)));
        // An arrow that nothing explains is worse than words over the edge of what they name.
        let mark =
            clear.into_iter().find(Mark::has_words).unwrap_or_else(|| beside(&wordings[1], &|_| false));
        taken.extend(mark.areas(sheet));
        marks.push((peak, mark));
    }
    marks
}

/// The names of those that stand far above what follows them, and have none yet, where they find room.
pub(super) fn spikes(
    sheet: &Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    (marks, mut taken): (&[(usize, Mark)], Vec<Rect>),
) -> Vec<Mark> {
    let is_named = |peak: &usize| marks.iter().any(|(of, mark)| of == peak && mark.has_words());
    let mut spikes = Vec::new();
    for peak in peaks(subject, readings).into_iter().filter(|peak| !is_named(peak)) {
        let drawn = subject.finding.log.drawn(subject.trace.amps()[peak]);
        let at = (readings.time.x_within(subject.trace.time()[peak]), axis.row(drawn));
        let stands_out = drawn <= axis.high && stands_above_what_follows(subject, peak, (drawn, axis));
        let named = stands_out.then(|| named(sheet, readings, axis, at, &taken)).flatten();
        taken.extend(named.iter().flat_map(|mark| mark.areas(sheet)));
        spikes.extend(named);
    }
    spikes
}

/// Whether an inrush stands far above the phase that follows it, also where the boot goes higher later: a spike without a word.
fn stands_above_what_follows(subject: &Subject, peak: usize, (drawn, axis): (f64, ValueAxis)) -> bool {
    /// Times what follows, and share of the axis above it, from which on it is seen as a spike (common practice, no source).
    const FAR: f64 = 2.5;
    const SEEN: f64 = 0.1;
    if matches!(subject.finding.verdict.class, Class::HardShort | Class::PartialShort) {
        return false;
    }
    follows(subject, peak)
        .is_some_and(|level| drawn > FAR * level && drawn - level > SEEN * (axis.high - axis.low))
}

/// The mean of the phase that goes on once an inrush is over, in amps.
fn follows(subject: &Subject, peak: usize) -> Option<f64> {
    let past = past(subject, subject.trace.time()[peak]);
    let mut fed = subject.finding.phases.iter().filter(|phase| phase.name != "off");
    let next = fed.find(|phase| phase.start_s.value() <= past && past < phase.end_s.value());
    next.map(|phase| phase.mean_a.value())
}

/// The highest reading of each inrush that the window shows.
fn peaks(subject: &Subject, readings: &Readings) -> Vec<usize> {
    let (shown, amps) = (shown(subject, readings), subject.trace.amps());
    let within = |samples: Range<usize>| samples.start.max(shown.start)..samples.end.min(shown.end);
    let highest = |samples: Range<usize>| within(samples).max_by(|a, b| amps[*a].total_cmp(&amps[*b]));
    inrushes(subject).into_iter().filter_map(highest).collect()
}

/// The names, on the magnified strip, of inrushes that run out of it and have none on the main one, whose marks are `main`:
/// only where a name finds room, for that the boot runs out of it as well needs no arrow either. Where what follows runs out of
/// it too, the name would be read as that of the level.
pub(super) fn magnified(
    sheet: &Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    (main, taken): (&[(usize, Mark)], &[Rect]),
) -> Vec<(usize, Mark)> {
    /// Words below the first row stand where the rest is read, in units of the layout.
    const FIRST_ROW: f64 = 26.0;
    let below = Rect { top: axis.area.top + sheet.u(FIRST_ROW), ..axis.area };
    let mut taken: Vec<Rect> = taken.iter().copied().chain([below]).collect();
    let is_named = |peak: &usize| main.iter().any(|(of, mark)| of == peak && mark.has_words());
    let comes_back = |peak: &usize| follows(subject, *peak).is_none_or(|level| level <= axis.high);
    let peaks = peaks(subject, readings).into_iter();
    let unnamed = peaks.filter(|peak| !is_named(peak) && comes_back(peak));
    let mut marks = Vec::new();
    for peak in unnamed {
        let drawn = subject.finding.log.drawn(subject.trace.amps()[peak]);
        let x = readings.time.x_within(subject.trace.time()[peak]);
        let text = format!("inrush {}", words::amps(drawn, subject.resolution()));
        let hides = |words: Rect| readings.cross(axis, words);
        let beside = |text: &str| Mark::beside(sheet, axis, x, (text, sheet.palette.ink), (&taken, hides));
        let mark = [text.as_str(), "inrush"].map(beside).into_iter().find(Mark::has_words);
        if let Some(mark) = mark.filter(|_| drawn > axis.high) {
            taken.extend(mark.areas(sheet));
            marks.push((peak, mark));
        }
    }
    marks
}

/// Where the arrows of inrushes stand that run out of the strip: what else runs out of it has its own beside them.
pub(super) fn arrows(sheet: &Sheet, subject: &Subject, readings: &Readings, axis: ValueAxis) -> Vec<Rect> {
    let drawn = |peak: &usize| subject.finding.log.drawn(subject.trace.amps()[*peak]);
    let cut = peaks(subject, readings).into_iter().filter(|peak| drawn(peak) > axis.high);
    cut.map(|peak| cut::beside(sheet, axis, readings.time.x_within(subject.trace.time()[peak]))).collect()
}

/// The name of an inrush that the strip holds, at its top: the tallest thing of a picture is not to be without a word.
fn named(
    sheet: &Sheet,
    readings: &Readings,
    axis: ValueAxis,
    at: (i32, i32),
    taken: &[Rect],
) -> Option<Mark> {
    let of = |text: &str| {
        let said = (text, sheet.palette.ink);
        Mark::of_top(sheet, axis, at, said, (taken, |words| readings.cross(axis, words)))
    };
    ["inrush, not compared", "inrush"].into_iter().find_map(of)
}

/// What is said of the reading `peak`, in more words and in fewer: beside a lower line of what good boards peak at whether it
/// is held to that.
fn wordings(subject: &Subject, expected: &[Expected], peak: usize) -> [String; 2] {
    let log = &subject.finding.log;
    let drawn = log.drawn(subject.trace.amps()[peak]);
    let amps = |amps: f64| words::amps(amps, subject.resolution());
    let at = subject.trace.time()[peak];
    let (inrush, peak) = (format!("inrush {}", amps(drawn)), format!("peak {}", amps(drawn)));
    let stage = expected.iter().find(|stage| at < stage.to && at >= stage.from - LASTS_S);
    match stage.filter(|stage| drawn > stage.peak) {
        None => [inrush.clone(), inrush],
        Some(stage) if at >= stage.from + edge_s(log.update_s().unwrap_or(0.0), stage.to - stage.from) => {
            [format!("{peak}, good boards at most {}", amps(stage.peak)), peak]
        }
        Some(_) => [format!("{inrush}, not compared"), inrush],
    }
}
