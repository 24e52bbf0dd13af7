//! Tries that look alike end alike.

use super::Seen;
use crate::stats::robust;
use crate::verdict::Attempt;
use crate::verdict::phases::EDGE_READINGS;

impl Seen<'_> {
    /// A try of which no stage was told, or an earlier one than of most others, ended where they did if it comes to the
    /// level of that stage when they do: one reading is enough, where the others of the run tell what it is.
    pub(super) fn judge_alike(&mut self) {
        let Some((stage, after_s)) = self.usual_end() else { return };
        let alike: Vec<bool> =
            self.attempts.iter().map(|attempt| self.comes_to(attempt, stage, after_s)).collect();
        let name = &self.analysis.model.stages[stage].name;
        for (attempt, _) in self.attempts.iter_mut().zip(alike).filter(|(_, alike)| *alike) {
            attempt.ended_in = Some(name.clone());
        }
    }

    /// The stage in which most of those tries ended that one is told for, and when they come to its level, in seconds from
    /// where they are counted from.
    fn usual_end(&self) -> Option<(usize, f64)> {
        let tries = self.tries()?;
        let name = tries.ended_in?;
        let stage = self.analysis.model.stages.iter().position(|stage| stage.name == name)?;
        let told = self.attempts.iter().filter(|attempt| attempt.given_up && attempt.ended_in.is_some());
        let there = told.clone().filter(|attempt| attempt.ended_in.as_ref() == Some(&name));
        let mut after: Vec<f64> =
            there.filter_map(|attempt| self.at_its_level(attempt, stage).into_iter().next()).collect();
        let after_s = robust::median(&mut after)?;
        (2 * tries.ended_there > told.count()).then_some((stage, after_s))
    }

    fn comes_to(&self, attempt: &Attempt, stage: usize, after_s: f64) -> bool {
        /// Share of that time that good starts differ by (common practice, no source).
        const OFF: f64 = 0.1;
        let stages = &self.analysis.model.stages;
        let ended = attempt.ended_in.as_ref();
        let earlier = ended.is_none_or(|name| stages[..stage].iter().any(|stage| stage.name == *name));
        let off_s = (EDGE_READINGS * self.readout.update_s()).max(OFF * after_s);
        let mut at_level = self.at_its_level(attempt, stage).into_iter();
        attempt.given_up && earlier && at_level.any(|at_s| (at_s - after_s).abs() <= off_s)
    }

    /// When the readings of a start lie within what good boards draw on average in `stage` and in none before it, in seconds
    /// from where it is counted from; without a last one that is lower than the one before, which the fall averages over.
    fn at_its_level(&self, attempt: &Attempt, stage: usize) -> Vec<f64> {
        let bands: Option<Vec<(f64, f64)>> = (0..=stage).map(|stage| self.mean_band(stage)).collect();
        let Some(bands) = bands else { return Vec::new() };
        let Some((here, before)) = bands.split_last() else { return Vec::new() };
        let within = |amps: f64, band: &(f64, f64)| (band.0..=band.1).contains(&amps);
        let (start, end) = (attempt.start_s.value(), attempt.end_s.value());
        let (read, amps) = (self.samples_between(start, end), self.amps_between(start, end));
        let falls = amps.windows(2).last().is_some_and(|pair| pair[1] < pair[0]);
        let whole = amps.len() - usize::from(falls);
        let time = &self.trace.time()[read];
        let here = |amps: f64| within(amps, here) && !before.iter().any(|band| within(amps, band));
        let shown = time.iter().zip(&amps).take(whole).filter(|(_, amps)| here(**amps));
        shown.map(|(time, _)| time - start).collect()
    }
}
