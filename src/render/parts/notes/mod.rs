//! Notes: where the run left what good boards do, what was measured, and what they do. Where they stand is found in
//! `places`, from the room that `spots` finds.

mod marks;
mod places;
mod point;
mod spots;
mod width;

pub(in crate::render) use marks::{leader_down, mark_of, pointer};
pub(in crate::render) use places::{
    Placed, above, above_height, arrange, leaders, on_its_line, pin, place, split_stack, stack, stack_height,
    with_headroom,
};
pub(in crate::render) use spots::{Among, Rows};
pub(in crate::render) use width::Width;

use super::super::sheet::Sheet;
use super::super::theme::Color;
use super::super::words;
use super::Subject;
use super::readings::Readings;
use super::trouble::is_unasked;
use super::turning::{meets, overdue_alone, turning};
use crate::units::Seconds;
use crate::verdict::{Class, Departure, Direction, Phase};

/// A note with the point that it speaks of.
#[derive(Debug)]
pub(in crate::render) struct Note {
    pub(in crate::render) at: f64,
    /// When the point itself was read, if that is not at the very moment that the note speaks of.
    pub(in crate::render) point_at: Option<f64>,
    /// Where the point stands on the amps; `None` for where the trace stands.
    pub(in crate::render) amps: Option<f64>,
    /// Head and body.
    pub(in crate::render) lines: Vec<String>,
    /// How many more notes there are that the figure leaves to the finding.
    pub(in crate::render) more: usize,
    /// Whether it speaks of a point at all.
    pub(in crate::render) placed: bool,
}

impl Note {
    /// What stands in it, line by line.
    fn text(&self) -> impl Iterator<Item = String> {
        self.lines.iter().cloned().chain(self.rest())
    }

    /// The first of its lines: what happened, then the numbers.
    fn in_lines(&self, count: usize) -> Self {
        Self { lines: self.lines.iter().take(count).cloned().collect(), ..*self }
    }

    /// What happened, without the numbers.
    fn head_alone(&self, subject: &Subject) -> Self {
        let overdue = overdue_alone(subject).filter(|(at, _)| at.total_cmp(&self.at).is_eq());
        let lines = overdue.map_or_else(|| self.in_lines(1).lines, |(_, head)| vec![head]);
        Self { lines, ..*self }
    }

    /// All of it under that head: where nothing but the words of a moment explains its time, they say what it means.
    pub(in crate::render) fn said_from_here(&self, subject: &Subject) -> Self {
        let heads = self.head_alone(subject).lines.into_iter();
        Self { lines: heads.chain(self.lines.iter().skip(1).cloned()).collect(), ..*self }
    }

    /// What it says of the notes that were left out.
    pub(in crate::render) fn rest(&self) -> Option<String> {
        (self.more > 0).then(|| format!("and {} more in the finding", self.more))
    }
}

/// Notes that a picture can carry and still be read at a glance; the finding has them all.
pub(in crate::render) const MOST_NOTES: usize = 4;

/// The same on a narrow one, where they are stacked.
pub(in crate::render) const MOST_STACKED: usize = 2;

/// What there is to say of what the window shows: the turn that the verdict speaks of, then the departures, first in
/// time first; at most `most`, of which the last says how many are left out.
pub(in crate::render) fn notes(subject: &Subject, readings: &Readings, most: usize) -> Vec<Note> {
    by(subject, readings, most, |note, _| note.at)
}

/// The one thing to say where there is room for no more: the turn that the verdict speaks of, or else the departure of the
/// stage in which the board was the longest.
pub(in crate::render) fn gravest(subject: &Subject, readings: &Readings) -> Vec<Note> {
    let length = |phase: &Phase| phase.end_s.value() - phase.start_s.value();
    let stays = |departure: &Departure| {
        let stays = subject.finding.phases.iter().filter(|phase| phase.name == departure.phase);
        stays.map(length).fold(0.0, f64::max)
    };
    by(subject, readings, 1, |_, departure| -stays(departure))
}

/// The turn, then the departures in the order of their `rank`.
fn by(
    subject: &Subject,
    readings: &Readings,
    most: usize,
    rank: impl Fn(&Note, &Departure) -> f64,
) -> Vec<Note> {
    let mut departures: Vec<(f64, Note)> = subject
        .finding
        .departures
        .iter()
        .filter(|departure| !words::is_the_verdict(&subject.finding.verdict, departure))
        .map(|of| (departure(subject, of), of))
        .map(|(note, of)| (rank(&note, of), note))
        .collect();
    departures.sort_by(|a, b| a.0.total_cmp(&b.0));
    let departures = departures.into_iter().map(|(_, note)| note);
    let mut notes: Vec<Note> = turning(subject).into_iter().chain(departures).collect();
    notes.retain(|note| readings.time.shows(note.at));
    let left_out = notes.len().saturating_sub(most);
    notes.truncate(most);
    if let Some(last) = notes.last_mut().filter(|_| left_out > 0) {
        last.more = left_out;
    }
    notes
}

/// The one moment at which the run left what good boards do: that of the first note.
/// Of a run that decides nothing the end of a try, if it has one: what departs there is shown, but not marked.
pub(in crate::render) fn fault(subject: &Subject, notes: &[Note]) -> Option<f64> {
    let first = notes.first().filter(|note| note.placed)?;
    let is_the_turn = || turning(subject).is_some_and(|turn| turn.at.total_cmp(&first.at).is_eq());
    (!is_quiet(subject) || is_the_turn()).then_some(first.at)
}

/// Whether nothing is known to be wrong.
fn is_quiet(subject: &Subject) -> bool {
    let unasked = is_unasked(subject) && subject.finding.departures.is_empty();
    unasked || subject.finding.verdict.class == Class::Inconclusive
}

/// A departure at the moment from which it is one: what lasts too long does so from the longest usual time on.
fn departure(subject: &Subject, departure: &Departure) -> Note {
    let numbers = words::departure_numbers(departure, subject.resolution());
    let there = subject
        .finding
        .phases
        .iter()
        .find(|phase| phase.name == departure.phase && phase.end_s.value() > departure.starts_s.value());
    let volts = there.map_or_else(String::new, |phase| match departure.unit.as_str() {
        "A" => format!(", at {}", subject.finding.log.volts(phase.mean_v)),
        _ => format!(
            ", at {}, {}",
            words::amps(phase.mean_a.value(), subject.resolution()),
            subject.finding.log.volts(phase.mean_v)
        ),
    });
    let mut lines = vec![words::departure(departure), numbers + &volts];
    lines.extend(deadline(departure));
    let amps = (departure.unit == "A").then_some(departure.measured);
    let after = match departure.direction {
        Direction::Longer => departure.high,
        Direction::Shorter => departure.measured,
        Direction::Above | Direction::Below => 0.0,
    };
    let point_at = there.zip(amps).and_then(|(phase, level)| meets(subject, phase, level));
    Note { at: departure.starts_s.value() + after, point_at, amps, lines, more: 0, placed: true }
}

/// `good boards have left system by here, at most 7.83 s after its start`, of what lasts too long: at that moment nothing is
/// seen to happen, and it is the same on any clock.
fn deadline(departure: &Departure) -> Option<String> {
    let longest = Seconds::new(departure.high).ok().filter(|_| departure.direction == Direction::Longer)?;
    let stage = words::phase(&departure.phase);
    Some(format!("good boards have left {stage} by here, at most {longest} after its start"))
}

/// The colour of a run's notes: of what is wrong as often as right none that a certainty has.
pub(in crate::render) fn color(sheet: &Sheet, subject: &Subject) -> Color {
    let perhaps = words::is_toss_up(&subject.finding.verdict);
    if perhaps || is_quiet(subject) { sheet.palette.faint_text } else { sheet.palette.alarm }
}
