//! What each log measured of each stage, and the envelopes that follow from it.

use super::Taken;
use crate::reference::capture::Run;
use crate::reference::envelope::{self, figures_of};
use crate::reference::measure::measure;
use crate::reference::model::{Envelope, PhaseReference, Profile, Quantity, SourceLog, StageMeasure};
use crate::reference::power_law;
use crate::stats::robust;
use crate::trace::Trace;
use crate::units::{Volts, counted};
use std::collections::BTreeSet;

/// Measured values are kept to this many significant figures.
const FIGURES: i32 = 5;
/// The feed that a profile is for is known to the millivolt, as supplies show it.
const MILLI: f64 = 1e3;
/// With fewer boards than this what is between boards is mostly assumed.
const FEW_BOARDS: usize = 3;
/// Holds everything: of a stage that no capture resolves.
const ANYTHING: Envelope = Envelope { low: 0.0, typical: 0.0, high: 1e6 };

/// What `taken` measured of stage `k`; `ends` if the stage has an end of its own.
pub(super) fn measured(
    taken: &Taken,
    starts: &[usize],
    k: usize,
    phase: &str,
    ends: bool,
) -> Option<StageMeasure> {
    measure(&taken.capture.trace, sample_range(&taken.run, starts, k), phase, ends, &taken.run.readback)
}

fn sample_range(run: &Run, starts: &[usize], k: usize) -> std::ops::Range<usize> {
    let start = run.pieces.get(starts[k]).map_or(run.end, |piece| piece.start);
    let end = starts.get(k + 1).and_then(|next| run.pieces.get(*next)).map_or(run.end, |piece| piece.start);
    start..end
}

/// The log as a profile keeps it.
pub(super) fn source_log(taken: &Taken, starts: &[usize], names: &[String], waits: bool) -> SourceLog {
    let last = names.len() - 1;
    let stages = names
        .iter()
        .enumerate()
        .filter_map(|(k, name)| measured(taken, starts, k, name, k < last && !(waits && k == 0)))
        .map(kept)
        .collect();
    SourceLog {
        name: taken.capture.name.clone(),
        sha256: taken.capture.sha256.clone(),
        serial: taken.capture.trace.header().serial.clone(),
        feed: fed_volts(&taken.capture.trace, &taken.run),
        stages,
    }
}

/// A measure to the figures that a profile keeps.
fn kept(stage: StageMeasure) -> StageMeasure {
    let round = |value: f64| figures_of(value, FIGURES);
    StageMeasure {
        phase: stage.phase,
        mean_power: round(stage.mean_power),
        peak_power: round(stage.peak_power),
        activity: round(stage.activity),
        duration: stage.duration.map(round),
        energy: stage.energy.map(round),
        volts: round(stage.volts),
        uncertainty: round(stage.uncertainty),
        seen: stage.seen.map(round),
        update: stage.update.map(|update| figures_of(update, 3)),
    }
}

pub(super) fn fed_volts(trace: &Trace, run: &Run) -> Option<Volts> {
    let median = robust::median(&mut trace.volts()[run.start..run.end].to_vec())?;
    Volts::new(figures_of(median, FIGURES)).ok()
}

/// Computes every envelope of `profile` from the evidence in it; returns what the person should know.
pub(super) fn compute_envelopes(profile: &mut Profile) -> Vec<String> {
    let logs = std::mem::take(&mut profile.learned.logs);
    let boards = board_numbers(&logs);
    let mut feeds: Vec<f64> = logs.iter().filter_map(|log| log.feed.map(Volts::value)).collect();
    let median = robust::median(&mut feeds).unwrap_or(profile.feed.nominal.value());
    let reference = (median * MILLI).round() / MILLI;
    let count = profile.phases.len();
    let mut notes = board_notes(&logs, &boards);
    for (k, phase) in profile.phases.iter_mut().enumerate() {
        let measures = measures_of(&logs, &boards, &phase.name);
        let law = power_law::exponent(&measures, phase.waits_for_person);
        (phase.volts_exponent, phase.volts_exponent_sd) = (law.exponent, Some(law.sd));
        fill(phase, &moved(&measures, reference, law.exponent), k + 1 < count);
        if measures.is_empty() {
            notes.push(format!("no capture resolves `{}`; its envelopes say nothing", phase.name));
        }
    }
    profile.learned.boards = boards.iter().collect::<BTreeSet<_>>().len();
    profile.learned.captures = logs.len();
    profile.learned.feed = Volts::new(reference).ok();
    profile.learned.logs = logs;
    notes
}

/// What the logs measured of the phase of that name, each with the number of its board.
fn measures_of<'a>(logs: &'a [SourceLog], boards: &[usize], phase: &str) -> Vec<(usize, &'a StageMeasure)> {
    logs.iter()
        .zip(boards)
        .flat_map(|(log, board)| log.stages.iter().map(move |stage| (*board, stage)))
        .filter(|(_, stage)| stage.phase == phase)
        .collect()
}

/// The measures with the factor that moves their power to the feed that the profile is for.
fn moved<'a>(
    measures: &[(usize, &'a StageMeasure)],
    reference: f64,
    exponent: f64,
) -> Vec<(usize, &'a StageMeasure, f64)> {
    let factor = |stage: &StageMeasure| (reference / stage.volts.max(1e-9)).powf(exponent);
    measures.iter().map(|(board, stage)| (*board, *stage, factor(stage))).collect()
}

fn fill(phase: &mut PhaseReference, measures: &[(usize, &StageMeasure, f64)], ends: bool) {
    let waits = phase.waits_for_person;
    let of = |quantity| envelope::envelope(measures, quantity, waits).unwrap_or(ANYTHING);
    phase.mean_power = of(Quantity::MeanPower);
    phase.peak_power = of(Quantity::PeakPower);
    phase.activity = of(Quantity::Activity);
    if ends && !waits {
        phase.duration = Some(of(Quantity::Duration));
        phase.energy = Some(of(Quantity::Energy));
    }
}

/// The number of each log's board: by serial number; all logs without one count as one board.
fn board_numbers(logs: &[SourceLog]) -> Vec<usize> {
    let first = |serial: &Option<String>| logs.iter().position(|log| log.serial == *serial).unwrap_or(0);
    logs.iter().map(|log| first(&log.serial)).collect()
}

fn board_notes(logs: &[SourceLog], boards: &[usize]) -> Vec<String> {
    let mut notes = Vec::new();
    let nameless = logs.iter().filter(|log| log.serial.is_none()).count();
    if nameless > 1 {
        notes.push(format!(
            "{nameless} logs give no serial number and count as captures of one board; a line `# serial: …` at the \
             head of a log says which board it was"
        ));
    }
    let count = boards.iter().collect::<BTreeSet<_>>().len();
    if count < FEW_BOARDS {
        notes.push(format!(
            "learned from {}: how much boards differ is mostly assumed, not measured; add logs of other boards with \
             --update",
            counted(count, "board")
        ));
    }
    notes
}
