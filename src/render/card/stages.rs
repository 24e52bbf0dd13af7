//! The graph of a card: the stages one after the other, with the amps of good boards.

use super::super::axis::ValueAxis;
use super::super::font::{Weight, clean};
use super::super::geometry::{Rect, px};
use super::super::parts::cut::{self, Mark};
use super::super::parts::envelope::{self, Columns, Expected};
use super::super::parts::{amps, legend};
use super::super::scene::Style;
use super::super::sheet::{Sheet, em};
use super::super::words;
use super::row::InOneUnit;
use super::{ending, labels, shown};
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
    let limit = profile.feed.limit.value();
    let high = up_to_limit(highest(&expected), limit);
    let mut samples = legend::of_envelope(sheet.palette).to_vec();
    samples.push(if limit < high {
        let swatch = legend::Swatch::Line(1.5, 9.0, sheet.palette.limit);
        (swatch, format!("current limit {}", profile.feed.limit).into())
    } else {
        (legend::Swatch::None, format!("current limit {}, above", profile.feed.limit).into())
    });
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
    if let Some(quiet) = strips.quiet {
        above_scale(sheet, quiet, &expected, &edges);
    }
    amps::magnified(sheet, strips, &[]);
    if limit < high {
        let pen = sheet.pen(1.5, 9.0, sheet.palette.limit);
        sheet.scene.across((panel.left, panel.right), axis.row(limit), pen);
    }
    labels::draw(sheet, strips, profile, &expected, &edges);
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
    /// Room above the highest of them, and above their peaks, where those are not so many times as high.
    const HEADROOM: f64 = 1.5;
    const ABOVE_PEAKS: f64 = 1.1;
    const FAR: f64 = 5.0;
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
    let peaks = expected.iter().filter(|stage| stage.high < most).map(|stage| stage.peak);
    let peak = peaks.filter(|peak| *peak < FAR * quiet).fold(0.0, f64::max);
    let quiet = ValueAxis { area: lower, low: 0.0, high: (quiet * HEADROOM).max(peak * ABOVE_PEAKS) };
    amps::Axes { main: ValueAxis { area: upper, ..main }, quiet: Some(quiet) }
}

/// The ranges of the stages on one of the axes.
fn strip(sheet: &mut Sheet, axis: ValueAxis, expected: &[Expected], edges: &[(i32, i32)]) {
    for &(left, right) in edges.iter().skip(1).step_by(2) {
        sheet.scene.fill(Rect { left, right, ..axis.area }, sheet.palette.shade);
    }
    // Behind the lines of good boards, which a line of the grid in the same row would hide.
    amps::amps_grid(sheet, axis);
    for (expected, &(left, right)) in expected.iter().zip(edges) {
        // Of one that stands far above a strip there is nothing on it.
        if expected.low < axis.high {
            envelope::stage_of(sheet, axis, expected, Columns { left, peak: left, usual: right, right });
            cut_off(sheet, axis, expected, (left, right));
        }
    }
    sheet.scene.frame(axis.area, 1, sheet.palette.frame);
}

/// Where a band runs out of the strip, that it does, and how far.
fn cut_off(sheet: &mut Sheet, axis: ValueAxis, expected: &Expected, edges: (i32, i32)) {
    if axis.row(expected.high) >= axis.area.top {
        return;
    }
    let (text, color) = (format!("to {}", InOneUnit::of_axis(axis).amps(expected.high)), sheet.palette.good);
    // Clear of the edge of the band, which stands low in such a strip.
    let mark = Mark::within(sheet, axis, edges, (&text, color), &[]);
    cut::draw(sheet, &[mark], sheet.palette.envelope);
}

/// Of stages beside one another that draw more than the strip shows, that they do: nothing there would be read as no amps.
fn above_scale(sheet: &mut Sheet, axis: ValueAxis, expected: &[Expected], edges: &[(i32, i32)]) {
    let style = small(sheet);
    let stages: Vec<_> = expected.iter().zip(edges).collect();
    for run in stages.chunk_by(|(one, _), (next, _)| (one.low < axis.high) == (next.low < axis.high)) {
        let (Some((first, (left, _))), Some((_, (_, right)))) = (run.first(), run.last()) else { continue };
        if first.low < axis.high {
            continue;
        }
        let blank = Rect { left: *left, right: *right, ..axis.area };
        sheet.scene.fill(blank.grown(-1), sheet.palette.paper);
        let fits = |text: &&str| style.width(text) + sheet.u(6.0) <= blank.width();
        let text = ["above this scale", "above"].into_iter().find(fits);
        if let Some(text) = text.filter(|_| style.line_height() <= blank.height()) {
            sheet.centered(text, blank, style);
        }
    }
}

/// The top of the axis raised to the current limit, where that is near.
fn up_to_limit(high: f64, limit: f64) -> f64 {
    /// As far as the stages do not become flat.
    const NEAR: f64 = 1.25;
    /// Room above the line.
    const HEADROOM: f64 = 1.06;
    if limit <= NEAR * high { high.max(limit * HEADROOM) } else { high }
}

/// Up to the highest mean and to the peaks that are usual, and to the highest where that does not flatten the rest.
pub(super) fn highest(expected: &[Expected]) -> f64 {
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
