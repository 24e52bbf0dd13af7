//! In which stage a start came to its end.

use super::Stay;
use crate::stats::robust;
use crate::trace::Trace;
use crate::verdict::align::{State, Step};
use crate::verdict::engine::Analysis;
use crate::verdict::model::Stage;
use crate::verdict::readout::Readout;

/// Standard deviations between boards that a stage's level is off by (by judgement).
const SDS: f64 = 2.5;

/// The stage in which the stay ended: the one that the alignment tells, or the one at whose level it ended.
pub(super) fn ended_in(trace: &Trace, analysis: &Analysis, readout: &Readout, stay: &Stay) -> Option<usize> {
    if !analysis.model.of_this_board {
        return None;
    }
    let within = |step: &&Step| step.stretch.end_s > stay.start_s && step.stretch.start_s < stay.end_s;
    let held_down = stay.steps.iter().rev().find(within).filter(|step| step.state == State::Starved);
    let mut steps = stay.steps.iter().rev().filter(within).skip_while(|step| step.state == State::Starved);
    let last = steps.next()?;
    let held_in = |stage: usize| {
        held_down.and_then(|held| stepped_on(trace, analysis, readout, (last, stage), held)).unwrap_or(stage)
    };
    last.state.stage().map(held_in).or_else(|| {
        let before = steps.find_map(|step| Some((step, step.state.stage()?)));
        let stepped_on =
            before.and_then(|(step, stage)| stepped_on(trace, analysis, readout, (step, stage), last));
        let first = before.map_or(0, |(_, stage)| stage);
        let by_level = || {
            level_at_the_end(trace, analysis, readout, stay)
                .and_then(|watts| by_level(analysis, stay, first, watts))
        };
        stepped_on.or_else(by_level).or(before.map(|(_, stage)| stage))
    })
}

/// The stage after `before`, if that had its time and what follows it, of no shape of its own, is nearer to the level of the
/// next one: a try that is cut off, or held down by the limit, shows less of a stage than good boards do, and one that ends in
/// a spike shows what is no stage.
fn stepped_on(
    trace: &Trace,
    analysis: &Analysis,
    readout: &Readout,
    (before, stage): (&Step, usize),
    last: &Step,
) -> Option<usize> {
    let (here, next) = (analysis.model.stages.get(stage)?, analysis.model.stages.get(stage + 1)?);
    let lasted = |step: &Step| step.stretch.end_s - step.stretch.start_s;
    let had_its_time = here.duration.is_some_and(|span| lasted(before) >= span.low);
    if !had_its_time || !readout.shows_level(lasted(last)) {
        return None;
    }
    let within = |i: &usize| (last.stretch.start_s..last.stretch.end_s).contains(&trace.time()[*i]);
    let samples = analysis.run.samples.clone().filter(within);
    let amps = robust::median(&mut samples.map(|i| trace.amps()[i]).collect::<Vec<f64>>())?;
    let watts = ((amps - readout.zero_a) * analysis.run.set_v).max(1e-9);
    let off = |stage: &Stage| (watts / stage.watts).ln().abs();
    let away = off(here) > SDS * here.sd;
    let spikes = (watts / next.watts).ln() > SDS * next.sd;
    (away && !spikes && off(next) < off(here)).then_some(stage + 1)
}

/// Watts of the last third of a stay: its median, which a spike at the very end leaves alone. `None` if that is too few
/// readings, or if the limit is what keeps the level where it is.
fn level_at_the_end(trace: &Trace, analysis: &Analysis, readout: &Readout, stay: &Stay) -> Option<f64> {
    let third_s = (stay.end_s - stay.start_s) / 3.0;
    if !readout.shows_level(third_s) {
        return None;
    }
    let late = stay.samples.clone().filter(|i| trace.time()[*i] >= stay.end_s - third_s);
    let amps = robust::median(&mut late.map(|i| trace.amps()[i]).collect::<Vec<f64>>())?;
    (!analysis.run.nears_limit(amps)).then_some((amps - readout.zero_a) * analysis.run.set_v)
}

/// The stage whose level is nearest to `watts`, if it is near enough; a stage that good boards are not in for long yet
/// is none that this stay can have come to, nor is one before the `first` that it is known to have been in. One that good boards
/// have always left by then it is only if none after it is near.
fn by_level(analysis: &Analysis, stay: &Stay, first: usize, watts: f64) -> Option<usize> {
    let model = &analysis.model;
    let latest = model.stage_after(stay.end_s - stay.start_s)?;
    let off = |index: usize| {
        let stage = &model.stages[index];
        (watts.max(1e-9) / stage.watts).ln().abs() / stage.sd
    };
    let nearest = |first: usize| {
        let nearest = (first..=latest).min_by(|a, b| off(*a).total_cmp(&off(*b)))?;
        (off(nearest) <= SDS).then_some(nearest)
    };
    let earliest = model.earliest_after(stay.end_s - stay.start_s);
    nearest(first.max(earliest)).or_else(|| nearest(first))
}
