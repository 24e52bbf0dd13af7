//! Where a log ends that is too short for a verdict: an empty rest of a panel would be taken for a board that draws nothing.

use super::axis::TimeAxis;
use super::font::Weight;
use super::geometry::Rect;
use super::parts::Subject;
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
