//! A board that starts and gives up.

use super::course::{fell_to, left};
use super::to_the_end;
use crate::units::how_often;
use crate::verdict::Class;
use crate::verdict::align::{State, Step};
use crate::verdict::attempts::{RISES_S, Spread, Tries};
use crate::verdict::seen::{Seen, exact, range, seconds, volts};

pub(super) fn tries(seen: &Seen, last: &Step) -> Vec<String> {
    let mut facts = Vec::new();
    if let Some(tries) = seen.tries() {
        facts.push(counted_tries(seen, &tries));
        facts.push(where_each_ends(seen, &tries));
        facts.push(highest(seen, &tries));
    }
    facts.extend(starving(seen));
    if seen.class() == Class::LatchOff {
        facts.push(format!("after that {}: {}", to_the_end(seen, last), left(fell_to(seen, last))));
    }
    facts
}

/// `16 tries from 6.96 s to 53.9 s, one every 3.13 s (3.08 to 3.18 s)`.
fn counted_tries(seen: &Seen, tries: &Tries) -> String {
    let span = format!("from {} to {}", seconds(tries.first_start_s), seconds(tries.last_end_s));
    let every = match tries.every_s {
        None => String::new(),
        Some(every) if tries.count == 2 && !tries.one_is_on => {
            format!(", {} apart", seen.lasting(every.mean))
        }
        Some(every) => format!(", one every {}", spread(seen, every)),
    };
    let on = if tries.one_is_on { "; one more is on when the log ends" } else { "" };
    let times = if tries.count == 1 { "1 try".to_owned() } else { format!("{} tries", tries.count) };
    format!("{times} {span}{every}{on}")
}

/// A time with its range, where that says more.
fn spread(seen: &Seen, times: Spread) -> String {
    let (low, high) = (seen.lasting(times.low), seen.lasting(times.high));
    let mean = seen.lasting(times.mean);
    if low == high { mean } else { format!("{mean} ({})", range(&low, &high)) }
}

/// `each ends 0.42 s after its wake (0.40 to 0.44 s), in firmware`.
fn where_each_ends(seen: &Seen, tries: &Tries) -> String {
    let each = if tries.count > 1 { "each ends" } else { "it ends" };
    let after = spread(seen, tries.lasts_s);
    let stage = match &tries.ended_in {
        Some(stage) if tries.ended_there == tries.count => format!(", in {stage}"),
        Some(stage) if is_the_only_one(seen, stage) => {
            format!(", in {stage} where a stage shows ({} of {})", tries.ended_there, tries.count)
        }
        Some(stage) => format!(", most often in {stage} ({} of {})", tries.ended_there, tries.count),
        None => by_time_and_level(seen, tries).unwrap_or_default(),
    };
    format!("{each} {after} after its wake{stage}")
}

/// Whether no try shows another stage.
fn is_the_only_one(seen: &Seen, stage: &str) -> bool {
    let given_up = seen.attempts.iter().filter(|attempt| attempt.given_up);
    given_up.filter_map(|attempt| attempt.ended_in.as_deref()).all(|other| other == stage)
}

/// Where a try ends whose stage was not told: by what it draws, or by the time since its wake.
fn by_time_and_level(seen: &Seen, tries: &Tries) -> Option<String> {
    let likely = tries.likely_in.as_ref()?;
    let usual = &seen.analysis.model.stages[seen.usual_stage(tries.lasts_s.mean)?].name;
    Some(if likely == usual {
        format!(", when good boards are in {usual}")
    } else {
        format!(", drawing no more than good boards in {likely}, though they are in {usual} by then")
    })
}

/// `highest 1.93 A (1.90 to 1.93 A) against a limit of 3.50 A; volts steady at 12.1 V`.
fn highest(seen: &Seen, tries: &Tries) -> String {
    let peak = seen.amps(tries.peak_a.high);
    let each = if tries.count > 1 {
        format!("peaks of {}", range(&seen.amps(tries.peak_a.low), &peak))
    } else {
        format!("peak of {peak}")
    };
    let limit = seen.analysis.run.limit_a.map(|limit| format!(" against a limit of {}", exact(limit, "A")));
    format!("{each}{}; {}", limit.unwrap_or_default(), seen.feed_in_words(tries.lowest_v))
}

fn starving(seen: &Seen) -> Option<String> {
    let analysis = seen.analysis;
    // The feed of a board that is switched on rises from nothing, which is no giving way.
    let risen = analysis.run.start_s + RISES_S;
    let gave_way = |step: &&Step| step.state == State::Starved && step.stretch.start_s >= risen;
    let starved: Vec<&Step> = analysis.path.iter().filter(gave_way).collect();
    let lowest = starved.iter().map(|step| step.stretch.volts).fold(f64::INFINITY, f64::min);
    let limited = seen.class() == Class::FeedLimited;
    let need = analysis.model.peak_w.filter(|_| limited).map(|peak| peak / analysis.run.set_v);
    let need = need.filter(|need| analysis.run.limit_a.is_none_or(|limit| *need > limit));
    let need = need.map(|need| format!("a good boot peaks at {}", exact(need, "A")));
    let way = lowest
        .is_finite()
        .then(|| format!("the feed gives way {}, to a mean of {}", how_often(starved.len()), volts(lowest)));
    match (way, need) {
        (Some(way), Some(need)) => Some(format!("{way}; {need}")),
        (way, need) => way.or(need),
    }
}
