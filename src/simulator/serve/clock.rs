//! Real time and bench time.

use std::time::{Duration, Instant};

/// Bench time, which stands still until it is started and then runs `speed` times faster than real time.
#[derive(Debug, Clone, Copy)]
pub(super) struct Clock {
    zero: Option<Instant>,
    speed: f64,
}

impl Clock {
    pub(super) fn new(speed: f64) -> Self {
        Self { zero: None, speed }
    }

    /// Starts it if it stands still; `true` if it did.
    pub(super) fn start(&mut self, now: Instant) -> bool {
        let stood = self.zero.is_none();
        self.zero.get_or_insert(now);
        stood
    }

    /// Puts it back to zero, standing still.
    pub(super) fn rewind(&mut self) {
        self.zero = None;
    }

    /// Bench seconds at that moment.
    pub(super) fn bench_s(&self, now: Instant) -> f64 {
        self.zero.map_or(0.0, |zero| now.saturating_duration_since(zero).as_secs_f64() * self.speed)
    }

    /// How long that many bench seconds really take.
    pub(super) fn real(&self, bench_s: f64) -> Duration {
        Duration::from_secs_f64((bench_s / self.speed).max(0.0))
    }
}

/// Asks the system to wake this thread as exactly as it can: by default Linux lets a sleep of an ordinary thread run over
/// by 50 µs, which at 115200 baud is half a byte.
pub(super) fn be_punctual() {
    // A system that will not is only a little late.
    #[cfg(target_os = "linux")]
    let _ = rustix::thread::set_current_timer_slack(std::num::NonZeroU64::new(1));
}
