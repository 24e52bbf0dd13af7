//! Departures, at their place: what was measured and what good boards do.

use super::super::axis::ValueAxis;
use super::super::columns::Column;
use super::super::font::{Weight, clean};
use super::super::geometry::Rect;
use super::super::scene::{Anchor, Shape, Style};
use super::super::sheet::{Sheet, em};
use super::super::theme::Color;
use super::super::words;
use super::amps::Axes;
use super::readings::Readings;
use super::turning::turning;
use super::{Areas, Subject};
use crate::verdict::Departure;

/// A note with the point that it speaks of.
#[derive(Debug)]
pub(in crate::render) struct Note {
    pub(in crate::render) at: f64,
    /// Where the point stands on the amps; `None` for where the trace stands.
    pub(in crate::render) amps: Option<f64>,
    /// Head and body.
    pub(in crate::render) lines: Vec<String>,
}

/// Notes that a picture can carry and still be read at a glance; the finding has them all.
pub(in crate::render) const MOST_NOTES: usize = 4;

/// Draws at most `most` notes; the last says how many are left out.
pub(in crate::render) fn draw(
    sheet: &mut Sheet,
    subject: &Subject,
    readings: &Readings,
    axes: Axes,
    areas: &Areas,
    most: usize,
) {
    let notes = notes(subject);
    let shown: Vec<Note> = notes.into_iter().filter(|note| readings.time.shows(note.at)).collect();
    let left_out = shown.len().saturating_sub(most);
    let mut placed: Vec<Placed> = Vec::new();
    for (index, mut note) in shown.into_iter().take(most).enumerate() {
        if index + 1 == most && left_out > 0 {
            note.lines.push(format!("and {left_out} more in the finding"));
        }
        let color = sheet.palette.alarm;
        placed.extend(place(sheet, readings, axes, &note, color, &placed));
    }
    // Lines first: none may run through the words of another note.
    for note in &placed {
        line_at(sheet, areas, note.point.0);
    }
    pin(sheet, &placed);
}

/// Draws notes at their places: the leaders first, so that none runs through the words of another note.
pub(in crate::render) fn pin(sheet: &mut Sheet, placed: &[Placed]) {
    for note in placed {
        leader(sheet, note);
    }
    for note in placed {
        frame(sheet, note);
    }
}

/// A note with its place.
#[derive(Debug)]
pub(in crate::render) struct Placed {
    point: (i32, i32),
    spot: Rect,
    lines: Vec<(String, Style)>,
    color: Color,
}

/// What there is to say: the turn that the verdict speaks of, then the departures, first in time first.
fn notes(subject: &Subject) -> Vec<Note> {
    let mut departures: Vec<Note> =
        subject.finding.departures.iter().map(|d| departure(subject, d)).collect();
    departures.sort_by(|a, b| a.at.total_cmp(&b.at));
    turning(subject).into_iter().chain(departures).collect()
}

fn departure(subject: &Subject, departure: &Departure) -> Note {
    let numbers = words::departure_numbers(departure, subject.resolution());
    let lines = vec![words::departure(departure), numbers];
    let amps = (departure.unit == "A").then_some(departure.measured);
    Note { at: departure.starts_s.value(), amps, lines }
}

/// Finds the place where a note covers least of the trace; `None` if there is no room.
pub(in crate::render) fn place(
    sheet: &Sheet,
    readings: &Readings,
    axes: Axes,
    note: &Note,
    color: Color,
    placed: &[Placed],
) -> Option<Placed> {
    let head = sheet.style(em::LARGE, Weight::Bold, color);
    let body = sheet.style(em::USUAL, Weight::Regular, sheet.palette.text);
    let room = axes.main.area.width() - sheet.u(40.0);
    let styled: Vec<(String, Style)> = (0..)
        .zip(&note.lines)
        .filter_map(|(i, line)| {
            let style = if i == 0 { head } else { body };
            Some((style.fit(&clean(line), room)?, style))
        })
        .collect();
    let width = styled.iter().map(|(line, style)| style.width(line)).max().unwrap_or(0) + sheet.u(20.0);
    let height = styled.iter().map(|(_, style)| style.line_height()).sum::<i32>() + sheet.u(12.0);
    let x = readings.time.x_within(note.at);
    let y = note.amps.or_else(|| standing(readings, x)).map_or(axes.main.area.center().1, |a| axes.row(a));
    let taken: Vec<Rect> = placed.iter().map(|other| other.spot).collect();
    let spot = best_spot(sheet, readings, axes.main, (x, y), (width, height), &taken)?;
    Some(Placed { point: (x, y), spot, lines: styled, color })
}

/// The amps that the trace shows at column `x`.
fn standing(readings: &Readings, x: i32) -> Option<f64> {
    let index = usize::try_from(x - readings.time.left).ok()?;
    readings.amps.get(index)?.as_ref().map(|column| column.leave)
}

/// The vertical line at which the board left what good boards do.
fn line_at(sheet: &mut Sheet, areas: &Areas, x: i32) {
    let pen = sheet.pen(2.0, 6.0, sheet.palette.alarm);
    let bottom = if areas.quiet.is_empty() { areas.amps.bottom } else { areas.quiet.bottom };
    sheet.scene.down(x, (areas.amps.top, bottom), pen);
    sheet.pointer_down((x, areas.amps.top + sheet.u(12.0)), sheet.palette.alarm);
}

fn leader(sheet: &mut Sheet, note: &Placed) {
    let (spot, (x, y), color) = (note.spot, note.point, note.color);
    let from = (x.clamp(spot.left, spot.right - 1), y.clamp(spot.top, spot.bottom - 1));
    if from != (x, y) {
        let shape = Shape::Line { from, to: (x, y), width: sheet.u(1.5), color };
        sheet.scene.shapes.push(shape);
    }
    let r = sheet.u(4.0);
    sheet.scene.fill(Rect::new(x - r, y - r, x + r + 1, y + r + 1), color);
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

/// Of the places within the strip that no other note takes, the one that hides least of the trace, then the nearest.
fn best_spot(
    sheet: &Sheet,
    readings: &Readings,
    axis: ValueAxis,
    (x, y): (i32, i32),
    (width, height): (i32, i32),
    taken: &[Rect],
) -> Option<Rect> {
    /// Places to try along each direction.
    const TRIES: i32 = 14;
    // Below the pointers at the top, which show where the notes belong.
    let inside = Rect { top: axis.area.top + sheet.u(16.0), ..axis.area.grown(-sheet.u(6.0)) };
    let step = |low: i32, high: i32, i: i32| low + (high - low).max(0) * i / (TRIES - 1);
    let spots = (0..TRIES * TRIES).map(|n| {
        let left = step(inside.left, inside.right - width, n % TRIES);
        let top = step(inside.top, inside.bottom - height, n / TRIES);
        Rect::new(left, top, left + width, top + height)
    });
    let within = spots.filter(|spot| inside.holds(*spot));
    let free = within.filter(|spot| !taken.iter().any(|other| other.grown(sheet.u(6.0)).overlaps(*spot)));
    let distance = |spot: &Rect| {
        let (dx, dy) = (x - x.clamp(spot.left, spot.right), y - y.clamp(spot.top, spot.bottom));
        dx.abs() + dy.abs()
    };
    // A column of hidden trace weighs as much as a step of some pixels away; the place itself stays in view.
    free.min_by_key(|spot| {
        let covers = spot.grown(sheet.u(4.0)).holds(Rect::new(x, y, x + 1, y + 1));
        (hidden(readings, axis, *spot) * 6) + distance(spot) + if covers { 2000 } else { 0 }
    })
}

/// How many columns of the trace a box would hide.
fn hidden(readings: &Readings, axis: ValueAxis, spot: Rect) -> i32 {
    let columns = (readings.time.left..).zip(&readings.amps);
    let within = columns.filter(|(x, _)| (spot.left..spot.right).contains(x));
    let meets = |column: &Column| axis.row(column.high) < spot.bottom && axis.row(column.low) >= spot.top;
    let count = within.filter(|(_, column)| column.as_ref().is_some_and(meets)).count();
    i32::try_from(count).unwrap_or(i32::MAX)
}
