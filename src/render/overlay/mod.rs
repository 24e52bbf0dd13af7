//! Many logs of one model on one time base: good ones in grey, so that an odd one out is seen.
//!
//! Ten lines in grey are a thicket in which none is followed, and what they have in common is their range: so many good
//! runs are a band with one of them in it, and are counted. Odd ones have lines of their own in front of it; a few of
//! them, as different from each other as there are, are coloured and named at their place, the rest thin and counted.

#[cfg(test)]
mod tests;

use super::RenderError;
use super::align::{self, Zero};
use super::axis::{TimeAxis, ValueAxis};
use super::columns::{Column, Span};
use super::font::clean;
use super::geometry::{Rect, px};
use super::options::{Least, Options};
use super::parts::notes::{self, Note};
use super::parts::readings::Readings;
use super::parts::turning::turning;
use super::parts::{Areas, Subject, amps, foot, heading, legend, phases, table, time_axis, volts};
use super::scene::{Scene, Shape};
use super::sheet::Sheet;
use super::theme::Color;
use super::words;
use crate::units::counted;
use crate::verdict::Class;

/// Odd runs that get a colour and a note of their own; the table has them all.
const MOST_NAMED: usize = 4;

/// From so many good runs on their range is drawn, and one of them.
const CROWD: usize = 4;

/// Room above the runs for the notes; among many runs they hide one or another, and the runs are to be seen.
const HEADROOM: [f64; 3] = [1.0, 1.2, 1.4];

/// Headings of the table and their shares of the width.
const COLUMNS: [table::Column; 4] =
    [("board", 0.2), ("verdict", 0.3), ("unlike good boards", 0.3), ("log", 0.2)];

/// A run on the common time.
#[derive(Debug)]
struct Member<'a> {
    run: Subject<'a>,
    readings: Readings,
    rank: Rank,
}

/// How a run is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Rank {
    /// As most: in grey.
    Good,
    /// With the colour of that number, and a note.
    Named(usize),
    /// Neither good nor named.
    Odd,
}

impl Member<'_> {
    fn is_good(&self) -> bool {
        self.rank == Rank::Good
    }
}

/// Below this many units the parts would not have room for their words.
const LEAST: Least = (440.0, 640.0);

pub(super) fn draw(runs: &[Subject], options: &Options) -> Result<Scene, RenderError> {
    if runs.is_empty() {
        return Err(RenderError::NoReadings);
    }
    let zeros = align::align(runs);
    let (from, to) = align::window(runs, &zeros, options)?;
    let odd = odd_ones(runs);
    let mut sheet = Sheet::new(options, LEAST);
    sheet.scene.title = format!("{}: {}", model(runs), headline(runs, &odd));
    sheet.scene.description = description(runs, &odd);
    let below_head = head(&mut sheet, runs, &odd);
    let foot = foot::draw(&mut sheet, &foot_entries(runs));
    let middle = Rect { top: below_head, bottom: foot - sheet.u(4.0), ..sheet.inside() };
    let rows_of_table = table_rows(runs, &odd);
    let (area, rows) = share_out(&sheet, middle, rows_of_table.len());
    // On a narrow figure only the first two columns keep their words.
    let columns = if table::is_wide(&sheet, rows.width()) { &COLUMNS[..] } else { &COLUMNS[..2] };
    table::draw(&mut sheet, rows, columns, &rows_of_table);
    let left = area.left + sheet.u(58.0);
    let time = TimeAxis { left, right: area.right, from, to };
    let members = members(runs, &zeros, &odd, time);
    plot(&mut sheet, &members, time, Rect { left, ..area });
    Ok(sheet.scene)
}

fn share_out(sheet: &Sheet, middle: Rect, rows: usize) -> (Rect, Rect) {
    /// The table may take this share of the height.
    const MOST: f64 = 0.3;
    let most = px(f64::from(middle.height()) * MOST);
    middle.split_bottom(table::height(sheet, rows).min(most))
}

fn members<'a>(runs: &[Subject<'a>], zeros: &[Zero], odd: &[bool], axis: TimeAxis) -> Vec<Member<'a>> {
    let member = |((run, zero), rank): ((&Subject<'a>, &Zero), Rank)| {
        let own = TimeAxis { from: axis.from + zero.at, to: axis.to + zero.at, ..axis };
        Member { run: *run, readings: Readings::new(run, own), rank }
    };
    runs.iter().zip(zeros).zip(ranks(runs, odd)).map(member).collect()
}

/// The rank of each run: named are first those whose verdict none before them has.
fn ranks(runs: &[Subject], odd: &[bool]) -> Vec<Rank> {
    let odd_ones: Vec<usize> = (0..runs.len()).filter(|index| odd[*index]).collect();
    let class = |index: &usize| runs[*index].finding.verdict.class;
    let (first, again): (Vec<usize>, Vec<usize>) = odd_ones
        .iter()
        .partition(|index| odd_ones.iter().find(|other| class(other) == class(index)) == Some(*index));
    let named: Vec<usize> = first.into_iter().chain(again).take(MOST_NAMED).collect();
    let rank = |index: usize| match named.iter().position(|named| *named == index) {
        Some(color) => Rank::Named(color),
        None if odd[index] => Rank::Odd,
        None => Rank::Good,
    };
    (0..runs.len()).map(rank).collect()
}

/// Which runs are not as the good ones. Where none is a full boot without departure, those that are not as most are.
pub(super) fn odd_ones(runs: &[Subject]) -> Vec<bool> {
    if runs.iter().any(is_sound) {
        return runs.iter().map(|run| !is_sound(run)).collect();
    }
    let count = |class: Class| runs.iter().filter(|run| run.finding.verdict.class == class).count();
    let usual = Class::ALL.into_iter().max_by_key(|class| count(*class));
    runs.iter().map(|run| Some(run.finding.verdict.class) != usual).collect()
}

/// Whether a run boots fully and departs nowhere.
fn is_sound(run: &Subject) -> bool {
    run.finding.verdict.class == Class::FullBoot && run.finding.departures.is_empty()
}

/// What tells a run from the others: serial number, else the log's file name.
fn name(run: &Subject) -> String {
    let serial = run.finding.log.serial.clone().filter(|serial| !serial.trim().is_empty());
    clean(&serial.unwrap_or_else(|| foot::file_name(&run.finding.log.path)))
}

fn model(runs: &[Subject]) -> String {
    let first = runs.first().and_then(|run| run.finding.log.board.clone());
    first.filter(|board| !board.trim().is_empty()).unwrap_or_else(|| "unnamed board".into())
}

pub(super) fn headline(runs: &[Subject], odd: &[bool]) -> String {
    let odd: Vec<&Subject> = runs.iter().zip(odd).filter(|(_, odd)| **odd).map(|(run, _)| run).collect();
    let alike = runs.iter().zip(runs.iter().skip(1)).all(|(a, b)| summary(a) == summary(b));
    let named = |run: &&Subject| format!("{} {}", name(run), summary(run));
    match odd.as_slice() {
        [] if runs.is_empty() => "no logs".into(),
        [] if alike => format!("All {} alike: {}", runs.len(), summary(&runs[0])),
        [] => format!("None of {} boots fully", counted(runs.len(), "log")),
        [one] => format!("1 of {} is odd: {}", runs.len(), named(one)),
        few if few.len() < CROWD => {
            let all: Vec<String> = few.iter().map(named).collect();
            format!("{} of {} are odd: {}", odd.len(), runs.len(), all.join(", "))
        }
        many => format!("{} of {} are odd: {}", odd.len(), runs.len(), kinds(many)),
    }
}

/// `3 hard short, 2 no draw, and 4 more`: how many runs there are of each kind.
fn kinds(runs: &[&Subject]) -> String {
    /// Kinds that are read at a glance.
    const MOST: usize = 3;
    let mut kinds: Vec<(String, usize)> = Vec::new();
    for run in runs {
        let kind = summary(run);
        match kinds.iter_mut().find(|(other, _)| *other == kind) {
            Some((_, count)) => *count += 1,
            None => kinds.push((kind, 1)),
        }
    }
    kinds.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    let rest: usize = kinds.iter().skip(MOST).map(|(_, count)| count).sum();
    let said = kinds.iter().take(MOST).map(|(kind, count)| format!("{count} {kind}"));
    let rest = (rest > 0).then(|| format!("and {rest} more"));
    said.chain(rest).collect::<Vec<_>>().join(", ")
}

/// The verdict with what departs, in a few words.
fn summary(run: &Subject) -> String {
    let clause = words::departures_clause(run.finding);
    format!("{}{clause}", words::short(&run.finding.verdict))
}

fn head(sheet: &mut Sheet, runs: &[Subject], odd: &[bool]) -> i32 {
    let area = sheet.inside();
    let first = runs.iter().zip(odd).find(|(_, odd)| **odd).map_or(&runs[0], |(run, _)| run);
    let badge = heading::badge(sheet, first.finding);
    let below = heading::draw(sheet, area, Some(badge), &headline(runs, odd), "");
    let others = runs.iter().filter(|run| run.finding.log.board != runs[0].finding.log.board).count();
    let below = if others > 0 {
        let warning = format!("Mind: {} of another model than {}.", counted(others, "log"), model(runs));
        heading::lines(sheet, Rect { top: below, ..area }, &warning, 1)
    } else {
        below
    };
    below + sheet.u(8.0)
}

/// The run whose stages are named above the panel: of the good ones that with neither most nor fewest phases.
fn guide<'a, 'b>(members: &'b [Member<'a>]) -> Option<&'b Member<'a>> {
    let any_good = members.iter().any(Member::is_good);
    let mut usual: Vec<&Member> = members.iter().filter(|member| member.is_good() || !any_good).collect();
    usual.sort_by_key(|member| member.run.finding.phases.len());
    usual.get(usual.len().saturating_sub(1) / 2).copied()
}

fn plot(sheet: &mut Sheet, members: &[Member], time: TimeAxis, area: Rect) {
    let Some(guide) = guide(members) else { return };
    // No envelope is drawn here: the good runs themselves show what good boards do.
    let alone =
        |member: &Member| amps::Scale::whole(&Subject { profile: None, ..member.run }, &member.readings);
    let scales = members.iter().map(alone);
    let Some(scale) = scales.reduce(amps::Scale::shared) else { return };
    let bands = phases::Bands::new(sheet, &guide.run, guide.readings.time);
    let narrow = sheet.is_narrow(area.width());
    let heads: Vec<Note> = named(members).map(|member| in_one_line(member)).collect();
    let stacked = if narrow { notes::stack_height(sheet, &heads, area.width()) } else { 0 };
    let areas = arrange(sheet, area, (bands.rows(), stacked), &scale);
    let palette = sheet.palette;
    let colors = [palette.alarm, palette.ink, palette.limit, palette.text];
    let place = |scale: &amps::Scale| name_odd_ones(sheet, members, scale.axes(&areas), colors);
    let (scale, placed) = if narrow {
        let all = named(members).zip(&heads).zip(colors);
        let all = all.map(|((member, note), color)| (&member.readings, note, color));
        (scale, notes::stack(sheet, scale.axes(&areas), areas.notes, all))
    } else {
        notes::with_headroom(sheet, &scale, &HEADROOM, heads.len(), place)
    };
    draw_legend(sheet, &areas, members);
    bands.shade(sheet, &areas);
    bands.draw(sheet, &areas);
    let axes = scale.axes(&areas);
    for strip in std::iter::once(axes.main).chain(axes.quiet) {
        amps::amps_grid(sheet, strip);
        range(sheet, members, strip, |readings| &readings.amps);
        lines(sheet, members, colors, |sheet, member, pen| amps::line(sheet, &member.readings, strip, pen));
    }
    let of_volts = |member: &Member| volts::Scale::new(&member.run, &member.readings);
    if let Some(scale) = members.iter().map(of_volts).reduce(volts::Scale::shared) {
        let strip = scale.axis(areas.volts);
        volts::grid(sheet, strip);
        range(sheet, members, strip, |readings| &readings.volts);
        lines(sheet, members, colors, |sheet, member, pen| volts::line(sheet, &member.readings, strip, pen));
    }
    if let Some(quiet) = axes.quiet {
        amps::magnified(sheet, &areas, scale.magnification(quiet.high), &notes::leaders(sheet, &placed));
    }
    time_axis(sheet, time, areas.ticks, &[]);
    notes::pin(sheet, &placed, |_| ());
}

/// Whether the good runs are so many that their range is drawn.
fn is_crowd(members: &[Member]) -> bool {
    members.iter().filter(|member| member.is_good()).count() >= CROWD
}

/// The range of the good runs, column by column, with its edges.
fn range(
    sheet: &mut Sheet,
    members: &[Member],
    axis: ValueAxis,
    of: impl Fn(&Readings) -> &[Option<Column>],
) {
    if !is_crowd(members) {
        return;
    }
    let good: Vec<&[Option<Column>]> =
        members.iter().filter(|member| member.is_good()).map(|member| of(&member.readings)).collect();
    let columns = good.first().map_or(0, |columns| columns.len());
    let span = |index: usize| {
        let there = || good.iter().filter_map(|columns| columns.get(index)?.as_ref());
        let (low, high) = (there().map(|column| column.low), there().map(|column| column.high));
        let (top, bottom) = (axis.row(high.reduce(f64::max)?), axis.row(low.reduce(f64::min)?));
        Some(Span { enter: None, top, bottom, leave: bottom })
    };
    let spans: Vec<Option<Span>> = (0..columns).map(span).collect();
    let edge = |row: fn(&Span) -> i32| {
        let mut before = None;
        let step = |span: &Option<Span>| {
            let here = span.as_ref().map(row);
            let enter = std::mem::replace(&mut before, here);
            here.map(|row| Span { enter, top: row, bottom: row, leave: row })
        };
        spans.iter().map(step).collect()
    };
    let edges: [Vec<Option<Span>>; 2] = [edge(|span| span.top), edge(|span| span.bottom)];
    let (left, clip, palette) = (axis.area.left, axis.area.grown(-1), sheet.palette);
    let mut push = |spans, color| {
        sheet.scene.shapes.push(Shape::Steps { left, spans, clip, width: 1, color });
    };
    push(spans, palette.crowd);
    for edge in edges {
        push(edge, palette.frame);
    }
}

/// Draws each run by `line`: good ones first, so that they hide no odd one, of a crowd only the one that guides; then
/// the odd ones, those that are named on top.
fn lines(
    sheet: &mut Sheet,
    members: &[Member],
    colors: [Color; MOST_NAMED],
    line: impl Fn(&mut Sheet, &Member, (f64, Color)),
) {
    let (grey, other) = (sheet.palette.frame, sheet.palette.mark);
    let guide = guide(members).filter(|_| is_crowd(members));
    let alone = |member: &&Member| guide.is_none_or(|guide| std::ptr::eq(guide, *member));
    for member in members.iter().filter(|member| member.is_good()).filter(alone) {
        line(sheet, member, (1.3, grey));
    }
    for member in members.iter().filter(|member| member.rank == Rank::Odd) {
        line(sheet, member, (1.0, other));
    }
    for (index, color) in (0..MOST_NAMED).zip(colors).rev() {
        for member in members.iter().filter(|member| member.rank == Rank::Named(index)) {
            line(sheet, member, (2.6, color));
        }
    }
}

/// The named runs in the order of their colours.
fn named<'a, 'b>(members: &'b [Member<'a>]) -> impl Iterator<Item = &'b Member<'a>> {
    (0..MOST_NAMED).map_while(|index| members.iter().find(|member| member.rank == Rank::Named(index)))
}

/// `KP-0047: stalled in program`, at the place of the run's note.
fn in_one_line(member: &Member) -> Note {
    let line = format!("{}: {}", name(&member.run), summary(&member.run));
    Note { lines: vec![line], ..place_of(member) }
}

/// A note at each of the named runs, where its verdict or its first departure lies.
fn name_odd_ones(
    sheet: &Sheet,
    members: &[Member],
    axes: amps::Axes,
    colors: [Color; MOST_NAMED],
) -> Vec<notes::Placed> {
    let traces: Vec<notes::Rows> =
        members.iter().map(|member| notes::Rows::new(&member.readings, axes.main)).collect();
    let mut placed = Vec::new();
    for (member, color) in named(members).zip(colors) {
        let note = Note { lines: vec![name(&member.run), summary(&member.run)], ..place_of(member) };
        let taken: Vec<Rect> = placed.iter().map(|other: &notes::Placed| other.spot).collect();
        placed.extend(notes::place(sheet, &member.readings, (axes, &traces), &note, color, &taken));
    }
    placed
}

fn place_of(member: &Member) -> Note {
    let shown = |note: &Note| member.readings.time.shows(note.at);
    let departs = member.run.finding.departures.first().map(|departure| Note {
        at: departure.starts_s.value(),
        point_at: None,
        amps: None,
        lines: Vec::new(),
        more: 0,
        placed: true,
    });
    let middle = f64::midpoint(member.readings.time.from, member.readings.time.to);
    let anywhere = Note { at: middle, point_at: None, amps: None, lines: Vec::new(), more: 0, placed: true };
    turning(&member.run).filter(shown).or(departs.filter(shown)).unwrap_or(anywhere)
}

fn draw_legend(sheet: &mut Sheet, areas: &Areas, members: &[Member]) {
    let palette = sheet.palette;
    let count = |wanted: fn(Rank) -> bool| members.iter().filter(|member| wanted(member.rank)).count();
    let (good, named, other) = (
        count(|rank| rank == Rank::Good),
        count(|rank| matches!(rank, Rank::Named(_))),
        count(|rank| rank == Rank::Odd),
    );
    let sound = members.iter().any(|member| member.is_good() && is_sound(&member.run));
    let kind = if sound { "good" } else { "as most" };
    let mut samples: Vec<legend::Sample> = Vec::new();
    if is_crowd(members) {
        samples.push((legend::Swatch::Crowd, format!("range of {good} {kind}, one drawn").into()));
    } else if good > 0 {
        samples.push((legend::Swatch::Line(1.3, 0.0, palette.frame), format!("{good} {kind}").into()));
    }
    if named > 0 {
        samples.push((legend::Swatch::Line(2.6, 0.0, palette.alarm), "odd, named".into()));
    }
    if other > 0 {
        samples.push((legend::Swatch::Line(1.0, 0.0, palette.mark), format!("{other} more odd").into()));
    }
    legend::draw(sheet, areas.legend, &samples);
}

fn arrange(sheet: &Sheet, area: Rect, (name_rows, stacked): (i32, i32), scale: &amps::Scale) -> Areas {
    /// Shares of the height for the magnified strip and for the volts.
    const QUIET: f64 = 0.18;
    const VOLTS: f64 = 0.18;
    let empty = Rect::new(area.left, area.bottom, area.right, area.bottom);
    let (overflow, rest) = area.split_top(name_rows * sheet.u(19.0));
    let (ribbon, rest) = rest.split_top(sheet.u(28.0));
    let (legend, rest) = rest.split_top(legend::height(sheet, area.width()));
    let (rest, ticks) = rest.split_bottom(sheet.u(24.0));
    let (notes, rest) = notes::split_stack(rest, stacked);
    let share = |share: f64| px(f64::from(rest.height()) * share);
    let gap = sheet.u(6.0);
    let (upper, volts) = rest.split_bottom(share(VOLTS));
    let (upper, _) = upper.split_bottom(gap);
    let (upper, quiet) = upper.split_bottom(if scale.quiet_high.is_some() { share(QUIET) } else { 0 });
    let amps = if quiet.is_empty() { upper } else { upper.split_bottom(sheet.u(amps::CAPTION)).0 };
    Areas { overflow, ribbon, legend, notes, amps, quiet, events: empty, volts, ticks }
}

/// Odd ones one by one, then the others: a crowd of these in one row.
fn table_rows(runs: &[Subject], odd: &[bool]) -> Vec<Vec<String>> {
    let of = |wanted: bool| runs.iter().zip(odd).filter(move |(_, odd)| **odd == wanted).map(|(run, _)| run);
    let alike: Vec<&Subject> = of(false).collect();
    let counted_only = alike.len() >= CROWD && alike.len() < runs.len();
    let rest = if counted_only { vec![together(&alike)] } else { alike.into_iter().map(row).collect() };
    of(true).map(row).chain(rest).collect()
}

fn row(run: &Subject) -> Vec<String> {
    let verdict = &run.finding.verdict;
    let departures: Vec<String> = run.finding.departures.iter().map(words::departure).collect();
    vec![
        name(run),
        format!("{}, {}", words::short(verdict), words::percent(verdict.confidence)),
        if departures.is_empty() { "–".into() } else { departures.join(", ") },
        foot::file_name(&run.finding.log.path),
    ]
}

/// Several runs that are as most, in one row.
fn together(runs: &[&Subject]) -> Vec<String> {
    let names: Vec<String> = runs.iter().map(|run| name(run)).collect();
    let kind = if runs.iter().any(|run| is_sound(run)) { "good" } else { "as most" };
    let said = runs.first().map(|run| words::short(&run.finding.verdict)).unwrap_or_default();
    vec![format!("{} {kind}", runs.len()), said, "–".into(), names.join(", ")]
}

/// What the runs have in common.
fn foot_entries(runs: &[Subject]) -> Vec<foot::Entry> {
    let mut entries = vec![("logs", runs.len().to_string())];
    let zeros = align::align(runs);
    let mut moments: Vec<&str> = Vec::new();
    for zero in zeros {
        if !moments.contains(&zero.moment.words()) {
            moments.push(zero.moment.words());
        }
    }
    entries.push(("0 s is when", moments.join(", or where that never happens ")));
    let of_each: Vec<Vec<foot::Entry>> = runs.iter().map(foot::entries).collect();
    if let Some((first, rest)) = of_each.split_first() {
        let common = |entry: &&foot::Entry| rest.iter().all(|other| other.contains(entry));
        entries.extend(first.iter().filter(common).cloned());
    }
    entries
}

fn description(runs: &[Subject], odd: &[bool]) -> String {
    let line = |run: &Subject| format!("{}: {}.", name(run), words::headline(&run.finding.verdict));
    let lines: Vec<String> = runs.iter().map(line).collect();
    format!("{}. {}", headline(runs, odd), lines.join(" "))
}
