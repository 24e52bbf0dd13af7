//! What a good boot takes, where the limit of the supply is below it: the reason that a person can check at the supply.

use super::super::axis::ValueAxis;
use super::super::font::{Weight, clean};
use super::super::geometry::Rect;
use super::super::scene::{Anchor, Label};
use super::super::sheet::{Sheet, em};
use super::super::words;
use super::limit;
use super::readings::Readings;
use super::{MARKER, Subject};
use crate::reference::{SourceLog, StageMeasure};
use crate::verdict::Class;

/// The amps that every good board peaks at or above, where the limit starves this one and is below that.
pub(in crate::render) fn amps(subject: &Subject) -> Option<f64> {
    let limit = subject.finding.log.limit_a?.value();
    let (profile, volts) = subject.profile.zip(subject.feed_volts())?;
    let starved = subject.finding.verdict.class == Class::FeedLimited;
    let peaks = profile.boot_peaks(volts).into_iter().map(|watts| watts / volts.value());
    peaks.reduce(f64::min).filter(|need| starved && *need > limit)
}

/// `good boards peak at 0.860 A or more`, as the text has it: what a board needs is not known of one that peaks lower.
fn needed(subject: &Subject) -> Option<String> {
    Some(format!("good boards peak at {} or more", words::amps(amps(subject)?, subject.resolution())))
}

/// `in network good boards peak at 0.860 A or more, limit 0.670 A`; without a stage where not all have their peak in one.
pub(super) fn in_words(subject: &Subject) -> Option<String> {
    let stage = stage(subject).map(|stage| format!("in {} ", clean(stage))).unwrap_or_default();
    Some(format!("{stage}{}, limit {}", needed(subject)?, subject.finding.log.limit_a?))
}

/// The stage in which every capture of good boards goes highest.
fn stage<'a>(subject: &Subject<'a>) -> Option<&'a str> {
    let (profile, volts) = subject.profile.zip(subject.feed_volts())?;
    let power = |of: &StageMeasure| {
        let reference = profile.phases.iter().find(|phase| phase.name == of.phase);
        reference.map_or(0.0, |reference| of.peak_power * profile.power_factor(reference, volts))
    };
    let highest = |log: &'a SourceLog| log.stages.iter().max_by(|a, b| power(a).total_cmp(&power(b)));
    let mut stages = profile.learned.logs.iter().map(|log| Some(highest(log)?.phase.as_str()));
    let first = stages.next()??;
    stages.all(|stage| stage == Some(first)).then_some(first)
}

/// Up to where an axis is to reach for it: no further above the limit than would press the trace flat.
pub(super) fn worth_showing(subject: &Subject) -> Option<f64> {
    /// Times the limit (common practice, no source).
    const FAR: f64 = 1.5;
    let limit = subject.finding.log.limit_a?.value();
    amps(subject).filter(|need| *need < FAR * limit)
}

/// The row of it, if the strip shows it.
pub(super) fn row(subject: &Subject, axis: ValueAxis) -> Option<i32> {
    let need = worth_showing(subject).filter(|need| *need <= axis.high)?;
    Some(axis.row(need)).filter(|row| *row > axis.area.top + 3)
}

/// Its line with its words, past the mark of the fault; nothing where the words find no room, for nobody could say what the
/// line stands for.
pub(super) fn draw(
    sheet: &mut Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    (fault, taken): (Option<i32>, &[Rect]),
) {
    let label = label(sheet, subject, readings, axis, (fault, taken));
    let Some((row, label)) = row(subject, axis).zip(label) else { return };
    let (pen, beside) = (sheet.pen(1.5, 3.0, sheet.palette.good), sheet.u(MARKER));
    let (left, right) = (axis.area.left, axis.area.right);
    let parts = fault.map_or_else(|| vec![(left, right)], |x| vec![(left, x - beside), (x + beside, right)]);
    for part in parts.into_iter().filter(|(from, to)| from < to) {
        sheet.scene.across(part, row, pen);
    }
    super::on_ground(sheet, label.bounds().grown(sheet.u(2.0)), label);
}

/// Its words on the line, clear of those of the limit and of the line of the fault; `None` where they find no room.
pub(super) fn label(
    sheet: &Sheet,
    subject: &Subject,
    readings: &Readings,
    axis: ValueAxis,
    (fault, taken): (Option<i32>, &[Rect]),
) -> Option<Label> {
    let row = row(subject, axis)?;
    let style = sheet.style(em::SMALL, Weight::Bold, sheet.palette.good);
    let text = needed(subject)?;
    let line = fault.map(|x| Rect { left: x, right: x + 1, ..axis.area }.wider(sheet.u(3.0)));
    let bars = limit::row(subject, axis).map_or_else(Vec::new, |row| limit::bars(sheet, readings, axis, row));
    let kept: Vec<Rect> = line.into_iter().chain(bars).chain(taken.iter().copied()).collect();
    let near = style.line_height() / 2 + sheet.u(4.0);
    let at = |y: i32| Label {
        text: text.clone(),
        at: (axis.area.right - sheet.u(limit::ASIDE), style.baseline_at(y)),
        anchor: Anchor::End,
        style,
    };
    let free = |label: &Label| {
        let spot = label.bounds().grown(sheet.u(3.0));
        axis.area.holds(spot)
            && !kept.iter().any(|kept| kept.overlaps(spot))
            && readings.hidden(axis, spot) == 0
    };
    [row, row - near].map(at).into_iter().find(free)
}
