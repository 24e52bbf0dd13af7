//! What a stage draws on average, as its row says it.

use super::super::parts::Subject;
use super::seen::length;
use crate::verdict::{Direction, Phase};

/// Mean amps and watts of a stage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Mean {
    pub(super) amps: f64,
    pub(super) watts: f64,
}

impl Mean {
    /// Those of the finding, which are without the readings over the edges. Of a stage in which that leaves few, all of its
    /// readings: nobody who averages what is drawn comes to the mean of one or two of them.
    pub(super) fn of(run: &Subject, phase: &Phase) -> Self {
        let found = Self { amps: phase.mean_a.value(), watts: phase.mean_w.value() };
        if !is_mostly_edges(run, phase) || is_with_the_feed(run, phase) || departs(run, phase) {
            return found;
        }
        of_all(run, phase).unwrap_or(found)
    }
}

/// Whether few readings are left without those over the edges.
fn is_mostly_edges(run: &Subject, phase: &Phase) -> bool {
    /// Renewals of the readback that the edges take, two at either end, as in the finding.
    const EDGES: f64 = 4.0;
    /// Fewer than these are few (by judgement).
    const FEW: f64 = 4.0;
    run.finding.log.update_s().is_some_and(|update| length(phase) < (EDGES + FEW) * update)
}

/// Whether it begins with the feed: its first readings are the rise of that, and charge what is empty.
fn is_with_the_feed(run: &Subject, phase: &Phase) -> bool {
    let before = run.finding.phases.iter().take_while(|other| other.start_s < phase.start_s).last();
    before.is_none_or(|before| before.name == "off")
}

/// Whether its amps are a departure, whose number is the one that is said of it.
fn departs(run: &Subject, phase: &Phase) -> bool {
    let by_amps = |direction| matches!(direction, Direction::Above | Direction::Below);
    let departures = &run.finding.departures;
    departures.iter().any(|departure| departure.phase == phase.name && by_amps(departure.direction))
}

fn of_all(run: &Subject, phase: &Phase) -> Option<Mean> {
    let (time, trace) = (run.trace.time(), run.trace);
    let index = |at: f64| time.partition_point(|t| *t < at);
    let there = index(phase.start_s.value())..index(phase.end_s.value());
    let volts = trace.volts().get(there.clone())?;
    let amps = || trace.amps()[there.clone()].iter().map(|read| run.finding.log.drawn(*read));
    let count = f64::from(u32::try_from(volts.len()).ok().filter(|count| *count > 0)?);
    let watts = amps().zip(volts).map(|(amps, volts)| amps * volts).sum::<f64>();
    Some(Mean { amps: amps().sum::<f64>() / count, watts: watts / count })
}
