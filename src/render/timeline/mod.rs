//! The run of one board over time.
//!
//! Read from the top: how far the board got (headline and stages), on what evidence, where and by how much it left
//! what good boards do (one heavy line, notes on the amps), what the volts did meanwhile, and at the foot how it was
//! measured. Of a board that tries again and again, stage by stage bands were slivers that nobody could read, so a try
//! is one numbered band under a bracket that counts them; a stretch that is cut out shows the stages within.

mod head;
#[cfg(test)]
mod tests;

use super::RenderError;
use super::axis::TimeAxis;
use super::geometry::Rect;
use super::options::{Least, Options};
use super::parts::notes::Note;
use super::parts::readings::Readings;
use super::parts::{
    Areas, Subject, amps, around_phase, crop, envelope, events, foot, legend, need, notes, phases, time_axis,
    volts,
};
use super::scene::Scene;
use super::sheet::Sheet;
use super::words;
use crate::reference::Profile;
use crate::trace::Trace;
use crate::verdict::{Class, Finding, Phase};

/// Below this many units the parts would not have room for their words.
const LEAST: Least = (440.0, 560.0);

pub(super) fn draw(
    trace: &Trace,
    profile: Option<&Profile>,
    finding: &Finding,
    options: &Options,
) -> Result<Scene, RenderError> {
    let subject = Subject { trace, profile, finding };
    let mut sheet = Sheet::new(options, LEAST);
    let (from, to) = window(trace, finding, options)?;
    sheet.scene.title = title(finding);
    sheet.scene.description = description(finding);
    let below_head = head::draw(&mut sheet, &subject);
    let foot = foot::draw(&mut sheet, &foot::entries(&subject));
    let middle = Rect { top: below_head, bottom: foot, ..sheet.inside() };
    let left = middle.left + sheet.u(58.0);
    let time = TimeAxis { left, right: middle.right, from, to };
    let readings = Readings::new(&subject, time);
    plot(&mut sheet, &subject, &readings, Rect { left, ..middle });
    Ok(sheet.scene)
}

fn plot(sheet: &mut Sheet, subject: &Subject, readings: &Readings, area: Rect) {
    let bands = phases::Bands::of_panel(sheet, subject, readings.time);
    let narrow = sheet.is_narrow(area.width());
    let most = if narrow { notes::MOST_STACKED } else { notes::MOST_NOTES };
    let mut notes = notes::notes(subject, readings, most);
    if narrow || sheet.scene.width < sheet.u(SMALL) {
        in_short(subject, &mut notes);
    }
    deadline_first(subject, &mut notes);
    let fault = notes::fault(subject, &notes);
    let fault_x = fault.map(|at| readings.time.x_within(at));
    let color = notes::color(sheet, subject);
    let lane = events::Lane::new(sheet, subject, readings.time).with_fault(fault_x.map(|x| (x, color)));
    let scale = amps::Scale::new(subject, readings);
    // Low current is magnified on a small figure only where it is what matters.
    let scale =
        if has_no_room_for_rest(sheet, subject, &scale, narrow) { scale.without_quiet() } else { scale };
    let drawn =
        |axis| legend::Drawn { blank: bands.blank(sheet), ..envelope::drawn(subject, readings, axis) };
    let samples = legend::of_run(sheet, area.width(), &drawn(scale.main(area)));
    let legend = legend::height_of(sheet, area.width(), &samples);
    let rows = (bands.rows(), lane.rows(), legend);
    let laid_out = |scale| lay_out(sheet, subject, readings, (area, rows), scale, &notes);
    let with_rest = laid_out(scale);
    // Known once notes have asked for headroom.
    let Layout { areas, scale, mut placed } =
        if with_rest.magnifies_enough() { with_rest } else { laid_out(scale.without_quiet()) };
    notes::on_its_line(&mut placed, fault_x, areas.amps);
    let drawn = drawn(scale.main(areas.amps));
    bands.shade(sheet, &areas);
    bands.draw(sheet, &areas);
    let axes = amps::draw(sheet, subject, readings, &areas, &scale, &lane, &notes::leaders(sheet, &placed));
    let samples = legend::of_run(sheet, area.width(), &drawn.seen(sheet));
    legend::draw(sheet, areas.legend, &samples);
    let volts = volts::Scale::new(subject, readings).axis(areas.volts);
    volts::draw(sheet, subject, readings, volts, (&lane, 0.0));
    lane.words(sheet, &areas);
    let fault = fault.map(|at| (at, subject.moment(at), color));
    time_axis(sheet, readings.time, areas.ticks, fault.as_slice());
    if let Some(x) = fault_x {
        notes::pointer(sheet, &areas, x, color);
    }
    let spots: Vec<Rect> = placed.iter().map(|note| note.spot).collect();
    notes::pin(sheet, &placed, |sheet| amps::label(sheet, subject, readings, axes, fault_x, &spots));
}

/// Where the parts stand, on which scale, with which notes.
struct Layout {
    areas: Areas,
    scale: amps::Scale,
    placed: Vec<notes::Placed>,
}

impl Layout {
    /// Whether the magnified strip, if there is one, shows what the other does not.
    fn magnifies_enough(&self) -> bool {
        self.areas.quiet.is_empty() || self.scale.axes(&self.areas).are_worth_it()
    }
}

/// The height shared out, with the notes in it.
fn lay_out(
    sheet: &Sheet,
    subject: &Subject,
    readings: &Readings,
    (area, (name_rows, event_rows, legend)): (Rect, (i32, i32, i32)),
    scale: amps::Scale,
    notes: &[Note],
) -> Layout {
    let (narrow, color) = (sheet.is_narrow(area.width()), notes::color(sheet, subject));
    let share = |stacked| arrange(sheet, area, (name_rows, event_rows, legend, stacked), &scale);
    let areas = share(if narrow { notes::stack_height(sheet, notes, area.width()) } else { 0 });
    let (arranged, placed) = if narrow {
        let all = notes.iter().map(|note| (readings, note, color));
        (scale, notes::stack(sheet, scale.axes(&areas), areas.notes, all))
    } else {
        notes::arrange(sheet, subject, readings, &areas, &scale, notes)
    };
    let head = notes.first().filter(|_| placed.is_empty());
    let with_row = head.map(|note| (note, share(notes::above_height(sheet, subject, note, area.width()))));
    if let Some((note, areas)) = with_row.filter(|(_, with)| with.amps.height() >= sheet.u(LEAST_STRIP)) {
        let placed = notes::above(sheet, subject, scale.axes(&areas), areas.notes, (readings, note, color));
        return Layout { areas, scale, placed };
    }
    Layout { areas, scale: arranged, placed }
}

/// A strip of amps lower than this shows nothing that words could speak of, in units of the layout.
const LEAST_STRIP: f64 = 26.0;

/// Below so many units of width a long note hides what it speaks of.
const SMALL: f64 = 1300.0;

/// Of a starved board what good boards peak at, and what was read: on a small figure the rest hides the tries.
fn in_short(subject: &Subject, notes: &mut [Note]) {
    const MOST: usize = 3;
    if let Some(note) = notes.first_mut().filter(|_| need::amps(subject).is_some()) {
        note.lines.truncate(MOST);
    }
}

/// Of a stalled board the deadline before what is drawn: where there is room for two lines, the second is what the red line
/// means. Other figures have a clock of their own.
fn deadline_first(subject: &Subject, notes: &mut [Note]) {
    let stalled = subject.finding.verdict.class == Class::Stalled;
    if let Some(note) = notes.first_mut().filter(|note| stalled && note.lines.len() > 2) {
        note.lines.swap(1, 2);
    }
}

/// Whether low current is not magnified, since the amps need the room more than what the verdict says of rest.
fn has_no_room_for_rest(sheet: &Sheet, subject: &Subject, scale: &amps::Scale, narrow: bool) -> bool {
    let class = subject.finding.verdict.class;
    // What a board that dropped out is left at is the half of its verdict.
    let matters = scale.rest_matters(subject) || class == Class::DroppedOut;
    match (narrow, sheet.is_very_low()) {
        (_, true) => !matters,
        (true, false) => !matters && class != Class::LatchOff,
        (false, false) => false,
    }
}

/// Shares the height out among the parts.
fn arrange(
    sheet: &Sheet,
    area: Rect,
    (name_rows, event_rows, legend, stacked): (i32, i32, i32, i32),
    scale: &amps::Scale,
) -> Areas {
    // The times have their room before all else, so that a legend without room for all of it stands clear of them.
    let (area, ticks) = area.split_bottom(sheet.u(24.0));
    let (overflow, rest) = area.split_top(name_rows * sheet.u(19.0));
    let (ribbon, rest) = rest.split_top(sheet.u(28.0));
    let (legend, rest) = rest.split_top(legend);
    let (notes, rest) = notes::split_stack(rest, stacked);
    let share = |part: f64| super::geometry::px(f64::from(rest.height()) * part);
    let (rest, volts) = rest.split_bottom(volts::height(sheet, rest.height(), 0.2));
    let (rest, events) = rest.split_bottom(event_rows * sheet.u(20.0) + sheet.u(6.0));
    let with_quiet = scale.quiet_high.is_some();
    let (amps, quiet) = strips(sheet, rest, if with_quiet { share(0.17) } else { 0 });
    Areas { overflow, ribbon, legend, notes, amps, quiet, events, volts, ticks }
}

/// The strip of amps, and below it the magnified one; without that where it would take more than it leaves.
fn strips(sheet: &Sheet, area: Rect, quiet: i32) -> (Rect, Rect) {
    let (upper, magnified) = area.split_bottom(quiet);
    let amps = Rect { bottom: upper.bottom - sheet.u(amps::CAPTION), ..upper };
    if quiet > 0 && amps.height() >= magnified.height().max(sheet.u(LEAST_STRIP)) {
        (amps, magnified)
    } else {
        area.split_bottom(0)
    }
}

/// The stretch of time to show.
fn window(trace: &Trace, finding: &Finding, options: &Options) -> Result<(f64, f64), RenderError> {
    let (Some(&first), Some(&last)) = (trace.time().first(), trace.time().last()) else {
        return Err(RenderError::NoReadings);
    };
    let (start, end) = match &options.zoom {
        Some(name) => around_phase(finding, name)?,
        None => crop::usual(trace, finding).unwrap_or((first, last)),
    };
    let from = options.from.map_or(start.max(first), crate::units::Seconds::value);
    let to = options.to.map_or(end.min(last) + beyond(first, last), crate::units::Seconds::value);
    let seen = trace.time().partition_point(|t| *t <= to) > trace.time().partition_point(|t| *t < from);
    match (from < to, seen) {
        (true, true) => Ok((from, to)),
        // A single reading has no duration; it still has its moment.
        (false, true) if first >= last => Ok((first - 0.5, first + 0.5)),
        _ => Err(RenderError::EmptyWindow { from, to, first, last }),
    }
}

/// What a short capture is shown beyond its end, in seconds: its last reading, often the only one with feed, would else
/// stand on the frame.
fn beyond(first: f64, last: f64) -> f64 {
    const SHORT: f64 = 5.0;
    const SHARE: f64 = 0.03;
    let length = last - first;
    if length < SHORT { length * SHARE } else { 0.0 }
}

fn title(finding: &Finding) -> String {
    format!("{}: {}", words::board(finding), words::headline_of(finding))
}

fn description(finding: &Finding) -> String {
    /// More phases than these nobody listens to; a board that tries again and again has thousands.
    const MOST_PHASES: usize = 40;
    let mut sentences = vec![format!("{}.", words::headline_of(finding))];
    sentences.push(format!("{}.", words::confidence(finding)));
    sentences.extend(finding.verdict.because.iter().map(|because| format!("{because}.")));
    for departure in &finding.departures {
        let numbers = words::departure_numbers(departure, finding.log.resolution_a);
        sentences.push(format!("{}: {numbers}.", words::departure(departure)));
    }
    let phase = |phase: &Phase| {
        let amps = words::amps(phase.mean_a.value(), finding.log.resolution_a);
        format!("{} from {} to {} at {amps}", phase.name, phase.start_s, phase.end_s)
    };
    let mut phases: Vec<String> = finding.phases.iter().take(MOST_PHASES).map(phase).collect();
    let rest = finding.phases.len().saturating_sub(MOST_PHASES);
    phases.extend((rest > 0).then(|| format!("and {rest} more")));
    sentences.push(format!("Phases: {}.", phases.join("; ")));
    sentences.join(" ")
}
