//! Where a log ends: one that is too short for a verdict before its panel does, for an empty rest of that would be taken for a
//! board that draws nothing; and one that goes on when the picture ends.

use super::align::Zero;
use super::axis::TimeAxis;
use super::font::Weight;
use super::geometry::Rect;
use super::parts::{Subject, crop};
use super::scene::Anchor;
use super::sheet::{Sheet, em};

/// What is said there.
const ENDS_HERE: &str = "log ends here";

/// The column in which the log of a run ends; `None` where the picture goes no further.
pub(super) fn ends_at(run: &Subject, time: TimeAxis) -> Option<i32> {
    let end = *run.trace.time().last()?;
    (time.shows(end) && end < time.to).then(|| time.x_within(end))
}

/// Says so to the right of the ribbon, where that has room for it.
pub(super) fn beside_ribbon(sheet: &mut Sheet, ribbon: Rect, x: i32) {
    let style = sheet.style(em::USUAL, Weight::Regular, sheet.palette.faint_text);
    let start = x + sheet.u(8.0);
    if start + style.width(ENDS_HERE) <= ribbon.right {
        let baseline = style.baseline_at(ribbon.center().1);
        sheet.scene.text(ENDS_HERE, (start, baseline), Anchor::Start, style);
    }
}

/// The edge of the log across a panel.
pub(super) fn edge(sheet: &mut Sheet, x: i32, rows: (i32, i32)) {
    const DASH: f64 = 4.0;
    let pen = sheet.pen(1.0, DASH, sheet.palette.faint_text);
    sheet.scene.down(x, rows, pen);
}

/// The key of the foot under which stands how long runs go on after the picture ends.
pub(super) const GOES_ON: &str = "goes on";

/// How long a run goes on after the picture ends, in words on the common time; `None` where that shows its end, or where what
/// is left out is time without feed, of which the ribbon tells.
pub(super) fn goes_on(run: &Subject, zero: Zero, common: TimeAxis) -> Option<String> {
    /// Less than this share of the picture is no more than its edge (by judgement).
    const EDGE: f64 = 0.01;
    let shown = common.to + EDGE * (common.to - common.from);
    let (_, fed) = crop::usual(run.trace, run.finding)?;
    let end = *run.trace.time().last()?;
    (fed - zero.at > shown).then(|| zero.until(run, end))
}
