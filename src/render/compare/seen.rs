//! What one run did in a stage.

use super::super::parts::{Subject, attempts, called, envelope};
use super::super::words;
use super::differences::{is_rise, reference};
use super::mean;
use super::reach::Tried;
use crate::reference::PhaseReference;
use crate::units::{Amps, span_in_steps};
use crate::verdict::{Class, Departure, Direction, Phase};

/// What one run did in a stage; of a stage that came several times, the first of the longest.
#[derive(Debug)]
pub(super) struct Seen<'a> {
    pub(super) run: Subject<'a>,
    pub(super) phase: &'a Phase,
    times: usize,
    /// Whether the run stays in it to its end, so that its length is that of the log.
    pub(super) last: bool,
}

impl<'a> Seen<'a> {
    pub(super) fn of(run: Subject<'a>, name: &str) -> Option<Self> {
        let of_name =
            || run.finding.phases.iter().filter(|phase| phase.name == name && is_counted(&run, phase));
        // The first that is as long, for lengths are known to a renewal of the readback.
        let update = run.finding.log.update_s().unwrap_or(0.0);
        let longest = |phases: &mut dyn Iterator<Item = &'a Phase>| {
            let phases: Vec<&'a Phase> = phases.collect();
            let most = phases.iter().map(|phase| length(phase)).fold(0.0, f64::max);
            phases.into_iter().find(|phase| length(phase) >= most - update)
        };
        // What it comes back to is not the standby that it woke from.
        let phase = longest(&mut of_name().filter(|phase| is_before_tries(&run, phase)))
            .or_else(|| longest(&mut of_name()))?;
        let last = run.finding.phases.iter().rfind(|phase| phase.name != "off");
        let last = last.is_some_and(|last| std::ptr::eq(last, phase));
        Some(Self { run, phase, times: of_name().count(), last })
    }

    pub(super) fn cell(&self) -> String {
        let amps = self.amps();
        let length = self.lasts();
        let times = match self.tried() {
            Some(tried) => format!("{}, {}", tried.cell(), self.which_try()),
            // Rest before and after tries is no count of anything.
            None if self.times > 1 && !attempts::gives_up(self.run.finding) => format!("{} ×, ", self.times),
            None => String::new(),
        };
        format!("{times}{amps}, {length}")
    }

    /// `try 2: `, of several: the numbers behind it are those of one.
    fn which_try(&self) -> String {
        let given_up = || attempts::tried(self.run.finding).iter().filter(|attempt| attempt.given_up);
        let start = self.phase.start_s.value();
        let at =
            given_up().position(|attempt| attempt.end_s.value() > start).filter(|_| given_up().count() > 1);
        at.map_or_else(String::new, |at| format!("try {}: ", at + 1))
    }

    /// What it draws on average, as text and ticket say it too.
    pub(super) const fn mean(&self) -> f64 {
        self.phase.mean_a.value()
    }

    /// The same in watts.
    pub(super) const fn mean_watts(&self) -> f64 {
        self.phase.mean_w.value()
    }

    /// What it draws without its edges.
    pub(super) fn level(&self) -> f64 {
        mean::level(&self.run, self.phase)
    }

    /// Whether its edges are most of it.
    pub(super) fn is_mostly_edges(&self) -> bool {
        mean::is_short(&self.run, self.phase)
    }

    /// How long it lasts, as the text and the other figures say it; what departs by that as the departure has it.
    pub(super) fn lasts(&self) -> String {
        let (from, to) = (self.phase.start_s.value(), self.phase.end_s.value());
        let update = self.run.finding.log.update_s().unwrap_or(0.0);
        let is_length = |departure: &&Departure| {
            let by_time = matches!(departure.direction, Direction::Longer | Direction::Shorter);
            by_time && (departure.measured - length(self.phase)).abs() <= update
        };
        let departs = self.departures().find(is_length);
        departs.map_or_else(
            || span_in_steps(from, to, update),
            |departure| words::measured(departure, self.run.resolution()),
        )
    }

    /// The same in seconds; minutes are not read back.
    pub(super) fn shown_length(&self) -> f64 {
        let seconds = self.lasts().strip_suffix(" s").and_then(|seconds| seconds.parse().ok());
        seconds.unwrap_or_else(|| length(self.phase))
    }

    /// Of a stage within a try that was given up, how many of these got there.
    pub(super) fn tried(&self) -> Option<Tried> {
        let middle = f64::midpoint(self.phase.start_s.value(), self.phase.end_s.value());
        let within = attempts::is_given_up(attempts::tried(self.run.finding), middle);
        within.then(|| Tried::of(&self.run, &self.phase.name))?
    }

    /// The mean; less than a step of the readback is nothing that was read.
    pub(super) fn amps(&self) -> String {
        let (mean, step) = (self.mean(), self.run.resolution());
        match step {
            Some(step) if mean.abs() < step.value() => {
                format!("under {}", words::amps(step.value(), Some(step)))
            }
            _ => words::amps(mean, step),
        }
    }

    /// The mean as the table shows it.
    pub(super) fn shown_amps(&self) -> f64 {
        let mean = self.mean();
        let shown = words::amps(mean, self.run.resolution());
        let number = |unit: &str, factor: f64| Some(shown.strip_suffix(unit)?.parse::<f64>().ok()? * factor);
        [(" A", 1.0), (" mA", 1e-3), (" µA", 1e-6)]
            .into_iter()
            .find_map(|(unit, factor)| number(unit, factor))
            .unwrap_or(mean)
    }

    /// Whether nothing departs and it lasts as on good boards; `None` without any to compare with, or where the finding
    /// allows for a length that the table shows outside.
    pub(super) fn is_good(&self) -> Option<bool> {
        let reference = reference(self.run, &self.phase.name)?;
        let verdict = &self.run.finding.verdict;
        let stuck = verdict.stalled_in.as_ref() == Some(&self.phase.name);
        if self.departures().next().is_some()
            || stuck
            || self.falls()
            || self.never_wakes()
            || self.gives_up()
        {
            return Some(false);
        }
        if self.outside_band().is_some() || self.tried().is_some_and(Tried::is_open) {
            return None;
        }
        let in_time = self.in_time(reference);
        (in_time || verdict.class != Class::FullBoot).then_some(in_time)
    }

    fn in_time(&self, reference: &PhaseReference) -> bool {
        let length = length(self.phase);
        reference.duration.is_none_or(|usual| length <= usual.high && (self.last || length >= usual.low))
    }

    /// Whether it lasts longer than on good boards, though the finding does not hold that against it.
    pub(super) fn is_too_long(&self) -> bool {
        let usual = reference(self.run, &self.phase.name).and_then(|reference| reference.duration);
        self.departures().next().is_none() && usual.is_some_and(|usual| length(self.phase) > usual.high)
    }

    /// Whether that tries end in it is all that it is not as good boards in: the numbers of its row are as theirs.
    pub(super) fn only_gives_up(&self) -> bool {
        let in_time = reference(self.run, &self.phase.name).is_some_and(|usual| self.in_time(usual));
        self.gives_up()
            && in_time
            && !self.falls()
            && self.departures().next().is_none()
            && self.outside_band().is_none()
    }

    /// Whether a log too short to tell more ends in it: its length is then none of the stage.
    pub(super) fn is_cut(&self) -> bool {
        self.last && words::ends_first(self.run.finding)
    }

    /// Whether that it falls back, or never leaves it, is all that it is not as good boards in: what it drew was as theirs.
    pub(super) fn only_falls(&self) -> bool {
        (self.falls() || self.never_wakes())
            && !self.gives_up()
            && self.departures().next().is_none()
            && self.outside_band().is_none()
    }

    /// Where the mean is outside the band of good boards which the row shows, though that is no departure: one of all stages
    /// of a sound board may be as far off.
    pub(super) fn outside_band(&self) -> Option<&'static str> {
        self.beyond_band().map(|(side, _)| side)
    }

    /// The same where it is by more than a step of the readback, and by all readings of so few that the edges are in their mean.
    pub(super) fn beside_band(&self) -> Option<&'static str> {
        let step = self.run.resolution().map_or(0.0, Amps::value);
        let beside = self.beyond_band().filter(|(_, by)| *by > step && !self.reads_within_band());
        beside.map(|(side, _)| side)
    }

    /// Whether it is so short that its edges are a good part of it, and a reading of it is in the band.
    fn reads_within_band(&self) -> bool {
        /// Renewals of the readback from which the two at either end are a small part (by judgement).
        const SHORT: f64 = 10.0;
        let update = self.run.finding.log.update_s().unwrap_or(0.0);
        let (low, high) = (self.phase.min_a.value(), self.phase.max_a.value());
        let within = |band: envelope::Expected| low <= band.high && high >= band.low;
        length(self.phase) < SHORT * update && self.band().is_some_and(within)
    }

    /// Whether what `other` draws is outside the band at the volts of this run as well: the row shows one band for both.
    pub(super) fn is_its_band_passed_by(&self, other: &Seen) -> bool {
        let mean = other.mean();
        self.band().is_none_or(|band| !(band.low..=band.high).contains(&mean))
    }

    /// The band of good boards at the volts of the run.
    fn band(&self) -> Option<envelope::Expected> {
        let (profile, volts) = self.run.profile.zip(self.run.feed_volts())?;
        Some(envelope::in_amps(profile, reference(self.run, &self.phase.name)?, volts))
    }

    /// On which side of the band, and how far from it in amps.
    fn beyond_band(&self) -> Option<(&'static str, f64)> {
        let band = self.band()?;
        let mean = self.mean();
        let (side, by) =
            if mean > band.high { ("above", mean - band.high) } else { ("below", band.low - mean) };
        let departs = self.departures().next().is_some();
        (!departs && by > 0.0).then_some((side, by))
    }

    /// From the lowest to the highest of so few readings that their mean is known no better; `None` of more.
    pub(super) fn few_readings(&self) -> Option<(f64, f64)> {
        /// From so many on one reading more or less moves the mean by no more than captures of one board differ (common
        /// practice, no source).
        const ENOUGH: f64 = 4.0;
        let update = self.run.finding.log.update_s()?;
        let few = length(self.phase) < ENOUGH * update;
        few.then(|| (self.phase.min_a.value(), self.phase.max_a.value()))
    }

    /// Whether most tries of the run that get there end in it.
    pub(super) fn gives_up(&self) -> bool {
        self.tried().is_some_and(Tried::mostly_ends)
    }

    /// Whether the run falls back from it.
    pub(super) fn falls(&self) -> bool {
        let verdict = &self.run.finding.verdict;
        verdict.class == Class::DroppedOut && verdict.place() == Some(&self.phase.name)
    }

    /// Whether the run was asked to leave it and did not: that it lasts is then what is wrong, and not when the log was ended.
    pub(super) fn never_wakes(&self) -> bool {
        let verdict = &self.run.finding.verdict;
        let asleep = matches!(verdict.class, Class::StandbyOnly | Class::ExcessStandby);
        asleep && verdict.asked != Some(false) && verdict.reached.as_ref() == Some(&self.phase.name)
    }

    /// `draws too little, lasts too long`.
    pub(super) fn departs(&self) -> Option<String> {
        let said: Vec<String> = self
            .departures()
            .map(words::departure)
            .map(|said| said.strip_prefix(&self.phase.name).unwrap_or(&said).trim().to_owned())
            .collect();
        (!said.is_empty()).then(|| said.join(", "))
    }

    pub(super) fn departures(&self) -> impl Iterator<Item = &'a Departure> + use<'a> {
        let name = &self.phase.name;
        self.run.finding.departures.iter().filter(move |departure| departure.phase == *name)
    }
}

/// Whether a phase is one of those that are told: of tries, those that were given up are; the rise of the feed on a board
/// without a standby is no stage.
fn is_counted(run: &Subject, phase: &Phase) -> bool {
    let middle = f64::midpoint(phase.start_s.value(), phase.end_s.value());
    let attempts = &run.finding.attempts;
    let told = phase.name != "attempt" || attempts.is_empty() || attempts::is_given_up(attempts, middle);
    told && !(is_rise(phase) && called::has_no_standby(run))
}

/// Whether a phase is none of a standby that follows the first start which the board gave up, or fell from.
fn is_before_tries(run: &Subject, phase: &Phase) -> bool {
    let standby = run.profile.and_then(|profile| profile.standby());
    let first = run.finding.attempts.first().filter(|_| attempts::gives_up(run.finding));
    let after = first.is_some_and(|first| phase.start_s >= first.start_s);
    !after || standby.is_none_or(|standby| standby.name != phase.name)
}

pub(super) fn length(phase: &Phase) -> f64 {
    phase.end_s.value() - phase.start_s.value()
}
