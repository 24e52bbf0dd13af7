//! The log on disk while it grows: append-only, and never the reason that a sample is lost.
//!
//! Lines go to the system within [`GATHER_FOR`], so that a killed program loses next to none of them, and are forced to
//! the disk every [`SYNC_EVERY`], so that a power cut loses less than a second. The whole text is kept in memory as well
//! (about 50 bytes a sample): when the disk is full, the folder turns read-only or the file is taken away, the log is
//! written anew in the next place that takes it, and until one does the run goes on in memory.

use super::disk::{Disk, LogFile};
use super::names;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// How often the log is forced to the disk and looked after: half of the second that may be lost.
const SYNC_EVERY: Duration = Duration::from_millis(500);

/// For how long lines gather before they go to the system together: at hundreds of readings a second, waking for each
/// of them would take the processor from the readings.
const GATHER_FOR: Duration = Duration::from_millis(20);

/// Something about the log file that the person at the bench must know.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum JournalNotice {
    /// The log could not be kept where it was and is now elsewhere, whole.
    Moved {
        /// Where it was, or should have been.
        from: PathBuf,
        /// Why it could not stay.
        why: String,
        /// Where it is.
        to: PathBuf,
    },
    /// No place takes the log; the run goes on in memory.
    InMemory {
        /// Where it was, or should have been.
        from: PathBuf,
        /// Why it could not stay.
        why: String,
    },
    /// A place takes the log again, whole.
    SavedAgain {
        /// Where it is.
        to: PathBuf,
    },
}

/// What became of a log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Saved {
    /// It is in this file, whole and on the disk.
    At(PathBuf),
    /// No place took it: here is its text.
    InMemory(Vec<u8>),
    /// There was not one line to save, and no file was left.
    Nothing,
}

/// A place for the log, tried in order.
struct Place {
    wanted: PathBuf,
    open: Option<Open>,
}

struct Open {
    file: Box<dyn LogFile>,
    path: PathBuf,
    /// How much of the text it has taken.
    written: usize,
}

/// The log's text, and how much of it is where.
pub(super) struct Journal {
    disk: Box<dyn Disk>,
    text: Vec<u8>,
    places: Vec<Place>,
    /// The place that has the log; `None` while it is in memory only.
    current: Option<usize>,
}

impl Journal {
    /// Opens a new file at the first of `places` that takes one.
    pub(super) fn open(disk: Box<dyn Disk>, places: Vec<PathBuf>) -> (Self, Option<JournalNotice>) {
        let places = places.into_iter().map(|wanted| Place { wanted, open: None }).collect();
        let mut journal = Self { disk, text: Vec::new(), places, current: Some(0) };
        let notice = journal.pump();
        (journal, notice)
    }

    /// Where the log is, if it is anywhere.
    pub(super) fn path(&self) -> Option<&Path> {
        let open = self.places.get(self.current?)?.open.as_ref()?;
        Some(&open.path)
    }

    /// Adds to the text; [`Self::pump`] brings it to the file.
    pub(super) fn push(&mut self, lines: &[u8]) {
        self.text.extend_from_slice(lines);
    }

    /// Brings all text to the current place, or else to the first that takes it.
    pub(super) fn pump(&mut self) -> Option<JournalNotice> {
        let before = self.current;
        let why = match before.map(|place| self.write(place)) {
            Some(Ok(())) => return None,
            Some(Err(error)) => Some(error),
            None => None,
        };
        let next = (0..self.places.len()).find(|place| Some(*place) != before && self.write(*place).is_ok());
        self.settle(before, next, why)
    }

    /// Forces the log to the disk, and notices when the file is no longer where it was put.
    pub(super) fn look_after(&mut self) -> Option<JournalNotice> {
        let Some(current) = self.current else { return self.pump() };
        let open = self.places.get_mut(current)?.open.as_mut();
        let fault = open.map_or_else(
            || Err(io::ErrorKind::NotFound.into()),
            |open| {
                open.file.sync()?;
                if open.file.is_in_place(&open.path, open.written) { Ok(()) } else { Err(taken_away()) }
            },
        );
        let why = fault.err()?;
        // A file that was taken away, or a disk that lost it: written anew, in the same place if that takes it.
        self.places[current].open = None;
        self.current = None;
        let next = (0..self.places.len()).find(|place| self.write(*place).is_ok());
        self.settle(Some(current), next, Some(why))
    }

    /// Ends the log: everything written and forced to the disk, or handed back.
    pub(super) fn close(mut self) -> (Saved, Option<JournalNotice>) {
        let pumped = self.pump();
        let looked_after = self.look_after();
        let path = self.path().map(Path::to_owned);
        let saved = match path {
            Some(path) if self.text.is_empty() => {
                // A file without one byte of a run says nothing and would only take the next run's name.
                let _ = self.disk.remove_empty(&path);
                Saved::Nothing
            }
            None if self.text.is_empty() => Saved::Nothing,
            Some(path) => Saved::At(path),
            None => Saved::InMemory(self.text),
        };
        (saved, looked_after.or(pumped))
    }

    /// Records where the log is now and says what changed.
    fn settle(
        &mut self,
        before: Option<usize>,
        now: Option<usize>,
        why: Option<io::Error>,
    ) -> Option<JournalNotice> {
        self.current = now;
        let from = before.map(|place| self.places[place].wanted.clone());
        let why = why.map(|error| error.to_string()).unwrap_or_default();
        match (from, self.path().map(Path::to_owned)) {
            (Some(from), Some(to)) => Some(JournalNotice::Moved { from, why, to }),
            (Some(from), None) => Some(JournalNotice::InMemory { from, why }),
            (None, Some(to)) => Some(JournalNotice::SavedAgain { to }),
            (None, None) => None,
        }
    }

    /// Brings all text to `place`, opening a file there if it has none.
    fn write(&mut self, place: usize) -> io::Result<()> {
        let place = self.places.get_mut(place).ok_or_else(|| io::Error::from(io::ErrorKind::NotFound))?;
        if place.open.is_none() {
            place.open = Some(create(self.disk.as_mut(), &place.wanted)?);
        }
        let open = place.open.as_mut().ok_or_else(|| io::Error::from(io::ErrorKind::NotFound))?;
        while open.written < self.text.len() {
            match open.file.write(&self.text[open.written..]) {
                Ok(0) => return Err(io::ErrorKind::WriteZero.into()),
                Ok(count) => open.written += count,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(error),
            }
        }
        Ok(())
    }
}

/// A new file at `wanted` or, where that name is taken, at the next numbered name.
fn create(disk: &mut dyn Disk, wanted: &Path) -> io::Result<Open> {
    for path in names::candidates(wanted) {
        match disk.create_new(&path) {
            Ok(file) => return Ok(Open { file, path, written: 0 }),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(error),
        }
    }
    Err(io::Error::new(io::ErrorKind::AlreadyExists, "every numbered name for the log is taken"))
}

fn taken_away() -> io::Error {
    io::Error::new(io::ErrorKind::NotFound, "the file was taken away, replaced or cut while it grew")
}

/// A journal on a thread of its own: a slow disk must not hold up the readings.
pub(super) struct JournalThread {
    lines: Sender<Vec<u8>>,
    thread: JoinHandle<Saved>,
}

impl JournalThread {
    /// Takes over `journal`; `say` is told what the person at the bench must know.
    pub(super) fn start(journal: Journal, say: impl Fn(JournalNotice) + Send + 'static) -> io::Result<Self> {
        let (lines, inbox) = channel();
        let thread =
            std::thread::Builder::new().name("journal".into()).spawn(move || keep(journal, &inbox, &say))?;
        Ok(Self { lines, thread })
    }

    /// Whole lines, each with its line end. Returns at once.
    pub(super) fn write(&self, lines: Vec<u8>) {
        // The thread lives until this sender is gone; were it to panic, `finish` would say so.
        let _ = self.lines.send(lines);
    }

    /// Waits until everything is on the disk.
    ///
    /// # Panics
    /// With the journal thread's own panic, if it had one.
    pub(super) fn finish(self) -> Saved {
        drop(self.lines);
        self.thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    }
}

fn keep(mut journal: Journal, inbox: &Receiver<Vec<u8>>, say: &dyn Fn(JournalNotice)) -> Saved {
    let mut next_sync = Instant::now() + SYNC_EVERY;
    loop {
        match inbox.recv_timeout(next_sync.saturating_duration_since(Instant::now())) {
            Ok(lines) => {
                journal.push(&lines);
                for lines in inbox.try_iter() {
                    journal.push(&lines);
                }
                // While no place takes the log, places are tried at the pace of `look_after` only.
                if journal.current.is_some() {
                    journal.pump().into_iter().for_each(say);
                }
                std::thread::sleep(GATHER_FOR);
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => break,
        }
        if Instant::now() >= next_sync {
            journal.look_after().into_iter().for_each(say);
            next_sync = Instant::now() + SYNC_EVERY;
        }
    }
    let (saved, notice) = journal.close();
    notice.into_iter().for_each(say);
    saved
}

#[cfg(test)]
mod tests {
    use super::super::disk::{FakeDisk, RealDisk};
    use super::*;
    use std::fs;

    fn places(folder: &Path) -> Vec<PathBuf> {
        vec![folder.join("asked/run.csv"), folder.join("spare/run.csv")]
    }

    fn folders() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir(folder.path().join("asked")).unwrap();
        fs::create_dir(folder.path().join("spare")).unwrap();
        folder
    }

    #[test]
    fn lines_are_in_the_file_at_once_and_the_file_is_new() {
        let folder = folders();
        fs::write(folder.path().join("asked/run.csv"), "another run").unwrap();
        let (mut journal, notice) = Journal::open(Box::new(RealDisk), places(folder.path()));
        assert_eq!(notice, None);
        journal.push(b"a\n");
        assert_eq!(journal.pump(), None);
        assert_eq!(fs::read_to_string(folder.path().join("asked/run-2.csv")).unwrap(), "a\n");
        assert_eq!(fs::read_to_string(folder.path().join("asked/run.csv")).unwrap(), "another run");
    }

    #[test]
    fn a_file_taken_away_is_written_anew_and_said() {
        let folder = folders();
        let (mut journal, _) = Journal::open(Box::new(RealDisk), places(folder.path()));
        journal.push(b"a\n");
        journal.pump();
        let asked = folder.path().join("asked/run.csv");
        fs::rename(&asked, folder.path().join("asked/elsewhere.csv")).unwrap();
        journal.push(b"b\n");
        journal.pump();
        let notice = journal.look_after();
        assert!(matches!(&notice, Some(JournalNotice::Moved { to, .. }) if *to == asked), "{notice:?}");
        assert_eq!(fs::read_to_string(&asked).unwrap(), "a\nb\n");
        assert_eq!(journal.close().0, Saved::At(asked));
    }

    #[test]
    fn a_folder_taken_away_moves_the_log_to_the_next_place() {
        let folder = folders();
        let (mut journal, _) = Journal::open(Box::new(RealDisk), places(folder.path()));
        journal.push(b"a\n");
        journal.pump();
        fs::remove_dir_all(folder.path().join("asked")).unwrap();
        let notice = journal.look_after();
        let spare = folder.path().join("spare/run.csv");
        assert!(matches!(&notice, Some(JournalNotice::Moved { to, .. }) if *to == spare), "{notice:?}");
        assert_eq!(fs::read_to_string(spare).unwrap(), "a\n");
    }

    #[test]
    fn a_cut_file_is_written_anew() {
        let folder = folders();
        let (mut journal, _) = Journal::open(Box::new(RealDisk), places(folder.path()));
        journal.push(b"a\nb\n");
        journal.pump();
        fs::write(folder.path().join("asked/run.csv"), "a").unwrap();
        assert!(journal.look_after().is_some());
        let (saved, _) = journal.close();
        let Saved::At(path) = saved else { panic!("not saved: {saved:?}") };
        assert_eq!(fs::read_to_string(path).unwrap(), "a\nb\n");
    }

    #[test]
    fn a_full_disk_is_said_once_and_the_log_goes_whole_to_the_next_place() {
        let disk = FakeDisk::default();
        let asked = Path::new("asked/run.csv");
        disk.room(Path::new("asked"), 5);
        let (mut journal, _) =
            Journal::open(Box::new(disk.clone()), vec![asked.into(), "spare/run.csv".into()]);
        journal.push(b"one\n");
        assert_eq!(journal.pump(), None);
        journal.push(b"two\n");
        let expected = JournalNotice::Moved {
            from: asked.into(),
            why: io::Error::from(io::ErrorKind::StorageFull).to_string(),
            to: "spare/run.csv".into(),
        };
        assert_eq!(journal.pump(), Some(expected));
        journal.push(b"three\n");
        assert_eq!(journal.pump(), None);
        assert_eq!(disk.content(Path::new("spare/run.csv")), b"one\ntwo\nthree\n");
        assert_eq!(disk.content(asked), b"one\nt", "what fitted stays, up to a cut line that a reader drops");
    }

    #[test]
    fn with_no_place_left_the_run_goes_on_in_memory_until_one_takes_it() {
        let disk = FakeDisk::default();
        disk.read_only(Path::new("asked"));
        disk.room(Path::new("spare"), 3);
        let (mut journal, notice) =
            Journal::open(Box::new(disk.clone()), vec!["asked/run.csv".into(), "spare/run.csv".into()]);
        assert!(matches!(notice, Some(JournalNotice::Moved { .. })), "{notice:?}");
        journal.push(b"one\ntwo\n");
        assert!(matches!(journal.pump(), Some(JournalNotice::InMemory { .. })));
        assert_eq!(journal.look_after(), None, "said once");
        disk.room(Path::new("spare"), 100);
        assert_eq!(journal.look_after(), Some(JournalNotice::SavedAgain { to: "spare/run.csv".into() }));
        assert_eq!(disk.content(Path::new("spare/run.csv")), b"one\ntwo\n", "appended to, not started again");
        assert_eq!(disk.files(), 1, "no debris of the attempts");
    }

    #[test]
    fn what_no_place_takes_is_handed_back() {
        let disk = FakeDisk::default();
        disk.read_only(Path::new("asked"));
        let (mut journal, _) = Journal::open(Box::new(disk), vec!["asked/run.csv".into()]);
        journal.push(b"one\n");
        assert_eq!(journal.close().0, Saved::InMemory(b"one\n".to_vec()));
    }

    #[test]
    fn a_run_without_a_line_leaves_no_file() {
        let folder = folders();
        let (journal, _) = Journal::open(Box::new(RealDisk), places(folder.path()));
        assert_eq!(journal.close().0, Saved::Nothing);
        assert_eq!(fs::read_dir(folder.path().join("asked")).unwrap().count(), 0);
    }

    #[test]
    fn the_thread_brings_lines_to_the_file_without_being_asked() {
        let folder = folders();
        let (journal, _) = Journal::open(Box::new(RealDisk), places(folder.path()));
        let thread = JournalThread::start(journal, |_| {}).unwrap();
        thread.write(b"a\n".to_vec());
        let asked = folder.path().join("asked/run.csv");
        let deadline = Instant::now() + Duration::from_secs(20);
        while fs::read(&asked).unwrap() != b"a\n" {
            assert!(Instant::now() < deadline, "the line never reached the file");
            std::thread::sleep(Duration::from_millis(2));
        }
        assert_eq!(thread.finish(), Saved::At(asked));
    }
}
