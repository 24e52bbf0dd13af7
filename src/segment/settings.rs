//! What may be set, in physical units.

use crate::units::{Amps, Seconds};

/// What may be set. The default serves every supply and board.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Shortest stretch that counts as a stage of its own (coarse scale).
    pub shortest_phase: Seconds,
    /// Smallest change of current that matters; smaller ones are not reported even where they are significant.
    pub smallest_change: Amps,
}

impl Default for Settings {
    fn default() -> Self {
        Self { shortest_phase: Seconds::constant(0.4), smallest_change: Amps::constant(0.001) }
    }
}
