//! What differs between two runs, stage by stage.

use super::super::parts::{Subject, attempts, envelope};
use super::super::words;
use super::proportion::{alike, power};
use super::reach::{Reach, Tried};
use super::seen::{Seen, length};
use crate::reference::PhaseReference;
use crate::units::Amps;
use crate::verdict::{Class, Phase, RISES_S, Tries};

/// How long a stage of one sound board lasts keeps within this (common practice, no source).
const ALIKE_TIME: f64 = 0.25;

/// Where a stage is not reached.
const NOT_REACHED: &str = "not reached";

/// Where the log is too short to tell.
const LOG_ENDS: &str = "log ends first";

/// Where it was passed, since later ones were reached, but no reading tells it apart.
const NOT_TOLD_APART: &str = "not told apart";

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
pub(super) fn is_rise(phase: &Phase) -> bool {
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
    let doubts = [(&runs[0], &before), (&runs[1], &after)].map(|(run, stage)| doubt(run, stage));
    let doubtful = |doubt: Option<&str>, said: String| match doubt.filter(|_| is_stage) {
        Some(doubt) => format!("{doubt} {said}"),
        None => said,
    };
    let words = doubtful(doubts[0].or(doubts[1]), words);
    let cell = |(stage, doubt): (&Stage, Option<&str>)| match stage {
        Stage::Seen(seen) => seen.cell(),
        Stage::Tried(tried) => tried.cell(),
        Stage::Unseen => NOT_TOLD_APART.into(),
        Stage::Cut if is_stage => LOG_ENDS.into(),
        Stage::Absent if is_stage => doubtful(doubt, NOT_REACHED.into()),
        Stage::Absent | Stage::Cut => "none".into(),
    };
    let reach = is_stage.then(|| reach(&before, &after)).flatten();
    let [before, after] = [(&before, doubts[0]), (&after, doubts[1])].map(cell);
    // What is no stage of good boards has the name that the verdict gives it.
    let called = runs.iter().filter(|_| !is_stage).find_map(|run| {
        let phase = run.finding.phases.iter().find(|phase| phase.name == name)?;
        words::shorted(run.finding, phase)
    });
    let stage = called.unwrap_or_else(|| words::phase(name));
    let guessed = runs.iter().filter(|_| !is_stage).find(|run| is_the_verdict(run, name));
    let stage = guessed
        .map_or_else(|| stage.to_owned(), |run| format!("{} {stage}", words::doubt(&run.finding.verdict)));
    Difference { stage, before, after, good, words, reach }
}

/// How sure it is that a run did not get to a stage, where its verdict is a toss-up, and the other may have it that it did, or
/// where its tries only likely end before it.
fn doubt(run: &Subject, stage: &Stage) -> Option<&'static str> {
    let verdict = &run.finding.verdict;
    if !matches!(stage, Stage::Absent) {
        return None;
    }
    if words::is_toss_up(verdict) {
        return Some(words::doubt(verdict));
    }
    words::where_tries_end(run.finding)?.contains(LIKELY).then_some(LIKELY)
}

/// The word for what the times of tries alone tell.
const LIKELY: &str = "likely";

/// Whether what is no stage of good boards is all that a verdict says which is a toss-up, and so as much in doubt.
fn is_the_verdict(run: &Subject, name: &str) -> bool {
    let verdict = &run.finding.verdict;
    let says = match verdict.class {
        Class::NoDraw => name == "no draw",
        Class::HardShort | Class::PartialShort => ["short", "heavy load"].contains(&name),
        _ => false,
    };
    says && words::is_toss_up(verdict)
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

pub(super) fn reference<'a>(run: Subject<'a>, name: &str) -> Option<&'a PhaseReference> {
    run.profile?.phases.iter().find(|phase| phase.name == name)
}

/// `1.18 to 1.74 A, 5.28 to 15.1 s`: what they keep within at the volts of either run, so that neither stands outside what it
/// keeps within.
fn good_boards(runs: [Subject; 2], reference: &PhaseReference) -> String {
    // As fine as the finer of the two reads: the note of that run has the same numbers.
    let fineness = |run: &Subject| run.resolution().map_or(f64::INFINITY, Amps::value);
    let [first, last] = runs;
    let run = if fineness(&first) < fineness(&last) { first } else { last };
    let at = |run: Subject| Some(envelope::in_amps(run.profile?, reference, run.feed_volts()?));
    let [Some(before), Some(after)] = runs.map(at) else { return String::new() };
    let show = |amps: f64| words::amps(amps, run.resolution());
    let (low, high) = (show(before.low.min(after.low)), show(before.high.max(after.high)));
    // `under 5 mA to 5 mA` and `0 A to 4 mA` say no more than their end.
    let nothing = low.starts_with("under ") || low == show(0.0);
    let amps = if nothing && low != high { format!("up to {high}") } else { words::range(&low, &high) };
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

impl Difference {
    /// The same in a sentence: what is read out has no columns that say of which log a cell is.
    pub(super) fn sentence(&self) -> String {
        let Self { stage, before, after, words, .. } = self;
        let [before, after] = [before, after].map(|cell| cell.replace(LOG_ENDS, "it ends first"));
        format!("{stage}: in the log before, {before}; in the log after, {after}; {words}.")
    }
}

impl<'a> Stage<'a> {
    fn of(run: Subject<'a>, name: &str) -> Self {
        let absent = || match is_passed(&run, name) {
            true => Self::Unseen,
            false if words::ends_first(run.finding) => Self::Cut,
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

fn in_words(is_stage: bool, before: &Stage, after: &Stage) -> String {
    if let Some(cut) = cut(before, after).filter(|_| is_stage) {
        return format!("{cut} first: not compared");
    }
    match (before, after) {
        (Stage::Unseen, Stage::Unseen) => "not told apart in either".into(),
        (Stage::Unseen, Stage::Absent | Stage::Cut) => "no longer reached".into(),
        (Stage::Absent | Stage::Cut, Stage::Unseen) => "now passed, but not told apart".into(),
        (Stage::Unseen, _) => "not told apart before".into(),
        (_, Stage::Unseen) => "not told apart after".into(),
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

/// `the log before ends`: which log is too short to say more of a stage.
const fn cut(before: &Stage, after: &Stage) -> Option<&'static str> {
    match (before, after) {
        (Stage::Cut, Stage::Cut) => Some("both logs end"),
        (Stage::Cut, _) => Some("the log before ends"),
        (_, Stage::Cut) => Some("the log after ends"),
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
    let wakes = before.never_wakes() != after.never_wakes();
    let draws = power(before, after).is_some();
    let standing = match (before.is_good(), after.is_good()) {
        // Beside two numbers that are both as theirs, only one of them would not be believed.
        (Some(false), Some(true)) if before.only_gives_up() => None,
        (Some(true), Some(false)) if after.only_gives_up() => None,
        (Some(true), Some(true)) if before.is_cut() || after.is_cut() => Some("both draw as good boards"),
        (Some(false), Some(true)) if before.only_falls() => Some("both draw as good boards"),
        // That it wakes is as on good boards, and has been said.
        (Some(false), Some(true)) if wakes => draws.then_some("now draws as good boards"),
        (Some(true), Some(false)) if wakes && after.departs().is_none() => {
            draws.then_some("no longer draws as good boards")
        }
        (Some(false), Some(true)) => Some("now as good boards"),
        (Some(true), Some(true)) => Some("both as good boards"),
        (Some(true), Some(false)) => Some("no longer as good boards"),
        (Some(false), Some(false)) => Some("neither as good boards"),
        _ => None,
    };
    parts.extend(beside_bands(before, after));
    parts.extend(ends_in_it(before, after).map(Into::into));
    let departs = after.departs().map(|departs| format!(": {departs}")).unwrap_or_default();
    parts.extend(standing.map(|standing| format!("{standing}{departs}")));
    parts.join(", ")
}

/// Which log ends in the stage, where that leaves no lengths to compare.
fn ends_in_it(before: &Seen, after: &Seen) -> Option<&'static str> {
    match (before.is_cut(), after.is_cut()) {
        (true, true) => Some("both logs end in it"),
        (true, false) => Some("the log before ends in it"),
        (false, true) => Some("the log after ends in it"),
        (false, false) => None,
    }
}

/// `before not told apart from rails: not compared`, of a mean that is none of good boards where the stage before it or the next
/// was passed unseen, or of a length that is none of theirs where the next one was: it has both in it, and what differs is no
/// fault.
fn mixed(before: &Seen, after: &Seen) -> Option<String> {
    let of = |seen: &Seen, run: &str| {
        let stages = &seen.run.profile?.phases;
        let own = stages.iter().position(|stage| stage.name == seen.phase.name)?;
        let is_unseen = |stage: &&PhaseReference| matches!(Stage::of(seen.run, &stage.name), Stage::Unseen);
        let last = own.checked_sub(1).and_then(|last| stages.get(last)).filter(is_unseen);
        let next = stages.get(own + 1).filter(is_unseen);
        let off = seen.outside_band().is_some();
        let both = last.filter(|_| off).or(next.filter(|_| off || seen.is_too_long()));
        both.map(|other| format!("{run} not told apart from {}: not compared", words::phase(&other.name)))
    };
    of(before, "before").or_else(|| of(after, "after"))
}

/// `before above good boards' mean`: which run is outside the band that the row shows, in the words of the note of a run that is
/// stuck there.
fn beside_bands(before: &Seen, after: &Seen) -> Option<String> {
    let beside = |seen: &Seen, other: &Seen| seen.beside_band().filter(|_| other.is_its_band_passed_by(seen));
    let said = match (beside(before, after), beside(after, before)) {
        (Some(before), Some(after)) if before == after => format!("both {before}"),
        (Some(before), Some(after)) => format!("before {before}, after {after}"),
        (Some(before), None) => format!("before {before}"),
        (None, Some(after)) => format!("after {after}"),
        (None, None) => return None,
    };
    Some(format!("{said} good boards' mean"))
}

fn time(before: &Seen, after: &Seen) -> Option<String> {
    // How long it ran before it fell says less than that it did.
    match (before.falls(), after.falls()) {
        (true, false) if after.last => return Some("before it fell back, after it stays".into()),
        (false, true) if before.last => return Some("before it stayed, after it falls back".into()),
        _ => {}
    }
    match (before.never_wakes(), after.never_wakes()) {
        (true, false) => return Some("before it never wakes, after it wakes".into()),
        (false, true) => return Some("before it wakes, after it never wakes".into()),
        _ => {}
    }
    let (a, b) = (length(before.phase), length(after.phase));
    let differs = (a - b).abs() > ALIKE_TIME * a.max(b);
    // Where both logs end in it, its length says when the technician stopped.
    let by_hand = before.last && after.last || waits(before) || ends_in_it(before, after).is_some();
    if !differs || by_hand {
        return None;
    }
    let update_s = [before, after].map(|seen| seen.run.finding.log.update_s().unwrap_or(0.0));
    let shown = (before.shown_length() - after.shown_length()).abs();
    let by = words::length(shown, Some(update_s[0].max(update_s[1])));
    let word = if b < a { "less" } else { "longer" };
    Some(format!("takes {by} {word}"))
}

fn waits(seen: &Seen) -> bool {
    let reference = reference(seen.run, &seen.phase.name);
    reference.map_or(seen.phase.name == "standby", |reference| reference.waits_for_person)
}
