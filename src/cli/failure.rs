//! What a command can end in, and the exit code of each.

use std::process::ExitCode;

/// Exit code of a check that the user asked for and that did not hold.
pub(super) const CHECK_FAILED: u8 = 1;

/// How a command ended that did its work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Outcome {
    /// Done.
    Done,
    /// Done, but a check that the user asked for (`--expect`) did not hold.
    CheckFailed,
}

/// Why a command could not do its work; each kind has its exit code.
#[derive(Debug, thiserror::Error)]
pub(super) enum Failure {
    /// Wrong usage that the parser could not see: exit 2.
    #[error("{0}")]
    Usage(String),
    /// A file that cannot be read, written or understood: exit 3.
    #[error("{0}")]
    Input(String),
    /// Link or supply trouble: exit 4.
    #[error("{0}")]
    Link(String),
    /// A safety trip, or an output state that could not be confirmed: exit 5.
    #[error("{0}")]
    Safety(String),
}

impl Failure {
    /// Bad input, by the message of the error that found it.
    pub(super) fn input(error: impl std::error::Error) -> Self {
        Self::Input(error.to_string())
    }

    fn code(&self) -> u8 {
        match self {
            Self::Usage(_) => 2,
            Self::Input(_) => 3,
            Self::Link(_) => 4,
            Self::Safety(_) => 5,
        }
    }
}

/// Prints what clap found wrong (or the help that was asked for) where it belongs.
pub(super) fn report_usage(usage: &clap::Error) -> ExitCode {
    // A closed stdout or stderr leaves nobody to tell.
    let _ = usage.print();
    ExitCode::from(u8::try_from(usage.exit_code()).unwrap_or(2))
}

/// One message on stderr, and the exit code of its kind.
pub(super) fn report(failure: &Failure) -> ExitCode {
    use std::io::Write;
    // A terminal that was closed leaves nobody to tell, and must not change the exit code.
    let _ = writeln!(std::io::stderr(), "feedtale: {failure}");
    ExitCode::from(failure.code())
}
