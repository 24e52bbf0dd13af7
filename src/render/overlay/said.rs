//! What is said of the runs in an overlay: which are odd, and what each is called.

use super::super::font::clean;
use super::super::parts::{Subject, foot};
use super::super::words;
use super::CROWD;
use crate::units::counted;
use crate::verdict::Class;

/// Which runs are not as the good ones. Where none is a full boot without departure, those that are not as most are.
pub(in super::super) fn odd_ones(runs: &[Subject]) -> Vec<bool> {
    if runs.iter().any(is_sound) {
        return runs.iter().map(|run| !is_sound(run)).collect();
    }
    let count = |class: Class| runs.iter().filter(|run| run.finding.verdict.class == class).count();
    let usual = Class::ALL.into_iter().max_by_key(|class| count(*class));
    runs.iter().map(|run| Some(run.finding.verdict.class) != usual).collect()
}

/// Whether a run boots fully and departs nowhere.
pub(super) fn is_sound(run: &Subject) -> bool {
    run.finding.verdict.class == Class::FullBoot && run.finding.departures.is_empty()
}

/// What tells a run from the others: serial number, else the log's file name.
pub(super) fn name(run: &Subject) -> String {
    let serial = run.finding.log.serial.clone().filter(|serial| !serial.trim().is_empty());
    clean(&serial.unwrap_or_else(|| foot::file_name(&run.finding.log.path)))
}

pub(super) fn model(runs: &[Subject]) -> String {
    let first = runs.first().and_then(|run| run.finding.log.board.clone());
    first.filter(|board| !board.trim().is_empty()).unwrap_or_else(|| "unnamed board".into())
}

pub(in super::super) fn headline(runs: &[Subject], odd: &[bool]) -> String {
    let odd: Vec<&Subject> = runs.iter().zip(odd).filter(|(_, odd)| **odd).map(|(run, _)| run).collect();
    let alike = runs.iter().zip(runs.iter().skip(1)).all(|(a, b)| summary(a) == summary(b));
    let named = |run: &&Subject| format!("{} {}", name(run), summary(run));
    match odd.as_slice() {
        [] if runs.is_empty() => "no logs".into(),
        [] if alike => format!("All {} alike: {}", runs.len(), summary(&runs[0])),
        [] => format!("None of {} boots fully", counted(runs.len(), "log")),
        [one] => format!("1 of {} is odd: {}", runs.len(), named(one)),
        few if few.len() < CROWD => {
            let all: Vec<String> = few.iter().map(named).collect();
            format!("{} of {} are odd: {}", odd.len(), runs.len(), all.join(", "))
        }
        many => format!("{} of {} are odd: {}", odd.len(), runs.len(), kinds(many)),
    }
}

/// `3 hard short, 2 no draw, and 4 more`: how many runs there are of each kind.
fn kinds(runs: &[&Subject]) -> String {
    /// Kinds that are read at a glance.
    const MOST: usize = 3;
    let mut kinds: Vec<(String, usize)> = Vec::new();
    for run in runs {
        let kind = summary(run);
        match kinds.iter_mut().find(|(other, _)| *other == kind) {
            Some((_, count)) => *count += 1,
            None => kinds.push((kind, 1)),
        }
    }
    kinds.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    let rest: usize = kinds.iter().skip(MOST).map(|(_, count)| count).sum();
    let said = kinds.iter().take(MOST).map(|(kind, count)| format!("{count} {kind}"));
    let rest = (rest > 0).then(|| format!("and {rest} more"));
    said.chain(rest).collect::<Vec<_>>().join(", ")
}

/// The verdict with what departs, in a few words.
pub(super) fn summary(run: &Subject) -> String {
    let clause = words::departures_clause(run.finding);
    format!("{}{clause}", words::short(&run.finding.verdict))
}
