//! A lab supply made of numbers: what it puts out, and what it says that it puts out.

mod kind;
mod output;
mod protection;
mod readback;

pub use kind::{ReadbackKind, SupplyKind};
pub(super) use output::{Feed, Output, Setting};
pub(super) use protection::{Protection, Trip};
pub use readback::{Mode, Reading};
pub(super) use readback::{Moment, Readback};
