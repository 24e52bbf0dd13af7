//! Notes at their places, with the leaders to what they speak of.

use super::super::super::columns::Column;
use super::super::super::font::{Weight, clean};
use super::super::super::geometry::Rect;
use super::super::super::scene::{Anchor, Shape, Style};
use super::super::super::sheet::{Sheet, em};
use super::super::super::theme::Color;
use super::super::amps::{self, Axes, Scale};
use super::super::envelope::expected;
use super::super::readings::Readings;
use super::super::{Areas, Subject};
use super::spots::{Rows, best_spot, distance, foot};
use super::{Note, color, fault};
use crate::verdict::Class;

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
    /// A leader longer than this runs through too much, and one of twice that through twice as much, in units of the layout.
    const FAR: f64 = 150.0;
    let mut best: Option<(_, Arrangement)> = None;
    for factor in headroom {
        let scale = scale.with_headroom(*factor);
        let placed = place(&scale);
        let hidden: i32 = placed.iter().map(|note| note.hidden).sum();
        let far: i32 = placed.iter().map(|note| note.leader_length() / sheet.u(FAR)).sum();
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
    point: Option<Point>,
    pub(in crate::render) spot: Rect,
    /// How many columns of the trace it hides.
    hidden: i32,
    lines: Vec<(String, Style)>,
    color: Color,
}

/// What the leaders of notes and the dots at their ends take.
pub(in crate::render) fn leaders(sheet: &Sheet, placed: &[Placed]) -> Vec<Rect> {
    let reach = |note: &Placed| {
        let point = note.point?;
        let dot = dot(sheet, point.at());
        let (x, y) = note.foot()?;
        let (left, right) = (dot.left.min(x), dot.right.max(x + 1).max(point.reached));
        Some(Rect::new(left, dot.top.min(y), right, dot.bottom.max(y + 1)))
    };
    placed.iter().filter_map(reach).collect()
}

fn dot(sheet: &Sheet, (x, y): (i32, i32)) -> Rect {
    Rect::new(x, y, x + 1, y + 1).grown(sheet.u(sheet.mark(DOT)))
}

impl Placed {
    /// Where its leader begins.
    fn foot(&self) -> Option<(i32, i32)> {
        Some(foot(self.spot, self.point?.at()))
    }

    fn leader_length(&self) -> i32 {
        let of = |(x, y): (i32, i32)| distance(self.spot, (x, y));
        self.point.map_or(0, |point| of(point.at()))
    }
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
    let point = point(sheet, readings, axes, note);
    let (spot, hidden) = best_spot(sheet, traces, axes.main, point.at(), (width, height), taken)?;
    Some(Placed { point: note.placed.then_some(point), spot, hidden, lines: styled, color })
}

/// The point that a note speaks of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Point {
    x: i32,
    y: i32,
    /// The column in which the trace comes to the row of the point.
    reached: i32,
}

impl Point {
    const fn at(&self) -> (i32, i32) {
        (self.x, self.y)
    }
}

/// The point that a note speaks of: on the trace, whatever level its words tell. Where that is right beside the line of the
/// moment, on that line: a dot next to it would be a second place.
fn point(sheet: &Sheet, readings: &Readings, axes: Axes, note: &Note) -> Point {
    /// As far as the edge of a stage spreads, in units of the layout; further away the trace itself is the plainer place.
    const BESIDE: f64 = 30.0;
    let (reached, y) = on_trace(sheet, readings, axes, note);
    let line = readings.time.x_within(note.at);
    let x = if (reached - line).abs() <= sheet.u(BESIDE) { line } else { reached };
    Point { x, y, reached }
}

/// Where the trace shows what a note speaks of.
fn on_trace(sheet: &Sheet, readings: &Readings, axes: Axes, note: &Note) -> (i32, i32) {
    let wanted = readings.time.x_within(note.point_at.unwrap_or(note.at));
    let (x, y) = match nearest(readings, wanted) {
        Some((x, column)) => {
            (x, axes.row(note.amps.map_or(column.leave, |amps| amps.clamp(column.low, column.high))))
        }
        None => (wanted, axes.main.area.center().1),
    };
    // On top of a peak that it would hide.
    let y = if is_narrow_peak(sheet, readings, axes, (x, y)) { y - sheet.u(sheet.mark(DOT)) } else { y };
    // The dot stays within the strips: what is said above and below them is to be read.
    let floor = axes.quiet.unwrap_or(axes.main).area.bottom;
    (x, y.min(floor - sheet.u(sheet.mark(DOT)) - 1).max(axes.main.area.top + sheet.u(sheet.mark(DOT))))
}

/// Whether the trace there is a spike that a dot at its tip would hide: on both sides of the dot it is far lower.
fn is_narrow_peak(sheet: &Sheet, readings: &Readings, axes: Axes, (x, y): (i32, i32)) -> bool {
    let reach = sheet.u(sheet.mark(DOT + 2.0));
    let lower = |x: i32| {
        let index = usize::try_from(x - readings.time.left).ok();
        let column = index.and_then(|index| readings.amps.get(index)).and_then(Option::as_ref);
        column.is_some_and(|column| axes.row(column.high) > y + 3 * reach)
    };
    lower(x - reach) && lower(x + reach)
}

/// The column of the trace at `x`, or else the one that is nearest to it, with its place.
fn nearest(readings: &Readings, x: i32) -> Option<(i32, &Column)> {
    let all = (readings.time.left..).zip(&readings.amps);
    let shown = all.filter_map(|(at, column)| Some((at, column.as_ref()?)));
    shown.min_by_key(|(at, _)| (at - x).abs())
}

/// The lines of a note that is as wide as the figure.
fn wrapped(sheet: &Sheet, note: &Note, color: Color, width: i32) -> Vec<(String, Style)> {
    /// Lines that one of its own may take: its numbers are at its end.
    const MOST: usize = 3;
    let room = width - sheet.u(20.0);
    let head = sheet.style(em::USUAL, Weight::Bold, color);
    let body = sheet.style(em::USUAL, Weight::Regular, sheet.palette.text);
    let styles = std::iter::once(head).chain(std::iter::repeat(body));
    let lines = styles.zip(note.text());
    lines
        .flat_map(|(style, line)| {
            style.wrap(&clean(&line), room, MOST).into_iter().map(move |line| (line, style))
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

/// Half the width of the dot at the point of a note, in units of the layout.
const DOT: f64 = 6.0;

/// A flag on top of the line at which the board left what good boards do.
pub(in crate::render) fn pointer(sheet: &mut Sheet, areas: &Areas, x: i32, color: Color) {
    sheet.pointer_down((x, areas.amps.top + sheet.u(14.0)), color);
}

fn leader(sheet: &mut Sheet, note: &Placed) {
    let color = note.color;
    let (Some(point), Some(from)) = (note.point, note.foot()) else { return };
    let (x, y) = point.at();
    // Over to the trace, where that comes to the level later than the line stands.
    if point.reached > x {
        sheet.scene.across((x, point.reached), y, sheet.pen(1.5, 0.0, color));
    }
    if from != (x, y) {
        let shape = Shape::Line { from, to: (x, y), width: sheet.u(1.5), color };
        sheet.scene.shapes.push(shape);
    }
    // Standing on its corner, hollow, and clear of all around it: no part of a trace is any of these, in grey as well.
    let paper = sheet.palette.paper;
    for (grown, color) in [(2.0, paper), (0.0, color), (-3.0, paper)] {
        diamond(sheet, (x, y), sheet.u(sheet.mark(DOT + grown)), color);
    }
}

fn diamond(sheet: &mut Sheet, (x, y): (i32, i32), half: i32, color: Color) {
    let points = vec![(x - half, y), (x, y - half), (x + half, y), (x, y + half)];
    sheet.scene.shapes.push(Shape::Polygon { points, color });
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

#[cfg(test)]
mod tests {
    use super::super::super::super::axis::{TimeAxis, ValueAxis};
    use super::super::super::super::fixtures::{finding, phase, trace};
    use super::super::super::super::options::Options;
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
        let point = |note: &Note| point(&sheet, &readings, Axes { main, quiet: None }, note).at();
        for amps in [None, Some(0.5), Some(2.0), Some(0.1)] {
            assert_eq!(point(&note(30.0, amps)), (time.x(30.0), main.row(0.5)), "{amps:?}");
        }
        // After the last reading there is no trace: it stands at its end.
        let (x, y) = point(&note(79.0, Some(2.0)));
        assert!((time.x(59.0)..=time.x(60.0)).contains(&x) && y == main.row(0.5), "{x} {y}");
    }

    #[test]
    fn of_several_long_leaders_the_shortest_is_taken() {
        let sheet = Sheet::new(&Options::default(), (440.0, 560.0));
        let (trace, finding) = (trace(600, 60.0, |_| 0.5), finding(vec![phase("run", 0.0, 60.0)]));
        let subject = Subject { trace: &trace, profile: None, finding: &finding };
        let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 60.0 };
        let scale = Scale::new(&subject, &Readings::new(&subject, time));
        let lengths = std::cell::RefCell::new(vec![500, 400, 600]);
        let place = |_: &Scale| {
            let x = lengths.borrow_mut().pop().unwrap();
            let (point, spot) = (Point { x, y: 0, reached: x }, Rect::new(-10, 0, 0, 1));
            let (lines, color) = (Vec::new(), sheet.palette.alarm);
            vec![Placed { point: Some(point), spot, hidden: 0, lines, color }]
        };
        let (_, placed) = with_headroom(&sheet, &scale, &[1.0, 1.2, 1.4], 1, place);
        assert_eq!(placed[0].leader_length(), 400);
    }
}
