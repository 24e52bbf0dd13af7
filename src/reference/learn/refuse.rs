//! Which captures do not fit the others: by more than the supply, its rate of renewal and the spread between good boards
//! explain.

use super::Taken;
use super::evidence::measured;
use crate::reference::capture::Unfit;
use crate::reference::course::Course;
use crate::reference::envelope;
use crate::reference::model::{PhaseReference, StageMeasure};
use crate::stats::robust;

/// Good boards keep within this many standard deviations of each other in mean power: a misfit must not be possible by
/// chance in any of the stages, and refusing is for captures that went another way.
const LEVEL_SDS: f64 = 5.0;
/// Lengths of a stage are off by a factor of two before a capture is refused: a slow disk or a retry is no misfit.
const LENGTH_MISFIT: f64 = 0.7;
/// What a measurement leaves open counts this often (three standard deviations).
const REACH: f64 = 3.0;
/// Share of a renewal at each edge in which the readings hold both sides: the average over the edge, and half a renewal
/// by which the cut may be off.
const BLENDED: f64 = 1.5;
/// Independent readings of a busy load that a second holds (as for pieces of a capture).
const INDEPENDENT_PER_S: f64 = crate::reference::capture::INDEPENDENT_PER_S;
/// From this many others on their own spread is taken into account.
const OTHERS_FOR_SPREAD: usize = 3;

/// A measured value and its standard deviation, in SI units.
#[derive(Debug, Clone, Copy)]
struct Measured {
    value: f64,
    sd: f64,
}

/// What is compared.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Compared {
    Level,
    Length,
}

/// A way in which a capture does not fit, and how far beyond the limit (above 1).
struct Misfit {
    excess: f64,
    reason: Unfit,
}

/// The capture that fits the others worst, if it is far enough off to be refused.
pub(super) fn worst(taken: &[Taken], course: &Course, names: &[String]) -> Option<(usize, Unfit)> {
    let count = course.stages.len();
    let all: Vec<Vec<Option<StageMeasure>>> = taken
        .iter()
        .zip(&course.starts)
        .map(|(taken, starts)| (0..count).map(|k| measured(taken, starts, k, "", true)).collect())
        .collect();
    let mut worst: Option<(usize, Misfit)> = None;
    for (k, stage) in course.stages.iter().enumerate() {
        for compared in [Compared::Level, Compared::Length] {
            if compared == Compared::Length && stage.length.is_none() {
                continue;
            }
            let values: Vec<Option<Measured>> = all.iter().map(|stages| shown(stages, k, compared)).collect();
            let label = label(names, count, k);
            for index in 0..taken.len() {
                let found = against_others(&values, index, limit(compared, k == 0), compared, &label);
                if let Some(misfit) = found
                    && worst.as_ref().is_none_or(|(_, most)| misfit.excess > most.excess)
                {
                    worst = Some((index, misfit));
                }
            }
        }
    }
    worst.map(|(index, misfit)| (index, misfit.reason))
}

/// In what a log that was aligned with the profile's phases differs from them, if by more than a good board may.
pub(super) fn from_profile(
    phases: &[PhaseReference],
    stages: &[Option<StageMeasure>],
    factors: &[f64],
) -> Option<Unfit> {
    phases.iter().enumerate().find_map(|(k, phase)| {
        let label = format!("`{}`", phase.name);
        let level = shown(stages, k, Compared::Level).and_then(|own| {
            let usual = phase.mean_power.typical * factors[k];
            misfit(
                own,
                &[Measured { value: usual, sd: 0.0 }],
                limit(Compared::Level, k == 0),
                Compared::Level,
                &label,
            )
        });
        let length = || {
            let usual = Measured { value: phase.duration?.typical, sd: 0.0 };
            let own = shown(stages, k, Compared::Length)?;
            misfit(own, &[usual], LENGTH_MISFIT, Compared::Length, &label)
        };
        level.or_else(length).map(|misfit| misfit.reason)
    })
}

fn limit(compared: Compared, first: bool) -> f64 {
    match compared {
        Compared::Level => LEVEL_SDS * envelope::usual_spread(first),
        Compared::Length => LENGTH_MISFIT,
    }
}

fn label(names: &[String], count: usize, k: usize) -> String {
    let offset = names.len().checked_sub(count);
    match offset.and_then(|offset| names.get(offset + k)) {
        Some(name) => format!("`{name}`"),
        None => format!("stage {}", k + 1),
    }
}

fn against_others(
    values: &[Option<Measured>],
    index: usize,
    limit: f64,
    compared: Compared,
    label: &str,
) -> Option<Misfit> {
    let own = values[index]?;
    let others: Vec<Measured> = values
        .iter()
        .enumerate()
        .filter(|(other, _)| *other != index)
        .filter_map(|(_, value)| *value)
        .collect();
    misfit(own, &others, limit, compared, label)
}

fn misfit(own: Measured, others: &[Measured], limit: f64, compared: Compared, label: &str) -> Option<Misfit> {
    let median =
        |pick: fn(&Measured) -> f64| robust::median(&mut others.iter().map(pick).collect::<Vec<_>>());
    let (usual, others_sd) = (median(|other| other.value)?, median(|other| other.sd)?);
    let excess = beyond(own, usual, others_sd) / (limit + REACH * spread(others));
    (excess > 1.0).then(|| Misfit { excess, reason: differs(compared, label, own.value, usual) })
}

/// How far `own` is from `usual` (log of the ratio) when it is drawn as near as its uncertainty allows.
fn beyond(own: Measured, usual: f64, others_sd: f64) -> f64 {
    let reach = REACH * own.sd.hypot(others_sd);
    let nearest =
        if own.value > usual { (own.value - reach).max(usual) } else { (own.value + reach).min(usual) };
    let floor = own.sd.max(others_sd).max(1e-9);
    (nearest.max(floor) / usual.max(floor)).ln().abs()
}

/// How much the others differ among themselves (standard deviation of the log), beyond what measuring explains.
fn spread(others: &[Measured]) -> f64 {
    if others.len() < OTHERS_FOR_SPREAD {
        return 0.0;
    }
    let logs = |other: &Measured| other.value.max(other.sd).max(1e-9).ln();
    robust::deviation(&mut others.iter().map(logs).collect::<Vec<_>>()).unwrap_or(0.0)
}

/// What a capture shows of stage `k`, with what its supply and the neighbouring stages leave open.
fn shown(stages: &[Option<StageMeasure>], k: usize, compared: Compared) -> Option<Measured> {
    let stage = stages.get(k)?.as_ref()?;
    let (seen, update) = (stage.seen?, stage.update?);
    Some(match compared {
        Compared::Length => Measured { value: seen, sd: envelope::LENGTH_SD_UPDATES * update },
        Compared::Level => Measured { value: stage.mean_power, sd: level_sd(stages, k, stage, seen, update) },
    })
}

fn level_sd(stages: &[Option<StageMeasure>], k: usize, stage: &StageMeasure, seen: f64, update: f64) -> f64 {
    let share = (BLENDED * update / seen.max(update)).min(1.0);
    let step = |neighbour: Option<usize>| {
        let level = neighbour
            .and_then(|k| stages.get(k))
            .map_or(stage.mean_power, |other| other.as_ref().map_or(0.0, |other| other.mean_power));
        (level - stage.mean_power).abs()
    };
    let edges = step(k.checked_sub(1)).hypot(step(Some(k + 1))) * share * trimmed(seen, update);
    let busy = stage.activity / (INDEPENDENT_PER_S * seen).max(1.0).sqrt();
    stage.uncertainty.hypot(edges).hypot(busy)
}

/// The edges are left out of a level, but never more than a quarter of the stage at each: with many renewals nothing
/// blended is left.
fn trimmed(seen: f64, update: f64) -> f64 {
    /// Of a blended reading, half belongs to the other side.
    const HALF: f64 = 0.5;
    if update > 0.25 * seen { HALF } else { HALF * 4.0 * update / seen.max(update) }
}

fn differs(compared: Compared, stage: &str, own: f64, others: f64) -> Unfit {
    let (quantity, unit) = match compared {
        Compared::Length => ("length", "s"),
        Compared::Level => ("mean power", "W"),
    };
    let text = |value: f64| format!("{} {unit}", crate::units::figures(value, 3));
    Unfit::Differs { quantity, stage: stage.to_owned(), found: text(own), others: text(others) }
}
