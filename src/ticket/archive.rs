//! The ticket folder as one file.

use super::Folder;
use std::io::{Cursor, Write as _};
use zip::ZipWriter;
use zip::result::ZipError;
use zip::write::SimpleFileOptions;

/// No clock is asked, so that the same folder gives the same bytes.
pub(super) fn pack(folder: &Folder) -> Result<Vec<u8>, ZipError> {
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default().last_modified_time(zip::DateTime::default());
    for file in &folder.files {
        archive.start_file(format!("{}/{}", folder.name, file.name), options)?;
        archive.write_all(&file.bytes)?;
    }
    Ok(archive.finish()?.into_inner())
}
