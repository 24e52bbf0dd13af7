//! The panel of one of two runs: its verdict, its stages, its amps and volts.

use super::super::align::Zero;
use super::super::font::{Weight, clean};
use super::super::geometry::{Rect, px};
use super::super::log_end;
use super::super::parts::readings::Readings;
use super::super::parts::{Areas, Subject, amps, events, notes, phases, volts};
use super::super::scene::{Anchor, Style};
use super::super::sheet::{Sheet, em};
use super::super::words;
use super::NAMES;
use crate::verdict::Class;

/// One scale of amps for both runs, so that they compare by eye; where one of them would then lie along its zero, that one
/// has a scale of its own, so many times finer.
/// On a very low figure only by far, for there nobody reads that the scales differ, or where its rest is what is told of it.
pub(super) fn side_by_side(
    [before, after]: [amps::Scale; 2],
    rests: [bool; 2],
    very_low: bool,
) -> ([amps::Scale; 2], bool) {
    /// Times from which one of them would not be seen at all (common practice, no source).
    const BY_FAR: f64 = 10.0;
    let is_told = |times: &f64, rests: bool| !very_low || rests || *times >= BY_FAR;
    let [finer_before, finer_after] = [(&before, &after, rests[0]), (&after, &before, rests[1])]
        .map(|(own, other, rests)| other.far_above(own).filter(|times| is_told(times, rests)));
    match (finer_before, finer_after) {
        (None, None) => ([before.shared(after); 2], false),
        _ => ([before, after], true),
    }
}

/// A panel that was drawn.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Drawn {
    /// Rows of the strip of the amps.
    height: i32,
    /// How many of them an amp takes.
    rows_per_amp: f64,
}

/// Draws both panels so that their amps are equally high, and of those that have scales of their own says how many times
/// finer the one is, as lengths on the picture have it. What stands above the amps takes more height in the one than in the
/// other, which drawing them tells.
pub(super) fn equally_high(
    sheet: &mut Sheet,
    (height, own_scales): (i32, bool),
    mut draw: impl FnMut(&mut Sheet, i32, [Option<f64>; 2]) -> [Drawn; 2],
) {
    /// Times that the one is set right by the other: the strips take a share of what they are given.
    const ROUNDS: usize = 4;
    /// A panel keeps this share of the height.
    const LEAST: f64 = 0.35;
    let (mut upper, mut finer) = (height / 2, [None; 2]);
    let shapes = sheet.scene.shapes.len();
    let least = px(f64::from(height) * LEAST);
    for _ in 0..ROUNDS {
        let drawn = draw(sheet, upper, finer);
        sheet.scene.shapes.truncate(shapes);
        // What the one gains the other loses.
        upper = (upper + (drawn[1].height - drawn[0].height) / 2).clamp(least, height - least);
        finer = if own_scales { times_finer(drawn) } else { [None; 2] };
    }
    if own_scales {
        finer = times_finer(draw(sheet, upper, finer));
        sheet.scene.shapes.truncate(shapes);
    }
    draw(sheet, upper, finer);
}

/// How many times finer the one is than the other.
fn times_finer([before, after]: [Drawn; 2]) -> [Option<f64>; 2] {
    let times = |of: Drawn, other: Drawn| {
        let times = of.rows_per_amp / other.rows_per_amp;
        Some(times).filter(|times| times.is_finite() && *times > 1.0)
    };
    [times(before, after), times(after, before)]
}

/// The zero of a run, and on the common time the press that both have.
type Common = (Zero, Option<f64>);

/// Draws a run, and says how high its amps came out.
pub(super) fn draw(
    sheet: &mut Sheet,
    run: Subject,
    readings: &Readings,
    (scale, volts): (amps::Scale, volts::Scale),
    area: Rect,
    (name, (zero, pressed), aside): (&str, Common, (Option<f64>, &str)),
) -> Drawn {
    // A box would hide much of so low a panel: what is wrong is said above it.
    let undecided = run.finding.verdict.class == Class::Inconclusive;
    let notes = notes::gravest(&run, readings);
    let why = no_verdict(&run).filter(|_| notes.is_empty());
    let note = notes.first().or(why.as_ref());
    let (area, said) = panel_title(sheet, run, area, (name, aside), note);
    let bands = phases::Bands::new(sheet, &run, (readings.time, phases::MOST_ROWS));
    let scale = if has_rest(&run, scale) { scale } else { scale.without_quiet() };
    // What a board that fell is left at is the half of its verdict, and its band is too thin for the other strip.
    let matters = scale.rest_matters(&run) || run.finding.verdict.class == Class::DroppedOut;
    let mut areas = arrange(sheet, area, (bands.rows(), matters), scale);
    if sheet.is_very_low() && areas.quiet.is_empty() && !volts_matter(&run) {
        areas.amps.bottom = areas.volts.bottom;
        areas.volts.top = areas.volts.bottom;
    }
    bands.shade(sheet, &areas);
    bands.draw(sheet, &areas);
    if let Some(end) = log_end::ends_at(&run, readings.time).filter(|_| undecided) {
        log_end::beside_ribbon(sheet, areas.ribbon, end);
        log_end::edge(sheet, end, (areas.amps.top, areas.volts.bottom));
    }
    let (told, color) = (notes::fault(&run, &notes), notes::color(sheet, &run));
    let fault = told.map(|at| readings.time.x_within(at));
    // The lines that both runs have in common; at the moment of a fault its own stands.
    let pressed = pressed.map(|at| at + zero.at).filter(|at| told != Some(*at));
    let common = [Some(zero.at), pressed].into_iter().flatten().filter(|at| readings.time.shows(*at));
    let common = common.map(|at| readings.time.x_within(at));
    let lane = events::Lane::of_lines(sheet, common).with_fault(fault.map(|x| (x, color)));
    let axes = amps::draw(sheet, &run, readings, &areas, &scale, &lane, &[]);
    let dot =
        note.filter(|_| fault.is_some()).and_then(|note| notes::mark_of(sheet, readings, axes, note, color));
    amps::label(sheet, &run, readings, axes, fault, dot.as_slice());
    volts::draw(sheet, &run, readings, volts.axis(areas.volts), (&lane, zero.at));
    if let Some(x) = fault {
        notes::pointer(sheet, &areas, x, color);
        if let Some(said) = said {
            notes::leader_down(sheet, (said.left, said.right), (x, (said.bottom, areas.amps.top)), color);
        }
    }
    let amps = axes.main;
    let height = amps.area.height();
    Drawn { height, rows_per_amp: f64::from(height) / (amps.high - amps.low) }
}

/// Why a run carries no verdict, as a note of no moment.
fn no_verdict(run: &Subject) -> Option<notes::Note> {
    let verdict = &run.finding.verdict;
    let why = verdict.because.first().filter(|_| verdict.class == Class::Inconclusive)?.clone();
    let at = *run.trace.time().last()?;
    Some(notes::Note { at, point_at: None, amps: None, lines: vec![why], more: 0, placed: false })
}

/// Whether the verdict speaks of the volts.
const fn volts_matter(run: &Subject) -> bool {
    matches!(run.finding.verdict.class, Class::HardShort | Class::PartialShort | Class::FeedLimited)
}

/// Whether the run draws so little at any time that magnifying shows it: a short has no rest, and an empty strip would be taken
/// for one.
fn has_rest(run: &Subject, scale: amps::Scale) -> bool {
    let fed = run.finding.phases.iter().filter(|phase| phase.name != "off");
    scale.quiet_high.is_some_and(|high| fed.map(|phase| phase.mean_a.value()).any(|mean| mean <= high))
}

/// Name, verdict, what is wrong, and what is said aside, on one line or, where that is too narrow, on
/// two; returns what is left of the area, and where it is said what is wrong.
fn panel_title(
    sheet: &mut Sheet,
    run: Subject,
    area: Rect,
    (name, (finer, aside)): (&str, (Option<f64>, &str)),
    note: Option<&notes::Note>,
) -> (Rect, Option<Rect>) {
    let bold = sheet.style(em::LARGE, Weight::Bold, sheet.palette.text);
    let alarm = sheet.style(em::USUAL, Weight::Bold, notes::color(sheet, &run));
    let small = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let (row, rest) = area.split_top(sheet.u(24.0));
    let baseline = bold.baseline_at(row.center().1);
    let space = sheet.u(14.0);
    let start = row.left - sheet.u(58.0);
    let narrow = sheet.is_narrow(area.width());
    let mut right = sheet.scene.text(aside, (row.right, baseline), Anchor::End, small).left - space;
    let title = format!("{name}: {}", words::short(&run.finding.verdict));
    let Some(title) = bold.fit(&title, right - start) else { return (rest, None) };
    let mut left = sheet.scene.text(title, (start, baseline), Anchor::Start, bold).right + space;
    let (mut below, mut sure_below) = (rest, None);
    if let Some(finer) = finer.map(|times| finer_than(name, times)) {
        let strong = sheet.style(em::USUAL, Weight::Bold, sheet.palette.text);
        if strong.width(&finer) <= right - left {
            right = sheet.scene.text(finer, (right, baseline), Anchor::End, strong).left - space;
        } else {
            let (next, rest) = below.split_top(sheet.u(22.0));
            below = rest;
            let at = (start, strong.baseline_at(next.center().1));
            sheet.short_text(&finer, at, Anchor::Start, strong, row.right - start);
        }
    }
    let mut said = None;
    let sure = words::beside_headline(run.finding);
    if let Some(note) = note {
        let most = if narrow { 2 } else { 1 };
        let from_here = sheet.is_very_low().then(|| note.said_from_here(&run));
        let wrong = in_lines(from_here.as_ref().unwrap_or(note), alarm, row.right - start, most);
        // How sure that is belongs beside it.
        if alarm.width(&wrong) + space + small.width(&sure) <= right - left {
            let words = sheet.scene.text(wrong, (left, baseline), Anchor::Start, alarm);
            left = words.right + space;
            said = Some(Rect { bottom: row.bottom, ..words });
        } else {
            for line in alarm.wrap(&wrong, row.right - start, most) {
                let (next, rest) = below.split_top(sheet.u(22.0));
                below = rest;
                let at = (start, alarm.baseline_at(next.center().1));
                let words = sheet.scene.text(line, at, Anchor::Start, alarm);
                said = Some(Rect { bottom: next.bottom, ..words });
                sure_below = Some((words.right + space, at.1));
            }
        }
    }
    // Behind the verdict, else behind what is wrong, else below both: one run with it and one without would be taken for two
    // that are not known as well.
    let width = small.width(&sure);
    let title = Some((left, baseline)).filter(|_| width <= right - left);
    let behind = sure_below.filter(|(left, _)| width <= row.right - left);
    let at = title.or(behind).unwrap_or_else(|| {
        let (next, rest) = below.split_top(if width > 0 { sheet.u(22.0) } else { 0 });
        below = rest;
        (start, small.baseline_at(next.center().1))
    });
    sheet.scene.text(sure, at, Anchor::Start, small);
    (below, said)
}

/// `amps 50 times finer than below`: two panels one above the other are taken to have one scale.
fn finer_than(name: &str, times: f64) -> String {
    let other = if name == NAMES[0] { "below" } else { "above" };
    format!("amps about {} times finer than {other}", crate::units::figures(times, 2))
}

/// `stuck in program: 0.406 A at 23.5 V for 31.0 s; and 2 more below`: where that is too long, what is left out
/// is said still.
fn in_lines(note: &notes::Note, style: Style, room: i32, most: usize) -> String {
    let mut said = clean(&note.lines[..note.lines.len().min(2)].join(": "));
    // The table has them.
    let rest = if note.more > 0 { format!("; and {} more below", note.more) } else { String::new() };
    let is_cut = |line: &String| line.ends_with('…');
    let fits = |said: &str| !style.wrap(&format!("{said}{rest}"), room, most).iter().any(is_cut);
    // Cut in the middle of what is told, or of a number, it would tell nothing.
    while let Some(shorter) = without_last_clause(&said).filter(|_| !fits(&said)) {
        said.truncate(shorter);
    }
    said + &rest
}

/// Where the last clause of what is said begins, or what stands in brackets before it.
fn without_last_clause(said: &str) -> Option<usize> {
    let at = [", ", "; ", ": ", " ("].iter().filter_map(|between| said.rfind(between)).max()?;
    let open = said[..at].rfind(" (").filter(|open| !said[*open..at].contains(')'));
    Some(open.unwrap_or(at))
}

fn arrange(sheet: &Sheet, area: Rect, (name_rows, rest_matters): (i32, bool), scale: amps::Scale) -> Areas {
    /// Shares of the height for the magnified strip and for the volts.
    const QUIET: f64 = 0.2;
    const VOLTS: f64 = 0.24;
    /// Below this many units of height there is no magnified strip …
    const LOW: f64 = 230.0;
    /// … and where the verdict or a departure speaks of what it shows, below so many: along the zero of the other strip that
    /// could not be seen.
    const LOW_WHERE_IT_MATTERS: f64 = 110.0;
    let empty = Rect::new(area.left, area.bottom, area.right, area.bottom);
    let (overflow, rest) = area.split_top(name_rows * sheet.u(19.0));
    let (ribbon, rest) = rest.split_top(sheet.u(28.0));
    let (rest, _) = rest.split_bottom(sheet.u(8.0));
    let share = |share: f64| px(f64::from(rest.height()) * share);
    let gap = sheet.u(6.0);
    let (upper, volts) = rest.split_bottom(volts::height(sheet, rest.height(), VOLTS));
    let (upper, _) = upper.split_bottom(gap);
    // Where there is little height the boot has it: the table below says what the quiet stages draw.
    let low = if rest_matters { LOW_WHERE_IT_MATTERS } else { LOW };
    let with_quiet = scale.quiet_high.is_some() && rest.height() > sheet.u(low);
    let (upper, quiet) = upper.split_bottom(if with_quiet { share(QUIET) } else { 0 });
    let amps = if quiet.is_empty() { upper } else { upper.split_bottom(sheet.u(amps::CAPTION)).0 };
    Areas { overflow, ribbon, legend: empty, notes: empty, amps, quiet, events: empty, volts, ticks: empty }
}

#[cfg(test)]
mod tests {
    use super::super::super::axis::TimeAxis;
    use super::super::super::fixtures::{finding, phase, trace};
    use super::*;
    use crate::render::{Options, Size};

    #[test]
    fn amps_are_equally_high_whatever_stands_above_them_and_finer_by_what_is_measured() {
        let mut sheet = Sheet::new(&Options::default(), (440.0, 780.0));
        // The upper has two lines more above its amps, which are ten times finer, and half as much of them below.
        let amps = |panel: i32, above: i32, share: f64, high: f64| {
            let height = px(f64::from(panel - above) * share);
            Drawn { height, rows_per_amp: f64::from(height) / high }
        };
        let mut last = None;
        equally_high(&mut sheet, (700, true), |_, upper, finer| {
            let drawn = [amps(upper, 90, 0.5, 0.1), amps(700 - upper, 50, 0.6, 1.0)];
            last = Some((drawn.map(|drawn| drawn.height), finer));
            drawn
        });
        let (heights, finer) = last.unwrap();
        assert!((heights[0] - heights[1]).abs() <= 2, "{heights:?}");
        assert!(finer[0].is_some_and(|times| (times - 10.0).abs() < 0.3) && finer[1].is_none(), "{finer:?}");
        // Where one cannot be as high as the other, what a length of it stands for is said as it is.
        equally_high(&mut sheet, (700, true), |_, upper, finer| {
            let drawn = [amps(upper, 90, 0.5, 0.1), amps(700 - upper, 50, 0.1, 1.0)];
            last = Some((drawn.map(|drawn| drawn.height), finer));
            drawn
        });
        let (heights, finer) = last.unwrap();
        let measured = f64::from(heights[0]) / f64::from(heights[1]) * 10.0;
        assert!(finer[0].is_some_and(|times| (times / measured - 1.0).abs() < 0.1), "{finer:?} {measured}");
        let same = |_: &mut Sheet, upper: i32, finer: [Option<f64>; 2]| {
            assert_eq!(finer, [None; 2], "they share one scale");
            [amps(upper, 90, 0.5, 1.0), amps(700 - upper, 50, 0.5, 1.0)]
        };
        equally_high(&mut sheet, (700, false), same);
    }

    #[test]
    fn what_is_too_long_is_cut_between_clauses_and_never_within_a_number() {
        let sheet = Sheet::new(&Options::default(), (440.0, 780.0));
        let style = sheet.style(em::USUAL, Weight::Bold, sheet.palette.text);
        let lines =
            vec!["fed from here on: hardly anything flows".into(), "0.4 mA at 12.4 V (under 5 mA)".into()];
        let mut note = notes::Note { at: 0.0, point_at: None, amps: None, lines, more: 0, placed: false };
        let said = |note: &notes::Note, like: &str, most| in_lines(note, style, style.width(like) + 2, most);
        let whole = "fed from here on: hardly anything flows: 0.4 mA at 12.4 V (under 5 mA)";
        let cut = "fed from here on: hardly anything flows: 0.4 mA at 12.4 V";
        assert_eq!(said(&note, whole, 1), whole);
        assert_eq!(said(&note, &whole[..whole.len() - 4], 1), cut);
        assert_eq!(said(&note, &cut[..cut.len() - 3], 1), "fed from here on: hardly anything flows");
        // Lines break between words, so that two hold less than twice what one does.
        assert_eq!(said(&note, &cut[..36], 2), cut);
        note.more = 2;
        assert_eq!(said(&note, &cut[..36], 2), "fed from here on: hardly anything flows; and 2 more below");
    }

    #[test]
    fn the_volts_of_a_low_panel_have_room_for_two_numbers_but_less_than_the_amps() {
        let (trace, finding) = (trace(600, 60.0, |_| 0.4), finding(vec![phase("boot", 0.0, 60.0)]));
        let subject = Subject { trace: &trace, profile: None, finding: &finding };
        let time = TimeAxis { left: 0, right: 400, from: 0.0, to: 60.0 };
        let scale = amps::Scale::new(&subject, &Readings::new(&subject, time));
        let size = Size::new(480, 360).unwrap();
        let sheet = Sheet::new(&Options { size, ..Options::default() }, (440.0, 660.0));
        // Two rows of names above the strip of stages.
        let areas = |height: i32| arrange(&sheet, Rect::new(0, 0, 400, height), (2, false), scale);
        let heights = |height: i32| [areas(height).amps.height(), areas(height).volts.height()];
        let [amps, volts] = heights(90);
        assert!(volts >= sheet.u(28.0) && amps > volts, "{amps} {volts}");
        let [amps, volts] = heights(60);
        assert!(volts < sheet.u(28.0) && amps > volts, "{amps} {volts}");
    }
}
