//! How much the readback varies where the board does not change its level.
//!
//! The noise is taken from the trace itself, by differences, which a change of level touches only once:
//!
//! - Readings in order of level fall into groups of one size; in each, the differences between one update and the next
//!   give the noise at that level ([`trimmed_square`](robust::trimmed_square), which a fifth of wild values cannot
//!   move). From one group's level to the next the noise is taken for a straight line.
//! - A rounding step is noise too: a reading within half a step of the border between two codes toggles between them,
//!   with a standard deviation of up to half a step.
//!
//! That is the noise of single updates. How a busy load wanders is no noise of the readback; it is measured where
//! stages are told from it, in `stages`.

use crate::share::both;
use crate::stats::robust;
use rayon::prelude::*;

/// Fewer differences than this give no noise of their own to a level.
const LEAST_GROUP: usize = 40;

/// Most groups of levels.
const MOST_GROUPS: usize = 8;

/// Share of the steps between updates that may be changes of level or spikes: attempts of 100 ms in a log of ten
/// updates a second change it twice in ten.
pub(super) const FEW: f64 = 0.2;

/// Share of the steps between longer averages that may be.
pub(super) const MANY: f64 = 0.4;

/// Largest share of the level that can be noise. Beyond it lie the pulses of a board that starts again and again; taken
/// for noise, they could not be found any more: a pulse of two updates is cut out only if it stands some five standard
/// deviations above its surroundings, which at this share it still does.
const LARGEST_SHARE: f64 = 0.15;

/// Closer neighbours than this could not be told from a drift.
pub(super) const LARGEST_CORRELATION: f64 = 0.85;

/// Noise of a readback at every level.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Noise {
    floor: f64,
    rounding: f64,
    /// Levels in rising order, the first of them 0; the noise is a straight line from one to the next.
    knots: Vec<Knot>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Knot {
    level: f64,
    noise: f64,
    /// The level on the scale where the noise is 1.
    stable: f64,
}

impl Noise {
    /// Estimated from readings, one an update, of whose steps a share up to `trimmed` may be changes; never below `least`.
    pub(super) fn of(values: &[f64], rounding: f64, least: f64, trimmed: f64) -> Self {
        let groups = groups(values, trimmed);
        let lowest = lowest(&groups);
        let toggling = if toggles(values, rounding) { rounding / 2.0 } else { 0.0 };
        let floor = lowest.max(toggling).max(least);
        let mut groups = groups;
        groups.extend(rare(values, floor, trimmed));
        groups.sort_by(|a, b| a.level.total_cmp(&b.level));
        let mut noise = Self { floor, rounding, knots: vec![Knot { level: 0.0, noise: floor, stable: 0.0 }] };
        for group in groups {
            noise.add(group.level, group.noise.min(LARGEST_SHARE * group.level).max(floor));
        }
        noise
    }

    /// Adds a knot above the last; at the level of the last, the larger noise counts.
    fn add(&mut self, level: f64, noise: f64) {
        let last = self.knots[self.knots.len() - 1];
        if level - last.level > last.noise {
            let stable = last.stable + last.up_to(level, noise);
            self.knots.push(Knot { level, noise, stable });
        }
    }

    /// Standard deviation of one reading at low level, rounding included.
    pub(super) fn floor(&self) -> f64 {
        self.floor
    }

    /// Rounding step.
    pub(super) fn rounding(&self) -> f64 {
        self.rounding
    }

    /// Rounding step in standard deviations of one reading at low level.
    pub(super) fn step(&self) -> f64 {
        self.rounding / self.floor
    }

    /// A value on a scale where the noise of one reading has standard deviation 1 at every level: the integral of
    /// 1/noise (Bartlett, "The use of transformations", Biometrics 3 (1947) 39).
    pub(super) fn stable(&self, value: f64) -> f64 {
        let size = value.abs();
        let (knot, noise) = self.below(size);
        (knot.stable + knot.up_to(size, noise)).copysign(value)
    }

    /// Standard deviation of one reading at level `value`.
    pub(super) fn at(&self, value: f64) -> f64 {
        self.below(value.abs()).1
    }

    /// The last knot up to level `size`, and the noise there.
    fn below(&self, size: f64) -> (Knot, f64) {
        let above = self.knots.partition_point(|knot| knot.level <= size).max(1);
        let knot = self.knots[above - 1];
        let noise = self.knots.get(above).map_or(knot.noise, |next| {
            knot.noise + (next.noise - knot.noise) * (size - knot.level) / (next.level - knot.level)
        });
        (knot, noise)
    }
}

impl Knot {
    /// The integral of 1/noise from here to `level`, where the noise is `noise`.
    fn up_to(&self, level: f64, noise: f64) -> f64 {
        // Nearer to each other than this, the logarithm loses more figures than the mean noise does.
        const LIKE: f64 = 1e-6;
        let (apart, more) = (level - self.level, noise - self.noise);
        if more.abs() <= LIKE * self.noise {
            apart / f64::midpoint(self.noise, noise)
        } else {
            apart / more * (more / self.noise).ln_1p()
        }
    }
}

/// Noise at the lowest level. Nothing is much noisier at low level than at most others; where the lowest group is, it is made
/// up of the short rests of a board that starts again and again, with a step at either end of each.
fn lowest(groups: &[Group]) -> f64 {
    /// Estimates from [`LEAST_GROUP`] steps of the same noise lie about so far apart (by judgement).
    const NO_MORE: f64 = 1.25;
    let mut noise: Vec<f64> = groups.iter().map(|group| group.noise).collect();
    let middle = robust::median(&mut noise).unwrap_or(0.0);
    groups.first().map_or(0.0, |group| group.noise.min(NO_MORE * middle))
}

/// Long-run variance of a first-order process over half the mean square of its steps; `None` if nothing varies.
///
/// With steps over one and two updates, V₁ and V₂ in mean square, the correlation of neighbours is ρ = V₂/V₁ − 1
/// (Chakar, Lebarbier, Lévy-Leduc & Robin, "A robust approach for estimating change-points in the mean of an AR(1)
/// process", Bernoulli 23 (2017) 1408), and the mean of many updates varies like that of independent ones of variance
/// σ² (1 + ρ) / (1 − ρ), where σ² (1 − ρ) is half of V₁.
pub(super) fn long_run(count: usize, value: impl Fn(usize) -> f64 + Sync) -> Option<f64> {
    let square = |lag: usize| {
        let step = |index: usize| value(index + lag) - value(index);
        robust::trimmed_square_at(count.saturating_sub(lag), FEW, step).map(|square| square / 2.0)
    };
    let (one, two) = both(count, || square(1), || square(2));
    let one = one.filter(|one| *one > 0.0)?;
    let near = (two? / one - 1.0).clamp(0.0, LARGEST_CORRELATION);
    Some(one * (1.0 + near) / (1.0 - near).powi(2))
}

/// Noise at one level.
struct Group {
    level: f64,
    noise: f64,
}

/// The noise at each level, the lowest first.
fn groups(values: &[f64], trimmed: f64) -> Vec<Group> {
    let pairs = robust::parts(values.len()).flat_map(|part| values[part].windows(2));
    let mut steps: Vec<(f64, f64)> = pairs.map(level_and_step).collect();
    if steps.is_empty() {
        return Vec::new();
    }
    steps.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    let count = (steps.len() / LEAST_GROUP).clamp(1, MOST_GROUPS);
    steps.chunks(steps.len().div_ceil(count)).filter_map(|steps| group(steps, trimmed)).collect()
}

fn group(steps: &[(f64, f64)], trimmed: f64) -> Option<Group> {
    let mut differences: Vec<f64> = steps.iter().map(|(_, step)| *step).collect();
    let noise = (robust::trimmed_square(&mut differences, trimmed)? / 2.0).sqrt();
    Some(Group { level: steps[steps.len() / 2].0, noise })
}

/// Of a long series, the noise at levels that it is seldom at: a boot of half a minute in a day may lie between the parts
/// that are looked at, and counts for little among them if it does not. The readings at such levels are looked at one and
/// all, up to a number; each quarter of an octave of levels is a group.
fn rare(values: &[f64], floor: f64, trimmed: f64) -> Vec<Group> {
    let stride = values.len() / robust::PARTS;
    if stride <= robust::LENGTH {
        return Vec::new();
    }
    let counts = band_counts(values);
    let lowest = floor / LARGEST_SHARE;
    // A stretch that is longer than this meets one of the parts.
    let is_rare = |level: f64| counts[band(level)] as usize <= stride && level > lowest;
    let bands = rare_steps(values, is_rare);
    let enough = bands.iter().filter(|steps| steps.len() >= LEAST_GROUP);
    enough.filter_map(|steps| group(steps, trimmed)).collect()
}

/// The level between two updates, and the step.
fn level_and_step(pair: &[f64]) -> (f64, f64) {
    (f64::midpoint(pair[0], pair[1]).abs(), pair[1] - pair[0])
}

/// How many steps of a long series are at levels of each band.
fn band_counts(values: &[f64]) -> [u32; BANDS] {
    let count = |pairs: &[f64]| {
        let mut counts = [0_u32; BANDS];
        for pair in pairs.windows(2) {
            counts[band(level_and_step(pair).0)] += 1;
        }
        counts
    };
    let add = |mut sum: [u32; BANDS], more: [u32; BANDS]| {
        sum.iter_mut().zip(more).for_each(|(sum, more)| *sum += more);
        sum
    };
    shared_out(values).into_par_iter().map(count).reduce(|| [0; BANDS], add)
}

/// The first steps at each band of levels that are rare, as many as are enough.
fn rare_steps(values: &[f64], is_rare: impl Fn(f64) -> bool + Sync) -> Vec<Vec<(f64, f64)>> {
    /// Steps larger than this share of the level are changes of level: the noise reaches [`LARGEST_SHARE`].
    const LARGEST_STEP: f64 = 0.5;
    /// So many steps are enough for a group.
    const ENOUGH: usize = 4096;
    let counts = |(level, step): &(f64, f64)| is_rare(*level) && step.abs() <= LARGEST_STEP * level;
    let of_part = |pairs: &&[f64]| pairs.windows(2).map(level_and_step).filter(counts).collect::<Vec<_>>();
    let mut bands: Vec<Vec<(f64, f64)>> = vec![Vec::new(); BANDS];
    // No more at a time than can be held even if they are all rare.
    for parts in shared_out(values).chunks(AT_A_TIME) {
        let found: Vec<Vec<(f64, f64)>> = parts.par_iter().map(of_part).collect();
        for (level, step) in found.into_iter().flatten() {
            let steps = &mut bands[band(level)];
            if steps.len() < ENOUGH {
                steps.push((level, step));
            }
        }
    }
    bands
}

/// Parts of a long series that hold every pair of neighbours once.
fn shared_out(values: &[f64]) -> Vec<&[f64]> {
    let starts = (0..values.len()).step_by(PART);
    starts.map(|start| &values[start..values.len().min(start + PART + 1)]).collect()
}

/// Pairs in a part: enough for what a part costs by itself not to count.
const PART: usize = 1 << 16;
/// Parts that are looked at side by side.
const AT_A_TIME: usize = 16;

/// Bands of levels: quarters of an octave, of as many octaves as a current can span.
const BANDS: usize = 4 * 64;

/// The band of a level above zero: by its exponent and the first two bits of what follows.
fn band(level: f64) -> usize {
    /// The least octave that is told from zero, 2^-40.
    const LEAST: u64 = (1023 - 40) << 2;
    let octave = (level.to_bits() >> 50).saturating_sub(LEAST);
    usize::try_from(octave).map_or(0, |octave| octave.min(BANDS - 1))
}

/// Whether readings go from one code to the next and back, as rounding makes them. Two levels that are simply there,
/// one after the other, leave no sign of how finely they were read.
fn toggles(values: &[f64], step: f64) -> bool {
    /// There, back, and there again.
    const OFTEN: usize = 3;
    let one_step = |pair: &&[f64]| {
        let apart = (pair[1] - pair[0]).abs();
        apart > 0.5 * step && apart < 1.5 * step
    };
    values.windows(2).filter(one_step).take(OFTEN).count() == OFTEN
}

/// What one more change must save, in long-run variances.
///
/// Twice the logarithm of the number of updates is the price at which a long series without a change is left whole
/// (Yao, "Estimating the number of change-points via Schwarz' criterion", Stat. Probab. Lett. 6 (1988) 181). The rest
/// is a margin for what is not known here: the noise is itself estimated, and no load is exactly normal.
pub(super) fn penalty(updates: usize) -> f64 {
    /// Twice the price of the theory.
    const MARGIN: f64 = 2.0;
    /// A few updates alone prove nothing.
    const LEAST: f64 = 6.0;
    #[expect(clippy::cast_precision_loss, reason = "a logarithm needs no more than 53 bits of a count")]
    let count = updates.max(2) as f64;
    MARGIN * 2.0 * count.ln() + LEAST
}

/// Smallest distance between two readings that occur; 0 if none are as close as the `coarsest` step that there is.
pub(super) fn rounding_step(values: &[f64], coarsest: f64) -> f64 {
    /// Readings that are looked at, spread over the whole trace.
    const LOOKED_AT: usize = 1 << 16;
    let stride = values.len().div_ceil(LOOKED_AT).max(1);
    let mut sorted: Vec<f64> = values.iter().copied().step_by(stride).collect();
    sorted.sort_unstable_by(f64::total_cmp);
    let range = sorted.last().zip(sorted.first()).map_or(0.0, |(last, first)| last - first);
    let gaps = sorted.windows(2).map(|pair| pair[1] - pair[0]).filter(|gap| *gap > range * 1e-9);
    // Two decimals a step apart may differ by a hair more than it.
    let is_step = |gap: &f64| *gap <= coarsest * (1.0 + 1e-9);
    gaps.min_by(f64::total_cmp).filter(is_step).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};

    #[test]
    fn two_levels_far_apart_show_no_step() {
        let short: Vec<f64> = [[0.0; 20], [3.0; 20]].concat();
        assert!(rounding_step(&short, 0.1) <= 0.0);
        let coarse: Vec<f64> = [0.0, 0.3, 0.2, 0.3].repeat(10);
        assert!((rounding_step(&coarse, 0.1) - 0.1).abs() < 1e-12);
    }

    #[test]
    fn the_noise_of_a_level_that_a_long_series_is_seldom_at_is_known() {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(5);
        let mut normal = move || -> f64 { (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0 };
        // Between two of the parts that a long row is known by.
        let busy = 300_000 / robust::PARTS * 3 + robust::LENGTH..300_000 / robust::PARTS * 4 - 10;
        let mut values: Vec<f64> = (0..300_000).map(|_| 0.48 + 0.008 * normal()).collect();
        values[busy].iter_mut().for_each(|value| *value = 0.8 + 0.1 * normal());
        let noise = Noise::of(&values, 0.0, 0.001, FEW);
        assert!((noise.at(0.48) - 0.008).abs() < 0.001, "{}", noise.at(0.48));
        assert!((noise.at(0.8) - 0.1).abs() < 0.03, "{}", noise.at(0.8));
    }

    #[test]
    fn short_rests_of_a_board_that_tries_again_and_again_are_no_noise() {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(6);
        let mut normal = move || -> f64 { (0..12).map(|_| random.random::<f64>()).sum::<f64>() - 6.0 };
        // Four readings a second of tries of eight seconds with a second between them.
        let cycle = |index: usize| match index % 34 {
            0 => 0.3,
            1 | 2 => 0.015,
            3 => 0.44,
            _ => 0.76,
        };
        let values: Vec<f64> = (0..240).map(|index| cycle(index) + 0.02 * normal()).collect();
        let noise = Noise::of(&values, 0.001, 0.001, FEW);
        assert!(noise.floor() < 0.05, "{}", noise.floor());
    }
}
