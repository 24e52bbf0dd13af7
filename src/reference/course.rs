//! The course that known-good captures have in common: a row of stages, fitted to all of them at once.
//!
//! A course is a left-to-right hidden semi-Markov model: each stage has a level of log power with a slope (a
//! firmware's ramp is one stage, not five), a spread, and a length; every capture goes through all stages in order.
//! The pieces of a capture are assigned to stages by the dynamic programme for segmental models (Ostendorf, Digalakis
//! & Kimball, "From HMM's to segment models", IEEE Trans. Speech Audio Process. 4 (1996) 360), and stages are
//! re-estimated from the assignments until nothing moves (Viterbi training). What is common to the captures is found
//! because a busy load's chance ups and downs have no common order, level and length, while true stages have.
//!
//! The number of stages is that of the least description length: cost of the fit plus `½ ln N` for every parameter
//! (Schwarz, "Estimating the dimension of a model", Ann. Stat. 6 (1978) 461), N counting independent observations, and
//! what speaks against stages whose levels hardly differ.

use super::bounded;
use super::capture::{Piece, Run};
use crate::stats::robust;
use std::f64::consts::PI;

/// A misfit costs no more than one of three standard deviations: an inrush, a button's click or a blip is no stage.
const MOST_MISFIT: f64 = 4.5;
/// A stage's length that is off costs no more than one of four standard deviations.
const MOST_LENGTH_MISFIT: f64 = 8.0;
/// Spread of log power below which no stage is told apart: good boards of one model differ by this much (common
/// practice, no source: 3 to 10 %).
pub(super) const SMALLEST_SPREAD: f64 = 0.06;
/// A piece blurred by the readback's steps this much (in log power) counts half.
const SHARP: f64 = 0.2;
/// Prior spread of the log of a stage's length, with the weight of this many captures.
const LENGTH_SPREAD: f64 = 0.15;
const LENGTH_PRIOR_WEIGHT: f64 = 3.0;
/// Shortest stage that is made, seconds: two updates of a readback renewed ten times a second.
const SHORTEST_STAGE_S: f64 = 0.2;
/// ... and the shortest stay in a known one: the two readings may come a little early.
pub(super) const SHORTEST_STAY_S: f64 = 0.18;
/// How exactly the start of a stage can be told, seconds: about one readback update.
const TIME_STEP_S: f64 = 0.2;
/// A ramp is fitted where a stage holds at least this many independent observations a capture.
const RAMP_FROM: f64 = 2.0;
/// Rounds of re-estimation; it settles in four to eight.
const MOST_ROUNDS: usize = 12;
/// Free parameters of a stage's level (mean and spread; a stage with an end of its own has a slope besides) and of its
/// length.
const LEVEL_PARAMETERS: f64 = 2.0;
const LENGTH_PARAMETERS: f64 = 2.0;

/// How far one board may draw more or less than its model in all stages alike, as a log, and how usual that is (standard
/// deviation; common practice, no source).
const COMMON_SHIFTS: [f64; 5] = [0.0, -0.1, 0.1, -0.2, 0.2];
const COMMON_SD: f64 = 0.1;
/// Runs of more pieces than this, some ten minutes, are followed at the model's level only.
const MOST_SHIFTED: usize = 1500;

/// From so many pieces on, the work of looking at every stretch is felt.
const LONG_RUN: usize = 1000;

/// One stage of a course.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Stage {
    /// Log power at the start.
    pub(super) level: f64,
    /// Change of log power a second.
    pub(super) slope: f64,
    /// Standard deviation of log power.
    pub(super) spread: f64,
    /// Log of the length in seconds and its standard deviation; `None` for a stage without an end of its own.
    pub(super) length: Option<(f64, f64)>,
}

/// A fitted course.
#[derive(Debug, Clone)]
pub(super) struct Course {
    pub(super) stages: Vec<Stage>,
    /// For each capture the index of the first piece of each stage.
    pub(super) starts: Vec<Vec<usize>>,
    /// Description length in nats.
    pub(super) cost: f64,
}

impl Stage {
    pub(super) fn piece_cost(&self, piece: &Piece, since: f64) -> f64 {
        let residual = piece.level - self.level - self.slope * since;
        let variance = self.spread * self.spread + piece.blur * piece.blur;
        let misfit = (residual * residual + piece.variance) / (2.0 * variance);
        piece.weight * (0.5 * variance.ln() + misfit.min(MOST_MISFIT))
    }

    pub(super) fn length_cost(&self, seconds: f64) -> f64 {
        let Some((mean, spread)) = self.length else { return 0.0 };
        let deviation = (seconds.max(1e-3).ln() - mean) / spread;
        let misfit = (deviation * deviation / 2.0).min(MOST_LENGTH_MISFIT);
        misfit + (spread * (2.0 * PI).sqrt()).ln() - (TIME_STEP_S / seconds.max(TIME_STEP_S)).ln()
    }

    /// What a length costs at the least.
    pub(super) fn least_length_cost(&self) -> f64 {
        self.length.map_or(0.0, |(_, spread)| (spread * (2.0 * PI).sqrt()).ln())
    }
}

/// The cheapest way of `run` through `stages`: the first piece of each stage and the cost. `None` if the run has
/// fewer pieces than there are stages.
pub(super) fn align(run: &Run, stages: &[Stage]) -> Option<(Vec<usize>, f64)> {
    let count = run.pieces.len();
    if count < stages.len() {
        return None;
    }
    if count > LONG_RUN && stages.iter().all(|stage| stage.slope == 0.0) {
        return bounded::align(run, stages);
    }
    // best[k][j]: cost of the first j pieces spent in the first k stages; from[k][j]: where the last of them starts.
    let mut best = vec![vec![f64::INFINITY; count + 1]; stages.len() + 1];
    let mut from = vec![vec![0; count + 1]; stages.len() + 1];
    best[0][0] = 0.0;
    for (k, stage) in stages.iter().enumerate() {
        for start in 0..count {
            let before = best[k][start];
            if before.is_finite() {
                extend(run, stage, start, before, &mut best[k + 1], &mut from[k + 1]);
            }
        }
    }
    let cost = best[stages.len()][count];
    cost.is_finite().then(|| (trace_back(&from, count), cost))
}

/// Extends `stage` from piece `start` over every end.
fn extend(run: &Run, stage: &Stage, start: usize, before: f64, best: &mut [f64], from: &mut [usize]) {
    let begins = run.pieces[start].from;
    let mut cost = before;
    for (index, piece) in run.pieces.iter().enumerate().skip(start) {
        let since = f64::midpoint(piece.from, piece.to) - begins;
        cost += stage.piece_cost(piece, since);
        let length = piece.to - begins;
        if length < SHORTEST_STAY_S {
            continue;
        }
        let total = cost + stage.length_cost(length);
        if total < best[index + 1] {
            best[index + 1] = total;
            from[index + 1] = start;
        }
    }
}

pub(super) fn trace_back(from: &[Vec<usize>], count: usize) -> Vec<usize> {
    let mut starts = vec![0; from.len() - 1];
    let mut end = count;
    for k in (1..from.len()).rev() {
        end = from[k][end];
        starts[k - 1] = end;
    }
    starts
}

/// The cheapest way of a run, of a board that draws more or less than its model in all stages alike.
pub(super) struct Alike {
    /// First piece of each stage.
    pub(super) starts: Vec<usize>,
    /// What it costs, in nats.
    pub(super) cost: f64,
    /// The stages, at this board's level.
    pub(super) stages: Vec<Stage>,
}

/// As [`align`], of a board that may be off its model in all stages alike.
pub(super) fn align_alike(run: &Run, stages: &[Stage]) -> Option<Alike> {
    // In a log of hours the running level outweighs all the rest, and tells the stages by itself.
    let shifts = if run.pieces.len() > MOST_SHIFTED { &COMMON_SHIFTS[..1] } else { &COMMON_SHIFTS };
    let alike = shifts.iter().filter_map(|shift| {
        let stages: Vec<Stage> =
            stages.iter().map(|stage| Stage { level: stage.level + shift, ..*stage }).collect();
        let (starts, cost) = align(run, &stages)?;
        Some(Alike { starts, cost: cost + (shift / COMMON_SD).powi(2) / 2.0, stages })
    });
    alike.min_by(|a, b| a.cost.total_cmp(&b.cost))
}

/// The same course with every capture followed at its own board's level: where two stages lie closer together than boards
/// do, a board that draws more would else seem to stay in the higher one.
pub(super) fn at_own_levels(runs: &[Run], course: Course) -> Course {
    let starts: Option<Vec<_>> =
        runs.iter().map(|run| align_alike(run, &course.stages).map(|alike| alike.starts)).collect();
    let Some(starts) = starts.filter(|starts| *starts != course.starts) else { return course };
    Course { stages: estimate(runs, &starts), starts, ..course }
}

/// `course` of its first `count` stages, the last of which holds all that followed.
pub(super) fn joined(runs: &[Run], course: &Course, count: usize) -> Course {
    let starts: Vec<Vec<usize>> = course.starts.iter().map(|starts| starts[..count].to_vec()).collect();
    Course { stages: estimate(runs, &starts), starts, cost: course.cost }
}

/// Fits courses of one to `most` stages to `runs` and returns the one of least description length.
pub(super) fn fit(runs: &[Run], most: usize) -> Option<Course> {
    (1..=most).filter_map(|count| fit_count(runs, count)).min_by(|a, b| a.cost.total_cmp(&b.cost))
}

/// The best course of `count` stages, each capture in turn giving the first guess.
pub(super) fn fit_count(runs: &[Run], count: usize) -> Option<Course> {
    fits_of_count(runs, count).min_by(|a, b| a.cost.total_cmp(&b.cost))
}

/// The course of `count` stages that each capture leads to as the first guess.
pub(super) fn fits_of_count(runs: &[Run], count: usize) -> impl Iterator<Item = Course> {
    runs.iter().filter_map(move |seed| first_guess(seed, count)).filter_map(|guess| trained(runs, guess))
}

/// Re-estimates the stages until their cost settles.
pub(super) fn trained(runs: &[Run], guess: Vec<Stage>) -> Option<Course> {
    let mut course: Option<Course> = None;
    let mut stages = guess;
    for _ in 0..MOST_ROUNDS {
        let aligned: Vec<(Vec<usize>, f64)> =
            runs.iter().map(|run| align(run, &stages)).collect::<Option<_>>()?;
        let fit: f64 = aligned.iter().map(|(_, cost)| cost).sum();
        let starts: Vec<Vec<usize>> = aligned.into_iter().map(|(starts, _)| starts).collect();
        let cost = fit + penalty(runs, &starts, &stages);
        if course.as_ref().is_some_and(|best| cost >= best.cost - 1e-6) {
            break;
        }
        let next = estimate(runs, &starts);
        course = Some(Course { stages: std::mem::replace(&mut stages, next), starts, cost });
    }
    course
}

/// `½ ln n` for each parameter, n counting what the parameter is estimated from: observations for level, slope and
/// spread, captures for the two of the length.
fn penalty(runs: &[Run], starts: &[Vec<usize>], stages: &[Stage]) -> f64 {
    let one = |k: usize, stage: &Stage| {
        let observations: f64 = runs
            .iter()
            .zip(starts)
            .flat_map(|(run, starts)| &run.pieces[stage_range(run, starts, k)])
            .map(|piece| piece.weight)
            .sum();
        let levels = if stage.length.is_some() { LEVEL_PARAMETERS + 1.0 } else { LEVEL_PARAMETERS };
        let lengths = if stage.length.is_some() { LENGTH_PARAMETERS } else { 0.0 };
        #[expect(clippy::cast_precision_loss, reason = "a handful of captures")]
        let captures = runs.len() as f64;
        0.5 * (levels * (1.0 + observations).ln() + lengths * (1.0 + captures).ln())
    };
    stages.iter().enumerate().map(|(k, stage)| one(k, stage)).sum::<f64>() + closeness(stages, runs.len())
}

/// What speaks against stages whose levels lie hardly further apart than boards of one model do, in every capture: the
/// settling of one stage is more often seen so than two of them.
fn closeness(stages: &[Stage], captures: usize) -> f64 {
    /// Levels apart by this much, as a log, are told apart at a glance.
    const APART: f64 = 0.25;
    /// Of two stages at one level, in nats a capture.
    const SAME: f64 = 3.0;
    let pair = |pair: &[Stage]| (-((pair[1].level - pair[0].level) / APART).powi(2)).exp();
    #[expect(clippy::cast_precision_loss, reason = "a handful of captures")]
    let captures = captures as f64;
    SAME * captures * stages.windows(2).map(pair).sum::<f64>()
}

/// The pieces of `run` in stage `k`.
pub(super) fn stage_range(run: &Run, starts: &[usize], k: usize) -> std::ops::Range<usize> {
    starts[k]..starts.get(k + 1).copied().unwrap_or(run.pieces.len())
}

/// One observation of a stage: seconds since its start, log power, weight.
type Observation = (f64, f64, f64);

fn estimate(runs: &[Run], starts: &[Vec<usize>]) -> Vec<Stage> {
    let count = starts.first().map_or(0, Vec::len);
    (0..count).map(|k| estimate_stage(runs, starts, k, count)).collect()
}

fn estimate_stage(runs: &[Run], starts: &[Vec<usize>], k: usize, count: usize) -> Stage {
    let mut observations = Vec::new();
    let mut lengths = Vec::new();
    let mut within = 0.0;
    let most = usual_weight(runs, starts, k);
    for (run, starts) in runs.iter().zip(starts) {
        let pieces = &run.pieces[stage_range(run, starts, k)];
        let (Some(first), Some(last)) = (pieces.first(), pieces.last()) else { continue };
        lengths.push((last.to - first.from).max(1e-3).ln());
        let share = (most / weight_of(pieces)).min(1.0);
        for piece in pieces {
            let since = f64::midpoint(piece.from, piece.to) - first.from;
            let weight = share * piece.weight * sharpness(piece);
            observations.push((since, piece.level, weight));
            within += weight * piece.variance;
        }
    }
    let ends = k > 0 && k + 1 < count;
    let ramps =
        ends && total(&observations) >= RAMP_FROM * f64::from(u32::try_from(lengths.len()).unwrap_or(1));
    let (level, slope, spread) = robust_line(&observations, ramps);
    let within = within / total(&observations).max(f64::MIN_POSITIVE);
    let spread = (spread * spread + within.min(spread * spread)).sqrt().max(SMALLEST_SPREAD);
    Stage { level, slope, spread, length: ends.then(|| length_of(&lengths)) }
}

/// What a piece's level counts for, by how far the readback's steps blur it.
fn sharpness(piece: &Piece) -> f64 {
    SHARP * SHARP / (SHARP * SHARP + piece.blur * piece.blur)
}

fn weight_of(pieces: &[Piece]) -> f64 {
    pieces.iter().map(|piece| piece.weight * sharpness(piece)).sum::<f64>().max(f64::MIN_POSITIVE)
}

/// What stage `k` weighs in the usual capture. One in which it lasts for longer, by its board or by mistake, has no more
/// say than the others.
fn usual_weight(runs: &[Run], starts: &[Vec<usize>], k: usize) -> f64 {
    let weight = |(run, starts): (&Run, &Vec<usize>)| weight_of(&run.pieces[stage_range(run, starts, k)]);
    let mut weights: Vec<f64> = runs.iter().zip(starts).map(weight).collect();
    robust::median(&mut weights).unwrap_or(f64::INFINITY)
}

fn total(observations: &[Observation]) -> f64 {
    observations.iter().map(|(_, _, weight)| weight).sum()
}

/// Mean and spread of the log length, the spread drawn towards the prior (inverse chi-square, as for envelopes).
fn length_of(lengths: &[f64]) -> (f64, f64) {
    #[expect(clippy::cast_precision_loss, reason = "a handful of captures")]
    let count = lengths.len().max(1) as f64;
    let mean = robust::median(&mut lengths.to_vec()).unwrap_or(0.0);
    let squares: f64 = lengths.iter().map(|length| (length - mean).powi(2).min(1.0)).sum();
    let variance =
        (LENGTH_PRIOR_WEIGHT * LENGTH_SPREAD * LENGTH_SPREAD + squares) / (LENGTH_PRIOR_WEIGHT + count);
    (mean, variance.sqrt())
}

/// Level at the start, slope and spread, wild observations left out (three standard deviations, five rounds).
fn robust_line(observations: &[Observation], ramps: bool) -> (f64, f64, f64) {
    let (mut level, mut slope) = (weighted_median(observations), 0.0);
    let mut spread = weighted_median(
        &observations.iter().map(|(t, y, w)| (*t, (y - level).abs(), *w)).collect::<Vec<_>>(),
    ) * robust::MAD_TO_SD;
    spread = spread.max(SMALLEST_SPREAD);
    for _ in 0..5 {
        let kept: Vec<Observation> = observations
            .iter()
            .copied()
            .filter(|(t, y, _)| (y - level - slope * t).abs() <= 3.0 * spread)
            .collect();
        if kept.is_empty() {
            break;
        }
        (level, slope) = line(&kept, ramps);
        let squares: f64 = kept.iter().map(|(t, y, w)| w * (y - level - slope * t).powi(2)).sum();
        spread = (squares / total(&kept)).sqrt().max(SMALLEST_SPREAD);
    }
    (level, slope, spread)
}

/// Weighted least squares.
fn line(observations: &[Observation], ramps: bool) -> (f64, f64) {
    let weight = total(observations).max(f64::MIN_POSITIVE);
    let mean_t = observations.iter().map(|(t, _, w)| w * t).sum::<f64>() / weight;
    let mean_y = observations.iter().map(|(_, y, w)| w * y).sum::<f64>() / weight;
    if !ramps {
        return (mean_y, 0.0);
    }
    let squares: f64 = observations.iter().map(|(t, _, w)| w * (t - mean_t).powi(2)).sum();
    let products: f64 = observations.iter().map(|(t, y, w)| w * (t - mean_t) * (y - mean_y)).sum();
    let slope = if squares > 1e-9 { products / squares } else { 0.0 };
    (mean_y - slope * mean_t, slope)
}

fn weighted_median(observations: &[Observation]) -> f64 {
    let mut weighted: Vec<(f64, f64)> =
        observations.iter().map(|(_, value, weight)| (*value, *weight)).collect();
    robust::weighted_median(&mut weighted).unwrap_or(0.0)
}

/// Cuts one capture into `count` stages of least squares on their own, as a first guess for all.
fn first_guess(run: &Run, count: usize) -> Option<Vec<Stage>> {
    let starts = cut_alone(run, count)?;
    Some(estimate(std::slice::from_ref(run), &[starts]))
}

/// The cut of one capture into `count` stretches that is cheapest when each has its own level and spread.
fn cut_alone(run: &Run, count: usize) -> Option<Vec<usize>> {
    let pieces = run.pieces.len();
    if pieces < count {
        return None;
    }
    let sums = Sums::of(run);
    let mut best = vec![vec![f64::INFINITY; pieces + 1]; count + 1];
    let mut from = vec![vec![0; pieces + 1]; count + 1];
    best[0][0] = 0.0;
    for k in 0..count {
        for end in k + 1..=pieces {
            for start in k..end {
                let length = run.pieces[end - 1].to - run.pieces[start].from;
                let total = best[k][start] + sums.cost(start, end);
                if length >= SHORTEST_STAGE_S && total < best[k + 1][end] {
                    best[k + 1][end] = total;
                    from[k + 1][end] = start;
                }
            }
        }
    }
    best[count][pieces].is_finite().then(|| trace_back(&from, pieces))
}

/// Running sums of weight, level and squared level.
struct Sums(Vec<(f64, f64, f64)>);

impl Sums {
    fn of(run: &Run) -> Self {
        let mut sums = vec![(0.0, 0.0, 0.0)];
        let (mut w, mut y, mut yy) = (0.0, 0.0, 0.0);
        for piece in &run.pieces {
            w += piece.weight;
            y += piece.weight * piece.level;
            yy += piece.weight * (piece.level * piece.level + piece.variance);
            sums.push((w, y, yy));
        }
        Self(sums)
    }

    fn cost(&self, start: usize, end: usize) -> f64 {
        let (a, b) = (self.0[start], self.0[end]);
        let (w, y, yy) = (b.0 - a.0, b.1 - a.1, b.2 - a.2);
        if w <= 0.0 {
            return 0.0;
        }
        let variance = (yy / w - (y / w).powi(2)).max(SMALLEST_SPREAD * SMALLEST_SPREAD);
        w * 0.5 * variance.ln() + 0.5 * w
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stage(level: f64) -> Stage {
        Stage { level, slope: 0.0, spread: 0.1, length: None }
    }

    #[test]
    fn stages_at_one_level_cost_more_than_stages_apart_in_every_capture() {
        let runs = vec![Run::of_pieces(&[(2.0, 0.0), (2.0, 0.0)]); 3];
        let starts = vec![vec![0, 1]; 3];
        let of = |gap: f64| penalty(&runs, &starts, &[stage(0.0), stage(gap)]);
        let apart = of(2.0);
        assert!((of(0.0) - apart - 9.0).abs() < 0.01, "{} {apart}", of(0.0));
        assert!((of(-0.25) - of(0.25)).abs() < 1e-9, "up or down");
        assert!(of(0.0) > of(0.1) && of(0.1) > of(0.3) && of(0.3) > apart);
    }

    #[test]
    fn a_stage_that_settles_is_not_two() {
        // A tenth up, for two seconds in each capture, is how a load comes to its level.
        let course = |step: f64| {
            let (halves, rest) = ([(0.5, step); 4], [(0.5, 0.0); 12]);
            let pieces = [&[(0.5, -3.0); 4][..], &halves, &rest].concat();
            fit(&vec![Run::of_pieces(&pieces); 5], 4).unwrap()
        };
        assert_eq!(course(0.1).stages.len(), 2);
        assert_eq!(course(0.7).stages.len(), 3);
    }

    /// A course of three stages at these levels, with ends.
    fn course(levels: [f64; 3], runs: &[Run]) -> Course {
        let length = [None, Some((1.1, 0.3)), None];
        let stages: Vec<Stage> = (0..3).map(|k| Stage { length: length[k], ..stage(levels[k]) }).collect();
        let starts = runs.iter().map(|run| align(run, &stages).unwrap().0).collect();
        Course { stages, starts, cost: 0.0 }
    }

    #[test]
    fn a_board_that_draws_more_in_all_stages_is_followed_at_its_own_level() {
        let run = |shift: f64| {
            let at = |level: f64, count: usize| vec![(0.5, level + shift); count];
            Run::of_pieces(&[at(0.0, 8), at(2.0, 6), at(1.86, 40)].concat())
        };
        let runs = [run(0.0), run(0.0), run(0.1)];
        let course = course([0.0, 2.0, 1.86], &runs);
        assert!(course.starts[2][2] > 14, "the busy stage seems to go on: {:?}", course.starts);
        let own = at_own_levels(&runs, course);
        assert_eq!(own.starts, vec![vec![0, 8, 14]; 3]);
    }

    #[test]
    fn a_capture_in_which_a_stage_lasts_longer_has_no_more_say() {
        let run = |busy: f64, seconds: f64| Run::of_pieces(&[(2.0, 0.0), (seconds, busy), (8.0, 0.5)]);
        let runs = [run(1.0, 3.0), run(1.0, 3.0), run(1.0, 3.0), run(0.6, 40.0)];
        let stage = estimate_stage(&runs, &vec![vec![0, 1, 2]; 4], 1, 3);
        assert!((stage.level - 1.0).abs() < 0.05, "{stage:?}");
    }
}
