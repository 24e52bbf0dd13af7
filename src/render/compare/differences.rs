//! What differs between two runs, stage by stage.

use super::super::parts::{Subject, attempts, called, envelope};
use super::super::words;
use super::proportion::{alike, power};
use super::reach::{Reach, Tried};
use crate::reference::PhaseReference;
use crate::units::span_in_steps;
use crate::verdict::{Class, Departure, Phase, RISES_S, Tries};

/// How long a stage of one sound board lasts keeps within this (common practice, no source).
const ALIKE_TIME: f64 = 0.25;

/// Where a stage is not reached.
const NOT_REACHED: &str = "not reached";

/// Where the log is too short to tell.
const LOG_ENDS: &str = "log ends before";

/// Where it was passed, since later ones were reached, but no reading tells it apart.
const NOT_SEEN: &str = "not seen";

/// What is said of a stage that is as it was, and as good boards do it.
pub(super) const ALIKE_AND_GOOD: &str = "alike, both as good boards";

/// A stage with what it did in each run, in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Difference {
    pub(super) stage: String,
    pub(super) before: String,
    pub(super) after: String,
    /// What good boards do; empty without any.
    pub(super) good: String,
    pub(super) words: String,
    /// Where one of the runs did not get there at all, or neither did.
    pub(super) reach: Option<Reach>,
}

/// The stages of the profile in their order, then what else was seen.
pub(super) fn differences(runs: [Subject; 2]) -> Vec<Difference> {
    names(runs).into_iter().map(|name| difference(runs, &name)).collect()
}

fn names(runs: [Subject; 2]) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    let stages = runs[0].profile.into_iter().flat_map(|profile| &profile.phases).map(|phase| &phase.name);
    let seen = runs.iter().flat_map(|run| &run.finding.phases).filter(|phase| !is_rise(phase));
    let seen = seen.map(|phase| &phase.name);
    let tried = runs.iter().any(|run| tries(run) > 0);
    for name in stages.chain(seen).filter(|name| *name != "off") {
        // Tries and what lies between them are counted once, in a row of their own, with the moments that starve them.
        let of_tries = BETWEEN_TRIES.contains(&name.as_str()) || tried && name == STARVED;
        let name = if of_tries { TRIES } else { name };
        if !names.iter().any(|other| other == name) {
            names.push(name.to_owned());
        }
    }
    if tried && !names.iter().any(|name| name == TRIES) {
        names.push(TRIES.into());
    }
    names
}

/// The row of the tries, and the names that a finding gives to their phases.
const TRIES: &str = "tries";
const BETWEEN_TRIES: [&str; 2] = ["attempt", "rest"];

/// The name that a finding gives to what is pressed down by the supply's limit.
const STARVED: &str = "starved";

/// How many tries were given up, as everything else counts them.
fn tries(run: &Subject) -> usize {
    attempts::tried(run.finding).iter().filter(|attempt| attempt.given_up).count()
}

/// How often each run tried.
fn of_tries(runs: [Subject; 2]) -> Difference {
    let said = |run: &Subject| match tries(run) {
        0 => "no try given up".into(),
        count => {
            let every = Tries::of(attempts::tried(run.finding), &run.finding.log.gaps)
                .and_then(|tries| tries.period(run.finding.log.update_s().unwrap_or(0.0)));
            every.map_or_else(
                || format!("{count} given up"),
                |every| format!("{count} given up, one every {every}"),
            )
        }
    };
    let words = match runs.map(|run| tries(&run)) {
        [0, 0] => "none in either",
        [0, _] => "gives up now",
        [_, 0] => "gives up no longer",
        [_, _] => "in both",
    };
    let [before, after] = [said(&runs[0]), said(&runs[1])];
    Difference { stage: TRIES.into(), before, after, good: String::new(), words: words.into(), reach: None }
}

/// Whether it is no more than the rise of the feed, which tells nothing of the board.
fn is_rise(phase: &Phase) -> bool {
    phase.name == "standby" && length(phase) <= RISES_S
}

fn difference(runs: [Subject; 2], name: &str) -> Difference {
    if name == TRIES {
        return of_tries(runs);
    }
    let reference = reference(runs[0], name);
    let is_stage = reference.is_some();
    let good = reference.map(|reference| good_boards(runs, reference)).unwrap_or_default();
    let [before, after] = runs.map(|run| Stage::of(run, name));
    let words = in_words(is_stage, &before, &after);
    let cell = |stage: &Stage| match stage {
        Stage::Seen(seen) => seen.cell(),
        Stage::Tried(tried) => tried.cell(),
        Stage::Unseen => NOT_SEEN.into(),
        Stage::Cut if is_stage => LOG_ENDS.into(),
        Stage::Absent if is_stage => NOT_REACHED.into(),
        Stage::Absent | Stage::Cut => "none".into(),
    };
    let reach = is_stage.then(|| reach(&before, &after)).flatten();
    let [before, after] = [&before, &after].map(cell);
    // What is no stage of good boards has the name that the verdict gives it.
    let called = runs.iter().filter(|_| !is_stage).find_map(|run| {
        let phase = run.finding.phases.iter().find(|phase| phase.name == name)?;
        words::shorted(run.finding, phase)
    });
    let stage = called.unwrap_or_else(|| words::phase(name)).to_owned();
    Difference { stage, before, after, good, words, reach }
}

/// Which of the runs did not get there, where nothing else is to be said of the stage.
fn reach(before: &Stage, after: &Stage) -> Option<Reach> {
    match (before, after) {
        (Stage::Absent | Stage::Cut, Stage::Absent | Stage::Cut) => Some(Reach::Never),
        (Stage::Absent | Stage::Cut, Stage::Seen(seen)) if seen.is_good() == Some(true) => Some(Reach::Now),
        (Stage::Seen(seen), Stage::Absent | Stage::Cut) if seen.is_good() == Some(true) => {
            Some(Reach::NoLonger)
        }
        _ => None,
    }
}

fn reference<'a>(run: Subject<'a>, name: &str) -> Option<&'a PhaseReference> {
    run.profile?.phases.iter().find(|phase| phase.name == name)
}

/// `1.18 to 1.74 A, 5.28 to 15.1 s`: what they keep within at the volts of either run, so that neither stands outside what it
/// keeps within.
fn good_boards(runs: [Subject; 2], reference: &PhaseReference) -> String {
    let run = runs[1];
    let at = |run: Subject| Some(envelope::in_amps(run.profile?, reference, run.feed_volts()?));
    let [Some(before), Some(after)] = runs.map(at) else { return String::new() };
    let show = |amps: f64| words::amps(amps, run.resolution());
    let (low, high) = (show(before.low.min(after.low)), show(before.high.max(after.high)));
    // `under 5 mA to 5 mA` says no more than its end.
    let amps = match low.strip_prefix("under ") {
        Some(_) if low != high => format!("up to {high}"),
        _ => words::range(&low, &high),
    };
    let seconds = |value: f64| words::length(value, run.finding.log.update_s());
    let length = reference.duration.map(|length| words::range(&seconds(length.low), &seconds(length.high)));
    length.map_or_else(|| amps.clone(), |length| format!("{amps}, {length}"))
}

/// What one run has of a stage.
#[derive(Debug)]
enum Stage<'a> {
    Seen(Seen<'a>),
    /// Only within tries, in which no stage is told apart.
    Tried(Tried),
    /// Passed, since later stages were reached, but not seen.
    Unseen,
    /// Not reached by the end of a log that is too short to tell whether the board would have.
    Cut,
    Absent,
}

impl<'a> Stage<'a> {
    fn of(run: Subject<'a>, name: &str) -> Self {
        let absent = || match is_passed(&run, name) {
            true => Self::Unseen,
            false if words::is_too_short(run.finding) => Self::Cut,
            false => Self::Absent,
        };
        let tried = || Tried::of(&run, name).map_or_else(absent, Self::Tried);
        Seen::of(run, name).map_or_else(tried, Self::Seen)
    }
}

/// Whether a later stage of the profile was reached.
fn is_passed(run: &Subject, name: &str) -> bool {
    let stages = run.profile.into_iter().flat_map(|profile| &profile.phases);
    let mut later = stages.skip_while(|stage| stage.name != name).skip(1);
    later.any(|stage| Seen::of(*run, &stage.name).is_some() || Tried::of(run, &stage.name).is_some())
}

/// What one run did in a stage; of a stage that came several times, the longest.
#[derive(Debug)]
pub(super) struct Seen<'a> {
    pub(super) run: Subject<'a>,
    pub(super) phase: &'a Phase,
    times: usize,
    /// Whether the run stays in it to its end, so that its length is that of the log.
    last: bool,
}

impl<'a> Seen<'a> {
    fn of(run: Subject<'a>, name: &str) -> Option<Self> {
        let of_name =
            || run.finding.phases.iter().filter(|phase| phase.name == name && is_counted(&run, phase));
        let longest = |phases: &mut dyn Iterator<Item = &'a Phase>| {
            phases.max_by(|a, b| length(a).total_cmp(&length(b)))
        };
        // What it comes back to is not the standby that it woke from.
        let phase = longest(&mut of_name().filter(|phase| is_before_tries(&run, phase)))
            .or_else(|| longest(&mut of_name()))?;
        let last = run.finding.phases.iter().rfind(|phase| phase.name != "off");
        let last = last.is_some_and(|last| std::ptr::eq(last, phase));
        Some(Self { run, phase, times: of_name().count(), last })
    }

    fn cell(&self) -> String {
        let amps = self.amps();
        let length = self.lasts();
        let times = match self.tried() {
            Some(tried) => format!("{}, ", tried.cell()),
            // Rest before and after tries is no count of anything.
            None if self.times > 1 && !attempts::gives_up(self.run.finding) => format!("{} ×, ", self.times),
            None => String::new(),
        };
        format!("{times}{amps}, {length}")
    }

    /// How long it lasts, as the text and the other figures say it.
    fn lasts(&self) -> String {
        let (from, to) = (self.phase.start_s.value(), self.phase.end_s.value());
        span_in_steps(from, to, self.run.finding.log.update_s().unwrap_or(0.0))
    }

    /// The same in seconds; minutes are not read back.
    fn shown_length(&self) -> f64 {
        let seconds = self.lasts().strip_suffix(" s").and_then(|seconds| seconds.parse().ok());
        seconds.unwrap_or_else(|| length(self.phase))
    }

    /// Of a stage within a try that was given up, how many of these got there.
    fn tried(&self) -> Option<Tried> {
        let middle = f64::midpoint(self.phase.start_s.value(), self.phase.end_s.value());
        let within = attempts::is_given_up(attempts::tried(self.run.finding), middle);
        within.then(|| Tried::of(&self.run, &self.phase.name))?
    }

    /// The mean; less than a step of the readback is nothing that was read.
    fn amps(&self) -> String {
        let (mean, step) = (self.phase.mean_a.value(), self.run.resolution());
        match step {
            Some(step) if mean.abs() < step.value() => {
                format!("under {}", words::amps(step.value(), Some(step)))
            }
            _ => words::amps(mean, step),
        }
    }

    /// The mean as the table shows it.
    pub(super) fn shown_amps(&self) -> f64 {
        let mean = self.phase.mean_a.value();
        let shown = words::amps(mean, self.run.resolution());
        let number = |unit: &str, factor: f64| Some(shown.strip_suffix(unit)?.parse::<f64>().ok()? * factor);
        [(" A", 1.0), (" mA", 1e-3), (" µA", 1e-6)]
            .into_iter()
            .find_map(|(unit, factor)| number(unit, factor))
            .unwrap_or(mean)
    }

    /// Whether nothing departs and it lasts as on good boards; `None` without any to compare with, or where the finding
    /// allows for a length that the table shows outside.
    fn is_good(&self) -> Option<bool> {
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
        if self.beside_band().is_some() {
            return None;
        }
        let length = length(self.phase);
        let in_time =
            reference.duration.is_none_or(|usual| length <= usual.high && (self.last || length >= usual.low));
        (in_time || verdict.class != Class::FullBoot).then_some(in_time)
    }

    /// Whether that it falls back, or never leaves it, is all that it is not as good boards in: what it drew was as theirs.
    fn only_falls(&self) -> bool {
        (self.falls() || self.never_wakes())
            && !self.gives_up()
            && self.departures().next().is_none()
            && self.beside_band().is_none()
    }

    /// Where the mean is outside the band of good boards which the row shows, though that is no departure: one of all stages
    /// of a sound board may be as far off.
    fn beside_band(&self) -> Option<&'static str> {
        let (profile, volts) = self.run.profile.zip(self.run.feed_volts())?;
        let band = envelope::in_amps(profile, reference(self.run, &self.phase.name)?, volts);
        let mean = self.phase.mean_a.value();
        let side = if mean > band.high { "above" } else { "below" };
        let departs = self.departures().next().is_some();
        (!departs && !(band.low..=band.high).contains(&mean)).then_some(side)
    }

    /// Whether most tries of the run that get there end in it.
    fn gives_up(&self) -> bool {
        self.tried().is_some_and(Tried::mostly_ends)
    }

    /// Whether the run falls back from it.
    fn falls(&self) -> bool {
        let verdict = &self.run.finding.verdict;
        verdict.class == Class::DroppedOut && verdict.place() == Some(&self.phase.name)
    }

    /// Whether the run was asked to leave it and did not: that it lasts is then what is wrong, and not when the log was ended.
    fn never_wakes(&self) -> bool {
        let verdict = &self.run.finding.verdict;
        let asleep = matches!(verdict.class, Class::StandbyOnly | Class::ExcessStandby);
        asleep && verdict.asked != Some(false) && verdict.reached.as_ref() == Some(&self.phase.name)
    }

    /// `draws too little, lasts too long`.
    fn departs(&self) -> Option<String> {
        let said: Vec<String> = self
            .departures()
            .map(words::departure)
            .map(|said| said.strip_prefix(&self.phase.name).unwrap_or(&said).trim().to_owned())
            .collect();
        (!said.is_empty()).then(|| said.join(", "))
    }

    fn departures(&self) -> impl Iterator<Item = &'a Departure> + use<'a> {
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

fn length(phase: &Phase) -> f64 {
    phase.end_s.value() - phase.start_s.value()
}

fn in_words(is_stage: bool, before: &Stage, after: &Stage) -> String {
    if let Some(cut) = cut(before, after).filter(|_| is_stage) {
        return format!("{cut} first: not compared");
    }
    match (before, after) {
        (Stage::Unseen, Stage::Unseen) => "not seen in either".into(),
        (Stage::Unseen, Stage::Absent | Stage::Cut) => "no longer reached".into(),
        (Stage::Absent | Stage::Cut, Stage::Unseen) => "now passed, but not seen".into(),
        (Stage::Unseen, _) => "not seen before".into(),
        (_, Stage::Unseen) => "not seen after".into(),
        (Stage::Absent | Stage::Cut, Stage::Absent | Stage::Cut) => "never reached".into(),
        (Stage::Absent, Stage::Seen(after)) if is_stage => {
            let departs = after.departs().map(|departs| format!(", but {departs}"));
            format!("now reached{}", departs.unwrap_or_default())
        }
        (Stage::Absent | Stage::Cut, Stage::Seen(_)) => "new".into(),
        (Stage::Absent | Stage::Cut, Stage::Tried(_)) => "now reached".into(),
        (Stage::Seen(_) | Stage::Tried(_), Stage::Absent) if is_stage => "no longer reached".into(),
        (Stage::Seen(_) | Stage::Tried(_), Stage::Absent | Stage::Cut) => "gone".into(),
        (Stage::Seen(before), Stage::Seen(after)) => changed(before, after),
        (Stage::Tried(before), Stage::Seen(after)) if before.ends() => {
            let now = if after.last { "now stays" } else { "now passed" };
            let departs = after.departs().map(|departs| format!(", but {departs}"));
            format!("{now}{}", departs.unwrap_or_default())
        }
        (Stage::Seen(before), Stage::Tried(after)) if after.ends() && !before.last => {
            "no longer passed".into()
        }
        (Stage::Tried(before), Stage::Tried(after)) if before.ends() && after.ends() => "never passed".into(),
        _ => "reached in both".into(),
    }
}

/// `before ends`: which log is too short to say more of a stage.
const fn cut(before: &Stage, after: &Stage) -> Option<&'static str> {
    match (before, after) {
        (Stage::Cut, Stage::Cut) => Some("both end"),
        (Stage::Cut, _) => Some("before ends"),
        (_, Stage::Cut) => Some("after ends"),
        _ => None,
    }
}

fn changed(before: &Seen, after: &Seen) -> String {
    if let Some(mixed) = mixed(before, after) {
        return mixed;
    }
    let mut parts: Vec<String> = [power(before, after), time(before, after)].into_iter().flatten().collect();
    match (before.gives_up(), after.gives_up()) {
        (true, false) => parts.insert(0, "now passed".into()),
        (false, true) => parts.insert(0, "tries end in it now".into()),
        _ if parts.is_empty() => parts.push(alike(before, after)),
        _ => {}
    }
    let standing = match (before.is_good(), after.is_good()) {
        (Some(false), Some(true)) if before.only_falls() => Some("both draw as good boards"),
        (Some(false), Some(true)) => Some("now as good boards"),
        (Some(true), Some(true)) => Some("both as good boards"),
        (Some(true), Some(false)) => Some("no longer as good boards"),
        (Some(false), Some(false)) => Some("neither as good boards"),
        _ => None,
    };
    parts.extend(beside_bands(before, after));
    let departs = after.departs().map(|departs| format!(": {departs}")).unwrap_or_default();
    parts.extend(standing.map(|standing| format!("{standing}{departs}")));
    parts.join(", ")
}

/// `before not told apart from rails: not compared`, of a mean that is none of good boards where the stage before it was passed
/// unseen: it has both in it, and what differs is no fault.
fn mixed(before: &Seen, after: &Seen) -> Option<String> {
    let of = |seen: &Seen, run: &str| {
        let stages = &seen.run.profile?.phases;
        let own = stages.iter().position(|stage| stage.name == seen.phase.name)?;
        let unseen = &stages[own.checked_sub(1)?].name;
        let hidden = matches!(Stage::of(seen.run, unseen), Stage::Unseen) && seen.beside_band().is_some();
        hidden.then(|| format!("{run} not told apart from {}: not compared", words::phase(unseen)))
    };
    of(before, "before").or_else(|| of(after, "after"))
}

/// `before above the band of good boards`: which run is outside the band that the row shows.
fn beside_bands(before: &Seen, after: &Seen) -> Option<String> {
    let (run, side) = match (before.beside_band(), after.beside_band()) {
        (Some(before), Some(after)) if before == after => ("both", before),
        (Some(before), Some(after)) => {
            return Some(format!("before {before}, after {after} the band of good boards"));
        }
        (Some(before), None) => ("before", before),
        (None, Some(after)) => ("after", after),
        (None, None) => return None,
    };
    Some(format!("{run} {side} the band of good boards"))
}

fn time(before: &Seen, after: &Seen) -> Option<String> {
    // How long it ran before it fell says less than that it did.
    match (before.falls(), after.falls()) {
        (true, false) if after.last => return Some("before it fell back, after it stays".into()),
        (false, true) if before.last => return Some("before it stayed, after it falls back".into()),
        _ => {}
    }
    match (before.never_wakes(), after.never_wakes()) {
        (true, false) => return Some("never left before, left after".into()),
        (false, true) => return Some("left before, never left after".into()),
        _ => {}
    }
    let (a, b) = (length(before.phase), length(after.phase));
    let differs = (a - b).abs() > ALIKE_TIME * a.max(b);
    // Where both logs end in it, its length says when the technician stopped.
    let by_hand = before.last && after.last || waits(before);
    if !differs || by_hand {
        return None;
    }
    let update_s = [before, after].map(|seen| seen.run.finding.log.update_s().unwrap_or(0.0));
    let shown = (before.shown_length() - after.shown_length()).abs();
    let by = words::length(shown, Some(update_s[0].max(update_s[1])));
    let word = if b < a { "shorter" } else { "longer" };
    Some(format!("{by} {word}"))
}

fn waits(seen: &Seen) -> bool {
    let reference = reference(seen.run, &seen.phase.name);
    reference.map_or(seen.phase.name == "standby", |reference| reference.waits_for_person)
}
