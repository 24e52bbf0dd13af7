//! The short check: about a volt at a small limit, for well under a second, before the full feed.
//!
//! A volt is below what turns on the silicon junctions of a powered-down board's converters, and a small limit keeps
//! the power in a short to a fraction of a watt. In current limit a resistance holds the volts at I·R from the start,
//! while a capacitor lets them rise by I/C volts a second: the slope tells the two apart.

use super::{Feed, Guard, GuardError, OffOutcome};
use crate::units::{Amps, Ohms, Seconds, Volts};
use std::time::{Duration, Instant};

/// Volts of the check: under the some 0.6 V a junction times two that conducting paths of a board need. Common practice
/// among board repairers, no source.
pub(super) const CHECK_VOLTS: Volts = Volts::constant(1.0);
/// Highest current limit of the check: 1 V · 0.5 A is half a watt into a dead short.
pub(super) const MOST_LIMIT: Amps = Amps::constant(0.5);
/// How long the output is on.
const USUAL_LENGTH: Duration = Duration::from_millis(700);
/// Rising by more than this share of the reading between the halves of the check is a capacitor still charging.
const RISING_SHARE: f64 = 0.05;
/// Fewer readings than this carry no slope.
const LEAST_READINGS: usize = 4;
/// Current below this share of the limit is no load to speak of: nothing to divide by.
const OPEN_SHARE: f64 = 0.02;

/// How to check.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShortCheck {
    /// Below this the board is not to be fed.
    pub threshold: Ohms,
    /// Current limit of the check, cut down to a harmless one if it is higher.
    pub limit: Amps,
    /// How long the output is on.
    pub length: Duration,
}

impl ShortCheck {
    /// The usual check with a threshold.
    #[must_use]
    pub fn with_threshold(threshold: Ohms) -> Self {
        Self { threshold, limit: MOST_LIMIT, length: USUAL_LENGTH }
    }
}

/// What hangs at the output.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Load {
    /// No current that this supply can tell from none.
    Open,
    /// A resistance.
    Resistance(Ohms),
    /// A capacitor still charging at the end: volts rise in current limit.
    Charging {
        /// What it reads as so far; it will be more.
        at_least: Ohms,
        /// Volts a second at the end.
        volts_per_second: f64,
    },
}

/// What the check found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShortCheckResult {
    /// The load.
    pub load: Load,
    /// Readings that it rests on.
    pub readings: usize,
    /// Whether the full feed may be switched on.
    pub may_go_on: bool,
}

/// One reading of the check.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Point {
    pub(super) time: Seconds,
    pub(super) volts: f64,
    pub(super) amps: f64,
}

impl Guard {
    /// Feeds about a volt at a small limit for well under a second and says what the board's resistance is. The output
    /// is off again when this returns; `go_on` is asked between readings, and ends the check when it says no.
    ///
    /// # Errors
    /// [`GuardError`] as for [`Guard::set_up`] and [`Guard::on`]; too few readings end in a load that may not be fed.
    pub fn short_check(
        &mut self,
        check: &ShortCheck,
        mut go_on: impl FnMut() -> bool,
    ) -> Result<Option<ShortCheckResult>, GuardError> {
        let feed = self.permission.feed();
        let volts = if feed.volts < CHECK_VOLTS { feed.volts } else { CHECK_VOLTS };
        let limit = [check.limit, MOST_LIMIT, feed.limit].into_iter().fold(feed.limit, smaller);
        self.set_feed(Feed { volts, limit })?;
        self.on()?;
        let points = self.watch(check.length, &mut go_on);
        if let OffOutcome::Unknown { why } = self.off() {
            return Err(GuardError::NotOff(why));
        }
        Ok(judge(&points?, limit, check.threshold))
    }

    fn watch(
        &mut self,
        length: Duration,
        go_on: &mut impl FnMut() -> bool,
    ) -> Result<Vec<Point>, GuardError> {
        let start = Instant::now();
        let mut points = Vec::new();
        while start.elapsed() < length && go_on() {
            let reading = self.supply.read()?;
            let time = reading.middle().saturating_duration_since(start).as_secs_f64();
            points.push(Point {
                time: Seconds::new(time).unwrap_or_default(),
                volts: reading.volts.value(),
                amps: reading.amps.value(),
            });
        }
        Ok(points)
    }
}

fn smaller(a: Amps, b: Amps) -> Amps {
    if b < a { b } else { a }
}

/// What the readings say; `None` if they are too few to say anything.
pub(super) fn judge(points: &[Point], limit: Amps, threshold: Ohms) -> Option<ShortCheckResult> {
    if points.len() < LEAST_READINGS {
        return None;
    }
    // The first readings may be older than the switching on: the second half is judged.
    let half = &points[points.len() / 2..];
    let (early, late) = half.split_at(half.len() / 2);
    let (early, late) = (mean(early), mean(late));
    let open = late.amps < limit.value() * OPEN_SHARE;
    let load = if open {
        Load::Open
    } else {
        let ohms = Ohms::new(late.volts.max(0.0) / late.amps).ok()?;
        let rise = late.volts - early.volts;
        let seconds = late.time.value() - early.time.value();
        if rise > late.volts.abs() * RISING_SHARE && seconds > 0.0 {
            Load::Charging { at_least: ohms, volts_per_second: rise / seconds }
        } else {
            Load::Resistance(ohms)
        }
    };
    let may_go_on = match load {
        Load::Open | Load::Charging { .. } => true,
        Load::Resistance(ohms) => ohms >= threshold,
    };
    Some(ShortCheckResult { load, readings: points.len(), may_go_on })
}

fn mean(points: &[Point]) -> Point {
    #[expect(clippy::cast_precision_loss, reason = "a handful of readings")]
    let count = points.len().max(1) as f64;
    let mean = |part: fn(&Point) -> f64| points.iter().map(part).sum::<f64>() / count;
    let time = Seconds::new(mean(|point| point.time.value())).unwrap_or_default();
    Point { time, volts: mean(|point| point.volts), amps: mean(|point| point.amps) }
}
