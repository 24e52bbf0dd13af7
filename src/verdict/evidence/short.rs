//! A load that is there from switch-on, or from the wake on, and leaves no room for a sequence.

use crate::reference::GAIN_ERROR;
use crate::stats::moments::Moments;
use crate::units::{are_as_set, figures, range, to_the_place_of};
use crate::verdict::Class;
use crate::verdict::align::{State, Step};
use crate::verdict::phases::{EDGE_READINGS, without_zero};
use crate::verdict::pulses::{Dips, Pulses};
use crate::verdict::seen::{Level, Load, Seen, exact, volts};
use std::ops::Range;

/// A load within this time of switch-on is there from switch-on, in seconds.
const AT_ONCE_S: f64 = 1.0;

/// Coarsest step of a volts readback, in volts: bench supplies show hundredths or finer (common practice, no source).
const STEP_V: f64 = 0.01;

/// What a volts readback may be off by at no volts, in volts: data sheets of bench supplies give 5 to 20 mV beside the share
/// of the reading (common practice, no source).
const OFFSET_V: f64 = 0.01;

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
    let told_v = seen.analysis.run.told_v;
    if read == set || told_v.is_some_and(|told_v| are_as_set(level.volts, told_v)) {
        format!("the feed holds the {set} set")
    } else {
        format!("the feed stands at {read} of the {set} set")
    }
}

/// What the short measures as seen from the supply, and how well that is known: what each readback may be off by, and
/// half a step of the amps. However many readings repeat one step of the volts, their mean is known no better than to that.
fn ohms(seen: &Seen, last: &Step) -> String {
    let Some(Load { ohms, amps }) = seen.load() else { return "no more than the leads".into() };
    let uncertainty = ohms * (2.0 * GAIN_ERROR + seen.analysis.step_a / 2.0 / amps)
        + (step_v(seen, &seen.level(last)) + OFFSET_V) / amps;
    let shown = Load::words(ohms);
    let leads = if read_at_the_board(seen, last).is_some() { "without the leads" } else { "leads included" };
    format!("{shown} ± {}, {leads}", to_the_place_of(&shown, ohms, uncertainty))
}

/// Step of the volts readback, in volts: the least that two readings of the level differ by.
fn step_v(seen: &Seen, level: &Level) -> f64 {
    /// Less is what two decimals differ by as binary numbers.
    const LEAST_V: f64 = 1e-6;
    let read = seen.trace.volts().get(seen.samples_between(level.start_s, level.end_s)).unwrap_or_default();
    let steps = read.windows(2).map(|pair| (pair[1] - pair[0]).abs());
    steps.filter(|step| *step > LEAST_V).fold(STEP_V, f64::min)
}

fn limit(seen: &Seen, last: &Step) -> String {
    match seen.analysis.run.limit_a.map(|limit| exact(limit, "A")) {
        // What it reads there may be off the limit by what its readback is: two numbers, and each is said to be what it is.
        Some(limit) if last.stretch.limit > 0.5 && limit != seen.amps(seen.level(last).amps) => {
            format!("; the supply sits in its limit, set to {limit}")
        }
        Some(limit) if last.stretch.limit > 0.5 => format!("; the supply sits in its limit of {limit}"),
        Some(limit) if near_its_limit(seen, last) => format!("; just below the limit of {limit}"),
        Some(limit) => format!("; below the limit of {limit}"),
        None => String::new(),
    }
}

/// Whether the current and the limit are one number as far as readbacks tell.
fn near_its_limit(seen: &Seen, last: &Step) -> bool {
    seen.analysis.run.limit_a.is_some_and(|limit| seen.level(last).amps >= limit * (1.0 - 2.0 * GAIN_ERROR))
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

/// When volts and amps of a load are what they stay at: as it is switched on, a slow readback averages over the rise.
fn stands_from(seen: &Seen, level: &Level) -> f64 {
    /// Share of the level that neither is off by any more (by judgement).
    const THERE: f64 = 0.1;
    let flows_s = flows_from(seen, level);
    let near = |read: f64, mean: f64| (read - mean).abs() <= THERE * mean.abs();
    let stands = |i: &usize| {
        let amps = without_zero(seen.trace.amps()[*i], seen.readout.zero_a);
        near(amps, level.amps) && near(seen.trace.volts()[*i], level.volts)
    };
    let first = seen.samples_between(flows_s, (flows_s + AT_ONCE_S).min(level.end_s)).find(stands);
    first.map_or(flows_s, |i| seen.trace.time()[i])
}

/// For how long the load stays, with what of that nobody read.
fn lasts(seen: &Seen, last: &Step) -> String {
    let level = seen.level(last);
    let start_s = stands_from(seen, &level);
    let lasts = seen.span(start_s, level.end_s);
    let unread = seen.unread_s(start_s, level.end_s);
    if unread > 0.0 { format!("{lasts}, {} of it without readings", seen.time(unread)) } else { lasts }
}

/// Standard deviations that the difference of two means of noise hardly goes beyond.
const SDS: f64 = 4.0;

/// Ohms that go one way for as long as the load stays, from its first readings to its last.
#[derive(Debug, Clone, Copy)]
struct Creep {
    from_ohm: f64,
    to_ohm: f64,
}

impl Creep {
    /// `None` of what is steady, of what goes to and fro, and of too few readings. The ohms are those of the first and the
    /// last second, as anybody finds them there: means of longer parts would show less of the way.
    fn of(seen: &Seen, last: &Step) -> Option<Self> {
        /// Share of the ohms that is more than a supply drifts by as it warms, and of use, whether the volts or the amps
        /// move: no more than one readback may be off by (by judgement).
        const SHOWS: f64 = GAIN_ERROR;
        Self::beyond(seen, last, SHOWS)
    }

    /// ` but for ohms that creep up by 0.7 %`, of what is too little to tell anything by, though it goes one way.
    fn little(seen: &Seen, last: &Step) -> String {
        /// ... and half of it nobody minds (by judgement).
        const LITTLE: f64 = GAIN_ERROR / 2.0;
        Self::beyond(seen, last, LITTLE).map_or_else(String::new, |creep| {
            let way = if creep.to_ohm < creep.from_ohm { "down" } else { "up" };
            let share = figures(100.0 * (creep.to_ohm / creep.from_ohm - 1.0).abs(), 1);
            format!(" but for ohms that creep {way} by {share} %")
        })
    }

    /// The same of what goes one way by more than this share of the ohms.
    fn beyond(seen: &Seen, last: &Step, share: f64) -> Option<Self> {
        let level = seen.level(last);
        one_way(&parts(seen, &level)?, |part| ohms_over(seen, part))?;
        let ends = first_and_last(seen, &level);
        let chance = SDS * noise_of_difference(seen, &ends)?;
        let [first, last] = ends.map(|part| ohms_over(seen, part));
        let (first, last) = (first?, last?);
        let clearly = (share * first).max(step_v(seen, &level) / level.amps.abs().max(1e-6)).max(chance);
        ((last - first).abs() > clearly).then_some(Self { from_ohm: first, to_ohm: last })
    }

    /// `its ohms creep down, from 3.92 Ω to 3.81 Ω`, and what that is like: copper gains 0.39 % a kelvin (IEC 60028).
    fn words(self) -> String {
        let (way, like) = if self.to_ohm < self.from_ohm {
            ("down", "metal's rise as it warms, those of a chip or clamp may fall")
        } else {
            ("up", "as metal's do while it warms")
        };
        let [from, to] = [self.from_ohm, self.to_ohm].map(Load::words);
        format!("its ohms creep {way}, from {from} to {to} ({like})")
    }
}

/// A current that goes one way for as long as the load stays, by more than its readings tell, if by too little for ohms.
#[derive(Debug, Clone, Copy)]
struct Drift {
    from_a: f64,
    to_a: f64,
}

impl Drift {
    /// `None` of what is steady as far as the readings tell, and of what goes to and fro.
    fn of(seen: &Seen, last: &Step) -> Option<Self> {
        /// Steps of the readback that no mean is off by.
        const STEPS: f64 = 1.0;
        let level = seen.level(last);
        let parts = parts(seen, &level)?;
        let (mean_from_a, mean_to_a) = one_way(&parts, |part| amps_over(seen, part))?;
        #[expect(clippy::cast_precision_loss, reason = "a count of readings")]
        let noise_a = SDS * seen.readout.noise_a * (2.0 / parts[0].len() as f64).sqrt();
        let clearly = noise_a.max(STEPS * seen.analysis.step_a);
        let clear = (mean_to_a - mean_from_a).abs() > clearly;
        let [from_a, to_a] = first_and_last(seen, &level).map(|part| amps_over(seen, part));
        // What the noise of few readings turns about is as the longer means have it.
        let same_way = |ends: &(f64, f64)| (ends.1 - ends.0) * (mean_to_a - mean_from_a) > 0.0;
        let (from_a, to_a) = from_a.zip(to_a).filter(same_way).unwrap_or((mean_from_a, mean_to_a));
        clear.then_some(Self { from_a, to_a })
    }

    /// `the current falls from 1.63 to 1.60 A`, or `falls by 0.12 %` where the figures do not show it, and what that is like.
    fn words(self, seen: &Seen) -> String {
        let (way, like) = if self.to_a < self.from_a {
            ("falls", "as where metal warms")
        } else {
            ("rises", "as where a chip or clamp warms")
        };
        let bounds = [self.from_a, self.to_a].map(|amps| seen.amps(amps));
        if bounds[0] == bounds[1] {
            let share = figures(100.0 * (self.to_a / self.from_a - 1.0).abs(), 2);
            return format!("the current {way} by {share} % ({like})");
        }
        format!("the current {way} from {} ({like})", range(&bounds[0], &bounds[1]))
    }
}

/// The time that a load stays for, without its first second, in five parts; `None` of too few readings.
fn parts(seen: &Seen, level: &Level) -> Option<Vec<Range<usize>>> {
    /// Each of them must go on the same way.
    const PARTS: usize = 5;
    /// Fewer readings of a part are no mean.
    const READINGS: usize = 5;
    let read = seen.samples_between(flows_from(seen, level) + AT_ONCE_S, level.end_s);
    let each = read.len() / PARTS;
    let part = |part: usize| read.start + part * each..read.start + (part + 1) * each;
    (each >= READINGS).then(|| (0..PARTS).map(part).collect())
}

/// The readings of the first and the last second of a load, or of as many renewals as make a mean.
fn first_and_last(seen: &Seen, level: &Level) -> [Range<usize>; 2] {
    /// Renewals that make a mean.
    const RENEWALS: f64 = 4.0;
    let update_s = seen.readout.update_s();
    let lasts_s = AT_ONCE_S.max(RENEWALS * update_s);
    // What a reading averages over the rise is not the load.
    let from_s = flows_from(seen, level) + EDGE_READINGS * update_s;
    [(from_s, from_s + lasts_s), (level.end_s - lasts_s, level.end_s)]
        .map(|(from, to)| seen.samples_between(from, to))
}

/// The first and the last of what the `parts` measure, if each goes on the same way.
fn one_way(parts: &[Range<usize>], measure: impl Fn(Range<usize>) -> Option<f64>) -> Option<(f64, f64)> {
    let found: Vec<f64> = parts.iter().cloned().map(measure).collect::<Option<_>>()?;
    let (first, last) = (*found.first()?, *found.last()?);
    let way = last - first;
    found.windows(2).all(|pair| (pair[1] - pair[0]) * way > 0.0).then_some((first, last))
}

/// Standard deviation of the difference of the ohms of two short stretches, by how their readings scatter: a reading that is
/// repeated until the next renewal counts once. `None` of too few readings.
fn noise_of_difference(seen: &Seen, ends: &[Range<usize>; 2]) -> Option<f64> {
    let variance = |range: &Range<usize>| {
        let ohms = range.clone().filter_map(|index| ohms_over(seen, index..index + 1));
        let scatter = ohms.collect::<Moments>().deviation()?;
        let time = seen.trace.time();
        let renewals = (time[range.end - 1] - time[range.start]) / seen.readout.update_s();
        Some(scatter.powi(2) / renewals.max(1.0))
    };
    Some((variance(&ends[0])? + variance(&ends[1])?).sqrt())
}

/// Mean amps, without the supply's zero.
fn amps_over(seen: &Seen, samples: Range<usize>) -> Option<f64> {
    let amps = seen.trace.amps().get(samples)?.iter().copied().collect::<Moments>().mean()?;
    Some(amps - seen.readout.zero_a).filter(|amps| *amps > 0.0)
}

/// Mean volts over mean amps.
fn ohms_over(seen: &Seen, samples: Range<usize>) -> Option<f64> {
    let volts = seen.trace.volts().get(samples.clone())?.iter().copied().collect::<Moments>().mean()?;
    Some(volts / amps_over(seen, samples)?).filter(|ohms| ohms.is_finite() && *ohms > 0.0)
}

/// The heartbeat of a controller that is fed beside the load.
pub(super) fn pulses(seen: &Seen) -> Option<String> {
    let loaded = seen.class() == Class::PartialShort;
    loaded.then(|| ripple(seen)).flatten().map(|(_, words)| words)
}

/// What ticks on a load, in a few words and in a sentence: what does is not steady.
fn ripple(seen: &Seen) -> Option<(&'static str, String)> {
    let pulses = || Pulses::on_a_load(seen).map(|pulses| (" but for short pulses", pulses.on_top(seen)));
    let dips = || Dips::on_a_load(seen).map(|dips| (" but for short dips", dips.words(seen)));
    pulses().or_else(dips)
}

/// `no press of the button is marked`, of a board that is loaded from switch-on and would wait for one: that nothing starts
/// is no news of it.
pub(super) fn unasked(seen: &Seen) -> Option<String> {
    let loaded = seen.class() == Class::PartialShort && !woke_before(seen);
    let unasked = loaded && seen.has_button() && seen.analysis.run.presses.is_empty();
    unasked.then(|| "no press of the button is marked: whether it would start at one is not known".to_owned())
}

fn before(seen: &Seen, last: &Step, since: f64) -> String {
    let lasts = lasts(seen, last);
    let drift = || Drift::of(seen, last).map(|drift| drift.words(seen));
    let creep = Creep::of(seen, last).map(Creep::words).or_else(drift);
    let ticks = Some(seen).filter(|seen| seen.class() == Class::PartialShort).and_then(ripple);
    let ripple = ticks.map_or("", |(ripple, _)| ripple);
    let steady = creep.clone().map_or_else(
        || format!("steady for {lasts}{ripple}{}", Creep::little(seen, last)),
        |creep| format!("in {lasts} {creep}"),
    );
    if woke_before(seen) {
        let creeps = creep.map_or_else(String::new, |creep| format!("; {creep}"));
        format!(
            "the board drew its standby before: the load comes with the wake, and stays for {lasts}{creeps}"
        )
    } else if since < AT_ONCE_S {
        let it_is = if creep.is_some() { "" } else { "it is " };
        format!("nothing like a start-up comes before it, and {it_is}{steady}")
    } else {
        steady
    }
}
