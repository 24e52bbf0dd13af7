//! What may be set, in physical units.

use crate::trace::readback::SLOWEST_RENEWAL_S;
use crate::units::{Amps, Seconds};

/// What may be set. The default serves every supply and board.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Shortest stretch that counts as a stage of its own (coarse scale).
    pub shortest_phase: Seconds,
    /// Smallest change of current that matters; smaller ones are not reported even where they are significant.
    pub smallest_change: Amps,
    /// Coarsest step that a readback rounds current to. Readings that lie further apart than this are levels, and show
    /// no step: a quiet supply repeats the same two numbers for as long as a short lasts.
    pub coarsest_step: Amps,
    /// Longest time from one renewal of a readback to the next. Readings that repeat for longer are of a steady board.
    pub slowest_renewal: Seconds,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            shortest_phase: Seconds::constant(0.4),
            smallest_change: Amps::constant(0.001),
            // Three figures of a supply of some tens of amps, the coarsest at a repair bench (common practice, no source).
            coarsest_step: Amps::constant(0.1),
            slowest_renewal: Seconds::constant(SLOWEST_RENEWAL_S),
        }
    }
}
