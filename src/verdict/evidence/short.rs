//! A load that is there from switch-on, or from the wake on, and leaves no room for a sequence.

use crate::reference::GAIN_ERROR;
use crate::units::{figures, to_the_place_of};
use crate::verdict::Class;
use crate::verdict::align::{State, Step};
use crate::verdict::seen::{Level, Load, Seen, exact, volts};

/// A load within this time of switch-on is there from switch-on, in seconds.
const AT_ONCE_S: f64 = 1.0;

pub(super) fn short(seen: &Seen, last: &Step) -> Vec<String> {
    let (run, level) = (&seen.analysis.run, seen.level(last));
    let since = last.stretch.start_s - run.start_s;
    let from =
        if since < AT_ONCE_S { "switch-on".into() } else { format!("{} after switch-on", seen.time(since)) };
    vec![
        format!(
            "{} at {} from {from} on: {}",
            seen.amps(level.amps),
            seen.volts(level.volts),
            ohms(seen, last)
        ),
        format!("{}{}", stands(seen, &level), limit(seen, last)),
        heat(seen, last),
        before(seen, last, since),
    ]
}

/// `the feed stands at 2.11 V of the 19.0 V set`.
fn stands(seen: &Seen, level: &Level) -> String {
    let (read, set) = (seen.volts(level.volts), seen.set_volts());
    if read == set {
        format!("the feed holds the {set} set")
    } else {
        format!("the feed stands at {read} of the {set} set")
    }
}

/// What the short measures as seen from the supply, and how well that is known: what each readback may be off by, and
/// half a step of the amps.
fn ohms(seen: &Seen, last: &Step) -> String {
    let Some(Load { ohms, amps }) = seen.load() else { return "no more than the leads".into() };
    let uncertainty = ohms * (2.0 * GAIN_ERROR + seen.analysis.step_a / 2.0 / amps);
    let shown = Load::words(ohms);
    let leads = if read_at_the_board(seen, last).is_some() { "without the leads" } else { "leads included" };
    format!("{shown} ± {}, {leads}", to_the_place_of(&shown, ohms, uncertainty))
}

fn limit(seen: &Seen, last: &Step) -> String {
    match seen.analysis.run.limit_a.map(|limit| exact(limit, "A")) {
        Some(limit) if last.stretch.limit > 0.5 => format!("; the supply sits in its limit of {limit}"),
        Some(limit) => format!("; below the limit of {limit}"),
        None => String::new(),
    }
}

fn heat(seen: &Seen, last: &Step) -> String {
    let level = seen.level(last);
    let watts = seen.watts(level.watts, level.volts);
    let peak = seen.analysis.model.peak_w.filter(|_| seen.class() == Class::PartialShort);
    let standby = seen.analysis.model.standby.watts.filter(|_| !woke_before(seen));
    let peak = peak.map_or_else(String::new, |peak| match standby {
        Some(standby) => format!("; a good board takes {} W before its wake", figures(standby, 2)),
        None => format!("; a good board's boot peaks at {}", seen.reference_watts(peak)),
    });
    let place = if seen.class() == Class::PartialShort { "board" } else { "short" };
    match read_at_the_board(seen, last) {
        Some(drop_v) => {
            format!(
                "{watts} turn to heat in the {place}, without the {} that the leads take{peak}",
                volts(drop_v)
            )
        }
        None => format!("{watts} turn to heat in the {place} and the leads{}{peak}", of_leads(seen, &level)),
    }
}

/// What the leads take, where the volts show it: below its limit a supply holds its own terminals, and volts that give way
/// are read at the board's end of the leads.
fn read_at_the_board(seen: &Seen, last: &Step) -> Option<f64> {
    /// Share of the set volts that is more than readback error.
    const SHOWS: f64 = 0.01;
    let set_v = seen.analysis.run.told_v?;
    let drop_v = set_v - seen.level(last).volts;
    let limited = last.stretch.limit > 0.5 || seen.analysis.run.limit_a.is_none();
    (!limited && drop_v >= SHOWS * set_v).then_some(drop_v)
}

/// Whether the load that the supply sees has the leads in it.
pub(in crate::verdict) fn has_leads_in_it(seen: &Seen) -> bool {
    seen.analysis.path.last().is_some_and(|last| read_at_the_board(seen, last).is_none())
}

/// What of the heat thin leads would have, where that is worth a word.
fn of_leads(seen: &Seen, level: &Level) -> String {
    /// Share of the heat.
    const WORTH: f64 = 0.05;
    let leads_w = level.amps * level.amps * Load::THIN_LEADS_OHM;
    if leads_w < WORTH * level.watts {
        return String::new();
    }
    let take = if leads_w < level.watts {
        format!("take {} of it", seen.watts(leads_w, level.volts))
    } else {
        "alone take as much".into()
    };
    format!("; thin leads ({} Ω) {take}", Load::THIN_LEADS_OHM)
}

/// Whether the board stood by before the load came.
pub(in crate::verdict) fn woke_before(seen: &Seen) -> bool {
    let path = &seen.analysis.path;
    let Some(last) = path.last() else { return false };
    let since = last.stretch.start_s - seen.analysis.run.start_s;
    let shorted = matches!(seen.class(), Class::HardShort | Class::PartialShort);
    shorted && since >= AT_ONCE_S && path.iter().any(|step| matches!(step.state, State::Low | State::Excess))
}

/// When the current of a load flows: a supply shows its volts and amps some time after its output went on.
fn flows_from(seen: &Seen, level: &Level) -> f64 {
    /// Share of the level from which it is there (by judgement).
    const FLOWS: f64 = 0.5;
    let mut read = seen.samples_between(level.start_s, level.end_s);
    let flows = read.find(|i| seen.trace.amps()[*i] - seen.readout.zero_a >= FLOWS * level.amps);
    flows.map_or(level.start_s, |i| seen.trace.time()[i])
}

/// For how long the load stays, with what of that nobody read.
fn lasts(seen: &Seen, last: &Step) -> String {
    let level = seen.level(last);
    let start_s = flows_from(seen, &level);
    let lasts = seen.span(start_s, level.end_s);
    let unread = seen.unread_s(start_s, level.end_s);
    if unread > 0.0 { format!("{lasts}, {} of it without readings", seen.time(unread)) } else { lasts }
}

fn before(seen: &Seen, last: &Step, since: f64) -> String {
    let lasts = lasts(seen, last);
    if woke_before(seen) {
        format!("the board drew its standby before: the load comes with the wake, and stays for {lasts}")
    } else if since < AT_ONCE_S {
        format!("nothing like a start-up comes before it, and it is steady for {lasts}")
    } else {
        format!("steady for {lasts}")
    }
}
