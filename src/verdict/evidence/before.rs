//! The standby that this same board showed earlier in the log.

use crate::stats::moments::Moments;
use crate::verdict::align::Step;
use crate::verdict::attempts::RISES_S;
use crate::verdict::phases::{EDGE_READINGS, without_zero};
use crate::verdict::seen::Seen;

/// What the board drew as it stood by, before its first start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Before {
    pub amps: f64,
    /// Mean current over a rest alike that is certainly not nothing, in amps.
    pub certain_a: f64,
}

impl Before {
    /// Whether the supply reads this standby well: far above its zero and what its readings scatter by.
    pub(super) fn is_read_well(&self) -> bool {
        /// Times what is certainly not nothing.
        const WELL: f64 = 2.0;
        self.amps > WELL * self.certain_a
    }
}

/// The rest before the first start, without the rise of the feed and the edge of the wake; `None` where there was none,
/// or too little of it was read.
pub(super) fn stood_by(seen: &Seen, after: &Step) -> Option<Before> {
    /// Fewer readings show no standby.
    const READINGS: usize = 4;
    /// Standard deviations that hardly any mean is off by.
    const CERTAIN: f64 = 3.0;
    /// Share of a step that rounding leaves, however many readings are averaged.
    const ROUNDING_LEFT: f64 = 0.25;
    let run = &seen.analysis.run;
    let earlier = seen.analysis.path.iter().filter(|step| step.stretch.end_s <= after.stretch.start_s);
    let rest =
        earlier.take_while(|step| step.state.stage().is_none()).filter(|step| step.state.is_rest()).last()?;
    let from = rest.stretch.start_s.max(run.start_s + RISES_S);
    let to = rest.stretch.end_s - EDGE_READINGS * seen.readout.update_s();
    let read = seen.trace.amps().get(seen.samples_between(from, to)).filter(|read| read.len() >= READINGS)?;
    let moments: Moments = read.iter().copied().collect();
    #[expect(clippy::cast_precision_loss, reason = "a count of readings")]
    let averaged = moments.deviation()? / (read.len() as f64).sqrt();
    let (zero_a, step_a) = (seen.readout.zero_a, seen.analysis.step_a);
    Some(Before {
        amps: without_zero(moments.mean()?, zero_a),
        certain_a: CERTAIN * averaged.hypot(ROUNDING_LEFT * step_a) + zero_a.abs(),
    })
}

/// `; it stood by at 33 mA before`, of a board that draws less than good boards do, and less than it did.
pub(super) fn in_words(seen: &Seen, after: &Step) -> String {
    let now = seen.level(after).amps;
    let before = stood_by(seen, after).filter(|before| before.is_read_well() && now < before.amps);
    let said = before.map(|before| seen.amps(before.amps)).filter(|before| *before != seen.amps(now));
    said.map_or_else(String::new, |before| format!("; it stood by at {before} before"))
}
