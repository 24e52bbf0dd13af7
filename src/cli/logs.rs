//! Logs and profiles as the user gives them, and the finding that both make.

use super::Failure;
use super::output::remark;
use crate::reference::Profile;
use crate::trace::{self, Cut, ReadLog, Trace};
use crate::verdict::{Finding, Sources, diagnose};
use std::io::Read;
use std::path::Path;

/// A log with where it came from.
#[derive(Debug)]
pub(super) struct GivenLog {
    pub(super) trace: Trace,
    path: String,
    sha256: String,
}

/// A profile with where it came from.
#[derive(Debug)]
pub(super) struct GivenProfile {
    pub(super) profile: Profile,
    path: String,
    sha256: String,
}

impl GivenLog {
    /// The log at `path`; `-` is standard input.
    pub(super) fn read(path: &Path) -> Result<Self, Failure> {
        if path == Path::new("-") {
            return Self::from_standard_input(&standard_input()?);
        }
        Ok(Self::named(path, trace::read_file(path).map_err(Failure::input)?))
    }

    /// The log at `path` (`-` is standard input), and the bytes that it was read from.
    pub(super) fn with_bytes(path: &Path) -> Result<(Self, Vec<u8>), Failure> {
        if path == Path::new("-") {
            let bytes = standard_input()?;
            return Ok((Self::from_standard_input(&bytes)?, bytes));
        }
        let (log, bytes) = trace::read_file_whole(path).map_err(Failure::input)?;
        Ok((Self::named(path, log), bytes))
    }

    fn from_standard_input(bytes: &[u8]) -> Result<Self, Failure> {
        let log = trace::read(bytes).map_err(|error| Failure::Input(format!("standard input: {error}")))?;
        Ok(Self::named(Path::new("-"), log))
    }

    fn named(path: &Path, log: ReadLog) -> Self {
        let path = path.display().to_string();
        remark_cut(&path, log.cut);
        Self { trace: log.trace, path, sha256: log.sha256 }
    }

    /// Says how far the board of this log got.
    pub(super) fn diagnose(&self, reference: Option<&GivenProfile>) -> Finding {
        diagnose_as(&self.path, self.sha256.clone(), &self.trace, reference)
    }
}

/// Remarks where a log is cut off, if it is.
pub(super) fn remark_cut(name: &str, cut: Option<Cut>) {
    if let Some(cut) = cut {
        remark(&format!("feedtale: {name}: {cut}"));
    }
}

/// Says how far the board of a log got that came from `path` and hashes to `sha256`.
pub(super) fn diagnose_as(
    path: &str,
    sha256: String,
    trace: &Trace,
    reference: Option<&GivenProfile>,
) -> Finding {
    let sources = Sources {
        log_path: path.to_owned(),
        log_sha256: sha256,
        profile_path: reference.map_or_else(String::new, |reference| reference.path.clone()),
        profile_sha256: reference.map_or_else(String::new, |reference| reference.sha256.clone()),
    };
    diagnose(trace, reference.map(|reference| &reference.profile), &sources)
}

fn standard_input() -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    let failed = |error| Failure::Input(format!("standard input cannot be read: {error}"));
    std::io::stdin().lock().read_to_end(&mut bytes).map_err(failed)?;
    Ok(bytes)
}

impl GivenProfile {
    /// The profile at `path`.
    pub(super) fn read(path: &Path) -> Result<Self, Failure> {
        let bytes = std::fs::read(path).map_err(|error| {
            Failure::Input(format!("{}: the profile cannot be read: {error}", path.display()))
        })?;
        let profile = Profile::from_bytes(path, &bytes).map_err(Failure::input)?;
        Ok(Self { profile, path: path.display().to_string(), sha256: trace::sha256(&bytes) })
    }

    /// A profile that comes with the program, under the name of its file in the repository.
    pub(super) fn from_text(name: &str, text: &str) -> Result<Self, Failure> {
        let profile = Profile::from_bytes(Path::new(name), text.as_bytes()).map_err(Failure::input)?;
        Ok(Self { profile, path: name.to_owned(), sha256: trace::sha256(text.as_bytes()) })
    }

    /// The profile that was asked for, else the one [beside](Self::beside) the log.
    pub(super) fn of(log: &GivenLog, asked: Option<&Path>) -> Result<Option<Self>, Failure> {
        match asked {
            Some(path) => Self::read(path).map(Some),
            None => Self::beside(&log.trace),
        }
    }

    /// The profile of the log's board in `profiles` under the working directory, if it is there by that name.
    pub(super) fn beside(trace: &Trace) -> Result<Option<Self>, Failure> {
        let Some(board) = &trace.header().board else { return Ok(None) };
        // A board's name comes from a file: it may not lead out of the folder.
        if board.is_empty() || !board.chars().all(|c| c.is_alphanumeric() || "-_. ".contains(c)) {
            return Ok(None);
        }
        let path = Path::new("profiles").join(format!("{board}.toml"));
        path.is_file().then(|| Self::read(&path)).transpose()
    }
}
