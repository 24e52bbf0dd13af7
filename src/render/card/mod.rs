//! The reference card of a profile: what a bench pins to the wall.

mod labels;
mod row;
mod stages;
#[cfg(test)]
mod tests;

use super::font::{Weight, clean};
use super::geometry::{Rect, px};
use super::options::{Least, Options};
use super::parts::table::Table;
use super::parts::{envelope, foot, heading, legend, table};
use super::scene::{Anchor, Scene, Style};
use super::sheet::{Sheet, em};
use super::words;
use crate::reference::{POINT_NOT_STATED, PhaseReference, Profile};
use crate::units::{Volts, counted, figures, volts_as_set};
use row::InOneUnit;
use stages::Named;

/// Headings of the table and their shares of the width.
const COLUMNS: [table::Column; 5] = [
    ("stage", 0.15),
    ("mean amps", 0.29),
    (legend::PEAK, 0.13),
    ("lasts", 0.23),
    ("reached, it proves", 0.3),
];

/// The last of them, which a profile without sections leaves empty.
const PROVES: usize = COLUMNS.len() - 1;

/// On a narrow card: what the graph does not say in numbers.
const COLUMNS_NARROW: [table::Column; 3] = [("stage", 0.29), ("mean amps", 0.38), ("lasts", 0.33)];

/// What a narrow card says at its foot: the rest stands in its heading.
const FOOT_NARROW: [&str; 4] = ["amps at", "learned on", "bands", "drawn by"];

/// Below this many units the parts would not have room for their words.
const LEAST: Least = (440.0, 720.0);

/// On paper that hangs on a wall table and cautions are read from further off than a figure on a ticket, and have letters of
/// 10 points for 7.5 (common practice, no source) …
const ON_A_WALL: f64 = 1.34;

/// … where so many units are left of width and height, for so many stages at most.
const ROOM: (f64, f64) = (1000.0, 880.0);
const MOST_STAGES: usize = 10;

/// The sheet of a card, its letters as large as there is room for.
fn sheet(profile: &Profile, options: &Options) -> Sheet {
    let usual = || Sheet::new(options, LEAST);
    let large = usual().enlarged(ON_A_WALL);
    let (width, height) = (large.scene.width, large.scene.height);
    let has_room = width >= large.u(ROOM.0) && height >= large.u(ROOM.1);
    if has_room && profile.phases.len() <= MOST_STAGES { large } else { usual() }
}

pub(super) fn draw(profile: &Profile, options: &Options) -> Scene {
    let mut sheet = sheet(profile, options);
    sheet.scene.title = format!("{}: what good boards do", clean(&profile.board));
    sheet.scene.description = description(profile);
    let area = sheet.inside();
    let title = sheet.scene.title.clone();
    let below =
        heading::draw(&mut sheet, area, None, &title, &format!("from {}{}", evidence(profile), few(profile)));
    let below = heading::lines(&mut sheet, Rect { top: below, ..area }, &profile.description, 1);
    let top = below + sheet.u(8.0);
    let below = feed(&mut sheet, profile, Rect { top, ..area });
    let mut entries = foot_entries(profile);
    if sheet.is_narrow(area.width()) {
        entries.retain(|(key, _)| FOOT_NARROW.contains(key));
    }
    let foot = foot::draw(&mut sheet, &entries);
    let middle = Rect { top: below + sheet.u(10.0), bottom: foot - sheet.u(4.0), ..area };
    let (rest, cautions_area) = middle.split_bottom(cautions_height(&sheet, profile, middle));
    let wide = table::is_wide(&sheet, rest.width());
    let [by_name, by_number] = tables(profile, wide);
    let (panel, rows) = share_out(&sheet, rest, &by_number);
    let named = stages::has_room(&sheet, panel).then(|| stages::draw(&mut sheet, profile, panel));
    let table = if named == Some(Named::ByNumber) { by_number } else { by_name };
    table.draw(&mut sheet, rows);
    cautions(&mut sheet, profile, cautions_area);
    sheet.scene
}

/// The table of the stages, and the same with their numbers.
fn tables(profile: &Profile, wide: bool) -> [Table; 2] {
    let mut columns = if wide { &COLUMNS[..] } else { &COLUMNS_NARROW[..] };
    let cells = table_rows(profile, wide);
    if wide && cells.iter().all(|row| row[PROVES].is_empty()) {
        columns = &COLUMNS[..PROVES];
    }
    let mut numbered = cells.clone();
    for (number, row) in (1..).zip(&mut numbered) {
        row[0] = format!("{number} {}", row[0]);
    }
    [cells, numbered].map(|rows| Table::new(columns, &rows))
}

/// Room for the graph of the stages, which may be none, and for the table of them, which has them all.
fn share_out(sheet: &Sheet, middle: Rect, table: &Table) -> (Rect, Rect) {
    /// The table may take this share of the height …
    const MOST: f64 = 0.5;
    /// … and so much where the stages are many, which on a narrow card the graph has no names for.
    const MOST_OF_MANY: f64 = 0.66;
    let narrow = sheet.is_narrow(middle.width());
    let share = |most: f64| px(f64::from(middle.height()) * most);
    let usual = table.height(sheet, middle.width());
    let most = if narrow { middle.height() } else { share(MOST_OF_MANY) };
    let taken = if usual <= share(MOST) {
        usual
    } else {
        table.dense_height(sheet, middle.width()).max(share(MOST)).min(most)
    };
    let (panel, table) = middle.split_bottom(taken);
    if stages::has_room(sheet, panel) {
        (panel, table)
    } else {
        middle.split_bottom(usual.min(middle.height()))
    }
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

/// Of what few boards are behind, why its bands are wide.
fn few(profile: &Profile) -> &'static str {
    /// Fewer boards make wide or borrowed envelopes, as the profile itself says.
    const ENOUGH: usize = 5;
    if (1..ENOUGH).contains(&profile.learned.boards) { ": few boards, wide bands" } else { "" }
}

/// Where the board is fed, if the profile says it.
fn feed_point(profile: &Profile) -> Option<String> {
    Some(clean(&profile.feed.point)).filter(|point| !point.trim().is_empty() && point != POINT_NOT_STATED)
}

/// How the board is to be fed, in large letters: what is looked for on a card.
fn feed(sheet: &mut Sheet, profile: &Profile, area: Rect) -> i32 {
    let feed = &profile.feed;
    let point = feed_point(profile);
    let facts = [
        // What is not known is no large letters worth.
        (if point.is_some() { "feed point" } else { "feed point: not stated" }, point.unwrap_or_default()),
        ("volts", volts_as_set(feed.nominal.value())),
        ("lowest to highest", words::range(&feed.lowest.to_string(), &feed.highest.to_string())),
        ("current limit", feed.limit.to_string()),
    ];
    if sheet.is_narrow(area.width()) {
        return feed_narrow(sheet, &facts, area);
    }
    // Side by side, or two by two where they would be cut.
    let across = if area.width() >= sheet.u(900.0) { 4 } else { 2 };
    let (row, line) = (i32::try_from(facts.len() / across).unwrap_or(1), sheet.u(52.0));
    let (frame, _) = area.split_top(row * line + sheet.u(6.0));
    sheet.scene.fill(frame, sheet.palette.shade);
    sheet.scene.frame(frame, sheet.u(1.0), sheet.palette.frame);
    let small = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let (large, columns) = feed_columns(sheet, &facts, (frame, across), small);
    for (index, (what, value)) in (0..).zip(facts) {
        let (left, right) = columns[index % across];
        let top = frame.top + i32::try_from(index / across).unwrap_or(0) * line;
        let (left, room) = (left + sheet.u(12.0), right - left - sheet.u(18.0));
        sheet.short_text(what, (left, top + sheet.u(19.0)), Anchor::Start, small, room);
        sheet.short_text(&value, (left, top + sheet.u(46.0)), Anchor::Start, large, room);
    }
    frame.bottom
}

/// Left and right of the columns of the facts, and their letters: as large as all have room in columns as wide as they need.
fn feed_columns(
    sheet: &Sheet,
    facts: &[(&str, String)],
    (frame, across): (Rect, usize),
    small: Style,
) -> (Style, Vec<(i32, i32)>) {
    let style = |size: f64| sheet.style(size, Weight::Bold, sheet.palette.text);
    let needed = |style: &Style| -> Vec<i32> {
        let wide = |(what, value): &(&str, String)| style.width(value).max(small.width(what)) + sheet.u(20.0);
        let column = |index: usize| facts.iter().skip(index).step_by(across).map(wide).max().unwrap_or(0);
        (0..across).map(column).collect()
    };
    let count = i32::try_from(across).unwrap_or(1);
    let fits = |style: &Style| needed(style).iter().sum::<i32>() <= frame.width();
    let found = [24.0, em::LARGE, em::USUAL].map(style).into_iter().find(fits);
    let widths = found.as_ref().map_or_else(
        || vec![frame.width() / count; across],
        |style| {
            let needed = needed(style);
            let spare = (frame.width() - needed.iter().sum::<i32>()) / count;
            needed.iter().map(|width| width + spare).collect()
        },
    );
    let mut left = frame.left;
    let edges = widths.iter().map(|width| {
        left += width;
        (left - width, left)
    });
    (found.unwrap_or_else(|| style(em::USUAL)), edges.collect())
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
        let room = if value.is_empty() { right } else { aside } - left;
        sheet.short_text(what, (left, baseline), Anchor::Start, small, room);
        sheet.short_text(value, (aside, baseline), Anchor::Start, large, right - aside);
    }
    frame.bottom
}

/// What ends a stage that has no length of its own.
const fn ending(phase: &PhaseReference) -> &'static str {
    if phase.waits_for_person { "until the button" } else { "from then on" }
}

fn table_rows(profile: &Profile, wide: bool) -> Vec<Vec<String>> {
    let all: Vec<envelope::Expected> = profile.phases.iter().map(|phase| shown(profile, phase)).collect();
    let unit = InOneUnit::of_all(&all);
    let row = |(phase, expected): (&PhaseReference, &envelope::Expected)| {
        let seconds = |value: f64| words::quantity(value, "s", None);
        let span = unit.range(expected);
        let lasting = phase.duration.map(|length| {
            let span = |count: i32| in_seconds(length.low, length.high, count);
            if wide { format!("{} ({})", seconds(length.typical), span(3)) } else { span(2) }
        });
        let lasts = lasting.unwrap_or_else(|| ending(phase).to_owned());
        let mean = format!("{} ({span})", unit.amps(expected.typical));
        if wide {
            vec![
                phase.name.clone(),
                mean,
                unit.peak(expected, profile.feed.limit),
                lasts,
                proves(profile, phase),
            ]
        } else {
            vec![phase.name.clone(), span, lasts]
        }
    };
    profile.phases.iter().zip(&all).map(row).collect()
}

/// What the card shows of a stage: amps at the usual feed.
fn shown(profile: &Profile, phase: &PhaseReference) -> envelope::Expected {
    envelope::in_amps(profile, phase, feed_volts(profile)).up_to(Some(profile.feed.limit))
}

/// `0.053 to 1.21 s`: a range of times in one unit, for as long as people say seconds.
fn in_seconds(low: f64, high: f64, count: i32) -> String {
    const SAID_IN_SECONDS: f64 = 100.0;
    let seconds = |value: f64| words::quantity(value, "s", None);
    if high >= SAID_IN_SECONDS {
        return words::range(&seconds(low), &seconds(high));
    }
    let place = |value: f64| if value < 0.1 { 2 } else { count };
    format!("{} to {} s", figures(low, place(low)), figures(high, count))
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
    let style = sheet.style(caution_size(sheet, profile, width).0, Weight::Regular, sheet.palette.text);
    // What to mind is not to be cut.
    let most = if sheet.is_narrow(width) { 5 } else { 2 };
    let each = |caution: &String| {
        let mut lines = style.wrap(&clean(caution), width - sheet.u(56.0), most);
        if let Some(first) = lines.first_mut() {
            *first = format!("{ITEM}{first}");
        }
        lines
    };
    let lines: Vec<String> = profile.feed.cautions.iter().flat_map(each).collect();
    let heading = (!lines.is_empty()).then(|| words::CAUTION.to_owned());
    heading.into_iter().chain(lines).collect()
}

/// Before each of them.
const ITEM: &str = "– ";

/// Size of the letters of the cautions, and from one of their lines to the next, in units of the layout: smaller where
/// they would leave no room for many stages.
fn caution_size(sheet: &Sheet, profile: &Profile, width: i32) -> (f64, f64) {
    const MANY: usize = 12;
    let many = profile.phases.len() > MANY;
    if many && sheet.is_narrow(width) { (em::SMALL, 17.0) } else { (em::USUAL, 21.0) }
}

fn cautions_height(sheet: &Sheet, profile: &Profile, area: Rect) -> i32 {
    /// Cautions may take this share of the height.
    const MOST: f64 = 0.45;
    let (_, pitch) = caution_size(sheet, profile, area.width());
    let lines = i32::try_from(caution_lines(sheet, profile, area.width()).len()).unwrap_or(i32::MAX);
    let needed = if lines == 0 { 0 } else { lines * sheet.u(pitch) + sheet.u(16.0) };
    needed.min(px(f64::from(area.height()) * MOST))
}

/// What to mind, framed: it is not left to colour.
fn cautions(sheet: &mut Sheet, profile: &Profile, area: Rect) {
    let (_, frame) = area.split_top(sheet.u(6.0));
    let (size, pitch) = caution_size(sheet, profile, area.width());
    let pitch = sheet.u(pitch);
    let room = (frame.height() - sheet.u(8.0)) / pitch;
    if room < 1 {
        return;
    }
    let lines = caution_lines(sheet, profile, area.width());
    sheet.scene.fill(frame, sheet.palette.alarm_paper);
    sheet.scene.frame(frame, sheet.u(2.0), sheet.palette.alarm);
    let style = sheet.style(size, Weight::Regular, sheet.palette.text);
    let bold = sheet.style(size, Weight::Bold, sheet.palette.alarm);
    for (index, line) in (0..room).zip(lines) {
        let row = frame.top + sheet.u(4.0) + index * pitch;
        let indent = if index == 0 || line.starts_with(ITEM) { sheet.u(12.0) } else { sheet.u(24.0) };
        let style = if index == 0 { bold } else { style };
        let at = (frame.left + indent, style.baseline_at(row + pitch / 2));
        sheet.scene.text(line, at, Anchor::Start, style);
    }
}

/// Feeds that differ by this share are set alike (common practice, no source): the amps of one are those of the other.
const SAME_VOLTS: f64 = 0.01;

fn foot_entries(profile: &Profile) -> Vec<foot::Entry> {
    let learned = &profile.learned;
    // Volts that differ by no more than a supply is set are one value, and two numbers for it make one wonder.
    let apart = |volts: &Volts| {
        (volts.value() - feed_volts(profile).value()).abs() > SAME_VOLTS * feed_volts(profile).value()
    };
    let at = learned.feed.filter(apart).map(|volts| volts_as_set(volts.value()));
    let date = Some(learned.date.clone()).filter(|date| !date.trim().is_empty());
    let all = [
        ("board", Some(profile.board.clone())),
        ("amps at", Some(volts_as_set(feed_volts(profile).value()))),
        ("learned at", at),
        ("learned on", date),
        ("from", Some(evidence(profile))),
        // A tolerance interval: 95 % of all boards, at 95 % confidence; of one written by hand nothing is known.
        ("bands", (learned.boards > 0).then(|| "meant to hold 19 of 20 good boards".into())),
        ("drawn by", Some(format!("feedtale {}", env!("CARGO_PKG_VERSION")))),
    ];
    all.into_iter().filter_map(|(key, value)| Some((key, clean(&value?)))).collect()
}

fn description(profile: &Profile) -> String {
    let feed = &profile.feed;
    let at = feed_point(profile).map_or_else(String::new, |point| format!(" at the {point}"));
    let mut sentences = vec![format!(
        "Feed {}{at}, {} to {}, limit {}.",
        feed.nominal, feed.lowest, feed.highest, feed.limit
    )];
    sentences.extend(
        table_rows(profile, true)
            .into_iter()
            .map(|row| format!("{}: mean {}, peak at most {}, lasts {}.", row[0], row[1], row[2], row[3])),
    );
    sentences.extend(feed.cautions.iter().map(|caution| format!("{}: {caution}", words::CAUTION)));
    sentences.join(" ")
}
