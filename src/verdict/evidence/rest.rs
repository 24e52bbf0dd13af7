//! A board that does not wake.

use super::to_the_end;
use crate::units::how_often;
use crate::verdict::align::Step;
use crate::verdict::seen::{Seen, exact, seconds, volts};

/// Standby from this many times the usual one on is said as so many times.
const TIMES_FROM: f64 = 1.5;

pub(super) fn no_draw(seen: &Seen, last: &Step) -> Vec<String> {
    let drawn = seen.amps(last.stretch.amps);
    vec![
        format!(
            "feed present at {} from {} on",
            volts(last.stretch.volts),
            seconds(seen.analysis.run.start_s)
        ),
        format!("mean current {drawn} over {}", seen.lasting(last.stretch.duration())),
        asked(seen),
    ]
}

pub(super) fn at_standby(seen: &Seen, last: &Step) -> Vec<String> {
    vec![to_the_end(seen, last), against_usual(seen, last), asked(seen)]
}

fn against_usual(seen: &Seen, last: &Step) -> String {
    let standby = &seen.analysis.model.standby;
    let stretch = &last.stretch;
    let drawn = seen.watts(stretch.watts, stretch.volts);
    let Some(typical) = standby.watts else {
        let bound = exact(standby.high, "W");
        return if stretch.watts < standby.high {
            format!("{drawn}: below the {bound} from which boards of this kind are awake")
        } else {
            format!(
                "{drawn}, where boards of this kind stand by below {bound}; nothing follows that an awake board would do"
            )
        };
    };
    let amps = |watts: f64| exact(watts / stretch.volts.max(1e-3), "A");
    let usual =
        format!("good boards stand by at {} (up to {}) at these volts", amps(typical), amps(standby.high));
    let times = stretch.watts / typical.max(1e-9);
    if times < TIMES_FROM {
        return usual;
    }
    format!("{usual}: this is {times:.1} times the usual, {drawn} in place of {}", exact(typical, "W"))
}

/// Whether the board was asked to wake, and what came of it.
fn asked(seen: &Seen) -> String {
    let run = &seen.analysis.run;
    let fed = seen.lasting(run.duration());
    match run.presses.last() {
        Some(press) => format!(
            "power button marked {}, last at {}; no wake in the {} after it",
            how_often(run.presses.len()),
            seconds(*press),
            seen.lasting(run.end_s - press)
        ),
        None if seen.has_button() => format!("no wake in {fed} of feed; no press of the button is marked"),
        None => format!("no wake in {fed} of feed"),
    }
}
