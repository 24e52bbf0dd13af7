//! How far the board got, on what evidence, and what that proves.
//!
//! The result of an analysis is a [`Finding`]: one document that the picture, the ticket and other programs are made
//! from.

mod finding;

pub use finding::{
    Class, Departure, Direction, Finding, Gap, LogFacts, Phase, ProfileFacts, RunnerUp, SectionProof,
    SectionState, Tool, Verdict,
};
