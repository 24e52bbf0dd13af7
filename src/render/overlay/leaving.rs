//! Where an odd run first leaves what the good ones do, which its verdict may speak of later: a board that latches off did so
//! at its last try, and left the good ones at its first.

use super::super::parts::gives_up;
use super::super::words;
use super::Member;
use crate::verdict::{Class, Phase};

/// Where that is, on the run's own time and on its trace.
#[derive(Debug, Clone, Copy)]
pub(super) struct Left {
    pub(super) at: f64,
    /// The reading that shows it, if that is not the one at that moment.
    pub(super) point_at: Option<f64>,
    pub(super) amps: Option<f64>,
}

/// Where its first try was given up. `None` where the verdict's own moment is the first, as that of a stall is, which every
/// figure has at the same place; or where the window does not show it.
pub(super) fn first(member: &Member) -> Option<Left> {
    let left = match member.run.finding.verdict.class {
        Class::LatchOff | Class::Cycling | Class::FeedLimited => given_up(member),
        _ => None,
    };
    left.filter(|left| member.readings.time.shows(left.at))
}

/// The end of the first try: at its last level, from which it falls.
fn given_up(member: &Member) -> Option<Left> {
    let attempt = member.run.finding.attempts.iter().find(|attempt| attempt.given_up)?;
    let end = gives_up::end_of(&member.run, attempt);
    let unread = Left { at: attempt.end_s.value(), point_at: None, amps: None };
    Some(end.map_or(unread, |end| Left {
        at: end.falls_s,
        point_at: Some(end.point_s),
        amps: Some(end.amps),
    }))
}

/// `good boards go on to login at 0.27 to 0.32 A`: what the good runs do after the stage that this one is stuck in; where
/// they do not leave it either, what they draw there.
pub(super) fn go_on(member: &Member, members: &[Member]) -> Option<String> {
    let stage = member.run.finding.verdict.stalled_in.as_ref()?;
    let next: Vec<&Phase> = good(members).filter_map(|good| next(&good.run.finding.phases, stage)).collect();
    if let Some(first) = next.first() {
        return Some(format!("good boards go on to {} at {}", first.name, means(member, &next)?));
    }
    let there = good(members).flat_map(|good| &good.run.finding.phases).filter(|phase| phase.name == *stage);
    Some(format!("good boards {}", means(member, &there.collect::<Vec<_>>())?))
}

/// From the lowest to the highest mean.
fn means(member: &Member, phases: &[&Phase]) -> Option<String> {
    let means = || phases.iter().map(|phase| phase.mean_a.value());
    let (low, high) = (means().reduce(f64::min)?, means().reduce(f64::max)?);
    let amps = |value: f64| words::amps(value, member.run.resolution());
    Some(words::range(&amps(low), &amps(high)))
}

fn next<'a>(phases: &'a [Phase], stage: &str) -> Option<&'a Phase> {
    let at = phases.iter().rposition(|phase| phase.name == *stage)?;
    phases.get(at + 1).filter(|next| next.name != "off")
}

fn good<'a, 'b>(members: &'b [Member<'a>]) -> impl Iterator<Item = &'b Member<'a>> {
    members.iter().filter(|member| member.is_good())
}
