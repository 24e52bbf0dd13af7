//! Robust scale, tolerance factors, online moments; each formula with its source.

pub mod robust;
pub mod tolerance;
