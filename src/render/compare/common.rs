//! What two runs have in common: their time, the moments that its axis tells, and what its zero is.

use super::super::align::{self, Moment, Zero};
use super::super::axis::TimeAxis;
use super::super::geometry::Rect;
use super::super::log_end;
use super::super::moments;
use super::super::parts::readings::Readings;
use super::super::parts::{Subject, Told, notes};
use super::super::sheet::Sheet;
use super::{AXIS, NAMES, VALUES, told};

/// Two runs on one time, and the words of it.
#[derive(Debug)]
pub(super) struct Common {
    pub(super) zeros: [Zero; 2],
    pub(super) time: TimeAxis,
    pub(super) readings: [Readings; 2],
    /// The moments for which the axis has room.
    pub(super) told: Vec<Told>,
    /// When both were pressed, if one is set beside the other by that and the axis says so.
    pub(super) pressed: Option<f64>,
    /// What the zero is.
    pub(super) zero: String,
}

impl Common {
    pub(super) fn new(sheet: &mut Sheet, runs: &[Subject; 2], (from, to): (f64, f64)) -> Self {
        let (zeros, zero) = align::before_and_after(runs, NAMES);
        let inside = sheet.inside();
        let time = TimeAxis { left: inside.left + sheet.u(VALUES), right: inside.right, from, to };
        let own = |zero: Zero| TimeAxis { from: from + zero.at, to: to + zero.at, ..time };
        let readings = [0, 1].map(|index| readings_of(&runs[index], zeros[index], own(zeros[index])));
        let faults =
            [0, 1].map(|index| notes::fault(&runs[index], &notes::gravest(&runs[index], &readings[index])));
        let wanted = told::wanted(sheet, (runs, &zeros), faults);
        // What it has room for hangs on its width alone.
        let row = Rect::new(time.left, 0, time.right, sheet.u(AXIS));
        let told = moments::that_fit(sheet, (time, row), &wanted);
        let pressed = told::pressed_and_told(runs, &zeros, &told);
        let zero = if told::is_press_said(runs, &zeros, &told) { zero } else { without_press(&zero) };
        Self { zeros, time, readings, told, pressed, zero }
    }

    /// `after to 118 s`: which of the runs goes on when the picture ends, and how long.
    pub(super) fn goes_on(&self, runs: &[Subject; 2]) -> Option<String> {
        let of = |index: usize| {
            let end = log_end::goes_on(&runs[index], self.zeros[index], self.time)?;
            Some(format!("{} to {end}", NAMES[index]))
        };
        let said: Vec<String> = [of(0), of(1)].into_iter().flatten().collect();
        (!said.is_empty()).then(|| said.join(", "))
    }
}

/// The same without that it is set beside the other by a press of which the figure shows nothing.
fn without_press(zero: &str) -> String {
    zero.strip_suffix(align::SET_BY_PRESS).unwrap_or(zero).to_owned()
}

/// The readings of one run beside those of another.
pub(super) fn readings_of(run: &Subject, zero: Zero, time: TimeAxis) -> Readings {
    // Above one that is seen to leave its rest some tenths of a second later none has left it at the press.
    let beside_leaves = Some(zero.at).filter(|_| zero.moment == Moment::AsOthersPressed);
    Readings { beside_leaves, ..Readings::new(run, time) }
}
