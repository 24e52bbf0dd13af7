//! The facts that decided, in numbers that a technician can check.

mod course;
mod rest;
mod short;
mod tries;

pub(super) use course::{FellTo, Liveliness, draws_less, fall, fallen, liveliness};
pub(super) use rest::rails_may_be_up;
pub(super) use short::woke_before;
pub(super) use tries::ends_in_a_spike;

use super::Class;
use super::align::Step;
use super::seen::{Seen, seconds};

/// Facts that are read at a glance; more is in the numbers of the phases.
const MOST_FACTS: usize = 5;

/// The few facts behind the verdict on one run.
pub(super) fn because(seen: &Seen) -> Vec<String> {
    let analysis = seen.analysis;
    let Some(last) = analysis.path.last() else {
        return vec!["the run holds no reading with feed".into()];
    };
    let mut facts = match analysis.class() {
        Class::NoDraw => rest::no_draw(seen, last),
        Class::HardShort | Class::PartialShort => short::short(seen, last),
        Class::ExcessStandby | Class::StandbyOnly => rest::at_standby(seen, last),
        Class::LatchOff | Class::Cycling | Class::FeedLimited => tries::tries(seen, last),
        Class::Stalled => course::stalled(seen, last),
        Class::FullBoot => course::booted(seen, last),
        Class::DroppedOut => course::dropped(seen),
        Class::Inconclusive => inconclusive(seen, last),
    };
    if !analysis.explained && analysis.class() == Class::Inconclusive {
        facts.insert(0, "the run fits none of the explanations well".into());
    }
    facts.truncate(MOST_FACTS);
    if facts.len() < MOST_FACTS && analysis.leak_w > 0.0 {
        let surplus = seen.watts(analysis.leak_w, analysis.run.set_v);
        facts.push(format!("{surplus} more than the usual standby, from before the wake on"));
    }
    facts
}

/// `33 mA at 12.7 V from 1.90 s to the end, 53.1 s`.
fn to_the_end(seen: &Seen, step: &Step) -> String {
    let level = seen.level(step);
    format!(
        "{} at {} from {} to the end, {}",
        seen.amps(level.amps),
        seen.volts(level.volts),
        seen.moment(level.start_s),
        seen.span(level.start_s, level.end_s)
    )
}

fn inconclusive(seen: &Seen, last: &Step) -> Vec<String> {
    let analysis = seen.analysis;
    let captured = format!("{} of feed were captured", seen.time(analysis.run.duration()));
    // The last level and not the mean since switch-on, which holds the rise of the feed.
    let piece = analysis.pieces.get(last.to - 1).filter(|piece| piece.duration() >= LEVEL_S);
    let (length, amps, end_v) = piece.map_or_else(
        || (last.stretch.duration(), last.stretch.amps, last.stretch.volts),
        |piece| (piece.duration(), piece.amps, piece.volts),
    );
    let end =
        format!("mean over its last {}: {} at {}", seen.time(length), seen.amps(amps), seen.volts(end_v));
    [captured, end].into_iter().chain(awake(seen, last)).chain(too_early(seen, last)).collect()
}

/// A level is one from this time on, in seconds.
const LEVEL_S: f64 = 0.5;

/// What a board without a reference does that is not asleep.
fn awake(seen: &Seen, last: &Step) -> Option<String> {
    let model = &seen.analysis.model;
    (!model.of_this_board && last.stretch.watts > model.standby.high).then(|| {
        format!(
            "{} is more than such boards draw asleep: awake or loaded, and only a reference can tell which, or how far it got",
            seen.watts(last.stretch.watts, last.stretch.volts)
        )
    })
}

fn run_is_unasked(seen: &Seen) -> bool {
    seen.analysis.run.presses.is_empty()
}

/// What the log ended in the middle of.
fn too_early(seen: &Seen, last: &Step) -> Option<String> {
    let analysis = seen.analysis;
    if !analysis.model.of_this_board {
        return None;
    }
    let Some(stage) = last.state.stage().map(|stage| &analysis.model.stages[stage]) else {
        let press = analysis.run.presses.last().map(|press| (analysis.run.end_s - press, "the press"));
        let (since, what) = press.unwrap_or((analysis.run.duration(), "switch-on"));
        return (last.state.is_rest() && since < super::limits::TIME_TO_WAKE_S).then(|| {
            let unasked = if seen.has_button() && run_is_unasked(seen) {
                "; no press of the button is marked"
            } else {
                ""
            };
            format!("it ends {} after {what}: a board may take longer to wake{unasked}", seen.time(since))
        });
    };
    let span = stage.duration.filter(|span| last.stretch.duration() < span.high)?;
    Some(format!(
        "in {} for {} when it ends; good boards stay for up to {}",
        stage.name,
        seen.time(last.stretch.duration()),
        seconds(span.high)
    ))
}
