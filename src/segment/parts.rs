//! A long series worked out part by part: what the engine takes next while it takes what was worked out before.

use super::changes::Levels;
use super::updates::Updates;
use std::ops::Range;

/// Observations in a part: they stay within a processor's second-level cache until they are taken.
const PART: usize = 1 << 15;

/// Works out part after part of `count` observations, each while `take` has the one before.
///
/// # Errors
/// That of `take`, if it fails; nothing more is worked out then.
pub(super) fn by_parts<Part: Default + Send + Sync, Error: Send>(
    count: usize,
    work: impl Fn(&mut Part, Range<usize>) + Sync,
    mut take: impl FnMut(&Part) -> Result<(), Error> + Send,
) -> Result<(), Error> {
    let mut ranges = (0..count).step_by(PART).map(|start| start..count.min(start + PART));
    let (mut now, mut next) = (Part::default(), Part::default());
    work(&mut now, ranges.next().unwrap_or_default());
    for range in ranges {
        let (taken, ()) = rayon::join(|| take(&now), || work(&mut next, range));
        taken?;
        std::mem::swap(&mut now, &mut next);
    }
    take(&now)
}

/// Some updates on the scale of their noise.
#[derive(Default)]
pub(super) struct Scaled {
    pub(super) values: Vec<f64>,
    pub(super) weights: Vec<f64>,
    known: Known,
}

impl Scaled {
    /// Makes this the updates of `range`.
    pub(super) fn work_out(&mut self, levels: &Levels, updates: &Updates, range: Range<usize>) {
        self.weights.clear();
        self.weights.extend(updates.weights(range.clone()));
        self.values.clear();
        let values = updates.value[range].iter();
        if updates.len() <= PART {
            self.values.extend(values.map(|value| levels.noise.stable(*value)));
        } else {
            let known = &mut self.known;
            self.values.extend(values.map(|value| known.get(*value, |value| levels.noise.stable(value))));
        }
    }
}

/// What was worked out for the last values: one for each of a fixed number of places.
///
/// Readings are rounded and come again and again: most of the time the scale of the noise takes longer to work out than
/// to look up.
#[derive(Default)]
struct Known(Vec<(u64, f64)>);

impl Known {
    const PLACES_LOG: u32 = 12;

    fn get(&mut self, value: f64, work: impl Fn(f64) -> f64) -> f64 {
        if self.0.is_empty() {
            self.0.extend((0..1 << Self::PLACES_LOG).map(Self::nothing));
        }
        let bits = value.to_bits();
        let place = &mut self.0[Self::place(bits)];
        if place.0 != bits {
            *place = (bits, work(value));
        }
        place.1
    }

    /// No place holds its own number, so that nothing is known: the bits of zero go to place 0, and of one not.
    fn nothing(place: u64) -> (u64, f64) {
        (if place == 0 { 1.0_f64.to_bits() } else { 0 }, 0.0)
    }

    /// Fibonacci hashing (Knuth, "The Art of Computer Programming" vol. 3, section 6.4).
    fn place(bits: u64) -> usize {
        const GOLDEN: u64 = 0x9E37_79B9_7F4A_7C15;
        (bits.wrapping_mul(GOLDEN) >> (64 - Self::PLACES_LOG)) as usize
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_part_is_taken_once_and_in_order() {
        for count in [0, 1, PART, PART + 1, 5 * PART - 1] {
            let mut taken: Vec<usize> = Vec::new();
            let work = |part: &mut Vec<usize>, range: Range<usize>| *part = range.collect();
            by_parts(count, work, |part: &Vec<usize>| {
                taken.extend(part);
                Ok::<_, ()>(())
            })
            .unwrap();
            assert!(taken.into_iter().eq(0..count), "{count}");
        }
    }

    #[test]
    fn what_cannot_be_taken_ends_the_work() {
        let mut parts = 0;
        let mut take = |_: &usize| {
            parts += 1;
            if parts == 2 { Err("full") } else { Ok(()) }
        };
        assert_eq!(by_parts(10 * PART, |part, range| *part = range.start, &mut take), Err("full"));
        assert_eq!(parts, 2);
    }
}
