//! Learning a profile from known-good logs, and adding captures to one.

use super::capture::{Capture, Run, Unfit};
use super::course::{self, Course, Stage};
use super::envelope::{self, figures_of};
use super::measure::measure;
use super::model::{Envelope, Feed, Learned, PhaseReference, Profile, Quantity, SourceLog, StageMeasure};
use super::power_law;
use crate::stats::robust;
use crate::trace::Trace;
use crate::units::{Amps, Volts, counted};

/// More stages than this no board of common practice shows on a bench supply.
const MOST_STAGES: usize = 9;
/// A capture is refused when its mean power in a stage is further than this from the others' median (log): four to
/// five times what good boards of one model differ by.
const LEVEL_MISFIT: f64 = 0.30;
/// The same for a stage's length: a factor of two.
const LENGTH_MISFIT: f64 = 0.7;
/// A first stage below this share of the running level may be a standby.
const STANDBY_SHARE: f64 = 0.25;
/// A standby that waits for a person differs in length by more than this between captures (standard deviation of the
/// log), or lasts longer than any start-up of a rail.
const WAIT_SPREAD: f64 = 0.25;
const WAIT_FROM_S: f64 = 1.5;
/// The button's mark and the end of standby are at most this far apart, seconds.
const BUTTON_NEAR_S: f64 = 1.0;
/// Advised limit over the highest peak seen, where the logs give none: a good board is not starved (common practice, no
/// source).
const LIMIT_OVER_PEAK: f64 = 1.25;
/// Feed range where the logs do not show a wider one: common tolerance of a regulated rail, no source.
const FEED_TOLERANCE: f64 = 0.05;
/// Measured values are kept to this many significant figures.
const FIGURES: i32 = 5;

/// What is to be learned.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Request {
    /// Board model.
    pub board: String,
    /// Names of the stages in order; empty to have names made.
    pub names: Vec<String>,
    /// Keep captures that do not fit the others.
    pub keep_all: bool,
    /// Day of learning, ISO 8601.
    pub date: String,
}

/// What was learned.
#[derive(Debug, Clone, PartialEq)]
pub struct Learning {
    /// The profile.
    pub profile: Profile,
    /// Captures that were left out, by name, and why.
    pub refused: Vec<(String, Unfit)>,
    /// What the person should know of how it was learned.
    pub notes: Vec<String>,
}

/// Why nothing could be learned.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LearnError {
    /// No log at all.
    #[error("no logs to learn from; give known-good logs of the board")]
    NoLogs,
    /// Every log was refused.
    #[error("no log can be learned from: {}", reasons(refused))]
    AllUnfit {
        /// Each log and why.
        refused: Vec<(String, Unfit)>,
    },
    /// Two captures disagree and nothing says which is right.
    #[error("{first} and {second} do not fit each other: {reason}; add a third capture, or use --keep-all")]
    Disagree {
        /// One.
        first: String,
        /// The other.
        second: String,
        /// In what.
        reason: Unfit,
    },
    /// The captures do not show as many stages as there are names.
    #[error("{names} names were given but the captures cannot be cut into {names} stages; they show {found}")]
    Names {
        /// How many names.
        names: usize,
        /// How many stages the captures show.
        found: usize,
    },
    /// The profile has no evidence to add to.
    #[error("the profile keeps no measured values, so captures cannot be added; learn it anew from all logs")]
    NoEvidence,
}

fn reasons(refused: &[(String, Unfit)]) -> String {
    refused.iter().map(|(name, reason)| format!("{name}: {reason}")).collect::<Vec<_>>().join("; ")
}

/// A capture with the run that was found in it.
struct Taken<'a> {
    capture: &'a Capture,
    run: Run,
}

/// Learns a profile from known-good captures.
///
/// # Errors
/// [`LearnError`] if too little is left to learn from.
pub fn learn(captures: &[Capture], request: &Request) -> Result<Learning, LearnError> {
    if captures.is_empty() {
        return Err(LearnError::NoLogs);
    }
    let (mut taken, mut refused) = take(captures, &request.board, request.keep_all);
    let mut notes = Vec::new();
    let course = loop {
        if taken.is_empty() {
            return Err(LearnError::AllUnfit { refused });
        }
        let course = fit(&taken, request, &mut notes)?;
        if request.keep_all {
            break course;
        }
        let Some((worst, reason)) = worst(&taken, &course) else { break course };
        if taken.len() == 2 {
            let [first, second] = [0, 1].map(|index| taken[index].capture.name.clone());
            return Err(LearnError::Disagree { first, second, reason });
        }
        refused.push((taken.remove(worst).capture.name.clone(), reason));
    };
    notes.dedup();
    let profile = profile_of(&taken, &course, request, &mut notes);
    Ok(Learning { profile, refused, notes })
}

fn take<'a>(captures: &'a [Capture], board: &str, keep_all: bool) -> (Vec<Taken<'a>>, Vec<(String, Unfit)>) {
    let (mut taken, mut refused): (Vec<Taken>, Vec<_>) = (Vec::new(), Vec::new());
    for capture in captures {
        if taken.iter().any(|earlier| earlier.capture.sha256 == capture.sha256) {
            refused.push((capture.name.clone(), Unfit::Duplicate));
            continue;
        }
        let other = capture.trace.header().board.clone().filter(|found| found != board && !keep_all);
        let run = match other {
            Some(found) => Err(Unfit::OtherBoard { found, wanted: board.to_owned() }),
            None => Run::of(&capture.trace),
        };
        match run {
            Ok(run) => taken.push(Taken { capture, run }),
            Err(reason) => refused.push((capture.name.clone(), reason)),
        }
    }
    (taken, refused)
}

/// The course, of as many stages as there are names, or as the captures show.
fn fit(taken: &[Taken], request: &Request, notes: &mut Vec<String>) -> Result<Course, LearnError> {
    let runs: Vec<Run> = taken.iter().map(|taken| taken.run.clone()).collect();
    let names = request.names.len();
    let free = course::fit(&runs, MOST_STAGES);
    let found = free.as_ref().map_or(0, |course| course.stages.len());
    notes.clear();
    if let Some(course) = free {
        let unseen_first = found + 1 == names && !waits(&runs, &course);
        if names == 0 || names == found || unseen_first {
            if unseen_first {
                notes.push(format!(
                    "{names} names for {found} stages: the board starts at once, so `{}` is not seen and is left out",
                    request.names[0]
                ));
            }
            return Ok(course);
        }
    }
    notes.push(format!("{names} names were given; the captures alone show {found} stages"));
    course::fit_count(&runs, names).ok_or(LearnError::Names { names, found })
}

// ---- which capture does not fit ----

/// What a capture shows of stage `k`: mean power (log) and length (log).
fn shown(taken: &Taken, course: &Course, capture: usize, k: usize) -> Option<(f64, f64)> {
    let stage = measured(taken, &course.starts[capture], k, "", true)?;
    Some((stage.mean_power.max(stage.uncertainty).max(1e-9).ln(), stage.duration?.max(1e-3).ln()))
}

/// The capture that fits the others worst, if it is far enough off to be refused.
fn worst(taken: &[Taken], course: &Course) -> Option<(usize, Unfit)> {
    let mut worst: Option<(f64, usize, Unfit)> = None;
    for (k, stage) in course.stages.iter().enumerate() {
        let values: Vec<Option<(f64, f64)>> =
            taken.iter().enumerate().map(|(index, one)| shown(one, course, index, k)).collect();
        for index in 0..taken.len() {
            for (is_length, limit) in [(false, LEVEL_MISFIT), (true, LENGTH_MISFIT)] {
                if is_length && stage.length.is_none() {
                    continue;
                }
                let pick = |value: &(f64, f64)| if is_length { value.1 } else { value.0 };
                let Some(own) = values[index].as_ref().map(pick) else { continue };
                let mut others: Vec<f64> = values
                    .iter()
                    .enumerate()
                    .filter(|(other, _)| *other != index)
                    .filter_map(|(_, value)| value.as_ref().map(pick))
                    .collect();
                let Some(median) = robust::median(&mut others) else { continue };
                let blur = blur_of(&taken[index], course, index, k, is_length);
                let excess = (own - median).abs() / (limit + 3.0 * blur);
                if excess > 1.0 && worst.as_ref().is_none_or(|(most, ..)| excess > *most) {
                    worst = Some((excess, index, differs(k, is_length, own, median)));
                }
            }
        }
    }
    worst.map(|(_, index, reason)| (index, reason))
}

/// Standard deviation that the readback leaves in the log of mean power or of length.
fn blur_of(taken: &Taken, course: &Course, index: usize, k: usize, is_length: bool) -> f64 {
    let pieces = &taken.run.pieces[course::stage_range(&taken.run, &course.starts[index], k)];
    let (Some(first), Some(last)) = (pieces.first(), pieces.last()) else { return 0.0 };
    if is_length {
        return 0.2 / (last.to - first.from).max(0.2);
    }
    let mut blurs: Vec<f64> = pieces.iter().map(|piece| piece.blur).collect();
    robust::median(&mut blurs).unwrap_or(0.0)
}

fn differs(k: usize, is_length: bool, own: f64, others: f64) -> Unfit {
    let (quantity, unit) = if is_length { ("length", "s") } else { ("mean power", "W") };
    let text = |log: f64| format!("{} {unit}", crate::units::figures(log.exp(), 3));
    Unfit::Differs { quantity, stage: k + 1, found: text(own), others: text(others) }
}

// ---- the profile ----

fn sample_range(run: &Run, starts: &[usize], k: usize) -> std::ops::Range<usize> {
    let start = run.pieces.get(starts[k]).map_or(run.end, |piece| piece.start);
    let end = starts.get(k + 1).and_then(|next| run.pieces.get(*next)).map_or(run.end, |piece| piece.start);
    start..end
}

fn measured(taken: &Taken, starts: &[usize], k: usize, phase: &str, ends: bool) -> Option<StageMeasure> {
    let range = sample_range(&taken.run, starts, k);
    measure(&taken.capture.trace, range, phase, ends, taken.run.step_a)
}

/// Whether the first stage lasts until a person does something.
fn waits(runs: &[Run], course: &Course) -> bool {
    let (Some(first), Some(last)) = (course.stages.first(), course.stages.last()) else { return false };
    if course.stages.len() < 2 {
        return false;
    }
    let ends: Vec<(f64, f64)> = runs
        .iter()
        .zip(&course.starts)
        .filter_map(|(run, starts)| Some((run.pieces.first()?.from, run.pieces.get(starts[1])?.from)))
        .collect();
    let at_button = runs
        .iter()
        .zip(&ends)
        .filter(|(run, (_, end))| run.button.is_some_and(|at| (at - end).abs() <= BUTTON_NEAR_S))
        .count();
    if at_button > 0 {
        return true;
    }
    let lengths: Vec<f64> = ends.iter().map(|(start, end)| (end - start).max(1e-3).ln()).collect();
    let longest_usual = robust::median(&mut lengths.clone()).unwrap_or(0.0) > WAIT_FROM_S.ln();
    let low = first.level - last.level < STANDBY_SHARE.ln();
    low && (longest_usual || deviation(&lengths) > WAIT_SPREAD)
}

fn deviation(values: &[f64]) -> f64 {
    robust::deviation(&mut values.to_vec()).unwrap_or(0.0)
}

fn stage_names(request: &Request, count: usize, waits: bool) -> Vec<String> {
    if request.names.len() >= count {
        return request.names[request.names.len() - count..].to_vec();
    }
    (0..count)
        .map(|k| match k {
            0 if waits => "standby".to_owned(),
            last if last + 1 == count => "running".to_owned(),
            other => format!("stage {}", other + usize::from(!waits)),
        })
        .collect()
}

fn profile_of(taken: &[Taken], course: &Course, request: &Request, notes: &mut Vec<String>) -> Profile {
    let runs: Vec<Run> = taken.iter().map(|taken| taken.run.clone()).collect();
    let waits = waits(&runs, course);
    let names = stage_names(request, course.stages.len(), waits);
    let logs = taken
        .iter()
        .zip(&course.starts)
        .map(|(taken, starts)| source_log(taken, starts, &names, waits))
        .collect();
    let mut profile = Profile {
        board: request.board.clone(),
        description: String::new(),
        feed: feed(taken),
        phases: names
            .iter()
            .enumerate()
            .map(|(k, name)| PhaseReference { waits_for_person: waits && k == 0, ..blank(name) })
            .collect(),
        learned: Learned { date: request.date.clone(), logs, ..Learned::default() },
        power_path: Vec::new(),
        checks: Vec::new(),
    };
    notes.extend(compute_envelopes(&mut profile));
    profile
}

fn blank(name: &str) -> PhaseReference {
    let nothing = Envelope { low: 0.0, typical: 0.0, high: 0.0 };
    PhaseReference {
        name: name.to_owned(),
        waits_for_person: false,
        mean_power: nothing,
        peak_power: nothing,
        activity: nothing,
        duration: None,
        energy: None,
        volts_exponent: 0.0,
    }
}

fn source_log(taken: &Taken, starts: &[usize], names: &[String], waits: bool) -> SourceLog {
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
    }
}

fn fed_volts(trace: &Trace, run: &Run) -> Option<Volts> {
    let median = robust::median(&mut trace.volts()[run.start..run.end].to_vec())?;
    Volts::new(figures_of(median, FIGURES)).ok()
}

/// Computes every envelope of `profile` from the evidence in it; returns what the person should know.
fn compute_envelopes(profile: &mut Profile) -> Vec<String> {
    let logs = std::mem::take(&mut profile.learned.logs);
    let boards = board_numbers(&logs);
    let mut feeds: Vec<f64> = logs.iter().filter_map(|log| log.feed.map(Volts::value)).collect();
    let reference = robust::median(&mut feeds).unwrap_or(profile.feed.nominal.value());
    let count = profile.phases.len();
    let mut notes = board_notes(&logs, &boards);
    for (k, phase) in profile.phases.iter_mut().enumerate() {
        let measures: Vec<(usize, &StageMeasure)> = logs
            .iter()
            .zip(&boards)
            .flat_map(|(log, board)| log.stages.iter().map(move |stage| (*board, stage)))
            .filter(|(_, stage)| stage.phase == phase.name)
            .collect();
        if let Some(exponent) = power_law::exponent(&measures) {
            phase.volts_exponent = exponent;
        }
        let moved: Vec<(usize, &StageMeasure, f64)> = measures
            .into_iter()
            .map(|(board, stage)| {
                (board, stage, (reference / stage.volts.max(1e-9)).powf(phase.volts_exponent))
            })
            .collect();
        fill(phase, &moved, k + 1 < count);
        if moved.is_empty() {
            notes.push(format!("no capture resolves `{}`; its envelopes say nothing", phase.name));
        }
    }
    profile.learned.boards = boards.iter().collect::<std::collections::BTreeSet<_>>().len();
    profile.learned.captures = logs.len();
    profile.learned.feed = Volts::new(reference).ok();
    profile.learned.logs = logs;
    notes
}

fn fill(phase: &mut PhaseReference, measures: &[(usize, &StageMeasure, f64)], ends: bool) {
    let waits = phase.waits_for_person;
    let of = |quantity| envelope::envelope(measures, quantity, waits);
    // A stage that no capture resolves keeps an envelope that holds everything.
    let anything = Envelope { low: 0.0, typical: 0.0, high: 1e6 };
    phase.mean_power = of(Quantity::MeanPower).unwrap_or(anything);
    phase.peak_power = of(Quantity::PeakPower).unwrap_or(anything);
    phase.activity = of(Quantity::Activity).unwrap_or(anything);
    if ends && !waits {
        phase.duration = Some(of(Quantity::Duration).unwrap_or(anything));
        phase.energy = Some(of(Quantity::Energy).unwrap_or(anything));
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
        notes.push(format!("{nameless} logs give no serial number and count as captures of one board"));
    }
    let count = boards.iter().collect::<std::collections::BTreeSet<_>>().len();
    if count < 3 {
        notes.push(format!(
            "learned from {}: the spread between boards is mostly the usual one, not measured",
            counted(count, "board")
        ));
    }
    notes
}

// ---- feed ----

fn feed(taken: &[Taken]) -> Feed {
    let volts = |one: &Taken| {
        one.capture
            .trace
            .header()
            .set_volts
            .or_else(|| fed_volts(&one.capture.trace, &one.run))
            .map(Volts::value)
    };
    let mut all: Vec<f64> = taken.iter().filter_map(volts).collect();
    let lowest_seen = all.iter().copied().fold(f64::INFINITY, f64::min);
    let highest_seen = all.iter().copied().fold(0.0, f64::max);
    let nominal = robust::median(&mut all).unwrap_or(1.0).max(1e-3);
    let to_volts = |value: f64| Volts::new(figures_of(value, 3)).unwrap_or_default();
    let nominal_volts = to_volts(nominal).value();
    Feed {
        nominal: to_volts(nominal),
        lowest: to_volts(lowest_seen.min(nominal * (1.0 - FEED_TOLERANCE)).min(nominal_volts)),
        highest: to_volts(highest_seen.max(nominal * (1.0 + FEED_TOLERANCE)).max(nominal_volts)),
        limit: limit(taken),
        point: feed_point(taken),
        cautions: cautions(nominal),
    }
}

/// The limit under which the good captures ran, else a quarter over their highest peak, rounded up to a tenth.
fn limit(taken: &[Taken]) -> Amps {
    let mut set: Vec<f64> =
        taken.iter().filter_map(|one| one.capture.trace.header().limit.map(Amps::value)).collect();
    let peak = taken
        .iter()
        .flat_map(|one| &one.capture.trace.amps()[one.run.start..one.run.end])
        .copied()
        .fold(0.0, f64::max);
    let from_peak = (peak * LIMIT_OVER_PEAK * 10.0).ceil().max(1.0) / 10.0;
    let limit = robust::median(&mut set).filter(|limit| *limit > 0.0).unwrap_or(from_peak);
    Amps::new(limit).unwrap_or_default()
}

fn feed_point(taken: &[Taken]) -> String {
    let mut points = taken.iter().filter_map(|one| one.capture.trace.header().feed_point.clone());
    points.find(|point| !point.trim().is_empty()).unwrap_or_else(|| "not stated in the logs".to_owned())
}

/// Common practice, no source.
fn cautions(nominal: f64) -> Vec<String> {
    /// What one lithium cell gives between empty and full.
    const ONE_CELL: std::ops::RangeInclusive<f64> = 3.0..=4.5;
    let mut cautions = vec![
        "Set volts and current limit and check polarity before the board is connected; reversed feed destroys it."
            .to_owned(),
        "Capacitors on the board stay charged after the feed is off; let them discharge before touching or soldering."
            .to_owned(),
    ];
    if ONE_CELL.contains(&nominal) {
        cautions.insert(
            0,
            "Take the lithium cell out first: a supply across a cell can set it on fire.".to_owned(),
        );
    }
    cautions
}

// ---- adding captures ----

/// Adds captures to a profile: names, feed, power path and checks stay, envelopes are computed anew from all evidence.
///
/// # Errors
/// [`LearnError`] if the profile keeps no evidence, or no new capture fits.
pub fn update(
    profile: &Profile,
    captures: &[Capture],
    keep_all: bool,
    date: &str,
) -> Result<Learning, LearnError> {
    if profile.learned.logs.iter().all(|log| log.stages.is_empty()) {
        return Err(LearnError::NoEvidence);
    }
    let (taken, mut refused) = take(captures, &profile.board, keep_all);
    let stages: Vec<Stage> = profile.phases.iter().map(stage_of).collect();
    let names: Vec<String> = profile.phases.iter().map(|phase| phase.name.clone()).collect();
    let waits = profile.phases[0].waits_for_person;
    let mut updated = profile.clone();
    let mut added = 0;
    for one in taken {
        if updated.learned.logs.iter().any(|log| log.sha256 == one.capture.sha256) {
            refused.push((one.capture.name.clone(), Unfit::Duplicate));
            continue;
        }
        let Some((starts, _)) = course::align(&one.run, &stages) else {
            refused.push((one.capture.name.clone(), Unfit::TooFewPieces));
            continue;
        };
        let log = source_log(&one, &starts, &names, waits);
        if let Some(reason) = misfit(profile, &log).filter(|_| !keep_all) {
            refused.push((one.capture.name.clone(), reason));
        } else {
            updated.learned.logs.push(log);
            added += 1;
        }
    }
    if added == 0 && !captures.is_empty() {
        return Err(LearnError::AllUnfit { refused });
    }
    date.clone_into(&mut updated.learned.date);
    let notes = compute_envelopes(&mut updated);
    Ok(Learning { profile: updated, refused, notes })
}

/// The stage that a phase's envelopes describe.
fn stage_of(phase: &PhaseReference) -> Stage {
    /// An envelope of a well-known quantity is about this many standard deviations wide on each side.
    const HALF_WIDTH: f64 = 3.0;
    let log = |value: f64| value.max(1e-9).ln();
    let half = |envelope: Envelope| (log(envelope.high) - log(envelope.typical)) / HALF_WIDTH;
    let level = log(phase.mean_power.typical);
    let activity = (phase.activity.typical / phase.mean_power.typical.max(1e-9)).min(1.0);
    Stage {
        level,
        slope: 0.0,
        spread: activity.hypot(half(phase.mean_power)).clamp(course::SMALLEST_SPREAD, 1.0),
        length: phase.duration.map(|envelope| (log(envelope.typical), half(envelope).clamp(0.1, 1.0))),
    }
}

/// In what the log differs from the profile, if it differs by more than captures of good boards may.
fn misfit(profile: &Profile, log: &SourceLog) -> Option<Unfit> {
    profile.phases.iter().enumerate().find_map(|(k, phase)| {
        let stage = log.stages.iter().find(|stage| stage.phase == phase.name)?;
        let off = |own: f64, typical: f64| (own.max(1e-9) / typical.max(1e-9)).ln();
        let blur = stage.uncertainty / phase.mean_power.typical.max(1e-9);
        if off(stage.mean_power, phase.mean_power.typical).abs() > LEVEL_MISFIT + 3.0 * blur {
            return Some(differs(
                k,
                false,
                stage.mean_power.max(1e-9).ln(),
                phase.mean_power.typical.max(1e-9).ln(),
            ));
        }
        let (own, usual) = (stage.duration?, phase.duration?.typical);
        let far = off(own, usual).abs() > LENGTH_MISFIT + 0.6 / usual.max(0.2);
        far.then(|| differs(k, true, own.max(1e-9).ln(), usual.max(1e-9).ln()))
    })
}
