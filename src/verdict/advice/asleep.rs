//! What a technician probes on a board that stands by, or draws too much where it does. All common practice at repair
//! benches, with no source.

use super::look_alikes::{excess_attached, what_is_attached};
use crate::units::figures;
use crate::verdict::evidence::{most_asleep_w, much_for_standby, rails_may_be_up};
use crate::verdict::kind::Family;
use crate::verdict::pulses::Pulses;
use crate::verdict::seen::{Load, Seen};
use crate::verdict::{Class, Direction};

pub(super) fn excess_standby(seen: &Seen, suspect: &str) -> Vec<String> {
    let up = rails_may_be_up(seen).map(|stage| {
        format!("measure the rails, and the processor's reset and clock: at the level of {stage} they may be up, and it held in reset")
    });
    let pressed = seen.has_button() && !seen.analysis.run.presses.is_empty();
    let again = pressed.then(|| "press the button again, and watch whether the amps move".to_owned());
    let drawn = seen.last_level().map_or(0.0, |level| level.watts);
    let surplus = drawn - seen.analysis.model.standby.watts.unwrap_or(0.0);
    let scope = scope_a_pulse(seen);
    again.into_iter().chain(up).chain(scope).chain(surplus_on_always_on(seen, suspect, surplus)).collect()
}

/// Whether a board was asked to wake, or needs nobody to.
fn was_asked(seen: &Seen) -> bool {
    !seen.has_button() || !seen.analysis.run.presses.is_empty()
}

/// What draws from the feed itself, whatever rail is on.
const AT_THE_INPUT: &str = "input capacitors, protection and charger";

/// How to find what draws a surplus of so many watts at standby.
pub(super) fn surplus_on_always_on(seen: &Seen, suspect: &str, surplus: f64) -> [String; 5] {
    // Of a board that boots, or that nobody asked to, it explains no more.
    let in_vain = seen.class() != Class::FullBoot && was_asked(seen);
    let explains = if in_vain { "may explain surplus and no wake" } else { "may carry the surplus" };
    let [warmth, last] = find_the_part(seen, surplus);
    [
        format!(
            "measure the volts of each always-on rail, on {suspect}: one that is dragged down {explains}"
        ),
        "feed off, capacitors discharged: ohms to ground on the input rail, and on that rail or each always-on rail".into(),
        look_for_ohms(seen, surplus),
        warmth,
        last,
    ]
}

/// Below this a part hardly gets warm: some 150 K/W of a small part on copper make some twenty kelvin, in watts (common
/// practice, no source).
const WARMS_W: f64 = 0.15;

/// `look there for about 280 Ω at the feed, or 20 Ω at 1 V: that is 49.2 mW`, so that nobody looks for few ohms where there
/// are none.
fn look_for_ohms(seen: &Seen, surplus: f64) -> String {
    /// A core rail, in volts; a converter hands on watts.
    const CORE_V: f64 = 1.0;
    let set_v = seen.analysis.run.set_v;
    let ohms = |volts: f64| volts * volts / surplus.max(f64::MIN_POSITIVE);
    format!(
        "look there for about {} Ω at the feed, or {} at {CORE_V} V: that is {}",
        figures(ohms(set_v), 2),
        Load::rough(ohms(CORE_V)),
        seen.watts(surplus, set_v)
    )
}

/// What finds the part that draws a surplus: its warmth, or of one that warms nothing the current in each rail's path; and
/// what is done last.
fn find_the_part(seen: &Seen, surplus: f64) -> [String; 2] {
    let watts = seen.watts(surplus, seen.analysis.run.set_v);
    if surplus < WARMS_W {
        return [
            format!(
                "no camera or freeze spray shows {watts}: fed, compare millivolts over each rail's coil or sense resistor with a \
                 good board"
            ),
            "only then take loads off that rail one by one: a leaky capacitor or protection part is likelier than a short"
                .into(),
        ];
    }
    [
        format!(
            "thermal camera on {AT_THE_INPUT}, always-on regulators and what they feed: a surplus of {watts} in one part \
             shows there"
        ),
        "only then, on a rail that is low or reads far fewer ohms than a good board's, disconnect its loads one by one"
            .into(),
    ]
}

pub(super) fn standby_only(seen: &Seen, suspect: Option<&str>) -> Vec<String> {
    let enable = suspect.map(|suspect| format!("then the enable of {suspect}"));
    let by_itself = seen.analysis.model.of_this_board && !seen.analysis.model.standby.waits;
    let at_a_press = seen.analysis.model.of_this_board && seen.analysis.model.standby.waits;
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
    let watts = seen.watts(drawn, seen.analysis.run.set_v);
    // How much of it is a surplus nobody knows.
    let warmth = format!(
        "thermal camera on {AT_THE_INPUT}, always-on regulators and what they feed: most of {watts} in one part shows there"
    );
    vec![of_all.into(), rails, ohms, warmth]
}

/// Whether the button asks at all, from its contacts to its line.
fn asked_to_wake(seen: &Seen) -> Vec<String> {
    if !seen.has_button() {
        return Vec::new();
    }
    let pressed = !seen.analysis.run.presses.is_empty();
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
