//! Where log files are made: the machine's own disk, or one of memory that can fail on demand.

use std::fs::{File, OpenOptions};
use std::io::{self, Write};
use std::path::Path;

/// Makes log files.
pub(super) trait Disk: Send {
    /// A new, empty file; never one that exists.
    fn create_new(&mut self, path: &Path) -> io::Result<Box<dyn LogFile>>;

    /// Removes a file that no byte was written to.
    fn remove_empty(&mut self, path: &Path) -> io::Result<()>;
}

/// A growing log file.
pub(super) trait LogFile: Send {
    /// Appends; as much as fits, like [`Write::write`].
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize>;

    /// Forces everything to the disk.
    fn sync(&mut self) -> io::Result<()>;

    /// Whether `path` still names this file, with all the `written` bytes in it.
    fn is_in_place(&self, path: &Path, written: usize) -> bool;
}

/// The machine's own disk.
#[derive(Debug, Clone, Copy)]
pub(super) struct RealDisk;

impl Disk for RealDisk {
    fn create_new(&mut self, path: &Path) -> io::Result<Box<dyn LogFile>> {
        Ok(Box::new(OpenOptions::new().append(true).create_new(true).open(path)?))
    }

    fn remove_empty(&mut self, path: &Path) -> io::Result<()> {
        if path.metadata()?.len() == 0 { std::fs::remove_file(path) } else { Ok(()) }
    }
}

impl LogFile for File {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        Write::write(self, bytes)
    }

    fn sync(&mut self) -> io::Result<()> {
        self.sync_data()
    }

    fn is_in_place(&self, path: &Path, written: usize) -> bool {
        let (Ok(mine), Ok(there)) = (self.metadata(), path.metadata()) else { return false };
        same_file(&mine, &there) && there.len() >= written as u64
    }
}

#[cfg(unix)]
fn same_file(a: &std::fs::Metadata, b: &std::fs::Metadata) -> bool {
    use std::os::unix::fs::MetadataExt;
    (a.dev(), a.ino()) == (b.dev(), b.ino())
}

/// Elsewhere a file's identity is not in the stable standard library; its length and age tell most of it.
#[cfg(not(unix))]
fn same_file(a: &std::fs::Metadata, b: &std::fs::Metadata) -> bool {
    a.len() == b.len() && a.created().ok() == b.created().ok()
}

#[cfg(test)]
pub(super) use fake::FakeDisk;

#[cfg(test)]
mod fake {
    use super::{Disk, LogFile};
    use std::collections::HashMap;
    use std::io;
    use std::path::{Path, PathBuf};
    use std::sync::{Arc, Mutex};

    /// A disk in memory whose folders can be full or read-only.
    #[derive(Clone, Default)]
    pub(in super::super) struct FakeDisk(Arc<Mutex<State>>);

    #[derive(Default)]
    struct State {
        files: HashMap<PathBuf, Vec<u8>>,
        room: HashMap<PathBuf, usize>,
        read_only: Vec<PathBuf>,
    }

    impl FakeDisk {
        /// From now on, files in `folder` hold `bytes` in all.
        pub(in super::super) fn room(&self, folder: &Path, bytes: usize) {
            self.0.lock().unwrap().room.insert(folder.into(), bytes);
        }

        /// From now on, `folder` takes no new file.
        pub(in super::super) fn read_only(&self, folder: &Path) {
            self.0.lock().unwrap().read_only.push(folder.into());
        }

        /// What is in `path`.
        pub(in super::super) fn content(&self, path: &Path) -> Vec<u8> {
            self.0.lock().unwrap().files[path].clone()
        }

        /// How many files there are.
        pub(in super::super) fn files(&self) -> usize {
            self.0.lock().unwrap().files.len()
        }
    }

    impl Disk for FakeDisk {
        fn create_new(&mut self, path: &Path) -> io::Result<Box<dyn LogFile>> {
            let mut state = self.0.lock().unwrap();
            if state.read_only.iter().any(|folder| path.starts_with(folder)) {
                return Err(io::ErrorKind::ReadOnlyFilesystem.into());
            }
            if state.files.contains_key(path) {
                return Err(io::ErrorKind::AlreadyExists.into());
            }
            state.files.insert(path.into(), Vec::new());
            Ok(Box::new(FakeFile { disk: self.clone(), path: path.into() }))
        }

        fn remove_empty(&mut self, path: &Path) -> io::Result<()> {
            self.0.lock().unwrap().files.remove(path);
            Ok(())
        }
    }

    struct FakeFile {
        disk: FakeDisk,
        path: PathBuf,
    }

    impl LogFile for FakeFile {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            let mut state = self.disk.0.lock().unwrap();
            let room = self.path.parent().and_then(|folder| state.room.get(folder)).copied();
            let content = state.files.get_mut(&self.path).ok_or(io::ErrorKind::NotFound)?;
            let fits = room.map_or(bytes.len(), |room| bytes.len().min(room.saturating_sub(content.len())));
            if fits == 0 {
                return Err(io::ErrorKind::StorageFull.into());
            }
            content.extend_from_slice(&bytes[..fits]);
            Ok(fits)
        }

        fn sync(&mut self) -> io::Result<()> {
            Ok(())
        }

        fn is_in_place(&self, path: &Path, written: usize) -> bool {
            self.disk.0.lock().unwrap().files.get(path).is_some_and(|content| content.len() >= written)
        }
    }
}
