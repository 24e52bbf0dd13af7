//! The graph of a card: the stages one after the other, with the amps of good boards.

use super::super::axis::ValueAxis;
use super::super::font::{Weight, clean};
use super::super::geometry::{Rect, px};
use super::super::parts::cut::{self, Mark};
use super::super::parts::envelope::{self, Columns, Expected};
use super::super::parts::{amps, legend};
use super::super::scene::{Anchor, Label, Style};
use super::super::sheet::{Sheet, em};
use super::super::theme::Color;
use super::super::words;
use super::{ending, shown};
use crate::reference::{PhaseReference, Profile};

/// How the stages of the graph are told apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Named {
    ByName,
    /// Where names have no room: by their place in the table.
    ByNumber,
}

/// Whether a graph in `area` shows more than its labels.
pub(super) fn has_room(sheet: &Sheet, area: Rect) -> bool {
    /// Legend, names, lengths, and a panel in which two bands are told apart, in units of the layout.
    const LEAST: f64 = 150.0;
    area.height() >= sheet.u(LEAST)
}

/// The stages one after the other, the wider the longer they usually last, with the amps of good boards.
pub(super) fn draw(sheet: &mut Sheet, profile: &Profile, area: Rect) -> Named {
    let area = Rect { left: area.left + sheet.u(58.0), bottom: area.bottom - sheet.u(10.0), ..area };
    let expected: Vec<Expected> = profile.phases.iter().map(|phase| shown(profile, phase)).collect();
    let high = highest(&expected);
    let limit = profile.feed.limit.value();
    let mut samples = legend::of_envelope(sheet.palette).to_vec();
    if limit < high {
        let swatch = legend::Swatch::Line(1.5, 9.0, sheet.palette.limit);
        samples.push((swatch, format!("current limit {}", profile.feed.limit).into()));
    }
    // Stages one beside the other are taken for a time axis.
    samples.push((legend::Swatch::None, "widths not to scale".into()));
    let (row, rest) = area.split_top(legend::height_of(sheet, area.width(), &samples));
    legend::draw(sheet, row, &samples);
    let (ribbon, panel) = rest.split_top(sheet.u(26.0));
    let (panel, lengths) = panel.split_bottom(sheet.u(22.0));
    let edges = edges(sheet, profile, panel);
    let strips = strips(sheet, &expected, panel, high);
    let (axis, panel) = (strips.main, strips.main.area);
    for axis in std::iter::once(axis).chain(strips.quiet) {
        strip(sheet, axis, &expected, &edges);
    }
    amps::magnified(sheet, strips, &[]);
    if limit < high {
        let pen = sheet.pen(1.5, 9.0, sheet.palette.limit);
        sheet.scene.across((panel.left, panel.right), axis.row(limit), pen);
    }
    let grounds = [sheet.palette.paper, sheet.palette.shade];
    // Numbers at some of the bands would make one wonder why not at the others: the table has them all.
    let numbered =
        expected.iter().zip(&edges).all(|(expected, edges)| range_lines(sheet, expected, *edges).is_some());
    for ((expected, &edges), ground) in expected.iter().zip(&edges).zip(grounds.into_iter().cycle()) {
        let taken = if numbered { range_label(sheet, axis, expected, (edges, ground)) } else { None };
        peak_label(sheet, axis, (expected, &super::highest(profile, expected)), (edges, ground), taken);
        if expected.peak >= limit {
            at_limit(sheet, axis, expected, (edges, ground), taken);
        }
    }
    let style = name_style(sheet, profile, &edges);
    let named = if style.is_some() { Named::ByName } else { Named::ByNumber };
    let style = style.unwrap_or_else(|| sheet.style(em::SMALL, Weight::Bold, sheet.palette.text));
    let all = || profile.phases.iter().zip(&edges);
    // One way of saying them for all stages: as many words as all have room for.
    let wording = (0..LEAST_WORDS).find(|wording| {
        all().all(|(phase, (left, right))| {
            small(sheet).width(&lasting(phase)[*wording]) <= right - left - sheet.u(6.0)
        })
    });
    for ((number, phase), edges) in (1..).zip(&profile.phases).zip(&edges) {
        let name = if named == Named::ByName { clean(&phase.name) } else { format!("{number}") };
        stage(sheet, (phase, &name), *edges, (ribbon, lengths, wording.unwrap_or(LEAST_WORDS)), style);
    }
    named
}

/// The axis of all stages, and one of those that would lie along its zero, where there are such and room for both.
fn strips(sheet: &Sheet, expected: &[Expected], panel: Rect, high: f64) -> amps::Axes {
    /// A stage is quiet below this share of the axis: its range is then a line.
    const QUIET: f64 = 0.08;
    /// One that draws so many times what the quietest does would press that one flat again.
    const ALIKE: f64 = 3.0;
    /// Room above the highest of them.
    const HEADROOM: f64 = 1.5;
    /// The share of the height that they have, and from how many units of the layout on.
    const SHARE: f64 = 0.3;
    const LEAST: f64 = 130.0;
    let main = ValueAxis { area: panel, low: 0.0, high };
    let highs = || expected.iter().map(|stage| stage.high);
    let most = (QUIET * high).min(ALIKE * highs().fold(f64::INFINITY, f64::min));
    let quiet = highs().filter(|stage| *stage < most).reduce(f64::max);
    let Some(quiet) = quiet.filter(|_| panel.height() >= sheet.u(LEAST)) else {
        return amps::Axes { main, quiet: None };
    };
    let (upper, lower) = panel.split_bottom(px(f64::from(panel.height()) * SHARE));
    let (upper, _) = upper.split_bottom(sheet.u(amps::CAPTION));
    let quiet = ValueAxis { area: lower, low: 0.0, high: quiet * HEADROOM };
    amps::Axes { main: ValueAxis { area: upper, ..main }, quiet: Some(quiet) }
}

/// The ranges of the stages on one of the axes.
fn strip(sheet: &mut Sheet, axis: ValueAxis, expected: &[Expected], edges: &[(i32, i32)]) {
    for &(left, right) in edges.iter().skip(1).step_by(2) {
        sheet.scene.fill(Rect { left, right, ..axis.area }, sheet.palette.shade);
    }
    for (expected, &(left, right)) in expected.iter().zip(edges) {
        // Of one that stands far above a strip there is nothing on it.
        if expected.low < axis.high {
            envelope::stage_of(sheet, axis, expected, Columns { left, usual: right, right });
        }
    }
    amps::amps_grid(sheet, axis);
}

/// The range in numbers on one line as large as it fits between the edges of its stage, or on two. A number that was cut
/// would be another number.
fn range_lines(
    sheet: &Sheet,
    expected: &Expected,
    (left, right): (i32, i32),
) -> Option<(Vec<String>, Style)> {
    let (low, high) = (words::amps(expected.low, None), words::amps(expected.high, None));
    let text = words::range(&low, &high);
    let room = right - left - sheet.u(8.0);
    let style = |size: f64| sheet.style(size, Weight::Bold, sheet.palette.text);
    let one =
        [em::LARGE, em::USUAL, em::SMALL].map(style).into_iter().find(|style| style.width(&text) <= room);
    let two = text.split_once(" to ").map(|(low, high)| vec![format!("{low} to"), high.to_owned()]);
    let (lines, style) = match (one, two) {
        (Some(style), _) => (vec![text], style),
        (None, Some(two)) => (two, style(em::SMALL)),
        (None, None) => return None,
    };
    lines.iter().all(|line| style.width(line) <= room).then_some((lines, style))
}

/// The range in numbers, above its band or, at the top, below it.
fn range_label(
    sheet: &mut Sheet,
    axis: ValueAxis,
    expected: &Expected,
    (edges, ground): ((i32, i32), Color),
) -> Option<Rect> {
    let (lines, style) = range_lines(sheet, expected, edges)?;
    let (left, right) = edges;
    let row = style.line_height();
    let height = row * i32::try_from(lines.len() - 1).unwrap_or(0);
    let above = axis.row_within(expected.high) - sheet.u(12.0) - height;
    let below = axis.row_within(expected.low) + row;
    // The sign of a peak that is cut stands at the top.
    let is_cut = axis.row(expected.peak) < axis.area.top;
    let ceiling = axis.area.top + if is_cut { sheet.u(18.0) } else { 0 };
    let first = if above - row > ceiling { above } else { below };
    if first + height > axis.area.bottom - sheet.u(6.0) {
        return None;
    }
    let x = i32::midpoint(left, right);
    let taken = Rect::new(left, first - row, right, first + height + sheet.u(4.0));
    for (index, text) in (0..).zip(lines) {
        let label = Label { text, at: (x, first + index * row), anchor: Anchor::Middle, style };
        // Neither the grid nor a peak may run through the numbers.
        sheet.scene.fill(label.bounds().grown(sheet.u(1.0)), ground);
        sheet.scene.text(label.text, label.at, label.anchor, label.style);
    }
    Some(taken)
}

/// How high a stage peaks whose peaks the graph does not hold.
fn peak_label(
    sheet: &mut Sheet,
    axis: ValueAxis,
    (expected, peak): (&Expected, &str),
    (edges, ground): ((i32, i32), Color),
    taken: Option<Rect>,
) {
    if axis.row(expected.peak) >= axis.area.top {
        return;
    }
    let color = sheet.palette.faint_text;
    let mark = |text: &str| Mark::within(sheet, axis, edges, (text, color), taken.as_slice());
    let wordings = [format!("highest peak {peak}"), format!("peak {peak}"), peak.to_owned()];
    let marks: Vec<Mark> = wordings.iter().map(|text| mark(text)).collect();
    let worded = marks.iter().position(Mark::has_words).unwrap_or(0);
    cut::draw(sheet, &marks[worded..=worded], ground);
}

/// Of a stage whose peaks go up to the limit, that they do: their line lies under that of the limit.
fn at_limit(
    sheet: &mut Sheet,
    axis: ValueAxis,
    expected: &Expected,
    ((left, right), ground): ((i32, i32), Color),
    taken: Option<Rect>,
) {
    let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.good);
    let row = axis.row(expected.peak) + sheet.u(3.0) + style.line_height() / 2;
    let at = (i32::midpoint(left, right), style.baseline_at(row));
    let wordings = ["peaks up to the limit", "peaks to limit", "to limit"];
    let labels = wordings.map(|text| Label { text: text.into(), at, anchor: Anchor::Middle, style });
    let free = |label: &Label| {
        let (spot, shown) = (label.bounds(), axis.row(expected.peak) >= axis.area.top);
        let band = axis.row(expected.high);
        let fits = spot.left >= left + sheet.u(3.0) && spot.right <= right - sheet.u(3.0);
        shown && fits && spot.bottom < band && taken.is_none_or(|taken| !taken.overlaps(spot))
    };
    if let Some(label) = labels.into_iter().find(free) {
        sheet.scene.fill(label.bounds().grown(sheet.u(1.0)), ground);
        sheet.scene.text(label.text, label.at, label.anchor, label.style);
    }
}

/// Up to the highest mean and to the peaks that are usual, and to the highest where that does not flatten the rest.
fn highest(expected: &[Expected]) -> f64 {
    /// A peak that few boards allow makes a high envelope; beyond this many times the rest it is cut.
    const WORTH_SHOWING: f64 = 1.75;
    /// Usual peaks may take so much of the height from the means, which are what is compared first.
    const USUAL_PEAKS: f64 = 2.0;
    /// Room above the highest line.
    const HEADROOM: f64 = 1.1;
    let means = expected.iter().map(|stage| stage.high).fold(0.0, f64::max);
    let usual = expected.iter().map(|stage| stage.usual_peak).filter(|peak| *peak < USUAL_PEAKS * means);
    let usual = usual.fold(means, f64::max);
    let peaks = expected.iter().map(|stage| stage.peak).filter(|peak| *peak < WORTH_SHOWING * usual);
    peaks.fold(usual, f64::max).max(f64::MIN_POSITIVE) * HEADROOM
}

/// Left and right of each stage: with room for its name, and the rest in proportion to how long it usually lasts; where
/// names take all there is, all alike.
fn edges(sheet: &Sheet, profile: &Profile, panel: Rect) -> Vec<(i32, i32)> {
    /// What every stage has of the rest, and one that has no end of its own, beside the longest.
    const LEAST: f64 = 0.3;
    const ENDLESS: f64 = 0.6;
    let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.text);
    let names: Vec<i32> =
        profile.phases.iter().map(|phase| style.width(&clean(&phase.name)) + sheet.u(NAME_MARGIN)).collect();
    let rest = f64::from(panel.width() - names.iter().sum::<i32>());
    let lengths = || profile.phases.iter().map(|phase| phase.duration.map(|length| length.typical));
    let longest = lengths().flatten().fold(f64::MIN_POSITIVE, f64::max);
    let share = |length: Option<f64>| length.map_or(ENDLESS, |length| LEAST + (length / longest).sqrt());
    let total: f64 = lengths().map(share).sum();
    let count = f64::from(u32::try_from(names.len()).unwrap_or(u32::MAX));
    let (mut before, mut edges) = (f64::from(panel.left), Vec::new());
    for (name, length) in names.iter().zip(lengths()) {
        let wide = if rest > 0.0 {
            f64::from(*name) + rest * share(length) / total
        } else {
            f64::from(panel.width()) / count
        };
        edges.push((px(before), px(before + wide)));
        before += wide;
    }
    edges
}

/// Room beside a name in its box, in units of the layout.
const NAME_MARGIN: f64 = 8.0;

/// The largest style in which every stage has room for its name, if there is one.
fn name_style(sheet: &Sheet, profile: &Profile, edges: &[(i32, i32)]) -> Option<Style> {
    let styles = [(em::USUAL, Weight::Bold), (em::SMALL, Weight::Bold), (em::SMALL, Weight::Regular)];
    let styles = styles.map(|(size, weight)| sheet.style(size, weight, sheet.palette.text));
    let room = |(left, right): &(i32, i32)| right - left - sheet.u(6.0);
    let fits = |style: &&Style| {
        profile.phases.iter().zip(edges).all(|(phase, edges)| style.width(&clean(&phase.name)) <= room(edges))
    };
    styles.iter().find(fits).copied()
}

fn stage(
    sheet: &mut Sheet,
    (phase, name): (&PhaseReference, &str),
    (left, right): (i32, i32),
    (ribbon, below, wording): (Rect, Rect, usize),
    style: Style,
) {
    let palette = sheet.palette;
    let area = Rect { left, right, ..ribbon };
    sheet.scene.frame(area, 1, palette.frame);
    sheet.scene.fill(Rect { top: area.bottom - sheet.u(3.0), ..area }, palette.ink);
    sheet.centered(name, area, style);
    let small = small(sheet);
    let text = &lasting(phase)[wording];
    if small.width(text) <= right - left - sheet.u(6.0) {
        sheet.centered(text, Rect { left, right, ..below }, small);
    }
}

fn small(sheet: &Sheet) -> Style {
    sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text)
}

/// The place of the fewest words for how long a stage lasts.
const LEAST_WORDS: usize = 2;

/// How long a stage lasts, in more words and in fewer.
fn lasting(phase: &PhaseReference) -> [String; LEAST_WORDS + 1] {
    let Some(typical) = phase.duration.map(|length| length.typical) else {
        let short = if phase.waits_for_person { "waits" } else { "stays" };
        return [ending(phase).into(), short.into(), short.into()];
    };
    let length = words::roughly(typical);
    let shortest = if (0.1..1.0).contains(&typical) { format!("{typical:.1} s") } else { length.clone() };
    [format!("about {length}"), length, shortest]
}
