//! The amps: the board's trace over the envelope of good boards, and low current magnified.

mod grid;

use super::super::axis::{ValueAxis, round_step};
use super::super::font::Weight;
use super::super::geometry::Rect;
use super::super::scene::{Anchor, Label};
use super::super::sheet::{Sheet, em};
use super::super::theme::Color;
use super::cut::{self, Mark};
use super::envelope::{self, Expected, expected};
use super::events::Lane;
use super::gaps;
use super::inrush;
use super::limit;
use super::need;
use super::readings::Readings;
use super::{Areas, Subject};
use crate::units::{Amps, Volts};
use crate::verdict::{Class, Departure};
use grid::read_grid;
pub(in crate::render) use grid::{amps_grid, grid, is_in_milliamps};

/// Up to where the two strips reach, in amps.
#[derive(Debug, Clone, Copy)]
pub(in crate::render) struct Scale {
    low: f64,
    high: f64,
    /// Up to where no headroom may bring it: what is cut stays cut.
    most: f64,
    /// Top of the magnified strip; `None` if nothing is to be magnified.
    pub(in crate::render) quiet_high: Option<f64>,
    /// Whether there is an envelope to be drawn.
    pub(in crate::render) with_envelope: bool,
}

/// The axes of the two strips.
#[derive(Debug, Clone, Copy)]
pub(in crate::render) struct Axes {
    pub(in crate::render) main: ValueAxis,
    pub(in crate::render) quiet: Option<ValueAxis>,
}

impl Axes {
    /// How many times taller the magnified strip draws the same amps, in pixels.
    pub(in crate::render) fn magnification(self) -> Option<f64> {
        let pixels_per_amp = |axis: ValueAxis| f64::from(axis.area.height()) / (axis.high - axis.low);
        Some(pixels_per_amp(self.quiet?) / pixels_per_amp(self.main))
    }

    /// Whether the lower strip shows what the other does not.
    pub(in crate::render) fn are_worth_it(self) -> bool {
        self.magnification().is_some_and(|times| times >= LEAST_TIMES)
    }

    /// The row that shows `amps`: in the magnified strip what that can show.
    pub(in crate::render) fn row(self, amps: f64) -> i32 {
        let magnified = self.quiet.filter(|quiet| (quiet.low..=quiet.high).contains(&amps));
        magnified.unwrap_or(self.main).row_within(amps)
    }
}

/// Room above the highest line, for notes.
const HEADROOM: f64 = 1.18;

impl Scale {
    /// For all that was read, or for all but an inrush that stands far above the rest.
    pub(in crate::render) fn new(subject: &Subject, readings: &Readings) -> Self {
        /// An inrush this many times as high as the rest would press the rest flat. Beyond the headroom that notes may
        /// ask for, so that what is cut stays cut.
        const FAR_ABOVE: f64 = 2.5;
        /// Of a board that draws nothing all there is to be seen is how little that is beside what good boards draw: an
        /// inrush that stands out from that at all is cut.
        const ABOVE_NOTHING: f64 = 1.25;
        /// Share of what is cut that the strip reaches at most.
        const STAYS_CUT: f64 = 0.95;
        let highest = readings.highest_amps();
        let nothing = subject.finding.verdict.class == Class::NoDraw;
        let far = if nothing { ABOVE_NOTHING } else { FAR_ABOVE };
        let rest = inrush::highest_beside(subject, readings).map(|rest| Self::up_to(subject, readings, rest));
        let far_above = |rest: &Self| highest > far * rest.high / HEADROOM;
        let cut = |rest: Self| Self { most: STAYS_CUT * highest, ..rest };
        rest.filter(far_above).map_or_else(|| Self::whole(subject, readings), cut)
    }

    /// For all that was read.
    pub(in crate::render) fn whole(subject: &Subject, readings: &Readings) -> Self {
        Self::up_to(subject, readings, readings.highest_amps())
    }

    /// For readings up to `measured` amps.
    fn up_to(subject: &Subject, readings: &Readings, measured: f64) -> Self {
        /// Below this many steps of the readback, an axis would show its steps as if they were a signal.
        const LEAST_STEPS: f64 = 5.0;
        /// The same of a board that draws nothing, with no good boards to be seen beside it: all there is to be seen is the
        /// noise of the supply.
        const STEPS_OF_NOTHING: f64 = 25.0;
        /// With no resolution known.
        const LEAST_AMPS: f64 = 0.005;
        /// The limit belongs on the picture where the board comes this near to it.
        const NEAR_LIMIT: f64 = 0.8;
        /// From few boards an envelope is wide; beyond this many times what was read and what is usual it is cut.
        const WIDE_ENVELOPE: f64 = 1.6;
        /// A peak that few boards allow makes a high envelope; it may not flatten what was measured.
        const WORTH_SHOWING: f64 = 1.25;
        /// Room below zero for a trace that would else lie on the frame, as a share of the axis.
        const BELOW_ZERO: f64 = 0.04;
        let expected = expected(subject, readings);
        let nothing = subject.finding.verdict.class == Class::NoDraw;
        let steps = if nothing && expected.is_empty() { STEPS_OF_NOTHING } else { LEAST_STEPS };
        let step = subject.resolution().map_or(0.0, |step| step.value() * steps);
        let usual = expected.iter().map(|phase| phase.typical).fold(measured, f64::max);
        let highs = expected.iter().map(|phase| phase.high).filter(|high| *high < WIDE_ENVELOPE * usual);
        let means = highs.fold(usual, f64::max);
        let peaks = expected.iter().map(|phase| phase.peak).filter(|peak| *peak < WORTH_SHOWING * means);
        let peaks = peaks.fold(means, f64::max);
        let limit = subject.finding.log.limit_a.map_or(0.0, Amps::value);
        let is_told = subject.finding.verdict.class == Class::FeedLimited;
        let limit = if is_told || measured > NEAR_LIMIT * limit { limit } else { 0.0 };
        let need = need::worth_showing(subject).unwrap_or(0.0);
        let high = peaks.max(limit).max(need).max(step).max(LEAST_AMPS) * HEADROOM;
        let lowest = readings.lowest_amps();
        let floor = if nothing { -BELOW_ZERO * high } else { 0.0 };
        // A reading below zero is drawn as one, not on the frame.
        let low = (lowest * HEADROOM).min(floor);
        let quiet_high = quiet_high(subject, readings, &expected, high);
        Self { low, high, most: f64::INFINITY, quiet_high, with_envelope: !expected.is_empty() }
    }
}

impl Scale {
    /// With the main strip reaching `factor` times as high, for notes above the trace.
    pub(in crate::render) fn with_headroom(&self, factor: f64) -> Self {
        Self { high: (self.high * factor).min(self.most.max(self.high)), ..*self }
    }

    /// Without the magnified strip.
    pub(in crate::render) const fn without_quiet(self) -> Self {
        Self { quiet_high: None, ..self }
    }

    /// With a magnified strip that reaches above `amps`, if that is worth one.
    pub(in crate::render) fn magnifying(self, amps: f64) -> Self {
        self.reaching(amps * ABOVE_REST).unwrap_or(self)
    }

    /// With a magnified strip that shows `amps`, be that just below its top, or with none: in a strip that ends below what is
    /// wrong nobody sees how much it is, while the other shows it the better the less it is worth to magnify it.
    pub(in crate::render) fn holding(self, amps: f64) -> Self {
        /// Above what holds a rest readings go by a step or its noise (by judgement).
        const JUST_ABOVE: f64 = 1.25;
        let reaching = [ABOVE_REST, JUST_ABOVE].into_iter().find_map(|above| self.reaching(amps * above));
        reaching.unwrap_or_else(|| self.without_quiet())
    }

    /// With a magnified strip whose top is a round number from `needed` on, if that is worth one.
    fn reaching(self, needed: f64) -> Option<Self> {
        let top = round_top(needed).max(self.quiet_high.unwrap_or(0.0));
        (top < WORTH_MAGNIFYING * self.high).then_some(Self { quiet_high: Some(top), ..self })
    }

    /// Whether the verdict or a departure speaks of what the magnified strip shows.
    pub(in crate::render) fn rest_matters(&self, subject: &Subject) -> bool {
        let finding = subject.finding;
        let rests = matches!(finding.verdict.class, Class::StandbyOnly | Class::ExcessStandby);
        let is_quiet = |departure: &Departure| {
            let least = departure.high.min(departure.measured);
            departure.unit == "A" && self.quiet_high.is_some_and(|high| least <= high)
        };
        rests || finding.departures.iter().any(is_quiet)
    }

    /// How many times higher this reaches than `other`, if one scale would press what the other shows along its zero.
    pub(in crate::render) fn far_above(&self, other: &Self) -> Option<f64> {
        /// With less of the strip to itself than one part in so many, nothing of a trace is read off.
        const FAR: f64 = 3.0;
        let times = self.high / other.high;
        (times >= FAR).then_some(times)
    }

    /// The scale that serves both runs.
    pub(in crate::render) fn shared(self, other: Self) -> Self {
        let quiet = match (self.quiet_high, other.quiet_high) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => a.or(b),
        };
        let high = self.high.max(other.high);
        Self {
            low: self.low.min(other.low),
            high,
            most: self.most.max(other.most),
            quiet_high: quiet.filter(|quiet| *quiet < WORTH_MAGNIFYING * high),
            with_envelope: self.with_envelope || other.with_envelope,
        }
    }

    /// The axes of both strips, on the areas for them.
    pub(in crate::render) fn axes(&self, areas: &Areas) -> Axes {
        /// What is below zero may take so much of the magnified strip beside what is above.
        const MOST_BELOW: f64 = 0.3;
        let shown = self.quiet_high.filter(|_| !areas.quiet.is_empty());
        let low = |high: f64| self.low.max(-MOST_BELOW * high);
        let quiet = shown.map(|high| ValueAxis { area: areas.quiet, low: low(high), high });
        Axes { main: self.main(areas.amps), quiet }
    }

    /// The axis of the main strip, on `area`.
    pub(in crate::render) fn main(&self, area: Rect) -> ValueAxis {
        ValueAxis { area, low: self.low, high: self.high }
    }
}

/// Magnified fewer times than this a strip shows nothing that the other does not: of a rest that takes a fifth of a strip
/// everything is read off as well.
const LEAST_TIMES: f64 = 3.0;

/// The same as a share of the tops of the two, before their heights are known: the lower strip has about a third of the height
/// of the other, whose top notes may raise by about half.
const WORTH_MAGNIFYING: f64 = 0.45 / LEAST_TIMES;

/// Top of the magnified strip: half as much again as the quiet phases and their envelopes take.
fn quiet_high(subject: &Subject, readings: &Readings, expected: &[Expected], high: f64) -> Option<f64> {
    /// A phase is quiet if it draws less than this share of the axis: it lies within a few pixels of zero …
    const QUIET: f64 = 0.08;
    /// … and not so much more than the quietest that one scale would not serve both.
    const ALIKE: f64 = 3.0;
    /// No bench supply shows what would fill a strip that ends below this, in amps (common practice, no source).
    const LEAST_QUIET: f64 = 0.001;
    // Of a board that draws nothing there is nothing to be magnified, and of a short nothing is low.
    if matches!(subject.finding.verdict.class, Class::NoDraw | Class::HardShort | Class::PartialShort) {
        return None;
    }
    let time = readings.time;
    let fed = subject.feed_volts().map_or(0.0, Volts::value) * 0.5;
    let least = subject.resolution().map_or(0.0, Amps::value);
    let shown = subject.finding.phases.iter().filter(|phase| {
        phase.end_s.value() > time.from && phase.start_s.value() < time.to && phase.mean_v.value() > fed
    });
    let measured = shown.map(|phase| phase.mean_a.value());
    let levels: Vec<f64> =
        measured.chain(expected.iter().map(|phase| phase.high)).filter(|a| *a > least).collect();
    let quietest = levels.iter().copied().min_by(f64::total_cmp)?;
    let most = (QUIET * high).min(ALIKE * quietest);
    let quiet = levels.into_iter().filter(|amps| *amps <= most).max_by(f64::total_cmp)?;
    // Where standby is what is wrong, the strip is for it and not for good boards alone.
    let asleep = matches!(subject.finding.verdict.class, Class::StandbyOnly | Class::ExcessStandby);
    let resting = subject.finding.phases.iter().rfind(|phase| phase.name != "off").filter(|_| asleep);
    let quiet = resting.map_or(quiet, |standby| quiet.max(standby.mean_a.value()));
    let top = round_top((quiet * ABOVE_REST).max(least * 4.0).max(LEAST_QUIET));
    (top < WORTH_MAGNIFYING * high).then_some(top)
}

/// Times what a rest draws to which the magnified strip reaches.
const ABOVE_REST: f64 = 1.5;

/// The round number of amps at or above `needed` at which an axis ends.
fn round_top(needed: f64) -> f64 {
    let step = round_step(needed / 5.0);
    (needed / step).ceil() * step
}

/// Draws both strips and returns their axes; `taken` is what their words are not to stand on.
pub(in crate::render) fn draw(
    sheet: &mut Sheet,
    subject: &Subject,
    readings: &Readings,
    areas: &Areas,
    scale: &Scale,
    lane: &Lane,
    taken: &[Rect],
) -> Axes {
    let axes = scale.axes(areas);
    let Axes { main, quiet } = axes;
    let expected = expected(subject, readings);
    strip(sheet, subject, readings, main, &expected);
    lane.lines(sheet, areas.amps);
    trace(sheet, readings, main, lane.fault());
    limit::over(sheet, subject, readings, main);
    if let Some(quiet) = quiet {
        strip(sheet, subject, readings, quiet, &expected);
        lane.lines(sheet, areas.quiet);
        trace(sheet, readings, quiet, lane.fault());
        magnified(sheet, axes, taken);
    }
    axes
}

/// What is said in both strips: over all lines, so that none runs through the words, and clear of the `notes`.
pub(in crate::render) fn label(
    sheet: &mut Sheet,
    subject: &Subject,
    readings: &Readings,
    axes: Axes,
    fault: Option<i32>,
    notes: &[Rect],
) {
    for axis in std::iter::once(axes.main).chain(axes.quiet) {
        strip_words(sheet, subject, readings, axis, (fault, notes));
    }
    let mut inrushes = inrushes(sheet, subject, readings, axes.main, fault);
    if let Some(quiet) = axes.quiet {
        let words = fixed_words(sheet, subject, readings, quiet, fault);
        let taken: Vec<Rect> =
            notes.iter().copied().chain(words).chain(marker(sheet, quiet, fault)).collect();
        let marks = inrush::magnified(sheet, subject, readings, quiet, (&inrushes, &taken));
        for (_, mark) in &marks {
            cut::draw(sheet, std::slice::from_ref(mark), sheet.palette.paper);
        }
        inrushes.extend(marks);
    }
    let mut marks = cut_off(sheet, subject, readings, axes.main, fault);
    let words = words(sheet, subject, readings, axes.main, fault).into_iter().chain(notes.iter().copied());
    let taken = words.chain(marker(sheet, axes.main, fault)).collect();
    marks.extend(inrush::spikes(sheet, subject, readings, axes.main, (&inrushes, taken)));
    cut::draw(sheet, &marks, sheet.palette.paper);
}

/// What stands behind the trace: envelope, grid, gaps, limit.
fn strip(sheet: &mut Sheet, subject: &Subject, readings: &Readings, axis: ValueAxis, expected: &[Expected]) {
    envelope::draw(sheet, readings, axis, expected);
    read_grid(sheet, axis, subject.resolution());
    envelope::draw_lines(sheet, readings, axis, expected);
    gaps::draw(sheet, readings, axis.area);
    limit::draw(sheet, subject, readings, axis);
}

/// The rows of the lines that what was read is held to.
pub(in crate::render) fn lines(subject: &Subject, axis: ValueAxis) -> Vec<i32> {
    [limit::row(subject, axis), need::row(subject, axis)].into_iter().flatten().collect()
}

/// The words of gaps and of the limit, on a ground of their own.
fn strip_words(
    sheet: &mut Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    (fault, notes): (Option<i32>, &[Rect]),
) {
    gaps::words(sheet, readings, axis.area);
    limit::words(sheet, subject, readings, axis, (fault, notes));
    let limit = limit::label(sheet, subject, readings, axis, (fault, notes)).map(|label| label.bounds());
    let taken: Vec<Rect> = notes.iter().copied().chain(limit).collect();
    need::draw(sheet, subject, readings, axis, (fault, &taken));
}

/// Width of a run's own line, in units of the layout: far more than that of the envelope's, so that the two differ in grey as well.
pub(in crate::render) const TRACE: f64 = 2.6;

fn trace(sheet: &mut Sheet, readings: &Readings, axis: ValueAxis, fault: Option<(i32, Color)>) {
    let color = sheet.palette.ink;
    super::fault_line(sheet, readings.time.left, &readings.amps, axis, fault);
    line(sheet, readings, axis, (TRACE, color));
}

/// A run's amps as a line of that width and colour.
pub(in crate::render) fn line(sheet: &mut Sheet, readings: &Readings, axis: ValueAxis, pen: (f64, Color)) {
    super::trace_line(sheet, readings.time.left, &readings.amps, axis, pen);
}

/// What the words in the strip take, which no note may hide.
pub(in crate::render) fn words(
    sheet: &Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    fault: Option<i32>,
) -> Vec<Rect> {
    let mut words = fixed_words(sheet, subject, readings, axis, fault);
    if let Some(row) = limit::row(subject, axis) {
        words.extend(limit::bars(sheet, readings, axis, row));
    }
    for mark in cut_off(sheet, subject, readings, axis, fault) {
        words.extend(mark.areas(sheet));
    }
    words
}

/// The same without the words of the limit, which make room for a note; `None` where marks keep clear of these.
pub(in crate::render) fn words_but_limit(
    sheet: &Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    fault: Option<i32>,
) -> Option<Vec<Rect>> {
    let limit = limit::label(sheet, subject, readings, axis, (fault, &[]))?.bounds();
    if !cut_off(sheet, subject, readings, axis, fault).is_empty() {
        return None;
    }
    let mut words = words(sheet, subject, readings, axis, fault);
    words.retain(|spot| *spot != limit);
    Some(words)
}

/// The words of gaps and of the limit.
fn fixed_words(
    sheet: &Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    fault: Option<i32>,
) -> Vec<Rect> {
    let gaps =
        readings.gaps.iter().filter_map(|gap| gaps::ground_and_words(sheet, readings, axis.area, *gap));
    let limit = limit::label(sheet, subject, readings, axis, (fault, &[])).map(|label| label.bounds());
    let taken: Vec<Rect> = gaps.map(|(ground, _)| ground).chain(limit).collect();
    let need = need::label(sheet, subject, readings, axis, (fault, &taken)).map(|label| label.bounds());
    taken.into_iter().chain(need).collect()
}

/// What the strip does not hold: an inrush, and envelopes that reach far above all that was read.
fn cut_off(
    sheet: &Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    fault: Option<i32>,
) -> Vec<Mark> {
    let mut marks = envelopes(sheet, subject, readings, axis, fault).0;
    let inrushes = inrushes(sheet, subject, readings, axis, fault);
    marks.extend(inrushes.into_iter().map(|(_, mark)| mark));
    marks
}

/// The marks of envelopes, and what these are clear of.
fn envelopes(
    sheet: &Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    fault: Option<i32>,
) -> (Vec<Mark>, Vec<Rect>) {
    let words = fixed_words(sheet, subject, readings, axis, fault);
    let taken: Vec<Rect> = words.into_iter().chain(marker(sheet, axis, fault)).collect();
    (envelope::marks(sheet, subject, readings, axis, &taken), taken)
}

/// The marks of inrushes, each with its highest reading.
fn inrushes(
    sheet: &Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    fault: Option<i32>,
) -> Vec<(usize, Mark)> {
    let (marks, mut taken) = envelopes(sheet, subject, readings, axis, fault);
    taken.extend(marks.iter().flat_map(|mark| mark.areas(sheet)));
    inrush::marks(sheet, subject, readings, axis, taken)
}

/// The line of the fault with its flag: words on it would be struck through.
fn marker(sheet: &Sheet, axis: ValueAxis, fault: Option<i32>) -> Option<Rect> {
    fault.map(|x| Rect { left: x, right: x + 1, ..axis.area }.wider(sheet.u(7.0)))
}

/// Room above the magnified strip for what it is called, in units of the layout.
pub(in crate::render) const CAPTION: f64 = 18.0;

/// Says above the lower strip what it is, where no leader of a note passes.
pub(in crate::render) fn magnified(sheet: &mut Sheet, axes: Axes, taken: &[Rect]) {
    let (Some(factor), Some(quiet)) = (axes.magnification(), axes.quiet) else { return };
    let (upper, quiet) = (axes.main.area, quiet.area);
    let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let text = format!("low current, magnified {} times", crate::units::figures(factor, 2));
    if quiet.top - upper.bottom < sheet.u(CAPTION) || upper.is_empty() {
        return;
    }
    let baseline = style.baseline_at(quiet.top - sheet.u(CAPTION / 2.0));
    let ends = [(Anchor::End, quiet.right), (Anchor::Start, quiet.left), (Anchor::Middle, quiet.center().0)];
    let labels = ends.map(|(anchor, x)| Label { text: text.clone(), at: (x, baseline), anchor, style });
    let free = |label: &Label| !taken.iter().any(|taken| taken.overlaps(label.bounds().grown(sheet.u(3.0))));
    if let Some(label) = labels.into_iter().find(free) {
        sheet.scene.text(label.text, label.at, label.anchor, label.style);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_strip_magnifies_as_many_times_as_it_has_more_pixels_to_an_amp() {
        let main = ValueAxis { area: Rect::new(0, 0, 600, 400), low: 0.0, high: 4.0 };
        let quiet = ValueAxis { area: Rect::new(0, 420, 600, 520), low: 0.0, high: 0.05 };
        let times = |quiet: Option<ValueAxis>| Axes { main, quiet }.magnification();
        // 100 pixels to an amp, and 2000: not 80 times, as the ends of the axes are.
        assert!((times(Some(quiet)).unwrap() - 20.0).abs() < 1e-9);
        assert_eq!(times(None), None);
    }

    #[test]
    fn a_rest_that_a_lower_strip_would_draw_not_much_taller_has_none() {
        let scale =
            Scale { low: 0.0, high: 1.0, most: f64::INFINITY, quiet_high: None, with_envelope: false };
        let top = |amps: f64| scale.magnifying(amps).quiet_high.map(|top| (top * 100.0).round());
        // With a third of the height 0.15 A for 1 A are twice as tall.
        assert_eq!([top(0.1), top(0.05)], [None, Some(8.0)]);
    }

    #[test]
    fn a_strip_for_what_is_wrong_holds_it_or_is_left_out() {
        let quiet_high = Some(0.025);
        let scale = Scale { low: 0.0, high: 0.305, most: f64::INFINITY, quiet_high, with_envelope: false };
        let top = |amps: f64| scale.holding(amps).quiet_high.map(|top| (top * 1000.0).round());
        // With room for notes above it 29 mA would need 45 mA, which are not worth a strip: 40 mA hold them as well.
        assert_eq!([top(0.010), top(0.029), top(0.060)], [Some(25.0), Some(40.0), None]);
    }
}
