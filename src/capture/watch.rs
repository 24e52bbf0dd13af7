//! Notices when somebody turns a knob, or the supply starts anew, while a run goes on.

use super::source::Settings;
use crate::trace::{EventKind, Mode, Sample};
use crate::units::{Amps, Volts};
use std::time::{Duration, Instant};

/// How often the supply is asked for its settings, real time.
const ASK_EVERY: Duration = Duration::from_secs(2);
/// The pause after it, in times of what it took: a hundredth of the wire goes into questions that are not readings.
const SHARE: u32 = 100;
/// The longest pause, so that a turned knob shows soon on a slow supply as well.
const ASK_AT_LEAST_EVERY: Duration = Duration::from_secs(10);
/// Share of the set volts from which the feed counts as there, for telling that the output went on or off.
const FEED_THERE: f64 = 0.5;
/// Relative difference of two read-back settings that is no turn of a knob.
const SAME: f64 = 1e-4;

/// What the supply is known to be set to, and when to ask again.
#[derive(Debug)]
pub(super) struct SettingsWatch {
    known: Settings,
    next: Instant,
    /// How long the last question took.
    cost: Duration,
    feed_there: Option<bool>,
    /// Whether the last reading said that the output is off.
    said_off: bool,
    /// Whether the last reading shows that the output was switched.
    switched: bool,
}

impl SettingsWatch {
    pub(super) fn new(known: Settings, now: Instant) -> Self {
        Self {
            known,
            next: now + ASK_EVERY,
            cost: Duration::ZERO,
            feed_there: known.output_on,
            said_off: false,
            switched: false,
        }
    }

    /// Whether to ask at `now`, given when the next reading is due at the latest (if it is).
    ///
    /// With a fixed rate the question waits for a pause that it fits in, but not for ever.
    pub(super) fn is_due(&self, now: Instant, before: Option<Instant>) -> bool {
        let fits = before.is_none_or(|before| now + self.cost + self.cost / 2 <= before);
        now >= self.next && (fits || now >= self.next + ASK_EVERY)
    }

    /// Something happened after which settings may differ: ask at once.
    pub(super) fn ask_soon(&mut self, now: Instant) {
        self.next = now;
    }

    /// Looks at a reading for signs that the output was switched.
    pub(super) fn saw(&mut self, sample: &Sample, now: Instant) {
        let there = match (sample.mode, self.known.volts) {
            (Mode::Off, _) => Some(false),
            (_, Some(set)) => Some(sample.volts.value() > set.value() * FEED_THERE),
            _ => None,
        };
        let came_or_went = there.is_some() && self.feed_there.is_some() && there != self.feed_there;
        // Into a short the output comes on without its volts.
        let left_off = self.said_off && sample.mode != Mode::Off;
        self.said_off = sample.mode == Mode::Off;
        self.switched = came_or_went || left_off;
        if self.switched {
            // A feed that comes and goes by itself must not take the wire from the readings.
            self.next = self.next.min(
                now.max(self.next.checked_sub(ASK_EVERY).map_or(now, |asked| asked + self.cost * SHARE)),
            );
        }
        self.feed_there = there.or(self.feed_there);
    }

    /// This program switched the output itself.
    pub(super) fn output_is(&mut self, on: bool) {
        self.known.output_on = Some(on);
    }

    /// Takes what the supply said between `asked` and `now`: what differs, and whether the last reading shows it.
    pub(super) fn took(&mut self, found: Settings, asked: Instant, now: Instant) -> Vec<(EventKind, bool)> {
        self.passed(asked, now);
        let known = self.known;
        self.known = Settings {
            volts: found.volts.or(known.volts),
            limit: found.limit.or(known.limit),
            output_on: found.output_on.or(known.output_on),
        };
        let volts = found.volts.filter(|v| differs(known.volts.map(Volts::value), v.value()));
        let limit = found.limit.filter(|a| differs(known.limit.map(Amps::value), a.value()));
        let output = found.output_on.filter(|on| known.output_on.is_some_and(|known| known != *on));
        let output = output.map(|on| if on { EventKind::OutputOn } else { EventKind::OutputOff });
        let seen = std::mem::take(&mut self.switched);
        [
            volts.map(|volts| (EventKind::SetVolts(volts), false)),
            limit.map(|limit| (EventKind::Limit(limit), false)),
            output.map(|output| (output, seen)),
        ]
        .into_iter()
        .flatten()
        .collect()
    }

    /// The question failed or was answered: when to ask again.
    pub(super) fn passed(&mut self, asked: Instant, now: Instant) {
        self.cost = now.saturating_duration_since(asked);
        self.next = now + (self.cost * SHARE).clamp(ASK_EVERY, ASK_AT_LEAST_EVERY);
    }
}

fn differs(known: Option<f64>, found: f64) -> bool {
    known.is_some_and(|known| (known - found).abs() > SAME * known.abs().max(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Seconds;

    fn known() -> Settings {
        Settings {
            volts: Some(Volts::constant(12.8)),
            limit: Some(Amps::constant(3.0)),
            output_on: Some(false),
        }
    }

    fn sample(volts: f64) -> Sample {
        Sample {
            time: Seconds::ZERO,
            volts: Volts::constant(volts),
            amps: Amps::ZERO,
            mode: Mode::Unknown,
            span: None,
        }
    }

    #[test]
    fn a_turned_knob_is_an_event_and_rounding_is_none() {
        let now = Instant::now();
        let mut watch = SettingsWatch::new(known(), now);
        let found = Settings { volts: Some(Volts::constant(12.8001)), ..known() };
        assert_eq!(watch.took(found, now, now), []);
        let found = Settings { limit: Some(Amps::constant(1.0)), output_on: Some(true), ..known() };
        let expected = [(EventKind::Limit(Amps::constant(1.0)), false), (EventKind::OutputOn, false)];
        assert_eq!(watch.took(found, now, now), expected);
        assert_eq!(watch.took(found, now, now), [], "said once");
    }

    #[test]
    fn a_supply_that_cannot_say_raises_no_event() {
        let now = Instant::now();
        let mut watch = SettingsWatch::new(Settings::default(), now);
        assert_eq!(watch.took(known(), now, now), []);
        assert_eq!(watch.took(Settings::default(), now, now), []);
    }

    #[test]
    fn a_feed_that_appears_is_asked_about_at_once() {
        let now = Instant::now();
        let mut watch = SettingsWatch::new(known(), now);
        watch.saw(&sample(0.01), now);
        assert!(!watch.is_due(now, None));
        watch.saw(&sample(12.7), now);
        assert!(watch.is_due(now, None));
        let found = Settings { output_on: Some(true), ..known() };
        assert_eq!(watch.took(found, now, now), [(EventKind::OutputOn, true)]);
    }

    #[test]
    fn an_output_that_comes_on_into_a_short_is_asked_about_at_once() {
        let now = Instant::now();
        let mut watch = SettingsWatch::new(known(), now);
        watch.saw(&Sample { mode: Mode::Off, ..sample(0.01) }, now);
        assert!(!watch.is_due(now, None));
        watch.saw(&sample(0.4), now);
        assert!(watch.is_due(now, None));
        let found = Settings { output_on: Some(true), ..known() };
        assert_eq!(watch.took(found, now, now), [(EventKind::OutputOn, true)]);
    }

    #[test]
    fn asking_takes_a_small_share_of_the_wire() {
        let start = Instant::now();
        let mut watch = SettingsWatch::new(known(), start);
        let slow = Duration::from_millis(40);
        watch.took(known(), start, start + slow);
        assert!(!watch.is_due(start + slow * SHARE, None));
        assert!(watch.is_due(start + slow * (SHARE + 1), None));
        let slower = Duration::from_millis(400);
        watch.took(known(), start, start + slower);
        assert!(watch.is_due(start + slower + ASK_AT_LEAST_EVERY, None));
    }

    #[test]
    fn with_a_fixed_rate_it_waits_for_a_pause_but_not_for_ever() {
        let start = Instant::now();
        let mut watch = SettingsWatch::new(known(), start);
        watch.took(known(), start, start + Duration::from_millis(10));
        let later = start + ASK_EVERY + Duration::from_millis(11);
        assert!(!watch.is_due(later, Some(later + Duration::from_millis(5))));
        assert!(watch.is_due(later, Some(later + Duration::from_millis(20))));
        assert!(watch.is_due(later + ASK_EVERY, Some(later + ASK_EVERY)));
    }
}
