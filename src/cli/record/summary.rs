//! The last words of a run.

use super::super::{Failure, Outcome};
use crate::capture::{Report, Saved, Tally};
use crate::render::words;
use crate::units::percent;
use crate::verdict::{Class, Finding};
use std::fmt::Write as _;
use std::io::Write as _;

/// What is shown when the output could not be confirmed off.
pub(super) const BANNER: [&str; 5] = [
    "****************************************************************************",
    "**  THE OUTPUT MAY STILL BE ON.                                           **",
    "**  Switch it off at the supply itself, or pull the supply's mains plug,  **",
    "**  before anybody touches the board.                                     **",
    "****************************************************************************",
];

/// Prints where the log is, what it holds, and the verdict if there is one.
pub(super) fn print(report: &Report, finding: Option<&Finding>) {
    let mut text = String::new();
    if let Saved::At(path) = &report.saved {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "log: {}", path.display());
    }
    let _ = writeln!(text, "{}", in_one_line(&report.tally));
    if let Some(finding) = finding {
        let _ = writeln!(text, "{}", verdict(finding));
    }
    // A reader that is gone needs no summary, and must not change how the run ends.
    let _ = std::io::stdout().write_all(text.as_bytes());
}

/// `verdict: stalled, 97 % sure, stuck in memory`.
fn verdict(finding: &Finding) -> String {
    let verdict = &finding.verdict;
    if verdict.class == Class::Inconclusive {
        return format!("verdict: {}", verdict.class);
    }
    let mut line = format!("verdict: {}, {} sure", verdict.class, percent(verdict.confidence));
    if let Some(how_far) = words::how_far(verdict) {
        let _ = write!(line, ", {how_far}");
    }
    line
}

/// `1234 readings in 30.0 s, 41.1 polls/s, 10.2 changes/s`, and what went wrong if anything did.
fn in_one_line(tally: &Tally) -> String {
    let mut line = format!("{} readings in {}", tally.samples, tally.duration);
    if let (Some(polls), Some(changes)) = (tally.poll_hz(), tally.changed_hz()) {
        let _ = write!(line, ", {polls:.1} polls/s, {changes:.1} changes/s");
    }
    if tally.missed_slots > 0 {
        let slots = if tally.missed_slots == 1 { "slot" } else { "slots" };
        let _ = write!(line, ", {} {slots} missed", tally.missed_slots);
    }
    if tally.failures > 0 {
        let queries = if tally.failures == 1 { "query" } else { "queries" };
        let _ = write!(line, ", {} {queries} without an understood answer", tally.failures);
    }
    line
}

/// A run without a reading, or with a log that no place took, is no success.
pub(super) fn saved_or_failure(report: &Report) -> Result<Outcome, Failure> {
    match &report.saved {
        Saved::At(_) => Ok(Outcome::Done),
        Saved::Nothing => Err(Failure::Link("not one reading was understood; no log was written".into())),
        Saved::InMemory(_) => Err(Failure::Input(
            "no place took the whole log; what the last file holds is all that is on disk".into(),
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    #[test]
    fn a_run_is_summed_up_in_one_line() {
        let tally =
            Tally { samples: 301, changes: 100, duration: Seconds::constant(30.0), ..Tally::default() };
        assert_eq!(in_one_line(&tally), "301 readings in 30.0 s, 10.0 polls/s, 3.3 changes/s");
        let tally = Tally { missed_slots: 2, failures: 3, ..tally };
        assert!(in_one_line(&tally).ends_with(", 2 slots missed, 3 queries without an understood answer"));
        assert_eq!(in_one_line(&Tally::default()), "0 readings in 0 s");
    }
}
