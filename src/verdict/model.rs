//! What is expected of the board, in the form that the alignment works with: from its profile, or a guess by kind.

use super::kind::Kind;
use crate::reference::{Envelope, PhaseReference, Profile};
use crate::stats::robust;
use crate::units::Volts;

/// Envelopes reach about three standard deviations of single boards: k(5) = 5.1 for a handful of boards, 2.5 for a
/// great many (two-sided tolerance factors of ISO 16269-6 at 0.95/0.95).
const ENVELOPE_SDS: f64 = 3.0;

/// Boards of one model, warm or cold, at either end of the feed, do not agree better than this (standard deviation of
/// the log of power; common practice, no source).
pub(super) const LEAST_LEVEL_SD: f64 = 0.08;

/// ... nor in how long a stage takes (of the log of duration).
const LEAST_DURATION_SD: f64 = 0.15;

/// Standard deviation of the log of the running level between boards and uses of them (common practice, no source).
const RUNNING_LEVEL_SD: f64 = 0.25;

/// Least spread of power within a stage, relative to its mean: converters hunt and supplies round.
const LEAST_ACTIVITY: f64 = 0.03;

/// Share of the first stage's power up to which a board without a known standby counts as not started.
const NOT_STARTED_SHARE: f64 = 0.6;

/// How sharp that bound is, as a standard deviation of the log of power: the first stage scatters by
/// [`LEAST_LEVEL_SD`] between boards, on the side of the reference and of this board.
const NOT_STARTED_SD: f64 = 0.15;

/// Share of the hungriest stage's mean power from which a load is `of boot size`.
const BOOT_SIZE_SHARE: f64 = 0.6;

/// Share of it up to which a load is `far below boot`.
const FAR_BELOW_BOOT_SHARE: f64 = 0.35;

/// What one stage is expected to do.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Stage {
    pub name: String,
    /// Typical mean power, in watts.
    pub watts: f64,
    /// Standard deviation of its log between boards.
    pub sd: f64,
    /// Expected standard deviation of power within the stage, relative to the mean.
    pub activity: f64,
    /// Log of its usual peak over its mean: how far its pulses go.
    pub headroom: f64,
    /// How long it lasts; `None` where it has no end of its own.
    pub duration: Option<Span>,
}

/// How long a stage lasts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Span {
    pub low: f64,
    pub typical: f64,
    pub high: f64,
    /// Standard deviation of the log.
    pub sd: f64,
}

/// What a board draws before it is woken.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Standby {
    pub name: String,
    /// Typical power, in watts; `None` where only an upper bound is known.
    pub watts: Option<f64>,
    /// Upper bound of good boards, in watts.
    pub high: f64,
    /// Highest short pulse of a good board that waits, in watts.
    pub peak: f64,
    /// Standard deviation of the log between boards.
    pub sd: f64,
    /// Whether it lasts until a person presses the button.
    pub waits: bool,
    /// The longest that good boards stand by before they start by themselves, in seconds; `None` if they do not.
    pub longest_s: Option<f64>,
}

/// What is expected of the board.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Model {
    pub standby: Standby,
    pub stages: Vec<Stage>,
    /// Power from which a load is of boot size, in watts.
    pub boot_size_w: f64,
    /// Power up to which a load is far below boot, in watts.
    pub far_below_w: f64,
    /// Power that the supply must be able to give for a boot, in watts, if known.
    pub need_w: Option<f64>,
    /// Usual peak of a boot, in watts, if known.
    pub peak_w: Option<f64>,
    /// Whether this comes from a profile of this very board model.
    pub of_this_board: bool,
}

impl Model {
    /// What `profile` expects at `feed` volts.
    pub(super) fn from_profile(profile: &Profile, feed: Volts) -> Self {
        let phases: Vec<PhaseReference> = profile.phases.iter().map(|p| at_feed(profile, p, feed)).collect();
        let wait = phases.first().filter(|_| profile.standby().is_some());
        let stages: Vec<Stage> = phases.iter().skip(usize::from(wait.is_some())).map(stage).collect();
        let hungriest = phases.iter().max_by(|a, b| power(a).total_cmp(&power(b)));
        let hungriest_w = hungriest.map_or(1.0, power);
        let first_w = stages.first().map_or(hungriest_w, |stage| stage.watts);
        Self {
            standby: standby(wait, first_w),
            boot_size_w: hungriest_w * BOOT_SIZE_SHARE,
            far_below_w: hungriest_w * FAR_BELOW_BOOT_SHARE,
            // A limit between the mean and the peak of the hungriest stage starves it now and then.
            need_w: hungriest.map(|phase| (power(phase) * phase.peak_power.typical.max(power(phase))).sqrt()),
            peak_w: hungriest
                .map(|phase| phase.peak_power.typical.max(power(phase)).max(boots_peak(profile, feed))),
            of_this_board: true,
            stages,
        }
        .with_free_running_level()
    }

    /// What a running board draws depends on what its software does; a departure from the usual is reported as such
    /// and does not make it another stage.
    fn with_free_running_level(mut self) -> Self {
        if let Some(last) = self.stages.last_mut() {
            last.sd = last.sd.max(RUNNING_LEVEL_SD);
        }
        self
    }

    /// What is commonly seen of boards of that kind: a standby, here of no more than `rest_w` watts, and something awake
    /// above it.
    pub(super) fn from_kind(kind: &Kind, rest_w: f64) -> Self {
        let high = kind.standby_high_w.min(rest_w);
        let standby = Standby {
            name: "standby".into(),
            watts: None,
            high,
            peak: high,
            sd: 0.5,
            waits: kind.waits,
            longest_s: None,
        };
        let awake = Stage {
            name: "awake".into(),
            watts: (kind.standby_high_w * kind.boot_high_w).sqrt(),
            // Flat over the whole range between standby and the hungriest board of the kind.
            sd: (kind.boot_high_w / kind.standby_high_w).ln() / 2.0,
            activity: 0.2,
            headroom: 0.5,
            duration: None,
        };
        Self {
            standby,
            stages: vec![awake],
            boot_size_w: kind.boot_high_w,
            far_below_w: kind.boot_high_w * FAR_BELOW_BOOT_SHARE / BOOT_SIZE_SHARE,
            need_w: None,
            peak_w: None,
            of_this_board: false,
        }
    }

    /// The stage that good boards are usually in `after` seconds from their wake; `None` without a profile.
    pub(super) fn stage_after(&self, after: f64) -> Option<usize> {
        let mut left = after;
        let still_in = |stage: &Stage| {
            let Some(span) = stage.duration else { return true };
            left -= span.typical;
            left < 0.0
        };
        self.stages.iter().position(still_in).filter(|_| self.of_this_board)
    }

    /// The first stage that some good board may still be in `after` seconds from its wake.
    pub(super) fn earliest_after(&self, after: f64) -> usize {
        let mut left = after;
        let still_in = |stage: &Stage| {
            let Some(span) = stage.duration else { return true };
            left -= span.high;
            left < 0.0
        };
        self.stages.iter().position(still_in).unwrap_or_else(|| self.last())
    }

    /// Whether good boards of this model show no standby: they start with their feed.
    pub(super) fn starts_at_once(&self) -> bool {
        self.of_this_board && self.standby.watts.is_none()
    }

    /// Whether a stage before the running level is at the level of the one before it: no step of a log shows where it begins.
    pub(super) fn is_like_the_one_before(&self, stage: usize) -> bool {
        /// Levels that lie further apart, as a log, are told apart (by judgement: boards of a model differ by as much).
        const ALIKE: f64 = 0.1;
        let Some(before) = stage.checked_sub(1).filter(|_| self.of_this_board && stage < self.last()) else {
            return false;
        };
        (self.stages[stage].watts / self.stages[before].watts).ln().abs() < ALIKE
    }

    /// Index of the running level.
    pub(super) fn last(&self) -> usize {
        self.stages.len().saturating_sub(1)
    }
}

/// What the usual capture of the reference goes up to at `feed` volts, in watts; 0 if none is kept.
fn boots_peak(profile: &Profile, feed: Volts) -> f64 {
    robust::median(&mut profile.boot_peaks(feed)).unwrap_or(0.0)
}

/// The stage as it is at `feed` volts: a converter's power stays, a resistive load's goes with the volts.
fn at_feed(profile: &Profile, phase: &PhaseReference, feed: Volts) -> PhaseReference {
    let factor = profile.power_factor(phase, feed);
    let scaled =
        |e: Envelope| Envelope { low: e.low * factor, typical: e.typical * factor, high: e.high * factor };
    PhaseReference {
        mean_power: scaled(phase.mean_power),
        peak_power: scaled(phase.peak_power),
        activity: scaled(phase.activity),
        ..phase.clone()
    }
}

fn power(phase: &PhaseReference) -> f64 {
    phase.mean_power.typical
}

fn log_sd(envelope: &Envelope, least: f64) -> f64 {
    let low = envelope.low.max(envelope.typical * 1e-3).max(f64::MIN_POSITIVE);
    let width = (envelope.high.max(low) / low).ln() / 2.0 / ENVELOPE_SDS;
    if width.is_finite() { width.max(least) } else { least }
}

fn stage(phase: &PhaseReference) -> Stage {
    let watts = power(phase).max(1e-9);
    let headroom = (phase.peak_power.typical.max(watts) / watts).ln();
    let blips = headroom / 4.0;
    Stage {
        name: phase.name.clone(),
        watts,
        sd: log_sd(&phase.mean_power, LEAST_LEVEL_SD),
        headroom,
        activity: (phase.activity.typical / watts).max(blips).max(LEAST_ACTIVITY),
        duration: phase.duration.as_ref().map(|envelope| Span {
            low: envelope.low,
            typical: envelope.typical.max(1e-3),
            high: envelope.high,
            sd: log_sd(envelope, LEAST_DURATION_SD),
        }),
    }
}

/// How high pulses of a standby may go that good boards leave by themselves before the next one comes: as high as what counts as
/// not started where no standby is known.
fn unseen_pulses(phase: &PhaseReference, first_stage_w: f64) -> f64 {
    if phase.waits_for_person { 0.0 } else { first_stage_w * NOT_STARTED_SHARE }
}

/// How high pulses of a standby may go: as high as those of good boards. Where few or slow logs leave that open, and what they
/// do show lies well below a start, no higher than half way to it, as a log.
fn pulses(phase: &PhaseReference, first_stage_w: f64) -> f64 {
    /// Share of the first stage that is well below it (by judgement): pulses of some standbys go as high as a start.
    const WELL_BELOW: f64 = 0.6;
    let usual = phase.peak_power.typical.max(power(phase));
    let bound =
        if usual < WELL_BELOW * first_stage_w { (usual * first_stage_w).sqrt() } else { f64::INFINITY };
    phase.peak_power.high.min(bound).max(phase.mean_power.high).max(unseen_pulses(phase, first_stage_w))
}

fn standby(wait: Option<&PhaseReference>, first_stage_w: f64) -> Standby {
    match wait {
        Some(phase) => Standby {
            name: phase.name.clone(),
            watts: Some(power(phase)),
            high: phase.mean_power.high,
            peak: pulses(phase, first_stage_w),
            sd: log_sd(&phase.mean_power, LEAST_LEVEL_SD),
            waits: phase.waits_for_person,
            longest_s: phase.duration.filter(|_| !phase.waits_for_person).map(|span| span.high),
        },
        None => Standby {
            name: "standby".into(),
            watts: None,
            high: first_stage_w * NOT_STARTED_SHARE,
            peak: first_stage_w * NOT_STARTED_SHARE,
            sd: NOT_STARTED_SD,
            waits: false,
            longest_s: None,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pulses_of_a_standby_that_few_logs_leave_open_stay_below_a_start() {
        use crate::verdict::tests::profile;
        let mut standby = profile().phases[0].clone();
        (standby.mean_power.typical, standby.mean_power.high) = (0.7, 1.0);
        (standby.peak_power.typical, standby.peak_power.high) = (0.75, 1.8);
        // Half way from 0.75 W to 1.75 W, as a log; never below what the standby itself may draw.
        assert!((pulses(&standby, 1.75) - (0.75_f64 * 1.75).sqrt()).abs() < 1e-9);
        assert!(pulses(&standby, 1.26) >= 1.0);
        // A standby whose pulses usually go nearly as high as a start.
        assert!((pulses(&standby, 1.0) - 1.8).abs() < 1e-9);
    }

    #[test]
    fn a_stage_is_over_for_certain_when_it_and_those_before_it_have_lasted_as_long_as_they_ever_do() {
        use crate::verdict::tests::{SET_V, profile};
        let model = Model::from_profile(&profile(), Volts::constant(SET_V));
        // Rails last up to 1.28 s, the loading after it up to 12.8 s.
        assert_eq!([0.5, 1.2, 1.4, 13.9, 14.2].map(|after| model.earliest_after(after)), [0, 0, 1, 1, 2]);
        assert_eq!(model.stage_after(1.0), Some(1), "usually it is over earlier");
    }

    #[test]
    fn a_boot_peaks_as_the_usual_capture_does_whichever_its_stage() {
        let profile =
            Profile::from_toml(include_str!("../../profiles/kiln-24.toml")).expect("a valid profile");
        let peaks = profile
            .learned
            .logs
            .iter()
            .map(|log| log.stages.iter().map(|stage| stage.peak_power).fold(0.0, f64::max));
        let (low, high) = crate::stats::extent(&peaks.collect::<Vec<f64>>()).expect("captures");
        let feed = profile.learned.feed.expect("the volts of the captures");
        let peak = Model::from_profile(&profile, feed).peak_w.expect("known");
        assert!((low..=high).contains(&boots_peak(&profile, feed)), "{low} {high}");
        assert!(peak >= boots_peak(&profile, feed), "{peak}");
    }
}
