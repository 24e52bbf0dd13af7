//! Parts that the figures share: a run on its axes, its stages, its events, what is wrong with it, the foot.

pub(super) mod amps;
pub(super) mod attempts;
pub(super) mod called;
pub(super) mod crop;
pub(super) mod cut;
mod edge;
pub(super) mod envelope;
pub(super) mod events;
pub(super) mod foot;
pub(super) mod gaps;
pub(super) mod gives_up;
pub(super) mod heading;
pub(super) mod inrush;
pub(super) mod ladder;
pub(super) mod legend;
pub(super) mod limit;
pub(super) mod need;
pub(super) mod notes;
pub(super) mod phases;
pub(super) mod readings;
pub(super) mod repeats;
mod starved;
pub(super) mod table;
#[cfg(test)]
mod tests;
pub(super) mod trouble;
pub(super) mod turning;
pub(super) mod unseen;
pub(super) mod volts;

use super::RenderError;
use super::axis::{TimeAxis, ValueAxis};
use super::columns::{self, Column, Span};
use super::font::Weight;
use super::geometry::Rect;
use super::scene::{Anchor, Label, Shape, Style};
use super::sheet::{Sheet, em};
use super::theme::Color;
use crate::reference::Profile;
use crate::trace::{Event, Trace};
use crate::units::{Amps, Volts, marked_time};
use crate::verdict::{Finding, Phase};

/// A run with what it is compared with.
#[derive(Debug, Clone, Copy)]
pub(super) struct Subject<'a> {
    pub(super) trace: &'a Trace,
    pub(super) profile: Option<&'a Profile>,
    pub(super) finding: &'a Finding,
}

impl Subject<'_> {
    pub(super) fn resolution(&self) -> Option<Amps> {
        self.finding.log.resolution_a
    }

    /// Volts at which the envelope's watts become amps: those that the supply was set to, else those of the longest
    /// phase that was fed.
    pub(super) fn feed_volts(&self) -> Option<Volts> {
        let length = |phase: &&Phase| phase.end_s.value() - phase.start_s.value();
        let fed = self.finding.phases.iter().filter(|phase| phase.name != "off");
        let longest = fed.max_by(|a, b| length(a).total_cmp(&length(b))).map(|phase| phase.mean_v);
        self.set_volts().or(longest).filter(|volts| volts.value() > 0.0)
    }

    /// A moment of the log in words: of a press that is marked as the text says it, which is finer than the readings.
    pub(super) fn moment(&self, at: f64) -> String {
        let is_it = |event: &Event| event.kind.is_press() && event.time.value().total_cmp(&at).is_eq();
        if self.trace.events().iter().any(is_it) {
            return marked_time(at, self.finding.log.update_s().unwrap_or(0.0));
        }
        self.finding.log.time(at)
    }

    /// The current limit of the run, else that with which good boards are to be fed.
    pub(super) fn limit(&self) -> Option<Amps> {
        self.finding.log.limit_a.or(self.profile.map(|profile| profile.feed.limit))
    }

    /// Volts that the supply was set to.
    pub(super) fn set_volts(&self) -> Option<Volts> {
        self.finding.log.set_v.or(self.trace.header().set_volts)
    }
}

/// What was read as a line of that width and colour.
fn trace_line(
    sheet: &mut Sheet,
    left: i32,
    read: &[Option<Column>],
    axis: ValueAxis,
    (width, color): (f64, Color),
) {
    let spans = columns::spans(read, |value| axis.row(value));
    let width = sheet.u(width);
    sheet.scene.shapes.push(Shape::Steps { left, spans, clip: axis.area, width, color });
}

/// Width of the line of a fault, in units of the layout.
pub(super) const MARKER: f64 = 9.0;

/// A line that marks a moment: two edges with paper between them. No trace is hollow, nor a grid or a line of an event, so
/// that it is told from them by its shape, in grey as well.
pub(super) fn marker(sheet: &mut Sheet, x: i32, (top, bottom): (i32, i32), width: f64, color: Color) {
    let width = sheet.u(sheet.mark(width)).max(3);
    let edge = (width / 3).max(1);
    let left = x - width / 2;
    let area = Rect::new(left, top, left + width, bottom);
    sheet.scene.fill(area, color);
    sheet.scene.fill(Rect { left: left + edge, right: area.right - edge, ..area }, sheet.palette.paper);
}

/// The line at which the run left what good boards do, across one panel: far heavier than what only happened, since the two
/// must not be taken for each other. It leaves out, as wide as it is, what was read there: the two would merge, and a rest
/// of it beside a steep trace would be a line of its own.
fn fault_line(
    sheet: &mut Sheet,
    left: i32,
    read: &[Option<Column>],
    axis: ValueAxis,
    fault: Option<(i32, Color)>,
) {
    /// How far what was read keeps it away, in units of the layout.
    const AWAY: f64 = 5.0;
    /// A rest shorter than this says nothing, in units of the layout.
    const SHORT: f64 = 14.0;
    let Some((x, color)) = fault else { return };
    let away = sheet.u(AWAY);
    let index = |x: i32| usize::try_from(x - left).unwrap_or(0).min(read.len());
    let near = &columns::spans(read, |value| axis.row(value))[index(x - away)..index(x + away + 1)];
    let rows = |span: &Span| span.enter.into_iter().chain([span.top, span.bottom]);
    let passed = || near.iter().flatten().flat_map(rows);
    let (top, bottom) = (axis.area.top, axis.area.bottom);
    let above = passed().min().map_or(bottom, |row| row - away);
    let below = passed().max().map_or(bottom, |row| row + away);
    let beside = [(top, above.min(bottom)), (below.max(top), bottom)];
    let long = || beside.into_iter().filter(|(from, to)| to - from >= sheet.u(SHORT));
    // Where what was read takes the whole height it runs between the two edges of the line: a flag alone marks nothing below it.
    let whole = Some((top, bottom)).filter(|_| long().next().is_none());
    for span in long().chain(whole).collect::<Vec<_>>() {
        marker(sheet, x, span, MARKER, color);
    }
}

/// Words on a ground of their own.
fn on_ground(sheet: &mut Sheet, ground: Rect, label: Label) {
    sheet.scene.fill(ground, sheet.palette.paper);
    sheet.scene.text(label.text, label.at, label.anchor, label.style);
}

/// Where the parts of a figure of one run stand; a part that the figure does without is empty.
#[derive(Debug, Clone, Copy)]
pub(super) struct Areas {
    /// Names of phases too short to hold them.
    pub(super) overflow: Rect,
    pub(super) ribbon: Rect,
    /// What the lines and bands stand for; empty if there is nothing to compare with.
    pub(super) legend: Rect,
    /// Where notes are stacked that have no room beside the trace.
    pub(super) notes: Rect,
    pub(super) amps: Rect,
    /// Low current magnified; empty if nothing is to be magnified.
    pub(super) quiet: Rect,
    pub(super) events: Rect,
    pub(super) volts: Rect,
    pub(super) ticks: Rect,
}

/// A moment that the time axis tells, with its words and the colour of its line.
pub(super) type Told = (f64, String, Color);

/// Ticks of time and their labels, in `row`. The times of faults stand out among them, each below its own line: a tick
/// that near says the same less exactly, and goes.
pub(super) fn time_axis(sheet: &mut Sheet, time: TimeAxis, row: Rect, told: &[Told]) {
    let small = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let told = with_zero(sheet, time, row, small, told_labels(sheet, time, row, told));
    let (ticks, strokes) = ticks(sheet, time, row, small, &told);
    let baseline = row.bottom - sheet.u(4.0);
    let stroke = sheet.u(5.0);
    for x in strokes {
        sheet.scene.fill(Rect::new(x, row.top, x + 1, row.top + stroke), sheet.palette.frame);
    }
    for tick in ticks {
        sheet.scene.text(tick.text, (tick.left, baseline), Anchor::Start, small);
    }
    for (tick, color) in told {
        sheet.scene.fill(Rect::new(tick.x - 1, row.top, tick.x + 2, row.top + stroke), color);
        let bold = sheet.style(em::USUAL, Weight::Bold, color);
        sheet.scene.text(tick.text, (tick.left, baseline), Anchor::Start, bold);
    }
}

/// A tick with its label, which starts at `left`.
#[derive(Debug, Clone)]
struct Tick {
    x: i32,
    text: String,
    left: i32,
    right: i32,
}

impl Tick {
    /// Below its place, or as near as the row allows.
    fn new(sheet: &Sheet, time: TimeAxis, row: Rect, style: Style, (t, text): (f64, String)) -> Self {
        let (x, width) = (time.x_within(t), style.width(&text));
        let (leftmost, rightmost) = bounds_of(sheet, row);
        let left = (x - width / 2).min(rightmost - width).max(leftmost);
        Self { x, text, left, right: left + width }
    }

    /// The same below its place, ending there, or beginning there, each within `bounds`.
    fn placed(&self, bounds: (i32, i32), space: i32) -> Vec<Self> {
        let (x, width) = (self.x, self.right - self.left);
        let at = |left: i32| Self { x, text: self.text.clone(), left, right: left + width };
        let beside = [x + space / 2 - width, x - space / 2].map(at).into_iter();
        let within = |tick: &Self| tick.left >= bounds.0 && tick.right <= bounds.1;
        std::iter::once(at(self.left)).chain(beside.filter(within)).collect()
    }

    fn is_clear_of(&self, other: &Self, space: i32) -> bool {
        self.right + space <= other.left || other.right + space <= self.left
    }
}

/// From where to where labels may stand: to the left there is room below the values.
fn bounds_of(sheet: &Sheet, row: Rect) -> (i32, i32) {
    (row.left - sheet.u(40.0), row.right)
}

/// Room between two labels, in units of the layout.
const BETWEEN_TICKS: f64 = 8.0;

/// The labels of the faults: beside their places where two would stand on each other, but for those that find no room
/// even so.
fn told_labels(sheet: &Sheet, time: TimeAxis, row: Rect, told: &[Told]) -> Vec<(Tick, Color)> {
    let space = sheet.u(BETWEEN_TICKS);
    // As many as can be, then moved as little as can be.
    let mut ways: Vec<(usize, Vec<(Tick, Color)>)> = vec![(0, Vec::new())];
    for (t, text, color) in told {
        let style = sheet.style(em::USUAL, Weight::Bold, *color);
        let tick = Tick::new(sheet, time, row, style, (*t, text.clone()));
        // Right beside its own line each, two of moments that are close still find room.
        let places = tick.placed(bounds_of(sheet, row), sheet.u(2.0));
        let with = |(moved, labels): &(usize, Vec<(Tick, Color)>)| {
            let clear = |tick: &Tick| labels.iter().all(|(other, _)| tick.is_clear_of(other, space));
            let way = |(index, tick): (usize, &Tick)| {
                let labels = labels.iter().cloned().chain([(tick.clone(), *color)]).collect();
                clear(tick).then_some((moved + usize::from(index > 0), labels))
            };
            places.iter().enumerate().filter_map(way).chain([(*moved, labels.clone())]).collect::<Vec<_>>()
        };
        ways = ways.iter().flat_map(with).collect();
    }
    let best = ways.into_iter().min_by_key(|(moved, labels)| (std::cmp::Reverse(labels.len()), *moved));
    best.map(|(_, labels)| labels).unwrap_or_default()
}

/// One of the labels of faults moved aside where a zero within the axis, which other words refer to, finds no room beside it else.
fn with_zero(
    sheet: &Sheet,
    time: TimeAxis,
    row: Rect,
    style: Style,
    told: Vec<(Tick, Color)>,
) -> Vec<(Tick, Color)> {
    let zero = time.x_within(0.0);
    let shown =
        |told: &[(Tick, Color)]| ticks(sheet, time, row, style, told).0.iter().any(|tick| tick.x == zero);
    if time.from > 0.0 || time.to <= 0.0 || shown(&told) {
        return told;
    }
    let space = sheet.u(BETWEEN_TICKS);
    let with = |index: usize, label: Tick| {
        let mut moved = told.clone();
        let clear = (0..told.len()).all(|other| other == index || told[other].0.is_clear_of(&label, space));
        moved[index].0 = label;
        clear.then_some(moved)
    };
    let places = |index: usize| told[index].0.placed(bounds_of(sheet, row), space).into_iter();
    let mut ways =
        (0..told.len()).flat_map(|index| places(index).filter_map(move |label| with(index, label)));
    let moved = ways.find(|moved| shown(moved));
    moved.unwrap_or(told)
}

/// As many ticks as have room for their times beside what is told; and the columns of all, for a stroke without its time
/// still shows that the steps go on.
fn ticks(
    sheet: &Sheet,
    time: TimeAxis,
    row: Rect,
    style: Style,
    told: &[(Tick, Color)],
) -> (Vec<Tick>, Vec<i32>) {
    /// With fewer ticks than this beside the fault nobody could tell how long anything lasted.
    const LEAST: usize = 3;
    let space = sheet.u(BETWEEN_TICKS);
    let bounds = bounds_of(sheet, row);
    let set = |most: i32| {
        let (mut ticks, mut strokes): (Vec<Tick>, Vec<i32>) = (Vec::new(), Vec::new());
        for of in time.ticks(most) {
            let tick = Tick::new(sheet, time, row, style, of);
            strokes.push(tick.x);
            let clear = |tick: &Tick| {
                told.iter().all(|(told, _)| tick.is_clear_of(told, space))
                    && ticks.last().is_none_or(|last| tick.is_clear_of(last, space))
            };
            ticks.extend(tick.placed(bounds, space).into_iter().find(clear));
        }
        (ticks, strokes)
    };
    let most = ((time.right - time.left) / sheet.u(74.0)).max(1);
    // Finer steps where the fault takes what the usual ones leave.
    let sets = (most..=most * 3).map(set);
    let mut best: (Vec<Tick>, Vec<i32>) = (Vec::new(), Vec::new());
    for (ticks, strokes) in sets {
        if ticks.len() > best.0.len() {
            best = (ticks, strokes);
        }
        if best.0.len() >= LEAST {
            break;
        }
    }
    best
}

/// The named phase, from its first beginning to its last end, and a share of that on either side.
pub(super) fn around_phase(finding: &Finding, name: &str) -> Result<(f64, f64), RenderError> {
    const AROUND: f64 = 0.15;
    let named = || finding.phases.iter().filter(|phase| phase.name == name);
    let (Some(first), Some(last)) = (named().next(), named().next_back()) else {
        let mut known: Vec<String> = finding.phases.iter().map(|phase| phase.name.clone()).collect();
        known.sort();
        known.dedup();
        return Err(RenderError::NoSuchPhase { asked: name.to_owned(), known });
    };
    let (start, end) = (first.start_s.value(), last.end_s.value());
    let around = (end - start) * AROUND;
    Ok((start - around, end + around))
}
