//! Starts: every time that the board left its rest, and where each came to an end. Text and picture count them here.

use super::Attempt;
use super::align::{State, Step};
use super::engine::Analysis;
use crate::trace::Trace;
use crate::units::{Amps, Seconds, Volts};

/// The feed of a board that is switched on rises from nothing, which is no start and no giving way, in seconds.
pub(super) const RISES_S: f64 = 1.0;

/// The starts of one run, in order.
pub(super) fn attempts(trace: &Trace, analysis: &Analysis) -> Vec<Attempt> {
    let awake = |step: &Step| is_awake(analysis, step);
    let path = &analysis.path;
    let groups = path.chunk_by(|a, b| awake(a) == awake(b));
    let starts = groups.filter(|steps| steps.first().is_some_and(awake));
    let starts = starts.filter_map(|steps| attempt(trace, analysis, steps));
    without_blips(starts.fold(Vec::new(), joined))
}

/// Less rest than this does not part two starts, in seconds: supervisors wait half a second and more before they try
/// again (common practice, no source).
const LEAST_REST_S: f64 = 0.3;

/// A shorter excursion is the charge of a capacitor or the edge of a start, in seconds: a supervisor holds reset for a
/// tenth of a second and more before anything else happens (common practice, no source).
const LEAST_TRY_S: f64 = 0.1;

fn joined(mut starts: Vec<Attempt>, next: Attempt) -> Vec<Attempt> {
    match starts.last_mut() {
        Some(last) if next.start_s.value() - last.end_s.value() < LEAST_REST_S => {
            last.end_s = next.end_s;
            last.ended_in = next.ended_in.or(last.ended_in.take());
            last.peak_a = if next.peak_a.value() > last.peak_a.value() { next.peak_a } else { last.peak_a };
            last.lowest_v =
                if next.lowest_v.value() < last.lowest_v.value() { next.lowest_v } else { last.lowest_v };
            last.given_up = next.given_up;
        }
        _ => starts.push(next),
    }
    starts
}

/// Without excursions that are too short for a start, unless there is nothing else.
fn without_blips(mut starts: Vec<Attempt>) -> Vec<Attempt> {
    let lasts = |start: &Attempt| start.end_s.value() - start.start_s.value() >= LEAST_TRY_S;
    if starts.iter().any(lasts) {
        starts.retain(lasts);
    }
    starts
}

fn is_awake(analysis: &Analysis, step: &Step) -> bool {
    match step.state {
        State::Starved => step.stretch.start_s >= analysis.run.start_s + RISES_S,
        State::Surge | State::Burst => true,
        state => state.stage().is_some(),
    }
}

fn attempt(trace: &Trace, analysis: &Analysis, steps: &[Step]) -> Option<Attempt> {
    let (first, last) = (steps.first()?, steps.last()?);
    let samples =
        analysis.pieces.get(first.from)?.samples.start..analysis.pieces.get(last.to - 1)?.samples.end;
    // A supply's average may show the last peak, and the deepest sag, just after the end.
    let seen = samples.start..(samples.end + 1).min(analysis.run.samples.end);
    let peak_a = trace.amps().get(seen.clone())?.iter().copied().max_by(f64::total_cmp)?;
    let lowest_v = trace.volts().get(samples)?.iter().copied().min_by(f64::total_cmp)?;
    let stage = steps.iter().rev().find_map(|step| step.state.stage());
    let ended_in = stage.filter(|_| analysis.model.of_this_board);
    Some(Attempt {
        start_s: Seconds::new(first.stretch.start_s).ok()?,
        end_s: Seconds::new(last.stretch.end_s).ok()?,
        ended_in: ended_in.map(|stage| analysis.model.stages[stage].name.clone()),
        likely_in: None,
        peak_a: Amps::new(peak_a).ok()?,
        lowest_v: Volts::new(lowest_v).ok()?,
        given_up: last.to < analysis.pieces.len(),
    })
}

/// A quantity over several starts: mean and range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Arithmetic mean.
    pub mean: f64,
    /// Lowest.
    pub low: f64,
    /// Highest.
    pub high: f64,
}

impl Spread {
    fn of(values: impl Iterator<Item = f64> + Clone) -> Option<Self> {
        let count = u32::try_from(values.clone().count()).ok().filter(|count| *count > 0)?;
        let mean = values.clone().sum::<f64>() / f64::from(count);
        let low = values.clone().fold(f64::INFINITY, f64::min);
        Some(Self { mean, low, high: values.fold(f64::NEG_INFINITY, f64::max) })
    }
}

/// The starts that were given up, taken together: what text and picture say of a board that tries again and again.
#[derive(Debug, Clone, PartialEq)]
pub struct Tries {
    /// How many were given up; one that is still on when the log ends is not counted.
    pub count: usize,
    /// Whether one more was on when the log ended.
    pub one_is_on: bool,
    /// Start of the first, in seconds.
    pub first_start_s: f64,
    /// End of the first, in seconds.
    pub first_end_s: f64,
    /// Highest reading of the first, in amps.
    pub first_peak_a: f64,
    /// End of the last, in seconds.
    pub last_end_s: f64,
    /// From start to start, in seconds; `None` for one start.
    pub every_s: Option<Spread>,
    /// How long each lasted, in seconds.
    pub lasts_s: Spread,
    /// Highest reading of each, in amps.
    pub peak_a: Spread,
    /// Lowest volts of all.
    pub lowest_v: f64,
    /// The stage in which most of those ended that show one.
    pub ended_in: Option<String>,
    /// How many of them ended there.
    pub ended_there: usize,
    /// The same stage, or else the one that time and level leave.
    pub likely_in: Option<String>,
}

impl Tries {
    /// Takes the starts of a finding together; `None` if none was given up.
    #[must_use]
    pub fn of(attempts: &[Attempt]) -> Option<Self> {
        let tries: Vec<&Attempt> = attempts.iter().filter(|attempt| attempt.given_up).collect();
        let (first, last) = (tries.first()?, tries.last()?);
        let starts = attempts.windows(2).map(|pair| pair[1].start_s.value() - pair[0].start_s.value());
        let (ended_in, ended_there) = most_common(&tries, |attempt| &attempt.ended_in);
        let (likely_in, _) = most_common(&tries, |attempt| &attempt.likely_in);
        Some(Self {
            count: tries.len(),
            one_is_on: tries.len() < attempts.len(),
            first_start_s: first.start_s.value(),
            first_end_s: first.end_s.value(),
            first_peak_a: first.peak_a.value(),
            last_end_s: last.end_s.value(),
            every_s: Spread::of(starts),
            lasts_s: Spread::of(tries.iter().map(|a| a.end_s.value() - a.start_s.value()))?,
            peak_a: Spread::of(tries.iter().map(|attempt| attempt.peak_a.value()))?,
            lowest_v: tries.iter().map(|attempt| attempt.lowest_v.value()).fold(f64::INFINITY, f64::min),
            ended_in,
            ended_there,
            likely_in,
        })
    }
}

/// The stage in which most of the tries ended that show one, the later one of a draw, and how many did.
fn most_common(tries: &[&Attempt], stage: impl Fn(&Attempt) -> &Option<String>) -> (Option<String>, usize) {
    let count = |of: &Option<String>| tries.iter().filter(|other| stage(other) == of).count();
    let told = tries.iter().filter(|attempt| stage(attempt).is_some());
    let most = told.max_by_key(|attempt| count(stage(attempt)));
    most.map_or((None, 0), |attempt| (stage(attempt).clone(), count(stage(attempt))))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn start(from: f64, to: f64, stage: Option<&str>, given_up: bool) -> Attempt {
        Attempt {
            start_s: Seconds::constant(from),
            end_s: Seconds::constant(to),
            ended_in: stage.map(Into::into),
            likely_in: stage.map(Into::into),
            peak_a: Amps::constant(1.0 + from / 10.0),
            lowest_v: Volts::constant(12.0),
            given_up,
        }
    }

    #[test]
    fn a_start_that_is_still_on_is_no_try_but_tells_the_period() {
        let all = [
            start(1.0, 2.0, Some("rails"), true),
            start(4.0, 5.2, Some("firmware"), true),
            start(8.0, 9.0, Some("firmware"), true),
            start(11.0, 11.5, None, false),
        ];
        let tries = Tries::of(&all).expect("three tries");
        assert_eq!((tries.count, tries.one_is_on), (3, true));
        assert_eq!((tries.ended_in.as_deref(), tries.ended_there), (Some("firmware"), 2));
        let every = tries.every_s.expect("a period");
        assert!((every.low - 3.0).abs() < 1e-9 && (every.high - 4.0).abs() < 1e-9, "{every:?}");
        assert!((tries.lasts_s.high - 1.2).abs() < 1e-9 && (tries.peak_a.high - 1.8).abs() < 1e-9);
    }

    #[test]
    fn a_dip_parts_no_start_and_an_edge_is_none() {
        let all = [
            start(1.0, 1.02, None, true),
            start(1.5, 2.5, Some("rails"), true),
            start(2.6, 4.0, None, true),
            start(6.0, 7.0, Some("rails"), false),
        ];
        let starts = without_blips(all.into_iter().fold(Vec::new(), joined));
        let spans: Vec<(f64, f64)> = starts.iter().map(|s| (s.start_s.value(), s.end_s.value())).collect();
        assert_eq!(spans, [(1.5, 4.0), (6.0, 7.0)]);
        assert_eq!(starts[0].ended_in.as_deref(), Some("rails"));
        assert!(starts[0].given_up && !starts[1].given_up);
        assert_eq!(without_blips(vec![start(1.0, 1.02, None, true)]).len(), 1, "nothing else to count");
    }

    #[test]
    fn a_board_that_stays_on_gave_up_nothing() {
        assert_eq!(Tries::of(&[start(1.0, 9.0, Some("idle"), false)]), None);
        assert_eq!(Tries::of(&[]), None);
    }

    #[test]
    fn one_try_has_no_period() {
        let tries = Tries::of(&[start(1.0, 2.0, None, true)]).expect("a try");
        assert_eq!((tries.count, tries.every_s, tries.ended_in), (1, None, None));
    }

    #[test]
    fn a_try_that_shows_no_stage_outvotes_none_that_does() {
        let all =
            [start(1.0, 2.0, None, true), start(4.0, 5.0, None, true), start(7.0, 8.0, Some("rails"), true)];
        let tries = Tries::of(&all).expect("tries");
        assert_eq!((tries.ended_in.as_deref(), tries.ended_there), (Some("rails"), 1));
    }
}
