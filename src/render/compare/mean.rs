//! What is known of the level of a stage in which few readings are left without those over its edges.

use super::super::parts::Subject;
use super::seen::length;
use crate::verdict::{Phase, is_mostly_edges};

/// The amps of a stage without its edges, though they are most of it: what only these make unlike is no difference of levels.
pub(super) fn level(run: &Subject, phase: &Phase) -> f64 {
    let short = is_short(run, phase);
    short.then(|| of_middle(run, phase)).flatten().unwrap_or_else(|| phase.mean_a.value())
}

/// Whether the mean of the finding has the edges in it.
pub(super) fn is_short(run: &Subject, phase: &Phase) -> bool {
    run.finding.log.update_s().is_some_and(|update| is_mostly_edges(length(phase), update))
}

/// The mean of the middle half of its time.
fn of_middle(run: &Subject, phase: &Phase) -> Option<f64> {
    let (start, quarter) = (phase.start_s.value(), length(phase) / 4.0);
    let index = |at: f64| run.trace.time().partition_point(|t| *t < at);
    let read = run.trace.amps().get(index(start + quarter)..index(start + 3.0 * quarter))?;
    let count = f64::from(u32::try_from(read.len()).ok().filter(|count| *count > 0)?);
    Some(read.iter().map(|amps| run.finding.log.drawn(*amps)).sum::<f64>() / count)
}
