//! What to mind: the profile's cautions, and those that fit the board and the verdict; what is worst stands first.

use super::asleep::standby_surplus;
use super::checks::running_surplus;
use super::shorts::Warming;
use super::usual::loaded_from_switch_on;
use super::words::Words;
use crate::reference::Profile;
use crate::verdict::Class;
use crate::verdict::kind::Family;
use crate::verdict::seen::Seen;

/// Feed volts above which touching live parts can hurt: the limit of extra-low voltage that is safe in dry conditions,
/// 60 V DC in IEC 61140 (from memory).
const TOUCH_LIMIT_V: f64 = 60.0;

/// From this many watts on a small part gets hot enough to burn: a chip resistor or capacitor of a few square
/// millimetres rises by some hundred kelvin a watt (common practice, no source).
const BURNS_W: f64 = 0.3;

/// From this many watts on a small part chars the board around it within seconds (common practice, no source).
const CHARS_W: f64 = 2.0;

/// From this many watts on a small part can start a fire: a soldering iron holds its heat with as much (common
/// practice, no source).
const FIRE_W: f64 = 10.0;

/// What to mind. `seen` is missing where nothing was fed; `checks` are the steps that the cautions are to fit.
pub(in crate::verdict) fn cautions(
    seen: Option<&Seen>,
    profile: Option<&Profile>,
    checks: &[String],
) -> Vec<String> {
    let told: Vec<String> = profile.map_or_else(Vec::new, |profile| profile.feed.cautions.clone());
    let (of_cells, others): (Vec<String>, Vec<String>) =
        told.iter().cloned().partition(|caution| is_of_a_cell(caution));
    let of_seen =
        |caution: fn(&Seen, &[String]) -> Option<String>| seen.and_then(|seen| caution(seen, &told));
    let first = [of_seen(cell), of_seen(touch)];
    let last = [
        polarity(&told),
        capacitors(&told),
        of_seen(hot),
        of_seen(warmed),
        of_seen(hot_as_it_runs),
        alcohol(&told, checks),
        of_seen(charger),
    ];
    let ours = |cautions: Vec<Option<String>>| cautions.into_iter().flatten().map(|said| sentence(&said));
    let first = of_cells.into_iter().chain(ours(first.into()));
    first.chain(others).chain(ours(last.into())).collect()
}

/// A caution as the profiles have theirs, so that a list of both is in one style: it begins with a capital and ends with a
/// full stop.
fn sentence(said: &str) -> String {
    let mut letters = said.chars();
    let first = letters.next().map(char::to_uppercase);
    first.into_iter().flatten().chain(letters).chain(['.']).collect()
}

fn tells(told: &[String], words: &[&str]) -> bool {
    told.iter().any(|caution| Words::of(caution).any(words))
}

fn is_of_a_cell(caution: &str) -> bool {
    Words::of(caution).any(&["cell", "cells", "pack", "packs", "lithium"])
}

fn cell(seen: &Seen, told: &[String]) -> Option<String> {
    if told.iter().any(|caution| is_of_a_cell(caution)) {
        return None;
    }
    let caution = match seen.family {
        Family::Handheld => {
            "take a lithium cell off the board before you feed it from a supply: charging or reversing it can start a fire"
        }
        _ if seen.at_battery() => {
            "unplug the pack before you feed its connector: a supply must not charge a lithium cell"
        }
        Family::Mainboard => {
            "take a lithium pack off before you work on the board: it may be charged, and it feeds the board by itself"
        }
        Family::Any => "take any lithium cell off the board before you feed it from a supply",
        Family::Panel | Family::SmallComputer => return None,
    };
    Some(caution.into())
}

fn polarity(told: &[String]) -> Option<String> {
    (!tells(told, &["polarity", "reversed", "reverse"]))
        .then(|| "check volts, limit and polarity before the board goes on: reversed feed destroys it".into())
}

fn capacitors(told: &[String]) -> Option<String> {
    (!tells(told, &["capacitor", "capacitors"])).then(|| {
        "capacitors stay charged after the feed is off: let them discharge before you measure ohms, touch or solder"
            .into()
    })
}

/// Burns and fire, by the watts that one part may have; what the leads take of a short is not known, and left in.
fn hot(seen: &Seen, _: &[String]) -> Option<String> {
    let level = seen.last_level()?;
    let surplus = match seen.class() {
        Class::HardShort | Class::PartialShort => level.watts,
        Class::ExcessStandby => level.watts - seen.analysis.model.standby.watts.unwrap_or(0.0),
        // Whether it is a fault is not known, and nobody touches it before that is.
        Class::Inconclusive if loaded_from_switch_on(seen) => level.watts,
        _ => standby_surplus(seen)?,
    };
    let watts = seen.watts(surplus, level.volts);
    let what = if surplus - seen.leads_watts(&level) < BURNS_W {
        return None;
    } else if surplus < CHARS_W {
        "burns skin: look for it without touching"
    } else if surplus < FIRE_W {
        "burns skin and chars the board: feed for seconds, and do not touch"
    } else {
        "can start a fire: lower the limit, feed for seconds, do not leave it alone, and clear the bench around it of all that can burn"
    };
    let leads = match seen.class() {
        Class::HardShort | Class::PartialShort => ", less what the leads take,",
        Class::Inconclusive => ", if a fault takes them there,",
        _ => "",
    };
    Some(format!("up to {watts} in one small part{leads} {what}"))
}

/// Of a short that is fed with more than it was, so that it warms.
fn warmed(seen: &Seen, _: &[String]) -> Option<String> {
    let Warming { volts, current, watts, heat_w, .. } =
        Warming::of(seen).filter(|warming| warming.heat_w >= BURNS_W)?;
    // What is made to be the watts that char is a hair below them as often as above.
    let chars = if heat_w > 0.99 * CHARS_W { " and char the board" } else { "" };
    Some(format!(
        "{volts} V and {current} A are {watts} W, which in one small part burn skin{chars}: for seconds, and do not touch"
    ))
}

/// Of a board that runs, and draws more than good ones.
fn hot_as_it_runs(seen: &Seen, _: &[String]) -> Option<String> {
    let watts = seen.watts(running_surplus(seen)?, seen.analysis.run.set_v);
    Some(format!("the surplus of {watts} burns skin if one small part has it: look for it without touching"))
}

/// Given with the step that uses it, and only then.
fn alcohol(told: &[String], checks: &[String]) -> Option<String> {
    let used = checks.iter().any(|check| Words::of(check).any(&["alcohol"]));
    (used && !tells(told, &["alcohol"])).then(|| {
        "alcohol burns: wet the board with the feed off and nothing hot on it, in fresh air, and feed it only as long as needed".into()
    })
}

/// A charger is a source at the battery connector.
fn charger(seen: &Seen, told: &[String]) -> Option<String> {
    let tells = told.iter().any(|caution| caution.to_lowercase().contains("adapter"));
    (seen.at_battery() && !tells).then(|| {
        "unplug any adapter before you feed the battery side: the board's charger would feed against the supply".into()
    })
}

fn touch(seen: &Seen, _: &[String]) -> Option<String> {
    (seen.analysis.run.set_v > TOUCH_LIMIT_V).then(|| {
        "the feed is above 60 V DC and dangerous to touch: work to your local rules, and with the training that they ask for"
            .into()
    })
}
