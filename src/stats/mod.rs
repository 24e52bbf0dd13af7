//! Robust scale, tolerance factors, online moments; each formula with its source.

pub mod moments;
pub mod robust;
pub mod tolerance;
