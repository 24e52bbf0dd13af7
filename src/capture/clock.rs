//! The clock of a run: monotonic, and the same for a bench made of numbers that runs faster than real time.

use super::Request;
use crate::units::Seconds;
use std::sync::Mutex;
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::{Duration, Instant};

/// Tells the time and waits; real at the bench, fake in tests.
pub trait Clock: Send + Sync {
    /// The monotonic time.
    fn now(&self) -> Instant;

    /// Waits until `deadline`, or until somebody asks for something.
    ///
    /// A sender that is gone asks to stop: a recording that nobody can stop any more must not go on.
    fn wait(&self, requests: &Receiver<Request>, deadline: Instant) -> Option<Request>;

    /// Lets `time` pass.
    fn pause(&self, time: Duration);
}

/// The machine's monotonic clock.
#[derive(Debug, Clone, Copy, Default)]
pub struct RealClock;

impl Clock for RealClock {
    fn now(&self) -> Instant {
        Instant::now()
    }

    fn wait(&self, requests: &Receiver<Request>, deadline: Instant) -> Option<Request> {
        match requests.recv_timeout(deadline.saturating_duration_since(Instant::now())) {
            Ok(request) => Some(request),
            Err(RecvTimeoutError::Timeout) => None,
            Err(RecvTimeoutError::Disconnected) => Some(Request::gone()),
        }
    }

    fn pause(&self, time: Duration) {
        std::thread::sleep(time);
    }
}

/// A clock that moves only when told: by a wait, or by a fake device that takes its time.
#[derive(Debug)]
pub struct FakeClock(Mutex<Instant>);

impl Default for FakeClock {
    fn default() -> Self {
        Self(Mutex::new(Instant::now()))
    }
}

impl FakeClock {
    /// Moves the clock on.
    ///
    /// # Panics
    /// If another thread panicked while it moved the clock.
    pub fn advance(&self, by: Duration) {
        *self.0.lock().expect("no thread panics while it holds the clock") += by;
    }
}

impl Clock for FakeClock {
    fn now(&self) -> Instant {
        *self.0.lock().expect("no thread panics while it holds the clock")
    }

    fn wait(&self, requests: &Receiver<Request>, deadline: Instant) -> Option<Request> {
        if let Ok(request) = requests.try_recv() {
            return Some(request);
        }
        let mut now = self.0.lock().expect("no thread panics while it holds the clock");
        *now = deadline.max(*now);
        None
    }

    fn pause(&self, time: Duration) {
        self.advance(time);
    }
}

/// How the log's seconds follow from the monotonic clock: from `origin` on, `speed` log seconds a real second.
///
/// `speed` is 1 at a real bench; a simulated bench may run faster, and the log is in its seconds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TimeBase {
    origin: Instant,
    speed: f64,
}

/// Ticks of log time in a second: stamps are kept to the microsecond, so that a live run and its log agree exactly.
const TICKS: f64 = 1e6;

impl TimeBase {
    /// Log time 0 at `origin`.
    ///
    /// # Panics
    /// Unless `speed` is positive and finite.
    #[must_use]
    pub fn new(origin: Instant, speed: f64) -> Self {
        assert!(speed.is_finite() && speed > 0.0, "a bench runs forward: speed {speed}");
        Self { origin, speed }
    }

    /// The log time of `instant`, to the microsecond; negative before the origin.
    #[must_use]
    pub fn at(&self, instant: Instant) -> Seconds {
        let after = instant.saturating_duration_since(self.origin).as_secs_f64();
        let before = self.origin.saturating_duration_since(instant).as_secs_f64();
        self.rounded((after - before) * self.speed)
    }

    /// The log's length of an exchange that took a real `duration`: rounded up, and by one tick more for the rounding
    /// of its stamp, so that the stamp is good to half of it.
    #[must_use]
    pub fn span(&self, duration: Duration) -> Seconds {
        Seconds::new(((duration.as_secs_f64() * self.speed * TICKS).ceil() + 1.0) / TICKS).unwrap_or_default()
    }

    /// `time` and one tick more.
    pub(super) fn tick_after(&self, time: Seconds) -> Seconds {
        self.rounded(time.value() + 1.0 / TICKS)
    }

    /// The real length of `seconds` of log time.
    #[must_use]
    pub fn real(&self, seconds: Seconds) -> Duration {
        Duration::try_from_secs_f64(seconds.value() / self.speed).unwrap_or(Duration::ZERO)
    }

    /// The instant at which the log reads `time`.
    #[must_use]
    pub fn instant(&self, time: Seconds) -> Instant {
        self.origin + self.real(time)
    }

    /// Whole microseconds: a division of a whole number by a million gives the same double as reading its decimals.
    #[expect(clippy::unused_self, reason = "reads as part of the conversion")]
    fn rounded(&self, seconds: f64) -> Seconds {
        Seconds::new((seconds * TICKS).round() / TICKS).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc::channel;

    #[test]
    fn a_faster_bench_has_longer_seconds() {
        let before = Instant::now();
        let origin = before + Duration::from_millis(250);
        let base = TimeBase::new(origin, 10.0);
        assert_eq!(base.at(origin + Duration::from_millis(250)), Seconds::constant(2.5));
        assert_eq!(base.at(before), Seconds::constant(-2.5));
        assert_eq!(base.real(Seconds::constant(30.0)), Duration::from_secs(3));
        assert_eq!(base.instant(Seconds::constant(2.5)), origin + Duration::from_millis(250));
    }

    #[test]
    fn stamps_survive_being_written_in_decimals() {
        let origin = Instant::now();
        let base = TimeBase::new(origin, 1.0);
        for nanos in (0..5_000_000_000_u64).step_by(7_654_321) {
            let time = base.at(origin + Duration::from_nanos(nanos)).value();
            assert_eq!(format!("{time:.6}").parse::<f64>().unwrap().to_bits(), time.to_bits());
        }
    }

    #[test]
    fn nobody_left_to_stop_a_run_stops_it() {
        let (sender, receiver) = channel();
        drop(sender);
        let request = RealClock.wait(&receiver, Instant::now() + Duration::from_secs(60));
        assert!(matches!(request, Some(Request::Stop(_))), "{request:?}");
    }

    #[test]
    fn a_fake_wait_takes_no_time() {
        let (_sender, receiver) = channel();
        let clock = FakeClock::default();
        let deadline = clock.now() + Duration::from_secs(3600);
        assert!(clock.wait(&receiver, deadline).is_none());
        assert_eq!(clock.now(), deadline);
    }
}
