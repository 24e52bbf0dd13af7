//! From where on a start is counted.

use super::RISES_S;
use crate::stats::robust;
use crate::trace::Trace;
use crate::units::Seconds;
use crate::verdict::Attempt;
use crate::verdict::align::Step;
use crate::verdict::engine::Analysis;
use crate::verdict::phases::without_zero;
use crate::verdict::readout::Readout;

/// A board that waits for nothing starts with its feed: what the first readings average over is its first stage too. A
/// first stage that none of its other tries shows is a wait that the feed begins, and all are counted from what comes
/// after it.
pub(super) fn with_the_feed(
    mut starts: Vec<Attempt>,
    trace: &Trace,
    analysis: &Analysis,
    readout: &Readout,
) -> Vec<Attempt> {
    let Analysis { run, model, .. } = analysis;
    let at_once = model.starts_at_once() && run.switch_on_seen;
    let Some((first, others)) = starts.split_first_mut().filter(|_| at_once) else { return starts };
    if first.start_s.value() >= run.start_s + RISES_S {
        return starts;
    }
    let wait = first_wait(analysis, first);
    let alone = wait
        .filter(|wait| !others.is_empty() && !others.iter().any(|start| shows(trace, readout, start, wait)));
    let begins_s = alone.map_or(run.start_s, |wait| wait.stretch.end_s);
    first.start_s = Seconds::new(begins_s).unwrap_or(first.start_s);
    starts
}

/// The first stage, if the first start goes on after it.
fn first_wait<'a>(analysis: &'a Analysis, first: &Attempt) -> Option<&'a Step> {
    let step = analysis.path.iter().find(|step| step.state.stage() == Some(0))?;
    (step.stretch.end_s < first.end_s.value()).then_some(step)
}

/// Whether the first half of another start has a reading at the level of `wait` beyond its edge.
fn shows(trace: &Trace, readout: &Readout, start: &Attempt, wait: &Step) -> bool {
    /// Share of its level that the same stage differs by from start to start (by judgement).
    const ALIKE: f64 = 0.5;
    let amps = |from: f64, to: f64| {
        let at = |time: f64| trace.time().partition_point(|t| *t < time);
        let read = trace.amps().get(at(from)..at(to)).unwrap_or_default();
        read.iter().map(|amps| without_zero(*amps, readout.zero_a)).collect::<Vec<f64>>()
    };
    let mut waiting = amps(wait.stretch.start_s, wait.stretch.end_s);
    let Some(level) = robust::median(&mut waiting) else { return true };
    let (from, to) = (start.start_s.value(), start.end_s.value());
    let lasting = (wait.stretch.end_s - wait.stretch.start_s).min((to - from) / 2.0);
    let early = amps(from + readout.update_s(), from + lasting);
    early.is_empty() || early.iter().any(|amps| *amps <= level * (1.0 + ALIKE))
}

/// The first stage of the board that its tries show: the one after a wait that its feed begins.
pub(in crate::verdict) fn first_stage(analysis: &Analysis, starts: &[Attempt]) -> usize {
    let Some(first) = starts.first() else { return 0 };
    let waited = |step: &&Step| step.state.stage() == Some(0) && step.stretch.end_s <= first.start_s.value();
    let waits = analysis.model.starts_at_once() && analysis.model.stages.len() > 1;
    usize::from(waits && analysis.path.iter().any(|step| waited(&step)))
}
