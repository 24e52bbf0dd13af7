//! Robust scale, tolerance factors, online moments; each formula with its source.

mod extent;
pub mod moments;
pub mod robust;
pub mod tolerance;

pub use extent::extent;
