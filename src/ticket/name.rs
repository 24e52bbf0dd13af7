//! Names that any file system takes, made from words that a person typed.

use crate::verdict::LogFacts;

/// Longest name in bytes: well below the 255 of common file systems, so that a path with it fits too.
const LONGEST: usize = 80;

/// Names that a device has on Windows, whatever ending follows (Microsoft, "Naming Files, Paths, and Namespaces", from
/// memory); COM and LPT go with a digit.
const DEVICES: [&str; 4] = ["con", "prn", "aux", "nul"];

/// What the other files of a ticket folder are called.
const TAKEN: [&str; 2] = ["picture", "finding"];

/// Ticket and board; where one of them is missing, what else tells this board from the next.
pub(super) fn folder(log: &LogFacts) -> String {
    let stem = file_name(&log.path);
    let stem = stem.rsplit_once('.').map_or(stem, |(stem, _)| stem).to_owned();
    let known = |word: &Option<String>| word.as_deref().and_then(safe);
    let parts = match (known(&log.ticket), known(&log.board)) {
        (Some(ticket), Some(board)) => vec![ticket, board],
        (ticket, board) => {
            [ticket, board, known(&log.serial).or_else(|| safe(&stem))].into_iter().flatten().collect()
        }
    };
    safe(&parts.join("_")).unwrap_or_else(|| "ticket".into())
}

/// The log's own name beside the picture and the texts.
pub(super) fn log_file(path: &str) -> String {
    let name = safe(file_name(path)).unwrap_or_else(|| "log.csv".into());
    let stem = name.split('.').next().unwrap_or_default().to_lowercase();
    let taken = TAKEN.contains(&stem.as_str()) || stem == "ticket";
    if taken { format!("log-{name}") } else { name }
}

/// The last part of a path.
pub(super) fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}

/// `word` with everything replaced that some file system or shell would trip over; `None` if nothing is left.
fn safe(word: &str) -> Option<String> {
    let mut name = String::new();
    for letter in word.chars() {
        let kept = if letter.is_alphanumeric() || "_.".contains(letter) { letter } else { '-' };
        // One `-` for a run of strange characters, and never `..`.
        if !("-.".contains(kept) && name.ends_with(kept)) && name.len() + kept.len_utf8() <= LONGEST {
            name.push(kept);
        }
    }
    let name = name.trim_matches(['-', '.']);
    match name {
        "" => None,
        _ if is_device(name) => Some(format!("_{name}")),
        _ => Some(name.to_owned()),
    }
}

fn is_device(name: &str) -> bool {
    let stem = name.split('.').next().unwrap_or_default().trim_end().to_lowercase();
    let numbered = ["com", "lpt"].iter().find_map(|device| stem.strip_prefix(device));
    // The superscript digits count as digits there.
    let digit = |rest: &str| {
        let mut letters = rest.chars();
        letters.next().is_some_and(|c| c.is_ascii_digit() || "¹²³".contains(c)) && letters.next().is_none()
    };
    DEVICES.contains(&stem.as_str()) || numbered.is_some_and(digit)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_a_file_system_trips_over_is_replaced() {
        let cases = [
            ("T-1042", "T-1042"),
            ("../../etc/passwd", "etc-passwd"),
            ("a/b\\c:d*e?f\"g<h>i|j", "a-b-c-d-e-f-g-h-i-j"),
            (" . ", ""),
            ("CON", "_CON"),
            ("nul.csv", "_nul.csv"),
            ("com5", "_com5"),
            ("COM²", "_COM²"),
            ("computer", "computer"),
            ("com10", "com10"),
            ("trailing. ", "trailing"),
            ("Größe №7", "Größe-7"),
            ("a\u{202e}b\0c\n", "a-b-c"),
        ];
        for (word, expected) in cases {
            assert_eq!(safe(word).unwrap_or_default(), expected, "{word:?}");
        }
        assert_eq!(log_file("logs/run 1.csv"), "run-1.csv");
        assert_eq!(log_file("C:\\logs\\Ticket.txt"), "log-Ticket.txt");
        assert_eq!([log_file("-"), log_file("")], ["log.csv", "log.csv"]);
    }

    proptest! {
        #[test]
        fn any_words_become_one_plain_name(word in "\\PC{0,120}|[./\\\\ ]{0,9}|(?i)(con|nul|lpt1)[. ]{0,2}") {
            if let Some(name) = safe(&word) {
                prop_assert!(name.len() <= LONGEST + 1 && !name.is_empty());
                prop_assert!(!name.starts_with(['-', '.']) && !name.ends_with(['.', ' ']));
                prop_assert!(name.chars().all(|c| c.is_alphanumeric() || "-_.".contains(c)));
                prop_assert!(!is_device(&name));
                prop_assert_eq!(safe(&name), Some(name));
            }
        }
    }
}
