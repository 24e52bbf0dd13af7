//! Reference profiles: what known-good boards of one model do.
//!
//! A [`Profile`] is learned from the logs of known-good boards, kept as TOML that a person reads and edits, and
//! compared with what a sick board did.

mod bounded;
mod capture;
mod compare;
mod course;
mod document;
mod envelope;
mod error;
mod follow;
mod learn;
mod measure;
mod model;
mod power_law;
mod read;
mod write;

pub use capture::{Capture, Unfit};
pub use compare::{GAIN_ERROR, Outside};
pub use envelope::{CONFIDENCE, CONTENT};
pub use error::{ProfileError, ProfileFault, ProfileProblem};
pub use learn::{LearnError, Learning, POINT_NOT_STATED, Request, learn, update};
pub use measure::{Readback, edge_s, measure};
pub use model::{
    Check, Envelope, Feed, Learned, PathSection, PhaseReference, Profile, Quantity, SourceLog, StageMeasure,
};
pub use read::CHECK_CLASSES;
