//! Learning a profile from known-good logs, and adding captures to one.
//!
//! [`learn`] takes what can be read of each log, fits the course that all have in common (`super::course`), leaves out
//! what does not fit it (`refuse`), and turns what the rest measured (`evidence`) into envelopes. [`update`] aligns new
//! logs with the stages that are known and computes the envelopes anew.
//!
//! Names may be one more or one fewer than the stages that the captures have in common: a standby that a board leaves at
//! once is not seen, and one that nobody named is kept under a name of its own. Whether the first stage waits for a
//! person is told from the marks of the button and from how long it lasts (`stages`): a `standby` may wait for nobody.

mod evidence;
mod feed;
pub use feed::POINT_NOT_STATED;
mod refuse;
mod repeats;
mod stages;
mod standby;
mod update;
mod wait;

pub use update::update;

use super::capture::{Capture, Run, Unfit};
use super::course::{self, Course};
use super::model::{Learned, Profile, STANDBY};
use crate::units::counted;

/// More stages than this no board of common practice shows on a bench supply.
const MOST_STAGES: usize = 9;

/// What is to be learned.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Request {
    /// Board model.
    pub board: String,
    /// Names of the stages in order; empty to have names made.
    pub names: Vec<String>,
    /// Keep captures that do not fit the others.
    pub keep_all: bool,
    /// Day of learning, ISO 8601.
    pub date: String,
}

/// What was learned.
#[derive(Debug, Clone, PartialEq)]
pub struct Learning {
    /// The profile.
    pub profile: Profile,
    /// Captures that were left out, by name, and why.
    pub refused: Vec<(String, Unfit)>,
    /// What the person should know of how it was learned.
    pub notes: Vec<String>,
}

/// Why nothing could be learned.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LearnError {
    /// No log at all.
    #[error("no logs to learn from; give known-good logs of the board")]
    NoLogs,
    /// Every log was refused.
    #[error("no log can be learned from: {}", reasons(refused))]
    AllUnfit {
        /// Each log and why.
        refused: Vec<(String, Unfit)>,
    },
    /// Two captures disagree and nothing says which is right.
    #[error("{first} and {second} do not fit each other: {reason}; add a third capture, or use --keep-all")]
    Disagree {
        /// One.
        first: String,
        /// The other.
        second: String,
        /// In what.
        reason: Box<Unfit>,
    },
    /// The captures do not show as many stages as there are names.
    #[error("{names} names were given but the captures cannot be cut into {names} stages; they show {found}")]
    Names {
        /// How many names.
        names: usize,
        /// How many stages the captures show.
        found: usize,
    },
    /// The profile has no evidence to add to.
    #[error("the profile keeps no measured values, so captures cannot be added; learn it anew from all logs")]
    NoEvidence,
}

fn reasons(refused: &[(String, Unfit)]) -> String {
    refused.iter().map(|(name, reason)| format!("{name}: {reason}")).collect::<Vec<_>>().join("; ")
}

/// A capture with the run that was found in it.
struct Taken<'a> {
    capture: &'a Capture,
    run: Run,
}

/// Learns a profile from known-good captures.
///
/// # Errors
/// [`LearnError`] if too little is left to learn from.
pub fn learn(captures: &[Capture], request: &Request) -> Result<Learning, LearnError> {
    if captures.is_empty() {
        return Err(LearnError::NoLogs);
    }
    let (mut taken, mut refused) = take(captures, &request.board, request.keep_all);
    let mut notes = Vec::new();
    let course = loop {
        if taken.is_empty() {
            return Err(LearnError::AllUnfit { refused });
        }
        let course = at_own_levels(&taken, fit(&taken, request, &mut notes)?);
        if request.keep_all {
            break course;
        }
        let Some((worst, reason)) = refuse::worst(&taken, &course, &request.names) else { break course };
        if taken.len() == 2 {
            let [first, second] = [0, 1].map(|index| taken[index].capture.name.clone());
            return Err(LearnError::Disagree { first, second, reason: Box::new(reason) });
        }
        refused.push((taken.remove(worst).capture.name.clone(), reason));
    };
    notes.dedup();
    let profile = profile(&taken, &course, request, &mut notes);
    Ok(Learning { profile, refused, notes })
}

fn take<'a>(captures: &'a [Capture], board: &str, keep_all: bool) -> (Vec<Taken<'a>>, Vec<(String, Unfit)>) {
    let (mut taken, mut refused): (Vec<Taken>, Vec<_>) = (Vec::new(), Vec::new());
    for capture in captures {
        if taken.iter().any(|earlier| earlier.capture.sha256 == capture.sha256) {
            refused.push((capture.name.clone(), Unfit::Duplicate));
            continue;
        }
        let other = capture.trace.header().board.clone().filter(|found| found != board && !keep_all);
        let run = match other {
            Some(found) => Err(Unfit::OtherBoard { found, wanted: board.to_owned() }),
            None => Run::of(&capture.trace),
        };
        match run {
            Ok(run) => taken.push(Taken { capture, run }),
            Err(reason) => refused.push((capture.name.clone(), reason)),
        }
    }
    (taken, refused)
}

fn at_own_levels(taken: &[Taken], course: Course) -> Course {
    let runs: Vec<Run> = taken.iter().map(|taken| taken.run.clone()).collect();
    course::at_own_levels(&runs, course)
}

/// The course, of as many stages as there are names, or as the captures show.
///
/// A standby that a board leaves at once may pass unseen: of names, the first may be one too many. Or nobody named it:
/// there may be one too few.
fn fit(taken: &[Taken], request: &Request, notes: &mut Vec<String>) -> Result<Course, LearnError> {
    let runs: Vec<Run> = taken.iter().map(|taken| taken.run.clone()).collect();
    let names = request.names.len();
    let free = course::fit(&runs, MOST_STAGES).map(|course| repeats::as_one_stage(&runs, course));
    let free = free.map(|course| wait::as_one_stage(&runs, course));
    let found = free.as_ref().map_or(0, |course| course.stages.len());
    notes.clear();
    if names == 0 {
        return free.ok_or(LearnError::Names { names, found });
    }
    let all = match free {
        Some(course) if names == found || names == found + 1 && named_but_unseen(&runs, request, &course) => {
            course
        }
        free => with_standby(&runs, request, free.as_ref())
            .or_else(|| repeats::fit_count(&runs, names))
            .ok_or(LearnError::Names { names, found })?,
    };
    if let Some(course) = but_first(&runs, request, &all) {
        notes.push(format!(
            "{names} names and {} stages: the board starts at once, so `{}` is not seen and is left out",
            names - 1,
            request.names[0]
        ));
        return Ok(course);
    }
    if names == found {
        return Ok(all);
    }
    if let Some(course) = one_before(&runs, request, &all) {
        notes.push(format!(
            "{names} names and {} stages: before `{}` the board stands by for a moment, which is kept as `{STANDBY}`",
            names + 1,
            request.names[0]
        ));
        return Ok(course);
    }
    let otherwise = if found > 1 && found < names {
        format!("; if they do not read as full boot, give {found} names or none")
    } else {
        String::new()
    };
    notes.push(format!(
        "{names} names were given; the captures alone show {}{otherwise}",
        counted(found, "stage")
    ));
    Ok(all)
}

/// A course of one stage less, of a board that starts at once: a cheaper one, or the only one if the first name is that of
/// a standby and the first stage is none.
fn but_first(runs: &[Run], request: &Request, all: &Course) -> Option<Course> {
    let names = request.names.len();
    let unseen = named_but_unseen(runs, request, all);
    if unseen && all.stages.len() < names {
        return Some(all.clone());
    }
    // A standby that is there in fewer stages too is not the one that is missing.
    let seen = |course: &Course| names_standby(request) && stages::begins_low(course);
    course::fit_count(runs, names.saturating_sub(1)).filter(|course| {
        names > 2 && (unseen || course.cost < all.cost && !seen(course)) && !stages::waits(runs, course)
    })
}

/// The course of as many stages as there are names, where the captures show fewer and the first is the standby that was
/// named.
fn with_standby(runs: &[Run], request: &Request, free: Option<&Course>) -> Option<Course> {
    let fewer = |course: &&Course| course.stages.len() > 1 && course.stages.len() < request.names.len();
    let found = free.filter(fewer)?;
    let seen = names_standby(request) && stages::begins_low(found) && stages::begins_level(found);
    if seen { standby::undivided(runs, found, request.names.len()) } else { None }
}

/// Whether the first name is that of a standby.
fn names_standby(request: &Request) -> bool {
    request.names.first().is_some_and(|name| name.eq_ignore_ascii_case(STANDBY))
}

/// Whether the first name is that of a standby, which `course` does not begin with.
fn named_but_unseen(runs: &[Run], request: &Request, course: &Course) -> bool {
    request.names.len() > 2
        && names_standby(request)
        && !stages::waits(runs, course)
        && !stages::begins_low(course)
}

/// A cheaper course of one stage more that begins with a standby to which no name was given: two levels under one name
/// would be the likeness of a board that falls back from the one to the other.
fn one_before(runs: &[Run], request: &Request, all: &Course) -> Option<Course> {
    let named = request.names.iter().any(|name| name.eq_ignore_ascii_case(STANDBY));
    let more = course::fit_count(runs, request.names.len() + 1);
    more.filter(|course| !named && course.cost < all.cost && stages::begins_with_standby(course))
}

fn profile(taken: &[Taken], course: &Course, request: &Request, notes: &mut Vec<String>) -> Profile {
    let runs: Vec<Run> = taken.iter().map(|taken| taken.run.clone()).collect();
    let waits = stages::waits(&runs, course);
    let names = stages::names(request, course.stages.len(), waits);
    let logs = taken
        .iter()
        .zip(&course.starts)
        .map(|(taken, starts)| evidence::source_log(taken, starts, &names, waits))
        .collect();
    let mut profile = Profile {
        board: request.board.clone(),
        description: String::new(),
        feed: feed::feed(taken),
        phases: names.iter().enumerate().map(|(k, name)| stages::blank(name, waits && k == 0)).collect(),
        learned: Learned { date: request.date.clone(), logs, ..Learned::default() },
        power_path: Vec::new(),
        checks: Vec::new(),
    };
    notes.extend(evidence::compute_envelopes(&mut profile));
    profile
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Captures that begin with a second at `first` watts, then go through 1 W and 5 W.
    fn captures(first: f64) -> Vec<Run> {
        let level = |watts: f64, halves: usize| vec![(0.5, watts.ln()); halves];
        let run = |_| Run::of_pieces(&[level(first, 2), level(1.0, 6), level(5.0, 20)].concat());
        (0..4).map(run).collect()
    }

    /// How many stages are kept before those that were named.
    fn kept_before(runs: &[Run], names: [&str; 2]) -> Option<usize> {
        let request = Request { names: names.map(Into::into).to_vec(), ..Request::default() };
        let all = course::fit_count(runs, 2).unwrap();
        one_before(runs, &request, &all).map(|course| course.stages.len() - 2)
    }

    #[test]
    fn the_name_of_a_standby_that_is_seen_is_not_left_out() {
        let left_out = |runs: &[Run]| {
            let names = ["standby", "rails", "loader", "running"].map(Into::into).to_vec();
            let request = Request { names, ..Request::default() };
            but_first(runs, &request, &course::fit_count(runs, 4).unwrap()).is_some()
        };
        assert!(!left_out(&captures(0.1)), "rails and loader look alike");
        assert!(left_out(&captures(2.5)), "it begins with its rails");
    }

    #[test]
    fn a_standby_that_nobody_named_is_a_stage_of_its_own() {
        assert_eq!(kept_before(&captures(0.1), ["rails", "running"]), Some(1));
        assert_eq!(kept_before(&captures(0.1), ["standby", "running"]), None, "it was named");
        assert_eq!(kept_before(&captures(1.0), ["rails", "running"]), None, "there is none");
        assert_eq!(
            kept_before(&captures(2.5), ["rails", "running"]),
            None,
            "it draws more than what follows"
        );
    }

    #[test]
    fn a_standby_that_holds_the_rails_is_divided_where_there_is_a_name_for_them() {
        let level = |watts: f64, halves: usize| vec![(0.5, f64::ln(watts)); halves];
        let rails = [level(0.1, 4), level(0.3, 3), level(0.5, 4)].concat();
        let pieces = [rails, level(1.7, 8), level(1.0, 8), level(4.0, 40)].concat();
        let runs = vec![Run::of_pieces(&pieces); 4];
        let names = ["standby", "rails", "loader", "firmware", "running"].map(Into::into).to_vec();
        let request = Request { names, ..Request::default() };
        let found = |starts: &[usize]| {
            let course = Course { stages: Vec::new(), starts: vec![starts.to_vec(); 4], cost: 0.0 };
            course::joined(&runs, &course, starts.len())
        };
        assert!(with_standby(&runs, &request, Some(&found(&[0, 11, 19, 27]))).is_none(), "0.1 to 0.5 W");
        assert!(with_standby(&runs, &request, Some(&found(&[0, 4, 19, 27]))).is_some(), "0.1 W");
    }
}
