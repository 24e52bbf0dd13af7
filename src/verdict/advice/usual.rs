//! What a technician usually probes next, by verdict and kind of board. All common practice at repair benches, with no
//! source.

use crate::units::figures;
use crate::verdict::Class;
use crate::verdict::attempts::RISES_S;
use crate::verdict::evidence::{FellTo, Liveliness, fall, liveliness, woke_before};
use crate::verdict::kind::Family;
use crate::verdict::seen::{Seen, seconds};

/// Usual next steps; `suspect` names the sections that the run points to, and `own` says that the profile has checks of
/// its own, so that only what adds to them is said.
pub(super) fn usual(seen: &Seen, suspect: Option<&str>, own: bool) -> Vec<String> {
    let at = |or: &str| suspect.map_or_else(|| or.to_owned(), str::to_owned);
    match seen.class() {
        Class::NoDraw => vec![format!(
            "follow the feed through {}: fuse, reverse-polarity protection, first shunt; where the volts end is the fault",
            at("the input")
        )],
        Class::HardShort => hard_short(seen, &at(loaded(seen))),
        Class::PartialShort => partial_short(seen, &at(loaded(seen))),
        Class::ExcessStandby => vec![format!(
            "find which always-on rail carries the surplus, on {}: look for warmth, then lift its loads one by one",
            at("the board")
        )],
        Class::StandbyOnly => standby_only(seen, suspect),
        Class::LatchOff => vec![format!(
            "catch the try with a scope on enable, power-good and output of {}: the rail that falls first, or never \
             comes, is the one; measure its output to ground with the feed off",
            at("each converter")
        )],
        Class::Cycling => vec![format!(
            "watch reset, power-good and the rails of {} through one try: which falls first, or is missing",
            at("each converter")
        )],
        Class::Stalled => stalled(seen, suspect, own),
        Class::FullBoot => full_boot(seen, suspect, own),
        Class::DroppedOut => dropped_out(seen, suspect),
        Class::FeedLimited => {
            vec![
                "what the board does with the higher limit is its own doing: judge it by that capture".into(),
            ]
        }
        Class::Inconclusive => loaded_or_awake(seen).into_iter().chain([capture_again(seen)]).collect(),
    }
}

/// Where a heavy load is to be looked for if the profile does not say.
fn loaded(seen: &Seen) -> &'static str {
    if woke_before(seen) { "the rails that come up with the wake" } else { "the input rail" }
}

fn hard_short(seen: &Seen, suspect: &str) -> Vec<String> {
    /// Below this a hand-held meter's own leads read about as much, in ohms.
    const LEADS_OHM: f64 = 0.5;
    let ohms =
        seen.analysis.path.last().map(|step| step.stretch.volts.abs() / step.stretch.amps.abs().max(1e-6));
    let expected = ohms.map_or_else(String::new, |ohms| {
        let leads = if ohms < LEADS_OHM { ", which is what a meter's own leads read" } else { "" };
        format!("; about {} Ω or less is to be found{leads}", figures(ohms, 2))
    });
    vec![
        format!(
            "with the feed off and the capacitors discharged, measure ohms to ground on {suspect} and on what hangs \
             there{expected}"
        ),
        "to find the part, feed the shorted rail itself at no more than 1 V and raise the limit from 0.1 A on until a part \
         warms, a watt or two: thermal camera, freeze spray, or a film of alcohol that dries there first"
            .into(),
    ]
}

fn partial_short(seen: &Seen, suspect: &str) -> Vec<String> {
    let watts = seen.analysis.path.last().map_or(0.0, |step| step.stretch.watts);
    let volts = seen.analysis.run.set_v;
    vec![
        format!(
            "with the feed off and the capacitors discharged, measure ohms to ground on {suspect}, clamp diodes and \
             capacitors included; ohms far above what the volts and amps give point to a converter or chip that draws only when fed"
        ),
        format!(
            "{} heat one part or a few: find them within seconds with a thermal camera or freeze spray, at the lowest volts \
             and limit that show it",
            seen.watts(watts, volts)
        ),
    ]
}

fn standby_only(seen: &Seen, suspect: Option<&str>) -> Vec<String> {
    let rails = suspect.map_or_else(String::new, |suspect| format!(", then the enable of {suspect}"));
    vec![match seen.family {
        Family::Mainboard => format!(
            "check the always-on rails, then the button's line at the embedded controller, its supply and its clock{rails}"
        ),
        Family::Handheld => format!(
            "check the always-on outputs of the power management, and the button's line down to it{rails}"
        ),
        Family::Panel => format!(
            "it should start by itself: check the undervoltage lockout and the reset, and what holds them{rails}"
        ),
        Family::SmallComputer => {
            format!("it should start by itself: check the input volts at the board and the reset line{rails}")
        }
        Family::Any => format!("check the always-on rails, and what has to ask the board to wake{rails}"),
    }]
}

fn stalled(seen: &Seen, suspect: Option<&str>, own: bool) -> Vec<String> {
    let analysis = seen.analysis;
    let last = analysis.path.last();
    let stage = last.and_then(|step| step.state.stage());
    let at = suspect.map_or_else(String::new, |suspect| format!(" in {suspect}"));
    if stage == Some(0) && !own {
        return vec![format!("measure every rail{at}: the one that is missing or low names its regulator")];
    }
    let mut checks = vec![match last.and_then(|step| liveliness(seen, step)) {
        Some(Liveliness::Flat) => format!(
            "it hangs without working: check clock, reset and supplies{at}, and look for activity on the memory's bus"
        ),
        Some(Liveliness::Usual | Liveliness::Lively) => format!(
            "it keeps working without getting on: look at its diagnostic output or console for what it waits for or \
             repeats, then at the data lines{at}"
        ),
        None => {
            format!("check clock, reset and supply{at}, and compare bus activity with a board that goes on")
        }
    }];
    if !own {
        checks.extend(without_modules(seen, stage));
    }
    checks
}

/// Plug-in parts that may hold a board up, in words that suit the kind of board.
fn without_modules(seen: &Seen, stage: Option<usize>) -> Option<String> {
    let late = stage.is_some_and(|stage| stage + 1 == seen.analysis.model.last());
    match seen.family {
        Family::Mainboard => Some(
            "if memory or storage sits in sockets, try without storage and with one known-good memory module"
                .into(),
        ),
        Family::Panel => Some("take off bus and expansion modules and try again".into()),
        Family::SmallComputer if late => Some("try other storage with known-good software".into()),
        Family::Handheld if late => {
            Some("try to load its software anew before soldering, if its data may be lost".into())
        }
        _ => None,
    }
}

fn full_boot(seen: &Seen, suspect: Option<&str>, own: bool) -> Vec<String> {
    if let Some(suspect) = suspect {
        return vec![format!("it boots, but not as good boards do: look at {suspect} first")];
    }
    if own {
        return Vec::new();
    }
    let skipped = seen.profile.is_some_and(|profile| {
        let point = seen.feed_point.as_deref().unwrap_or_default();
        profile
            .power_path
            .iter()
            .any(|path| path.skipped_from.iter().any(|from| from.eq_ignore_ascii_case(point)))
    });
    vec![if skipped {
        "what draws from this feed point on does its part: look at what the feed point skipped".into()
    } else {
        "what the supply feeds does its part: look at signals, connectors and what is attached in use".into()
    }]
}

fn dropped_out(seen: &Seen, suspect: Option<&str>) -> Vec<String> {
    let Some(fall) = fall(seen) else { return Vec::new() };
    let ran = seconds(fall.ran_s);
    let warm = format!(
        "repeat from cold and compare: a fall later than {ran} from cold, or sooner from warm, points to heat; the same time \
         points to what the board does then"
    );
    let place = suspect.unwrap_or("the board");
    let watch = match fall.to {
        FellTo::Standby | FellTo::Little | FellTo::More => {
            format!("watch the rails and power-good of {place} through the fall, the first to go is the one")
        }
        FellTo::BelowStandby | FellTo::Nothing => format!(
            "the standby went as well: look at {place} for a protection that opened, a fuse or a bad joint"
        ),
    };
    vec![watch, warm]
}

/// A steady load that is there from switch-on may be a short, where there is no reference to tell.
fn loaded_or_awake(seen: &Seen) -> Option<String> {
    let last = seen.analysis.path.last().filter(|_| seen.profile.is_none())?;
    let steady = seen.analysis.pieces.get(last.to - 1)?;
    let from_switch_on = steady.start_s - seen.analysis.run.start_s < RISES_S;
    (from_switch_on && steady.watts > seen.analysis.model.standby.high).then(|| {
        "with the feed off, measure ohms to ground on the input before you feed it any longer: the load is steady from \
         switch-on on"
            .into()
    })
}

/// How long a capture must be for this board to show its way.
fn capture_again(seen: &Seen) -> String {
    /// Time at the running level that shows it, with a margin for the person, in seconds.
    const MARGIN_S: f64 = 10.0;
    /// Most boards are up, or stuck, after this many seconds (common practice, no source).
    const LONG_ENOUGH_S: f64 = 45.0;
    let model = &seen.analysis.model;
    let spans = model.stages.iter().filter_map(|stage| stage.duration).map(|span| span.high);
    let needed: f64 = spans.sum();
    if seen.profile.is_none() && seen.analysis.run.duration() > LONG_ENOUGH_S {
        return "capture known-good boards of this model and learn a profile from them (`feedtale learn`): without one, no \
                more can be said"
            .into();
    }
    let from = if seen.has_button() { "the press of the button" } else { "switch-on" };
    if model.of_this_board && needed > 0.0 {
        let needed = ((needed + MARGIN_S) / 5.0).ceil() * 5.0;
        return format!("capture again from before switch-on, and for {needed:.0} s after {from}");
    }
    format!("capture again from before switch-on, and for a minute or more after {from}")
}
