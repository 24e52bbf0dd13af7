//! What good boards keep within, behind the trace.

mod fitted;
mod left;
pub(in crate::render) mod off_scale;

use super::super::axis::ValueAxis;
use super::super::geometry::Rect;
use super::super::sheet::Sheet;
use super::super::words;
use super::Subject;
use super::attempts::{attempts, span};
use super::cut::Mark;
use super::inrush;
use super::legend::{Drawn, MEAN_DASH, OVERDUE_DASH, PEAK_DASH};
use super::limit;
use super::readings::Readings;
use super::unseen;
use super::volts;
use crate::reference::{PhaseReference, Profile};
use crate::stats::robust::median;
use crate::units::{Amps, Volts};
use crate::verdict::{Attempt, Class, Phase};

/// The envelope of one phase of this run, in amps.
#[derive(Debug, Clone, Copy)]
pub(in crate::render) struct Expected {
    /// Which stage of the profile it is.
    pub(in crate::render) place: usize,
    pub(in crate::render) from: f64,
    pub(in crate::render) to: f64,
    /// From when on peaks are compared: after the inrush.
    pub(in crate::render) peak_from: f64,
    /// By when good boards have moved on; `to` where the stage has no end of its own.
    pub(in crate::render) usual_to: f64,
    pub(in crate::render) low: f64,
    pub(in crate::render) typical: f64,
    pub(in crate::render) high: f64,
    pub(in crate::render) peak: f64,
    /// The peak that is usual.
    pub(in crate::render) usual_peak: f64,
}

impl Expected {
    /// With no peak above the current limit, which the supply lets nobody read, however high the few boards allow it to be.
    pub(in crate::render) fn up_to(self, limit: Option<Amps>) -> Self {
        let limit = limit.map_or(f64::INFINITY, Amps::value);
        Self { peak: self.peak.min(limit), usual_peak: self.usual_peak.min(limit), ..self }
    }

    /// From where to where good boards are in the stage, on the time axis of `readings`.
    fn usual_span(&self, readings: &Readings) -> (i32, i32) {
        (readings.time.x_within(self.from), readings.time.x_within(self.usual_to))
    }
}

/// The envelopes of the phases that the window shows, in order.
pub(in crate::render) fn expected(subject: &Subject, readings: &Readings) -> Vec<Expected> {
    let (Some(profile), Some(volts)) = (subject.profile, subject.feed_volts()) else { return Vec::new() };
    let time = readings.time;
    let flecks = |stage: &Stage| {
        let middle = f64::midpoint(stage.start, stage.end);
        attempts(subject).is_some_and(|attempts| is_fleeting(attempts, middle, time.to - time.from))
    };
    let shown = stages(subject, profile).into_iter().filter(|stage| !flecks(stage)).filter_map(|stage| {
        let (from, to) = (stage.start.max(time.from), stage.end.min(time.to));
        let usual_to = left::by(subject, profile, &stage, readings.beside_leaves).clamp(from, from.max(to));
        let amps = in_amps(profile, stage.reference, volts).up_to(subject.limit());
        let peak_from = inrush::past(subject, from).min(to);
        (from < to).then_some(Expected { from, to, peak_from, usual_to, ..amps })
    });
    shown.collect()
}

/// A stage of the profile, and when this board was in it, in seconds.
#[derive(Debug, Clone, Copy)]
struct Stage<'a> {
    reference: &'a PhaseReference,
    start: f64,
    end: f64,
}

/// The stages that this board was in: those that the finding tells, and in a try that shows none those that lead to
/// where such tries end.
fn stages<'a>(subject: &Subject, profile: &'a Profile) -> Vec<Stage<'a>> {
    // Of a board that tries but once as well.
    let class = subject.finding.verdict.class;
    let gives_up = matches!(class, Class::LatchOff | Class::Cycling | Class::FeedLimited);
    let tries = if gives_up { subject.finding.attempts.as_slice() } else { &[] };
    let mut stages: Vec<Stage> = Vec::new();
    let standby = profile.standby().map(|standby| &standby.name);
    let phases = &subject.finding.phases;
    for (phase, next) in phases.iter().zip((1..).map(|index| phases.get(index))) {
        let (start, end) = (phase.start_s.value(), phase.end_s.value());
        // What was read once the board had woken is none of its standby, whatever stages it is of.
        let woken = next.and_then(|next| unseen::wake(subject, phase, next));
        let end = woken.unwrap_or(end);
        let attempt = tries.iter().find(|attempt| {
            let (from, to) = span(attempt);
            from <= start && start < to
        });
        // What is left of a phase after its try has fallen is none of what good boards do in it.
        let end = match attempt.filter(|attempt| attempt.given_up && standby != Some(&phase.name)) {
            Some(attempt) => end.min(attempt.end_s.value()),
            None => end,
        };
        let stage = profile.phases.iter().find(|reference| reference.name == phase.name);
        if let Some(reference) = stage.or_else(|| instead(subject, profile, phase)) {
            stages.push(Stage { reference, start, end });
        } else if let Some(attempt) =
            attempt.filter(|attempt| attempt.given_up && attempt.likely_in.is_some())
        {
            // Of one that is still on when the log ends nothing tells which stages it has passed.
            let before = stages.pop_if(|stage| stage.end > attempt.start_s.value());
            stages.extend(leading_to(subject, (profile, attempt), before, (start, end)));
        }
    }
    stages
}

/// What good boards do instead of a short, or of drawing nothing: they are in their first stage.
fn instead<'a>(subject: &Subject, profile: &'a Profile, phase: &Phase) -> Option<&'a PhaseReference> {
    let none = match subject.finding.verdict.class {
        Class::NoDraw => phase.name == "no draw",
        Class::HardShort | Class::PartialShort => words::shorted(subject.finding, phase).is_some(),
        _ => false,
    };
    profile.phases.first().filter(|_| none)
}

/// The stages from `before` to that in which a try ends, each from where the readings reach its level on: what the finding
/// calls no stage may begin before the one that it follows has ended.
fn leading_to<'a>(
    subject: &Subject,
    (profile, attempt): (&'a Profile, &Attempt),
    before: Option<Stage<'a>>,
    (start, end): (f64, f64),
) -> Vec<Stage<'a>> {
    let place = |name: &str| profile.phases.iter().position(|phase| phase.name == name);
    let known = attempt.likely_in.as_deref().and_then(place).zip(subject.feed_volts());
    let Some((last, volts)) = known else { return before.into_iter().collect() };
    let standby = usize::from(profile.standby().is_some());
    let first = before.and_then(|stage| place(&stage.reference.name)).unwrap_or(standby).min(last);
    let references = &profile.phases[first..=last];
    let levels: Vec<f64> =
        references.iter().map(|reference| in_amps(profile, reference, volts).typical).collect();
    let (times, read) = readings(subject, (start, end));
    let begins = fitted::begins(&read, &levels);
    let begins = begins.into_iter().map(|index| times.get(index).copied().unwrap_or(end));
    let mut begins: Vec<f64> = begins.chain([end]).collect();
    begins[0] = before.map_or(start, |before| before.start);
    let stage =
        |(reference, span): (&'a PhaseReference, &[f64])| Stage { reference, start: span[0], end: span[1] };
    references.iter().zip(begins.windows(2)).map(stage).filter(|stage| stage.start < stage.end).collect()
}

/// Times and amps drawn within a stretch, of a very long one a share: more than these tell no place better on a picture.
fn readings(subject: &Subject, (start, end): (f64, f64)) -> (Vec<f64>, Vec<f64>) {
    const MOST: usize = 4000;
    let times = subject.trace.time();
    let index = |t: f64| times.partition_point(|time| *time < t);
    let within = index(start)..index(end);
    let each = within.len().div_ceil(MOST).max(1);
    let drawn = |index: usize| (times[index], subject.finding.log.drawn(subject.trace.amps()[index]));
    within.step_by(each).map(drawn).unzip()
}

/// What of good boards a figure shows on an axis up to `high`.
pub(in crate::render) fn drawn(subject: &Subject, readings: &Readings, axis: ValueAxis) -> Drawn {
    let expected = expected(subject, readings);
    let shows = |amps: f64| (axis.area.top..axis.area.bottom).contains(&axis.row(amps));
    Drawn {
        envelope: !expected.is_empty(),
        mean: !expected.is_empty(),
        peak: expected.iter().any(|stage| shows(stage.peak)),
        off_scale: off_scale::peaks(subject, &expected, axis),
        overdue: expected
            .iter()
            .any(|stage| stage.usual_to < stage.to && (shows(stage.low) || shows(stage.high))),
        limited: !limit::seen(readings).is_empty(),
        dips: volts::has_signs(subject, readings),
        gaps: readings.has_gaps(),
        blank: None,
    }
}

/// Where envelopes run out of the strip, with how far they reach; `taken` is what no words are to stand on.
pub(in crate::render) fn marks(
    sheet: &Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    taken: &[Rect],
) -> Vec<Mark> {
    let hides = |words: Rect| readings.cross(axis, words);
    let color = sheet.palette.good;
    // Beside the arrow of an inrush the amps of good boards would be read as its own.
    let taken = &[taken, &inrush::arrows(sheet, subject, readings, axis)].concat();
    let mark = |stage: Expected| {
        let span = stage.usual_span(readings);
        if span.1 - span.0 < sheet.u(14.0) {
            return None;
        }
        let most = words::amps(stage.high, subject.resolution());
        let whose = format!("good boards to {most}");
        let inside = |text: &str| Mark::within(sheet, axis, span, (text, color), taken);
        // Words beside a band that is too narrow for them say whose it is; in it the legend does.
        let beside = || Mark::beside(sheet, axis, span.0, (&whose, color), (taken, hides));
        let short = || inside(&format!("mean to {most}"));
        let found = [inside(&whose), short()].into_iter().find(Mark::has_words);
        let found = found.or_else(|| Some(beside()).filter(|mark| mark.has_words() && mark.stands_in(span)));
        Some(found.unwrap_or_else(short))
    };
    let stages = expected(subject, readings).into_iter();
    stages.filter(|stage| is_cut(axis, stage.high)).filter_map(mark).collect()
}

/// Whether so many amps lie above the strip.
fn is_cut(axis: ValueAxis, amps: f64) -> bool {
    axis.row(amps) < axis.area.top
}

/// Whether a moment lies in a try where a picture of so many seconds shows most tries as slivers: envelopes there would be
/// flecks, and some tries with and some without would seem to differ in more than their length.
fn is_fleeting(attempts: &[Attempt], at: f64, seconds: f64) -> bool {
    /// Share of the width below which nothing can be read within a try.
    const SLIVER: f64 = 0.02;
    let spans = || attempts.iter().map(span);
    let usual = median(&mut spans().map(|(start, end)| end - start).collect::<Vec<_>>());
    usual.is_some_and(|usual| usual < SLIVER * seconds) && spans().any(|span| (span.0..span.1).contains(&at))
}

/// A stage's envelope in amps at `volts`, at no time yet.
pub(in crate::render) fn in_amps(profile: &Profile, reference: &PhaseReference, volts: Volts) -> Expected {
    let per_watt = profile.power_factor(reference, volts) / volts.value();
    let mean = reference.mean_power;
    let place = profile.phases.iter().position(|phase| std::ptr::eq(phase, reference)).unwrap_or_default();
    Expected {
        place,
        from: 0.0,
        peak_from: 0.0,
        to: 0.0,
        usual_to: 0.0,
        low: mean.low * per_watt,
        typical: mean.typical * per_watt,
        high: mean.high * per_watt,
        peak: reference.peak_power.high * per_watt,
        usual_peak: reference.peak_power.typical * per_watt,
    }
}

/// Draws the envelopes of a run, each over the time that this board spent in the stage.
pub(in crate::render) fn draw(
    sheet: &mut Sheet,
    readings: &Readings,
    axis: ValueAxis,
    expected: &[Expected],
) {
    for stage in expected {
        bands(sheet, axis, stage, columns(readings, stage));
    }
}

/// Draws the lines within them, over those of the grid, which would hide one that lies beside it.
pub(in crate::render) fn draw_lines(
    sheet: &mut Sheet,
    readings: &Readings,
    axis: ValueAxis,
    expected: &[Expected],
) {
    for stage in expected {
        lines(sheet, axis, stage, columns(readings, stage));
    }
}

fn columns(readings: &Readings, stage: &Expected) -> Columns {
    let x = |t: f64| readings.time.x_within(t);
    let (left, peak) = (x(stage.from), x(stage.peak_from));
    Columns { left, peak, usual: x(stage.usual_to) + 1, right: x(stage.to) + 1 }
}

/// The columns of pixels that a stage takes.
#[derive(Debug, Clone, Copy)]
pub(in crate::render) struct Columns {
    pub(in crate::render) left: i32,
    /// Where peaks begin to be compared.
    pub(in crate::render) peak: i32,
    /// Where good boards have moved on.
    pub(in crate::render) usual: i32,
    pub(in crate::render) right: i32,
}

/// One stage's envelope: the range of the mean, the usual mean, and the highest peak.
pub(in crate::render) fn stage_of(sheet: &mut Sheet, axis: ValueAxis, stage: &Expected, columns: Columns) {
    bands(sheet, axis, stage, columns);
    lines(sheet, axis, stage, columns);
}

fn bands(sheet: &mut Sheet, axis: ValueAxis, stage: &Expected, columns: Columns) {
    let Columns { left, usual, right, .. } = columns;
    let band = Rect { left, right, ..band_rows(sheet, axis, stage) };
    band_of(sheet, Rect { right: usual, ..band }, axis.area);
    overdue(sheet, Rect { left: usual, ..band }, axis.area);
}

fn lines(sheet: &mut Sheet, axis: ValueAxis, stage: &Expected, columns: Columns) {
    let mean = Some(axis.row(stage.typical)).filter(|row| (axis.area.top..axis.area.bottom).contains(row));
    let Columns { left, peak, right, .. } = columns;
    // What an inrush passes is held to no peak.
    let lines = [(mean, MEAN_DASH, left), (peak_row(sheet, axis, stage), PEAK_DASH, peak)];
    for (row, dash, left) in lines.into_iter().filter_map(|(row, dash, left)| Some((row?, dash, left))) {
        let pen = sheet.pen(1.0, dash, sheet.palette.envelope_edge);
        sheet.scene.across((left, right), row, pen);
    }
}

/// The rows of the range that good boards keep their mean within, as they are drawn.
pub(in crate::render) fn band_rows(sheet: &Sheet, axis: ValueAxis, stage: &Expected) -> Rect {
    /// What is seen of a band that would be a hair, in units of the layout (by judgement); more would contradict its numbers.
    const LEAST: f64 = 2.0;
    let (high, low) = (axis.row(stage.high), axis.row(stage.low) + 1);
    let missing = (sheet.u(LEAST) - (low - high)).max(0);
    // On the frame its edge would not be seen.
    let on_frame = axis.area.bottom - 1 - sheet.u(1.0);
    let top = (high - missing / 2).min(on_frame);
    let zero = axis.row(0.0) + 1;
    Rect { top, bottom: (low + missing - missing / 2).min(zero.max(low)), ..axis.area }
}

/// The row of the line of the peaks, where the strip has it and the edge of the band does not hide it.
pub(in crate::render) fn peak_row(sheet: &Sheet, axis: ValueAxis, stage: &Expected) -> Option<i32> {
    let (row, band) = (axis.row(stage.peak), band_rows(sheet, axis, stage));
    let hidden = stage.peak >= stage.high && row >= band.top;
    Some(row).filter(|row| !hidden && (axis.area.top..axis.area.bottom).contains(row))
}

/// The range that good boards keep within, while they do; what the strip cuts off has no edge.
fn band_of(sheet: &mut Sheet, band: Rect, clip: Rect) {
    // Of a low band the edges leave some to be seen between them.
    let (edge, palette) = (sheet.u(1.0).min(band.height() / 3).max(1), sheet.palette);
    sheet.scene.fill(band.intersection(clip), palette.envelope);
    for edge in [Rect { bottom: band.top + edge, ..band }, Rect { top: band.bottom - edge, ..band }] {
        sheet.scene.fill(edge.intersection(clip), palette.envelope_edge);
    }
}

/// The same range when good boards have long moved on: its edges only.
fn overdue(sheet: &mut Sheet, band: Rect, clip: Rect) {
    let pen = sheet.pen(1.0, OVERDUE_DASH, sheet.palette.envelope_edge);
    let rows = [band.top, band.bottom - 1].into_iter().filter(|row| (clip.top..clip.bottom).contains(row));
    for row in rows.filter(|_| band.left < band.right) {
        sheet.scene.across((band.left, band.right), row, pen);
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::axis::TimeAxis;
    use super::super::super::fixtures::{cycling, finding, phase, profile, trace};
    use super::*;
    use crate::verdict::Finding;

    #[test]
    fn beside_a_short_and_no_draw_stands_what_good_boards_draw_at_first() {
        let (trace, profile) = (trace(601, 60.0, |_| 0.0), profile());
        for (name, class) in [("no draw", Class::NoDraw), ("short", Class::HardShort)] {
            let mut finding = finding(vec![phase("off", 0.0, 2.0), phase(name, 2.0, 60.0)]);
            finding.departures.clear();
            finding.verdict.class = class;
            let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
            let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 60.0 };
            let bands = expected(&subject, &Readings::new(&subject, time));
            let first = in_amps(&profile, &profile.phases[0], subject.feed_volts().unwrap());
            let found = bands.iter().map(|band| (band.from, band.to, band.typical)).collect::<Vec<_>>();
            assert_eq!(found, [(2.0, 60.0, first.typical)], "{class}");
        }
    }

    #[test]
    fn a_low_band_is_seen_about_where_it_is_and_hides_no_line_of_peaks() {
        let options = super::super::super::options::Options::default();
        let sheet = Sheet::new(&options, (440.0, 560.0));
        let axis = ValueAxis { area: Rect::new(100, 100, 500, 400), low: 0.0, high: 1.0 };
        let of = |low: f64, high: f64, peak: f64| {
            let stage = in_amps(&profile(), &profile().phases[0], Volts::constant(12.8));
            let stage = Expected { low, high, peak, ..stage };
            (band_rows(&sheet, axis, &stage), peak_row(&sheet, axis, &stage))
        };
        // Near zero, right above the frame; its peaks are seven pixels above that.
        let (band, peak) = of(0.0005, 0.002, 0.023);
        assert_eq!((band.top, peak), (axis.area.bottom - 1 - sheet.u(1.0), Some(axis.row(0.023))));
        assert_eq!(band.bottom, axis.area.bottom);
        let (band, peak) = of(0.5, 0.503, 0.52);
        let most = sheet.u(2.0).max(axis.row(0.5) + 1 - axis.row(0.503));
        assert_eq!((band.height(), peak), (most, Some(axis.row(0.52))));
        assert!(band.top <= axis.row(0.503) && axis.row(0.5) < band.bottom, "about its middle: {band:?}");
        assert_eq!(of(0.5, 0.503, 0.503).1, None, "its edge is there");
        // What is high enough is drawn as it is.
        let (band, _) = of(0.5, 0.53, 0.6);
        assert_eq!((band.top, band.bottom), (axis.row(0.53), axis.row(0.5) + 1));
    }

    #[test]
    fn a_single_try_lies_over_what_good_boards_do_as_several_do() {
        let mut finding = cycling(2);
        finding.attempts.truncate(1);
        finding.attempts[0].likely_in = Some("firmware".into());
        finding.phases.retain(|phase| phase.start_s.value() < 8.0 && phase.name != "firmware");
        for phase in finding.phases.iter_mut().filter(|phase| phase.name == "rails") {
            (phase.name, phase.end_s) = ("attempt".into(), crate::units::Seconds::constant(8.0));
        }
        let level = |index: u32| if index < 65 { 0.2 } else { 0.7 };
        let (trace, profile) = (trace(601, 60.0, level), profile());
        let mut bands = |class: Class| {
            finding.verdict.class = class;
            let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
            let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 60.0 };
            let shown = expected(&subject, &Readings::new(&subject, time));
            shown.iter().map(|stage| (stage.from, stage.to)).collect::<Vec<_>>()
        };
        // Standby, and rails and firmware within the try, which goes from one to the other at 6.5 s.
        assert_eq!(bands(Class::LatchOff), [(2.0, 6.0), (6.0, 6.5), (6.5, 8.0)]);
        assert_eq!(bands(Class::Inconclusive), [(2.0, 6.0)]);
    }

    #[test]
    fn a_stage_goes_on_as_far_as_its_level_into_what_the_finding_calls_no_stage() {
        let mut finding = cycling(2);
        finding.attempts.truncate(1);
        finding.attempts[0].likely_in = Some("firmware".into());
        finding.phases.retain(|phase| phase.start_s.value() < 8.0);
        for phase in finding.phases.iter_mut().filter(|phase| phase.name == "firmware") {
            phase.name = "attempt".into();
        }
        finding.verdict.class = Class::FeedLimited;
        let cut = finding.phases.iter().find(|phase| phase.name == "attempt").unwrap().start_s.value();
        // The level rises 0.7 s after the finding cuts the try.
        let rises = cut + 0.7;
        let level = |index: u32| if f64::from(index) / 10.0 < rises { 0.2 } else { 0.7 };
        let (trace, profile) = (trace(601, 60.0, level), profile());
        let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
        let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 60.0 };
        let shown = expected(&subject, &Readings::new(&subject, time));
        let edges: Vec<(f64, f64)> = shown.iter().map(|stage| (stage.from, stage.to)).collect();
        assert!(
            edges.len() == 3 && (edges[1].1 - rises).abs() < 0.11 && (edges[2].0 - edges[1].1).abs() < 1e-9,
            "{edges:?}"
        );
    }

    #[test]
    fn what_is_left_of_a_phase_after_its_try_has_fallen_is_no_stage_of_it() {
        let (trace, profile, mut finding) = (trace(600, 60.0, |_| 0.5), profile(), cycling(3));
        // Each try is one phase; that of the last runs on to the end of the log, long after the fall.
        finding.phases.retain(|phase| phase.name != "firmware" && phase.name != "rest");
        for phase in finding.phases.iter_mut().filter(|phase| phase.name == "rails") {
            let lasts = if phase.start_s.value() < 12.0 { 2.0 } else { 48.0 };
            phase.name = "attempt".into();
            phase.end_s = crate::units::Seconds::constant(phase.start_s.value() + lasts);
        }
        for attempt in &mut finding.attempts {
            (attempt.likely_in, attempt.given_up) = (Some("rails".into()), true);
        }
        let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
        let ends = |to: f64| {
            let time = TimeAxis { left: 0, right: 600, from: 0.0, to };
            let shown = expected(&subject, &Readings::new(&subject, time));
            shown.iter().map(|stage| stage.to).collect::<Vec<_>>()
        };
        // Standby, and the three tries up to where they fall; of tries that are slivers none has a band.
        assert_eq!(ends(20.0), [6.0, 8.0, 11.0, 14.0]);
        assert_eq!(ends(110.0), [6.0]);
    }

    #[test]
    fn tries_have_bands_all_or_none_whatever_their_lengths() {
        let mut finding = cycling(4);
        for attempt in &mut finding.attempts {
            attempt.given_up = true;
        }
        let within = |finding: &Finding, seconds: f64| {
            let fleeting =
                |attempt: &Attempt| is_fleeting(&finding.attempts, attempt.start_s.value(), seconds);
            finding.attempts.iter().map(fleeting).collect::<Vec<_>>()
        };
        assert_eq!(within(&finding, 110.0), [true; 4]);
        // One is a second longer than the others.
        let end = finding.attempts[1].end_s.value() + 0.9;
        finding.attempts[1].end_s = crate::units::Seconds::constant(end);
        assert_eq!(within(&finding, 110.0), [true; 4]);
        assert_eq!(within(&finding, 80.0), [false; 4], "22 tries of a minute are still to be read");
    }
}
