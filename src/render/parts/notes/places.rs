//! Notes at their places, with the leaders to what they speak of.

use super::super::super::font::{Weight, clean};
use super::super::super::geometry::{Rect, px};
use super::super::super::scene::{Anchor, Shape, Style};
use super::super::super::sheet::{Sheet, em};
use super::super::super::theme::Color;
use super::super::amps::{self, Axes, Scale};
use super::super::envelope::expected;
use super::super::readings::Readings;
use super::super::{Areas, Subject};
use super::marks::{dot, mark};
use super::point::{BESIDE, moment, point};
use super::spots::{Among, Rows, best_spot, distance, foot};
use super::width::Width;
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
    let mut found = with_headroom(sheet, scale, &HEADROOM, notes.len(), place);
    // Rather no words than none of what they speak of to be seen.
    found.1.retain(|note| !note.covers);
    // On a very low figure heading and marker tell it: a note instead of the trace would leave nothing to be seen.
    if sheet.is_very_low() && found.1.iter().any(Placed::hides_much) { (*scale, Vec::new()) } else { found }
}

/// The least `headroom` at which `place` finds good places for so many notes.
pub(in crate::render) fn with_headroom(
    sheet: &Sheet,
    scale: &Scale,
    headroom: &[f64],
    wanted: usize,
    place: impl Fn(&Scale) -> Vec<Placed>,
) -> Arrangement {
    let mut best: Option<(_, Arrangement)> = None;
    for factor in headroom {
        let scale = scale.with_headroom(*factor);
        let placed = place(&scale);
        let hidden = worst(&placed);
        let far: i32 = placed.iter().map(|note| note.far(sheet)).sum();
        let shading = placed.iter().filter(|note| note.shades_much()).count();
        let as_traces = placed.iter().filter(|note| note.as_trace).count();
        let badness = (wanted.saturating_sub(placed.len()), hidden, as_traces, shading, far);
        if best.as_ref().is_none_or(|(least, _)| badness < *least) {
            best = Some((badness, (scale, placed)));
        }
        if badness == (0, (0, 0, 0), 0, 0, 0) {
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
    let words = amps::words(sheet, subject, readings, axes.main, fault);
    let without_limit = amps::words_but_limit(sheet, subject, readings, axes.main, fault);
    let shorter: Vec<Note> = notes.iter().map(|note| note.in_lines(FEWEST_LINES)).collect();
    let heads: Vec<Note> = notes.iter().map(|note| note.head_alone(subject)).collect();
    let is_low = sheet.is_low();
    // Before a note hides what it speaks of, or the line of its moment, it takes more lines; the words of the limit, which the
    // foot has too, make room; then, on a low figure, what it says beside what happened and the numbers.
    let of = [
        Some((notes, &words)),
        without_limit.as_ref().map(|taken| (notes, taken)),
        is_low.then_some((shorter.as_slice(), &words)),
        without_limit.as_ref().filter(|_| is_low).map(|taken| (shorter.as_slice(), taken)),
        sheet.is_very_low().then_some((heads.as_slice(), &words)),
    ];
    let ways = of.into_iter().flatten().flat_map(|way| Width::ALL.map(|width| (way, width)));
    let missing = |placed: &[Placed]| notes.len().saturating_sub(placed.len());
    let mut best: Vec<Placed> = Vec::new();
    for ((notes, taken), width) in ways {
        let placed = place_clear_of(sheet, subject, readings, axes, (notes, width, fault), taken.clone());
        let badness = |placed: &[Placed]| (missing(placed), worst(placed));
        if best.is_empty() || badness(&placed) < badness(&best) {
            best = placed;
        }
        if badness(&best) == (0, (0, 0, 0)) {
            break;
        }
    }
    best
}

/// How many notes lie over what they speak of, how much of the trace all hide together, and how many stand on the line of a
/// moment.
fn worst(placed: &[Placed]) -> (i32, i32, i32) {
    let each = placed.iter().map(Placed::badness);
    each.fold((0, 0, 0), |sum, (covers, hidden, on_line)| {
        (sum.0 + i32::from(covers), sum.1 + hidden, sum.2 + i32::from(on_line))
    })
}

fn place_clear_of(
    sheet: &Sheet,
    subject: &Subject,
    readings: &Readings,
    axes: Axes,
    (notes, width, fault): (&[Note], Width, Option<i32>),
    mut taken: Vec<Rect>,
) -> Vec<Placed> {
    let mut rows = vec![Rows::new(readings, axes.main)];
    if subject.finding.verdict.class == Class::FullBoot {
        // All that there is to be said is how the board differs from the envelope: it is not to be hidden either.
        rows.push(Rows::of_envelopes(readings, axes.main, &expected(subject, readings)));
    }
    let mut held_to = Rows::of_lines(readings, &amps::lines(subject, axes.main));
    held_to.push(Rows::of_envelopes(readings, axes.main, &expected(subject, readings)));
    let color = color(sheet, subject);
    let mut placed = Vec::new();
    for note in notes {
        let lines = fault.as_slice();
        let among = Among { traces: &rows, held_to: &held_to, lines, taken: &taken, leader_as_trace: false };
        let found = place(sheet, readings, axes, (note, color, width), among);
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
    /// Whether it lies over the very moment that it speaks of.
    covers: bool,
    /// How many columns of the trace it hides.
    hidden: i32,
    /// How many columns it hides of what the trace is held to.
    shades: i32,
    /// Whether it stands on the line of a moment.
    on_line: bool,
    /// Whether its leader would be taken for the trace.
    pub(in crate::render) as_trace: bool,
    lines: Vec<(String, Style)>,
    color: Color,
    /// The colour of its leader where it runs among many traces, and is dashed: in one piece or in the colour of its own it
    /// would be read as one of them.
    among_traces: Option<Color>,
    /// The line that marks its moment, as column and uppermost row, if it has one.
    line: Option<(i32, i32)>,
}

/// A good part of a note is more than one column of so many.
const PART: i32 = 3;

/// The first of the notes is that of the moment which a line in column `x` of `strip` marks: it needs no leader of its own
/// where that line runs.
pub(in crate::render) fn on_its_line(placed: &mut [Placed], x: Option<i32>, strip: Rect) {
    if let Some(first) = placed.first_mut() {
        first.line = x.map(|x| (x, strip.top));
    }
}

/// What the leaders of notes and the dots at their ends take.
pub(in crate::render) fn leaders(sheet: &Sheet, placed: &[Placed]) -> Vec<Rect> {
    let reach = |note: &Placed| {
        let point = note.point?;
        let dot = dot(sheet, point);
        let (x, y) = note.foot()?;
        let line = note.line.map_or(x, |(line, _)| line);
        let (left, right) = (dot.left.min(x).min(line), dot.right.max(x + 1).max(line + 1));
        Some(Rect::new(left, dot.top.min(y), right, dot.bottom.max(y + 1)))
    };
    placed.iter().filter_map(reach).collect()
}

impl Placed {
    /// Of a run among others.
    pub(in crate::render) fn among_traces(self, sheet: &Sheet) -> Self {
        Self { among_traces: Some(sheet.palette.faint_text), ..self }
    }

    /// Where its leader begins.
    fn foot(&self) -> Option<(i32, i32)> {
        Some(foot(self.spot, self.point?))
    }

    #[cfg(test)]
    pub(in crate::render) fn said(&self) -> impl Iterator<Item = &str> {
        self.lines.iter().map(|(line, _)| line.as_str())
    }

    /// What speaks against its place, the weightiest first.
    pub(in crate::render) const fn badness(&self) -> (bool, i32, bool) {
        (self.covers, self.hidden, self.on_line)
    }

    /// Whether the trace is hidden below a good part of it.
    const fn hides_much(&self) -> bool {
        self.hidden * PART > self.spot.width()
    }

    /// Whether what the trace is held to is.
    const fn shades_much(&self) -> bool {
        self.shades * PART > self.spot.width()
    }

    /// How many times as long as is bearable its leader is.
    pub(in crate::render) fn far(&self, sheet: &Sheet) -> i32 {
        /// A leader longer than this runs through too much, and one of twice that through twice as much, in units of the layout.
        const FAR: f64 = 150.0;
        self.point.map_or(0, |point| distance(self.spot, point)) / sheet.u(FAR)
    }
}

/// Finds the place where a note covers least of the trace; `None` if there is no room.
pub(in crate::render) fn place(
    sheet: &Sheet,
    readings: &Readings,
    axes: Axes,
    (note, color, width): (&Note, Color, Width),
    among: Among,
) -> Option<Placed> {
    let head = sheet.style(em::LARGE, Weight::Bold, color);
    let body = sheet.style(em::USUAL, Weight::Regular, sheet.palette.text);
    let room = axes.main.area.width() - sheet.u(40.0);
    let styles = std::iter::once(head).chain(std::iter::repeat(body));
    let said = styles.zip(note.text()).map(|(style, line)| (clean(&line), style)).collect();
    let said = width.lines(said, room);
    let width = said.iter().map(|(line, style)| style.width(line)).max().unwrap_or(0) + sheet.u(20.0);
    let height = height(sheet, &said);
    let point = point(sheet, readings, axes, note);
    let among_traces = among.leader_as_trace.then_some(sheet.palette.faint_text);
    let found = best_spot(sheet, among, axes.main, moment(sheet, readings, note, point), (width, height))?;
    Some(Placed {
        point: note.placed.then_some(point),
        spot: found.place,
        covers: found.covers && note.placed,
        hidden: found.hidden,
        shades: found.shades,
        on_line: found.on_line,
        as_trace: found.as_trace && note.placed,
        lines: said,
        color,
        among_traces,
        line: None,
    })
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
    area.split_top(stacked.min(area.height() * 9 / 20))
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
        // What has no room is left out as a whole: half a sentence may say the opposite of it.
        let mut said = note.lines.len();
        while said > FEWEST_LINES && top + height(sheet, &lines) > area.bottom {
            said -= 1;
            let shorter = Note { lines: note.lines[..said].to_vec(), ..*note };
            lines = wrapped(sheet, &shorter, color, area.width());
        }
        // Of what is too long even so its beginning is worth more than nothing.
        while lines.len() > FEWEST_LINES && top + height(sheet, &lines) > area.bottom {
            lines.pop();
        }
        let bottom = top + height(sheet, &lines);
        if bottom > area.bottom {
            break;
        }
        let point = note.placed.then(|| point(sheet, readings, axes, note));
        placed.push(Placed {
            point,
            spot: Rect { top, bottom, ..area },
            covers: false,
            hidden: 0,
            shades: 0,
            on_line: false,
            as_trace: false,
            lines,
            color,
            among_traces: None,
            line: None,
        });
        top = bottom + sheet.u(STACKED);
    }
    placed
}

/// The height of a head in a row of its own, over a panel so wide.
pub(in crate::render) fn above_height(sheet: &Sheet, subject: &Subject, note: &Note, width: i32) -> i32 {
    stack_height(sheet, &[note.head_alone(subject)], width)
}

/// A head in a row of its own, above what it speaks of: where no place beside the trace is left, what happened is told all the
/// same, and nothing is hidden.
pub(in crate::render) fn above(
    sheet: &Sheet,
    subject: &Subject,
    axes: Axes,
    area: Rect,
    (readings, note, color): (&Readings, &Note, Color),
) -> Vec<Placed> {
    let head = note.head_alone(subject);
    let mut placed = stack(sheet, axes, area, std::iter::once((readings, &head, color)));
    for note in &mut placed {
        let longest = note.lines.iter().map(|(line, style)| style.width(line)).max().unwrap_or(0);
        let width = (longest + sheet.u(20.0)).min(area.width());
        let over = note.point.map_or(area.left, |(x, _)| x - width / 2);
        let left = over.clamp(area.left, area.right - width);
        note.spot = Rect { left, right: left + width, ..note.spot };
    }
    placed
}

fn leader(sheet: &mut Sheet, note: &Placed) {
    let color = note.color;
    let (Some((x, y)), Some(from)) = (note.point, note.foot()) else { return };
    // From the line over to the trace, where that is at the level before or after the moment.
    if let Some((line, _)) = note.line.filter(|(line, _)| *line != x) {
        let stub = (line.min(x), line.max(x) + 1);
        sheet.scene.across(stub, y, sheet.pen(1.5, 0.0, color));
    }
    let line = note.line.filter(|(line, _)| (line - x).abs() <= sheet.u(BESIDE));
    // Where the line itself leads from the note to the dot, a leader on it would fill it in.
    let above = line.filter(|(_, top)| note.spot.bottom <= *top);
    if let Some((line, top)) = above {
        // Above the strip no trace runs, so that it is as the line that it leads to.
        stroke(sheet, ((line, note.spot.bottom - 1), (line, top)), color);
    } else if from != (x, y) && !line.is_some_and(|(line, _)| line == x && from.0 == x) {
        match note.among_traces {
            Some(neutral) => dashes(sheet, (from, (x, y)), neutral),
            None => stroke(sheet, (from, (x, y)), color),
        }
    }
    mark(sheet, (x, y), color);
}

fn stroke(sheet: &mut Sheet, (from, to): ((i32, i32), (i32, i32)), color: Color) {
    sheet.scene.shapes.push(Shape::Line { from, to, width: sheet.u(1.5), color });
}

/// A stroke in pieces with spaces as long, as no trace has them.
fn dashes(sheet: &mut Sheet, (from, to): ((i32, i32), (i32, i32)), color: Color) {
    /// Length of a piece, in units of the layout.
    const DASH: f64 = 5.0;
    let (across, down) = (f64::from(to.0 - from.0), f64::from(to.1 - from.1));
    let pieces = px(across.hypot(down) / f64::from(sheet.u(DASH)));
    let at = |piece: i32| {
        let share = f64::from(piece) / f64::from(pieces);
        (from.0 + px(share * across), from.1 + px(share * down))
    };
    for piece in (0..pieces).step_by(2) {
        stroke(sheet, (at(piece), at(piece + 1)), color);
    }
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
    fn of_stacked_notes_what_has_no_room_is_left_out_as_a_whole() {
        let (trace, finding) = (trace(600, 60.0, |_| 0.5), finding(vec![phase("run", 0.0, 60.0)]));
        let subject = Subject { trace: &trace, profile: None, finding: &finding };
        let readings = Readings::new(&subject, TimeAxis { left: 0, right: 300, from: 0.0, to: 60.0 });
        let main = ValueAxis { area: Rect::new(0, 200, 300, 400), low: 0.0, high: 3.0 };
        let sheet = Sheet::new(&Options::default(), (440.0, 560.0));
        let long =
            "limit 0.620 A met too briefly for the meter: 0.357 A read then, at most 0.403 A in any try";
        let lines: Vec<String> = ["the feed gives way", "volts dip to 3.64 V", long].map(String::from).into();
        let note = Note { at: 30.0, point_at: None, amps: None, lines, more: 0, placed: true };
        let color = sheet.palette.alarm;
        let whole = height(&sheet, &wrapped(&sheet, &note, color, 300));
        let said = |room: i32| {
            let area = Rect::new(0, 0, 300, room);
            let axes = Axes { main, quiet: None };
            let placed = stack(&sheet, axes, area, std::iter::once((&readings, &note, color)));
            placed[0].lines.iter().map(|(line, _)| line.clone()).collect::<Vec<_>>()
        };
        assert!(said(whole).len() > 3);
        assert_eq!(said(whole - 1), ["the feed gives way", "volts dip to 3.64 V"]);
    }

    #[test]
    fn of_several_long_leaders_the_shortest_is_taken_that_is_not_taken_for_the_trace() {
        let sheet = Sheet::new(&Options::default(), (440.0, 560.0));
        let (trace, finding) = (trace(600, 60.0, |_| 0.5), finding(vec![phase("run", 0.0, 60.0)]));
        let subject = Subject { trace: &trace, profile: None, finding: &finding };
        let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 60.0 };
        let scale = Scale::new(&subject, &Readings::new(&subject, time));
        let best = |leaders: [(i32, bool); 3]| {
            let leaders = std::cell::RefCell::new(leaders.to_vec());
            let place = |_: &Scale| {
                let (x, as_trace) = leaders.borrow_mut().remove(0);
                let spot = Rect::new(-10, 0, 0, 1);
                let (lines, color) = (Vec::new(), sheet.palette.alarm);
                let point = Some((x, 0));
                let (covers, hidden, shades, on_line) = (false, 0, 0, false);
                vec![Placed {
                    point,
                    spot,
                    covers,
                    hidden,
                    shades,
                    on_line,
                    as_trace,
                    lines,
                    color,
                    among_traces: None,
                    line: None,
                }]
            };
            with_headroom(&sheet, &scale, &[1.0, 1.2, 1.4], 1, place).1[0].point
        };
        assert_eq!(best([(600, false), (400, false), (500, false)]), Some((400, 0)));
        assert_eq!(best([(10, true), (500, false), (600, false)]), Some((500, 0)));
    }
}
