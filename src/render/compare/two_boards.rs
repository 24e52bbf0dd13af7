//! What differs between two boards, neither of which has changed: in words that tell of no repair.

use super::differences::Difference;

/// What is said of one board, and of two; those that hold others come first.
const WORDS: [(&str, &str); 13] = [
    ("now passed, but not told apart", "passed only after, not told apart"),
    ("no longer draws as good boards", "only before draws as good boards"),
    ("now draws as good boards", "only after draws as good boards"),
    ("no longer as good boards", "only before as good boards"),
    ("now as good boards", "only after as good boards"),
    ("no longer reached", "reached only before"),
    ("now reached", "reached only after"),
    ("no longer passed", "passed only before"),
    ("now passed", "passed only after"),
    ("now stays", "stays only after"),
    ("gives up no longer", "gives up only before"),
    ("gives up now", "gives up only after"),
    ("tries end in it now", "tries end in it only after"),
];

/// The same where that is all that is said.
const ALONE: [(&str, &str); 2] = [("gone", "only before"), ("new", "only after")];

pub(super) fn of_two_boards(difference: &mut Difference) {
    let said = WORDS.iter().fold(difference.words.clone(), |said, (one, two)| said.replace(one, two));
    let alone = ALONE.iter().find(|(one, _)| said == *one);
    difference.words = alone.map_or(said, |(_, two)| (*two).into());
    // Beside which run is off, whose draw or time is meant is to be said: `after` alone is no fault. Said once, it holds for
    // what follows.
    let mut said = false;
    let whose = |part: &str| {
        let compares = ["draws ", "takes "].iter().any(|verb| part.starts_with(verb));
        let compares = compares && !part.starts_with("draws too ");
        let first = compares && !std::mem::replace(&mut said, compares);
        if first { format!("after {part}") } else { part.to_owned() }
    };
    difference.words = difference.words.split(", ").map(whose).collect::<Vec<_>>().join(", ");
}
