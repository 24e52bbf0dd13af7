//! The ticket folder: picture, log, finding, texts.

mod finding;

pub use finding::{FINDING_SCHEMA, finding_json, finding_schema};
