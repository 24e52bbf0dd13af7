//! `diagnose`: how far the boards of some logs got.

mod follow;

use super::logs::{GivenLog, GivenProfile};
use super::output::{print, remark};
use super::{Failure, Outcome};
use crate::render::words;
use crate::trace::Trace;
use crate::units::{counted, percent};
use crate::verdict::{Class, Departure, Finding, SectionProof, SectionState, Verdict};
use clap::Args;
use rayon::prelude::*;
use std::fmt::{Display, Write as _};
use std::path::{Path, PathBuf};

/// Says how far the board of each log got, on what evidence, and what to probe next.
#[derive(Debug, Args)]
pub(super) struct Arguments {
    /// Logs to diagnose; `-` reads one from standard input.
    #[arg(required = true, value_name = "LOG")]
    logs: Vec<PathBuf>,
    /// Reference profile of the board model; without it the profile of the log's board in ./profiles is used, if any.
    #[arg(long, value_name = "PROFILE")]
    profile: Option<PathBuf>,
    /// One finding a line, as JSON.
    #[arg(long)]
    json: bool,
    /// Follow a growing log on standard input, and print the verdict each time that it changes.
    #[arg(long)]
    stream: bool,
    /// Exit with 1 if a verdict is another class than this.
    #[arg(long, value_name = "CLASS", value_parser = class)]
    expect: Option<Class>,
}

fn class(name: &str) -> Result<Class, String> {
    Class::from_name(name).ok_or_else(|| {
        let known: Vec<&str> = Class::ALL.into_iter().map(Class::name).collect();
        format!("there is no class {name:?}; the classes are {}", known.join(", "))
    })
}

pub(super) fn run(arguments: &Arguments) -> Result<Outcome, Failure> {
    let given = arguments.profile.as_deref().map(GivenProfile::read).transpose()?;
    if arguments.stream {
        return stream(arguments, given.as_ref());
    }
    let findings: Vec<Result<Finding, Failure>> =
        arguments.logs.par_iter().map(|path| one(path, given.as_ref())).collect();
    let mut held = true;
    let mut first_failure = None;
    for finding in findings {
        match finding {
            Ok(finding) => {
                held &= arguments.expect.is_none_or(|class| finding.verdict.class == class);
                print(shown(&finding, arguments.json).as_bytes())?;
            }
            Err(failure) if arguments.logs.len() == 1 => return Err(failure),
            Err(failure) => {
                remark(&format!("feedtale: {failure}"));
                first_failure.get_or_insert(failure);
            }
        }
    }
    match (first_failure, held) {
        (Some(_), _) => Err(Failure::Input("some logs could not be read; see above".into())),
        (None, true) => Ok(Outcome::Done),
        (None, false) => Ok(Outcome::CheckFailed),
    }
}

fn one(path: &Path, asked: Option<&GivenProfile>) -> Result<Finding, Failure> {
    let log = GivenLog::read(path)?;
    let found = if asked.is_some() { None } else { GivenProfile::beside(&log.trace)? };
    Ok(log.diagnose(asked.or(found.as_ref())))
}

/// Follows standard input; the verdict is said again whenever its class changes, and in full at the end.
fn stream(arguments: &Arguments, given: Option<&GivenProfile>) -> Result<Outcome, Failure> {
    if arguments.logs != [PathBuf::from("-")] {
        return Err(Failure::Usage("--stream follows standard input: give `-` as the one log".into()));
    }
    let mut said: Option<Class> = None;
    let finding = follow::follow(std::io::stdin(), given, |trace, finding| {
        if said == Some(finding.verdict.class) {
            return Ok(());
        }
        said = Some(finding.verdict.class);
        print(if arguments.json { json(finding) } else { change(trace, finding) }.as_bytes())
    })?;
    print(shown(&finding, arguments.json).as_bytes())?;
    let held = arguments.expect.is_none_or(|class| finding.verdict.class == class);
    Ok(if held { Outcome::Done } else { Outcome::CheckFailed })
}

fn change(trace: &Trace, finding: &Finding) -> String {
    let at = trace.time().last().copied().unwrap_or(0.0);
    let verdict = &finding.verdict;
    let decided = verdict.class != Class::Inconclusive;
    let sure = if decided { format!(" ({})", percent(verdict.confidence)) } else { String::new() };
    format!("{at:8.2} s  {}{sure}\n", verdict.class)
}

fn shown(finding: &Finding, as_json: bool) -> String {
    if as_json { json(finding) } else { in_words(finding) }
}

fn json(finding: &Finding) -> String {
    // Quantities are finite by construction, so that a finding always has its JSON.
    serde_json::to_string(finding).map(|line| line + "\n").unwrap_or_default()
}

/// The finding in plain words: the verdict first, then why, then what to do.
pub(super) fn in_words(finding: &Finding) -> String {
    let mut text = headline(finding);
    list(&mut text, "Because", &finding.verdict.because);
    let departures: Vec<String> = finding.departures.iter().map(|d| departure(finding, d)).collect();
    list(&mut text, "Outside its envelope", &departures);
    list(&mut text, "Power path", &sections(finding));
    // What can hurt stands before the work that it can hurt in.
    list(&mut text, words::CAUTION, &finding.cautions);
    for group in finding.grouped_checks() {
        list(&mut text, group.heading, &group.checks);
    }
    list(&mut text, "This capture cannot show", &finding.limits);
    text.push('\n');
    text
}

fn headline(finding: &Finding) -> String {
    let verdict = &finding.verdict;
    let board = finding.log.board.as_deref().unwrap_or("unnamed board");
    let serial = finding.log.serial.as_deref().filter(|serial| !serial.is_empty());
    let serial = serial.map_or(String::new(), |serial| format!(" {serial}"));
    let said = format!("{}{}", words::headline_of(finding), words::departures_clause(finding));
    let mut text = format!("{}: {board}{serial}\n{said}\n{}", finding.log.path, verdict.class);
    if verdict.class != Class::Inconclusive {
        text += &sure(verdict);
    } else if let Some(why) = verdict.because.first() {
        let _ = write!(text, ": {why}");
    }
    if let Some(profile) = &finding.profile {
        let (boards, captures) = (counted(profile.boards, "board"), counted(profile.captures, "capture"));
        let _ = write!(text, "\nCompared with good boards of model {} ({boards}, {captures})", profile.name);
    }
    text.push('\n');
    text
}

/// How sure the verdict is, how far the board got, and what else it may be.
fn sure(verdict: &Verdict) -> String {
    let mut text = format!(", {} sure", percent(verdict.confidence));
    if let Some(how_far) = words::how_far(verdict) {
        let _ = write!(text, ", {how_far}");
    }
    if let Some(second) = words::runner_up(verdict) {
        let _ = write!(text, " ({second})");
    }
    text
}

fn list(text: &mut String, title: &str, lines: &[impl Display]) {
    if lines.is_empty() {
        return;
    }
    let _ = writeln!(text, "{title}:");
    for line in lines {
        let _ = writeln!(text, "  - {line}");
    }
}

fn departure(finding: &Finding, departure: &Departure) -> String {
    let numbers = words::departure_numbers(departure, finding.log.resolution_a);
    let from = finding.log.time(departure.starts_s.value());
    format!("{}: {numbers} (from {from})", words::departure(departure))
}

fn sections(finding: &Finding) -> Vec<String> {
    let word = |state| match state {
        SectionState::Proved => "proved",
        SectionState::Suspect => "suspect",
        SectionState::NotExercised => "not exercised from this feed point",
        SectionState::Unknown => "not known",
    };
    let line = |proof: &SectionProof| {
        let why = proof.why.as_ref().map_or(String::new(), |why| format!(" ({why})"));
        format!("{}: {}{why}", proof.section, word(proof.state))
    };
    finding.power_path.iter().map(line).collect()
}
