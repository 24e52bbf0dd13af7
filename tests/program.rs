//! Runs the program as its users do, and checks exactly what it printed and how it exited.
//!
//! Every run that must only ask (`record` without `--drive` or `--prepare`, `supplies`) and speaks TCP goes through a
//! tap, which keeps every byte that leaves the program and holds it against the list of queries, whatever else the
//! check is about.

#![allow(dead_code, reason = "the builder is whole before every part of the program uses it")]

use crate::tap::Tap;
use std::ffi::{OsStr, OsString};
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Output, Stdio};

/// A run of the program in a fresh folder of its own.
pub(crate) struct Run {
    folder: tempfile::TempDir,
    arguments: Vec<OsString>,
    input: Vec<u8>,
}

/// A run that goes on.
pub(crate) struct Running {
    folder: tempfile::TempDir,
    line: String,
    child: Child,
    tap: Option<Tap>,
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
    let arguments = arguments.into_iter().map(|argument| argument.as_ref().to_owned()).collect();
    Run { folder, arguments, input: Vec::new() }
}

impl Run {
    /// Adds arguments.
    pub(crate) fn with(mut self, arguments: &[&str]) -> Self {
        self.arguments.extend(arguments.iter().map(OsString::from));
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

    /// The run's folder, which is its working folder.
    pub(crate) fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Runs to the end.
    pub(crate) fn end(self) -> Ended {
        self.start().end()
    }

    /// Starts, and leaves standard input open after what it was fed.
    pub(crate) fn start(mut self) -> Running {
        let tap = Tap::of_what_only_asks(&mut self.arguments, self.folder.path());
        let mut command = Command::new(env!("CARGO_BIN_EXE_feedtale"));
        command.args(&self.arguments).current_dir(self.folder.path());
        command.env("NO_COLOR", "1").env_remove("RUST_BACKTRACE");
        let line = format!("{command:?}");
        let mut child = command
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the program starts");
        // A program that does not read its input closes the pipe: not this check's business.
        let _ = child.stdin.as_mut().expect("a pipe").write_all(&self.input);
        Running { folder: self.folder, line, child, tap }
    }
}

impl Running {
    /// Sends a signal by its name: `INT`, `TERM`, `HUP`, `KILL`.
    pub(crate) fn signal(&self, name: &str) {
        let id = self.child.id().to_string();
        let sent = Command::new("kill").args([&format!("-{name}"), &id]).status().expect("kill runs");
        assert!(sent.success(), "{}: no signal {name}", self.line);
    }

    /// Its standard input.
    pub(crate) fn stdin(&mut self) -> &mut ChildStdin {
        self.child.stdin.as_mut().expect("standard input is open until the end")
    }

    /// Whether it still runs.
    pub(crate) fn goes_on(&mut self) -> bool {
        self.child.try_wait().expect("a child of this process").is_none()
    }

    /// A path in the run's folder.
    pub(crate) fn path(&self, name: impl AsRef<Path>) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Nobody reads what it prints, on either stream.
    pub(crate) fn unheard(mut self) -> Self {
        self.child.stdout = None;
        self.child.stderr = None;
        self
    }

    /// Closes standard input and waits for the end.
    pub(crate) fn end(mut self) -> Ended {
        drop(self.child.stdin.take());
        let output = self.child.wait_with_output().expect("the program ends");
        if let Some(tap) = self.tap {
            tap.assert_only_asked(&self.line);
        }
        Ended { folder: self.folder, line: self.line, output }
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
