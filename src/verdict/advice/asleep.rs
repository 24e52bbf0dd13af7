//! What a technician probes on a board that stands by, or draws too much where it does. All common practice at repair
//! benches, with no source.

use super::heat::{WARMS_W, shows};
use super::look_alikes::{excess_attached, what_is_attached};
use crate::verdict::evidence::{answers, most_asleep_w, much_for_standby, rails_may_be_up};
use crate::verdict::kind::Family;
use crate::verdict::pulses::Pulses;
use crate::verdict::seen::Seen;
use crate::verdict::{Class, Direction};

pub(super) fn excess_standby(seen: &Seen, suspect: &str) -> Vec<String> {
    let up = rails_may_be_up(seen).map(|stage| {
        format!("measure the rails, and the processor's reset and clock: at the level of {stage} they may be up, and it held in reset")
    });
    let drawn = seen.last_level().map_or(0.0, |level| level.watts);
    let surplus = drawn - seen.analysis.model.standby.watts.unwrap_or(0.0);
    let scope = scope_a_pulse(seen);
    up.into_iter().chain(scope).chain(surplus_on_always_on(seen, suspect, surplus)).collect()
}

/// Whether a board was asked to wake, or needs nobody to.
fn was_asked(seen: &Seen) -> bool {
    !seen.has_button() || !seen.analysis.run.presses.is_empty()
}

/// What draws from the feed itself, whatever rail is on.
const AT_THE_INPUT: &str = "input capacitors, protection and charger";

/// How to find what draws a surplus of so many watts at standby.
pub(super) fn surplus_on_always_on(seen: &Seen, suspect: &str, surplus: f64) -> [String; 4] {
    // Of a board that boots, or that nobody asked to, it explains no more.
    let in_vain = seen.class() != Class::FullBoot && was_asked(seen);
    let explains = if in_vain { "may explain surplus and no wake" } else { "may carry the surplus" };
    let last = if surplus < WARMS_W {
        "if not, compare millivolts over each rail's coil or sense resistor with a good board, and only then take loads off"
    } else {
        "only then, on a rail that is low or reads far fewer ohms than a good board's, disconnect its loads one by one"
    };
    [
        format!(
            "measure the volts of each always-on rail, on {suspect}: one that is dragged down {explains}"
        ),
        "feed off, capacitors discharged: ohms to ground on the input rail and each always-on rail, against a good board's"
            .into(),
        by_warmth(seen, "a surplus of ", surplus),
        last.into(),
    ]
}

/// The part that draws a surplus by its warmth.
fn by_warmth(seen: &Seen, what: &str, surplus: f64) -> String {
    let watts = format!("{what}{}", seen.watts(surplus, seen.analysis.run.set_v));
    format!(
        "thermal camera ({AT_THE_INPUT}, always-on regulators and what they feed): {}",
        shows(&watts, surplus)
    )
}

pub(super) fn standby_only(seen: &Seen, suspect: Option<&str>) -> Vec<String> {
    let enable = suspect.map(|suspect| format!("then the enable of {suspect}"));
    let by_itself = seen.analysis.model.of_this_board && !seen.has_button();
    let at_a_press = seen.has_button();
    let supplies = match seen.family {
        Family::Panel | Family::SmallComputer if at_a_press => {
            "good boards wait for a person: measure what wakes this one (button, input), then every rail, reset, clock and boot \
             memory"
        }
        Family::Mainboard | Family::Handheld | Family::Any if by_itself => {
            "good boards start by themselves: measure every rail, then what has to start this one and the reset, then clock and \
             boot memory"
        }
        Family::Mainboard => {
            "check the always-on rails, then the button's line at the embedded controller, its supply and its clock"
        }
        Family::Handheld => {
            "check the always-on outputs of the power management, and the button's line down to it"
        }
        Family::Panel => {
            "it should start by itself: measure every rail, then undervoltage lockout and reset, then clock and boot memory"
        }
        Family::SmallComputer => {
            "it should start by itself: measure the volts at its input and every rail, then reset, clock and boot memory"
        }
        Family::Any => "check the always-on rails, and what has to ask the board to wake",
    };
    let much = much_for_standby(seen).then(|| excess_attached(seen, what_is_attached(seen)));
    let mut checks = asked_to_wake(seen);
    checks.extend(much);
    checks.extend(held_off(seen, by_itself));
    let surplus = surplus_of_a_kind(seen);
    // Nobody looks for what keeps a board from waking that was not asked to; and a surplus has one look at its rails.
    let asked = was_asked(seen);
    if asked && (surplus.is_empty() || !seen.has_button()) {
        checks.push(supplies.to_owned());
        checks.extend(enable);
    }
    checks.extend(scope_a_pulse(seen));
    checks.extend(surplus);
    checks
}

/// What a board that starts by itself, and did not, may be told not to.
fn held_off(seen: &Seen, by_itself: bool) -> Option<String> {
    let alone = by_itself || matches!(seen.family, Family::Panel | Family::SmallComputer);
    (alone && !seen.has_button()).then(|| {
        "see whether an enable, a boot jumper or a power-on input holds it off, beside a good board".into()
    })
}

/// Pulses that no good board is known to have.
fn scope_a_pulse(seen: &Seen) -> Option<String> {
    let rhythm = Pulses::at_the_end(seen)?.want_a_scope()?;
    let rails = if seen.has_button() { "the always-on rails" } else { "its first rails" };
    Some(format!(
        "scope {rails} and their enables through a pulse, {}: what comes and goes with it?",
        rhythm.words(seen)
    ))
}

/// How to find what a board without a reference draws asleep beyond what boards of its kind do.
fn surplus_of_a_kind(seen: &Seen) -> Vec<String> {
    let Some(most_w) = most_asleep_w(seen) else { return Vec::new() };
    let drawn = seen.last_level().map_or(0.0, |level| level.watts);
    if drawn < most_w {
        return Vec::new();
    }
    let of_all = "compare with a known-good board of this model asleep, on this supply: that tells a surplus from what is usual";
    let [rails, ohms, ..] = surplus_on_always_on(seen, "the board", drawn);
    // How much of it is a surplus nobody knows.
    let warmth = by_warmth(seen, "most of ", drawn);
    vec![of_all.into(), rails, ohms, warmth]
}

/// Whether the button asks at all, from its contacts to its line.
fn asked_to_wake(seen: &Seen) -> Vec<String> {
    if !seen.has_button() {
        return Vec::new();
    }
    let pressed = !seen.analysis.run.presses.is_empty();
    if answers(seen) {
        return vec![
            "it answers the button: look for what starts and gives up each time (controller, always-on rails, then the first rail \
             that is enabled)"
                .into(),
        ];
    }
    let again = pressed.then(|| "press again, for 5 to 10 s, and watch the amps".to_owned());
    let only_then = if pressed { "" } else { "only if it does not wake at that: " };
    let button = [
        format!("{only_then}bridge the button's contacts"),
        "is the button's board or ribbon plugged in, and does its line go low as it is pressed?".to_owned(),
    ];
    again.into_iter().chain(button).collect()
}

/// Watts that a standby draws beyond the usual, where that is a departure.
pub(in crate::verdict) fn standby_surplus(seen: &Seen) -> Option<f64> {
    let standby = &seen.analysis.model.standby;
    let surplus = seen.departures.iter().find(|departure| {
        let drawn = departure.quantity.ends_with("power") && departure.direction == Direction::Above;
        drawn && departure.phase == standby.name
    })?;
    let volts = if surplus.unit == "A" { seen.analysis.run.set_v } else { 1.0 };
    Some(surplus.measured * volts - standby.watts.unwrap_or(0.0))
}
