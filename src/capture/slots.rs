//! When the next reading is due.

use std::time::{Duration, Instant};

/// How fast to poll.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Pace {
    /// The next query goes out as soon as the last answer is in.
    #[default]
    AsFastAsTheWire,
    /// One reading every so long, real time, at absolute deadlines.
    Every(Duration),
}

/// The slots of a fixed pace: slot `k` is due at `start + k · period`, whatever earlier slots took.
///
/// A reading belongs to the slot in which its query goes out. It may go out late, but not after the next slot is due:
/// then its slot is missed.
#[derive(Debug, Clone, Copy)]
pub(super) struct Slots {
    start: Instant,
    period: f64,
    next: u64,
}

impl Slots {
    /// The first slot is due at `start`. A period under a nanosecond would be no pace at all.
    pub(super) fn new(start: Instant, period: Duration) -> Self {
        Self { start, period: period.as_secs_f64().max(1e-9), next: 0 }
    }

    /// When the next reading is due. Counted from the start, so that rounding does not add up.
    pub(super) fn due(&self) -> Instant {
        self.start + self.offset(self.next)
    }

    /// Takes the next slot at `now`: how many slots before it can no longer be kept, and when the first of them was
    /// due.
    pub(super) fn take(&mut self, now: Instant) -> Missed {
        let elapsed = now.saturating_duration_since(self.start).as_secs_f64();
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "a positive count of slots, far below 2^53"
        )]
        let current = (elapsed / self.period + SLOT_ROUNDING).floor() as u64;
        let missed = Missed { slots: current.saturating_sub(self.next), since: self.due() };
        self.next = self.next.max(current) + 1;
        missed
    }

    fn offset(&self, slot: u64) -> Duration {
        #[expect(clippy::cast_precision_loss, reason = "2^53 slots at 1 kHz are 285,000 years")]
        Duration::from_secs_f64(slot as f64 * self.period)
    }
}

/// Share of a slot by which a query sent exactly on time may seem early, from rounding to nanoseconds.
const SLOT_ROUNDING: f64 = 1e-6;

/// Slots that passed without a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Missed {
    /// How many.
    pub(super) slots: u64,
    /// When the first of them was due.
    pub(super) since: Instant,
}

#[cfg(test)]
mod tests {
    use super::*;

    const MILLI: Duration = Duration::from_millis(1);

    #[test]
    fn deadlines_are_absolute() {
        let start = Instant::now();
        let mut slots = Slots::new(start, Duration::from_secs_f64(1.0 / 3.0));
        for _ in 0..10_800 {
            slots.take(slots.due() + MILLI);
        }
        let drift = slots.due().saturating_duration_since(start + Duration::from_secs(3600));
        assert!(drift < Duration::from_micros(1), "an hour at 3 Hz drifts by {drift:?}");
    }

    #[test]
    fn a_late_reading_keeps_its_slot_and_one_later_still_misses_it() {
        let start = Instant::now();
        let mut slots = Slots::new(start, 100 * MILLI);
        assert_eq!(slots.take(start).slots, 0);
        assert_eq!(slots.take(start + 199 * MILLI).slots, 0, "late, but before slot 2 was due");
        let missed = slots.take(start + 450 * MILLI);
        assert_eq!(missed, Missed { slots: 2, since: start + 200 * MILLI });
        assert_eq!(slots.due(), start + 500 * MILLI);
    }
}
