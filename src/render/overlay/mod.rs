//! Many logs of one model on one time base: good ones in grey, so that an odd one out is seen.
//!
//! Ten lines in grey are a thicket in which none is followed, and what they have in common is their range: so many good
//! runs are a band with one of them in it, and are counted. Odd ones have lines of their own in front of it; a few of
//! them, as different from each other as there are, are coloured and named at their place, the rest thin and counted.

mod leaving;
mod rank;
mod said;
mod table;
#[cfg(test)]
mod tests;

pub(super) use said::{headline, odd_ones};

use super::RenderError;
use super::align::{self, Zero};
use super::axis::{TimeAxis, ValueAxis};
use super::columns::{Column, Span};
use super::font::Weight;
use super::geometry::{Rect, px};
use super::options::{Least, Options};
use super::parts::notes::{self, Note};
use super::parts::readings::Readings;
use super::parts::{Areas, Subject, Told, amps, foot, heading, legend, phases, time_axis, volts};
use super::scene::{Anchor, Scene, Shape};
use super::sheet::{Sheet, em};
use super::theme::{Color, Palette};
use super::words;
use crate::units::counted;
use rank::{Rank, ranks};
use said::{is_sound, model, name, summary};
use table::Table;

/// Odd runs that get a colour and a note of their own; the table has them all.
const MOST_NAMED: usize = 4;

/// From so many good runs on their range is drawn, and one of them.
const CROWD: usize = 4;

/// Room above the runs for the notes; among many runs they hide one or another, and the runs are to be seen.
const HEADROOM: [f64; 3] = [1.0, 1.2, 1.4];

/// A run on the common time.
#[derive(Debug)]
struct Member<'a> {
    run: Subject<'a>,
    readings: Readings,
    rank: Rank,
}

impl Member<'_> {
    fn is_good(&self) -> bool {
        self.rank == Rank::Good
    }

    /// What is wrong with it, at its place; of a good one nothing.
    fn note(&self) -> Option<Note> {
        let wrong = notes::notes(&self.run, &self.readings, 1).into_iter().next();
        wrong.filter(|_| !self.is_good())
    }

    /// When it first left what the good ones do, on the common time, with its words.
    fn moment(&self, members: &[Member], common: TimeAxis) -> Option<(f64, String)> {
        let fault = notes::fault(&self.run, self.note().as_slice())?;
        let at = leaving::first(self, members).unwrap_or(fault) - self.zero(common);
        Some((at, self.run.finding.log.time(at)))
    }

    /// Its own time at the zero of the common one.
    fn zero(&self, common: TimeAxis) -> f64 {
        self.readings.time.from - common.from
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
    let left = middle.left + sheet.u(58.0);
    let time = TimeAxis { left, right: middle.right, from, to };
    let members = members(runs, &zeros, &odd, time);
    let table = Table::new(&members, &odd, time);
    let (area, rows) = share_out(&sheet, middle, table.rows.len());
    table.draw(&mut sheet, rows);
    plot(&mut sheet, &members, time, Rect { left, ..area });
    Ok(sheet.scene)
}

fn share_out(sheet: &Sheet, middle: Rect, rows: usize) -> (Rect, Rect) {
    /// The table may take this share of the height.
    const MOST: f64 = 0.3;
    let most = px(f64::from(middle.height()) * MOST);
    middle.split_bottom(super::parts::table::height(sheet, rows).min(most))
}

fn members<'a>(runs: &[Subject<'a>], zeros: &[Zero], odd: &[bool], axis: TimeAxis) -> Vec<Member<'a>> {
    let own = |zero: &Zero| TimeAxis { from: axis.from + zero.at, to: axis.to + zero.at, ..axis };
    let readings: Vec<Readings> =
        runs.iter().zip(zeros).map(|(run, zero)| Readings::new(run, own(zero))).collect();
    let ranks = ranks(runs, odd, &readings);
    let member =
        |((run, readings), rank): ((&Subject<'a>, Readings), Rank)| Member { run: *run, readings, rank };
    runs.iter().zip(readings).zip(ranks).map(member).collect()
}

fn head(sheet: &mut Sheet, runs: &[Subject], odd: &[bool]) -> i32 {
    let area = sheet.inside();
    let first = runs.iter().zip(odd).find(|(_, odd)| **odd).map_or(&runs[0], |(run, _)| run);
    let badge = heading::badge(sheet, first.finding);
    let text = heading::that_fits(sheet, area, said::headlines(runs, odd));
    let below = heading::draw(sheet, area, Some(badge), &text, "");
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
    // The ribbon is of the good runs, and none of the colours is theirs.
    let bands = phases::Bands::new(sheet, &guide.run, guide.readings.time).underlined(sheet.palette.frame);
    let narrow = sheet.is_narrow(area.width());
    let heads: Vec<Note> = named(members).map(|member| in_few_lines(member, members)).collect();
    let stacked = if narrow { notes::stack_height(sheet, &heads, area.width()) } else { 0 };
    let areas = arrange(sheet, area, (bands.rows(), stacked), &scale);
    let colors = colors(sheet.palette);
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
    if guide.is_good() && is_sound(&guide.run) {
        whose_ribbon(sheet, &areas);
    }
    let told: Vec<Told> = told(members, time, colors);
    let axes = scale.axes(&areas);
    for strip in std::iter::once(axes.main).chain(axes.quiet) {
        amps::amps_grid(sheet, strip);
        gaps(sheet, members, strip.area);
        markers(sheet, time, strip.area, &told);
        range(sheet, members, strip, |readings| &readings.amps);
        lines(sheet, members, colors, |sheet, member, pen| amps::line(sheet, &member.readings, strip, pen));
    }
    let of_volts = |member: &Member| volts::Scale::new(&member.run, &member.readings);
    if let Some(scale) = members.iter().map(of_volts).reduce(volts::Scale::shared) {
        let strip = scale.axis(areas.volts);
        volts::grid(sheet, strip);
        gaps(sheet, members, strip.area);
        markers(sheet, time, strip.area, &told);
        range(sheet, members, strip, |readings| &readings.volts);
        lines(sheet, members, colors, |sheet, member, pen| volts::line(sheet, &member.readings, strip, pen));
    }
    if let Some(quiet) = axes.quiet {
        amps::magnified(sheet, &areas, scale.magnification(quiet.high), &notes::leaders(sheet, &placed));
    }
    time_axis(sheet, time, areas.ticks, &told);
    for (at, _, color) in &told {
        sheet.pointer_down((time.x_within(*at), areas.amps.top + sheet.u(14.0)), *color);
    }
    notes::pin(sheet, &placed, |_| ());
}

/// The colours of the named runs, in their order.
const fn colors(palette: &Palette) -> [Color; MOST_NAMED] {
    [palette.alarm, palette.ink, palette.limit, palette.text]
}

/// When each of the named runs left what good boards do, in its colour.
fn told(members: &[Member], time: TimeAxis, colors: [Color; MOST_NAMED]) -> Vec<Told> {
    let of = |(member, color): (&Member, Color)| {
        let (at, words) = member.moment(members, time)?;
        Some((at, words, color))
    };
    named(members).zip(colors).filter_map(of).collect()
}

/// The lines of these moments across one panel, as in the picture of a single run; thinner where there are several.
fn markers(sheet: &mut Sheet, time: TimeAxis, panel: Rect, told: &[Told]) {
    let width = if told.len() > 1 { 3.0 } else { 5.0 };
    for (at, _, color) in told {
        sheet.scene.down(time.x_within(*at), (panel.top, panel.bottom), sheet.pen(width, 0.0, *color));
    }
}

/// Stretches without readings of the runs that are named.
fn gaps(sheet: &mut Sheet, members: &[Member], panel: Rect) {
    // Among several the edges of their gaps could not be told apart; a run has no line in its own.
    let only = named(members).next().filter(|_| named(members).nth(1).is_none());
    if let Some(member) = only {
        amps::gaps(sheet, &member.readings, panel);
    }
}

/// Says beside the ribbon whose stages it shows.
fn whose_ribbon(sheet: &mut Sheet, areas: &Areas) {
    let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let right = areas.ribbon.left - sheet.u(6.0);
    let baseline = areas.ribbon.bottom - sheet.u(8.0);
    for (line, above) in [("good", style.line_height()), ("boards:", 0)] {
        sheet.scene.text(line, (right, baseline - above), Anchor::End, style);
    }
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
    for member in members.iter().filter(|member| member.rank == Rank::Odd && are_few(members)) {
        line(sheet, member, (1.0, other));
    }
    for (index, color) in (0..MOST_NAMED).zip(colors).rev() {
        for member in members.iter().filter(|member| member.rank == Rank::Named(index)) {
            line(sheet, member, (2.6, color));
        }
    }
}

/// Whether the odd runs that have no name are so few that each of their lines can be followed.
fn are_few(members: &[Member]) -> bool {
    /// Among more lines than these nobody follows one, and they hide those that are named.
    const MOST_UNNAMED: usize = 6;
    members.iter().filter(|member| member.rank == Rank::Odd).count() <= MOST_UNNAMED
}

/// The named runs in the order of their colours.
fn named<'a, 'b>(members: &'b [Member<'a>]) -> impl Iterator<Item = &'b Member<'a>> {
    (0..MOST_NAMED).map_while(|index| members.iter().find(|member| member.rank == Rank::Named(index)))
}

/// `KP-0047: stalled in program`, at the place of the run's note; what was read there, if it is the only one.
fn in_few_lines(member: &Member, members: &[Member]) -> Note {
    let alone = named(members).nth(1).is_none();
    let read = read_there(member, members).filter(|_| alone);
    let line = format!("{}: {}", name(&member.run), summary(&member.run));
    Note { lines: std::iter::once(line).chain(read).collect(), ..place_of(member, members) }
}

/// `0.39 A at 23.1 V for 31.0 s, good boards go on to login at 0.27 to 0.32 A`: what the run's note says was read, and what
/// the good runs do when this one stays.
fn read_there(member: &Member, members: &[Member]) -> Option<String> {
    let read = member.note()?.lines.into_iter().nth(1)?;
    let good = leaving::go_on(member, members).map_or_else(String::new, |good| format!(", {good}"));
    Some(read + &good)
}

/// A note at each of the named runs, where its verdict or its first departure lies.
fn name_odd_ones(
    sheet: &Sheet,
    members: &[Member],
    axes: amps::Axes,
    colors: [Color; MOST_NAMED],
) -> Vec<notes::Placed> {
    /// Below this many units of height several boxes of two lines hide what they speak of.
    const LOW: f64 = 200.0;
    let traces: Vec<notes::Rows> =
        members.iter().map(|member| notes::Rows::new(&member.readings, axes.main)).collect();
    // What was read has a column in the table; several large boxes would hide the runs.
    let few = named(members).nth(2).is_none();
    let low = axes.main.area.height() < sheet.u(LOW);
    // A leader down to the magnified strip would run through all the others.
    let axes = amps::Axes { quiet: None, ..axes };
    let mut placed = Vec::new();
    for (member, color) in named(members).zip(colors) {
        let read = read_there(member, members).filter(|_| few);
        let said = Some(summary(&member.run)).filter(|_| !low || few);
        let lines = std::iter::once(name(&member.run)).chain(said).chain(read);
        let note = Note { lines: lines.collect(), ..place_of(member, members) };
        let taken: Vec<Rect> = placed.iter().map(|other: &notes::Placed| other.spot).collect();
        placed.extend(notes::place(sheet, &member.readings, (axes, &traces), &note, color, &taken));
    }
    placed
}

/// The place of the run's note; where it has none, anywhere on its trace.
fn place_of(member: &Member, members: &[Member]) -> Note {
    let middle = f64::midpoint(member.readings.time.from, member.readings.time.to);
    let anywhere = Note { at: middle, point_at: None, amps: None, lines: Vec::new(), more: 0, placed: true };
    // On its own trace, and not where a mean of the stage would stand.
    let Some(note) = member.note() else { return anywhere };
    match leaving::first(member, members) {
        Some(at) => Note { at, point_at: None, amps: None, more: 0, placed: true, ..note },
        None => Note { amps: None, more: 0, placed: true, ..note },
    }
}

fn draw_legend(sheet: &mut Sheet, areas: &Areas, members: &[Member]) {
    let palette = sheet.palette;
    let count = |wanted: fn(Rank) -> bool| members.iter().filter(|member| wanted(member.rank)).count();
    let (good, other) = (count(|rank| rank == Rank::Good), count(|rank| rank == Rank::Odd));
    let sound = members.iter().any(|member| member.is_good() && is_sound(&member.run));
    let kind = if sound { "good" } else { "as most" };
    let mut samples: Vec<legend::Sample> = Vec::new();
    if is_crowd(members) {
        samples.push((legend::Swatch::Crowd, format!("range of {good} {kind}, one drawn").into()));
    } else if good > 0 {
        samples.push((legend::Swatch::Line(1.3, 0.0, palette.frame), format!("{good} {kind}").into()));
    }
    // On a narrow figure the notes below have the colours, and there is no room to say them twice.
    let most = if sheet.is_narrow(areas.legend.width()) { 0 } else { MOST_NAMED };
    for (index, (member, color)) in self::named(members).zip(colors(palette)).take(most).enumerate() {
        let odd = if index == 0 { "odd: " } else { "" };
        samples.push((legend::Swatch::Line(2.6, 0.0, color), format!("{odd}{}", name(&member.run)).into()));
    }
    if other > 0 {
        samples.push(if are_few(members) {
            (legend::Swatch::Line(1.0, 0.0, palette.mark), format!("{other} more odd").into())
        } else {
            (legend::Swatch::None, format!("{other} more odd, in the table only").into())
        });
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
