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
#[cfg(test)]
mod tests;
pub(super) mod turning;
pub(super) mod volts;

use super::RenderError;
use super::axis::TimeAxis;
use super::font::Weight;
use super::geometry::Rect;
use super::scene::{Anchor, Style};
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
    /// Where notes are stacked that have no room beside the trace.
    pub(super) notes: Rect,
    pub(super) amps: Rect,
    /// Low current magnified; empty if nothing is to be magnified.
    pub(super) quiet: Rect,
    pub(super) events: Rect,
    pub(super) volts: Rect,
    pub(super) ticks: Rect,
}

/// Ticks of time and their labels, in `row`. The time of the fault stands out among them and takes the place of none: it
/// stands between two of them, as near to its line as they leave room, and a stroke leads there.
pub(super) fn time_axis(sheet: &mut Sheet, time: TimeAxis, row: Rect, fault: Option<(f64, String)>) {
    let small = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
    let bold = sheet.style(em::USUAL, Weight::Bold, sheet.palette.alarm);
    let said = fault.map(|(at, text)| (time.x_within(at), text));
    let wide = said.as_ref().map_or(0, |(_, text)| bold.width(text));
    let (ticks, place) = ticks(sheet, time, row, small, said.as_ref().map(|(x, _)| (*x, wide)));
    let baseline = row.bottom - sheet.u(4.0);
    let stroke = sheet.u(5.0);
    for tick in ticks {
        sheet.scene.fill(Rect::new(tick.x, row.top, tick.x + 1, row.top + stroke), sheet.palette.frame);
        sheet.scene.text(tick.text, (tick.left, baseline), Anchor::Start, small);
    }
    if let (Some((x, text)), Some(left)) = (said, place) {
        // A label aside of its line hangs on a stroke from there.
        let middle = left + wide / 2;
        let beside = Rect::new(x.min(middle), row.top, x.max(middle), row.top + sheet.u(2.0));
        if !(left..left + wide).contains(&x) {
            sheet.scene.fill(beside, sheet.palette.alarm);
        }
        sheet.scene.fill(Rect::new(x - 1, row.top, x + 2, row.top + stroke), sheet.palette.alarm);
        sheet.scene.text(text, (left, baseline), Anchor::Start, bold);
    }
}

/// A tick with its label, which starts at `left`.
#[derive(Debug)]
struct Tick {
    x: i32,
    text: String,
    left: i32,
    right: i32,
}

/// As many ticks as have room, and where among them a label of that width for column `x` starts.
fn ticks(
    sheet: &Sheet,
    time: TimeAxis,
    row: Rect,
    style: Style,
    fault: Option<(i32, i32)>,
) -> (Vec<Tick>, Option<i32>) {
    /// A label this far from its line, in units of the layout, would seem to belong to another time.
    const FAR: f64 = 45.0;
    let space = sheet.u(8.0);
    let leftmost = row.left - sheet.u(40.0);
    let within = |x: i32, width: i32| (x - width / 2).clamp(leftmost, row.right - width);
    let set = |most: i32| {
        let mut free_from = leftmost;
        let mut ticks: Vec<Tick> = Vec::new();
        for (t, text) in time.ticks(most) {
            let (x, width) = (time.x_within(t), style.width(&text));
            let left = within(x, width);
            if left >= free_from {
                free_from = left + width + space;
                ticks.push(Tick { x, text, left, right: left + width });
            }
        }
        ticks
    };
    let most = ((time.right - time.left) / sheet.u(74.0)).max(1);
    let Some((x, wide)) = fault else { return (set(most), None) };
    let nearest = |ticks: &[Tick]| {
        let ends = ticks.iter().map(|tick| tick.left - space).chain([row.right]);
        let starts = std::iter::once(leftmost).chain(ticks.iter().map(|tick| tick.right + space));
        let rooms = starts.zip(ends).filter(|(start, end)| start + wide <= *end);
        let places = rooms.map(|(start, end)| (x - wide / 2).clamp(start, end - wide));
        places.min_by_key(|left| (left + wide / 2 - x).abs())
    };
    // Fewer ticks where the label would come to stand far from its line.
    let far = sheet.u(FAR);
    let near = |left: &i32| *left - far <= x && x <= left + wide + far;
    let tried = (1..=most)
        .rev()
        .map(set)
        .filter(|ticks| !ticks.is_empty())
        .map(|ticks| (nearest(&ticks).filter(near), ticks));
    let found = { tried }.find_map(|(left, ticks)| left.map(|left| (ticks, Some(left))));
    // At an end of the axis where every choice has a tick, that one goes.
    found.unwrap_or_else(|| {
        let left = within(x, wide);
        let clear = |tick: &Tick| tick.right + space <= left || left + wide + space <= tick.left;
        (set(most).into_iter().filter(clear).collect(), Some(left))
    })
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
