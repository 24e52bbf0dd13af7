//! What is drawn over a stretch of time, and the load that this is.

use crate::units::figures;
use crate::verdict::Phase;
use crate::verdict::piece::Stretch;

/// What is drawn over a stretch of time, as the phases of the finding have it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::verdict) struct Level {
    pub start_s: f64,
    pub end_s: f64,
    pub amps: f64,
    pub volts: f64,
    pub watts: f64,
}

/// A load, as the supply sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::verdict) struct Load {
    pub ohms: f64,
    pub amps: f64,
}

impl Load {
    /// Resistance of a pair of thin bench leads: two metres of copper of 0.5 mm² (0.0175 Ω mm²/m) and two clips.
    pub(in crate::verdict) const THIN_LEADS_OHM: f64 = 0.1;

    /// Ohms in words: three figures, for two readbacks with half a per cent of error each leave the third uncertain, and
    /// the uncertainty is said beside it.
    pub(in crate::verdict) fn words(ohms: f64) -> String {
        format!("{} Ω", figures(ohms, 3))
    }

    /// Ohms of a reckoning that rests on a round figure: one figure where it gives back what they were reckoned from, else
    /// two.
    pub(in crate::verdict) fn rough(ohms: f64) -> String {
        /// Share that a round figure may be off by.
        const CARRIES: f64 = 0.03;
        let one = figures(ohms, 1);
        let off = one.parse::<f64>().map_or(f64::INFINITY, |round| (round / ohms - 1.0).abs());
        if off <= CARRIES { format!("{one} Ω") } else { format!("{} Ω", figures(ohms, 2)) }
    }
}

impl Level {
    pub(super) fn of_phase(phase: &Phase) -> Self {
        Self {
            start_s: phase.start_s.value(),
            end_s: phase.end_s.value(),
            amps: phase.mean_a.value(),
            volts: phase.mean_v.value(),
            watts: phase.mean_w.value(),
        }
    }

    pub(super) fn of_stretch(stretch: &Stretch) -> Self {
        let Stretch { start_s, end_s, amps, volts, watts, .. } = *stretch;
        Self { start_s, end_s, amps, volts, watts }
    }

    pub(in crate::verdict) fn duration(&self) -> f64 {
        self.end_s - self.start_s
    }
}
