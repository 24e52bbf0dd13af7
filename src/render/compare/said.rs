//! How far each of two runs got, as a headline.

use super::super::parts::Subject;
use super::super::words;
use crate::verdict::Class;

/// Both verdicts with where tries end, however sure that is: `Before: cycling (likely in rails). After: full boot`; of a board
/// that booted before as well, with what was unlike good boards then.
pub(in crate::render) fn before_after(runs: [Subject; 2]) -> String {
    let [before, after] = runs.map(|run| how_far(&run));
    let booted = runs[0].finding.verdict.class == Class::FullBoot;
    let clause = if booted { words::departures_clause(runs[0].finding) } else { String::new() };
    if before == after && clause.is_empty() {
        return format!("Before and after: {before}");
    }
    format!("Before: {before}{clause}. After: {after}")
}

/// `latches off (in rails or loader)`.
fn how_far(run: &Subject) -> String {
    let place = words::where_tries_end(run.finding).unwrap_or_default();
    words::short(&run.finding.verdict) + &place
}

/// The same with what is unlike good boards after, from the longest to the shortest, for where there is less room.
pub(super) fn headlines(runs: [Subject; 2], same_board: bool) -> impl Iterator<Item = String> {
    let clause = words::departures_clause(runs[1].finding);
    let shorter = if clause.is_empty() { "" } else { ", but not as good boards" };
    let boards = if same_board { "" } else { "Two boards. " };
    let said = before_after(runs);
    let wordings = [clause.as_str(), shorter, ""].map(|clause| format!("{boards}{said}{clause}"));
    let [before, after] = runs.map(|run| &run.finding.verdict);
    wordings.into_iter().chain([format!("{boards}{}", words::before_after(before, after))])
}
