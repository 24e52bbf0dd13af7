//! The reference card of a profile: what a bench pins to the wall.

#[cfg(test)]
mod tests;

use super::axis::ValueAxis;
use super::font::{Weight, clean};
use super::geometry::{Rect, px};
use super::options::{Least, Options};
use super::parts::envelope::{self, Columns, Expected};
use super::parts::{amps, foot, heading, legend, table};
use super::scene::{Anchor, Label, Scene, Style};
use super::sheet::{Sheet, em};
use super::theme::Color;
use super::words;
use crate::reference::{PhaseReference, Profile};
use crate::units::{Volts, counted};

/// Headings of the table and their shares of the width.
const COLUMNS: [table::Column; 5] =
    [("stage", 0.15), ("mean amps", 0.29), ("highest", 0.13), ("lasts", 0.23), ("reached, it proves", 0.3)];

/// On a narrow card: what the graph does not say in numbers.
const COLUMNS_NARROW: [table::Column; 3] = [("stage", 0.25), ("mean amps", 0.4), ("lasts", 0.35)];

/// Below this many units the parts would not have room for their words.
const LEAST: Least = (440.0, 720.0);

pub(super) fn draw(profile: &Profile, options: &Options) -> Scene {
    let mut sheet = Sheet::new(options, LEAST);
    sheet.scene.title = format!("{}: what good boards do", clean(&profile.board));
    sheet.scene.description = description(profile);
    let area = sheet.inside();
    let title = sheet.scene.title.clone();
    let below = heading::draw(&mut sheet, area, None, &title, &format!("from {}", evidence(profile)));
    let below = heading::lines(&mut sheet, Rect { top: below, ..area }, &profile.description, 1);
    let top = below + sheet.u(8.0);
    let below = feed(&mut sheet, profile, Rect { top, ..area });
    let foot = foot::draw(&mut sheet, &foot_entries(profile));
    let middle = Rect { top: below + sheet.u(10.0), bottom: foot - sheet.u(4.0), ..area };
    let (rest, cautions_area) = middle.split_bottom(cautions_height(&sheet, profile, middle));
    let (panel, rows) = share_out(&sheet, rest, profile.phases.len());
    let wide = table::is_wide(&sheet, rows.width());
    let columns = if wide { &COLUMNS[..] } else { &COLUMNS_NARROW[..] };
    table::draw(&mut sheet, rows, columns, &table_rows(profile, wide));
    cautions(&mut sheet, profile, cautions_area);
    let bottom = panel.bottom - sheet.u(10.0);
    stages(&mut sheet, profile, Rect { bottom, ..panel });
    sheet.scene
}

fn share_out(sheet: &Sheet, middle: Rect, rows: usize) -> (Rect, Rect) {
    /// The table may take this share of the height.
    const MOST: f64 = 0.5;
    let most = px(f64::from(middle.height()) * MOST);
    middle.split_bottom(table::height(sheet, rows).min(most))
}

/// The volts at which the card shows amps: the usual feed.
fn feed_volts(profile: &Profile) -> Volts {
    profile.feed.nominal
}

fn evidence(profile: &Profile) -> String {
    let learned = &profile.learned;
    match learned.boards {
        0 => "no board measured, written by hand".into(),
        _ => format!("{}, {}", counted(learned.boards, "good board"), counted(learned.captures, "capture")),
    }
}

/// How the board is to be fed, in large letters: what is looked for on a card.
fn feed(sheet: &mut Sheet, profile: &Profile, area: Rect) -> i32 {
    let feed = &profile.feed;
    let facts = [
        ("feed at", clean(&feed.point)),
        ("volts", feed.nominal.to_string()),
        ("lowest to highest", words::range(&feed.lowest.to_string(), &feed.highest.to_string())),
        ("current limit", feed.limit.to_string()),
    ];
    if sheet.is_narrow(area.width()) {
        return feed_narrow(sheet, &facts, area);
    }
    // Side by side, or two by two where they would be cut.
    let across = if area.width() >= sheet.u(900.0) { 4 } else { 2 };
    let (row, line) = (4 / across, sheet.u(52.0));
    let (frame, _) = area.split_top(row * line + sheet.u(6.0));
    sheet.scene.fill(frame, sheet.palette.shade);
    sheet.scene.frame(frame, sheet.u(1.0), sheet.palette.frame);
    let small = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let large = sheet.style(24.0, Weight::Bold, sheet.palette.text);
    let width = frame.width() / across;
    for (index, (what, value)) in (0..).zip(facts) {
        let (left, top) =
            (frame.left + index % across * width + sheet.u(12.0), frame.top + index / across * line);
        let room = width - sheet.u(18.0);
        sheet.short_text(what, (left, top + sheet.u(19.0)), Anchor::Start, small, room);
        sheet.short_text(&value, (left, top + sheet.u(46.0)), Anchor::Start, large, room);
    }
    frame.bottom
}

/// The same, each fact on a line of its own.
fn feed_narrow(sheet: &mut Sheet, facts: &[(&str, String)], area: Rect) -> i32 {
    let count = i32::try_from(facts.len()).unwrap_or(i32::MAX);
    let line = sheet.u(28.0);
    let (frame, _) = area.split_top(count * line + sheet.u(8.0));
    sheet.scene.fill(frame, sheet.palette.shade);
    sheet.scene.frame(frame, sheet.u(1.0), sheet.palette.frame);
    let small = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let large = sheet.style(em::LARGE, Weight::Bold, sheet.palette.text);
    let (left, right) = (frame.left + sheet.u(12.0), frame.right - sheet.u(12.0));
    let aside = left + sheet.u(130.0);
    for (index, (what, value)) in (0..).zip(facts) {
        let baseline = frame.top + index * line + sheet.u(23.0);
        sheet.short_text(what, (left, baseline), Anchor::Start, small, aside - left);
        sheet.short_text(value, (aside, baseline), Anchor::Start, large, right - aside);
    }
    frame.bottom
}

/// The stages one after the other, each as long as it usually lasts, with the amps of good boards.
fn stages(sheet: &mut Sheet, profile: &Profile, area: Rect) {
    let area = Rect { left: area.left + sheet.u(58.0), ..area };
    let (row, rest) = area.split_top(legend::height(sheet, area.width()));
    legend::draw(sheet, row, &legend::of_envelope(sheet.palette));
    let (ribbon, panel) = rest.split_top(sheet.u(26.0));
    let (panel, lengths) = panel.split_bottom(sheet.u(22.0));
    if panel.height() < sheet.u(30.0) {
        return;
    }
    let volts = feed_volts(profile);
    let expected: Vec<Expected> =
        profile.phases.iter().map(|phase| envelope::in_amps(profile, phase, volts)).collect();
    let axis = ValueAxis { area: panel, low: 0.0, high: highest(&expected) };
    let edges = edges(profile, panel, sheet.is_narrow(panel.width()));
    for &(left, right) in edges.iter().skip(1).step_by(2) {
        sheet.scene.fill(Rect { left, right, ..panel }, sheet.palette.shade);
    }
    for (expected, &(left, right)) in expected.iter().zip(&edges) {
        envelope::stage_of(sheet, axis, expected, Columns { left, usual: right, right });
    }
    amps::amps_grid(sheet, axis);
    let grounds = [sheet.palette.paper, sheet.palette.shade];
    for ((expected, &edges), ground) in expected.iter().zip(&edges).zip(grounds.into_iter().cycle()) {
        range_label(sheet, axis, expected, (edges, ground));
    }
    let style = name_style(sheet, profile, &edges);
    for (phase, edges) in profile.phases.iter().zip(&edges) {
        stage(sheet, phase, *edges, (ribbon, lengths), style);
    }
}

/// The range in numbers, above its band or, at the top, below it: on one line as large as it fits, or on two. A number
/// that was cut would be another number.
fn range_label(
    sheet: &mut Sheet,
    axis: ValueAxis,
    expected: &Expected,
    ((left, right), ground): ((i32, i32), Color),
) {
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
        (None, None) => return,
    };
    if lines.iter().any(|line| style.width(line) > room) {
        return;
    }
    let row = style.line_height();
    let height = row * i32::try_from(lines.len() - 1).unwrap_or(0);
    let above = axis.row_within(expected.high) - sheet.u(12.0) - height;
    let below = axis.row_within(expected.low) + row;
    let first = if above - row > axis.area.top { above } else { below };
    if first + height > axis.area.bottom - sheet.u(6.0) {
        return;
    }
    let x = i32::midpoint(left, right);
    for (index, text) in (0..).zip(lines) {
        let label = Label { text, at: (x, first + index * row), anchor: Anchor::Middle, style };
        // Neither the grid nor a peak may run through the numbers.
        sheet.scene.fill(label.bounds().grown(sheet.u(1.0)), ground);
        sheet.scene.text(label.text, label.at, label.anchor, label.style);
    }
}

/// Up to the highest mean, and to peaks that do not flatten it.
fn highest(expected: &[Expected]) -> f64 {
    /// A peak that few boards allow makes a high envelope; beyond this it is left to the table.
    const WORTH_SHOWING: f64 = 1.6;
    /// Room above the highest line.
    const HEADROOM: f64 = 1.1;
    let means = expected.iter().map(|stage| stage.high).fold(0.0, f64::max);
    let peaks = expected.iter().map(|stage| stage.peak).filter(|peak| *peak < WORTH_SHOWING * means);
    peaks.fold(means, f64::max).max(f64::MIN_POSITIVE) * HEADROOM
}

/// Left and right of each stage: in proportion to how long it usually lasts, but with room for its name; where that
/// takes all there is, all alike.
fn edges(profile: &Profile, panel: Rect, alike: bool) -> Vec<(i32, i32)> {
    /// Width of the shortest stage, and of one that has no end of its own, as shares of an even division.
    const LEAST: f64 = 0.6;
    const ENDLESS: f64 = 1.0;
    let lengths: Vec<Option<f64>> =
        profile.phases.iter().map(|phase| phase.duration.map(|length| length.typical)).collect();
    let longest = lengths.iter().flatten().copied().fold(f64::MIN_POSITIVE, f64::max);
    let share = |length: &Option<f64>| match length {
        Some(length) if !alike => LEAST + 1.4 * (length / longest).sqrt(),
        _ => ENDLESS,
    };
    let shares: Vec<f64> = lengths.iter().map(share).collect();
    let total: f64 = shares.iter().sum();
    let mut before = 0.0;
    let mut edges = Vec::new();
    for share in shares {
        let at = |share: f64| panel.left + px(f64::from(panel.width()) * share / total);
        edges.push((at(before), at(before + share)));
        before += share;
    }
    edges
}

/// The largest style in which every stage has room for its name, or else the usual one.
fn name_style(sheet: &Sheet, profile: &Profile, edges: &[(i32, i32)]) -> Style {
    let styles = [(em::USUAL, Weight::Bold), (em::SMALL, Weight::Bold), (em::SMALL, Weight::Regular)];
    let styles = styles.map(|(size, weight)| sheet.style(size, weight, sheet.palette.text));
    let room = |(left, right): &(i32, i32)| right - left - sheet.u(6.0);
    let fits = |style: &&Style| {
        profile.phases.iter().zip(edges).all(|(phase, edges)| style.width(&clean(&phase.name)) <= room(edges))
    };
    *styles.iter().find(fits).unwrap_or(&styles[0])
}

fn stage(
    sheet: &mut Sheet,
    phase: &PhaseReference,
    (left, right): (i32, i32),
    (ribbon, below): (Rect, Rect),
    style: Style,
) {
    let palette = sheet.palette;
    let area = Rect { left, right, ..ribbon };
    sheet.scene.frame(area, 1, palette.frame);
    sheet.scene.fill(Rect { top: area.bottom - sheet.u(3.0), ..area }, palette.ink);
    sheet.centered(&clean(&phase.name), area, style);
    let small = sheet.style(em::SMALL, Weight::Regular, palette.faint_text);
    let texts = match phase.duration.map(|length| words::roughly(length.typical)) {
        Some(length) => [format!("about {length}"), length],
        None => [ending(phase).into(), if phase.waits_for_person { "waits" } else { "stays" }.into()],
    };
    let fits = |text: &&String| small.width(text) <= right - left - sheet.u(6.0);
    if let Some(text) = texts.iter().find(fits) {
        sheet.centered(text, Rect { left, right, ..below }, small);
    }
}

/// What ends a stage that has no length of its own.
const fn ending(phase: &PhaseReference) -> &'static str {
    if phase.waits_for_person { "until the button" } else { "from then on" }
}

fn table_rows(profile: &Profile, wide: bool) -> Vec<Vec<String>> {
    let volts = feed_volts(profile);
    let row = |phase: &PhaseReference| {
        let expected = envelope::in_amps(profile, phase, volts);
        let show = |amps: f64| words::amps(amps, None);
        let seconds = |value: f64| words::quantity(value, "s", None);
        let span = words::range(&show(expected.low), &show(expected.high));
        let lasting = phase.duration.map(|length| {
            let span = words::range(&seconds(length.low), &seconds(length.high));
            if wide { format!("{} ({span})", seconds(length.typical)) } else { span }
        });
        let lasts = lasting.unwrap_or_else(|| ending(phase).to_owned());
        let mean = format!("{} ({span})", show(expected.typical));
        if wide {
            vec![phase.name.clone(), mean, show(expected.peak), lasts, proves(profile, phase)]
        } else {
            vec![phase.name.clone(), span, lasts]
        }
    };
    profile.phases.iter().map(row).collect()
}

/// The sections that this stage is the first to prove.
fn proves(profile: &Profile, phase: &PhaseReference) -> String {
    let first = |stages: &[String]| profile.phases.iter().find(|phase| stages.contains(&phase.name));
    let mine = profile
        .power_path
        .iter()
        .filter(|section| first(&section.proved_by).is_some_and(|stage| stage.name == phase.name));
    mine.map(|section| section.section.as_str()).collect::<Vec<_>>().join(", ")
}

/// Each caution in lines, as wide as the card.
fn caution_lines(sheet: &Sheet, profile: &Profile, width: i32) -> Vec<String> {
    let style = sheet.style(em::USUAL, Weight::Regular, sheet.palette.text);
    // What to mind is not to be cut.
    let most = if sheet.is_narrow(width) { 5 } else { 2 };
    let each = |caution: &String| {
        let mut lines = style.wrap(&clean(caution), width - sheet.u(56.0), most);
        if let Some(first) = lines.first_mut() {
            *first = format!("! {first}");
        }
        lines
    };
    profile.feed.cautions.iter().flat_map(each).collect()
}

fn cautions_height(sheet: &Sheet, profile: &Profile, area: Rect) -> i32 {
    /// Cautions may take this share of the height.
    const MOST: f64 = 0.45;
    let lines = i32::try_from(caution_lines(sheet, profile, area.width()).len()).unwrap_or(i32::MAX);
    let needed = if lines == 0 { 0 } else { lines * sheet.u(21.0) + sheet.u(16.0) };
    needed.min(px(f64::from(area.height()) * MOST))
}

/// What to mind, framed: it is not left to colour.
fn cautions(sheet: &mut Sheet, profile: &Profile, area: Rect) {
    let (_, frame) = area.split_top(sheet.u(6.0));
    let room = (frame.height() - sheet.u(8.0)) / sheet.u(21.0);
    if room < 1 {
        return;
    }
    let lines = caution_lines(sheet, profile, area.width());
    sheet.scene.fill(frame, sheet.palette.alarm_paper);
    sheet.scene.frame(frame, sheet.u(2.0), sheet.palette.alarm);
    let style = sheet.style(em::USUAL, Weight::Regular, sheet.palette.text);
    for (index, line) in (0..room).zip(lines) {
        let row = frame.top + sheet.u(4.0) + index * sheet.u(21.0);
        let indent = if line.starts_with("! ") { sheet.u(12.0) } else { sheet.u(22.0) };
        let at = (frame.left + indent, style.baseline_at(row + sheet.u(10.0)));
        sheet.scene.text(line, at, Anchor::Start, style);
    }
}

fn foot_entries(profile: &Profile) -> Vec<foot::Entry> {
    let learned = &profile.learned;
    let at = learned.feed.map(|volts| volts.to_string());
    let date = Some(learned.date.clone()).filter(|date| !date.trim().is_empty());
    let all = [
        ("board", Some(profile.board.clone())),
        ("amps at", Some(feed_volts(profile).to_string())),
        ("learned at", at),
        ("learned on", date),
        ("from", Some(evidence(profile))),
        ("bands", Some("hold 95 % of good boards, with 95 % confidence".into())),
        ("drawn by", Some(format!("feedtale {}", env!("CARGO_PKG_VERSION")))),
    ];
    all.into_iter().filter_map(|(key, value)| Some((key, clean(&value?)))).collect()
}

fn description(profile: &Profile) -> String {
    let feed = &profile.feed;
    let mut sentences = vec![format!(
        "Feed {} at the {}, {} to {}, limit {}.",
        feed.nominal, feed.point, feed.lowest, feed.highest, feed.limit
    )];
    sentences.extend(
        table_rows(profile, true)
            .into_iter()
            .map(|row| format!("{}: mean {}, highest {}, lasts {}.", row[0], row[1], row[2], row[3])),
    );
    sentences.extend(feed.cautions.iter().map(|caution| format!("Caution: {caution}")));
    sentences.join(" ")
}
