//! What a technician usually probes next, by verdict and kind of board. All common practice at repair benches, with no
//! source.

use super::asleep::{excess_standby, standby_only, standby_surplus, surplus_on_always_on};
use super::look_alikes::{excess_attached, limit_too_low, unplug_after, what_is_attached};
use super::shorts::on_the_board;
use super::stalls::{gives_up_in, runs_software_in, stalled};
use crate::verdict::attempts::RISES_S;
use crate::verdict::evidence::{
    FellTo, ends_in_a_spike, fall, lost, only_a_reference_tells, rises_at_the_end, woke_and_stays,
    woke_before,
};
use crate::verdict::kind::Family;
use crate::verdict::limits::{Near, long_try};
use crate::verdict::seen::Seen;
use crate::verdict::{Class, Direction};

/// Usual next steps; `suspect` names the sections that the run points to, and `own` says that the profile has checks of
/// its own, so that only what adds to them is said.
pub(super) fn usual(seen: &Seen, suspect: Option<&str>, own: bool) -> Vec<String> {
    let at = |or: &str| suspect.map_or_else(|| or.to_owned(), str::to_owned);
    match seen.class() {
        Class::NoDraw => no_draw(seen, &at("the input")),
        Class::HardShort | Class::PartialShort => on_the_board(seen, &at(loaded(seen)), own),
        Class::ExcessStandby => excess_standby(seen, &at("the board")),
        Class::StandbyOnly => standby_only(seen, suspect),
        Class::LatchOff | Class::Cycling => {
            what_went_with_it(seen).into_iter().chain(tries(seen, &at("each converter"))).collect()
        }
        Class::Stalled => stalled(seen, suspect, own),
        Class::FullBoot => full_boot(seen, suspect, own),
        Class::DroppedOut => dropped_out(seen, suspect),
        Class::FeedLimited => vec![JUDGE_BY_THAT.into()],
        Class::Inconclusive if limit_too_low(seen).is_some() => vec![JUDGE_BY_THAT.into()],
        Class::Inconclusive => {
            let woke = seen.analysis.path.last().and_then(|last| woke_and_stays(seen, last));
            let look = woke.map(|_| woken().to_vec());
            let look = look.or_else(|| shows_its_level(seen).then(|| vec![LOOK.to_owned()]));
            // Ohms need no feed, and a look does.
            loaded_or_awake(seen)
                .into_iter()
                .chain(look.into_iter().flatten())
                .chain([capture_again(seen)])
                .collect()
        }
    }
}

/// Of a board that is to be captured anew at a higher limit.
const JUDGE_BY_THAT: &str = "then judge the board by that capture, and not by this one";

/// What tells a board that runs, where no reference does.
pub(super) const LOOK: &str =
    "look and listen first: screen, light, fan or console tell a board that runs from one that hangs";

/// What tells of a board that woke and stays at one level, where no reference does.
fn woken() -> [String; 2] {
    [
        LOOK.into(),
        "if it shows nothing: measure each rail with its enable and power-good, then the processor's reset and clock"
            .into(),
    ]
}

/// Where a heavy load is to be looked for if the profile does not say.
fn loaded(seen: &Seen) -> &'static str {
    if woke_before(seen) { "the rails that come up with the wake" } else { "the input rail" }
}

/// The limit that such boards are fed at, as their profile has it, else as it was set.
pub(super) fn usual_limit(seen: &Seen) -> Option<f64> {
    seen.profile.map(|profile| profile.feed.limit.value()).or(seen.analysis.run.limit_a)
}

fn no_draw(seen: &Seen, at: &str) -> Vec<String> {
    let follow = format!(
        "follow the volts through {at}: fuse, reverse-polarity protection, first shunt: where they end is the fault, or what \
         should switch that on"
    );
    let switch = (seen.family == Family::Mainboard)
        .then(|| "look at what switches the input on: charger chip, adapter detect line".to_owned());
    let wants_signal = (seen.family == Family::Mainboard && !seen.at_battery()).then(|| {
        "an adapter inlet may want an identification signal that a lab supply does not give: try the board's own adapter".into()
    });
    wants_signal.into_iter().chain([follow]).chain(switch).collect()
}

/// Ohms before the scope where tries are short, for a coil is easy to reach; last where the converters stay up.
fn tries(seen: &Seen, at: &str) -> Vec<String> {
    let tries = seen.tries();
    if let Some(lasted_s) = long_try(seen) {
        return went_off(seen, lasted_s, at);
    }
    let spike = begin_with(seen);
    let up = tries.is_some_and(|tries| converters_are_up(seen, tries.lasts_s.mean)) || end_in_software(seen);
    let ohms = if up {
        "last, feed off: ohms or diode mode to ground at every converter's coil".to_owned()
    } else {
        "feed off: ohms or diode mode to ground at every converter's coil".to_owned()
    };
    let scope = format!(
        "catch a try with a scope on enable, power-good and output of {at}: look first where one falls with its enable there"
    );
    if up {
        // A short at a coil does not let a board run for seconds.
        return spike.into_iter().chain(runs_for_seconds(seen)).chain([scope, ohms]).collect();
    }
    let unplug = unplug_after(seen);
    [ohms].into_iter().chain(spike).chain([scope]).chain(unplug).collect()
}

/// What to look at first where most tries end in a spike or a rise: what comes on as it begins.
fn begin_with(seen: &Seen) -> Option<String> {
    let (rises, tries) = (rises_at_the_end(seen)?, seen.tries()?);
    let ends = match (rises.is_spike, tries.count) {
        (true, 1) => "a spike ends the try",
        (true, _) => "a spike ends the tries",
        (false, all) if rises.count == all => "every try ends in a rise",
        (false, _) => "most tries end in a rise",
    };
    let after = seen.time(rises.after_s);
    Some(format!("begin with what comes on about {after} after the wake, for {ends}"))
}

/// A rest that lost part of what the board drew before it tried.
fn what_went_with_it(seen: &Seen) -> Option<String> {
    let lost = lost(seen).filter(|_| matches!(seen.class(), Class::LatchOff | Class::DroppedOut))?;
    Some(format!(
        "measure each always-on rail after it went off, against before its first start: what drew the {lost} went off as well"
    ))
}

/// Whether the converters of a board stay up in tries of so many seconds: a short at one of their coils would end those
/// sooner.
fn converters_are_up(seen: &Seen, lasts_s: f64) -> bool {
    /// Converters that start at all are up after so many seconds (common practice, no source).
    const UP_S: f64 = 3.0;
    /// ... and those of a board that got past its first stage, in which they start, after so many more.
    const UP_AFTER_THE_FIRST_S: f64 = 2.0;
    let first_s = seen.analysis.model.stages.first().and_then(|first| first.duration);
    let since_s = lasts_s - first_s.map_or(lasts_s, |first| first.typical);
    let later = seen.ends.is_some_and(|ends| ends.first > 0) && since_s >= UP_AFTER_THE_FIRST_S;
    lasts_s >= UP_S || (later && !ends_in_a_spike(seen))
}

/// Whether the tries end in a stage that runs software, after others, and not because something comes on.
fn end_in_software(seen: &Seen) -> bool {
    /// A processor that starts has said something, or tried to, after so many seconds (common practice, no source).
    const SAYS_SOMETHING_S: f64 = 1.0;
    let Some(ends) = seen.ends.filter(|ends| ends.told() && runs_software_in(seen, ends.last)) else {
        return false;
    };
    let begins_s = seen.usually_begins_s(ends.last);
    let lasting = seen.tries().is_some_and(|tries| tries.lasts_s.mean - begins_s >= SAYS_SOMETHING_S);
    lasting && !ends_in_a_spike(seen)
}

/// What to try on a board whose converters stay up in its tries: what the stage does that they end in, or at the step into,
/// else its software.
fn runs_for_seconds(seen: &Seen) -> Vec<String> {
    let stage = seen.ends.map(|ends| ends.into.unwrap_or(ends.last));
    let of_stage = stage.and_then(|stage| gives_up_in(seen, stage));
    of_stage.map_or_else(
        || {
            vec!["the converters are up for seconds: look at console or screen; then feed off, put in storage with a known-good image, and repeat".into()]
        },
        Vec::from,
    )
}

/// A board without a reference that was on for as long as a boot takes, and went off: what ran, and how it went.
fn went_off(seen: &Seen, lasted_s: f64, place: &str) -> Vec<String> {
    let watts = seen.attempts.last().map_or(0.0, |try_| try_.peak_a.value() * seen.analysis.run.set_v);
    let showed = "ask what it showed as it went: an orderly shutdown looks the same".to_owned();
    let cooler = cooler(seen, watts);
    let camera = format!("thermal camera while it runs, up to {} after its wake", seen.time(lasted_s));
    let scope = format!("then a scope on rails, enables and power-good of {place} as it goes off");
    let ohms = "last, feed off: ohms or diode mode to ground at every converter's coil".to_owned();
    [showed].into_iter().chain(cooler).chain([camera, scope, ohms]).collect()
}

/// Where a board makes enough heat to need it: that what carries it off sits and turns.
fn cooler(seen: &Seen, watts: f64) -> Option<String> {
    /// Boards that draw less are built without a fan, and mostly without a heatsink (common practice, no source).
    const COOLED_W: f64 = 5.0;
    let cooler = match seen.family {
        Family::Handheld => "see that shields and heat spreaders sit as they should, before it runs again",
        _ if watts < COOLED_W => return None,
        _ => "see that cooler or heatsink sits tight and the fan turns, before it runs again",
    };
    Some(cooler.into())
}

fn full_boot(seen: &Seen, suspect: Option<&str>, own: bool) -> Vec<String> {
    let mut checks = departing(seen, suspect);
    if checks.is_empty() {
        checks.extend(near(seen));
        if !own {
            checks.push(works(seen));
        }
    }
    checks.extend(run_longer(seen));
    checks
}

/// What settles whether a stage that is outside its band, and no departure, is as it should be.
fn near(seen: &Seen) -> Option<String> {
    let near = Near::of_a_boot(seen)?;
    let look = match near.departure.direction {
        Direction::Below => "see what is not attached or does not run",
        Direction::Above => "see what is attached that good boards were without",
        Direction::Longer | Direction::Shorter => "repeat",
    };
    Some(format!(
        "{}: {look}, and compare with a good board on this supply (the same things attached)",
        near.how()
    ))
}

/// What to do about a board that boots, but not as good boards do.
fn departing(seen: &Seen, suspect: Option<&str>) -> Vec<String> {
    let model = &seen.analysis.model;
    if let Some(surplus) = standby_surplus(seen) {
        let off = excess_attached(seen, what_is_attached(seen));
        let checks = surplus_on_always_on(seen, suspect.unwrap_or("the board"), surplus);
        return std::iter::once(off).chain(checks).collect();
    }
    if let Some(suspect) = suspect {
        return vec![format!("it boots, but not as good boards do: look at {suspect} first")];
    }
    let idle = seen.departures.iter().find(|departure| {
        let running = model.stages.last().is_some_and(|stage| stage.name == departure.phase);
        running && departure.quantity.ends_with("power") && departure.direction == Direction::Below
    });
    if idle.is_some() {
        return vec![
            "see that all that belongs there is attached and runs (fan, display, drive, radio): what does not run draws nothing".into(),
            "then look for a section or a rail that stays off, beside a good board on this supply".into(),
        ];
    }
    let other = seen.departures.first().map(|departure| {
        // What is taken off draws less still.
        if departure.unit == "A" && departure.direction == Direction::Below {
            return format!(
                "{} draws too little: see what is not attached, then which of its rails does not come up, beside a good board",
                departure.phase
            );
        }
        format!(
            "{} is not as on good boards: feed off, take off what is attached, repeat, and compare it with a good board on this supply",
            departure.phase
        )
    });
    other.into_iter().collect()
}

/// Some seconds at the running level are no proof of a repair.
fn run_longer(seen: &Seen) -> Option<String> {
    /// What fails with heat, or under load, often does so within minutes only (common practice, no source).
    const LONG_S: f64 = 60.0;
    let ran = seen.last_level()?;
    (ran.duration() < LONG_S).then(|| {
        format!(
            "it was seen to run for {} only: let it run for minutes, under load, before you call it sound",
            seen.span(ran.start_s, ran.end_s)
        )
    })
}

fn works(seen: &Seen) -> String {
    let skipped = seen.profile.is_some_and(|profile| {
        let point = seen.feed_point.as_deref().unwrap_or_default();
        profile
            .power_path
            .iter()
            .any(|path| path.skipped_from.iter().any(|from| from.eq_ignore_ascii_case(point)))
    });
    let but =
        Near::of_a_boot(seen).map_or_else(String::new, |near| format!(", but for {}", near.departure.phase));
    if skipped {
        format!(
            "as far as amps tell, what is fed from this point works{but}: look at what the feed point skips"
        )
    } else {
        format!(
            "as far as amps tell, what the supply feeds works{but}: look at signals, connectors and what is attached in use"
        )
    }
}

fn dropped_out(seen: &Seen, suspect: Option<&str>) -> Vec<String> {
    let Some(fall) = fall(seen) else { return Vec::new() };
    let warm = "repeat cold, then warm at once: a warm run that falls sooner points to heat, the same time to what it does then";
    let cooler = cooler(seen, fall.from_a * fall.from_v);
    let camera = format!("thermal camera while it runs, up to the fall at {}", seen.in_the_log(fall.at_s));
    let place = suspect.unwrap_or("the board");
    let watch = match fall.to {
        FellTo::Standby | FellTo::Little | FellTo::More => {
            format!(
                "scope rails, power-good and enables of {place} through the fall: look first where one goes with its enable \
                 still there"
            )
        }
        FellTo::BelowStandby | FellTo::Nothing => format!(
            "the standby went as well: look at {place} for a protection that opened, a fuse or a bad joint"
        ),
    };
    let again = if seen.has_button() && seen.analysis.run.presses.is_empty() {
        "press the button; if nothing stirs, switch the feed off and on, and press: a latch lets go only then"
    } else if seen.has_button() {
        "press the button again; if nothing stirs, switch the feed off and on, and press: a latch lets go only then"
    } else {
        "switch the feed off and on: a latch lets go only then"
    };
    let showed = "ask what it showed as it went: an orderly shutdown looks the same";
    let went = what_went_with_it(seen);
    cooler.into_iter().chain([camera, again.into(), showed.into(), warm.into(), watch]).chain(went).collect()
}

/// Whether a steady load is there from switch-on of a board that no reference tells of.
pub(in crate::verdict) fn loaded_from_switch_on(seen: &Seen) -> bool {
    let last = seen.analysis.path.last().filter(|_| {
        seen.profile.is_none() && seen.class() == Class::Inconclusive && seen.analysis.run.switch_on_seen
    });
    let steady = last.and_then(|last| seen.analysis.pieces.get(last.to - 1));
    steady.is_some_and(|steady| {
        let from_switch_on = steady.start_s - seen.analysis.run.start_s < RISES_S;
        from_switch_on && steady.watts > seen.analysis.model.standby.high
    })
}

/// A steady load that is there from switch-on may be a short, where there is no reference to tell.
fn loaded_or_awake(seen: &Seen) -> Option<String> {
    loaded_from_switch_on(seen).then(|| {
        "with the feed off, measure ohms to ground on the input before you feed it any longer: the load is steady from \
         switch-on on"
            .into()
    })
}

/// Most boards are up, or stuck, after this many seconds (common practice, no source).
const LONG_ENOUGH_S: f64 = 45.0;

/// How a capture must be for this board to show its way.
fn capture_again(seen: &Seen) -> String {
    let woke = seen.analysis.path.last().and_then(|last| woke_and_stays(seen, last));
    let long = seen.analysis.run.duration() > LONG_ENOUGH_S;
    let needed_s = needed_s(seen);
    let seen_enough = woke.is_some() || long || shows_its_level(seen);
    if seen.profile.is_none() && seen_enough {
        return "capture known-good boards of this model and learn a profile from them (`feedtale learn`): without one, no \
                more can be said"
            .into();
    }
    if shows_all_there_is(seen, needed_s.unwrap_or_default()) {
        return "another capture alike would show the same: measure the rails, and compare with a known-good board on this \
                supply at this limit"
            .into();
    }
    let pressed = !seen.analysis.run.presses.is_empty();
    let from = match seen.has_button() {
        true if pressed || long => "the press of the button",
        true => "a press of the power button, and mark that",
        false => "switch-on",
    };
    let what = match needed_s {
        Some(needed_s) => format!("for {:.0} s after {from}", (needed_s / 5.0).ceil() * 5.0),
        None if long => format!("mark {from}: this log is long enough"),
        None => format!("for a minute or more after {from}"),
    };
    if !seen.analysis.run.switch_on_seen {
        return format!("capture again from before switch-on, and {what}");
    }
    // This log does begin before it.
    if what.starts_with("for") {
        format!("capture again, {what}")
    } else {
        format!("capture again, and {what}")
    }
}

/// Whether a board without a reference was seen from switch-on, and for long enough to be said to be up or loaded: what it
/// then does is for an eye or a reference, and not for another capture alike.
fn shows_its_level(seen: &Seen) -> bool {
    /// What a board draws is a level of its own by then (common practice, no source).
    const SHOWN_S: f64 = 20.0;
    let run = &seen.analysis.run;
    let awake = seen.analysis.path.last().is_some_and(|last| only_a_reference_tells(seen, last));
    awake && seen.tries().is_none() && run.switch_on_seen && run.duration() >= SHOWN_S
}

/// How long a good board of this model may take to come up and show its running level, in seconds.
fn needed_s(seen: &Seen) -> Option<f64> {
    /// Time at the running level that shows it, with a margin for the person, in seconds.
    const MARGIN_S: f64 = 10.0;
    let spans = seen.analysis.model.stages.iter().filter_map(|stage| stage.duration).map(|span| span.high);
    let stages_s: f64 = spans.sum();
    (seen.analysis.model.of_this_board && stages_s > 0.0).then_some(stages_s + MARGIN_S)
}

/// Whether the run was seen from switch-on, asked, and for long enough.
fn shows_all_there_is(seen: &Seen, needed_s: f64) -> bool {
    let run = &seen.analysis.run;
    let asked = !seen.has_button() || !run.presses.is_empty();
    run.switch_on_seen && asked && run.duration() > LONG_ENOUGH_S.max(needed_s)
}
