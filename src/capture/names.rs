//! Names for logs that say whose they are and never overwrite another.

use chrono::{DateTime, FixedOffset};
use std::path::{Path, PathBuf};

use crate::trace::Header;

/// Longest part of a name taken from one header field, in characters: four of them stay well under the 255 bytes
/// that common file systems allow.
const LONGEST_PART: usize = 40;

/// How many numbered names are tried before giving up; a folder with more logs of one second is a fault elsewhere.
const MOST_NUMBERS: u32 = 9_999;

/// `fenwick-14_T-1042_FE-0231_20260302-090000.csv`: board, ticket and serial where the header has them, then the
/// wall-clock time at the bench.
#[must_use]
pub fn log_name(header: &Header, started: DateTime<FixedOffset>) -> String {
    let fields = [&header.board, &header.ticket, &header.serial];
    let mut parts: Vec<String> = fields
        .into_iter()
        .flatten()
        .map(|field| as_file_name(field))
        .filter(|part| !part.is_empty())
        .collect();
    if parts.is_empty() {
        parts.push("log".into());
    }
    parts.push(started.format("%Y%m%d-%H%M%S").to_string());
    format!("{}.csv", parts.join("_"))
}

/// The `number`-th name for `path`: itself, then `name-2.csv`, `name-3.csv`.
#[must_use]
pub fn numbered(path: &Path, number: u32) -> PathBuf {
    if number <= 1 {
        return path.to_owned();
    }
    let stem = path.file_stem().unwrap_or_default().to_string_lossy();
    let ending = path.extension().map(|ending| format!(".{}", ending.to_string_lossy())).unwrap_or_default();
    path.with_file_name(format!("{stem}-{number}{ending}"))
}

/// Every name for `path` in the order in which they are tried.
pub(super) fn candidates(path: &Path) -> impl Iterator<Item = PathBuf> + '_ {
    (1..=MOST_NUMBERS).map(|number| numbered(path, number))
}

/// Letters, digits, dot, dash and underscore of `field`; a run of anything else becomes one dash.
///
/// What remains is a legal file name on every common system and cannot leave the folder.
fn as_file_name(field: &str) -> String {
    let mut name = String::new();
    for letter in field.chars().take(LONGEST_PART) {
        if letter.is_alphanumeric() || matches!(letter, '.' | '_' | '-') {
            name.push(letter);
        } else if !name.ends_with('-') {
            name.push('-');
        }
    }
    name.trim_matches(['-', '.']).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn started() -> DateTime<FixedOffset> {
        DateTime::parse_from_rfc3339("2026-03-02T09:00:00Z").unwrap()
    }

    fn header(board: &str, ticket: &str) -> Header {
        Header { board: Some(board.into()), ticket: Some(ticket.into()), ..Header::default() }
    }

    #[test]
    fn a_name_says_board_ticket_and_time() {
        assert_eq!(
            log_name(&header("fenwick-14", "T-1042"), started()),
            "fenwick-14_T-1042_20260302-090000.csv"
        );
        assert_eq!(log_name(&Header::default(), started()), "log_20260302-090000.csv");
    }

    #[test]
    fn a_field_cannot_leave_the_folder_or_spoil_the_name() {
        let name = log_name(&header("../../etc/passwd", "T 1/2:\n*?"), started());
        assert_eq!(name, "etc-passwd_T-1-2_20260302-090000.csv");
        assert!(log_name(&header(&"x".repeat(500), ""), started()).len() < 100);
    }

    #[test]
    fn names_are_numbered_before_the_ending() {
        assert_eq!(numbered(Path::new("a/b.csv"), 1), Path::new("a/b.csv"));
        assert_eq!(numbered(Path::new("a/b.csv"), 2), Path::new("a/b-2.csv"));
        assert_eq!(numbered(Path::new("plain"), 3), Path::new("plain-3"));
    }
}
