//! Capture: the poll loop, its clock, stop rules and trips, and the journal on disk.
//!
//! A [`Session`] polls a [`Source`] on a thread of its own. Every understood answer becomes a sample, stamped with the
//! middle of its exchange on the monotonic clock; what was not understood becomes a `gap`, never a number. Rows go to
//! an append-only journal at once and are forced to the disk twice a second; if its place fails, the log moves on,
//! whole. A run that drives the output holds it to [`TripLevels`] and ends with the output off and confirmed, unless
//! it was told to leave it on.
//!
//! Nothing here knows of verdicts: whoever watches the [`Update`]s decides when a run is settled and asks to stop.

mod clock;
mod condition;
mod disk;
mod journal;
mod logbook;
mod names;
mod poll;
mod session;
mod slots;
mod source;
mod supply;
mod trips;
mod watch;

#[cfg(test)]
mod tests;

pub use clock::{Clock, FakeClock, RealClock, TimeBase};
pub use condition::{BadCondition, Condition};
pub use journal::{JournalNotice, Saved};
pub use names::{log_name, numbered};
pub use session::{DrivePlan, Ended, OutputState, Plan, Report, Request, Session, Tally, Update};
pub use slots::Pace;
pub use source::{Output, Reading, Settings, Source, Trouble, Unconfirmed};
pub use supply::{Elsewhere, GuardedSource, SupplySource, elsewhere, settings_of};
pub use trips::{Trip, TripLevels, USUAL_COLLAPSE};
