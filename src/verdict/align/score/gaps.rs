//! How much of a stretch was not read.

use crate::verdict::piece::Stretch;
use crate::verdict::readout::Readout;

/// Running sums of the gaps, so that those within any stretch are had at once.
#[derive(Debug, Clone)]
pub(super) struct GapSums {
    /// Start and end of each gap in order, and the seconds of the gaps before it.
    gaps: Vec<(f64, f64, f64)>,
}

impl GapSums {
    pub(super) fn of(readout: &Readout) -> Self {
        let gaps = readout.gaps.iter().map(|gap| (gap.start_s.value(), gap.end_s.value()));
        let summed = gaps.scan(0.0, |sum, (start, end)| {
            let before = *sum;
            *sum += end - start;
            Some((start, end, before))
        });
        Self { gaps: summed.collect() }
    }

    /// Seconds of gaps before `time`.
    fn before(&self, time: f64) -> f64 {
        let begun = self.gaps.partition_point(|(start, _, _)| *start < time);
        begun.checked_sub(1).map_or(0.0, |last| {
            let (start, end, before) = self.gaps[last];
            before + end.min(time) - start
        })
    }

    /// Seconds of the stretch in which nothing was read.
    pub(super) fn within(&self, stretch: &Stretch) -> f64 {
        if self.gaps.is_empty() { 0.0 } else { self.before(stretch.end_s) - self.before(stretch.start_s) }
    }
}
