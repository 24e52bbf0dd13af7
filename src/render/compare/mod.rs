//! A board before and after: two runs on one time base, and what differs stage by stage.
//!
//! The runs stand one above the other on the same scales, each over the envelope stretched to its own stages: two
//! traces on one panel were drawn first, and in grey nobody could say which was which.

mod common;
mod differences;
mod mean;
mod panel;
mod proportion;
mod reach;
mod said;
mod seen;
#[cfg(test)]
mod tests;
mod told;
mod two_boards;

pub(super) use said::before_after as headline;

use super::RenderError;
use super::align;
use super::geometry::{Rect, px};
use super::log_end;
use super::moments;
use super::options::{Least, Options};
use super::parts::readings::Readings;
use super::parts::table::Table;
use super::parts::{Subject, amps, envelope, foot, heading, legend, phases, table, volts};
use super::scene::Scene;
use super::sheet::Sheet;
use super::words;
use crate::units::{range, volts_as_set};
use crate::verdict::{Class, LogFacts};
use common::Common;
use differences::{Difference, differences};

/// What a narrow figure says at its foot: the rest is in the figures of the two runs.
const NARROW_FOOT: [&str; 5] = ["board", "serial", "ticket", "set", "good boards"];

/// What the two runs are called.
const NAMES: [&str; 2] = ["before", "after"];

/// Headings of the table and their shares of the width.
const COLUMNS: [table::Column; 5] =
    [("stage", 0.14), ("before", 0.2), ("after", 0.2), (GOOD_BOARDS, 0.24), ("difference", 0.3)];

/// Room for the values of an axis beside a panel, and for its times below, in units of the layout.
const VALUES: f64 = 58.0;
const AXIS: f64 = 24.0;

/// The heading of what good boards do.
const GOOD_BOARDS: &str = "good boards";

/// On a narrow figure: what is most worth knowing.
const COLUMNS_NARROW: [table::Column; 2] = [("stage", 0.26), ("difference", 0.74)];

/// The same without the good boards, for want of any.
const COLUMNS_ALONE: [table::Column; 4] =
    [("stage", 0.18), ("before", 0.24), ("after", 0.24), ("difference", 0.34)];

/// Below this many units the parts would not have room for their words.
const LEAST: Least = (440.0, 780.0);

/// The same where the table is left out: a sheet so low is a very low one.
const LEAST_WITHOUT_TABLE: Least = (440.0, 660.0);

pub(super) fn draw(runs: [Subject; 2], options: &Options) -> Result<Scene, RenderError> {
    let window = align::window(&runs, &align::before_and_after(&runs, NAMES).0, options)?;
    let mut found = differences(runs);
    if other_board(runs).is_some() {
        found.iter_mut().for_each(two_boards::of_two_boards);
    }
    let mut sheet = Sheet::new(options, LEAST);
    if sheet.is_tiny() {
        sheet = Sheet::new(options, LEAST_WITHOUT_TABLE);
    }
    let narrow = sheet.is_narrow(sheet.inside().width());
    sheet.scene.title = title(runs);
    sheet.scene.description = description(runs, &found);
    let common = Common::new(&mut sheet, &runs, window);
    let below_head = head(&mut sheet, runs);
    if let Some(profile) = runs[0].profile.filter(|_| narrow) {
        // The stages themselves; what lies between tries has no room.
        found.retain(|difference| profile.phases.iter().any(|phase| phase.name == difference.stage));
    }
    let mut entries = foot_entries(runs, narrow);
    if narrow {
        entries.retain(|(key, _)| NARROW_FOOT.contains(key));
        // Beside the title of a panel there is no room for it.
        entries.insert(0, ("0 s:", common.zero.clone()));
    }
    entries.splice(0..0, common.goes_on(&runs).map(|beyond| (log_end::GOES_ON, beyond)));
    let found = reach::told_once(&found);
    let foot = foot::draw(&mut sheet, &entries);
    let middle = Rect { top: below_head, bottom: foot - sheet.u(4.0), ..sheet.inside() };
    // So low a figure has room for the runs or for the table, and the runs are what a picture is for.
    let panels = if sheet.is_very_low() {
        middle
    } else {
        let table = table_that_fits(&sheet, middle, &found, good_boards(runs).as_deref());
        let (panels, rows) = share_out(middle, table.height(&sheet, middle.width()));
        table.draw(&mut sheet, rows);
        panels
    };
    let zero = if narrow { String::new() } else { format!("0 s: {}", common.zero) };
    draw_panels(&mut sheet, panels, runs, &common, &zero);
    Ok(sheet.scene)
}

/// The table may take this share of the height.
const MOST_OF_TABLE: f64 = 0.33;

/// Room for the panels, and for the table below them.
fn share_out(middle: Rect, table: i32) -> (Rect, Rect) {
    middle.split_bottom(table.min(px(f64::from(middle.height()) * MOST_OF_TABLE)))
}

/// The table with a row for each stage, or, where that takes the runs their room, without what is alike.
fn table_that_fits(sheet: &Sheet, middle: Rect, found: &[Difference], good: Option<&str>) -> Table {
    let table = |found: &[Difference]| table_of(sheet, middle.width(), found, good);
    let whole = table(found);
    let fits = whole.height(sheet, middle.width()) <= px(f64::from(middle.height()) * MOST_OF_TABLE);
    if fits { whole } else { table(&reach::without_alike(found)) }
}

fn head(sheet: &mut Sheet, runs: [Subject; 2]) -> i32 {
    let [before, after] = runs.map(|run| &run.finding.verdict);
    let asked = !(before.class == Class::StandbyOnly && before.asked == Some(false));
    // A board that boots once it is asked to was not repaired, as far as these logs tell.
    let open = |sign| (sign, sheet.palette.unsure, sheet.palette.on_unsure);
    // Nor was one that is another board than the dead one: of that there is no doubt, and the sign is not that of one.
    let same = other_board(runs).is_none();
    let badge = match (after.class == Class::FullBoot, same, asked) {
        (true, false, _) => open(TWO_BOARDS),
        (true, true, false) => open("?"),
        _ => heading::badge(sheet, runs[1].finding),
    };
    let area = sheet.inside();
    let text = heading::that_fits(sheet, area, said::headlines(runs, same));
    let below = heading::draw(sheet, area, Some(badge), &text, "");
    let mut below = below;
    let not_asked = (!asked).then(|| NOT_ASKED.to_owned());
    for warning in other_board(runs).into_iter().chain(not_asked) {
        below = heading::lines(sheet, Rect { top: below, ..area }, &warning, 1);
    }
    below + sheet.u(8.0)
}

/// The sign of logs of two boards: how many there are.
const TWO_BOARDS: &str = "2";

/// What a log without a press leaves open.
const NOT_ASKED: &str = "Before was never asked: no press of the button in its log, so this shows no repair.";

/// Words of warning where the two logs are not of one board.
fn other_board(runs: [Subject; 2]) -> Option<String> {
    let [before, after] = runs.map(|run| &run.finding.log);
    let differ = |of: fn(&LogFacts) -> &Option<String>| match (of(before), of(after)) {
        (Some(a), Some(b)) if a != b => Some(format!("{a} before, {b} after")),
        _ => None,
    };
    let differing = differ(|log| &log.board).or_else(|| differ(|log| &log.serial))?;
    Some(format!("{}: these are logs of two boards: {differing}.", words::CAUTION))
}

fn draw_panels(
    sheet: &mut Sheet,
    area: Rect,
    runs: [Subject; 2],
    Common { zeros, time, readings, told, pressed, .. }: &Common,
    zero_in_words: &str,
) {
    let (panels, ticks) = Rect { left: time.left, ..area }.split_bottom(sheet.u(AXIS));
    let scales = [0, 1].map(|index| amps::Scale::new(&runs[index], &readings[index]));
    let rests = [0, 1].map(|index| scales[index].rest_matters(&runs[index]));
    let (scales, own_scales) = panel::side_by_side(scales, rests, sheet.is_very_low());
    let volts = [0, 1].map(|index| volts::Scale::new(&runs[index], &readings[index]));
    let volts = volts[0].shared(volts[1]);
    let drawn = drawn_in_either(sheet, &runs, readings, scales, panels);
    let samples = legend::of_run(sheet, panels.width(), &drawn);
    let (row, panels) = panels.split_top(legend::height_of(sheet, panels.width(), &samples));
    let drawn_panels = |sheet: &mut Sheet, upper: i32, finer: [Option<f64>; 2]| {
        let (upper, lower) = panels.split_top(upper);
        let mut each = [upper, lower].into_iter().enumerate().map(|(index, place)| {
            // What both have in common is said once.
            let aside = if index == 0 { zero_in_words } else { "" };
            let named = (NAMES[index], (zeros[index], *pressed), (finer[index], aside));
            panel::draw(sheet, runs[index], &readings[index], (scales[index], volts), place, named)
        });
        [each.next(), each.next()].map(Option::unwrap_or_default)
    };
    let first = sheet.scene.shapes.len();
    panel::equally_high(sheet, (panels.height(), own_scales), drawn_panels);
    let panels = sheet.scene.shapes.len() - first;
    moments::axis(sheet, (*time, ticks), told);
    // Below the panels: where they are very low, the letters of the strip reach down to the axis.
    sheet.scene.shapes[first..].rotate_left(panels);
    let samples = legend::of_run(sheet, row.width(), &drawn.seen(sheet));
    legend::draw(sheet, row, &samples);
}

/// What the legend has to explain: what is drawn in either panel.
fn drawn_in_either(
    sheet: &Sheet,
    runs: &[Subject; 2],
    readings: &[Readings; 2],
    scales: [amps::Scale; 2],
    area: Rect,
) -> legend::Drawn {
    let each = [0, 1].map(|index| envelope::drawn(&runs[index], &readings[index], scales[index].main(area)));
    let any = |of: fn(&legend::Drawn) -> bool| each.iter().any(of);
    let blank = |index: usize| {
        phases::Bands::new(sheet, &runs[index], (readings[index].time, phases::MOST_ROWS)).blank(sheet)
    };
    legend::Drawn {
        envelope: any(|drawn| drawn.envelope),
        mean: any(|drawn| drawn.mean),
        peak: any(|drawn| drawn.peak),
        off_scale: envelope::off_scale::of_both(&[0, 1].map(|index| envelope::off_scale::Panel {
            name: NAMES[index],
            peaks: each[index].off_scale.clone(),
            stages: envelope::off_scale::stages(&runs[index], &readings[index]),
        })),
        overdue: any(|drawn| drawn.overdue),
        limited: any(|drawn| drawn.limited),
        dips: any(|drawn| drawn.dips),
        gaps: any(|drawn| drawn.gaps),
        blank: legend::Blank::both(blank(0), blank(1)),
    }
}

/// What the column of good boards is headed: where the runs were fed with other volts its amps are those at either.
fn good_boards(runs: [Subject; 2]) -> Option<String> {
    runs[0].profile?;
    let volts = |run: Subject| {
        let set = run.set_volts().map(|volts| (volts.value(), volts_as_set(volts.value())));
        set.or_else(|| run.feed_volts().map(|volts| (volts.value(), volts.to_string())))
    };
    let [Some(before), Some(after)] = runs.map(volts) else { return Some(GOOD_BOARDS.into()) };
    let (low, high) = if before.0 <= after.0 { (before.1, after.1) } else { (after.1, before.1) };
    let at = if low == high { String::new() } else { format!(" at {}", range(&low, &high)) };
    Some(format!("{GOOD_BOARDS}{at}"))
}

fn table_of(sheet: &Sheet, width: i32, found: &[Difference], good: Option<&str>) -> Table {
    let with_reference = good.is_some();
    let wide = table::is_wide(sheet, width);
    let cells = |difference: &Difference| {
        let Difference { stage, before, after, good, words, .. } = difference.clone();
        if !wide {
            vec![stage, words]
        } else if with_reference {
            vec![stage, before, after, good, words]
        } else {
            vec![stage, before, after, words]
        }
    };
    let rows: Vec<Vec<String>> = found.iter().map(cells).collect();
    let columns: &[table::Column] = match (wide, with_reference) {
        (false, _) => &COLUMNS_NARROW,
        (true, true) => &COLUMNS,
        (true, false) => &COLUMNS_ALONE,
    };
    without_empty(columns, &rows).headed(GOOD_BOARDS, good.unwrap_or(GOOD_BOARDS))
}

/// Without the columns in which no row says anything.
fn without_empty(columns: &[table::Column], rows: &[Vec<String>]) -> Table {
    let says = |index: &usize| rows.is_empty() || rows.iter().any(|row| !row[*index].is_empty());
    let kept: Vec<usize> = (0..columns.len()).filter(says).collect();
    let row = |row: &Vec<String>| kept.iter().map(|index| row[*index].clone()).collect();
    let columns: Vec<table::Column> = kept.iter().map(|index| columns[*index]).collect();
    Table::new(&columns, &rows.iter().map(row).collect::<Vec<_>>())
}

/// The facts of both runs; one that differs says so, in two where it is long.
fn foot_entries(runs: [Subject; 2], narrow: bool) -> Vec<foot::Entry> {
    /// Letters up to which both values stand side by side.
    const SHORT: usize = 28;
    /// The same on a narrow figure.
    const SHORT_NARROW: usize = 12;
    let short = if narrow { SHORT_NARROW } else { SHORT };
    let [before, after] = runs.map(|run| foot::entries(&run));
    let in_both = |(key, value): &foot::Entry| match after.iter().find(|(other, _)| other == key) {
        Some((_, other)) if other == value => vec![(*key, value.clone())],
        Some((_, other)) if value.chars().count() <= short => {
            vec![(*key, format!("{value} before, {other} after"))]
        }
        Some((_, other)) => vec![(*key, format!("{value} before")), (*key, format!("{other} after"))],
        None => vec![(*key, format!("{value} before"))],
    };
    // How each was read is said in its own picture.
    let said = |(key, _): &&foot::Entry| !["read", "in steps of"].contains(key);
    let mut entries: Vec<foot::Entry> = before.iter().filter(said).flat_map(in_both).collect();
    let only_after =
        after.iter().filter(said).filter(|(key, _)| !before.iter().any(|(other, _)| other == key));
    entries.extend(only_after.map(|(key, value)| (*key, format!("{value} after"))));
    entries
}

fn title(runs: [Subject; 2]) -> String {
    let boards = runs.map(|run| words::board(run.finding));
    let boards = match boards {
        [one, other] if other_board(runs).is_some() && one != other => format!("{one} and {other}"),
        [_, after] => after,
    };
    format!("{boards}: {}", said::before_after(runs))
}

fn description(runs: [Subject; 2], found: &[Difference]) -> String {
    let first = format!("{}.", said::before_after(runs));
    let sentences: Vec<String> =
        std::iter::once(first).chain(found.iter().map(Difference::sentence)).collect();
    sentences.join(" ")
}
