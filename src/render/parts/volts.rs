//! The strip of volts, with the sag to be seen.

use super::super::axis::ValueAxis;
use super::super::columns::Column;
use super::super::font::Weight;
use super::super::geometry::{Rect, px};
use super::super::scene::{Anchor, Shape, Style};
use super::super::sheet::{Sheet, em};
use super::super::theme::Color;
use super::events::Lane;
use super::limit;
use super::readings::Readings;
use super::starved;
use super::turning::LEAST_SAG;
use super::{Subject, amps, gaps};
use crate::stats::robust::median;
use crate::units::Volts;
use crate::verdict::Class;

/// From where to where the strip reaches, in volts.
#[derive(Debug, Clone, Copy)]
pub(in crate::render) struct Scale {
    low: f64,
    high: f64,
}

impl Scale {
    /// From zero where the feed collapses; else only the part in which it moves, so that a sag is seen.
    pub(in crate::render) fn new(subject: &Subject, readings: &Readings) -> Self {
        /// Headroom above the highest volts, as a share of the axis.
        const HEADROOM: f64 = 0.15;
        /// Depth of the axis to that of the sag.
        const SAG_SHARE: f64 = 1.3;
        /// Least depth of the axis where a dip is what the verdict stands on, as a share of the volts: below this, steps of
        /// the readback would look like dips.
        const DIP: f64 = 0.03;
        let top = highest(subject, readings);
        if top <= 0.0 {
            return Self { low: 0.0, high: 1.0 };
        }
        let lowest =
            settled(subject, readings).iter().map(|(_, column)| column.low).fold(f64::INFINITY, f64::min);
        // The sag takes most of the strip, and a steady feed is not blown up to look like one.
        let below = (top - lowest) * SAG_SHARE;
        let starves = subject.finding.verdict.class == Class::FeedLimited && is_dip(top, lowest);
        let least = if starves { (1.0 - DIP) * top } else { COLLAPSE * top };
        let low = if lowest.is_finite() && lowest > top / 2.0 { (top - below).min(least) } else { 0.0 };
        Self { low, high: low + (top - low) * (1.0 + HEADROOM) }
    }

    /// The scale that serves both runs.
    pub(in crate::render) fn shared(self, other: Self) -> Self {
        Self { low: self.low.min(other.low), high: self.high.max(other.high) }
    }

    pub(in crate::render) fn axis(self, area: Rect) -> ValueAxis {
        ValueAxis { area, low: self.low, high: self.high }
    }
}

/// The height of the strip within `height`: that share of it, but, as far as the amps have more, with room for two numbers.
pub(in crate::render) fn height(sheet: &Sheet, height: i32, share: f64) -> i32 {
    /// A lower strip has no room for two numbers, in units of the layout.
    const LEAST: f64 = 28.0;
    /// Part of the height that it takes at most for their sake.
    const PART: i32 = 3;
    px(f64::from(height) * share).max(sheet.u(LEAST).min(height / PART))
}

/// Draws the strip; `zero` is when the time of the figure begins, on the run's own clock.
pub(in crate::render) fn draw(
    sheet: &mut Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    (lane, zero): (&Lane, f64),
) {
    let (palette, area) = (sheet.palette, axis.area);
    if area.is_empty() {
        return;
    }
    grid(sheet, axis);
    limit::above_volts(sheet, readings, area);
    gaps::draw(sheet, readings, area);
    lane.lines(sheet, area);
    gaps::words(sheet, readings, area);
    super::fault_line(sheet, readings.time.left, &readings.volts, axis, lane.fault());
    // A collapsed feed is not to be taken for the frame that it lies on.
    let width = if readings.limited.is_empty() { 2.0 } else { 3.2 };
    line(sheet, readings, axis, (width, palette.volts));
    signs(sheet, subject, readings, axis);
    lowest(sheet, subject, readings, axis, (lane.fault().map(|(x, _)| x), zero));
}

/// A sign below each dip in the tries of a board that the supply starves.
pub(in crate::render) fn signs(sheet: &mut Sheet, subject: &Subject, readings: &Readings, axis: ValueAxis) {
    for (x, row) in dips(subject, readings, axis) {
        dip(sheet, (x, row), axis.area);
    }
}

/// The readings in these dips that the window shows.
fn shown(subject: &Subject, readings: &Readings) -> impl Iterator<Item = usize> {
    starved::dips(subject).into_iter().filter(|index| readings.time.shows(subject.trace.time()[*index]))
}

/// Whether there are such signs.
pub(in crate::render) fn has_signs(subject: &Subject, readings: &Readings) -> bool {
    shown(subject, readings).next().is_some()
}

/// Where the volts dip in the tries of a board that the supply starves, in pixels.
fn dips(subject: &Subject, readings: &Readings, axis: ValueAxis) -> Vec<(i32, i32)> {
    let (time, volts) = (subject.trace.time(), subject.trace.volts());
    shown(subject, readings)
        .map(|index| (readings.time.x_within(time[index]), axis.row_within(volts[index])))
        .collect()
}

/// Half the width of the sign of a dip, in units of the layout.
const SIGN: f64 = 5.0;

/// The sign of a dip, right below it.
fn dip(sheet: &mut Sheet, (x, row): (i32, i32), area: Rect) {
    /// Room from the dip to its sign, in units of the layout.
    const APART: f64 = 4.0;
    // Where a low strip has no room below the dip, on its tip: a dip without its sign would be taken for none.
    let top = (row + sheet.u(APART)).min(area.bottom - 1 - sheet.u(SIGN));
    if top >= area.top {
        sign(sheet, (x, top));
    }
}

/// Two strokes that point up at what is above them.
pub(super) fn sign(sheet: &mut Sheet, (x, top): (i32, i32)) {
    let (half, width, color) = (sheet.u(SIGN), sheet.u(2.0), sheet.palette.limit);
    for side in [-half, half] {
        let (from, to) = ((x, top), (x + side, top + half));
        sheet.scene.shapes.push(Shape::Line { from, to, width, color });
    }
}

pub(in crate::render) fn grid(sheet: &mut Sheet, axis: ValueAxis) {
    /// Steps to try: a scale with one number on it is none.
    const MOST: i32 = 8;
    let usual = (axis.area.height() / sheet.u(30.0)).clamp(2, 3);
    let most = (usual..=MOST).find(|most| axis.ticks(*most, false).len() > 1).unwrap_or(usual);
    amps::grid(sheet, axis, most, "V", 1.0);
    if axis.low > 0.0 {
        broken(sheet, axis.area);
    }
}

/// Two slanting strokes across the foot of an axis that does not begin at zero, and nothing between them.
fn broken(sheet: &mut Sheet, area: Rect) {
    /// From one stroke to the other, how far they slant, and half their length, in units of the layout.
    const APART: f64 = 5.0;
    const SLANT: f64 = 2.0;
    const HALF: f64 = 3.0;
    let (apart, slant, half) = (sheet.u(APART), sheet.u(SLANT), sheet.u(HALF));
    let (x, lower) = (area.left, area.bottom - sheet.u(SLANT + 2.0));
    let upper = lower - apart;
    sheet.scene.fill(Rect::new(x - 1, upper, x + 2, lower), sheet.palette.paper);
    for y in [upper, lower] {
        let (from, to) = ((x - half, y + slant), (x + half, y - slant));
        let (width, color) = (sheet.u(1.5), sheet.palette.text);
        sheet.scene.shapes.push(Shape::Line { from, to, width, color });
    }
}

/// A run's volts as a line of that width and colour.
pub(in crate::render) fn line(sheet: &mut Sheet, readings: &Readings, axis: ValueAxis, pen: (f64, Color)) {
    super::trace_line(sheet, readings.time.left, &readings.volts, axis, pen);
}

/// Volts below this share of the highest are a collapse or a ramp, not a sag.
const COLLAPSE: f64 = 0.9;

/// Readings after the first high one that still belong to the ramp: a supply averages over a while, so that a step
/// spreads over two of its readings.
const RAMP: usize = 2;

fn highest(subject: &Subject, readings: &Readings) -> f64 {
    let drawn = readings.volts.iter().flatten().map(|column| column.high);
    subject.feed_volts().map_or(0.0, Volts::value).max(drawn.fold(0.0, f64::max))
}

/// The columns in which the board was fed and the volts had come up, if they ever did; else all in which it was fed
/// but the ramp at the beginning.
fn settled<'a>(subject: &Subject, readings: &'a Readings) -> Vec<(i32, &'a Column)> {
    let top = highest(subject, readings);
    let off: Vec<(i32, i32)> = subject
        .finding
        .phases
        .iter()
        .filter(|phase| phase.name == "off")
        .map(|phase| (readings.time.x(phase.start_s.value()), readings.time.x(phase.end_s.value())))
        .collect();
    // The first sample that is past the ramp, once the volts have come up.
    let ramp = ramp(subject);
    let (mut up, mut ever_up) = (None, false);
    let (mut settled, mut fed) = (Vec::new(), Vec::new());
    for (x, column) in (readings.time.left..).zip(&readings.volts) {
        let Some(column) = column else { continue };
        if off.iter().any(|(left, right)| (*left..*right).contains(&x)) {
            up = None;
            continue;
        }
        match up {
            Some(first) if column.samples.start > first => settled.push((x, column)),
            _ => fed.push((x, column)),
        }
        if up.is_none() && column.leave >= COLLAPSE * top {
            up = Some(column.samples.end + ramp);
        }
        ever_up |= up.is_some();
    }
    if ever_up { settled } else { after_switch_on(fed) }
}

/// How many samples the ramp may take: a supply that is read more often than it renews its readings repeats each.
fn ramp(subject: &Subject) -> usize {
    /// Renewals over which the repeats are counted.
    const COUNTED: u8 = 10;
    let time = subject.trace.time();
    let (Some(update_s), Some(first)) = (subject.finding.log.update_s(), time.first()) else { return RAMP };
    let until = first + f64::from(COUNTED) * update_s;
    let repeats = time.partition_point(|time| *time < until) / usize::from(COUNTED);
    RAMP * repeats.max(1)
}

/// Without the columns up to the first readings of real volts, so that a collapsed feed is not read as none at all.
fn after_switch_on(fed: Vec<(i32, &Column)>) -> Vec<(i32, &Column)> {
    let most = fed.iter().map(|(_, column)| column.high).fold(0.0, f64::max);
    let first =
        fed.iter().find(|(_, column)| column.high >= most / 2.0).map(|(_, column)| column.samples.end);
    fed.into_iter()
        .filter(|(_, column)| first.is_none_or(|first| column.samples.start > first + RAMP))
        .collect()
}

/// Names the lowest volts, at their place but clear of the line of the fault; where there is no room beside them, with when
/// that was: beside another dip the words would be taken for that one's.
fn lowest(
    sheet: &mut Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    (fault, zero): (Option<i32>, f64),
) {
    let settled = settled(subject, readings);
    let usual = usual(highest(subject, readings), &settled);
    let Some((x, column)) = settled.into_iter().min_by(|a, b| a.1.low.total_cmp(&b.1.low)) else { return };
    let Ok(volts) = Volts::new(column.low) else { return };
    // A steady feed has no lowest that says anything.
    if !is_dip(usual, column.low) {
        return;
    }
    let style = sheet.style(em::SMALL, Weight::Bold, sheet.palette.text);
    if axis.area.height() < 2 * style.line_height() {
        return;
    }
    let signs: Vec<i32> = dips(subject, readings, axis).into_iter().map(|(x, _)| x).collect();
    let words = Words { style, axis, x, row: axis.row_within(column.low), fault, signs, sign: sheet.u(SIGN) };
    let lowest = subject.finding.log.volts(volts);
    let rises = words.signs.is_empty() && rises_from_below(subject, readings, column.low);
    let settled = if rises { " once settled" } else { "" };
    let text = format!("lowest {lowest}{settled}");
    let when = when(subject, column, zero)
        .map_or_else(|| text.clone(), |at| format!("lowest {lowest} at {at}{settled}"));
    let beside = words.beside(sheet, readings, &text);
    let Some((text, ground)) = beside.map(|ground| (text, ground)).or_else(|| {
        // Words over the dips themselves would hide more than they tell.
        let ground = words.anywhere(sheet, readings, &when)?;
        (words.badness(readings, ground).0.1 == 0).then_some((when, ground))
    }) else {
        return;
    };
    sheet.scene.fill(ground, sheet.palette.paper);
    if !words.passes_a_sign(ground) {
        leader(sheet, (x, words.row), ground);
    }
    let at = (ground.left + sheet.u(MARGIN), ground.bottom - sheet.u(BELOW_BASELINE));
    sheet.scene.text(text, at, Anchor::Start, style);
}

/// Whether lower volts than those were read of the feed on, which are its rise and are not told.
fn rises_from_below(subject: &Subject, readings: &Readings, low: f64) -> bool {
    let fed = subject.finding.phases.iter().filter(|phase| phase.name != "off");
    let spans: Vec<(i32, i32)> = fed
        .map(|phase| (readings.time.x(phase.start_s.value()), readings.time.x(phase.end_s.value())))
        .collect();
    let columns = (readings.time.left..).zip(&readings.volts);
    columns
        .filter(|(x, _)| spans.iter().any(|(left, right)| (*left..*right).contains(x)))
        .any(|(_, column)| column.as_ref().is_some_and(|column| column.leave < low))
}

/// What a feed is steady at: neither what was set, which the readback may miss, nor the highest of its noise; of one that has
/// collapsed, what it should be.
fn usual(top: f64, settled: &[(i32, &Column)]) -> f64 {
    let mut read: Vec<f64> = settled.iter().map(|(_, column)| column.leave).collect();
    median(&mut read).filter(|median| *median >= COLLAPSE * top).unwrap_or(top)
}

/// Whether volts that low are a dip of a feed that is `usual` else.
fn is_dip(usual: f64, low: f64) -> bool {
    low <= usual * (1.0 - LEAST_SAG)
}

/// Ties words that stand away from the dip that they name to it.
fn leader(sheet: &mut Sheet, (x, y): (i32, i32), ground: Rect) {
    let from = (x.clamp(ground.left, ground.right - 1), y.clamp(ground.top, ground.bottom - 1));
    if (from.0 - x).abs() > sheet.u(FAR) {
        let (width, color) = (sheet.u(1.0), sheet.palette.text);
        sheet.scene.shapes.push(Shape::Line { from, to: (x, y), width, color });
    }
}

/// From this far on words need a line to their place, in units of the layout.
const FAR: f64 = 18.0;

/// When the lowest volts of a column were read, on the time of the figure.
fn when(subject: &Subject, column: &Column, zero: f64) -> Option<String> {
    let (time, volts) = (subject.trace.time(), subject.trace.volts());
    let lowest = column.samples.clone().min_by(|a, b| volts[*a].total_cmp(&volts[*b]))?;
    Some(subject.finding.log.time(time[lowest] - zero))
}

/// Room beside words on their ground, and below their baseline, in units of the layout.
const MARGIN: f64 = 3.0;
const BELOW_BASELINE: f64 = 4.0;

fn in_columns(ground: Rect, x: i32) -> bool {
    (ground.left..ground.right).contains(&x)
}

/// Words that name the lowest volts, which stand in column `x` and `row`.
struct Words {
    style: Style,
    axis: ValueAxis,
    x: i32,
    row: i32,
    fault: Option<i32>,
    /// The columns of the signs of all dips.
    signs: Vec<i32>,
    /// Half the width of each.
    sign: i32,
}

impl Words {
    /// The ground of `text` that begins at `left`, kept within the strip.
    fn ground(&self, sheet: &Sheet, text: &str, left: i32) -> Rect {
        let (area, height) = (self.axis.area, self.style.line_height());
        // Below the lowest there is nothing, as long as there is room.
        let above = self.row + height + sheet.u(6.0) > area.bottom;
        let below = (self.row + height).min(area.bottom - sheet.u(6.0));
        let baseline = if above { self.row - sheet.u(8.0) } else { below };
        let width = self.style.width(text);
        let left = left.min(area.right - width - sheet.u(4.0)).max(area.left) - sheet.u(MARGIN);
        let right = left + width + 2 * sheet.u(MARGIN);
        Rect::new(left, baseline - sheet.u(13.0), right, baseline + sheet.u(BELOW_BASELINE))
    }

    /// Right or left of the lowest, if that hides nothing.
    fn beside(&self, sheet: &Sheet, readings: &Readings, text: &str) -> Option<Rect> {
        let (aside, width) = (sheet.u(8.0), self.style.width(text));
        let near = |ground: &Rect| ground.left <= self.x + 2 * aside && ground.right >= self.x - 2 * aside;
        let places = [self.x + aside, self.x - aside - width].map(|left| self.ground(sheet, text, left));
        places.into_iter().filter(near).find(|ground| self.badness(readings, *ground).0 == (false, 0))
    }

    /// Anywhere along the strip where it hides nothing, as near as can be.
    fn anywhere(&self, sheet: &Sheet, readings: &Readings, text: &str) -> Option<Rect> {
        /// Columns from one place to the next that is tried.
        const STEP: usize = 8;
        let lefts = (self.axis.area.left..self.axis.area.right).step_by(STEP);
        let grounds = lefts.map(|left| self.ground(sheet, text, left));
        // Beside another dip they would be taken for that one's.
        let other = |ground: &Rect| self.others().any(|sign| in_columns(ground.wider(sheet.u(FAR)), sign));
        grounds.min_by_key(|ground| {
            (self.badness(readings, *ground).0, other(ground), self.badness(readings, *ground).1)
        })
    }

    /// The signs of the other dips.
    fn others(&self) -> impl Iterator<Item = i32> {
        self.signs.iter().copied().filter(|sign| *sign != self.x)
    }

    /// Whether a line from words on `ground` to their place would run through the sign of another dip.
    fn passes_a_sign(&self, ground: Rect) -> bool {
        let (from, to) = (ground.left.min(self.x), ground.right.max(self.x));
        self.others().any(|sign| (from..to).contains(&sign))
    }

    /// Whether it stands on the line of the fault or on a sign, how much it hides, and how far it is from its place.
    fn badness(&self, readings: &Readings, ground: Rect) -> ((bool, usize), i32) {
        let on_fault = self.fault.is_some_and(|fault| ground.left <= fault && fault < ground.right);
        let on_sign = self.signs.iter().any(|sign| in_columns(ground.wider(self.sign), *sign));
        ((on_fault || on_sign, hidden(readings, self.axis, ground)), (ground.center().0 - self.x).abs())
    }
}

/// How many columns of the volts a ground would hide.
fn hidden(readings: &Readings, axis: ValueAxis, ground: Rect) -> usize {
    let columns = (readings.time.left..).zip(&readings.volts);
    let across = columns.filter(|(x, _)| (ground.left..ground.right).contains(x));
    let meets = |column: &Column| axis.row(column.high) < ground.bottom && axis.row(column.low) >= ground.top;
    across.filter(|(_, column)| column.as_ref().is_some_and(meets)).count()
}
