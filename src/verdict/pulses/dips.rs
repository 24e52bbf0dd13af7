//! Short dips of the volts of a load that the supply holds at its limit: what a controller beside it takes for a moment shows
//! there, for the amps cannot rise.

use super::{RISES_S, Rhythm, begins, below, local_levels};
use crate::verdict::seen::Seen;

/// Dips of the volts that come evenly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::verdict) struct Dips {
    rhythm: Rhythm,
    /// How far the deepest goes below the level, in volts.
    deep_v: f64,
}

impl Dips {
    /// Those of the load that a run ends in.
    pub(in crate::verdict) fn on_a_load(seen: &Seen) -> Option<Self> {
        let last = &seen.analysis.path.last().filter(|last| last.stretch.limit > 0.5)?.stretch;
        let from_s = last.start_s.max(seen.analysis.run.start_s + RISES_S);
        let read = seen.samples_between(from_s, last.end_s);
        let (time, volts) = (seen.trace.time().get(read.clone())?, seen.trace.volts().get(read)?);
        Self::of(time, volts, seen.readout.update_s())
    }

    /// Those of these readings, which are renewed every `update_s` seconds.
    fn of(time: &[f64], volts: &[f64], update_s: f64) -> Option<Self> {
        /// Standard deviations and steps of the readings that the deepest is at least, and all of them (by judgement).
        const DEEPEST: (f64, f64) = (6.0, 3.0);
        const EACH: (f64, f64) = (4.0, 2.0);
        let deep: Vec<f64> =
            volts.iter().zip(local_levels(volts)).map(|(volts, level)| level - volts).collect();
        let step_v = step(volts);
        let noise_v = below(&deep).max(step_v / 12_f64.sqrt());
        let least = |(sds, steps): (f64, f64)| (sds * noise_v).max(steps * step_v);
        let deep_v = deep.iter().copied().fold(0.0, f64::max);
        let begun = begins(time, &deep, |deep| deep > least(EACH));
        let rhythm = Rhythm::of(&begun, update_s).filter(|rhythm| rhythm.is_filled_by(&begun))?;
        (deep_v > least(DEEPEST)).then_some(Self { rhythm, deep_v })
    }

    /// `the volts dip by up to 46 mV, one dip about every 1.2 s: its controller works, or something tries again`.
    pub(in crate::verdict) fn words(self, seen: &Seen) -> String {
        let deep = (1e3 * self.deep_v).round();
        let every = self.rhythm.words(seen);
        format!("its volts dip by up to {deep} mV, {every}: its controller works, or something tries again")
    }
}

/// The least that two readings differ by, in volts.
fn step(volts: &[f64]) -> f64 {
    /// Coarsest step of a volts readback: bench supplies show hundredths or finer (common practice, no source).
    const COARSEST_V: f64 = 0.01;
    /// Less is what two decimals differ by as binary numbers.
    const LEAST_V: f64 = 1e-6;
    let steps = volts.windows(2).map(|pair| (pair[1] - pair[0]).abs());
    steps.filter(|step| *step > LEAST_V).fold(COARSEST_V, f64::min)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Readings of 40 s, ten a second, that scatter by a few millivolts about 4.74 V, and go `deep_v` down at every `every`th.
    fn read(deep_v: f64, every: u32) -> Option<Dips> {
        let time: Vec<f64> = (0..400_u32).map(|i| 0.1 * f64::from(i)).collect();
        let scatter = |i: u32| 0.001 * f64::from(i * 7 % 5) - 0.002;
        let volts: Vec<f64> =
            (0..400_u32).map(|i| 4.74 + scatter(i) - if i % every == 5 { deep_v } else { 0.0 }).collect();
        Dips::of(&time, &volts, 0.1)
    }

    #[test]
    fn dips_that_come_evenly_are_told_from_the_scatter_of_the_volts() {
        let found = read(0.04, 12).expect("dips");
        assert!((found.rhythm.every_s - 1.2).abs() < 0.02, "{found:?}");
        assert!((0.036..=0.044).contains(&found.deep_v), "{found:?}");
        assert_eq!(read(0.0, 12), None, "scatter");
        assert_eq!(read(0.04, 400), None, "one alone");
    }
}
