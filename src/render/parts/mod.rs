//! Parts that the figures share: a run on its axes, its stages, its events, what is wrong with it, the foot.

pub(super) mod amps;
pub(super) mod attempts;
pub(super) mod envelope;
pub(super) mod events;
pub(super) mod foot;
pub(super) mod heading;
pub(super) mod inrush;
pub(super) mod ladder;
pub(super) mod legend;
pub(super) mod notes;
pub(super) mod phases;
pub(super) mod readings;
pub(super) mod table;
pub(super) mod turning;
pub(super) mod volts;

use super::RenderError;
use super::axis::TimeAxis;
use super::font::Weight;
use super::geometry::Rect;
use super::scene::Anchor;
use super::sheet::{Sheet, em};
use crate::reference::Profile;
use crate::trace::Trace;
use crate::units::{Amps, Volts};
use crate::verdict::{Finding, Phase};

/// A run with what it is compared with.
#[derive(Debug, Clone, Copy)]
pub(super) struct Subject<'a> {
    pub(super) trace: &'a Trace,
    pub(super) profile: Option<&'a Profile>,
    pub(super) finding: &'a Finding,
}

impl Subject<'_> {
    pub(super) fn resolution(&self) -> Option<Amps> {
        self.finding.log.resolution_a
    }

    /// Volts at which the envelope's watts become amps: those that the supply was set to, else those of the longest
    /// phase that was fed.
    pub(super) fn feed_volts(&self) -> Option<Volts> {
        let set = self.finding.log.set_v.or(self.trace.header().set_volts);
        let length = |phase: &&Phase| phase.end_s.value() - phase.start_s.value();
        let fed = self.finding.phases.iter().filter(|phase| phase.name != "off");
        let longest = fed.max_by(|a, b| length(a).total_cmp(&length(b))).map(|phase| phase.mean_v);
        set.or(longest).filter(|volts| volts.value() > 0.0)
    }
}

/// Where the parts of a figure of one run stand; a part that the figure does without is empty.
#[derive(Debug, Clone, Copy)]
pub(super) struct Areas {
    /// Names of phases too short to hold them.
    pub(super) overflow: Rect,
    pub(super) ribbon: Rect,
    /// What the lines and bands stand for; empty if there is nothing to compare with.
    pub(super) legend: Rect,
    pub(super) amps: Rect,
    /// Low current magnified; empty if nothing is to be magnified.
    pub(super) quiet: Rect,
    pub(super) events: Rect,
    pub(super) volts: Rect,
    pub(super) ticks: Rect,
}

/// Ticks of time and their labels, in `row`; the time of the fault stands out among them.
pub(super) fn time_axis(sheet: &mut Sheet, time: TimeAxis, row: Rect, fault: Option<(f64, String)>) {
    let style = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let most = (time.right - time.left) / sheet.u(74.0);
    let space = sheet.u(8.0);
    let leftmost = row.left - sheet.u(40.0);
    let within = |x: i32, width: i32| (x - width / 2).clamp(leftmost, row.right - width);
    let fault = fault.map(|(at, label)| (time.x_within(at), label));
    let mut taken = None;
    if let Some((x, label)) = fault {
        let bold = sheet.style(em::USUAL, Weight::Bold, sheet.palette.alarm);
        sheet.scene.fill(Rect::new(x, row.top, x + 1, row.top + sheet.u(5.0)), sheet.palette.alarm);
        let at = (within(x, bold.width(&label)), row.bottom - sheet.u(4.0));
        taken = Some(sheet.scene.text(label, at, Anchor::Start, bold));
    }
    let mut free_from = leftmost;
    for (t, label) in time.ticks(most) {
        let (x, width) = (time.x_within(t), style.width(&label));
        let left = within(x, width);
        sheet.scene.fill(Rect::new(x, row.top, x + 1, row.top + sheet.u(5.0)), sheet.palette.frame);
        let clear =
            taken.is_none_or(|taken| left + width + space <= taken.left || taken.right + space <= left);
        if left >= free_from && clear {
            let at = (left, row.bottom - sheet.u(4.0));
            sheet.scene.text(label, at, Anchor::Start, style);
            free_from = left + width + space;
        }
    }
}

/// The named phase, from its first beginning to its last end, and a share of that on either side.
pub(super) fn around_phase(finding: &Finding, name: &str) -> Result<(f64, f64), RenderError> {
    const AROUND: f64 = 0.15;
    let named = || finding.phases.iter().filter(|phase| phase.name == name);
    let (Some(first), Some(last)) = (named().next(), named().next_back()) else {
        let mut known: Vec<String> = finding.phases.iter().map(|phase| phase.name.clone()).collect();
        known.sort();
        known.dedup();
        return Err(RenderError::NoSuchPhase { asked: name.to_owned(), known });
    };
    let (start, end) = (first.start_s.value(), last.end_s.value());
    let around = (end - start) * AROUND;
    Ok((start - around, end + around))
}
