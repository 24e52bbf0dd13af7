//! Writing for the user: results to stdout, remarks to stderr, and files, never over one that is there unless told to.

use super::Failure;
use crate::ticket::Folder;
use std::fs::File;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

/// Says that a file is there already before any work is done for it, unless it may be written over.
pub(super) fn refuse_to_overwrite(path: &Path, force: bool) -> Result<(), Failure> {
    if force || !path.exists() { Ok(()) } else { Err(is_there(path)) }
}

/// Refuses to write over a file that is read, by whatever name or link, even with `--force`: a recording cannot be had
/// again.
pub(super) fn refuse_to_replace<'a>(
    inputs: impl IntoIterator<Item = &'a PathBuf>,
    output: &Path,
) -> Result<(), Failure> {
    let Ok(place) = output.canonicalize() else { return Ok(()) };
    let same = |input: &&PathBuf| input.canonicalize().is_ok_and(|input| input == place);
    match inputs.into_iter().find(same) {
        None => Ok(()),
        Some(input) => Err(Failure::Usage(format!(
            "{} is what is read from and is not written over; give another name with --output",
            input.display()
        ))),
    }
}

fn is_there(path: &Path) -> Failure {
    Failure::Input(format!("{} is there already; --force writes over it", path.display()))
}

/// Writes a file, and refuses to write over one unless `force`.
pub(super) fn write_file(path: &Path, bytes: &[u8], force: bool) -> Result<(), Failure> {
    let written = match path.canonicalize() {
        Ok(place) if force && place.is_file() => replace(&place, bytes),
        _ if force => std::fs::write(path, bytes),
        _ => File::create_new(path).and_then(|mut file| file.write_all(bytes)),
    };
    match written {
        Ok(()) => Ok(()),
        Err(error) if error.kind() == ErrorKind::AlreadyExists => Err(is_there(path)),
        Err(error) => Err(Failure::Input(format!("cannot write {}: {error}", path.display()))),
    }
}

/// Puts `bytes` in the place of a file, which is as it was if they cannot be written: a full disk takes no profile that
/// somebody edited by hand.
fn replace(place: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let mut beside = place.as_os_str().to_owned();
    beside.push(".new");
    let permissions = std::fs::metadata(place)?.permissions();
    let replaced = std::fs::write(&beside, bytes)
        .and_then(|()| std::fs::set_permissions(&beside, permissions))
        .and_then(|()| std::fs::rename(&beside, place));
    if replaced.is_err() {
        // What failed is told by the error; a part that cannot be removed either is told by its name.
        let _ = std::fs::remove_file(&beside);
    }
    replaced
}

/// Makes a folder and those above it; one that is there is kept.
pub(super) fn make_folder(path: &Path) -> Result<(), Failure> {
    std::fs::create_dir_all(path)
        .map_err(|error| Failure::Input(format!("cannot make the folder {}: {error}", path.display())))
}

/// Writes a ticket folder into `output` and says where it is; refuses one that is there unless `force`.
///
/// With `force`, files of the same names are written over and any others are left.
pub(super) fn write_ticket(output: &Path, ticket: &Folder, force: bool) -> Result<PathBuf, Failure> {
    let place = output.join(&ticket.name);
    refuse_to_overwrite(&place, force)?;
    make_folder(&place)?;
    for file in &ticket.files {
        write_file(&place.join(&file.name), &file.bytes, force)?;
    }
    Ok(place)
}

/// Prints a result to stdout; a reader that has had enough is no failure.
pub(super) fn print(bytes: &[u8]) -> Result<(), Failure> {
    match std::io::stdout().write_all(bytes) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => {
            Err(Failure::Input(format!("cannot write to standard output: {error}")))
        }
        _ => Ok(()),
    }
}

/// A remark beside the result, on stderr; a terminal that was closed leaves nobody to tell.
pub(super) fn remark(text: &str) {
    let _ = writeln!(std::io::stderr(), "{text}");
}
