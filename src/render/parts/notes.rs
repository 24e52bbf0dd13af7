//! Notes at their place: where the run left what good boards do, what was measured, and what they do.

use super::super::axis::ValueAxis;
use super::super::columns::Column;
use super::super::font::{Weight, clean};
use super::super::geometry::Rect;
use super::super::scene::{Anchor, Shape, Style};
use super::super::sheet::{Sheet, em};
use super::super::theme::Color;
use super::super::words;
use super::amps::{self, Axes, Scale};
use super::envelope::{Expected, expected};
use super::readings::Readings;
use super::trouble::is_unasked;
use super::turning::{meets, turning};
use super::{Areas, Subject};
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
/// `None` of a run that decides nothing: what departs there is shown, but as no alarm.
pub(in crate::render) fn fault(subject: &Subject, notes: &[Note]) -> Option<f64> {
    notes.first().filter(|note| note.placed && !is_quiet(subject)).map(|note| note.at)
}

/// Whether nothing is known to be wrong.
fn is_quiet(subject: &Subject) -> bool {
    let unasked = is_unasked(subject) && subject.finding.departures.is_empty();
    unasked || subject.finding.verdict.class == Class::Inconclusive
}

/// A scale, and the notes at their places on it.
pub(in crate::render) type Arrangement = (Scale, Vec<Placed>);

/// Finds places for the notes of a run on a scale with just so much headroom that they hide nothing of the trace.
pub(in crate::render) fn arrange(
    sheet: &Sheet,
    subject: &Subject,
    readings: &Readings,
    areas: &Areas,
    scale: &Scale,
    notes: &[Note],
) -> Arrangement {
    /// Up to twice as high, the trace still has half of the strip.
    const HEADROOM: [f64; 5] = [1.0, 1.2, 1.4, 1.7, 2.0];
    let place = |scale: &Scale| place_all(sheet, subject, readings, scale.axes(areas), notes);
    with_headroom(sheet, scale, &HEADROOM, notes.len(), place)
}

/// The least `headroom` at which `place` finds good places for so many notes.
pub(in crate::render) fn with_headroom(
    sheet: &Sheet,
    scale: &Scale,
    headroom: &[f64],
    wanted: usize,
    place: impl Fn(&Scale) -> Vec<Placed>,
) -> Arrangement {
    /// A leader longer than this runs through too much, in units of the layout.
    const FAR: f64 = 150.0;
    let mut best: Option<(_, Arrangement)> = None;
    for factor in headroom {
        let scale = scale.with_headroom(*factor);
        let placed = place(&scale);
        let hidden: i32 = placed.iter().map(|note| note.hidden).sum();
        let far = placed.iter().filter(|note| note.leader_length() > sheet.u(FAR)).count();
        let badness = (wanted.saturating_sub(placed.len()), hidden, far);
        if best.as_ref().is_none_or(|(least, _)| badness < *least) {
            best = Some((badness, (scale, placed)));
        }
        if badness == (0, 0, 0) {
            break;
        }
    }
    best.map_or_else(|| (*scale, Vec::new()), |(_, arrangement)| arrangement)
}

fn place_all(
    sheet: &Sheet,
    subject: &Subject,
    readings: &Readings,
    axes: Axes,
    notes: &[Note],
) -> Vec<Placed> {
    let fault = fault(subject, notes).map(|at| readings.time.x_within(at));
    let mut taken = amps::words(sheet, subject, readings, axes.main, fault);
    let mut rows = vec![Rows::new(readings, axes.main)];
    if subject.finding.verdict.class == Class::FullBoot {
        // All that there is to be said is how the board differs from the envelope: it is not to be hidden either.
        rows.push(Rows::of_envelopes(readings, axes.main, &expected(subject, readings)));
    }
    let color = color(sheet, subject);
    let mut placed = Vec::new();
    for note in notes {
        let found = place(sheet, readings, (axes, &rows), note, color, &taken);
        taken.extend(found.iter().map(|note| note.spot));
        placed.extend(found);
    }
    placed
}

/// Draws notes at their places: the leaders first, so that none runs through the words of another note or through those
/// that `words` draws in between.
pub(in crate::render) fn pin(sheet: &mut Sheet, placed: &[Placed], words: impl FnOnce(&mut Sheet)) {
    for note in placed {
        leader(sheet, note);
    }
    words(sheet);
    for note in placed {
        frame(sheet, note);
    }
}

/// A note with its place.
#[derive(Debug)]
pub(in crate::render) struct Placed {
    /// What it speaks of, if it speaks of a point.
    point: Option<(i32, i32)>,
    pub(in crate::render) spot: Rect,
    /// How many columns of the trace it hides.
    hidden: i32,
    lines: Vec<(String, Style)>,
    color: Color,
}

/// What the leaders of notes and the dots at their ends take.
pub(in crate::render) fn leaders(sheet: &Sheet, placed: &[Placed]) -> Vec<Rect> {
    let reach = |note: &Placed| {
        let dot = dot(sheet, note.point?);
        let (x, y) = note.foot()?;
        let (left, right) = (dot.left.min(x), dot.right.max(x + 1));
        Some(Rect::new(left, dot.top.min(y), right, dot.bottom.max(y + 1)))
    };
    placed.iter().filter_map(reach).collect()
}

fn dot(sheet: &Sheet, (x, y): (i32, i32)) -> Rect {
    Rect::new(x, y, x + 1, y + 1).grown(sheet.u(DOT))
}

impl Placed {
    /// Where its leader begins.
    fn foot(&self) -> Option<(i32, i32)> {
        Some(foot(self.spot, self.point?))
    }

    fn leader_length(&self) -> i32 {
        let of = |(x, y): (i32, i32)| distance(self.spot, (x, y));
        self.point.map_or(0, of)
    }
}

/// The pixel of a box that is nearest to a point.
fn foot(spot: Rect, (x, y): (i32, i32)) -> (i32, i32) {
    (x.clamp(spot.left, spot.right - 1), y.clamp(spot.top, spot.bottom - 1))
}

/// How far a point is from a box, across and down together.
fn distance(spot: Rect, (x, y): (i32, i32)) -> i32 {
    let (dx, dy) = (x - x.clamp(spot.left, spot.right), y - y.clamp(spot.top, spot.bottom));
    dx.abs() + dy.abs()
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
    let lines = vec![words::departure(departure), numbers + &volts];
    let amps = (departure.unit == "A").then_some(departure.measured);
    let after = match departure.direction {
        Direction::Longer => departure.high,
        Direction::Shorter => departure.measured,
        Direction::Above | Direction::Below => 0.0,
    };
    let point_at = there.zip(amps).and_then(|(phase, level)| meets(subject, phase, level));
    Note { at: departure.starts_s.value() + after, point_at, amps, lines, more: 0, placed: true }
}

/// Finds the place where a note covers least of the trace; `None` if there is no room.
pub(in crate::render) fn place(
    sheet: &Sheet,
    readings: &Readings,
    (axes, traces): (Axes, &[Rows]),
    note: &Note,
    color: Color,
    taken: &[Rect],
) -> Option<Placed> {
    let head = sheet.style(em::LARGE, Weight::Bold, color);
    let body = sheet.style(em::USUAL, Weight::Regular, sheet.palette.text);
    let room = axes.main.area.width() - sheet.u(40.0);
    let styled: Vec<(String, Style)> = (0..)
        .zip(note.text())
        .filter_map(|(i, line)| {
            let style = if i == 0 { head } else { body };
            Some((style.fit(&clean(&line), room)?, style))
        })
        .collect();
    let width = styled.iter().map(|(line, style)| style.width(line)).max().unwrap_or(0) + sheet.u(20.0);
    let height = height(sheet, &styled);
    let (x, y) = point(sheet, readings, axes, note);
    let (spot, hidden) = best_spot(sheet, traces, axes.main, (x, y), (width, height), taken)?;
    Some(Placed { point: note.placed.then_some((x, y)), spot, hidden, lines: styled, color })
}

/// The point that a note speaks of: on the trace, whatever level its words tell.
fn point(sheet: &Sheet, readings: &Readings, axes: Axes, note: &Note) -> (i32, i32) {
    let wanted = readings.time.x_within(note.point_at.unwrap_or(note.at));
    let (x, y) = match nearest(readings, wanted) {
        Some((x, column)) => {
            (x, axes.row(note.amps.map_or(column.leave, |amps| amps.clamp(column.low, column.high))))
        }
        None => (wanted, axes.main.area.center().1),
    };
    // The dot stays within the strips: what is said above and below them is to be read.
    let floor = axes.quiet.unwrap_or(axes.main).area.bottom;
    (x, y.min(floor - sheet.u(DOT) - 1).max(axes.main.area.top + sheet.u(DOT)))
}

/// The column of the trace at `x`, or else the one that is nearest to it, with its place.
fn nearest(readings: &Readings, x: i32) -> Option<(i32, &Column)> {
    let all = (readings.time.left..).zip(&readings.amps);
    let shown = all.filter_map(|(at, column)| Some((at, column.as_ref()?)));
    shown.min_by_key(|(at, _)| (at - x).abs())
}

/// The lines of a note that is as wide as the figure.
fn wrapped(sheet: &Sheet, note: &Note, color: Color, width: i32) -> Vec<(String, Style)> {
    let room = width - sheet.u(20.0);
    let head = sheet.style(em::USUAL, Weight::Bold, color);
    let body = sheet.style(em::USUAL, Weight::Regular, sheet.palette.text);
    let styles = std::iter::once(head).chain(std::iter::repeat(body));
    let lines = styles.zip(note.text());
    lines
        .flat_map(|(style, line)| {
            style.wrap(&clean(&line), room, 2).into_iter().map(move |line| (line, style))
        })
        .collect()
}

fn height(sheet: &Sheet, lines: &[(String, Style)]) -> i32 {
    lines.iter().map(|(_, style)| style.line_height()).sum::<i32>() + sheet.u(12.0)
}

/// Distance between stacked notes, in units of the layout.
const STACKED: f64 = 4.0;

/// The height that notes take one above the other, over a panel so wide.
pub(in crate::render) fn stack_height(sheet: &Sheet, notes: &[Note], width: i32) -> i32 {
    let of =
        |note: &Note| height(sheet, &wrapped(sheet, note, sheet.palette.alarm, width)) + sheet.u(STACKED);
    notes.iter().map(of).sum()
}

/// Splits off what stacked notes take, but never so much that little is left of what they speak of.
pub(in crate::render) fn split_stack(area: Rect, stacked: i32) -> (Rect, Rect) {
    area.split_top(stacked.min(area.height() * 2 / 5))
}

/// What a note says at the least: what happened, and the numbers.
const FEWEST_LINES: usize = 2;

/// Notes one above the other in an area of their own: on a narrow figure they would hide what they speak of.
pub(in crate::render) fn stack<'a>(
    sheet: &Sheet,
    axes: Axes,
    area: Rect,
    notes: impl Iterator<Item = (&'a Readings, &'a Note, Color)>,
) -> Vec<Placed> {
    let mut top = area.top;
    let mut placed = Vec::new();
    for (readings, note, color) in notes {
        let mut lines = wrapped(sheet, note, color, area.width());
        // Of what is too long for the room its beginning is worth more than nothing.
        while lines.len() > FEWEST_LINES && top + height(sheet, &lines) > area.bottom {
            lines.pop();
        }
        let bottom = top + height(sheet, &lines);
        if bottom > area.bottom {
            break;
        }
        let point = note.placed.then(|| point(sheet, readings, axes, note));
        placed.push(Placed { point, spot: Rect { top, bottom, ..area }, hidden: 0, lines, color });
        top = bottom + sheet.u(STACKED);
    }
    placed
}

/// The colour of a run's notes.
pub(in crate::render) fn color(sheet: &Sheet, subject: &Subject) -> Color {
    if is_quiet(subject) { sheet.palette.faint_text } else { sheet.palette.alarm }
}

/// Half the side of the dot at the point of a note, in units of the layout.
const DOT: f64 = 4.0;

/// A flag on top of the line at which the board left what good boards do.
pub(in crate::render) fn pointer(sheet: &mut Sheet, areas: &Areas, x: i32) {
    sheet.pointer_down((x, areas.amps.top + sheet.u(14.0)), sheet.palette.alarm);
}

fn leader(sheet: &mut Sheet, note: &Placed) {
    let color = note.color;
    let (Some((x, y)), Some(from)) = (note.point, note.foot()) else { return };
    if from != (x, y) {
        let shape = Shape::Line { from, to: (x, y), width: sheet.u(1.5), color };
        sheet.scene.shapes.push(shape);
    }
    let dot = dot(sheet, (x, y));
    // In grey it would merge with the trace that runs into it.
    sheet.scene.fill(dot.grown(sheet.u(1.0)), sheet.palette.paper);
    sheet.scene.fill(dot, color);
}

fn frame(sheet: &mut Sheet, note: &Placed) {
    let Placed { spot, lines, color, .. } = note;
    let ground = if *color == sheet.palette.alarm { sheet.palette.alarm_paper } else { sheet.palette.paper };
    sheet.scene.fill(*spot, ground);
    sheet.scene.frame(*spot, sheet.u(2.0), *color);
    let mut y = spot.top + sheet.u(6.0);
    for (line, style) in lines {
        let (row, baseline) = (style.line_height(), style.baseline_at(y + style.line_height() / 2));
        sheet.scene.text(line.clone(), (spot.left + sheet.u(10.0), baseline), Anchor::Start, *style);
        y += row;
    }
}

/// Top and bottom of the trace, column by column of pixels.
#[derive(Debug)]
pub(in crate::render) struct Rows {
    left: i32,
    all: Vec<Option<(i32, i32)>>,
}

impl Rows {
    pub(in crate::render) fn new(readings: &Readings, axis: ValueAxis) -> Self {
        let rows = |column: &Column| (axis.row(column.high), axis.row(column.low));
        let all = readings.amps.iter().map(|column| column.as_ref().map(rows)).collect();
        Self { left: readings.time.left, all }
    }

    /// The same of what good boards keep within.
    fn of_envelopes(readings: &Readings, axis: ValueAxis, expected: &[Expected]) -> Self {
        let at = |x: i32| {
            let within =
                |of: &&Expected| (readings.time.x(of.from)..readings.time.x_within(of.to)).contains(&x);
            let there = expected.iter().find(within)?;
            Some((axis.row_within(there.high), axis.row_within(there.low)))
        };
        let columns = (readings.time.left..).zip(&readings.amps);
        Self { left: readings.time.left, all: columns.map(|(x, _)| at(x)).collect() }
    }

    /// How many columns of the trace a box would hide.
    fn hidden(&self, spot: Rect) -> i32 {
        let index = |x: i32| usize::try_from(x - self.left).unwrap_or(0).min(self.all.len());
        let within = &self.all[index(spot.left)..index(spot.right).max(index(spot.left))];
        let meets = |rows: &(i32, i32)| rows.0 < spot.bottom && rows.1 >= spot.top;
        let count = within.iter().flatten().filter(|rows| meets(rows)).count();
        i32::try_from(count).unwrap_or(i32::MAX)
    }
}

/// Of the places within the strip that nothing else takes, the one that hides least of the trace, then the nearest;
/// and how many columns it hides.
fn best_spot(
    sheet: &Sheet,
    traces: &[Rows],
    axis: ValueAxis,
    point: (i32, i32),
    size: (i32, i32),
    taken: &[Rect],
) -> Option<(Rect, i32)> {
    // Below the pointer at the top, which shows where the first note belongs.
    let inside = Rect { top: axis.area.top + sheet.u(16.0), ..axis.area.grown(-sheet.u(6.0)) };
    let free = |spot: &Rect| !taken.iter().any(|other| other.grown(sheet.u(6.0)).overlaps(*spot));
    let hidden = |spot: Rect| traces.iter().map(|rows| rows.hidden(spot.grown(sheet.u(5.0)))).sum();
    let spots = spots(inside, point.0, size, sheet.u(14.0)).filter(free).map(|spot| (spot, hidden(spot)));
    spots.min_by_key(|(spot, hidden)| badness(*spot, *hidden, point, taken, sheet.u(4.0)))
}

/// The places that are tried for a box within a strip: a grid of them, and right beside column `x`.
fn spots(inside: Rect, x: i32, (width, height): (i32, i32), aside: i32) -> impl Iterator<Item = Rect> {
    /// Places to try along each direction.
    const TRIES: i32 = 14;
    let step = |low: i32, high: i32, i: i32| low + (high - low).max(0) * i / (TRIES - 1);
    let rightmost = inside.right - width;
    let beside =
        [x + aside, x - aside - width].map(|left| left.clamp(inside.left, rightmost.max(inside.left)));
    let lefts = (0..TRIES).map(move |i| step(inside.left, rightmost, i)).chain(beside);
    let tops = move |left: i32| {
        (0..TRIES).map(move |i| {
            let top = step(inside.top, inside.bottom - height, i);
            Rect::new(left, top, left + width, top + height)
        })
    };
    lefts.flat_map(tops).filter(move |spot| inside.holds(*spot))
}

/// What speaks against a place, the weightiest first. Nothing of the trace is to be hidden if that can be helped, and the
/// point itself least of all.
fn badness(
    spot: Rect,
    hidden: i32,
    (x, y): (i32, i32),
    taken: &[Rect],
    margin: i32,
) -> (bool, i32, usize, bool, i32) {
    let covers = spot.grown(margin).holds(Rect::new(x, y, x + 1, y + 1));
    let leader = (foot(spot, (x, y)), (x, y));
    let crosses = taken.iter().filter(|words| words.is_crossed(leader)).count();
    let straddles = spot.left < x && x < spot.right;
    (covers, hidden, crosses, straddles, distance(spot, (x, y)))
}

#[cfg(test)]
mod tests {
    use super::super::super::axis::TimeAxis;
    use super::super::super::fixtures::{finding, phase, trace};
    use super::super::super::options::Options;
    use super::*;

    #[test]
    fn a_dot_lies_on_the_trace_whatever_level_its_words_tell() {
        let (trace, finding) = (trace(600, 60.0, |_| 0.5), finding(vec![phase("run", 0.0, 60.0)]));
        let subject = Subject { trace: &trace, profile: None, finding: &finding };
        let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 80.0 };
        let readings = Readings::new(&subject, time);
        let main = ValueAxis { area: Rect::new(0, 0, 600, 400), low: 0.0, high: 3.0 };
        let sheet = Sheet::new(&Options::default(), (440.0, 560.0));
        let note = |at: f64, amps: Option<f64>| Note {
            at,
            point_at: None,
            amps,
            lines: Vec::new(),
            more: 0,
            placed: true,
        };
        let point = |note: &Note| point(&sheet, &readings, Axes { main, quiet: None }, note);
        for amps in [None, Some(0.5), Some(2.0), Some(0.1)] {
            assert_eq!(point(&note(30.0, amps)), (time.x(30.0), main.row(0.5)), "{amps:?}");
        }
        // After the last reading there is no trace: it stands at its end.
        let (x, y) = point(&note(79.0, Some(2.0)));
        assert!((time.x(59.0)..=time.x(60.0)).contains(&x) && y == main.row(0.5), "{x} {y}");
    }
}
