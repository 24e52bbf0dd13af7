//! Reference profiles: what known-good boards of one model do.
//!
//! A [`Profile`] is learned from the logs of known-good boards, kept as TOML that a person reads and edits, and
//! compared with what a sick board did.

mod document;
mod error;
mod model;
mod read;
mod write;

pub use error::{ProfileError, ProfileFault, ProfileProblem};
pub use model::{
    Check, Envelope, Feed, Learned, PathSection, PhaseReference, Profile, Quantity, SourceLog, StageMeasure,
};
pub use read::CHECK_CLASSES;
