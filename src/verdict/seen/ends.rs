//! Where tries ended: the stage, or those that time and level leave open.

use super::Seen;
use crate::stats::moments::Moments;
use crate::stats::{extent, robust};
use crate::verdict::align::Step;
use crate::verdict::attempts::{Tries, first_stage};
use crate::verdict::evidence::{Rises, ends_in_a_spike, most_step_on, rises_at_the_end};
use crate::verdict::model::{Span, Stage};
use crate::verdict::phases::EDGE_READINGS;
use crate::verdict::{Attempt, Class};

/// Stages of the model, from the first to the last in which the tries may have ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::verdict) struct Ends {
    pub first: usize,
    pub last: usize,
    /// Whether good boards have only just come to the last one by then.
    pub barely: bool,
    /// The stage after the last one, where that ran its usual length: the fault may lie at the step into this one.
    pub into: Option<usize>,
    /// Whether they ran nearly as long in the last one as good boards do, and went off before any step out of it.
    pub short: bool,
}

/// What good boards draw in a stage, in amps: their means, and the highest reading.
#[derive(Debug, Clone, Copy)]
struct Band {
    low: f64,
    high: f64,
    peak: f64,
}

impl Ends {
    /// Whether the place is one stage.
    pub(in crate::verdict) const fn told(self) -> bool {
        self.first == self.last
    }
}

impl Seen<'_> {
    /// Where no stage can be told, the time since the wake and the level say between which it may be, and then none is
    /// told.
    pub(super) fn with_likely_stages(self) -> Self {
        self.without_stages_of_spikes().with_stages_by_time_and_level()
    }

    /// A stage that a try shows by no more than the spike at its end is none that it is known to have come to.
    fn without_stages_of_spikes(mut self) -> Self {
        if ends_in_a_spike(&self) {
            let shown = |attempt: &Attempt| {
                let told = self
                    .analysis
                    .model
                    .stages
                    .iter()
                    .position(|s| Some(&s.name) == attempt.ended_in.as_ref());
                told.is_some_and(|stage| self.comes_to_before_its_end(attempt, stage))
            };
            let shown: Vec<bool> = self.attempts.iter().map(shown).collect();
            for (attempt, _) in self.attempts.iter_mut().zip(shown).filter(|(_, shown)| !shown) {
                attempt.ended_in = None;
            }
        }
        self
    }

    fn with_stages_by_time_and_level(mut self) -> Self {
        let shown: Vec<Option<usize>> =
            self.attempts.iter().map(|attempt| self.shown_by_its_last_readings(attempt)).collect();
        let held: Vec<Option<usize>> =
            self.attempts.iter().map(|attempt| self.held_at_its_end(attempt)).collect();
        for (attempt, (shown, held)) in self.attempts.iter_mut().zip(shown.into_iter().zip(held)) {
            let name = |stage: usize| self.analysis.model.stages[stage].name.clone();
            attempt.ended_in = held.map(name).or_else(|| attempt.ended_in.take()).or_else(|| shown.map(name));
        }
        self.judge_alike();
        let likely = self.tries().and_then(|tries| {
            let latest = self.usual_stage(tries.lasts_s.mean)?;
            Some(self.analysis.model.stages[self.stage_by_level(&tries, latest)].name.clone())
        });
        for attempt in &mut self.attempts {
            attempt.likely_in = attempt.ended_in.clone().or_else(|| likely.clone());
        }
        self.ends = self.tries().and_then(|tries| self.ends_of(&tries));
        let open = self.ends.filter(|ends| !ends.told());
        for attempt in self.attempts.iter_mut().filter(|attempt| attempt.given_up && open.is_some()) {
            let name = |stage: usize| self.analysis.model.stages[stage].name.clone();
            attempt.ended_in = None;
            attempt.earliest_in = open.map(|ends| name(ends.first));
            attempt.likely_in = open.map(|ends| name(ends.last));
        }
        self
    }

    /// The stage that good boards are in by the end of a try which none was told for, where its last readings, but for those of
    /// a spike, are such as they have in that one and in none before it. `None` where there is no choice, and where the limit
    /// makes the readings.
    fn shown_by_its_last_readings(&self, attempt: &Attempt) -> Option<usize> {
        /// Fresh readings that no edge explains: it lies within one.
        const READINGS: f64 = 2.0;
        let told = !attempt.given_up || attempt.ended_in.is_some();
        if told || self.class() == Class::FeedLimited {
            return None;
        }
        let (start, end) = (attempt.start_s.value(), attempt.end_s.value());
        let latest = self.usual_stage(end - start).filter(|latest| *latest > 0)?;
        let bands: Vec<Band> = (0..=latest).map(|stage| self.band(stage)).collect::<Option<_>>()?;
        let mut read = self.samples_between(start, end);
        let (time, mut amps) = (self.trace.time(), self.amps_between(start, end));
        let highest = bands.iter().map(|band| band.peak).fold(0.0, f64::max);
        let spike = amps.iter().rev().take_while(|amps| **amps > highest).count();
        let end = if spike > 0 { *time.get(read.end - spike)? } else { end };
        amps.truncate(amps.len() - spike);
        read.end -= spike;
        let (here, earlier) = bands.split_last()?;
        let clear = |amps: &&f64| earlier.iter().all(|band| !(band.low..=band.peak).contains(*amps));
        let late: Moments = amps.iter().rev().take_while(clear).copied().collect();
        let from_s = *time.get(read.end - amps.iter().rev().take_while(clear).count())?;
        let shown = end - from_s >= READINGS * self.readout.update_s()
            && late.mean().is_some_and(|mean| (here.low..=here.high).contains(&mean));
        shown.then_some(latest)
    }

    /// The stage at whose level a starved try was held at its end, if that is a later one than was told: what a limit lets
    /// through of a step is brief, and what lasts below the limit is the stage.
    fn held_at_its_end(&self, attempt: &Attempt) -> Option<usize> {
        let stages = &self.analysis.model.stages;
        let starved = attempt.given_up && self.class() == Class::FeedLimited;
        let told = stages.iter().position(|stage| Some(&stage.name) == attempt.ended_in.as_ref());
        let later = told.unwrap_or(0) + 1..stages.len();
        later.rev().find(|stage| starved && self.is_held_at(attempt, *stage))
    }

    /// Whether the last readings of a try, but for one over its edge, stay at what good boards draw on average in `stage`,
    /// nearer to it than to any stage before, and below the limit.
    fn is_held_at(&self, attempt: &Attempt, stage: usize) -> bool {
        /// Renewals of the readings: one over either edge, and one that shows the level.
        const READINGS: f64 = 3.0;
        let (run, stages) = (&self.analysis.run, &self.analysis.model.stages);
        let (start, end) = (attempt.start_s.value(), attempt.end_s.value() - self.readout.update_s());
        let half_way = |before: &Stage| (before.watts * stages[stage].watts).sqrt() / run.set_v;
        let above = stages[..stage].iter().map(half_way).fold(0.0, f64::max);
        let mut late = self.amps_between(start, end);
        late.drain(..late.iter().rposition(|amps| *amps <= above).map_or(0, |last| last + 1));
        let from = self.samples_between(start, end).end - late.len();
        let lasts = self.trace.time().get(from).map_or(0.0, |from_s| attempt.end_s.value() - from_s);
        let level = robust::median(&mut late).zip(self.mean_band(stage));
        let is_there =
            level.is_some_and(|(amps, (low, high))| (low..=high).contains(&amps) && !run.nears_limit(amps));
        is_there && lasts >= READINGS * self.readout.update_s()
    }

    /// What good boards draw in a stage; `None` where no profile tells of it.
    fn band(&self, stage: usize) -> Option<Band> {
        let (phase, factor) = self.reference_at(&self.analysis.model.stages[stage].name)?;
        let amps = |watts: f64| watts * factor / self.analysis.run.set_v;
        let (mean, peak) = (&phase.mean_power, &phase.peak_power);
        Some(Band { low: amps(mean.low), high: amps(mean.high), peak: amps(peak.high.max(mean.high)) })
    }

    /// The lowest and the highest that good boards draw on average in a stage, in amps.
    pub(super) fn mean_band(&self, stage: usize) -> Option<(f64, f64)> {
        self.band(stage).map(|band| (band.low, band.high))
    }

    /// The highest reading of good boards in a stage, in amps.
    pub(in crate::verdict) fn highest_of(&self, stage: usize) -> Option<f64> {
        self.band(stage).map(|band| band.peak)
    }

    /// Whether the amps of a try are for the most part such as good boards have in `stage`, a spike at its end left alone.
    pub(in crate::verdict) fn is_mostly_in(&self, attempt: &Attempt, stage: usize) -> bool {
        let edge_s = EDGE_READINGS * self.readout.update_s();
        let mut read = self.amps_between(attempt.start_s.value() + edge_s, attempt.end_s.value() - edge_s);
        let median = robust::median(&mut read);
        median.zip(self.band(stage)).is_some_and(|(amps, band)| (band.low..=band.high).contains(&amps))
    }

    /// Whether a try reads more than half of the way up to `stage`, from the stage before, before those readings at its end that
    /// a spike may be.
    fn comes_to_before_its_end(&self, attempt: &Attempt, stage: usize) -> bool {
        let stages = &self.analysis.model.stages;
        let Some(before) = stage.checked_sub(1) else { return true };
        let half_way_a = (stages[before].watts * stages[stage].watts).sqrt() / self.analysis.run.set_v;
        let edge_s = EDGE_READINGS * self.readout.update_s();
        let read = self.amps_between(attempt.start_s.value(), attempt.end_s.value() - edge_s);
        stages[stage].watts <= stages[before].watts || read.into_iter().any(|amps| amps >= half_way_a)
    }

    /// The last stage up to `latest` that draws no more than the tries did. Tries of a few readings do not show what
    /// they draw: theirs is `latest`.
    fn stage_by_level(&self, tries: &Tries, latest: usize) -> usize {
        /// Standard deviations of good boards that a stage's level is below the usual one.
        const SDS: f64 = 2.0;
        // A limit that starves the board keeps the level down.
        if self.class() == Class::FeedLimited || !self.readout.shows_level(tries.lasts_s.mean) {
            return latest;
        }
        let drawn = tries.peak_a.high * self.analysis.run.set_v;
        let reaches = |index: &usize| {
            let stage = &self.analysis.model.stages[*index];
            drawn >= stage.watts * (-SDS * stage.sd).exp()
        };
        (0..=latest).rev().find(reaches).unwrap_or(0)
    }

    /// Between which stages the tries ended: one where it shows, else those that time and level leave open.
    fn ends_of(&self, tries: &Tries) -> Option<Ends> {
        if !matches!(self.class(), Class::LatchOff | Class::Cycling | Class::FeedLimited) {
            return None;
        }
        let stages = &self.analysis.model.stages;
        let named = |name: Option<&String>| stages.iter().position(|stage| Some(&stage.name) == name);
        let likely = named(tries.likely_in.as_ref())?;
        if let Some(starved) = self.starved_at_the_step(tries, likely) {
            return Some(starved);
        }
        // A busy load goes up and down; a limit stops the board where it asks for more.
        let limited =
            |next: usize| self.class() == Class::FeedLimited && stages[next].watts > stages[likely].watts;
        let steps = |next: &usize| {
            *next < stages.len()
                && self.ran_its_length(tries, likely)
                && (limited(*next) || !self.turns_from(likely, *next))
        };
        let near = Some(likely + 1).filter(steps);
        let into = near.filter(|next| self.comes_to_the_step(likely, *next));
        let short = near.is_some() && into.is_none() && !self.rises_before_the_step(likely);
        let one = Ends { first: likely, last: likely, barely: false, into, short };
        if self.class() == Class::FeedLimited || (tries.ended_in.is_some() && self.shows_stages(tries)) {
            return Some(one);
        }
        let next = self.usual_stage(tries.lasts_s.mean).filter(|usual| *usual == likely + 1);
        let barely = next
            .is_some_and(|next| tries.lasts_s.mean - self.usually_begins_s(next) <= self.readout.update_s());
        let last = if barely { likely + 1 } else { likely };
        Some(Ends { first: 0, last, barely, into: into.filter(|_| last == 0), short: false })
    }

    /// Where no try shows the stage that time suggests, and the limit is too low for that: tries that are starved end at the
    /// step into it.
    fn starved_at_the_step(&self, tries: &Tries, likely: usize) -> Option<Ends> {
        let stage = &self.analysis.model.stages[likely];
        let shown = self.attempts.iter().any(|attempt| attempt.ended_in.as_ref() == Some(&stage.name));
        let limit_w = self.analysis.run.limit_a? * self.analysis.run.set_v;
        let before = likely.checked_sub(1)?;
        let starved = self.class() == Class::FeedLimited && !shown && stage.watts > limit_w;
        let other =
            tries.ended_in.as_ref().is_some_and(|name| *name != self.analysis.model.stages[before].name);
        let step = Ends { first: before, last: before, barely: false, into: Some(likely), short: false };
        (starved && !other).then_some(step)
    }

    /// Whether the tries that end in `stage` were in it for as long as good boards are, so that the step into the next one
    /// may be what ends them.
    fn ran_its_length(&self, tries: &Tries, stage: usize) -> bool {
        /// Beyond this share of its length a stage is over on some good board, however unlike they are.
        const NEARLY: f64 = 0.8;
        /// From the shortest to the longest; of a stage whose length good boards agree on less, no time is its end.
        const WIDEST: f64 = 5.0;
        let stages = &self.analysis.model.stages;
        let update_s = self.readout.update_s();
        // Of a shorter stage the readings do not show how much of it there was.
        let known = |span: &Span| self.readout.shows_level(span.typical) && span.high <= WIDEST * span.low;
        let Some(span) = stages[stage].duration.filter(known) else { return false };
        let stays = self.stays_in(stage);
        #[expect(clippy::cast_precision_loss, reason = "a count of tries")]
        let shown = stays.iter().sum::<f64>() / stays.len().max(1) as f64;
        // What ends the tries begins before they end.
        let most = self.spikes_at_the_end().map_or(tries.lasts_s.mean, |rises| rises.after_s)
            - self.usually_begins_s(stage);
        let lasted = if shown > 0.0 { shown.min(most) } else { most };
        let gone_through = stages.get(first_stage(self.analysis, &self.attempts)..=stage).unwrap_or_default();
        let longest: Option<f64> = gone_through.iter().map(|stage| Some(stage.duration?.high)).sum();
        let in_time = longest.is_some_and(|longest| tries.lasts_s.mean <= longest);
        // A time is known to half a renewal of the readings.
        in_time && lasted + update_s / 2.0 >= NEARLY * span.typical && lasted <= span.high
    }

    /// How long each of the tries that end in `stage` was in it, in seconds; of a try that the alignment did not take apart
    /// nothing is known.
    pub(in crate::verdict) fn stays_in(&self, stage: usize) -> Vec<f64> {
        let name = self.analysis.model.stages[stage].name.as_str();
        let here =
            self.attempts.iter().filter(|try_| try_.given_up && try_.ended_in.as_deref() == Some(name));
        here.map(|try_| self.time_in(try_, stage)).filter(|length| *length > 0.0).collect()
    }

    /// The shortest and the longest time that good boards were seen to be in `stage`, in seconds; `None` where the profile
    /// keeps no captures.
    pub(in crate::verdict) fn good_lengths(&self, stage: usize) -> Option<(f64, f64)> {
        let name = &self.analysis.model.stages[stage].name;
        let measured = self.profile?.learned.logs.iter().flat_map(|log| &log.stages);
        let lengths = measured.filter(|stage| stage.phase == *name).filter_map(|stage| stage.duration);
        extent(&lengths.collect::<Vec<f64>>())
    }

    /// Whether the step from `stage` into the `next` one is where the tries end: they read more than the stage takes, or most
    /// were in it for as long as some good board, for a board that steps on sooner than every other has yet to be seen. A
    /// limit that starves the board does so at a step.
    fn comes_to_the_step(&self, stage: usize, next: usize) -> bool {
        /// Each edge of a stay may be off by one renewal of the readings.
        const EDGES: f64 = 2.0;
        let Some((shortest, _)) = self.good_lengths(stage) else { return true };
        if self.rises_before_the_step(stage) {
            return false;
        }
        let stays = self.stays_in(stage);
        let short = stays.iter().filter(|stay| **stay + EDGES * self.readout.update_s() < shortest).count();
        let at_the_step = Ends { first: stage, last: stage, barely: false, into: Some(next), short: false };
        self.class() == Class::FeedLimited || 2 * short <= stays.len() || most_step_on(self, at_the_step)
    }

    /// The spikes that most tries end in; a limit makes them at the step itself.
    fn spikes_at_the_end(&self) -> Option<Rises> {
        rises_at_the_end(self).filter(|rises| rises.is_spike && self.class() != Class::FeedLimited)
    }

    /// Whether what most tries end in begins before any good board came to the step out of `stage`.
    fn rises_before_the_step(&self, stage: usize) -> bool {
        let first = first_stage(self.analysis, &self.attempts);
        let shortest = (first..=stage).map(|stage| Some(self.good_lengths(stage)?.0)).sum::<Option<f64>>();
        let begins = self.spikes_at_the_end().map(|rises| rises.after_s + self.readout.update_s());
        begins.zip(shortest).is_some_and(|(begins, shortest)| begins < shortest)
    }

    /// Whether most tries that end in `stage` draw what is further from the level of the `next` one at their end than they
    /// did before: then they were not on the step into it.
    fn turns_from(&self, stage: usize, next: usize) -> bool {
        let stages = &self.analysis.model.stages;
        let level_a = stages[next].watts / self.analysis.run.set_v;
        let here = self.attempts.iter().filter(|attempt| {
            attempt.given_up && attempt.ended_in.as_deref() == Some(stages[stage].name.as_str())
        });
        let shown = here.filter_map(|attempt| self.ends_further_from(attempt, stage, level_a));
        let (turned, others): (Vec<bool>, Vec<bool>) = shown.partition(|turned| *turned);
        turned.len() > others.len()
    }

    /// Whether the last readings of a try are further from `level_a` than those of its last stage before; `None` where too
    /// little was read.
    fn ends_further_from(&self, attempt: &Attempt, stage: usize, level_a: f64) -> Option<bool> {
        /// Renewals of the readings that the last of a try are, so that their median is none over the edge.
        const LAST: f64 = 5.0;
        /// Standard deviations of the readings that two medians may differ by.
        const SDS: f64 = 2.0;
        let end_s = attempt.end_s.value();
        let late_s = end_s - LAST * self.readout.update_s();
        let mut late = self.amps_between(late_s, end_s);
        let mut before = self.amps_between(end_s - self.time_in(attempt, stage), late_s);
        let off = |amps: f64| (amps - level_a).abs();
        let [late, before] = [robust::median(&mut late)?, robust::median(&mut before)?].map(off);
        Some(late > before + (SDS * self.readout.noise_a).max(self.analysis.step_a))
    }

    /// How long a start was in `stage`, by the alignment, in seconds.
    fn time_in(&self, attempt: &Attempt, stage: usize) -> f64 {
        let steps = self.analysis.path.iter().filter(|step| step.state.stage() == Some(stage));
        let (start, end) = (attempt.start_s.value(), attempt.end_s.value());
        let within = |step: &Step| step.stretch.end_s.min(end) - step.stretch.start_s.max(start);
        steps.map(within).filter(|length| *length > 0.0).sum()
    }

    /// Whether the readings are close enough together to tell the stages of a try.
    fn shows_stages(&self, tries: &Tries) -> bool {
        /// Fresh readings of a try from which its stages show.
        const READINGS: f64 = 6.0;
        tries.lasts_s.mean >= READINGS * self.readout.update_s()
    }

    /// `in rails`, `in rails or the start of firmware`, `in rails to loading`, `at the end of rails, at the step into
    /// firmware`.
    pub(in crate::verdict) fn place(&self, ends: Ends) -> String {
        let name = |index: usize| self.analysis.model.stages[index].name.as_str();
        if let Some(next) = ends.into {
            return format!("at the end of {}, at the step into {}", name(ends.last), name(next));
        }
        let start = if ends.barely { "the start of " } else { "" };
        match ends.last - ends.first {
            0 => format!("in {start}{}", name(ends.last)),
            1 => format!("in {} or {start}{}", name(ends.first), name(ends.last)),
            _ => format!("in {} to {start}{}", name(ends.first), name(ends.last)),
        }
    }
}
