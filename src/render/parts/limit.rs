//! The current limit on a strip of amps: its line, where the supply sat in it, and its words.

use super::super::axis::ValueAxis;
use super::super::font::Weight;
use super::super::geometry::Rect;
use super::super::scene::{Anchor, Label};
use super::super::sheet::{Sheet, em};
use super::Subject;
use super::amps;
use super::legend::LIMITED_PITCH;
use super::readings::Readings;
use crate::units::Amps;

/// The current limit, and where the supply sat in it.
pub(in crate::render) fn draw(sheet: &mut Sheet, subject: &Subject, readings: &Readings, axis: ValueAxis) {
    let Some(row) = self::row(subject, axis) else { return };
    let color = sheet.palette.limit;
    sheet.scene.across((axis.area.left, axis.area.right), row, sheet.pen(1.5, DASH, color));
    hatched(sheet, bars(sheet, readings, axis, row));
}

/// The line once more, thin, over what was read there: a trace that lies on it would hide it.
pub(super) fn over(sheet: &mut Sheet, subject: &Subject, readings: &Readings, axis: ValueAxis) {
    // A thin trace would be hidden in its turn.
    let thin = 2 * sheet.u(1.0) >= sheet.u(amps::TRACE);
    let row = self::row(subject, axis).filter(|_| !thin && !readings.limited.is_empty());
    if let Some(row) = row {
        sheet.scene.across((axis.area.left, axis.area.right), row, sheet.pen(1.0, DASH, sheet.palette.limit));
    }
}

/// Bars as in the legend: a solid one would be read as current above the limit.
fn hatched(sheet: &mut Sheet, bars: Vec<Rect>) {
    let color = sheet.palette.limit;
    for bar in bars {
        sheet.scene.fill(bar, sheet.palette.paper);
        sheet.scene.hatch(bar, sheet.u(LIMITED_PITCH), true, color);
        sheet.scene.frame(bar, 1, color);
    }
}

/// Along the upper edge of the strip of volts, where these are not while the supply sits in its limit: over the whole
/// strip the hatching would be all that is seen of it.
pub(super) fn above_volts(sheet: &mut Sheet, readings: &Readings, area: Rect) {
    /// Least part of the strip that is left to the volts.
    const PART: i32 = 8;
    let height = sheet.u(LIMIT_BAR).min(area.height() / PART);
    // Lower its strokes would be dots, and a dotted line be read as volts: the strip of amps has it.
    if height < SEEN {
        return;
    }
    let bottom = area.top + height;
    let bar = |(left, right): &(i32, i32)| Rect { left: *left, right: *right, bottom, ..area };
    // Without edges: a line along the strip would be read as volts.
    for bar in seen(readings).iter().map(bar) {
        sheet.scene.hatch(bar, sheet.u(LIMITED_PITCH), true, sheet.palette.limit);
    }
}

/// Pixels from which on hatching is seen as such, and asks for its word in the legend.
const SEEN: i32 = 5;

/// The stretches in the limit, each wide enough for its hatching, where any is so by itself: one that was left out beside it
/// would be taken for a time out of the limit. Where none is, none is shown: a stroke of a pixel or two would be read as
/// something else.
pub(in crate::render) fn seen(readings: &Readings) -> Vec<(i32, i32)> {
    let is_wide = |(left, right): &(i32, i32)| right - left >= SEEN;
    if !readings.limited.iter().any(is_wide) {
        return Vec::new();
    }
    let mut seen: Vec<(i32, i32)> = Vec::new();
    for stretch in readings.limited.iter().map(|stretch| widened(readings, *stretch)) {
        match seen.last_mut() {
            Some(last) if stretch.0 <= last.1 => last.1 = last.1.max(stretch.1),
            _ => seen.push(stretch),
        }
    }
    seen
}

/// A stretch as wide as is seen, about its middle and within the window.
fn widened(readings: &Readings, (left, right): (i32, i32)) -> (i32, i32) {
    if right - left >= SEEN {
        return (left, right);
    }
    let last = (readings.time.right - SEEN).max(readings.time.left);
    let from = (i32::midpoint(left, right) - SEEN / 2).clamp(readings.time.left, last);
    (from, from + SEEN)
}

/// Length of the dashes of the limit, in units of the layout.
const DASH: f64 = 9.0;

/// Above the limit in `row` where the supply sits in it.
pub(super) fn bars(sheet: &Sheet, readings: &Readings, axis: ValueAxis, row: i32) -> Vec<Rect> {
    let (bottom, height) = (row - sheet.u(3.0), sheet.u(LIMIT_BAR));
    let bar = move |(left, right): &(i32, i32)| Rect::new(*left, bottom - height, *right, bottom);
    // Clear of what is said right above the strip.
    let within = axis.area.grown(-sheet.u(4.0));
    seen(readings).iter().map(|stretch| bar(stretch).intersection(within)).collect()
}

/// Height of the bar above the limit where the supply sits in it, in units of the layout.
const LIMIT_BAR: f64 = 9.0;

/// The row of the current limit, if the strip shows it.
pub(super) fn row(subject: &Subject, axis: ValueAxis) -> Option<i32> {
    /// Pixels from the frame at which a line is told from it.
    const CLEAR: i32 = 3;
    let limit = subject.finding.log.limit_a.filter(|limit| limit.value() <= axis.high)?;
    Some(axis.row(limit.value())).filter(|row| (axis.area.top + CLEAR..axis.area.bottom).contains(row))
}

/// What the line says, in more words and in fewer; where the supply reads more than the limit, which its readback may, that
/// this is what was set.
fn wordings(readings: &Readings, limit: Amps) -> [String; 2] {
    let set = if readings.highest_amps() > limit.value() { " (set)" } else { "" };
    [format!("current limit {limit}{set}"), format!("limit {limit}{set}")]
}

/// From the words at the end of a line to the frame, in units of the layout: a rest of the line there would be read as a sign.
pub(super) const ASIDE: f64 = 3.0;

/// The words of the current limit: on its line, so that they are read at its value, or where they would hide something
/// there, above or below it. Where it has no room for all of them, for fewer: a line without a word is none that anybody knows.
pub(super) fn label(
    sheet: &Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    clear_of: (Option<i32>, &[Rect]),
) -> Option<Label> {
    let wordings = wordings(readings, subject.finding.log.limit_a?);
    wordings.iter().find_map(|text| label_of(sheet, subject, readings, axis, (text, clear_of)))
}

fn label_of(
    sheet: &Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    (text, (fault, notes)): (&str, (Option<i32>, &[Rect])),
) -> Option<Label> {
    /// Places to try within the width of the words.
    const STEPS: i32 = 4;
    let row = self::row(subject, axis)?;
    let style = sheet.style(em::SMALL, Weight::Bold, sheet.palette.limit);
    let width = style.width(text) + sheet.u(16.0);
    let bars = bars(sheet, readings, axis, row);
    // Right beside the line, but for the bars above it; further away where what is read scatters about the limit.
    let near = style.line_height() / 2 + sheet.u(4.0);
    let above = if bars.is_empty() { near } else { near + sheet.u(LIMIT_BAR + 1.0) };
    let further = sheet.u(LIMIT_BAR + 1.0);
    let rows = [row, row - above, row + near, row - near - further, row + near + further];
    let at = |y: i32, place: i32| {
        let x = axis.area.right - sheet.u(ASIDE) - place * width / STEPS;
        Label { text: text.to_owned(), at: (x, style.baseline_at(y)), anchor: Anchor::End, style }
    };
    let places = (STEPS * axis.area.width() / width.max(1)).max(1);
    let all = rows.into_iter().flat_map(|y| (0..places).map(move |place| at(y, place)));
    let clear = |spot: Rect| !notes.iter().any(|note| note.grown(sheet.u(3.0)).overlaps(spot));
    let held = all.filter(|label| axis.area.holds(label.bounds()) && clear(label.bounds()));
    let mut kept = bars;
    kept.extend(fault.map(|x| Rect { left: x, right: x + 1, ..axis.area }.wider(sheet.u(3.0))));
    let badness = |label: &Label| {
        let spot = label.bounds().grown(sheet.u(3.0));
        (readings.hidden(axis, spot), kept.iter().filter(|kept| kept.overlaps(spot)).count())
    };
    // Struck through by the trace it could not be read; the foot has it too.
    let found = held.map(|label| (badness(&label), label)).min_by_key(|(badness, _)| *badness);
    found.filter(|((struck, _), _)| *struck == 0).map(|(_, label)| label)
}

/// The words of the current limit, on a ground of their own.
pub(super) fn words(
    sheet: &mut Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    clear_of: (Option<i32>, &[Rect]),
) {
    if let Some(label) = self::label(sheet, subject, readings, axis, clear_of) {
        let ground = label.bounds().grown(sheet.u(2.0)).intersection(axis.area.grown(-1));
        super::on_ground(sheet, ground, label);
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::axis::TimeAxis;
    use super::super::super::fixtures::{finding, phase, trace};
    use super::*;

    #[test]
    fn a_limit_that_is_read_above_is_said_to_be_what_was_set() {
        let finding = finding(vec![phase("hard short", 0.0, 60.0)]);
        let said = |amps: f64| {
            let trace = trace(600, 60.0, |_| amps);
            let subject = Subject { trace: &trace, profile: None, finding: &finding };
            let time = TimeAxis { left: 0, right: 300, from: 0.0, to: 60.0 };
            wordings(&Readings::new(&subject, time), Amps::constant(0.5))[0].clone()
        };
        assert_eq!([0.503, 0.497].map(said), ["current limit 0.500 A (set)", "current limit 0.500 A"]);
    }

    #[test]
    fn where_its_words_have_no_room_a_limit_has_fewer() {
        let finding = finding(vec![phase("hard short", 0.0, 60.0)]);
        let trace = trace(600, 60.0, |_| 0.1);
        let subject = Subject { trace: &trace, profile: None, finding: &finding };
        let sheet = Sheet::new(&super::super::super::options::Options::default(), (440.0, 560.0));
        let style = sheet.style(em::SMALL, Weight::Bold, sheet.palette.limit);
        let said = |width: i32| {
            let axis = ValueAxis { area: Rect::new(50, 50, 50 + width, 350), low: 0.0, high: 4.0 };
            let time = TimeAxis { left: 50, right: 50 + width, from: 0.0, to: 60.0 };
            let label = label(&sheet, &subject, &Readings::new(&subject, time), axis, (None, &[]));
            label.map(|label| label.text)
        };
        let [long, short] = ["current limit 3.00 A", "limit 3.00 A"];
        assert_eq!(said(style.width(long) + sheet.u(20.0)).as_deref(), Some(long));
        assert_eq!(said(style.width(long) - sheet.u(4.0)).as_deref(), Some(short));
        assert_eq!(said(style.width(short) - sheet.u(4.0)), None);
    }
}
