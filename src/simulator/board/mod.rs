//! A board made of numbers: what it is, what is wrong with it, and what it draws from moment to moment.

mod case;
mod load;
mod machine;
mod model;

pub use case::{Alteration, Case};
pub use machine::Board;
pub(super) use machine::Demand;
pub use model::{BoardModel, ModelError, Wake};
