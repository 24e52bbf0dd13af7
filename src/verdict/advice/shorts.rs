//! Where a heavy load is looked for: without tools first, then warm, then by ohms, and the iron last. All common
//! practice at repair benches, with no source.

use super::heat::{HARDLY_W, WARMS_W, hardly_warms_w, shows};
use super::usual::usual_limit;
use crate::units::figures;
use crate::verdict::Class;
use crate::verdict::evidence::{has_leads_in_it, woke_before};
use crate::verdict::kind::Family;
use crate::verdict::seen::{Load, Seen, exact, volts};

/// Below this a pair of bench leads and its clips are most of what is seen, in ohms.
const LEADS_OHM: f64 = 0.3;

/// Above this no pair of bench leads is, shorted at its clips: thin ones of two metres have [`Load::THIN_LEADS_OHM`], and
/// poor contacts some times that, in ohms (common practice, no source).
const SHORTED_LEADS_OHM: f64 = 0.5;

/// Up to this thin leads are a tenth of what is seen and more, in ohms.
const LEADS_COUNT_OHM: f64 = 10.0 * Load::THIN_LEADS_OHM;

/// Volts of a clamp or body diode on a board that is fed in reverse, at the board: some 0.5 V of a cold one at little
/// current to 1.5 V of a hot or small one at amperes (common practice, no source).
const REVERSED_V: std::ops::RangeInclusive<f64> = 0.5..=1.5;

/// Below this not even a diode with a metal junction conducts amperes, in volts (common practice, no source).
const NO_DIODE_V: f64 = 0.35;

/// Warms a small part by some hundred kelvin, which no camera misses, in watts (common practice, no source).
const GENTLE_W: f64 = 2.0;

/// From this many watts a board is not fed on as it is.
const HOT_W: f64 = 10.0;

/// What is ruled out before the board is suspected: leads and polarity.
pub(super) fn leads(seen: &Seen) -> Vec<String> {
    if seen.class() != Class::HardShort {
        return Vec::new();
    }
    polarity(seen).into_iter().chain(shorted_leads(seen)).chain(half_the_limit(seen)).collect()
}

/// Whether the board may be fed in reverse, by the volts that its clamp diode would have.
fn polarity(seen: &Seen) -> Option<String> {
    let level = seen.last_level()?;
    let at_the_board = level.volts - level.amps * Load::THIN_LEADS_OHM;
    let stands_at = volts(level.volts);
    REVERSED_V.contains(&at_the_board).then(|| {
        format!(
            "check the polarity: at about {stands_at}, leads included, a board stands that is fed in reverse, on its clamp diode"
        )
    })
}

/// The cheapest look at what holds the volts down, of a supply that sits in its limit.
fn half_the_limit(seen: &Seen) -> Option<String> {
    let last = seen.analysis.path.last().filter(|last| last.stretch.limit > 0.5)?;
    let limit = seen.analysis.run.limit_a.filter(|_| last.stretch.volts >= NO_DIODE_V)?;
    Some(format!(
        "set the limit to half, {}: volts that halve as well are a resistance, volts that hardly change a diode or reversed \
         polarity",
        exact(limit / 2.0, "A")
    ))
}

/// The same of a load that lets the feed stand at more than a diode does.
pub(super) fn half_the_limit_of_a_part(seen: &Seen) -> Option<String> {
    let last = seen.analysis.path.last().filter(|last| last.stretch.limit > 0.5)?;
    let partial = seen.class() == Class::PartialShort && last.stretch.volts > 0.0;
    let limit = seen.analysis.run.limit_a.filter(|_| partial)?;
    Some(format!(
        "set the limit to half, {}: volts that halve as well are a resistance, volts that hardly change a clamp or a pack",
        exact(limit / 2.0, "A")
    ))
}

/// Leads that touch each other, of a load that is small enough for it.
fn shorted_leads(seen: &Seen) -> Option<String> {
    let ohms = seen.load().map_or(0.0, |load| load.ohms);
    let seen_as = if ohms > 0.0 { Load::rough(ohms) } else { "no volts at all".into() };
    // What the leads have of it is not the board's.
    let then = if mostly_leads(seen) {
        "; then short the clips and subtract the volts at the same amps"
    } else {
        ", which keep the supply in its limit: rule that out first"
    };
    (ohms < SHORTED_LEADS_OHM)
        .then(|| format!("take the board off the clips: {seen_as} may be leads that touch{then}"))
}

/// A steady load from switch-on may be a pack that charges.
pub(super) fn may_charge(seen: &Seen) -> Option<String> {
    let packs = matches!(seen.family, Family::Mainboard | Family::Handheld) || seen.at_battery();
    let applies = seen.class() == Class::PartialShort && packs && !woke_before(seen);
    applies.then(|| {
        if seen.at_battery() {
            return "see that no pack and no charger is connected beside the supply: a steady load without a press may be one"
                .into();
        }
        "see that the battery is off, and repeat: a steady load without a press may be a pack that charges".into()
    })
}

/// The steps on the board itself; `own` says that the profile gives those by sections.
pub(super) fn on_the_board(seen: &Seen, suspect: &str, own: bool) -> Vec<String> {
    let last = (!own).then(|| {
        "only then disconnect section after section from the rail (fuse, shunt, coil) until the ohms rise: the last one is it"
            .to_owned()
    });
    camera(seen).into_iter().chain(warm_it(seen)).chain(measure_ohms(seen, suspect)).chain(last).collect()
}

fn mostly_leads(seen: &Seen) -> bool {
    seen.load().is_none_or(|load| load.ohms < LEADS_OHM)
}

/// Whether the leads are in what is seen, and enough of it to be told.
pub(super) fn leads_in_it(seen: &Seen) -> bool {
    has_leads_in_it(seen) && seen.load().is_some_and(|load| load.ohms < LEADS_COUNT_OHM)
}

/// What is looked at, and how the board is fed for that.
fn camera(seen: &Seen) -> Option<String> {
    /// A start from which nothing chars, in watts at the set volts.
    const LOW_W: f64 = 1.0;
    let level = seen.last_level()?;
    let watts = seen.watts(level.watts, level.volts);
    if level.watts < HOT_W {
        let board_w = level.watts - seen.leads_watts(&level);
        // What the leads take is not known, so that no more figures are.
        let board = format!("{} W", two_figures(board_w.max(0.0)));
        if board_w < HARDLY_W {
            return None;
        }
        return Some(if warms_late(seen) {
            format!(
                "thermal camera (or freeze spray, or a film of alcohol), fed as now: {}",
                shows(&board, board_w)
            )
        } else {
            format!(
                "thermal camera, fed as now ({watts}) for seconds only: what warms first is the part, or feeds it"
            )
        });
    }
    let from = ((LOW_W / level.volts.abs().max(0.1)).clamp(0.05, 1.0) * 20.0).round() / 20.0;
    Some(format!(
        "thermal camera, but not at {watts}: lower the limit to {from} A and raise it from there, for seconds, until something warms"
    ))
}

/// Two figures; `2` of two.
fn two_figures(value: f64) -> String {
    let said = figures(value, 2);
    said.strip_suffix(".0").map(str::to_owned).unwrap_or(said)
}

/// Volts, amps and watts that belong together, with which a short that stayed cold turns warm.
pub(super) struct Warming {
    amps: f64,
    pub heat_w: f64,
    pub volts: String,
    pub current: String,
    pub watts: String,
}

impl Warming {
    /// What may be fed where leads are most of the ohms: amps that clips and a fuse of a board carry for seconds (by
    /// judgement).
    const MOST_A: f64 = 3.0;

    /// Of a board that stays cold as it was fed: volts and amps that its ohms, with the leads, have at the same time.
    pub(super) fn of(seen: &Seen) -> Option<Self> {
        let set_v = seen.analysis.run.set_v;
        let (volts, amps) = seen.load().map_or((1.0, Self::MOST_A), |load| {
            let gentle = (GENTLE_W * load.ohms).sqrt().min(set_v) / load.ohms;
            // No less than what has just been fed, which a readback shows a little above the limit.
            let fed_a = seen.analysis.run.limit_a.map_or(load.amps, |limit| load.amps.min(limit));
            let amps = if mostly_leads(seen) { Self::MOST_A.max(fed_a) } else { gentle };
            (amps * load.ohms, amps)
        });
        let [volts_in_words, current, watts] = [volts, amps, volts * amps].map(two_figures);
        stays_cold(seen).then_some(Self { amps, heat_w: volts * amps, volts: volts_in_words, current, watts })
    }
}

/// What warms a short of few milliohms so that a camera sees it, where all that carries the amps is made for them.
fn warm_it(seen: &Seen) -> Option<String> {
    let warming = Warming::of(seen)?;
    let point = seen.feed_point.as_deref().unwrap_or("feed point");
    let usual = usual_limit(seen).filter(|usual| *usual < warming.amps);
    let carry =
        usual.map_or_else(|| "that".into(), |usual| format!("more than the usual {}", exact(usual, "A")));
    let Warming { volts, current, watts, .. } = warming;
    // What stays cold as it was fed is looked at here only.
    let by = if camera(seen).is_some() {
        "or"
    } else {
        "thermal camera (or freeze spray, or a film of alcohol) at"
    };
    Some(format!(
        "{by} up to {volts} V, {current} A ({watts} W) at the {point} for seconds, if it, fuse and leads carry {carry}"
    ))
}

/// What a shorted board turns to heat, without the leads, in watts.
fn short_on_the_board_w(seen: &Seen) -> Option<f64> {
    let shorted = matches!(seen.class(), Class::HardShort | Class::PartialShort);
    seen.last_level().filter(|_| shorted).map(|level| level.watts - seen.leads_watts(&level))
}

/// Whether that is too little to be seen at once.
fn warms_late(seen: &Seen) -> bool {
    short_on_the_board_w(seen).is_some_and(hardly_warms_w)
}

/// Whether that may be too little to be seen at all.
fn stays_cold(seen: &Seen) -> bool {
    short_on_the_board_w(seen).is_some_and(|watts| watts < WARMS_W)
}

/// Where ohms are measured, and what the meter is to show.
fn measure_ohms(seen: &Seen, suspect: &str) -> Vec<String> {
    let ohms = seen.load().map(|load| load.ohms);
    let partial = seen.class() == Class::PartialShort;
    let find = ohms.filter(|_| !partial).map_or_else(String::new, |ohms| ohms_to_find(seen, ohms));
    let measure = format!(
        "feed off, capacitors discharged: ohms to ground behind any fuse, on {suspect} (clamp diodes and input capacitors \
         included){find}"
    );
    let when_fed = ohms.filter(|_| partial).map(|ohms| {
        format!(
            "if nothing there reads about {}, a converter or chip draws when fed: look for the rail that is lowest against a \
             good board",
            Load::rough(ohms)
        )
    });
    [measure].into_iter().chain(when_fed).collect()
}

/// `: about 2.7 Ω or less`.
fn ohms_to_find(seen: &Seen, ohms: f64) -> String {
    let how = match leads_in_it(seen) {
        // A plain meter resolves a tenth of an ohm, and its own leads have some.
        _ if mostly_leads(seen) => " (by a four-wire or milliohm meter, its leads zeroed)",
        true => " (leads included)",
        false => "",
    };
    format!(": about {} or less{how}", Load::rough(ohms))
}
