//! The ticket folder: what remains of a run when the supply is off.
//!
//! [`folder`] makes it from the log, the trace, the finding and what the people said: a picture, the log itself, the
//! finding for programs and the same finding in words. It is bytes under names; writing them is the caller's part.

mod archive;
mod base64;
mod document;
mod finding;
mod html;
mod markdown;
mod name;
mod symptom;
mod text;

pub use finding::{FINDING_SCHEMA, finding_json, finding_schema};

use crate::reference::Profile;
use crate::render::{self, Options, RenderError, Size};
use crate::trace::{Trace, sha256};
use crate::verdict::Finding;
use document::Document;

/// The picture in every ticket folder.
pub const PICTURE: &str = "picture.png";

/// Width and height of the picture in pixels, and their density: as wide as the text of an A4 page, on which its smallest
/// letters are then of 6 points.
const PICTURE_SIZE: (u32, u32) = (1600, 1120);
const PICTURE_DPI: u32 = 210;

/// What people said of the board; goes into the texts, not into the finding.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Notes {
    /// What the customer complains of, in the customer's words.
    pub symptom: Option<String>,
    /// What the technician wants to add.
    pub note: Option<String>,
}

/// What a ticket is made from.
#[derive(Debug, Clone, Copy)]
pub struct Material<'a> {
    /// The log, byte for byte.
    pub log: &'a [u8],
    /// File name of the log (a path is cut to its last part); `-` or nothing if it has none.
    pub log_name: &'a str,
    /// The same log in memory.
    pub trace: &'a Trace,
    /// The profile that the finding was made with.
    pub profile: Option<&'a Profile>,
    /// What the analysis of the log concluded.
    pub finding: &'a Finding,
    /// What people said of the board.
    pub notes: &'a Notes,
}

/// Why a ticket cannot be made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TicketError {
    /// The finding is about other bytes than those that were to go beside it.
    #[error(
        "the finding is about a log with SHA-256 {expected}, but this log has {found}; diagnose this log again"
    )]
    AnotherLog {
        /// SHA-256 of the log that was given.
        found: String,
        /// SHA-256 that the finding names.
        expected: String,
    },
    /// The picture cannot be drawn.
    #[error("no ticket without its picture: {0}")]
    Picture(#[from] RenderError),
    /// The folder cannot be packed into one file.
    #[error("the ticket cannot be packed: {0}")]
    Pack(#[from] zip::result::ZipError),
}

/// A ticket folder, not yet on disk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Folder {
    /// A name that any file system takes as one folder: ticket and board.
    pub name: String,
    /// What is in it, the picture first.
    pub files: Vec<File>,
}

impl Folder {
    /// The folder as one ZIP file, the files in a folder of its name. The same folder gives the same bytes.
    ///
    /// # Errors
    /// [`TicketError::Pack`] if a file is larger than the format holds.
    pub fn zip(&self) -> Result<Vec<u8>, TicketError> {
        archive::pack(self).map_err(TicketError::Pack)
    }
}

/// One file of a ticket folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct File {
    /// A name that any file system takes as one file; no two files of a folder share it, in any case.
    pub name: String,
    /// Its contents.
    pub bytes: Vec<u8>,
}

/// Makes the ticket folder.
///
/// # Errors
/// [`TicketError::AnotherLog`] if the finding names the hash of another log (an empty hash names none);
/// [`TicketError::Picture`] if the picture cannot be drawn, as of a log without readings.
pub fn folder(material: &Material) -> Result<Folder, TicketError> {
    let Material { log, log_name, trace, profile, finding, notes } = *material;
    let found = sha256(log);
    let expected = &finding.log.sha256;
    if !expected.is_empty() && *expected != found {
        return Err(TicketError::AnotherLog { found, expected: expected.clone() });
    }
    let log_name = name::log_file(log_name);
    let document = Document::new(finding, notes, &log_name, &found);
    let size = Size::new(PICTURE_SIZE.0, PICTURE_SIZE.1).unwrap_or_default();
    let options = Options { size, dpi: Some(PICTURE_DPI), ..Options::default() };
    let picture = render::timeline(trace, profile, finding, &options)?;
    let held = Options { size: Size::PHONE, ..Options::default() };
    let upright = render::timeline(trace, profile, finding, &held)?;
    let file = |name: &str, bytes| File { name: name.to_owned(), bytes };
    // Where log and profile lie on this bench is nobody's business who reads the ticket, and leads nowhere from there.
    let mut beside = finding.clone();
    beside.log.path.clone_from(&log_name);
    if let Some(profile) = &mut beside.profile {
        profile.path = name::file_name(&profile.path).to_owned();
    }
    let page = html::write(&document, &picture, &upright);
    let files = vec![
        file(PICTURE, picture),
        file("ticket.txt", text::write(&document).into_bytes()),
        file("ticket.md", markdown::write(&document, PICTURE).into_bytes()),
        file("ticket.html", page.into_bytes()),
        file("finding.json", finding_json(&beside)),
        file(&log_name, log.to_vec()),
    ];
    Ok(Folder { name: name::folder(&finding.log), files })
}

#[cfg(test)]
mod tests;
