//! A board that starts and gives up.

use super::brief::Brief;
use super::fall::left;
use super::rise::{Rises, ends_in_a_spike, peak_is_followed, rises_at_the_end, sits_on_the_limit};
use super::starved::{marked_limit, starving};
use super::to_the_end;
use crate::stats::extent;
use crate::stats::moments::Moments;
use crate::units::{range, with_and};
use crate::verdict::advice::few_end_in;
use crate::verdict::align::Step;
use crate::verdict::attempts::{RISES_S, Spread, Tries, first_stage, hidden_in_gaps, visible_below};
use crate::verdict::limits::long_try;
use crate::verdict::phases::EDGE_READINGS;
use crate::verdict::presses::{Follows, follows, switched_off, tries_at_each_press, waking};
use crate::verdict::pulses::Pulses;
use crate::verdict::seen::{Ends, STEADY_SHARE, Seen, exact, volts};
use crate::verdict::{Attempt, Class};

pub(super) fn tries(seen: &Seen, last: &Step) -> Vec<String> {
    let mut facts = Vec::new();
    if let Some(tries) = seen.tries() {
        facts.push(counted_tries(seen, &tries));
        facts.push(where_each_ends(seen, &tries));
        facts.extend(switched_off(seen));
        facts.push(highest(seen, &tries));
    }
    facts.extend(starving(seen));
    let stays_down = seen.tries().and_then(|tries| tries.stays_down(seen.analysis.run.end_s)).is_some();
    if seen.class() == Class::LatchOff || stays_down {
        let unpressed = if tries_at_each_press(seen) { ", and no press follows" } else { "" };
        facts.push(format!("after that {}: {}{unpressed}", to_the_end(seen, last), left(seen, last)));
        facts.extend(ticks(seen));
    }
    facts
}

/// `after the last try 13 short pulses, one about every 3.3 s, of up to 27 mA above its rest`, where they come evenly.
fn ticks(seen: &Seen) -> Option<String> {
    let pulses = Pulses::at_the_end(seen).filter(|pulses| pulses.rhythm.is_some())?;
    let last = if given_up(seen).count() > 1 { "the last try" } else { "the try" };
    Some(format!("after {last} {}", pulses.words(seen)))
}

/// The tries of a board that too little was seen of: how many, where they end, and what volts and amps did.
pub(super) fn in_vain_so_far(seen: &Seen) -> Vec<String> {
    let said = |tries: Tries| {
        let first = [counted_tries(seen, &tries), where_each_ends(seen, &tries)];
        first.into_iter().chain(switched_off(seen)).chain([highest(seen, &tries)]).collect()
    };
    seen.tries().map(said).unwrap_or_default()
}

pub(super) fn given_up<'a>(seen: &'a Seen) -> impl Iterator<Item = &'a Attempt> + Clone {
    seen.attempts.iter().filter(|attempt| attempt.given_up)
}

/// ` (one of them begins or ends in a gap of the log and is left out)`, of the lengths of tries.
fn left_out(seen: &Seen) -> String {
    let all = given_up(seen).count();
    let unread = given_up(seen).filter(|attempt| !attempt.ends_were_read(&seen.readout.gaps)).count();
    match unread {
        0 => String::new(),
        // Then nothing better is known than what the readings before and after the gap show.
        _ if unread == all => " as far as was read".into(),
        1 => " (one begins or ends in a gap of the log, and is left out)".into(),
        many => format!(" ({many} begin or end in a gap of the log, and are left out)"),
    }
}

/// What a board gave up before it did what the verdict says.
pub(super) fn before_this(seen: &Seen) -> Option<String> {
    let ends: Vec<String> =
        seen.attempts.iter().filter(|try_| try_.given_up).map(|try_| seen.time(try_.end_s.value())).collect();
    match ends.as_slice() {
        [] => None,
        [end] => Some(format!("1 try before it, given up at {end}")),
        [.., last] => Some(format!("{} tries before it, the last given up at {last}", ends.len())),
    }
}

/// `16 tries from 6.96 s to 53.9 s, one every 3.13 s (3.08 to 3.18 s)`.
fn counted_tries(seen: &Seen, tries: &Tries) -> String {
    if let Some(brief) = Brief::of(seen) {
        return format!("1 try at {}, {}", seen.time(brief.at_s), brief.length(seen));
    }
    let span = format!("from {} to {}", seen.moment(tries.first_start_s), seen.time(tries.last_end_s));
    let every = match tries.every_s {
        None => String::new(),
        Some(every) if tries.count == 1 => {
            let after = seen.time(every.mean);
            return format!(
                "1 try {span}; the next, {after} after it began, is on when the log ends{}",
                after_presses(seen)
            );
        }
        Some(every) if tries.count == 2 && !tries.one_is_on => {
            format!(", starts {} apart", seen.time(every.mean))
        }
        Some(every) => {
            let mean = tries.period(seen.readout.update_s()).unwrap_or_default();
            format!(", one every {}", with_range(seen, mean, every))
        }
    };
    let on = if tries.one_is_on { "; one more is on when the log ends" } else { "" };
    let times = if tries.count == 1 { "1 try".to_owned() } else { format!("{} tries", tries.count) };
    format!("{times} {span}{every}{}{on}{}", hidden(seen), after_presses(seen))
}

/// `; a gap of the readings seems to hide one more`, of starts that come evenly but for a gap.
fn hidden(seen: &Seen) -> String {
    match hidden_in_gaps(&seen.attempts, &seen.readout.gaps).into_iter().sum() {
        0 => String::new(),
        1 => "; a gap of the readings seems to hide one more".into(),
        more => format!("; gaps of the readings seem to hide {more} more"),
    }
}

/// Of a board that woke without a press in the log.
pub(super) const UNASKED: &str = "; no press is marked: pressed unmarked, or it woke by itself";

/// Which press each try follows, and which come without one.
fn after_presses(seen: &Seen) -> String {
    let pressed = seen.attempts.iter().filter_map(|start| waking(seen, start.start_s.value()));
    let mut times: Vec<String> = pressed.map(|press| seen.mark(press)).collect();
    // A press may wake a board twice.
    times.dedup();
    let times = with_and(times.into_iter());
    match (follows(seen), seen.attempts.len()) {
        (Follows::EachItsPress, 1) => format!(", after the press at {times}"),
        (Follows::EachItsPress, _) => format!(", each after a press ({times}) and none by itself"),
        (Follows::FirstOnly, count) if seen.has_button() => {
            let others =
                if count == 2 { "the other comes by itself" } else { "the others come by themselves" };
            format!("; the press at {times} starts the first, {others}")
        }
        (Follows::FirstOnly, _) => after_a_press(seen).unwrap_or_default(),
        (Follows::Other, _) if woke_unasked(seen) => UNASKED.into(),
        (Follows::Other, _) => String::new(),
    }
}

/// `; the first comes 0.7 s after the press at 6.42 s, the others by themselves`, of a board that needs no press.
fn after_a_press(seen: &Seen) -> Option<String> {
    let start_s = seen.attempts.first()?.start_s.value();
    let press_s = waking(seen, start_s).filter(|press_s| *press_s < start_s)?;
    let others = match seen.attempts.len() {
        0 | 1 => "",
        2 => ", the other by itself",
        _ => ", the others by themselves",
    };
    Some(format!(
        "; the first comes {} after the press at {}{others}",
        seen.time(start_s - press_s),
        seen.mark(press_s)
    ))
}

/// Whether a board that waits for a press woke without a mark of one, some time after switch-on.
pub(super) fn woke_unasked(seen: &Seen) -> bool {
    let run = &seen.analysis.run;
    let first = seen.attempts.first().filter(|_| seen.has_button() && run.presses.is_empty());
    first.is_some_and(|first| first.start_s.value() > run.start_s + RISES_S)
}

/// A time with its range, where that says more.
fn spread(seen: &Seen, times: Spread) -> String {
    with_range(seen, seen.time(times.mean), times)
}

fn with_range(seen: &Seen, mean: String, times: Spread) -> String {
    let (low, high) = (seen.time(times.low), seen.time(times.high));
    if low == high { mean } else { format!("{mean} ({})", range(&low, &high)) }
}

/// `each ends 0.42 s after its wake (0.40 to 0.44 s), in firmware`.
fn where_each_ends(seen: &Seen, tries: &Tries) -> String {
    let each = if tries.count > 1 { "each ends" } else { "it ends" };
    let brief = Brief::of(seen);
    let are_brief = tries.count > 1 && tries.lasts_s.are_edges(seen.readout.update_s());
    let after = match &brief {
        Some(brief) => format!("within {}", seen.time(brief.most_s)),
        // So that start and length come to the end that is said beside them.
        None if tries.count == 1 => seen.span(tries.first_start_s, tries.first_end_s),
        None if are_brief => format!("within about {}", seen.time(tries.lasts_s.high)),
        None => spread(seen, tries.lasts_s),
    };
    let (shown, all) = (shown_in(seen, tries), tries.count);
    let place = |stage: &String| {
        let here = |ends: &Ends| ends.told() && seen.analysis.model.stages[ends.last].name == *stage;
        seen.ends.filter(here).map_or_else(|| format!("in {stage}"), |ends| seen.place(ends))
    };
    let before = |stage: &String| ends_before(seen, stage);
    let step = seen.ends.and_then(|ends| at_the_step(seen, ends, shown, all));
    let stage = match &tries.ended_in {
        _ if step.is_some() => step.unwrap_or_default(),
        Some(stage) if before(stage).is_some() => {
            let place = before(stage).map_or_else(String::new, |ends| seen.place(ends));
            format!(", {place}; {shown} of {all} come as far as {stage}")
        }
        Some(stage) if shown == all => format!(", {}", place(stage)),
        Some(stage) if is_the_only_one(seen, stage) => {
            format!(", {}: {}", place(stage), shown_by_some(seen, stage, shown, all))
        }
        Some(stage) if 2 * shown > all => format!(", mostly {} ({shown} of {all})", place(stage)),
        Some(stage) if 2 * likely_in(seen, stage) > all => {
            let likely = likely_in(seen, stage);
            format!(", probably {} ({likely} of {all} tries, by time and level)", place(stage))
        }
        Some(stage) if shown == 1 => format!(", one of them {}, as far as the readings tell", place(stage)),
        Some(stage) => {
            format!(", most often {}, as far as the readings tell ({shown} of {all} tries)", place(stage))
        }
        None => by_time_and_level(seen, tries).unwrap_or_default(),
    };
    let since = if brief.is_some() || are_brief { "of" } else { "after" };
    let short = short_of_the_step(seen).or_else(|| lasts_too_long(seen, tries)).unwrap_or_default();
    let open = long_try(seen).map_or("", |_| ": it was up or nearly so, and why it went off is open");
    format!("{each} {after} {since} its wake{}{stage}{short}{open}", left_out(seen))
}

/// How many tries end in the stage as far as time and level tell.
fn likely_in(seen: &Seen, stage: &str) -> usize {
    given_up(seen).filter(|attempt| attempt.likely_in.as_deref() == Some(stage)).count()
}

/// How many tries show the stage in which they end: of those that a limit cuts off as the next one begins, where no try
/// shows another stage, all that drew for most of their time what good boards draw in this one.
fn shown_in(seen: &Seen, tries: &Tries) -> usize {
    let cut_off = |ends: &Ends| seen.class() == Class::FeedLimited && ends.told() && ends.into.is_some();
    let Some(ends) = seen.ends.filter(cut_off) else {
        return tries.ended_there;
    };
    let name = &seen.analysis.model.stages[ends.last].name;
    if tries.ended_in.as_ref() != Some(name) || !is_the_only_one(seen, name) {
        return tries.ended_there;
    }
    let shows = |attempt: &&Attempt| attempt.ended_in.is_some() || seen.is_mostly_in(attempt, ends.last);
    given_up(seen).filter(shows).count()
}

/// `, at the end of rails, at the step into loading: 15 of 17 tries end above the 0.685 A up to which good boards peak in
/// rails`; without such readings the length of the tries alone says so, and that is said.
fn at_the_step(seen: &Seen, ends: Ends, shown: usize, all: usize) -> Option<String> {
    ends.into?;
    let place = seen.place(ends);
    let stage = &seen.analysis.model.stages[ends.last].name;
    let (beyond, peak_a) = stepped_on(seen, ends).unwrap_or_default();
    if most_step_on(seen, ends) {
        let of = if all == 1 { "it ends".into() } else { format!("{beyond} of {all} tries end") };
        let peak = seen.reference_amps(peak_a);
        return Some(format!(", {place}: {of} above the {peak} up to which good boards peak in {stage}"));
    }
    let is_told = seen.tries()?.ended_in.as_ref() == Some(stage);
    is_told.then(|| match (shown == all, is_the_only_one(seen, stage)) {
        (true, _) => format!(", {place}, as far as the readings tell"),
        (false, true) => format!(", {place}: {}", shown_by_some(seen, stage, shown, all)),
        (false, false) => format!(", {place} in {shown} of {all} tries, as far as the readings tell"),
    })
}

/// `the amps show core in at least 3 of 15 tries`, of tries none of which shows another stage: of the others the time tells it.
fn shown_by_some(seen: &Seen, stage: &str, shown: usize, all: usize) -> String {
    let before = match too_short_for(seen, stage) {
        0 => String::new(),
        1 => format!("; one goes off before good boards come to {stage}"),
        some => format!("; {some} go off before good boards come to {stage}"),
    };
    format!("the amps show {stage} in at least {shown} of {all} tries{before}")
}

/// How many tries are over before any good board is in the stage.
fn too_short_for(seen: &Seen, stage: &str) -> usize {
    let model = &seen.analysis.model;
    let before = model.stages.iter().take_while(|other| other.name != stage);
    let least_s: f64 = before.filter_map(|stage| stage.duration).map(|span| span.low).sum();
    given_up(seen).filter(|attempt| attempt.end_s.value() - attempt.start_s.value() < least_s).count()
}

/// Whether most tries read more at their end than good boards do before the step that they are said to end at.
pub(in crate::verdict) fn most_step_on(seen: &Seen, ends: Ends) -> bool {
    stepped_on(seen, ends).is_some_and(|(beyond, _)| 2 * beyond > given_up(seen).count())
}

/// `, 2.2 to 2.6 s into it, good boards stay for 2.9 to 3.3 s: no step into services is seen`, of tries that go off shortly
/// before one.
fn short_of_the_step(seen: &Seen) -> Option<String> {
    let last = seen.ends.filter(|ends| ends.short)?.last;
    let (stays, next) = (seen.stays_in(last), seen.analysis.model.stages.get(last + 1)?);
    let (shown, all) = (stays.len(), given_up(seen).count());
    let shown =
        if shown < all { format!(" where that shows ({shown} of {all} tries)") } else { String::new() };
    let [stays, good] = [extent(&stays)?, seen.good_lengths(last)?]
        .map(|(low, high)| range(&seen.time(low), &seen.time(high)));
    Some(format!(", {stays} into it{shown}, good boards stay for {good}: no step into {} is seen", next.name))
}

/// `; good boards are through with rails 1.1 to 1.3 s after their wake`, of tries all of which stay in their last stage for
/// plainly longer. A limit keeps a sound board back as well.
fn lasts_too_long(seen: &Seen, tries: &Tries) -> Option<String> {
    let in_one = |ends: &Ends| ends.told() && ends.into.is_none() && seen.class() != Class::FeedLimited;
    let last = seen.ends.filter(in_one)?.last;
    let first = first_stage(seen.analysis, &seen.attempts);
    let stages = &seen.analysis.model.stages;
    let longest =
        stages.get(first..=last)?.iter().map(|stage| Some(stage.duration?.high)).sum::<Option<f64>>()?;
    let name = &stages[last].name;
    let lengths: Vec<(f64, f64)> =
        (first..=last).map(|stage| seen.good_lengths(stage)).collect::<Option<_>>()?;
    let (low, high) = lengths.iter().fold((0.0, 0.0), |sum, length| (sum.0 + length.0, sum.1 + length.1));
    let told = tries.ended_in.as_ref() == Some(name) && high > 0.0;
    let longer = tries.lasts_s.low > high.max(longest) + EDGE_READINGS * seen.readout.update_s();
    let through = || range(&seen.time(low), &seen.time(high));
    (told && longer).then(|| format!("; good boards are through with {name} {} after their wake", through()))
}

/// How many tries read more at their end than good boards do at any time in the stage that they are said to end in, and
/// how much that is, in amps; `None` where the next stage draws no more than that, or where a spike ends the tries.
fn stepped_on(seen: &Seen, ends: Ends) -> Option<(usize, f64)> {
    let (model, set_v) = (&seen.analysis.model, seen.analysis.run.set_v);
    let (stage, next) = (&model.stages[ends.last], &model.stages[ends.into?]);
    let (phase, factor) = seen.reference_at(&stage.name)?;
    let peak_w = phase.peak_power.high.max(phase.mean_power.high) * factor;
    let late = |attempt: &Attempt| {
        let (end, edge_s) = (attempt.end_s.value(), EDGE_READINGS * seen.readout.update_s());
        seen.amps_between(end - edge_s, end + edge_s).into_iter().fold(0.0, f64::max)
    };
    let beyond = given_up(seen).filter(|attempt| late(attempt) * set_v > peak_w).count();
    (next.watts > peak_w && !ends_in_a_spike(seen)).then_some((beyond, peak_w / set_v))
}

/// Where most tries end, if that is at the step into a stage that a few of them come to.
fn ends_before(seen: &Seen, stage: &str) -> Option<Ends> {
    let ends = seen.ends.filter(|ends| ends.told())?;
    let into = ends.into.filter(|into| seen.analysis.model.stages[*into].name == stage)?;
    few_end_in(seen, into).then_some(ends)
}

/// Whether no try shows another stage.
fn is_the_only_one(seen: &Seen, stage: &str) -> bool {
    let given_up = seen.attempts.iter().filter(|attempt| attempt.given_up);
    given_up.filter_map(|attempt| attempt.ended_in.as_deref()).all(|other| other == stage)
}

/// Where a try ends whose stage was not told: by what it draws, and by the time since its wake.
fn by_time_and_level(seen: &Seen, tries: &Tries) -> Option<String> {
    let ends = seen.ends?;
    let place = seen.place(ends);
    let usual = seen.usual_stage(tries.lasts_s.mean)?;
    if ends.into == Some(usual) {
        return Some(format!(", by time and level {place}"));
    }
    if usual > ends.last {
        let usual = &seen.analysis.model.stages[usual].name;
        return Some(format!(", by its level {place}, though good boards are in {usual} by then"));
    }
    Some(if ends.told() {
        format!(", when good boards are {place}")
    } else {
        format!(", {place}: the readings do not tell which")
    })
}

/// `peaks of 1.90 to 1.93 A, at the very end of each, against a limit of 3.50 A; volts steady at 12.1 V`.
fn highest(seen: &Seen, tries: &Tries) -> String {
    let peak = seen.amps(tries.peak_a.high);
    let each = if tries.count > 1 {
        format!("peaks of {}", range(&seen.amps(tries.peak_a.low), &peak))
    } else {
        format!("peak of {peak}")
    };
    let spike = ends_in(seen, tries).unwrap_or_default();
    let limit = seen.analysis.run.limit_a.map(|limit| format!(" against a limit of {}", exact(limit, "A")));
    // Of a starved board it is a fact of its own.
    let marked = marked_limit(seen).filter(|_| seen.class() != Class::FeedLimited);
    let met = seen.analysis.run.nears_limit(tries.peak_a.high);
    let though = if met { "and" } else { "though" };
    let marked = marked.map_or_else(String::new, |marked| format!(", {though} {marked}"));
    format!("{each}{spike}{}{marked}; {}", limit.unwrap_or_default(), feed(seen, tries))
}

/// `, each a spike at the very end,`, `, in at least 10 of 14 tries a rise at the very end,`.
fn ends_in(seen: &Seen, tries: &Tries) -> Option<String> {
    let rises = rises_at_the_end(seen)?;
    if rises.count == tries.count && tries.count > 1 && !rises.is_spike {
        return Some(each_ends_in_a_rise(seen, &rises));
    }
    let what = if rises.is_spike && sits_on_the_limit(seen) {
        "on the limit at the very end".to_owned()
    } else if rises.is_spike {
        "a spike at the very end".to_owned()
    } else {
        format!(
            "a rise at the very end{} up to {}",
            from_a_level(seen, &rises),
            amps_from_to(seen, rises.peaks_a)
        )
    };
    Some(match (tries.count, rises.count) {
        (1, _) if peak_is_followed(seen) => format!(", {what},").replace("at the very", "near its"),
        (1, _) => format!(", {what},").replace("the very", "its very"),
        (all, count) if count == all => format!(", each {what},"),
        // A rise that an average hides is one all the same.
        (all, count) => format!(", in at least {count} of {all} tries {what},"),
    })
}

/// `, each a rise at the very end from a level of 0.379 to 0.413 A,`, of peaks that have just been said.
fn each_ends_in_a_rise(seen: &Seen, rises: &Rises) -> String {
    format!(", each a rise at the very end{},", from_a_level(seen, rises))
}

/// ` from a level of 0.379 to 0.413 A`; nothing where what comes before is another stage in one try than in another, as in
/// tries so short that the readings of the last stage are few.
fn from_a_level(seen: &Seen, rises: &Rises) -> String {
    /// Times the lowest that levels of one stage hardly differ by (by judgement).
    const ONE_STAGE: f64 = 3.0;
    let (low, high) = rises.levels_a;
    let is_one = high <= ONE_STAGE * low;
    if is_one { format!(" from a level of {}", amps_from_to(seen, rises.levels_a)) } else { String::new() }
}

fn amps_from_to(seen: &Seen, (low, high): (f64, f64)) -> String {
    range(&seen.amps(low), &seen.amps(high))
}

/// What the volts did in the tries. A readback misses dips that are shorter than it, so that those seen are the least.
fn feed(seen: &Seen, tries: &Tries) -> String {
    let dips = told_dips(seen);
    if dips.is_empty() {
        let feed = seen.feed_in_words(tries.lowest_v, volts_in_tries(seen));
        return jumps_to(seen)
            .map_or_else(|| feed.clone(), |to| format!("{feed} but for jumps up to {to} as it lets go"));
    }
    let highest = dips.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let [lowest, highest] = below_the_unloaded(seen, [tries.lowest_v, highest]);
    let to = if lowest == highest { highest } else { format!("between {lowest} and {highest}") };
    let how = if seen.holds(tries.lowest_v) { "dip a little" } else { "sag" };
    let each = if dips.len() == tries.count {
        "each try".to_owned()
    } else {
        format!("at least {} of {} tries", dips.len(), tries.count)
    };
    format!("volts {how} from {} to {to} in {each}", seen.unloaded_volts())
}

/// Mean volts of all tries; of some without a reading of their own, those of the feed unloaded.
fn volts_in_tries(seen: &Seen) -> f64 {
    let within =
        given_up(seen).flat_map(|try_| seen.samples_between(try_.start_s.value(), try_.end_s.value()));
    let read = within.map(|i| seen.trace.volts()[i]).collect::<Moments>();
    read.mean().unwrap_or(seen.analysis.run.set_v)
}

/// What the volts jump to at the end of some tries, where that is seen: a supply takes a while to take back what a load that
/// goes off leaves over.
fn jumps_to(seen: &Seen) -> Option<String> {
    let let_go = |attempt: &Attempt| {
        let end_s = attempt.end_s.value();
        let last = seen.samples_between(end_s - seen.readout.update_s(), end_s + seen.readout.update_s());
        last.map(|i| seen.trace.volts()[i]).fold(0.0, f64::max)
    };
    let steady = volts_in_tries(seen).max(seen.analysis.run.set_v) * (1.0 + STEADY_SHARE);
    let jumps: Vec<f64> = given_up(seen).map(let_go).filter(|volts| *volts > steady).collect();
    let several = jumps.len() > 1;
    jumps.into_iter().max_by(f64::total_cmp).filter(|_| several).map(volts)
}

/// The dips that are no accident: several that are no error of readback or supply, or, however small, one at the end of most
/// tries.
pub(super) fn told_dips(seen: &Seen) -> Vec<f64> {
    let lowest = given_up(seen).map(|attempt| attempt.lowest_v.value());
    let several = lowest.filter(|lowest| !seen.is_steady(*lowest)).count() > 1;
    let (dips, tries) = (dips(seen), given_up(seen).count());
    let most = tries > 1 && 2 * dips.len() > tries;
    if several || most { dips } else { Vec::new() }
}

/// The lowest volts of every try in which they visibly go down at its end.
fn dips(seen: &Seen) -> Vec<f64> {
    let set_v = seen.analysis.run.set_v;
    let fed = (set_v, seen.analysis.run.start_s);
    let visible = visible_below(seen.trace, &seen.attempts, seen.readout.update_s(), fed).unwrap_or(set_v);
    given_up(seen).map(|attempt| attempt.lowest_v.value()).filter(|lowest| *lowest < visible).collect()
}

/// Volts of a dip: to the hundredths where fewer figures would not tell them from the volts unloaded.
fn below_the_unloaded(seen: &Seen, dips: [f64; 2]) -> [String; 2] {
    let unloaded = volts(seen.analysis.run.set_v);
    if dips.iter().any(|dip| volts(*dip) == unloaded) {
        return dips.map(|dip| format!("{dip:.2} V"));
    }
    dips.map(volts)
}
