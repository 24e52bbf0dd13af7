//! What the good runs do when an odd one stays where it is.

use super::super::words;
use super::Member;
use crate::verdict::Phase;

/// `the 3 good runs here go on to login at 0.27 to 0.32 A`: what the good runs do after the stage that this one is stuck in;
/// where they do not leave it either, what they draw there. That was measured on these, and is none of the tolerances that a
/// profile gives for good boards.
pub(super) fn go_on(member: &Member, members: &[Member]) -> Option<String> {
    let stage = member.run.finding.verdict.stalled_in.as_ref()?;
    let next: Vec<&Phase> = good(members).filter_map(|good| next(&good.run.finding.phases, stage)).collect();
    let (runs, goes, draws) = match good(members).count() {
        1 => ("the good run here".to_owned(), "goes", "draws"),
        several => (format!("the {several} good runs here"), "go", "draw"),
    };
    if let Some(first) = next.first() {
        return Some(format!("{runs} {goes} on to {} at {}", first.name, means(member, &next)?));
    }
    let there = good(members).flat_map(|good| &good.run.finding.phases).filter(|phase| phase.name == *stage);
    Some(format!("{runs} {draws} {}", means(member, &there.collect::<Vec<_>>())?))
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
