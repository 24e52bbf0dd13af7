//! Reasons that look like a fault and are not, each only where this capture leaves it open. All common practice at
//! repair benches, with no source unless one is named.

use super::shorts::{half_the_limit_of_a_part, leads, may_charge};
use super::toss_up::measures_the_feed;
use crate::units::{figures, volts_as_set};
use crate::verdict::Class;
use crate::verdict::evidence::{fall, woke_before};
use crate::verdict::kind::Family;
use crate::verdict::presses::{Follows, follows, last_in_vain, unfed};
use crate::verdict::seen::{Load, Seen, exact, volts};

/// Share of the feed that leads may take before a board minds.
const LEADS_MATTER: f64 = 0.02;

/// Largest bulk capacitance on a board's input, in farads: a big audio or motor board has some ten millifarads.
const BULK_F: f64 = 0.01;

/// What to rule out before the board is suspected.
pub(super) fn look_alikes(seen: &Seen) -> Vec<String> {
    let first = [not_connected(seen)].into_iter().flatten().chain(leads(seen)).chain(may_charge(seen));
    let first = first.chain(half_the_limit_of_a_part(seen));
    // A surplus that is attached may be what keeps the board asleep, and an open lead is before its button.
    let excess = is(seen, &[Class::ExcessStandby]);
    let pressed = not_pressed(seen).filter(|_| is(seen, &[Class::NoDraw]) && !draws_before_its_press(seen));
    let all = [
        pressed,
        limit_too_low(seen),
        thin_leads(seen),
        inrush(seen),
        latch_clears(seen),
        load_attached(seen),
        not_pressed(seen).filter(|_| excess),
    ];
    first.chain(all.into_iter().flatten()).collect()
}

/// What is done first on a board that stands by, and was not seen to be asked for more.
pub(super) fn press_at_first(seen: &Seen) -> Option<String> {
    not_pressed(seen).filter(|_| is(seen, &[Class::StandbyOnly]))
}

/// What is done last on a board that draws nothing though good ones do before any press: what does not even stand by hardly
/// sees its button.
pub(super) fn press_at_last(seen: &Seen) -> Option<String> {
    not_pressed(seen).filter(|_| draws_before_its_press(seen))
}

fn draws_before_its_press(seen: &Seen) -> bool {
    is(seen, &[Class::NoDraw]) && seen.analysis.model.standby.watts.is_some()
}

fn is(seen: &Seen, classes: &[Class]) -> bool {
    classes.contains(&seen.class())
}

fn not_connected(seen: &Seen) -> Option<String> {
    let point = seen.feed_point.as_deref().unwrap_or("feed point");
    (is(seen, &[Class::NoDraw]) && !measures_the_feed(seen)).then(|| {
        format!("measure the volts, and their polarity, on the board side of the {point}: a lead or contact may be open")
    })
}

fn not_pressed(seen: &Seen) -> Option<String> {
    let asleep = is(seen, &[Class::NoDraw, Class::StandbyOnly, Class::ExcessStandby]);
    (asleep && seen.has_button() && seen.analysis.run.presses.is_empty()).then(|| {
        let fed = if unfed(seen).is_some() { " with the output on" } else { "" };
        format!(
            "press the power button briefly{fed}, mark the press and capture again; only if nothing moves, hold it for 5 to 10 s"
        )
    })
}

pub(super) fn pack_lines(seen: &Seen) -> Vec<String> {
    let asleep = is(seen, &[Class::StandbyOnly]);
    if !asleep || !seen.at_battery() {
        return Vec::new();
    }
    let [line, instead] = match seen.family {
        Family::Handheld => [
            "a handheld fed at its battery contacts may wait for the cell's identification or temperature line: give it \
             what the good boards had",
            "or take the supply off there and feed it where the charger goes in, with that inlet's volts set before",
        ],
        _ => [
            "a board fed at its battery connector may not wake without the pack's data or detect line: give it what the \
             good boards had",
            "or take the supply off there and feed the adapter inlet, with that inlet's volts set before",
        ],
    };
    vec![line.into(), instead.into()]
}

/// Whether the readings, or the reference, leave it open that the supply's limit stops the board.
pub(in crate::verdict) fn limit_may_stop(seen: &Seen) -> bool {
    let (analysis, run) = (seen.analysis, &seen.analysis.run);
    let Some(limit) = run.limit_a else { return false };
    let need = analysis.model.peak_w.map(|peak| peak / run.set_v);
    let too_low = need.is_some_and(|need| need > limit);
    let sags = seen.tries().is_some_and(|tries| !seen.holds(tries.lowest_v));
    match seen.class() {
        // A board that ran had enough, until its feed gave way.
        Class::DroppedOut => fall(seen).is_some_and(|fall| !seen.holds(fall.lowest_v)),
        // With more amps than a good board ever asks for nobody is starved, and what is heavy before the wake is no boot.
        Class::PartialShort => too_low && woke_before(seen),
        Class::FeedLimited => too_low || run.nears_limit(run.highest_a) || (need.is_none() && sags),
        // What a limit holds back stays at it.
        Class::Stalled => run.nears_limit(run.highest_a) && (need.is_none() || too_low),
        // A limit that a good board boots at is met by a fault, and raising it feeds that.
        _ if need.is_some() && seen.profile.is_some_and(|known| limit >= known.feed.limit.value()) => {
            too_low && comes_near(run.highest_a, limit)
        }
        _ => (too_low && (comes_near(run.highest_a, limit) || sags)) || run.nears_limit(run.highest_a),
    }
}

/// Whether a peak of the limit may be behind what was read: of one that lasts half as long as a reading is averaged over,
/// half is read.
fn comes_near(highest_a: f64, limit_a: f64) -> bool {
    const AVERAGED: f64 = 0.5;
    highest_a >= AVERAGED * limit_a
}

pub(super) fn limit_too_low(seen: &Seen) -> Option<String> {
    let concerned = [
        Class::LatchOff,
        Class::Cycling,
        Class::FeedLimited,
        Class::Stalled,
        Class::DroppedOut,
        Class::PartialShort,
    ];
    // Tries that are too few for a verdict may be starved ones.
    let few =
        seen.class() == Class::Inconclusive && seen.tries().is_some_and(|tries| !seen.holds(tries.lowest_v));
    if !(few || is(seen, &concerned)) || !limit_may_stop(seen) {
        return None;
    }
    let limit = seen.analysis.run.limit_a?;
    let advised = seen.profile.map(|profile| profile.feed.limit.value()).filter(|advised| *advised > limit);
    let to = advised.map_or("to what its boot needs".into(), |advised| format!("to {}", exact(advised, "A")));
    if seen.class() == Class::PartialShort {
        return Some(format!(
            "the limit of {} may be too low: raise it {to} for seconds only, and watch for heat",
            exact(limit, "A")
        ));
    }
    Some(format!(
        "raise the current limit from {} {to}, and repeat before you suspect the board",
        exact(limit, "A")
    ))
}

fn thin_leads(seen: &Seen) -> Option<String> {
    let concerned = [Class::LatchOff, Class::Cycling, Class::FeedLimited, Class::DroppedOut];
    let run = &seen.analysis.run;
    // A start draws most at its peak; a board that runs may fall long after that.
    let of_fall = fall(seen).filter(|_| seen.class() == Class::DroppedOut).map(|fall| fall.highest_a);
    let of_tries = seen.tries().map(|tries| tries.peak_a.high);
    let drawn_a = of_fall.or(of_tries).unwrap_or(run.highest_a);
    let drop_v = drawn_a * Load::THIN_LEADS_OHM;
    let unexplained = seen.class() == Class::FeedLimited && !limit_may_stop(seen);
    let when = if seen.class() == Class::DroppedOut { "as it runs" } else { "as it starts" };
    (is(seen, &concerned) && (unexplained || drop_v >= LEADS_MATTER * run.set_v)).then(|| {
        let (drawn, left_v) = (seen.amps(drawn_a), run.set_v - drop_v);
        match seen.profile.map(|profile| profile.feed.lowest.value()).filter(|least| left_v < *least) {
            Some(least) => format!(
                "use short, thick leads, and measure at the board: at {drawn} thin ones leave it {}, below its least of {}",
                volts(left_v),
                volts_as_set(least)
            ),
            None => format!(
                "use short, thick leads and measure volts at the board {when}: at {drawn} thin ones take about {} V unseen",
                figures(drop_v, 2)
            ),
        }
    })
}

fn inrush(seen: &Seen) -> Option<String> {
    let last = seen.analysis.path.last()?;
    let limit = seen.analysis.run.limit_a?;
    let charges_s = BULK_F * seen.analysis.run.set_v / limit;
    let lasted = last.stretch.duration();
    (is(seen, &[Class::HardShort, Class::PartialShort]) && lasted < charges_s.max(0.5)).then(|| {
        format!(
            "seen for {} only: large input capacitors charge for up to {} at this limit; repeat and see whether the volts rise",
            seen.time(lasted),
            exact(charges_s, "s")
        )
    })
}

fn latch_clears(seen: &Seen) -> Option<String> {
    if !is(seen, &[Class::LatchOff]) || tries_at_each_press(seen) {
        return None;
    }
    if let Some(press) = last_in_vain(seen) {
        return Some(format!(
            "a latch is likely, for the press at {} did nothing: switch the feed off for ten seconds and on, and press again",
            seen.mark(press)
        ));
    }
    Some(if seen.has_button() {
        let press = if seen.analysis.run.presses.is_empty() { "press" } else { "press again" };
        format!(
            "{press} with the feed left on; if nothing stirs, switch it off for ten seconds: a latch lets go only without feed"
        )
    } else {
        "switch the feed off for some ten seconds and on: a latch lets go only without feed".into()
    })
}

/// Whether a board that is fed throughout tried again at a second press, which no latch lets it.
fn tries_at_each_press(seen: &Seen) -> bool {
    seen.tries().is_some_and(|tries| tries.count > 1) && follows(seen) == Follows::EachItsPress
}

/// What can be unplugged, after the board itself: for one whose trips its converters explain best.
pub(super) fn unplug_after(seen: &Seen) -> Option<String> {
    (is(seen, &[Class::LatchOff]) && tries_at_each_press(seen)).then(|| unplug(what_is_attached(seen)))
}

fn unplug(what: &str) -> String {
    format!("feed off, unplug what can be unplugged ({what}), and try again")
}

/// What draws beside the board. The cautions have the cell out before anything is fed: it is looked for, and not taken off.
pub(super) fn excess_attached(seen: &Seen, what: &str) -> String {
    let packs = matches!(seen.family, Family::Mainboard | Family::Handheld) && !seen.at_battery();
    let battery = if packs { "see that the battery is off, " } else { "" };
    format!("feed off, {battery}take off what may still be attached ({what}), and compare standby again")
}

/// What is usually attached to boards of that kind.
pub(super) fn what_is_attached(seen: &Seen) -> &'static str {
    match seen.family {
        // A board that is fed at its charger input has nothing else there.
        Family::Mainboard if seen.at_battery() => "drives, what is in its ports, charger input",
        Family::Mainboard => "drives, what is in its ports",
        Family::Handheld => "display, camera and other flex cables",
        Family::SmallComputer => "whatever is plugged into its ports and pins",
        Family::Panel => "bus and expansion modules, and whatever its outputs feed",
        Family::Any => "cables, cards, modules",
    }
}

fn load_attached(seen: &Seen) -> Option<String> {
    let what = what_is_attached(seen);
    match seen.class() {
        Class::HardShort | Class::PartialShort => {
            Some(format!("switch off, take off every load that is still attached ({what}), and repeat"))
        }
        Class::ExcessStandby => {
            let pressed = seen.has_button() && !seen.analysis.run.presses.is_empty();
            let press = if pressed { ", then press again" } else { "" };
            Some(excess_attached(seen, what) + press)
        }
        Class::LatchOff if tries_at_each_press(seen) => None,
        Class::LatchOff | Class::Cycling => Some(unplug(what)),
        _ => None,
    }
}
