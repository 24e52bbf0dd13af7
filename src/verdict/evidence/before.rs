//! The standby that this same board showed earlier in the log.

use crate::stats::moments::Moments;
use crate::units::from_words;
use crate::verdict::align::{State, Step};
use crate::verdict::attempts::RISES_S;
use crate::verdict::phases::{EDGE_READINGS, without_zero};
use crate::verdict::seen::Seen;

/// What the board drew as it stood by, before its first start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Before {
    pub amps: f64,
    /// Mean current over a rest alike that is certainly not nothing, in amps.
    pub certain_a: f64,
    /// How well the mean is known beside another of the same log, which the supply's zero shifts alike, in amps.
    known_to_a: f64,
}

impl Before {
    /// Whether the supply reads this standby well: far above its zero and what its readings scatter by.
    pub(super) fn is_read_well(&self) -> bool {
        /// Times what is certainly not nothing.
        const WELL: f64 = 2.0;
        self.amps > WELL * self.certain_a
    }

    /// Whether the board draws another current now.
    fn differs_from(&self, now_a: f64) -> bool {
        /// Share of a standby that it changes by as the board warms or its housekeeping goes on (common practice, no source).
        const SAME: f64 = 0.15;
        (now_a - self.amps).abs() > (SAME * self.amps).max(self.known_to_a)
    }

    /// Whether the figures differ that are said of it and of what the board draws now, though the steps do not carry it.
    fn reads_as_another(&self, seen: &Seen, now_a: f64) -> bool {
        /// Share of a current up to which the same word does for both (by judgement).
        const SAME: f64 = 0.1;
        (now_a - self.amps).abs() > SAME * self.amps && seen.amps(now_a) != seen.amps(self.amps)
    }

    /// Whether what the board draws now is read as another current, be it the same standby or not.
    fn is_off(&self, now_a: f64) -> bool {
        /// Share of a current that nobody minds (by judgement).
        const LITTLE: f64 = 0.06;
        (now_a - self.amps).abs() > (LITTLE * self.amps).max(self.known_to_a)
    }
}

/// The rest before the first start, without the rise of the feed and the edge of the wake; `None` where there was none,
/// or too little of it was read.
pub(super) fn stood_by(seen: &Seen, after: &Step) -> Option<Before> {
    /// Fewer readings show no standby.
    const READINGS: usize = 4;
    /// ... and these last ones hold so many, however they fall.
    const LAST: f64 = 5.0;
    /// Capacitors are charged by then, in seconds from switch-on (common practice, no source).
    const CHARGED_S: f64 = 0.5;
    /// Standard deviations that hardly any mean is off by.
    const CERTAIN: f64 = 3.0;
    /// Share of a step that rounding leaves, however many readings are averaged.
    const ROUNDING_LEFT: f64 = 0.25;
    let run = &seen.analysis.run;
    let earlier = seen.analysis.path.iter().filter(|step| step.stretch.end_s <= after.stretch.start_s);
    let rest = earlier
        .take_while(|step| is_before_a_start(step.state))
        .filter(|step| step.state.is_rest())
        .last()?;
    let to = rest.stretch.end_s - EDGE_READINGS * seen.readout.update_s();
    // Of a rest that is over soon, the last readings.
    let soon = (run.start_s + RISES_S).min(to - LAST * seen.readout.update_s());
    let from = rest.stretch.start_s.max(run.start_s + CHARGED_S).max(soon);
    let read = seen.trace.amps().get(seen.samples_between(from, to)).filter(|read| read.len() >= READINGS)?;
    let moments: Moments = read.iter().copied().collect();
    #[expect(clippy::cast_precision_loss, reason = "a count of readings")]
    let averaged = moments.deviation()? / (read.len() as f64).sqrt();
    let (zero_a, step_a) = (seen.readout.zero_a, seen.analysis.step_a);
    let known_to_a = CERTAIN * averaged.hypot(ROUNDING_LEFT * step_a);
    Some(Before {
        amps: without_zero(moments.mean()?, zero_a),
        certain_a: known_to_a + zero_a.abs(),
        known_to_a,
    })
}

fn is_before_a_start(state: State) -> bool {
    state.is_rest() || state == State::Inrush
}

/// `, and 18 mA less than the 65 mA before its first start`, of a board that draws less than good boards do, and less than it
/// did; `; it stood by at 33 mA before`, where the readings do not carry the difference.
pub(super) fn less_than(seen: &Seen, after: &Step) -> String {
    let now_a = seen.level(after).amps;
    let Some(before) = stood_by(seen, after).filter(|before| now_a < before.amps) else {
        return String::new();
    };
    another(seen, after).map_or_else(
        || {
            said(seen, &before, now_a)
                .map_or_else(String::new, |said| format!("; it stood by at {said} before"))
        },
        |another| format!(", and {another}"),
    )
}

/// `5 mA less than the 12 mA before its first start`, if its rest is now another: what the supply's zero is off by is in both.
pub(super) fn another(seen: &Seen, after: &Step) -> Option<String> {
    let now_a = seen.level(after).amps;
    let differs = |before: &Before| before.differs_from(now_a) && is_carried(seen, before, now_a);
    let before = stood_by(seen, after).filter(differs)?;
    let said = said(seen, &before, now_a)?;
    let less = if now_a < before.amps { "less" } else { "more" };
    let by = difference(seen, before.amps, now_a);
    Some(format!("{by} {less} than the {said} before its first start"))
}

/// `about its standby again (14.6 mA before its first start)`, of a rest that is no other one, but plainly read as more or
/// less: who divides the figures finds it.
pub(super) fn about(seen: &Seen, after: &Step) -> Option<String> {
    let now_a = seen.level(after).amps;
    let before =
        stood_by(seen, after).filter(|before| before.is_off(now_a) && is_carried(seen, before, now_a))?;
    let said = said(seen, &before, now_a)?;
    Some(format!("about its standby again ({said} before its first start)"))
}

/// What a board is back at whose rest is no other one: its own standby, unless what it draws is read as another current, which
/// the steps of the readings do not carry.
pub(super) fn back(seen: &Seen, after: &Step) -> String {
    let now_a = seen.level(after).amps;
    match stood_by(seen, after) {
        Some(before) if before.is_off(now_a) => "it is back within good boards' standby".into(),
        Some(before) if before.reads_as_another(seen, now_a) => {
            format!("it is back near its standby ({} before)", seen.amps(before.amps))
        }
        _ => "it is back at its standby".into(),
    }
}

/// How much less a board draws at the end than as it stood by before its first start, where that is another rest.
pub(in crate::verdict) fn lost(seen: &Seen) -> Option<String> {
    let last = seen.analysis.path.last().filter(|last| last.state.is_rest())?;
    let now_a = seen.level(last).amps;
    let read_well = |before: &Before| {
        before.is_read_well() && before.differs_from(now_a) && is_carried(seen, before, now_a)
    };
    let before = stood_by(seen, last).filter(read_well).filter(|before| now_a < before.amps)?;
    Some(difference(seen, before.amps, now_a))
}

/// Whether the readings carry the difference to what the board draws now, however many of them are averaged.
fn is_carried(seen: &Seen, before: &Before, now_a: f64) -> bool {
    /// Steps of the readings: either mean may be rounded by half a step, and as much again is left to be said.
    const STEPS: f64 = 2.0;
    (now_a - before.amps).abs() >= STEPS * seen.analysis.step_a
}

/// The difference of two currents as they are said, so that it is that of their figures as well.
fn difference(seen: &Seen, one_a: f64, other_a: f64) -> String {
    let said = |amps: f64| from_words(&seen.amps(amps)).unwrap_or(amps);
    seen.amps((said(one_a) - said(other_a)).abs())
}

/// What a board without a known standby draws now beside what it drew before its first start: `as before its first start`,
/// `it drew 38 mA before its first start`; `None` where that was not read well.
pub(super) fn beside(seen: &Seen, after: &Step) -> Option<String> {
    let now_a = seen.level(after).amps;
    let before = stood_by(seen, after).filter(Before::is_read_well)?;
    let amps = seen.amps(before.amps);
    if !before.differs_from(now_a) {
        return Some(if amps == seen.amps(now_a) {
            "as before its first start".into()
        } else {
            format!("about as before its first start ({amps})")
        });
    }
    let less = if now_a < before.amps { "less" } else { "more" };
    Some(format!("{less} than the {amps} before its first start"))
}

/// The current before, if it was read well and is not said in the same figures as the one now.
fn said(seen: &Seen, before: &Before, now_a: f64) -> Option<String> {
    let said = Some(before).filter(|before| before.is_read_well()).map(|before| seen.amps(before.amps));
    said.filter(|said| *said != seen.amps(now_a))
}
