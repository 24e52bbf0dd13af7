//! What can be wrong with a profile, said so that a person with the file in an editor can mend it.

use std::path::PathBuf;

/// Why a profile could not be used.
#[derive(Debug, thiserror::Error)]
pub enum ProfileError {
    /// The file could not be read.
    #[error("{}: the profile cannot be read: {source}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The path is not a file.
    #[error("{}: this is a directory; give the profile inside it, a file that ends in .toml", path.display())]
    Directory {
        /// The directory.
        path: PathBuf,
    },
    /// The file is larger than any profile.
    #[error("{}: {bytes} bytes are too many for a profile (at most {limit}); is it a log?", path.display())]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Its size.
        bytes: u64,
        /// The most that is read.
        limit: u64,
    },
    /// The file is not text.
    #[error(
        "{}: not UTF-8 text from byte {at} on (line {line}); a profile is a TOML text file",
        path.display()
    )]
    NotText {
        /// The file.
        path: PathBuf,
        /// First byte that is no text.
        at: usize,
        /// The line it is in.
        line: usize,
    },
    /// The text is not a valid profile.
    #[error("{}: {fault}", path.display())]
    Invalid {
        /// The file.
        path: PathBuf,
        /// What is wrong, and where.
        fault: ProfileFault,
    },
}

/// What is wrong with the text of a profile, and in which line.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("line {line}: {problem}")]
pub struct ProfileFault {
    /// Line, counted from 1.
    pub line: usize,
    /// What is wrong there.
    pub problem: Box<ProfileProblem>,
}

impl ProfileFault {
    pub(super) fn new(line: usize, problem: ProfileProblem) -> Self {
        Self { line, problem: Box::new(problem) }
    }
}

/// What is wrong in one line of a profile. `place` names the table, as in `[feed]` or `[[phase]] 2 (firmware)`.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum ProfileProblem {
    /// The text is not TOML.
    #[error("not valid TOML: {message}")]
    Syntax {
        /// What the parser said.
        message: String,
    },
    /// The profile was written by a later version.
    #[error(
        "profile format {found} is not known to this version, which reads format {known}; update feedtale"
    )]
    Format {
        /// The format in the file.
        found: f64,
        /// The format of this version.
        known: u32,
    },
    /// A key that means nothing here.
    #[error("unknown key `{key}` in {place}{}", suggestion(nearest.as_deref(), known))]
    UnknownKey {
        /// The key.
        key: String,
        /// The table.
        place: String,
        /// The known key that is nearest to it, if one is near.
        nearest: Option<String>,
        /// Every key that is known there.
        known: Vec<String>,
    },
    /// A key that must be there is not.
    #[error("{place} lacks the key `{key}`: {meaning}")]
    MissingKey {
        /// The key.
        key: String,
        /// The table.
        place: String,
        /// What the key is for.
        meaning: String,
    },
    /// A value of another type than the key needs.
    #[error("`{key}` in {place} is {found}; {expected} is needed")]
    WrongType {
        /// The key.
        key: String,
        /// The table.
        place: String,
        /// What stands there.
        found: String,
        /// What should.
        expected: String,
    },
    /// A number that cannot be.
    #[error("`{key}` in {place} is {found}; it must be {expected}")]
    OutOfRange {
        /// The key.
        key: String,
        /// The table.
        place: String,
        /// The number, as written.
        found: String,
        /// What it must be.
        expected: String,
    },
    /// Two limits the wrong way round.
    #[error("`{lower}` ({lower_value}) is above `{upper}` ({upper_value}) in {place}; are they swapped?")]
    CrossedLimits {
        /// The table or envelope.
        place: String,
        /// The limit that should be the lower one.
        lower: String,
        /// Its value.
        lower_value: f64,
        /// The limit that should be the upper one.
        upper: String,
        /// Its value.
        upper_value: f64,
    },
    /// An empty text where a word is needed.
    #[error("`{key}` in {place} is empty; {expected}")]
    Empty {
        /// The key.
        key: String,
        /// The table.
        place: String,
        /// What belongs there.
        expected: String,
    },
    /// The same name twice.
    #[error("{place}: the name `{name}` was already used in line {first_line}; names must differ")]
    DuplicateName {
        /// The second table of that name.
        place: String,
        /// The name.
        name: String,
        /// Line of the first.
        first_line: usize,
    },
    /// A name that findings use for something else.
    #[error("{place}: `{name}` is what findings call {meaning}; choose another name")]
    ReservedName {
        /// The table.
        place: String,
        /// The name.
        name: String,
        /// What the name stands for.
        meaning: String,
    },
    /// A reference to something that does not exist.
    #[error("`{key}` in {place} names {kind} `{found}`, which does not exist{}", suggestion(nearest.as_deref(), known))]
    UnknownName {
        /// The key.
        key: String,
        /// The table.
        place: String,
        /// What was referred to: `the verdict class`, `the phase`.
        kind: &'static str,
        /// The name.
        found: String,
        /// The existing name that is nearest to it, if one is near.
        nearest: Option<String>,
        /// Every name that exists.
        known: Vec<String>,
    },
    /// Phases that cannot follow each other in this order.
    #[error("{place}: {reason}; phases stand in the order in which a good board goes through them")]
    PhaseOrder {
        /// The phase.
        place: String,
        /// Why it cannot stand there.
        reason: String,
    },
}

/// `; did you mean …?`, or the names to choose from.
fn suggestion(nearest: Option<&str>, known: &[String]) -> String {
    match nearest {
        Some(name) => format!("; did you mean `{name}`?"),
        None if known.is_empty() => String::new(),
        None => format!("; known are: {}", known.join(", ")),
    }
}
