//! What a technician usually probes next, by verdict and kind of board. All common practice at repair benches, with no
//! source.

use crate::units::figures;
use crate::verdict::Class;
use crate::verdict::attempts::RISES_S;
use crate::verdict::evidence::{
    FellTo, Liveliness, draws_less, ends_in_a_spike, fall, liveliness, rails_may_be_up, woke_before,
};
use crate::verdict::kind::Family;
use crate::verdict::seen::{Load, Seen};

/// Usual next steps; `suspect` names the sections that the run points to, and `own` says that the profile has checks of
/// its own, so that only what adds to them is said.
pub(super) fn usual(seen: &Seen, suspect: Option<&str>, own: bool) -> Vec<String> {
    let at = |or: &str| suspect.map_or_else(|| or.to_owned(), str::to_owned);
    match seen.class() {
        Class::NoDraw => vec![format!(
            "follow the feed through {}: fuse, reverse-polarity protection, first shunt; where the volts end is the fault",
            at("the input")
        )],
        Class::HardShort => hard_short(seen, &at(loaded(seen)), own),
        Class::PartialShort => partial_short(seen, &at(loaded(seen))),
        Class::ExcessStandby => excess_standby(seen, &at("the board")),
        Class::StandbyOnly => standby_only(seen, suspect),
        Class::LatchOff => with_spike(
            seen,
            format!(
                "catch the try with a scope on enable, power-good and output of {}: the rail that falls first, or never \
                 comes, is where to look first, if its enable is there; measure its output to ground with the feed off",
                at("each converter")
            ),
        ),
        Class::Cycling => with_spike(
            seen,
            format!(
                "watch reset, power-good and the rails of {} through one try: which falls first, or is missing, while its enable is there",
                at("each converter")
            ),
        ),
        Class::Stalled => stalled(seen, suspect, own),
        Class::FullBoot => full_boot(seen, suspect, own),
        Class::DroppedOut => dropped_out(seen, suspect),
        Class::FeedLimited => {
            vec!["then judge the board by that capture, and not by this one".into()]
        }
        Class::Inconclusive => loaded_or_awake(seen).into_iter().chain([capture_again(seen)]).collect(),
    }
}

/// Where a heavy load is to be looked for if the profile does not say.
fn loaded(seen: &Seen) -> &'static str {
    if woke_before(seen) { "the rails that come up with the wake" } else { "the input rail" }
}

/// How to feed a rail so that `ohms` on it turn warm and no more: volts and amps that make two watts there.
fn feed_gently(seen: &Seen, ohms: f64) -> String {
    /// Warms a small part by some hundred kelvin, which no camera misses (common practice, no source).
    const WATTS: f64 = 2.0;
    let volts = (WATTS * ohms).sqrt().min(seen.analysis.run.set_v);
    format!(
        "feed the loaded rail itself at about {} V, and never above its own volts, with the limit raised from 0.1 A to {} A at \
         most: up to {} W in the {} seen here",
        figures(volts, 2),
        figures(volts / ohms, 2),
        figures(volts * volts / ohms, 1),
        Load::words(ohms)
    )
}

fn hard_short(seen: &Seen, suspect: &str, own: bool) -> Vec<String> {
    /// Below this a hand-held meter's own leads read about as much, in ohms.
    const LEADS_OHM: f64 = 0.5;
    let ohms = seen.load().map_or(LEADS_OHM, |load| load.ohms);
    let fine = if ohms < LEADS_OHM {
        "; that is what a meter's own leads read: short the probes and subtract it, or send a known current along the rail and \
         follow the millivolts (four-wire)"
    } else {
        ""
    };
    let by_sections = "disconnect section after section from the rail (fuse, shunt, coil) until the ohms rise: the last one is it";
    let mut checks = vec![format!(
        "with the feed off and the capacitors discharged, measure ohms to ground behind any fuse and series protection, on \
             {suspect}: clamp diode, input capacitors, the upper switches of the converters; about {} or less is to be \
             found{fine}",
        Load::words(ohms)
    )];
    if !own {
        checks.push(by_sections.into());
    }
    checks.push(format!(
        "to find the part, {}; thermal camera, freeze spray, or a film of alcohol that dries there first",
        feed_gently(seen, ohms)
    ));
    checks
}

fn partial_short(seen: &Seen, suspect: &str) -> Vec<String> {
    let find = seen.load().map_or_else(String::new, |load| format!(": {}", feed_gently(seen, load.ohms)));
    vec![
        format!(
            "with the feed off and the capacitors discharged, measure ohms to ground behind any fuse and series protection, on \
             {suspect}, clamp diodes and capacitors included; ohms far above what the volts and amps give point to a converter \
             or chip that draws only when fed"
        ),
        format!(
            "if the ohms are there, find the part with a thermal camera or freeze spray{find}; if not, feed as here, for \
             seconds only"
        ),
    ]
}

fn excess_standby(seen: &Seen, suspect: &str) -> Vec<String> {
    /// Below this a part hardly gets warm enough to be felt, in watts (common practice, no source).
    const FELT_W: f64 = 0.5;
    let drawn = seen.last_level().map_or(0.0, |level| level.watts);
    let surplus = drawn - seen.analysis.model.standby.watts.unwrap_or(0.0);
    let warmth = if surplus < FELT_W {
        "the surplus is too small to feel, so use a thermal camera; a leaky capacitor or protection part is likelier than a \
         shorted one"
    } else {
        "look for warmth"
    };
    let up = rails_may_be_up(seen).map(|stage| {
        format!("measure the rails, and the processor's reset and clock: at the level of {stage} they may be up, and it held in reset")
    });
    let find = format!(
        "find which always-on rail carries the surplus, on {suspect}: {warmth}, then lift its loads one by one"
    );
    up.into_iter().chain([find]).collect()
}

/// Tries that end in a spike are tripped by what comes on then.
fn with_spike(seen: &Seen, watch: String) -> Vec<String> {
    let lasts = seen.tries().filter(|_| ends_in_a_spike(seen)).map(|tries| seen.time(tries.lasts_s.mean));
    let ohms = lasts.map(|lasts| {
        format!(
            "feed off: measure ohms to ground on each rail that comes on about {lasts} after the wake, for a spike ends the tries"
        )
    });
    std::iter::once(watch).chain(ohms).collect()
}

fn standby_only(seen: &Seen, suspect: Option<&str>) -> Vec<String> {
    let rails = suspect.map_or_else(String::new, |suspect| format!(", then the enable of {suspect}"));
    let by_itself = seen.analysis.model.of_this_board && !seen.analysis.model.standby.waits;
    vec![match seen.family {
        Family::Mainboard | Family::Handheld | Family::Any if by_itself => format!(
            "good boards start by themselves: check the always-on rails, then what has to start this one and the reset, and \
             what holds them{rails}"
        ),
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
    let lively = last.and_then(|step| liveliness(seen, step));
    let mut checks = vec![match lively {
        Some(Liveliness::Usual | Liveliness::Lively) => format!(
            "it keeps working without getting on: look at its screen, diagnostic output or console for what it waits for \
             or repeats, then at the data lines{at}"
        ),
        _ if last.is_some_and(|step| draws_less(seen, step)) => format!(
            "it draws less than good boards there: check the processor's reset and clock, then the supplies{at}, and look \
             for activity on the memory's bus"
        ),
        _ => format!(
            "see what screen or serial console shows: at this level it may wait for something, or go round in a loop; then \
             look for activity on storage and the memory's bus, and measure the supplies{at}; clock and reset last, for a \
             board held in reset draws less"
        ),
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
            "if memory and storage sit in sockets, feed off for each: try without the storage; reseat the memory; then one \
             known-good module alone, in the first slot"
                .into(),
        ),
        Family::Panel => Some("take off bus and expansion modules and try again".into()),
        Family::SmallComputer => Some("try other storage with known-good software".into()),
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
        "as far as amps tell, what is fed from this point works: look at what the feed point skips".into()
    } else {
        "as far as amps tell, what the supply feeds works: look at signals, connectors and what is attached in use".into()
    }]
}

fn dropped_out(seen: &Seen, suspect: Option<&str>) -> Vec<String> {
    let Some(fall) = fall(seen) else { return Vec::new() };
    let ran = seen.time(fall.ran_s);
    let name = &seen.analysis.model.stages[seen.analysis.model.last()].name;
    let warm = format!(
        "repeat once from cold and once straight after, warm, and compare with the {ran} after reaching {name} here: sooner \
         from warm than from cold points to heat; the same time from both points to what the board does then"
    );
    let place = suspect.unwrap_or("the board");
    let watch = match fall.to {
        FellTo::Standby | FellTo::Little | FellTo::More => {
            format!(
                "watch the rails, power-good and enables of {place} through the fall: the first rail to go is where to look \
                 first, if its enable was still there; an orderly shutdown takes rails down too"
            )
        }
        FellTo::BelowStandby | FellTo::Nothing => format!(
            "the standby went as well: look at {place} for a protection that opened, a fuse or a bad joint"
        ),
    };
    let again = if seen.has_button() {
        "press the button again, then switch the feed off and on: a latch lets go only then; a board that was shut down in \
         order looks the same, so ask what it showed"
    } else {
        "switch the feed off and on: a latch lets go only then; a board that was shut down in order looks the same"
    };
    vec![again.into(), watch, warm]
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
