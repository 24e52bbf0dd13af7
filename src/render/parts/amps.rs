//! The amps: the board's trace over the envelope of good boards, and low current magnified.

use super::super::axis::{ValueAxis, round_step};
use super::super::columns;
use super::super::font::Weight;
use super::super::geometry::Rect;
use super::super::scene::{Anchor, Shape};
use super::super::sheet::{Sheet, em};
use super::events::Lane;
use super::readings::Readings;
use super::{Areas, Subject};
use crate::reference::{PhaseReference, Profile};
use crate::units::{Amps, Volts};

/// Up to where the two strips reach, in amps.
#[derive(Debug, Clone, Copy)]
pub(in crate::render) struct Scale {
    low: f64,
    high: f64,
    /// Top of the magnified strip; `None` if nothing is to be magnified.
    pub(in crate::render) quiet_high: Option<f64>,
    /// Whether there is an envelope to be drawn.
    pub(in crate::render) with_envelope: bool,
}

/// The axes of the two strips.
#[derive(Debug, Clone, Copy)]
pub(in crate::render) struct Axes {
    pub(in crate::render) main: ValueAxis,
    quiet: Option<ValueAxis>,
}

impl Axes {
    /// The row that shows `amps`: in the magnified strip what that can show.
    pub(in crate::render) fn row(self, amps: f64) -> i32 {
        let magnified = self.quiet.filter(|quiet| (quiet.low..=quiet.high).contains(&amps));
        magnified.unwrap_or(self.main).row_within(amps)
    }
}

/// The envelope of one phase of this run, in amps.
#[derive(Debug, Clone, Copy)]
pub(in crate::render) struct Expected {
    pub(in crate::render) from: f64,
    pub(in crate::render) to: f64,
    /// By when good boards have moved on; `to` where the stage has no end of its own.
    pub(in crate::render) usual_to: f64,
    pub(in crate::render) low: f64,
    pub(in crate::render) typical: f64,
    pub(in crate::render) high: f64,
    pub(in crate::render) peak: f64,
}

impl Scale {
    pub(in crate::render) fn new(subject: &Subject, readings: &Readings) -> Self {
        /// Room above the highest line, for notes.
        const HEADROOM: f64 = 1.18;
        /// Below this many steps of the readback, an axis would show its steps as if they were a signal.
        const LEAST_STEPS: f64 = 10.0;
        /// With no resolution known.
        const LEAST_AMPS: f64 = 0.005;
        /// The limit belongs on the picture where the board comes this near to it.
        const NEAR_LIMIT: f64 = 0.8;
        /// A peak that few boards allow makes a high envelope; it may not flatten what was measured.
        const WORTH_SHOWING: f64 = 1.25;
        let expected = expected(subject, readings);
        let step = subject.resolution().map_or(0.0, |step| step.value() * LEAST_STEPS);
        let measured = readings.highest_amps();
        let means = expected.iter().map(|phase| phase.high).fold(measured, f64::max);
        let peaks = expected.iter().map(|phase| phase.peak).filter(|peak| *peak < WORTH_SHOWING * means);
        let peaks = peaks.fold(means, f64::max);
        let limit = subject.finding.log.limit_a.map_or(0.0, Amps::value);
        let limit = if measured > NEAR_LIMIT * limit { limit } else { 0.0 };
        let high = peaks.max(limit).max(step).max(LEAST_AMPS) * HEADROOM;
        let lowest = readings.lowest_amps();
        let low = if lowest < -0.02 * high { lowest * HEADROOM } else { 0.0 };
        let quiet_high = quiet_high(subject, readings, &expected, high);
        Self { low, high, quiet_high, with_envelope: !expected.is_empty() }
    }
}

impl Scale {
    /// The axis of the main strip, on `area`.
    pub(in crate::render) fn main(&self, area: Rect) -> ValueAxis {
        ValueAxis { area, low: self.low, high: self.high }
    }
}

/// Top of the magnified strip: half as much again as the quiet phases and their envelopes take.
fn quiet_high(subject: &Subject, readings: &Readings, expected: &[Expected], high: f64) -> Option<f64> {
    /// A phase is quiet if it draws less than this share of the axis: it lies within a few pixels of zero …
    const QUIET: f64 = 0.08;
    /// … and not so much more than the quietest that one scale would not serve both.
    const ALIKE: f64 = 3.0;
    let time = readings.time;
    let fed = subject.feed_volts().map_or(0.0, Volts::value) * 0.5;
    let least = subject.resolution().map_or(0.0, Amps::value);
    let shown = subject.finding.phases.iter().filter(|phase| {
        phase.end_s.value() > time.from && phase.start_s.value() < time.to && phase.mean_v.value() > fed
    });
    let measured = shown.map(|phase| phase.mean_a.value());
    let levels: Vec<f64> =
        measured.chain(expected.iter().map(|phase| phase.high)).filter(|a| *a > least).collect();
    let quietest = levels.iter().copied().min_by(f64::total_cmp)?;
    let most = (QUIET * high).min(ALIKE * quietest);
    let quiet = levels.into_iter().filter(|amps| *amps <= most).max_by(f64::total_cmp)?;
    let needed = (quiet * 1.5).max(least * 4.0);
    let step = round_step(needed / 5.0);
    let top = (needed / step).ceil() * step;
    (top < 0.3 * high).then_some(top)
}

/// The envelopes of the phases that the window shows, in order.
pub(in crate::render) fn expected(subject: &Subject, readings: &Readings) -> Vec<Expected> {
    let (Some(profile), Some(volts)) = (subject.profile, subject.feed_volts()) else { return Vec::new() };
    let time = readings.time;
    let shown = subject.finding.phases.iter().filter_map(|phase| {
        let (from, to) = (phase.start_s.value().max(time.from), phase.end_s.value().min(time.to));
        let reference = profile.phases.iter().find(|reference| reference.name == phase.name)?;
        let longest = reference.duration.map_or(f64::INFINITY, |length| length.high);
        let usual_to = (phase.start_s.value() + longest).clamp(from, from.max(to));
        (from < to).then(|| Expected { from, to, usual_to, ..in_amps(profile, reference, volts) })
    });
    shown.collect()
}

/// A stage's envelope in amps at `volts`, at no time yet.
pub(in crate::render) fn in_amps(profile: &Profile, reference: &PhaseReference, volts: Volts) -> Expected {
    let per_watt = profile.power_factor(reference, volts) / volts.value();
    let mean = reference.mean_power;
    Expected {
        from: 0.0,
        to: 0.0,
        usual_to: 0.0,
        low: mean.low * per_watt,
        typical: mean.typical * per_watt,
        high: mean.high * per_watt,
        peak: reference.peak_power.high * per_watt,
    }
}

/// Draws both strips and returns their axes.
pub(in crate::render) fn draw(
    sheet: &mut Sheet,
    subject: &Subject,
    readings: &Readings,
    areas: &Areas,
    scale: &Scale,
    lane: &Lane,
) -> Axes {
    let main = scale.main(areas.amps);
    let expected = expected(subject, readings);
    strip(sheet, subject, readings, main, &expected);
    lane.lines(sheet, areas.amps);
    trace(sheet, readings, main);
    let quiet = scale.quiet_high.map(|high| ValueAxis { area: areas.quiet, low: 0.0, high });
    if let Some(quiet) = quiet {
        strip(sheet, subject, readings, quiet, &expected);
        lane.lines(sheet, areas.quiet);
        trace(sheet, readings, quiet);
        magnified(sheet, areas, scale.high / quiet.high);
    }
    Axes { main, quiet }
}

/// What stands behind the trace: envelope, grid, gaps, limit.
fn strip(sheet: &mut Sheet, subject: &Subject, readings: &Readings, axis: ValueAxis, expected: &[Expected]) {
    /// An axis that ends below this reads better in milliamps.
    const MILLIAMPS_BELOW: f64 = 0.5;
    let (unit, factor) = if axis.high < MILLIAMPS_BELOW { ("mA", 1e3) } else { ("A", 1.0) };
    envelope(sheet, readings, axis, expected);
    let most = (axis.area.height() / sheet.u(52.0)).max(2);
    grid(sheet, axis, most, unit, factor);
    gaps(sheet, readings, axis.area);
    limit(sheet, subject, readings, axis);
}

fn trace(sheet: &mut Sheet, readings: &Readings, axis: ValueAxis) {
    let spans = columns::spans(&readings.amps, |amps| axis.row(amps));
    sheet.scene.shapes.push(Shape::Steps {
        left: readings.time.left,
        spans,
        clip: axis.area,
        width: sheet.u(2.4),
        color: sheet.palette.ink,
    });
}

fn envelope(sheet: &mut Sheet, readings: &Readings, axis: ValueAxis, expected: &[Expected]) {
    let palette = sheet.palette;
    let clip = |area: Rect| area.intersection(axis.area);
    for phase in expected {
        let (left, right) = (readings.time.x_within(phase.from), readings.time.x_within(phase.to) + 1);
        let band = Rect::new(left, axis.row(phase.high), right, axis.row(phase.low) + 1);
        // A band of a pixel or two would drown in the trace that runs through it.
        let band = if band.height() < sheet.u(6.0) { grown_to(band, sheet.u(6.0)) } else { band };
        band_of(sheet, clip(Rect { right: readings.time.x_within(phase.usual_to) + 1, ..band }));
        overdue(sheet, clip(Rect { left: readings.time.x_within(phase.usual_to) + 1, ..band }));
        let lines = [(axis.row(phase.typical), 6.0), (axis.row(phase.peak), 2.0)];
        for (row, dash) in
            lines.into_iter().filter(|(row, _)| (axis.area.top..axis.area.bottom).contains(row))
        {
            let pen = sheet.pen(1.0, dash, palette.envelope_edge);
            sheet.scene.across((left, right), row, pen);
        }
    }
}

/// The range that good boards keep within, while they do.
fn band_of(sheet: &mut Sheet, band: Rect) {
    let (edge, palette) = (sheet.u(1.0), sheet.palette);
    sheet.scene.fill(band, palette.envelope);
    sheet.scene.fill(Rect { bottom: band.top + edge, ..band }.intersection(band), palette.envelope_edge);
    sheet.scene.fill(Rect { top: band.bottom - edge, ..band }.intersection(band), palette.envelope_edge);
}

/// The same range when good boards have long moved on: its edges only.
fn overdue(sheet: &mut Sheet, band: Rect) {
    if band.is_empty() {
        return;
    }
    let pen = sheet.pen(1.0, 10.0, sheet.palette.envelope_edge);
    sheet.scene.across((band.left, band.right), band.top, pen);
    sheet.scene.across((band.left, band.right), band.bottom - 1, pen);
}

fn grown_to(band: Rect, height: i32) -> Rect {
    let top = band.center().1 - height / 2;
    Rect { top, bottom: top + height, ..band }
}

/// Grid, frame and labels of a strip; the topmost label carries the unit.
pub(in crate::render) fn grid(sheet: &mut Sheet, axis: ValueAxis, most: i32, unit: &str, factor: f64) {
    let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let ticks = axis.ticks(most, factor > 1.0);
    let last = ticks.len().saturating_sub(1);
    let mut ceiling = axis.area.bottom + sheet.u(30.0);
    for (index, (value, label)) in ticks.into_iter().enumerate() {
        let row = axis.row_within(value);
        let line = Rect::new(axis.area.left, row, axis.area.right, row + 1);
        sheet.scene.fill(line, sheet.palette.grid);
        let label = if index == last { format!("{label} {unit}") } else { label };
        let baseline = style.baseline_at(row).clamp(axis.area.top + sheet.u(10.0), axis.area.bottom);
        if baseline <= ceiling {
            sheet.scene.text(label, (axis.area.left - sheet.u(6.0), baseline), Anchor::End, style);
            ceiling = baseline - style.line_height();
        }
    }
    sheet.scene.frame(axis.area, 1, sheet.palette.frame);
}

/// Stretches without readings, hatched.
pub(in crate::render) fn gaps(sheet: &mut Sheet, readings: &Readings, area: Rect) {
    let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    for &(start, end) in &readings.gaps {
        let (left, right) = (readings.time.x(start) + 1, readings.time.x(end));
        let gap = Rect { left, right, ..area }.intersection(area);
        if gap.is_empty() {
            continue;
        }
        sheet.scene.fill(gap, sheet.palette.paper);
        sheet.scene.hatch(gap, sheet.u(9.0), false, sheet.palette.frame);
        let text = "no readings";
        let width = style.width(text) + sheet.u(8.0);
        if width < gap.width() {
            let (x, y) = gap.center();
            let half = sheet.u(10.0);
            sheet
                .scene
                .fill(Rect::new(x - width / 2, y - half, x + width / 2, y + half), sheet.palette.paper);
            sheet.scene.text(text, (x, style.baseline_at(y)), Anchor::Middle, style);
        }
    }
}

/// The current limit, and where the supply sat in it.
fn limit(sheet: &mut Sheet, subject: &Subject, readings: &Readings, axis: ValueAxis) {
    let Some(limit) = subject.finding.log.limit_a.filter(|limit| limit.value() <= axis.high) else { return };
    let row = axis.row(limit.value());
    if !(axis.area.top..axis.area.bottom).contains(&row) {
        return;
    }
    let color = sheet.palette.limit;
    sheet.scene.across((axis.area.left, axis.area.right), row, sheet.pen(1.5, 9.0, color));
    let thick = sheet.u(9.0);
    for &(left, right) in &readings.limited {
        let bar =
            Rect::new(left, row - thick - sheet.u(3.0), right, row - sheet.u(3.0)).intersection(axis.area);
        sheet.scene.fill(bar, color);
    }
    let style = sheet.style(em::SMALL, Weight::Bold, color);
    let words = if readings.limited.is_empty() { "" } else { ", bar: supply in its limit" };
    let text = format!("current limit {limit}{words}");
    let baseline = (row - thick - sheet.u(8.0)).max(axis.area.top + sheet.u(14.0));
    let at = (axis.area.right - sheet.u(6.0), baseline);
    sheet.scene.text(text, at, Anchor::End, style);
}

/// Says of the lower strip what it is.
fn magnified(sheet: &mut Sheet, areas: &Areas, factor: f64) {
    let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let text = format!("low current, magnified {} times", crate::units::figures(factor, 2));
    let at = (areas.quiet.right - sheet.u(6.0), areas.quiet.top + sheet.u(16.0));
    let label = super::super::scene::Label { text: text.clone(), at, anchor: Anchor::End, style };
    sheet
        .scene
        .fill(label.bounds().grown(sheet.u(3.0)).intersection(areas.quiet.grown(-1)), sheet.palette.paper);
    sheet.scene.text(text, at, Anchor::End, style);
}
