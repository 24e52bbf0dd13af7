//! The numbers in the graph of a card, each where no line runs through it.

use super::super::axis::ValueAxis;
use super::super::font::Weight;
use super::super::geometry::Rect;
use super::super::parts::amps::Axes;
use super::super::parts::cut::{self, Mark};
use super::super::parts::envelope::{self, Expected};
use super::super::parts::legend;
use super::super::scene::{Anchor, Label, Style};
use super::super::sheet::{Sheet, em};
use super::super::theme::Color;
use super::row::InOneUnit;
use crate::reference::Profile;

/// From a number to the lines around it, in units of the layout.
const CLEAR: f64 = 2.0;

/// The ranges of all stages, and what is said of their peaks.
pub(super) fn draw(
    sheet: &mut Sheet,
    strips: Axes,
    profile: &Profile,
    expected: &[Expected],
    edges: &[(i32, i32)],
) {
    let axis = strips.main;
    let limit = profile.feed.limit.value();
    let grounds = [sheet.palette.paper, sheet.palette.shade].into_iter().cycle();
    let stages = || expected.iter().zip(edges.iter().copied());
    // Where columns are too narrow for numbers, they have none at all: the table has them. A single one that has no place
    // beside its own band is left to the table as well: elsewhere it would be read as that of other amps.
    // Beside a band that the magnified strip shows, and not where the other has it along its zero.
    let place = |stage: &Expected| strips.quiet.filter(|quiet| stage.high <= quiet.high).unwrap_or(axis);
    let narrow = stages().any(|(stage, edges)| wordings(sheet, place(stage), stage, edges).is_empty());
    let own = |(stage, edges): (&Expected, (i32, i32))| {
        let place = Some(place(stage)).filter(|_| !narrow);
        place.and_then(|axis| range(sheet, axis, stage, edges, limit)).unwrap_or_default()
    };
    let ranges: Vec<Vec<Label>> = stages().map(own).collect();
    let around = |label: &Label| label.bounds().grown(sheet.u(CLEAR));
    let taken: Vec<Vec<Rect>> = ranges.iter().map(|labels| labels.iter().map(around).collect()).collect();
    let limited = |(stage, edges, taken): (&Expected, (i32, i32), &Vec<Rect>)| {
        (stage.peak >= limit).then(|| at_limit(sheet, axis, stage, edges, taken))
    };
    let limited: Vec<_> =
        stages().zip(&taken).map(|((stage, edges), taken)| limited((stage, edges, taken))).collect();
    // One wording for all of them, or none.
    let wording =
        (0..AT_LIMIT.len()).find(|wording| limited.iter().flatten().all(|free| free[*wording].is_some()));
    let limited = limited.into_iter().map(|free| free.and_then(|mut free| free[wording?].take()));
    let all = stages().zip(ranges).zip(taken).zip(limited).zip(grounds);
    for (((((stage, edges), range), taken), limited), ground) in all {
        range.into_iter().chain(limited).for_each(|label| on_ground(sheet, label, ground));
        peak_label(sheet, axis, stage, (edges, ground), &taken);
    }
}

/// Neither the grid nor the shade of a neighbour runs through words.
fn on_ground(sheet: &mut Sheet, label: Label, ground: Color) {
    sheet.scene.fill(label.bounds().grown(sheet.u(1.0)), ground);
    sheet.scene.text(label.text, label.at, label.anchor, label.style);
}

/// The range in numbers, from the largest letters down: on one line, and at last on two. A number that was cut would be
/// another number.
fn wordings(
    sheet: &Sheet,
    axis: ValueAxis,
    expected: &Expected,
    (left, right): (i32, i32),
) -> Vec<(Vec<String>, Style)> {
    let text = InOneUnit::of_axis(axis).range(expected);
    let style = |size: f64| sheet.style(size, Weight::Bold, sheet.palette.text);
    let one = [em::LARGE, em::USUAL, em::SMALL].map(|size| (vec![text.clone()], style(size)));
    let two = text.split_once(" to ").map(|(low, high)| vec![format!("{low} to"), high.to_owned()]);
    let all = one.into_iter().chain(two.map(|lines| (lines, style(em::SMALL))));
    let room = right - left - sheet.u(8.0);
    all.filter(|(lines, style)| lines.iter().all(|line| style.width(line) <= room)).collect()
}

/// The range in numbers: right above its band, below the line of the peaks, or else right below the band.
fn range(
    sheet: &Sheet,
    axis: ValueAxis,
    expected: &Expected,
    edges: (i32, i32),
    limit: f64,
) -> Option<Vec<Label>> {
    let clear = sheet.u(CLEAR);
    let band = envelope::band_rows(sheet, axis, expected).intersection(axis.area);
    let peak = envelope::peak_row(sheet, axis, expected);
    let lines: Vec<i32> = peak.into_iter().chain(Some(axis.row(limit))).collect();
    // The sign of a peak that is cut stands at the top.
    let is_cut = axis.row(expected.peak) < axis.area.top;
    let ceiling = axis.area.top + if is_cut { sheet.u(18.0) } else { clear };
    let free = |labels: &Vec<Label>| {
        labels.iter().map(Label::bounds).all(|spot| {
            let off = |row: &i32| *row < spot.top - clear || *row >= spot.bottom + clear;
            spot.top >= ceiling && spot.bottom + clear < axis.area.bottom && lines.iter().all(off)
        })
    };
    let wordings = wordings(sheet, axis, expected, edges);
    let beside = wordings.iter().flat_map(|wording| {
        let (lines, style) = wording;
        [band.top - clear, band.bottom + clear + block(lines, *style)].map(|bottom| (wording, bottom))
    });
    let x = i32::midpoint(edges.0, edges.1);
    { beside }.map(|((lines, style), bottom)| set(lines, *style, (x, bottom))).find(free)
}

/// How high these lines are, from the top of the first to the bottom of the last.
fn block(lines: &[String], style: Style) -> i32 {
    let label = Label { text: "0".into(), at: (0, 0), anchor: Anchor::Middle, style };
    let further = i32::try_from(lines.len() - 1).unwrap_or(0);
    label.bounds().height() + further * style.line_height()
}

/// Lines in the middle of column `x` that end at row `bottom`.
fn set(lines: &[String], style: Style, (x, bottom): (i32, i32)) -> Vec<Label> {
    let label =
        |text: &String, y: i32| Label { text: text.clone(), at: (x, y), anchor: Anchor::Middle, style };
    let last = bottom - label(&String::new(), 0).bounds().bottom;
    let count = i32::try_from(lines.len()).unwrap_or(0);
    (1..).zip(lines).map(|(index, text)| label(text, last - (count - index) * style.line_height())).collect()
}

/// Above what no peak is expected, of a stage whose peaks the graph does not hold.
fn peak_label(
    sheet: &mut Sheet,
    axis: ValueAxis,
    expected: &Expected,
    (edges, ground): ((i32, i32), Color),
    taken: &[Rect],
) {
    if axis.row(expected.peak) >= axis.area.top {
        return;
    }
    let (color, peak) = (sheet.palette.faint_text, InOneUnit::of_axis(axis).amps(expected.peak));
    let mark = |text: &str| Mark::within(sheet, axis, edges, (text, color), taken);
    let wordings = [format!("{} {peak}", legend::PEAK), format!("peak to {peak}")];
    let marks: Vec<Mark> = wordings.iter().map(|text| mark(text)).collect();
    // Without room for words the arrow alone: amps that nothing is said of are taken for another thing's.
    let worded = marks.iter().position(Mark::has_words).unwrap_or(0);
    cut::draw(sheet, &marks[worded..=worded], ground);
}

/// What is said of a stage whose peaks nothing but the limit holds down, in more words and in fewer.
const AT_LIMIT: [&str; 3] = ["peak, at most the limit", "peak, at most limit", "peak to limit"];

/// Each of these where it is free: the line of such peaks lies under that of the limit.
fn at_limit(
    sheet: &Sheet,
    axis: ValueAxis,
    expected: &Expected,
    (left, right): (i32, i32),
    taken: &[Rect],
) -> [Option<Label>; AT_LIMIT.len()] {
    let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.good);
    let row = axis.row(expected.peak) + sheet.u(3.0) + style.line_height() / 2;
    let at = (i32::midpoint(left, right), style.baseline_at(row));
    let free = |label: &Label| {
        let (spot, shown) = (label.bounds(), axis.row(expected.peak) >= axis.area.top);
        let band = axis.row(expected.high);
        let fits = spot.left >= left + sheet.u(3.0) && spot.right <= right - sheet.u(3.0);
        shown && fits && spot.bottom < band && !taken.iter().any(|taken| taken.overlaps(spot))
    };
    AT_LIMIT.map(|text| Some(Label { text: text.into(), at, anchor: Anchor::Middle, style }).filter(free))
}
