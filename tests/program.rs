//! Runs the program as its users do, and checks exactly what it printed and how it exited.

#![allow(dead_code, reason = "the builder is whole before every part of the program uses it")]

use std::ffi::OsStr;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// A run of the program in a fresh folder of its own.
pub(crate) struct Run {
    folder: tempfile::TempDir,
    command: Command,
    input: Vec<u8>,
}

/// A run that ended.
pub(crate) struct Ended {
    folder: tempfile::TempDir,
    line: String,
    output: Output,
}

/// A run of `feedtale` with `arguments`, in an empty folder, without colours and with no terminal.
pub(crate) fn feedtale<A: AsRef<OsStr>>(arguments: impl IntoIterator<Item = A>) -> Run {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let mut command = Command::new(env!("CARGO_BIN_EXE_feedtale"));
    command.args(arguments).current_dir(folder.path()).env("NO_COLOR", "1").env_remove("RUST_BACKTRACE");
    Run { folder, command, input: Vec::new() }
}

impl Run {
    /// Adds arguments.
    pub(crate) fn with(mut self, arguments: &[&str]) -> Self {
        self.command.args(arguments);
        self
    }

    /// Puts a file into the run's folder.
    pub(crate) fn file(self, name: &str, contents: impl AsRef<[u8]>) -> Self {
        let path = self.folder.path().join(name);
        std::fs::create_dir_all(path.parent().expect("a file lies in a folder")).expect("a folder");
        std::fs::write(path, contents).expect("a file in the run's folder");
        self
    }

    /// Feeds standard input.
    pub(crate) fn input(mut self, bytes: impl Into<Vec<u8>>) -> Self {
        self.input = bytes.into();
        self
    }

    /// Runs to the end.
    pub(crate) fn end(mut self) -> Ended {
        let line = format!("{:?}", self.command);
        let mut child = self
            .command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        // A program that does not read its input closes the pipe: not this check's business.
        let _ = child.stdin.take().expect("a pipe").write_all(&self.input);
        let output = child.wait_with_output().expect("the program ends");
        Ended { folder: self.folder, line, output }
    }
}

impl Ended {
    /// Standard output as text.
    pub(crate) fn stdout(&self) -> String {
        String::from_utf8_lossy(&self.output.stdout).into_owned()
    }

    /// Standard error as text.
    pub(crate) fn stderr(&self) -> String {
        String::from_utf8_lossy(&self.output.stderr).into_owned()
    }

    /// A path in the run's folder.
    pub(crate) fn path(&self, name: impl AsRef<Path>) -> PathBuf {
        self.folder.path().join(name)
    }

    /// The run exited with `code`.
    #[track_caller]
    pub(crate) fn code(self, code: i32) -> Self {
        assert_eq!(self.output.status.code(), Some(code), "{}", self.story());
        self
    }

    /// Standard output was exactly `expected`.
    #[track_caller]
    pub(crate) fn printed(self, expected: &str) -> Self {
        assert_eq!(self.stdout(), expected, "{}", self.story());
        self
    }

    /// Standard error was exactly `expected`.
    #[track_caller]
    pub(crate) fn complained(self, expected: &str) -> Self {
        assert_eq!(self.stderr(), expected, "{}", self.story());
        self
    }

    /// Standard output holds `part`.
    #[track_caller]
    pub(crate) fn mentions(self, part: &str) -> Self {
        assert!(self.stdout().contains(part), "no {part:?} in stdout\n{}", self.story());
        self
    }

    /// Standard error holds `part`.
    #[track_caller]
    pub(crate) fn warns(self, part: &str) -> Self {
        assert!(self.stderr().contains(part), "no {part:?} in stderr\n{}", self.story());
        self
    }

    fn story(&self) -> String {
        let mut story = String::new();
        let _ = writeln!(story, "{}\nexit {:?}", self.line, self.output.status.code());
        let _ = writeln!(story, "--- stdout\n{}\n--- stderr\n{}", self.stdout(), self.stderr());
        story
    }
}
