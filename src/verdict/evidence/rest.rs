//! A board that does not wake.

use super::to_the_end;
use crate::units::{figures, how_often};
use crate::verdict::align::Step;
use crate::verdict::seen::{Seen, exact, range, seconds, volts};

/// Standby from this many times the usual one on is said as so many times.
const TIMES_FROM: f64 = 1.5;

pub(super) fn no_draw(seen: &Seen, last: &Step) -> Vec<String> {
    let drawn = figures(nothing_below(seen, last) * 1e3, 1);
    vec![
        format!(
            "feed present at {} from {} on",
            volts(last.stretch.volts),
            seconds(seen.analysis.run.start_s)
        ),
        format!(
            "mean current under {drawn} mA, which is as far as this supply can tell, over {}",
            seen.lasting(last.stretch.duration())
        ),
        asked(seen),
    ]
}

/// What the current is below for certain, in amps.
fn nothing_below(seen: &Seen, last: &Step) -> f64 {
    /// Standard deviations that hardly any mean is off by.
    const CERTAIN: f64 = 3.0;
    let updates = last.stretch.duration() / seen.readout.update_s();
    last.stretch.amps.max(0.0) + CERTAIN * seen.readout.uncertainty_a(updates)
}

pub(super) fn at_standby(seen: &Seen, last: &Step) -> Vec<String> {
    vec![to_the_end(seen, last), against_usual(seen, last), asked(seen)]
}

fn against_usual(seen: &Seen, last: &Step) -> String {
    let standby = &seen.analysis.model.standby;
    let stretch = &last.stretch;
    let drawn = seen.watts(stretch.watts, stretch.volts);
    let first = seen.analysis.model.stages.first().filter(|_| seen.analysis.model.of_this_board);
    let Some(typical) = standby.watts else {
        if let Some(first) = first {
            return format!(
                "{drawn}; good boards draw {} in {}, their first stage",
                exact(first.watts, "W"),
                first.name
            );
        }
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
    let low = seen.reference_at(&standby.name).map_or(0.0, |(phase, factor)| phase.mean_power.low * factor);
    let less = if stretch.watts < low { ": this is less" } else { "" };
    let band = range(&amps(low), &amps(standby.high));
    let usual = format!("good boards stand by at {} ({band}) at these volts{less}", amps(typical));
    let times = stretch.watts / typical.max(1e-9);
    if times < TIMES_FROM {
        return usual;
    }
    format!(
        "{usual}: this is {} times the usual, {drawn} in place of {}",
        figures(times, 2),
        exact(typical, "W")
    )
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
