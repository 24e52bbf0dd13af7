//! Starts: every time that the board left its rest, and where each came to an end. Text and picture count them here.

mod at_rest;
mod begins;
mod gaps;
mod rise;
mod stage;
mod tail;

use super::align::{State, Step};
use super::engine::Analysis;
use super::phases::{EDGE_READINGS, without_zero};
use super::readout::Readout;
use super::seen::STEADY_SHARE;
use super::{Attempt, Class, Gap};
use crate::stats::{extent, robust};
use crate::trace::Trace;
use crate::units::{Amps, Seconds, Volts, mean_time_in_steps};
use std::ops::Range;

pub(super) use begins::first_stage;
pub(super) use gaps::hidden_in_gaps;
use gaps::{in_a_gap, parted_by_gaps};

/// The feed of a board that is switched on rises from nothing, which is no start and no giving way, in seconds.
pub(crate) const RISES_S: f64 = 1.0;

/// The starts of one run, in order.
pub(super) fn attempts(trace: &Trace, analysis: &Analysis, readout: &Readout) -> Vec<Attempt> {
    let awake = |step: &Step| is_awake(analysis, step);
    let path = &analysis.path;
    let groups = path.chunk_by(|a, b| awake(a) == awake(b));
    let starts = groups.filter(|steps| steps.first().is_some_and(awake));
    let stays = starts.flat_map(|steps| stays(trace, analysis, readout, steps));
    let starts = stays.filter_map(|stay| attempt(trace, analysis, readout, &stay));
    let starts = without_the_rise(starts.fold(Vec::new(), joined), analysis.run.start_s + RISES_S);
    let undecided = analysis.class() == Class::Inconclusive;
    let starts =
        if undecided { without_a_charge(starts, analysis.run.start_s, readout.update_s()) } else { starts };
    let starts = at_rest::without_rests(without_blips(starts), trace, analysis, readout);
    let starts = parted_by_gaps(begins::with_the_feed(starts, trace, analysis, readout), &readout.gaps);
    let starts = starts.into_iter().map(|start| tail::without_its_tail(start, trace, readout)).collect();
    let starts = rise::with_their_rise(starts, trace, readout.update_s());
    match analysis.class() {
        Class::Cycling | Class::FeedLimited => {
            rise::with_one_just_begun(starts, trace, analysis.run.samples.end, readout.update_s())
        }
        _ => starts,
    }
}

/// Fewer starts show no usual length.
const FEW: usize = 3;

/// Less rest than this does not part two starts, in seconds: supervisors wait half a second and more before they try
/// again (common practice, no source).
pub(super) const LEAST_REST_S: f64 = 0.3;

/// What is longer at one level is no step of a rise, in seconds (by judgement).
const STEP_S: f64 = 2.0;

/// A shorter excursion is the charge of a capacitor or the edge of a start, in seconds: a supervisor holds reset for a
/// tenth of a second and more before anything else happens (common practice, no source).
pub(super) const LEAST_TRY_S: f64 = 0.1;

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

/// Without excursions that are too short for a start, unless there is nothing else, or all are about as short.
fn without_blips(mut starts: Vec<Attempt>) -> Vec<Attempt> {
    /// Share of the highest below which a start is the readback's own noise.
    const FAINT: f64 = 0.02;
    /// Share of the usual start from which a shorter one is as long and as high.
    const ALIKE: f64 = 0.5;
    let lasted = |start: &Attempt| start.end_s.value() - start.start_s.value();
    let median =
        |of: &dyn Fn(&Attempt) -> f64| robust::median(&mut starts.iter().map(of).collect::<Vec<f64>>());
    let usual = median(&lasted).zip(median(&|start| start.peak_a.value()));
    let alike = |start: &Attempt| {
        usual.is_some_and(|(seconds, amps)| {
            lasted(start) >= ALIKE * seconds && start.peak_a.value() >= ALIKE * amps
        })
    };
    if starts.iter().any(|start| lasted(start) >= LEAST_TRY_S) {
        starts.retain(|start| lasted(start) >= LEAST_TRY_S || alike(start));
    }
    let highest = starts.iter().map(|start| start.peak_a.value()).fold(0.0, f64::max);
    starts.retain(|start| start.peak_a.value() >= FAINT * highest);
    starts
}

/// Without a first start that is over by the time `risen_s` at which the feed has come up, if it is low beside the others:
/// that is what charges the capacitors.
fn without_the_rise(mut starts: Vec<Attempt>, risen_s: f64) -> Vec<Attempt> {
    /// Share of the usual peak that a start comes to (by judgement).
    const ALIKE: f64 = 0.5;
    let usual = robust::median(&mut starts.iter().map(|start| start.peak_a.value()).collect::<Vec<f64>>());
    let charges = |first: &Attempt| {
        first.end_s.value() <= risen_s && usual.is_some_and(|usual| first.peak_a.value() < ALIKE * usual)
    };
    if starts.len() >= FEW && starts.first().is_some_and(charges) {
        starts.remove(0);
    }
    starts
}

/// Without a first start of one reading as the feed comes up from `on_s`, of a board of which too little was read to tell
/// anything: that charges capacitors, and is no try.
fn without_a_charge(mut starts: Vec<Attempt>, on_s: f64, update_s: f64) -> Vec<Attempt> {
    /// Renewals of the readings that one of them is taken for (by judgement).
    const ONE: f64 = 1.5;
    let charges = |first: &Attempt| {
        let (start, end) = (first.start_s.value(), first.end_s.value());
        first.given_up && end <= on_s + RISES_S && end - start <= ONE * update_s
    };
    if starts.first().is_some_and(charges) {
        starts.remove(0);
    }
    starts
}

fn is_awake(analysis: &Analysis, step: &Step) -> bool {
    match step.state {
        State::Starved => step.stretch.start_s >= analysis.run.start_s + RISES_S,
        State::Surge | State::Burst => true,
        State::Excess => is_no_rest(analysis, step) || within_a_stage(analysis, step).is_some(),
        state => state.stage().is_some(),
    }
}

/// Whether a board that tries and gives up draws about as much as in a stage where no stage explains it, between two steps in which it
/// is awake: that is part of a try.
pub(super) fn is_no_rest(analysis: &Analysis, step: &Step) -> bool {
    let tries = matches!(analysis.class(), Class::LatchOff | Class::Cycling | Class::FeedLimited);
    let awake = |other: &Step| other.state.stage().is_some() || other.state == State::Surge;
    let besides = |other: &&Step| other.to == step.from || other.from == step.to;
    let between = analysis.path.iter().filter(besides).filter(|other| awake(other)).count() == 2;
    tries && between && step.stretch.watts >= AWAKE * lowest_stage(analysis)
}

/// The stage in which a board goes on that draws half of the lowest stage or more between two stays in it: a step of
/// its rise.
pub(super) fn within_a_stage(analysis: &Analysis, step: &Step) -> Option<usize> {
    let before = analysis.path.iter().find(|other| other.to == step.from)?.state.stage();
    let after = analysis.path.iter().find(|other| other.from == step.to)?.state.stage();
    let drawn = step.stretch.watts >= AWAKE * lowest_stage(analysis);
    before.filter(|_| {
        before == after && drawn && step.state == State::Excess && step.stretch.duration() < STEP_S
    })
}

/// One stay away from rest.
struct Stay<'a> {
    steps: &'a [Step],
    samples: Range<usize>,
    start_s: f64,
    end_s: f64,
    given_up: bool,
}

/// The stays within `steps`. A surge has no shape of its own and may hold several starts with the rests between them;
/// these, and what belongs to the rise of the feed, are taken out.
fn stays<'a>(trace: &Trace, analysis: &Analysis, readout: &Readout, steps: &'a [Step]) -> Vec<Stay<'a>> {
    let (Some(first), Some(last)) = (steps.first(), steps.last()) else { return Vec::new() };
    let pieces = &analysis.pieces;
    let (Some(from), Some(to)) = (pieces.get(first.from), pieces.get(last.to - 1)) else { return Vec::new() };
    let all = from.samples.start.max(analysis.run.risen)..to.samples.end;
    let down = if last.to < pieces.len() { None } else { down_at_the_end(trace, analysis, readout, &all) };
    let all = all.start..down.unwrap_or(all.end);
    let given_up = last.to < pieces.len() || down.is_some();
    let shapeless = steps.iter().any(|step| step.state == State::Surge);
    let rests = if shapeless { rests(trace, analysis, readout.zero_a, all.clone()) } else { Vec::new() };
    let rests = parting(rests, all.start, first.from > 0);
    if rests.is_empty() {
        let end_s = down.map_or(last.stretch.end_s, |down| trace.time()[down]);
        let start_s = first.stretch.start_s;
        return vec![Stay { steps, samples: all, start_s, end_s, given_up }];
    }
    let starts = std::iter::once(all.start).chain(rests.iter().map(|rest| rest.end));
    let until = rests.iter().map(|rest| rest.start).chain([all.end]);
    let spans = starts.zip(until).map(|(start, end)| start..end).filter(|span| !span.is_empty());
    let stay = |samples: Range<usize>| {
        let at_the_end = samples.end == all.end;
        let whole = at_the_end && down.is_none();
        let end_s = if whole { last.stretch.end_s } else { trace.time()[samples.end] };
        Stay {
            steps,
            start_s: trace.time()[samples.start],
            end_s,
            given_up: given_up || !at_the_end,
            samples,
        }
    };
    spans.map(stay).collect()
}

/// Those of the rests in a stay from sample `start` on that part two starts: one that `follows_a_rest` begins with its first
/// reading above that, however slowly it comes up; what begins with the run may be the feed's rise and the standby after it.
fn parting(mut rests: Vec<Range<usize>>, start: usize, follows_a_rest: bool) -> Vec<Range<usize>> {
    rests.retain(|rest| !follows_a_rest || rest.start > start);
    rests
}

/// Where a board that tries again and again is down, in the last readings of the log: too few to be a rest of their own. One
/// that is as low as a rest is enough.
fn down_at_the_end(
    trace: &Trace,
    analysis: &Analysis,
    readout: &Readout,
    samples: &Range<usize>,
) -> Option<usize> {
    /// One low reading may be an average over something else.
    const READINGS: usize = 2;
    analysis
        .model
        .standby
        .watts
        .filter(|_| matches!(analysis.class(), Class::Cycling | Class::FeedLimited))?;
    let high = rest_below(trace, analysis, readout.zero_a, samples);
    let watts = |i: usize| trace.volts()[i] * (trace.amps()[i] - readout.zero_a);
    let down = samples.clone().rev().take_while(|i| watts(*i) <= high).count();
    let at_rest = analysis.model.standby.high + analysis.leak_w + analysis.step_a / 2.0 * analysis.run.set_v;
    let rests = samples.clone().next_back().is_some_and(|last| watts(last) <= at_rest.min(high));
    let enough = down >= READINGS || (down > 0 && rests);
    (enough && down < samples.len()).then(|| samples.end - down)
}

/// Where the readings of `samples` show rest for long enough to part two starts.
fn rests(trace: &Trace, analysis: &Analysis, zero_a: f64, samples: Range<usize>) -> Vec<Range<usize>> {
    /// One low reading may be an average over something else.
    const READINGS: usize = 2;
    let high = rest_below(trace, analysis, zero_a, &samples);
    let is_rest = |i: &usize| trace.volts()[*i] * (trace.amps()[*i] - zero_a) <= high;
    let all: Vec<usize> = samples.collect();
    let parts = all.chunk_by(|a, b| is_rest(a) == is_rest(b)).filter(|part| is_rest(&part[0]));
    let rests = parts.map(|part| part[0]..part[part.len() - 1] + 1);
    let lasts = |rest: &Range<usize>| {
        trace.time()[rest.end.min(trace.len() - 1)] - trace.time()[rest.start] >= LEAST_REST_S
    };
    rests.filter(|rest| rest.len() >= READINGS && lasts(rest)).collect()
}

/// Watts up to which a reading of `samples` is down.
fn rest_below(trace: &Trace, analysis: &Analysis, zero_a: f64, samples: &Range<usize>) -> f64 {
    let watts = |i: usize| trace.volts()[i] * (trace.amps()[i] - zero_a);
    let top = samples.clone().map(watts).fold(0.0, f64::max);
    let standby = analysis.model.standby.high + analysis.leak_w;
    let half_a_step = analysis.step_a / 2.0 * analysis.run.set_v;
    down_below(standby, half_a_step, top, lowest_stage(analysis))
}

/// The same of a `standby` that may be read `half_a_step` too high, of readings that go up to `top`, and of a board whose
/// stages draw no less than the `lowest`, all in watts.
fn down_below(standby: f64, half_a_step: f64, top: f64, lowest: f64) -> f64 {
    /// Share of the way up below which a reading is down, whatever of an edge it may hold.
    const NEARLY_DOWN: f64 = 0.2;
    let down = (NEARLY_DOWN * top).max(standby + half_a_step);
    standby.max(down.min(AWAKE * lowest))
}

/// Share of the lowest stage above which a board is awake, however high a spike goes.
const AWAKE: f64 = 0.5;

/// Watts of the lowest stage of the board, where its stages are known.
fn lowest_stage(analysis: &Analysis) -> f64 {
    let stages = analysis.model.stages.iter().filter(|_| analysis.model.of_this_board);
    stages.map(|stage| stage.watts).fold(f64::INFINITY, f64::min)
}

fn attempt(trace: &Trace, analysis: &Analysis, readout: &Readout, stay: &Stay) -> Option<Attempt> {
    // A supply's average may show the last peak, and the deepest sag, just after the end.
    let seen = stay.samples.start..(stay.samples.end + 1).min(analysis.run.samples.end);
    let (_, peak_a) = extent(trace.amps().get(seen.clone())?)?;
    let (lowest_v, _) = extent(trace.volts().get(seen)?)?;
    Some(Attempt {
        start_s: Seconds::new(stay.start_s).ok()?,
        end_s: Seconds::new(stay.end_s).ok()?,
        ended_in: stage::ended_in(trace, analysis, readout, stay)
            .map(|stage| analysis.model.stages[stage].name.clone()),
        likely_in: None,
        earliest_in: None,
        peak_a: Amps::new(without_zero(peak_a, readout.zero_a)).ok()?,
        lowest_v: Volts::new(lowest_v).ok()?,
        given_up: stay.given_up,
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
    /// Whether such lengths are mostly edges, where a new value comes every `update_s`: from which level on a start is counted
    /// then makes a good part of its length.
    #[must_use]
    pub fn are_edges(&self, update_s: f64) -> bool {
        /// An edge takes one at either end.
        const RENEWALS: f64 = 2.0;
        self.mean < RENEWALS * update_s
    }

    fn of(values: impl Iterator<Item = f64> + Clone) -> Option<Self> {
        let count = u32::try_from(values.clone().count()).ok().filter(|count| *count > 0)?;
        let mean = values.clone().sum::<f64>() / f64::from(count);
        let low = values.clone().fold(f64::INFINITY, f64::min);
        Some(Self { mean, low, high: values.fold(f64::NEG_INFINITY, f64::max) })
    }
}

/// From start to start: the mean from the first to the last one, the range of those that were read; without what a gap of
/// the readings makes one of several.
fn every(attempts: &[Attempt], gaps: &[Gap]) -> Option<Spread> {
    let apart = |pair: &[Attempt]| pair[1].start_s.value() - pair[0].start_s.value();
    let was_read = |start: &Attempt| !in_a_gap(gaps, start.start_s.value(), start.start_s.value());
    let hidden = hidden_in_gaps(attempts, gaps);
    let pairs = || attempts.windows(2).zip(&hidden).filter(|(_, hidden)| **hidden == 0).map(|(pair, _)| pair);
    let all = Spread::of(pairs().map(apart))?;
    let read = pairs().filter(|pair| pair.iter().all(was_read)).map(apart);
    Some(Spread::of(read).map_or(all, |read| Spread { mean: all.mean, ..read }))
}

impl Attempt {
    fn touches_a_gap(&self, gaps: &[Gap]) -> bool {
        in_a_gap(gaps, self.start_s.value(), self.end_s.value())
    }

    /// Whether neither its start nor its end lies in one of the gaps of the readings.
    pub(super) fn ends_were_read(&self, gaps: &[Gap]) -> bool {
        ![self.start_s, self.end_s].into_iter().any(|at| in_a_gap(gaps, at.value(), at.value()))
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
    /// The same stage, or else the last one that time and level leave.
    pub likely_in: Option<String>,
    /// The first one that they leave, where that is another.
    pub earliest_in: Option<String>,
}

impl Tries {
    /// Takes the starts of a finding together; `None` if none was given up. Lengths are those of the tries whose start and
    /// end were read, and peaks of those without one of the `gaps` in them; of all where there is none of these.
    #[must_use]
    pub fn of(attempts: &[Attempt], gaps: &[Gap]) -> Option<Self> {
        let tries: Vec<&Attempt> = attempts.iter().filter(|attempt| attempt.given_up).collect();
        let (first, last) = (tries.first()?, tries.last()?);
        let read_through = |attempt: &&&Attempt| !attempt.touches_a_gap(gaps);
        let ends_read = |attempt: &&&Attempt| attempt.ends_were_read(gaps);
        let lasted = |attempt: &&Attempt| attempt.end_s.value() - attempt.start_s.value();
        let peak = |attempt: &&Attempt| attempt.peak_a.value();
        let (ended_in, ended_there) = most_common(&tries, |attempt| &attempt.ended_in);
        let (likely_in, _) = most_common(&tries, |attempt| &attempt.likely_in);
        let (earliest_in, _) = most_common(&tries, |attempt| &attempt.earliest_in);
        Some(Self {
            count: tries.len(),
            one_is_on: tries.len() < attempts.len(),
            first_start_s: first.start_s.value(),
            first_end_s: first.end_s.value(),
            first_peak_a: first.peak_a.value(),
            last_end_s: last.end_s.value(),
            every_s: every(attempts, gaps),
            lasts_s: Spread::of(tries.iter().filter(ends_read).map(lasted))
                .or_else(|| Spread::of(tries.iter().map(lasted)))?,
            peak_a: Spread::of(tries.iter().filter(read_through).map(peak))
                .or_else(|| Spread::of(tries.iter().map(peak)))?,
            lowest_v: tries.iter().map(|attempt| attempt.lowest_v.value()).fold(f64::INFINITY, f64::min),
            ended_in,
            ended_there,
            likely_in,
            earliest_in,
        })
    }
}

impl Tries {
    /// How long the board has stayed down after the last of them when the readings end at `end_s`, in seconds, if it has for
    /// so much longer than it rested between them that no other is to be expected.
    #[must_use]
    pub fn stays_down(&self, end_s: f64) -> Option<f64> {
        /// Times the longest that they were apart (by judgement).
        const TIMES: f64 = 3.0;
        let every = self.every_s.filter(|_| !self.one_is_on)?;
        Some(end_s - self.last_end_s).filter(|down| *down > TIMES * every.high)
    }

    /// How far the starts are apart on average, in words, of readings `update_s` apart: the span of all of them is known as
    /// well as one of them, so that the mean has finer figures than a single time.
    #[must_use]
    pub fn period(&self, update_s: f64) -> Option<String> {
        let every = self.every_s?;
        #[expect(clippy::cast_precision_loss, reason = "a count of tries")]
        let periods = (self.count - usize::from(!self.one_is_on)).max(1) as f64;
        Some(mean_time_in_steps(every.mean, update_s, periods))
    }
}

/// Volts below those that the readback shows between the tries, at rest before them, and within them away from their ends, so
/// that they are seen as a dip; of readings `update_s` apart, of a board fed with `set_v` from `fed_s` on. `None` if nothing was read between tries.
pub(crate) fn visible_below(
    trace: &Trace,
    attempts: &[Attempt],
    update_s: f64,
    (set_v, fed_s): (f64, f64),
) -> Option<f64> {
    /// Times the depth of the deepest reading between the tries, which is noise.
    const BEYOND_NOISE: f64 = 1.5;
    /// ... and by no less than this share of the volts: the drop of a good supply under load.
    const LEAST_SHARE: f64 = 0.002;
    let edge_s = EDGE_READINGS * update_s;
    let index = |time: f64| trace.time().partition_point(|t| *t < time);
    let read = |from: f64, to: f64| trace.volts().get(index(from)..index(to));
    let rests = attempts.windows(2).map(|pair| (pair[0].end_s.value(), pair[1].start_s.value()));
    let volts = rests.filter_map(|(from, to)| read(from + edge_s, to));
    let mut between: Vec<f64> = volts.flatten().copied().collect();
    let usual = robust::median(&mut between)?;
    let deepest = between.iter().copied().fold(usual, f64::min);
    let visible = usual - (BEYOND_NOISE * (usual - deepest)).max(LEAST_SHARE * usual);
    // What the readback scatters down to before the first try is noise as well: it goes further now and then.
    let before = attempts.first().and_then(|first| read(fed_s + RISES_S, first.start_s.value() - edge_s));
    let deepest = before.and_then(|volts| volts.iter().copied().min_by(f64::total_cmp));
    let scatter = deepest.filter(|deepest| *deepest >= set_v * (1.0 - STEADY_SHARE));
    let scatter = scatter.map(|deepest| set_v - BEYOND_NOISE * (set_v - deepest).max(0.0));
    // So is what they go down to within the tries, with nothing ending there: noise, or the drop under load.
    let within =
        attempts.iter().filter_map(|a| read(a.start_s.value() + edge_s, a.end_s.value() - 2.0 * edge_s));
    let deepest = within.flatten().copied().min_by(f64::total_cmp);
    let loaded = deepest.filter(|deepest| *deepest >= set_v * (1.0 - STEADY_SHARE));
    let loaded = loaded.map(|deepest| set_v - BEYOND_NOISE * (set_v - deepest).max(0.0));
    Some([scatter, loaded].into_iter().flatten().fold(visible, f64::min))
}

/// The stage in which most of the tries ended that show one, the later one of a draw, and how many did.
fn most_common(tries: &[&Attempt], stage: impl Fn(&Attempt) -> &Option<String>) -> (Option<String>, usize) {
    let count = |of: &Option<String>| tries.iter().filter(|other| stage(other) == of).count();
    let told = tries.iter().filter(|attempt| stage(attempt).is_some());
    let most = told.max_by_key(|attempt| count(stage(attempt)));
    most.map_or((None, 0), |attempt| (stage(attempt).clone(), count(stage(attempt))))
}

#[cfg(test)]
mod tests;
