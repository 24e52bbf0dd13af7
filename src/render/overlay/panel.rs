//! The panel of an overlay: the runs on the common time, below the stages of the good ones and of the odd one.

use super::super::axis::{TimeAxis, ValueAxis};
use super::super::font::Weight;
use super::super::geometry::{Rect, px};
use super::super::log_end;
use super::super::moments::{self, Wanted};
use super::super::parts::notes::{self, Note};
use super::super::parts::{Areas, MARKER, Subject, Told, amps, gaps, legend, limit, marker, phases, volts};
use super::super::scene::{Anchor, Shape};
use super::super::sheet::{Sheet, em};
use super::super::theme::Color;
use super::key::{self, Key};
use super::lines::{lines, range};
use super::said::{is_sound, is_undecided, name, summary};
use super::{MOST_NAMED, Member, colors, feed_limited, guide, is_alone, letter, named, read_there, starved};
use super::{tags, usual};
use crate::verdict::Class;

/// Room above the runs for the notes; among many runs they hide one or another, and the runs are to be seen.
const HEADROOM: [f64; 4] = [1.0, 1.2, 1.4, 1.7];

/// Height of a row of names above a ribbon, and of a ribbon, in units of the layout.
const NAMES: f64 = 19.0;
const RIBBON: f64 = 28.0;

/// The stages of the good runs, and those of the odd one, where there is but one: on the time of the good ones its marker
/// stands below a stage that it never reached.
struct Ribbons {
    usual: phases::Bands,
    whose: &'static [&'static str],
    own: Option<(phases::Bands, Color)>,
    own_is: &'static [&'static str],
    /// Where the log of the odd one ends, if that is why nothing is said of it.
    own_ends: Option<i32>,
}

impl Ribbons {
    fn new(sheet: &Sheet, members: &[Member], guide: &Member) -> Self {
        let found = usual::usual(guide, members);
        let run = Subject { finding: found.as_ref().unwrap_or(guide.run.finding), ..guide.run };
        let usual = phases::Bands::new(sheet, &run, (guide.readings.time, phases::most_rows(sheet)));
        let alone = named(members).next().filter(|_| is_alone(members) && guide.is_good());
        let bands = |member: &Member| {
            phases::Bands::new(sheet, &member.run, (member.readings.time, phases::most_rows(sheet)))
        };
        let color = colors(sheet.palette, members)[0];
        let undecided = alone.filter(|member| is_undecided(&member.run));
        let own_is: &[&str] = if undecided.is_some() { &["not", "judged:"] } else { &["odd:"] };
        let own_ends = undecided.and_then(|member| log_end::ends_at(&member.run, member.readings.time));
        let own = alone.map(|member| (bands(member).underlined(color), color));
        let whose: &[&str] = if guide.is_good() && is_sound(&guide.run) { &["good", "boards:"] } else { &[] };
        // None of the colours is that of the good runs.
        Self { usual: usual.of_others(sheet), whose, own, own_is, own_ends }
    }

    /// What a cell of theirs without a name is.
    fn blank(&self, sheet: &Sheet) -> Option<legend::Blank> {
        let own = self.own.as_ref().map(|(own, _)| own);
        let of_own = own.and_then(|own| own.blank_beside(sheet, Some(&self.usual)));
        legend::Blank::both(self.usual.blank_beside(sheet, own), of_own)
    }

    /// Splits off what they take: for each the names above it, and the ribbon.
    fn split(&self, sheet: &Sheet, area: Rect) -> ([(Rect, Rect); 2], Rect) {
        let (usual, rest) = split_ribbon(sheet, area, self.usual.rows());
        match &self.own {
            Some((own, _)) => {
                let (own, rest) = split_ribbon(sheet, rest, own.rows());
                ([usual, own], rest)
            }
            None => ([usual, usual], rest),
        }
    }

    /// Draws them; the panels below are shaded by the stages that stand right above them.
    fn draw(&self, sheet: &mut Sheet, areas: &Areas, [usual, own]: [(Rect, Rect); 2]) {
        let on = |(overflow, ribbon): (Rect, Rect)| Areas { overflow, ribbon, ..*areas };
        self.own.as_ref().map_or(&self.usual, |(own, _)| own).shade(sheet, areas);
        self.usual.draw(sheet, &on(usual));
        whose(sheet, usual.1, self.whose, sheet.palette.faint_text);
        if let Some((bands, color)) = &self.own {
            bands.draw(sheet, &on(own));
            whose(sheet, own.1, self.own_is, *color);
            if let Some(x) = self.own_ends {
                log_end::beside_ribbon(sheet, own.1, x);
            }
        }
    }
}

fn split_ribbon(sheet: &Sheet, area: Rect, names: i32) -> ((Rect, Rect), Rect) {
    let (overflow, rest) = area.split_top(names * sheet.u(NAMES));
    let (ribbon, rest) = rest.split_top(sheet.u(RIBBON));
    ((overflow, ribbon), rest)
}

/// Says beside a ribbon whose stages it shows.
fn whose(sheet: &mut Sheet, ribbon: Rect, lines: &[&str], color: Color) {
    let style = sheet.style(em::SMALL, Weight::Regular, color);
    let right = ribbon.left - sheet.u(6.0);
    // About its middle: above it the sign of the heading may stand.
    let top = ribbon.center().1 - style.line_height() * i32::try_from(lines.len()).unwrap_or(1) / 2;
    let mut middle = top + style.line_height() / 2;
    for line in lines {
        sheet.scene.text(*line, (right, style.baseline_at(middle)), Anchor::End, style);
        middle += style.line_height();
    }
}

pub(super) fn draw(sheet: &mut Sheet, members: &[Member], time: TimeAxis, area: Rect) {
    let Some(guide) = guide(members) else { return };
    let Some(scale) = scale(members) else { return };
    // The runs need the room more than what they draw at rest does.
    let scale = if sheet.is_very_low() && !rest_is_told(members) { scale.without_quiet() } else { scale };
    let ribbons = Ribbons::new(sheet, members, guide);
    let key = Key::new(sheet, members, area.width());
    let notes: Vec<Note> = named(members).map(|member| note(sheet, member, members, area)).collect();
    let stack = is_alone(members) && sheet.is_narrow(area.width());
    let stacked = if stack { notes::stack_height(sheet, &notes, area.width()) } else { key.height(sheet) };
    let (ribbon_areas, below) = ribbons.split(sheet, area);
    let mut samples = key::legend(sheet, members, (time, area.width()));
    samples.extend(ribbons.blank(sheet).iter().flat_map(legend::Blank::samples));
    let legend = legend_height(sheet, area.width(), &samples);
    let areas = arrange(below, (legend, stacked), &scale, sheet);
    let colors = colors(sheet.palette, members);
    let told = told(sheet, (members, colors), (time, areas.ticks));
    let (scale, mut placed) = if stack {
        let all = named(members).zip(&notes).zip(colors);
        let all = all.map(|((member, note), color)| (&member.readings, note, color));
        let placed = notes::stack(sheet, scale.axes(&areas), areas.notes, all);
        (scale, placed.into_iter().map(|note| note.among_traces(sheet)).collect())
    } else {
        let lines: Vec<i32> = told.iter().map(|(at, ..)| time.x_within(*at)).collect();
        let place =
            |scale: &amps::Scale| place_notes(sheet, members, &notes, scale.axes(&areas), (colors, &lines));
        notes::with_headroom(sheet, &scale, &HEADROOM, notes.len(), place)
    };
    if let [(at, ..)] = told.as_slice()
        && is_alone(members)
    {
        notes::on_its_line(&mut placed, Some(time.x_within(*at)), areas.amps);
    }
    legend::draw(sheet, areas.legend, &samples);
    key.draw(sheet, areas.notes);
    ribbons.draw(sheet, &areas, ribbon_areas);
    strips(sheet, members, time, (&areas, &scale), &told);
    amps::magnified(sheet, scale.axes(&areas), &notes::leaders(sheet, &placed));
    moments::axis(sheet, (time, areas.ticks), &told);
    for (at, _, color) in &told {
        sheet.pointer_down((time.x_within(*at), areas.amps.top + sheet.u(14.0)), *color);
    }
    notes::pin(sheet, &placed, |_| ());
    tags::draw(sheet, members, scale.axes(&areas));
}

/// The height of as many rows as all samples take: a cell, a line or a sign without its word would be left to be guessed.
fn legend_height(sheet: &mut Sheet, width: i32, samples: &[legend::Sample]) -> i32 {
    const MOST: i32 = 3;
    let row = legend::height_of(sheet, width, &[]);
    let first = sheet.scene.shapes.len();
    let mut holds = |height: &i32| {
        legend::draw(sheet, Rect::new(0, 0, width, *height), samples);
        let drawn = sheet.scene.shapes.split_off(first);
        drawn.iter().filter(|shape| matches!(shape, Shape::Text(_))).count() >= samples.len()
    };
    (1..MOST).map(|rows| rows * row).find(|height| holds(height)).unwrap_or(MOST * row)
}

/// One scale for all runs. No envelope is drawn here: the good runs themselves show what good boards do.
fn scale(members: &[Member]) -> Option<amps::Scale> {
    let alone =
        |member: &Member| amps::Scale::whole(&Subject { profile: None, ..member.run }, &member.readings);
    let shared = members.iter().map(alone).reduce(amps::Scale::shared)?;
    // What is wrong is not to leave the strip that is for it.
    let rests = named(members).filter(|member| draws_too_much_at_rest(member));
    let scale = rests.filter_map(rest_of).fold(shared, amps::Scale::holding);
    let steps = coarsest_step(members).filter(|_| scale.quiet_high.is_some());
    Some(steps.map_or(scale, |step| scale.magnifying(STEPS * step)))
}

/// Steps of the coarsest readback that the magnified strip holds at least: a rest goes to and fro between two, and now and then
/// one above them.
const STEPS: f64 = 3.0;

fn coarsest_step(members: &[Member]) -> Option<f64> {
    members.iter().filter_map(|member| Some(member.run.resolution()?.value())).max_by(f64::total_cmp)
}

/// Whether what a named run draws at rest is what is told of it: along the zero of the other strip nobody sees that.
fn rest_is_told(members: &[Member]) -> bool {
    let rests = |member: &Member| {
        matches!(member.run.finding.verdict.class, Class::ExcessStandby | Class::StandbyOnly | Class::NoDraw)
    };
    named(members).any(rests)
}

fn draws_too_much_at_rest(member: &Member) -> bool {
    member.run.finding.verdict.class == Class::ExcessStandby
}

/// What a run draws in the phase that it stays in, in amps.
fn rest_of(member: &Member) -> Option<f64> {
    let last = member.run.finding.phases.iter().rfind(|phase| phase.name != "off")?;
    Some(last.mean_a.value())
}

/// The amps and the volts of all runs, with the moments at which odd ones leave the others.
fn strips(
    sheet: &mut Sheet,
    members: &[Member],
    time: TimeAxis,
    (areas, scale): (&Areas, &amps::Scale),
    told: &[Told],
) {
    let colors = colors(sheet.palette, members);
    let axes = scale.axes(areas);
    for strip in std::iter::once(axes.main).chain(axes.quiet) {
        amps::amps_grid(sheet, strip);
        gaps(sheet, members, strip.area);
        limits(sheet, members, strip);
        markers(sheet, time, strip.area, told);
        range(sheet, members, strip, |readings| &readings.amps);
        lines(sheet, members, colors, |sheet, member, pen| amps::line(sheet, &member.readings, strip, pen));
    }
    let of_volts = |member: &Member| volts::Scale::new(&member.run, &member.readings);
    let Some(scale) = members.iter().map(of_volts).reduce(volts::Scale::shared) else { return };
    let strip = scale.axis(areas.volts);
    volts::grid(sheet, strip);
    gaps(sheet, members, strip.area);
    markers(sheet, time, strip.area, told);
    range(sheet, members, strip, |readings| &readings.volts);
    lines(sheet, members, colors, |sheet, member, pen| volts::line(sheet, &member.readings, strip, pen));
    if let Some(member) = starved(members) {
        volts::signs(sheet, &member.run, &member.readings, strip);
    }
}

/// When each of the named runs left what good boards do, in its colour: those for which the axis has words. A line without any
/// would be left to be guessed, and the run has its letter at that place and its words in the key.
fn told(
    sheet: &mut Sheet,
    (members, colors): (&[Member], [Color; MOST_NAMED]),
    place: (TimeAxis, Rect),
) -> Vec<Told> {
    let of = |(member, color): (&Member, Color)| {
        let (at, said) = member.moment()?;
        let (weight, fewer) = (Wanted::weight_of(&said), moments::in_fewer_words(&said));
        Some(Wanted { at, words: [said].into_iter().chain(fewer).collect(), color, weight })
    };
    let wanted: Vec<Wanted> = named(members).zip(colors).filter_map(of).collect();
    moments::that_fit(sheet, place, &wanted)
}

/// The lines of these moments across one panel, as in the picture of a single run; thinner where there are several.
fn markers(sheet: &mut Sheet, time: TimeAxis, panel: Rect, told: &[Told]) {
    let width = if told.len() > 1 { 0.7 * MARKER } else { MARKER };
    for (at, _, color) in told {
        let x = time.x_within(*at);
        marker(sheet, x, (panel.top, panel.bottom), width, *color);
        // The run that it speaks of has its colour: in one piece beside a steep edge of it, it would be another.
        let pen = sheet.pen(width, DASH, sheet.palette.paper);
        sheet.scene.down(x, (panel.top, panel.bottom), pen);
    }
}

/// Length of the dashes of a moment, in units of the layout.
const DASH: f64 = 6.0;

/// Stretches without readings of the run that is named.
fn gaps(sheet: &mut Sheet, members: &[Member], panel: Rect) {
    // Among several the edges of their gaps could not be told apart; a run has no line in its own.
    for member in named(members).filter(|_| is_alone(members)) {
        gaps::draw(sheet, &member.readings, panel);
    }
}

/// The limit that stopped a run, which the legend names: among so many lines its words would be struck through.
fn limits(sheet: &mut Sheet, members: &[Member], strip: ValueAxis) {
    if let Some(member) = starved(members) {
        limit::draw(sheet, &member.run, &member.readings, strip);
    }
}

/// What is said of a named run at its place: its letter, which the key explains; of one alone its name, what is wrong with
/// it and what was read.
fn note(sheet: &Sheet, member: &Member, members: &[Member], area: Rect) -> Note {
    let lines = if let Some(letter) = letter(member, members) {
        vec![letter.to_string()]
    } else if sheet.is_narrow(area.width()) {
        let line = format!("{}: {}", name(&member.run), summary(&member.run));
        std::iter::once(line).chain(read(sheet, member, members)).collect()
    } else {
        [name(&member.run), summary(&member.run)].into_iter().chain(read(sheet, member, members)).collect()
    };
    Note { lines, ..place_of(member) }
}

/// What was read where the run left the good ones; of one that the supply starves also the limit.
fn read(sheet: &Sheet, member: &Member, members: &[Member]) -> Vec<String> {
    if let Some(lines) = feed_limited(&member.run) {
        // That the feed gives way, and where, the verdict above has said.
        return shows_a_limit(sheet, lines);
    }
    // What the moment is of a board that boots and yet departs; a deadline of another is on its own clock.
    let boots = member.run.finding.verdict.class == Class::FullBoot && !sheet.is_low();
    let why = member.note().filter(|_| boots).and_then(|note| note.lines.into_iter().nth(2));
    read_there(member, members).into_iter().chain(why).collect()
}

/// What shows a limit: what is read below it needs its reason, or the trace seems to deny the verdict.
fn shows_a_limit(sheet: &Sheet, lines: Vec<String>) -> Vec<String> {
    let (most, low) = if sheet.is_low() { (2, true) } else { (lines.len(), false) };
    let short = |line: String| match line.split_once(": ") {
        Some((first, _)) if low => first.to_owned(),
        _ => line,
    };
    lines.into_iter().skip(1).take(most).map(short).collect()
}

/// Each note where it hides least of the runs.
fn place_notes(
    sheet: &Sheet,
    members: &[Member],
    notes: &[Note],
    axes: amps::Axes,
    (colors, lines): ([Color; MOST_NAMED], &[i32]),
) -> Vec<notes::Placed> {
    let traces: Vec<notes::Rows> =
        members.iter().map(|member| notes::Rows::new(&member.readings, axes.main)).collect();
    let tags: Vec<Rect> = tags::tags(sheet, members, axes).iter().map(|tag| tag.area).collect();
    // A leader down to the magnified strip would run through all the others.
    let axes = amps::Axes { quiet: None, ..axes };
    let mut placed: Vec<notes::Placed> = Vec::new();
    for ((member, note), color) in named(members).zip(notes).zip(colors) {
        let taken: Vec<Rect> = placed.iter().map(|other| other.spot).chain(tags.iter().copied()).collect();
        let among =
            notes::Among { traces: &traces, held_to: &[], lines, taken: &taken, leader_as_trace: true };
        let place =
            |note: &Note, width| notes::place(sheet, &member.readings, axes, (note, color, width), among);
        let shorter = without_verdict(note).filter(|_| sheet.is_low() && is_alone(members));
        let ways = [Some(note), shorter.as_ref()].into_iter().flatten();
        let found =
            ways.flat_map(|note| notes::Width::ALL.into_iter().filter_map(move |width| place(note, width)));
        // Where there is height a wide note with its leader from above is better than a narrow one whose leader lies along a run.
        let far = |found: &notes::Placed| if sheet.is_low() { found.far(sheet) } else { 0 };
        placed.extend(found.min_by_key(|found| (found.badness(), found.as_trace, far(found))));
    }
    placed
}

/// The note of a run without its verdict, which heading and table have, where what was read is left to be said.
fn without_verdict(note: &Note) -> Option<Note> {
    let [name, _, read @ ..] = note.lines.as_slice() else { return None };
    let lines: Vec<String> = std::iter::once(name).chain(read).cloned().collect();
    (lines.len() > 1).then_some(Note { lines, ..*note })
}

/// The place of the run's note; where it has none, anywhere on its trace.
fn place_of(member: &Member) -> Note {
    let middle = f64::midpoint(member.readings.time.from, member.readings.time.to);
    let anywhere = Note { at: middle, point_at: None, amps: None, lines: Vec::new(), more: 0, placed: true };
    // On its own trace, and not where a mean of the stage would stand. What speaks of no moment stays away from the marks of
    // those that do.
    match member.note() {
        None if is_undecided(&member.run) => {
            let end = member.run.trace.time().last().map(|end| end.min(member.readings.time.to));
            Note { at: end.unwrap_or(middle), ..anywhere }
        }
        None => anywhere,
        Some(note) if !note.placed => {
            Note { at: middle, point_at: None, amps: None, placed: true, more: 0, ..note }
        }
        Some(note) => Note { more: 0, placed: true, ..note },
    }
}

fn arrange(area: Rect, (legend, stacked): (i32, i32), scale: &amps::Scale, sheet: &Sheet) -> Areas {
    /// Shares of the height for the magnified strip and for the volts.
    const QUIET: f64 = 0.18;
    const VOLTS: f64 = 0.18;
    let empty = Rect::new(area.left, area.bottom, area.right, area.bottom);
    let (area, ticks) = area.split_bottom(sheet.u(24.0));
    let (legend, rest) = area.split_top(legend);
    let (notes, rest) = notes::split_stack(rest, stacked);
    let share = |share: f64| px(f64::from(rest.height()) * share);
    let gap = sheet.u(6.0);
    let (upper, volts) = rest.split_bottom(share(VOLTS));
    let (upper, _) = upper.split_bottom(gap);
    let (upper, quiet) = upper.split_bottom(if scale.quiet_high.is_some() { share(QUIET) } else { 0 });
    let amps = if quiet.is_empty() { upper } else { upper.split_bottom(sheet.u(amps::CAPTION)).0 };
    Areas { overflow: empty, ribbon: empty, legend, notes, amps, quiet, events: empty, volts, ticks }
}
