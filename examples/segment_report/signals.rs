//! Made signals with known changes.

use feedtale::segment::Settings;
use feedtale::units::Amps;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Samples of every signal.
pub(crate) const COUNT: usize = 10_000;

/// Changes in every stress signal.
pub(crate) const CHANGES: usize = 20;

/// Fewest samples between two changes.
pub(crate) const LEAST_LENGTH: usize = 100;

/// Seconds from one sample to the next.
pub(crate) const STEP_S: f64 = 0.05;

/// The default, but for the coarsest step: that is given in amps, and the signals count in standard deviations.
pub(crate) fn settings() -> Settings {
    Settings { coarsest_step: Amps::constant(10.0), ..Settings::default() }
}

/// A series with the changes that were put into it.
#[derive(Debug, Clone)]
pub(crate) struct Signal {
    pub(crate) time: Vec<f64>,
    pub(crate) values: Vec<f64>,
    pub(crate) changes: Vec<usize>,
}

/// Sizes of the jumps, in noise standard deviations: either way, as likely as not.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Jumps {
    pub(crate) least: f64,
    pub(crate) most: f64,
}

/// What is done to a stress signal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Stress {
    /// Nothing: steps in independent normal noise of standard deviation 1.
    None,
    /// A constant added.
    Offset(f64),
    /// Twenty single samples lifted by this much.
    Spikes(f64),
    /// Rounded to this step.
    Rounded(f64),
    /// A readback renewed with every so manieth sample.
    Repeats(usize),
    /// First-order autoregressive noise of this coefficient and standard deviation 1.
    Autoregressive(f64),
    /// Time steps between a quarter of and four times the usual one, and three gaps of half a minute.
    Uneven,
}

/// The source of everything random.
pub(crate) struct Random(ChaCha8Rng);

impl Random {
    pub(crate) fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    /// Between 0 and 1.
    pub(crate) fn unit(&mut self) -> f64 {
        self.0.random()
    }

    pub(crate) fn between(&mut self, least: f64, most: f64) -> f64 {
        least + (most - least) * self.unit()
    }

    pub(crate) fn below(&mut self, count: usize) -> usize {
        self.0.random_range(0..count)
    }

    /// Normal with mean 0 and standard deviation 1 (Box & Muller, Ann. Math. Stat. 29 (1958) 610).
    pub(crate) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }
}

/// `count` places of change with at least [`LEAST_LENGTH`] samples between any two and at both ends, at multiples of
/// `grid`.
pub(crate) fn places(random: &mut Random, count: usize, grid: usize) -> Vec<usize> {
    let free = COUNT - (count + 1) * LEAST_LENGTH;
    let mut cuts: Vec<usize> = (0..count).map(|_| random.below(free)).collect();
    cuts.sort_unstable();
    let spaced = cuts.into_iter().enumerate();
    spaced.map(|(index, cut)| (cut + (index + 1) * LEAST_LENGTH) / grid * grid).collect()
}

/// One level a segment.
fn levels(random: &mut Random, count: usize, jumps: Jumps) -> Vec<f64> {
    let mut level = 0.0;
    let mut next = || {
        let jump = random.between(jumps.least, jumps.most);
        level += if random.unit() < 0.5 { jump } else { -jump };
        level
    };
    std::iter::once(0.0).chain((0..count).map(|_| next())).collect()
}

/// Steps in noise of standard deviation 1, under one stress.
pub(crate) fn stressed(stress: Stress, jumps: Jumps, seed: u64) -> Signal {
    let mut random = Random::new(seed);
    let held = if let Stress::Repeats(held) = stress { held } else { 1 };
    let changes = places(&mut random, CHANGES, held);
    let levels = levels(&mut random, CHANGES, jumps);
    let near = if let Stress::Autoregressive(near) = stress { near } else { 0.0 };
    let mut noise = random.normal();
    let mut values: Vec<f64> = (0..COUNT)
        .map(|index| {
            if index % held == 0 {
                noise = near * noise + (1.0 - near * near).sqrt() * random.normal();
            }
            levels[changes.partition_point(|change| *change <= index)] + noise
        })
        .collect();
    spoil(&mut values, stress, &mut random);
    Signal { time: times(stress, &mut random), values, changes }
}

fn spoil(values: &mut [f64], stress: Stress, random: &mut Random) {
    match stress {
        Stress::Offset(offset) => values.iter_mut().for_each(|value| *value += offset),
        Stress::Rounded(step) => values.iter_mut().for_each(|value| *value = (*value / step).round() * step),
        Stress::Spikes(size) => {
            for _ in 0..20 {
                let index = random.below(values.len());
                values[index] += size;
            }
        }
        _ => {}
    }
}

fn times(stress: Stress, random: &mut Random) -> Vec<f64> {
    let gaps: Vec<usize> = (0..3).map(|_| random.below(COUNT)).collect();
    let mut time = 0.0;
    let mut step = |index: usize| {
        if stress == Stress::Uneven {
            time += STEP_S * 4.0_f64.powf(random.between(-1.0, 1.0));
            time += if gaps.contains(&index) { 30.0 } else { 0.0 };
        } else {
            time += STEP_S;
        }
        time
    };
    (0..COUNT).map(&mut step).collect()
}

/// Noise whose spread changes `changes` times between 1 and `ratio`, at a constant level, rounded to `rounding`.
pub(crate) fn spreads(changes: usize, ratio: f64, rounding: f64, seed: u64) -> Signal {
    let mut random = Random::new(seed);
    let level = random.between(100.0, 110.0);
    let changes = places(&mut random, changes, 1);
    let value = |index: usize| {
        let busy = changes.partition_point(|change| *change <= index) % 2 == 1;
        let value = level + random.normal() * if busy { ratio } else { 1.0 };
        (value / rounding).round() * rounding
    };
    let values = (0..COUNT).map(value).collect();
    Signal { time: times(Stress::None, &mut Random::new(seed)), values, changes }
}

/// Noise of standard deviation 1 about 0 that jumps by `size` with sample `at`.
pub(crate) fn one_jump(at: usize, size: f64, count: usize, seed: u64) -> Signal {
    let mut random = Random::new(seed);
    let values = (0..count).map(|index| random.normal() + if index < at { 0.0 } else { size }).collect();
    let time = times(Stress::None, &mut random).into_iter().take(count).collect();
    Signal { time, values, changes: vec![at] }
}
