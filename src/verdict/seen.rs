//! What the words of a finding are made from: one run, what it is compared with, and how its numbers are said.

mod alike;
mod ends;
mod level;

pub(super) use ends::Ends;
pub(super) use level::{Level, Load};

use super::align::Step;
use super::attempts::{RISES_S, Tries, attempts, first_stage};
use super::departures::Compared;
use super::engine::Analysis;
use super::evidence::Steady;
use super::kind::{self, Family};
use super::phases::without_zero;
use super::presses;
use super::readout::Readout;
use super::{Attempt, Class, Departure, Phase};
use crate::reference::{POINT_NOT_STATED, PhaseReference, Profile};
use crate::stats::moments::Moments;
use crate::trace::Trace;
use crate::units::{
    Seconds, Volts, are_as_set, in_steps, marked_time, range, reference_in_steps, span_in_steps,
    time_in_steps, volts_as_set, volts_beside,
};
use std::ops::Range;
use std::sync::OnceLock;

/// Share of the set volts within which they are steady: readback error and the supply's own drop.
pub(super) const STEADY_SHARE: f64 = 0.01;

/// One run, and what it is compared with.
#[derive(Debug)]
pub(super) struct Seen<'a> {
    pub trace: &'a Trace,
    pub readout: &'a Readout,
    pub analysis: &'a Analysis,
    pub profile: Option<&'a Profile>,
    pub attempts: Vec<Attempt>,
    /// Between which stages those that were given up ended, if that is what the verdict is about.
    pub ends: Option<Ends>,
    pub departures: Vec<Departure>,
    /// Means outside the band that the picture shows which are no departures.
    pub just_inside: Vec<Departure>,
    /// The phases of the log, which say what text and picture have in common.
    pub phases: &'a [Phase],
    /// Where the supply was connected, by the log or else by the profile.
    pub feed_point: Option<String>,
    pub family: Family,
    /// The level that the run ends at, once it was asked for.
    pub steady: OnceLock<Option<Steady>>,
}

impl<'a> Seen<'a> {
    pub(super) fn of(
        trace: &'a Trace,
        readout: &'a Readout,
        analysis: &'a Analysis,
        profile: Option<&'a Profile>,
        compared: Compared,
    ) -> Self {
        let told = trace.header().feed_point.clone().filter(|point| !point.trim().is_empty());
        let usual = profile.filter(|profile| profile.feed.point != POINT_NOT_STATED);
        let usual_v = profile.map_or(analysis.run.set_v, |profile| profile.feed.nominal.value());
        let seen = Self {
            attempts: attempts(trace, analysis, readout),
            ends: None,
            feed_point: told.or_else(|| usual.map(|profile| profile.feed.point.clone())),
            family: kind::family(usual_v, &words_of_the_board(trace, profile)),
            trace,
            readout,
            analysis,
            profile,
            departures: compared.outside,
            just_inside: compared.just_inside,
            phases: &[],
            steady: OnceLock::new(),
        };
        seen.with_likely_stages()
    }

    /// The same with the phases that the picture shows.
    pub(super) fn among(self, phases: &'a [Phase]) -> Self {
        Self { phases, ..self }
    }

    /// What the board draws in the end.
    pub(super) fn last_level(&self) -> Option<Level> {
        self.analysis.path.last().map(|last| self.level(last))
    }

    /// What a load that is there at the end measures, as the supply sees it, leads included.
    pub(super) fn load(&self) -> Option<Load> {
        let level = self.last_level()?;
        let amps = level.amps.abs().max(1e-6);
        Some(Load { ohms: level.volts.abs() / amps, amps }).filter(|load| load.ohms > 0.0)
    }

    /// What thin leads take of a short's heat, in watts; of other loads the amps are too few to matter.
    pub(super) fn leads_watts(&self, level: &Level) -> f64 {
        if self.class() == Class::HardShort { level.amps * level.amps * Load::THIN_LEADS_OHM } else { 0.0 }
    }

    /// When a moment of the log is, and how long after the press, the wake or the switch-on that the board's way to it
    /// began with: `37.3 s in the log, 32.4 s after the press`.
    pub(super) fn in_the_log(&self, at_s: f64) -> String {
        format!("{} in the log, {}", self.time(at_s), self.since_start(at_s))
    }

    /// `32.4 s after the press`.
    pub(super) fn since_start(&self, at_s: f64) -> String {
        let start = self.attempts.iter().rfind(|start| start.start_s.value() < at_s);
        let wake_s = start.map_or(self.analysis.run.start_s, |start| start.start_s.value());
        if let Some(press) = presses::waking(self, wake_s) {
            return format!("{} after the press", self.time(at_s - press));
        }
        let by_itself = !self.has_button() && wake_s - self.analysis.run.start_s < RISES_S;
        let (from_s, what) =
            if by_itself { (self.analysis.run.start_s, "switch-on") } else { (wake_s, "its wake") };
        format!("{} after {what}", self.span(from_s, at_s))
    }

    /// What the board drew in the phase that `step` belongs to.
    pub(super) fn level(&self, step: &Step) -> Level {
        let stretch = &step.stretch;
        let middle = f64::midpoint(stretch.start_s, stretch.end_s);
        let holds = |phase: &&Phase| (phase.start_s.value()..=phase.end_s.value()).contains(&middle);
        self.phases.iter().find(holds).map_or_else(|| Level::of_stretch(stretch), Level::of_phase)
    }

    pub(super) fn class(&self) -> Class {
        self.analysis.class()
    }

    pub(super) fn tries(&self) -> Option<Tries> {
        Tries::of(&self.attempts, &self.readout.gaps)
    }

    /// Whether such boards wait for a person to press a button: a panel and a small computer only if their profile knows that
    /// they wait, and its captures do not show that they wake by themselves.
    pub(super) fn has_button(&self) -> bool {
        let pressed = match self.family {
            Family::Panel | Family::SmallComputer => {
                self.analysis.model.of_this_board && presses::as_regular_as_no_hand(self).is_none()
            }
            _ => !self.starts_with_the_feed(),
        };
        self.analysis.model.standby.waits && pressed
    }

    /// Whether a board of which no profile tells was seen to start with its feed, unasked.
    fn starts_with_the_feed(&self) -> bool {
        let run = &self.analysis.run;
        let unasked = self.profile.is_none() && run.switch_on_seen && run.presses.is_empty();
        let first = self.attempts.first().filter(|_| unasked);
        first.is_some_and(|first| first.start_s.value() < run.start_s + RISES_S)
    }

    /// Whether the supply stands in for a battery.
    pub(super) fn at_battery(&self) -> bool {
        let point = self.feed_point.as_deref().unwrap_or_default().to_lowercase();
        ["battery", "pack", "cell"].iter().any(|word| point.contains(word))
    }

    /// The profile's stage of that name, and what its watts are to be multiplied by at these volts.
    pub(super) fn reference_at(&self, name: &str) -> Option<(&'a PhaseReference, f64)> {
        let phase = self.profile?.phases.iter().find(|phase| phase.name == name)?;
        let factor = self.profile?.power_factor(phase, Volts::new(self.analysis.run.set_v).ok()?);
        Some((phase, factor))
    }

    /// The stage that good boards are usually in `after` seconds from where starts are counted from.
    pub(super) fn usual_stage(&self, after: f64) -> Option<usize> {
        let waits: f64 = self.usual_lengths(0..first_stage(self.analysis, &self.attempts)).sum();
        self.analysis.model.stage_after(after + waits)
    }

    /// When good boards usually come to `stage`, in seconds from where starts are counted from.
    pub(super) fn usually_begins_s(&self, stage: usize) -> f64 {
        self.usual_lengths(first_stage(self.analysis, &self.attempts)..stage).sum()
    }

    fn usual_lengths(&self, stages: Range<usize>) -> impl Iterator<Item = f64> {
        let stages = self.analysis.model.stages.get(stages).unwrap_or_default();
        stages.iter().filter_map(|stage| Some(stage.duration?.typical))
    }

    /// Whether volts of no less than that are as steady as readback and supply are.
    pub(super) fn is_steady(&self, lowest: f64) -> bool {
        lowest >= self.analysis.run.set_v * (1.0 - STEADY_SHARE)
    }

    /// Whether the volts stayed where they were set, as far as `volts` is their lowest.
    pub(super) fn holds(&self, volts: f64) -> bool {
        self.analysis.run.holds(volts)
    }

    /// What the volts did that were never below `lowest`, and `mean_v` on average: steady ones are as they were read then.
    pub(super) fn feed_in_words(&self, lowest: f64, mean_v: f64) -> String {
        if self.is_steady(lowest) {
            format!("volts steady at {}", self.beside_set_volts(mean_v))
        } else if self.holds(lowest) {
            format!("volts give a little, from {} to {}", self.unloaded_volts(), volts(lowest))
        } else {
            format!("volts sag from {} to {}", self.unloaded_volts(), volts(lowest))
        }
    }

    /// Whether the supply is seen to read something with its output off.
    pub(super) fn reads_a_zero(&self) -> bool {
        /// Less is no reading of any bench supply.
        const LEAST_A: f64 = 1e-6;
        self.readout.zero_a.abs() >= (self.readout.step_a / 2.0).max(LEAST_A)
    }

    /// Amps no finer than the supply reads them.
    pub(super) fn amps(&self, value: f64) -> String {
        in_steps(value, self.analysis.step_a, "A")
    }

    /// Watts no finer than the amps behind them, at `volts`.
    pub(super) fn watts(&self, value: f64, volts: f64) -> String {
        in_steps(value, self.analysis.step_a * volts.abs(), "W")
    }

    /// A length of time, or a moment of the log, no finer than the readings are renewed.
    pub(super) fn time(&self, seconds: f64) -> String {
        time_in_steps(seconds, self.readout.update_s())
    }

    /// The length of time between two moments, as these are said.
    pub(super) fn span(&self, from: f64, to: f64) -> String {
        span_in_steps(from, to, self.readout.update_s())
    }

    /// When a person marked something: as the log has it, which does not wait for a reading.
    pub(super) fn mark(&self, seconds: f64) -> String {
        marked_time(seconds, self.readout.update_s())
    }

    /// A moment that the readings show: with the bounds where it lies in a gap of the readings.
    pub(super) fn moment(&self, at: f64) -> String {
        let holds = |gap: &&super::Gap| gap.start_s.value() < at && at <= gap.end_s.value();
        match self.readout.gaps.iter().find(holds) {
            Some(gap) => {
                let [from, to] = [gap.start_s, gap.end_s].map(|bound| self.time(bound.value()));
                format!("between {} (no readings)", range(&from, &to).replace(" to ", " and "))
            }
            None => self.time(at),
        }
    }

    /// Seconds between `from` and `to` that lie in gaps of the readings.
    pub(super) fn unread_s(&self, from: f64, to: f64) -> f64 {
        let within = |gap: &super::Gap| gap.end_s.value().min(to) - gap.start_s.value().max(from);
        self.readout.gaps.iter().map(within).filter(|length| *length > 0.0).sum()
    }

    /// Amps of good boards, beside those that were read.
    pub(super) fn reference_amps(&self, value: f64) -> String {
        reference_in_steps(value, self.analysis.step_a, "A")
    }

    /// Watts of good boards, beside those that were read.
    pub(super) fn reference_watts(&self, value: f64) -> String {
        reference_in_steps(value, self.analysis.step_a * self.analysis.run.set_v, "W")
    }

    /// The volts that the supply was set to, if the log says it.
    fn told_volts(&self) -> Option<f64> {
        self.analysis.run.told_v
    }

    /// Volts that were read, to the decimals of those that were set where they are no other.
    pub(super) fn volts(&self, value: f64) -> String {
        volts_beside(value, self.told_volts())
    }

    /// The volts that the supply was set to, else what it shows unloaded.
    pub(super) fn set_volts(&self) -> String {
        self.told_volts().map_or_else(|| volts(self.analysis.run.set_v), volts_as_set)
    }

    /// The volts of the feed unloaded; with what was set, where the supply reads something else.
    pub(super) fn unloaded_volts(&self) -> String {
        self.beside_set_volts(self.analysis.run.set_v)
    }

    fn beside_set_volts(&self, read_v: f64) -> String {
        let read = self.volts(read_v);
        match self.told_volts().filter(|set| !are_as_set(read_v, *set)).map(volts_as_set) {
            Some(set) if set != read => format!("{read} ({set} set)"),
            _ => read,
        }
    }

    /// Mean volts from `from` to `to`, if anything was read in between.
    pub(super) fn mean_volts(&self, from: f64, to: f64) -> Option<f64> {
        self.trace.volts().get(self.samples_between(from, to))?.iter().copied().collect::<Moments>().mean()
    }

    /// Lowest volts from `from` to `to`, if anything was read in between.
    pub(super) fn lowest_volts(&self, from: f64, to: f64) -> Option<f64> {
        self.trace.volts().get(self.samples_between(from, to))?.iter().copied().min_by(f64::total_cmp)
    }

    /// Amps drawn from `from` to `to`: as read, without the supply's zero.
    pub(super) fn amps_between(&self, from: f64, to: f64) -> Vec<f64> {
        let read = self.trace.amps().get(self.samples_between(from, to)).unwrap_or_default();
        read.iter().map(|amps| without_zero(*amps, self.readout.zero_a)).collect()
    }

    /// The readings from `from` to `to`.
    pub(super) fn samples_between(&self, from: f64, to: f64) -> Range<usize> {
        let at = |time: f64| self.trace.time().partition_point(|t| *t < time);
        at(from)..at(to)
    }
}

/// What log and profile say of the board in words: what it is, where it is fed, what its sections and stages are called.
fn words_of_the_board(trace: &Trace, profile: Option<&Profile>) -> String {
    let mut words = trace.header().feed_point.clone().unwrap_or_default();
    if let Some(profile) = profile {
        let sections = profile.power_path.iter().map(|path| path.section.as_str());
        let phases = profile.phases.iter().map(|phase| phase.name.as_str());
        let checks = profile.checks.iter().map(|check| check.probe.as_str());
        let told = [profile.description.as_str(), profile.feed.point.as_str()];
        for said in told.into_iter().chain(sections).chain(phases).chain(checks) {
            words.push(' ');
            words.push_str(said);
        }
    }
    words
}

/// A number that was set, or that comes from the reference: as exact as it was given.
pub(super) fn exact(value: f64, unit: &str) -> String {
    in_steps(value, 0.0, unit)
}

pub(super) fn volts(value: f64) -> String {
    Volts::new(value).map_or_else(|_| "?".into(), |volts| volts.to_string())
}

/// A time that the reference gives.
pub(super) fn seconds(value: f64) -> String {
    Seconds::new(value).map_or_else(|_| "?".into(), |time| time.to_string())
}
