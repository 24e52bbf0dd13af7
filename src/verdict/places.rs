//! Where a run stood in the phases of its profile, for the comparison with it.
//!
//! A run that booted went through all of them, and is followed as the good captures were when the profile was learned:
//! a stage far off its usual level is then still that stage. Any other run is where its alignment says, and so is one whose
//! standby or running level the following takes for another stage.

use super::Class;
use super::align::{State, Step, first_running, has_a_level};
use super::engine::Analysis;
use crate::reference::{PhaseReference, Profile, Readback};
use crate::stats::robust;
use crate::trace::Trace;
use std::ops::Range;

/// A stage that was not told apart, which changes its neighbour's level or length by more than this share, may change what that
/// shows.
const MIXED_SHARE: f64 = 0.1;

/// A stay in a phase of the profile.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Place {
    /// Index of the phase.
    pub(super) phase: usize,
    pub(super) samples: Range<usize>,
    /// Whether the stay ended as it does on a good board.
    pub(super) ends: bool,
    /// Whether it is the stay as a whole: not one that was broken off, nor mixed with one that was not told apart.
    whole: bool,
}

impl Place {
    /// The same stay up to the end of `next`.
    fn goes_on_in(&mut self, next: &Self) {
        self.samples.end = next.samples.end;
        (self.ends, self.whole) = (next.ends, self.whole && next.whole);
    }
}

/// The stays of a run in the phases of `profile`, in order.
pub(super) fn places(
    trace: &Trace,
    analysis: &Analysis,
    profile: &Profile,
    readback: &Readback,
) -> Vec<Place> {
    let aligned = aligned(trace, analysis, profile);
    let followed = followed(trace, analysis, profile, readback);
    let alike = |followed: &Vec<Place>| ends_alike(followed, &aligned);
    let mut places = followed.filter(alike).unwrap_or(aligned);
    to_running_level(&mut places, analysis, profile);
    places.retain(|place| place.whole);
    places
}

/// Takes the stage before the running level to where that begins on this board.
fn to_running_level(places: &mut [Place], analysis: &Analysis, profile: &Profile) {
    let [.., stage, running] = places else { return };
    let usual = profile.phases.get(stage.phase).and_then(|phase| phase.duration);
    let piece_at = |sample: usize| analysis.pieces.partition_point(|piece| piece.samples.start < sample);
    let (from, boundary, to) =
        (piece_at(stage.samples.start), piece_at(running.samples.start), piece_at(running.samples.end));
    let follows = has_a_level(usual.map(|duration| duration.typical)) && !running.ends;
    if !follows || stage.samples.end != running.samples.start || from >= boundary || boundary >= to {
        return;
    }
    let first = first_running(&analysis.pieces, from..boundary, boundary..to);
    let begins = analysis.pieces[first].samples.start;
    (stage.samples.end, running.samples.start) = (begins, begins);
}

/// Whether both give the first and the last place the better part of the same readings: the verdict says that the board
/// waited in the one, and draws too much there if it does, and that it stayed in the other; a departure of another stage at
/// that time would contradict it.
fn ends_alike(followed: &[Place], aligned: &[Place]) -> bool {
    alike(followed.first(), aligned.first()) && alike(followed.last(), aligned.last())
}

fn alike(theirs: Option<&Place>, ours: Option<&Place>) -> bool {
    let (Some(theirs), Some(ours)) = (theirs, ours) else { return true };
    let end = theirs.samples.end.min(ours.samples.end);
    let shared = end.saturating_sub(theirs.samples.start.max(ours.samples.start));
    theirs.phase != ours.phase || 2 * shared >= ours.samples.len()
}

/// The phases of a run that booted.
fn followed(
    trace: &Trace,
    analysis: &Analysis,
    profile: &Profile,
    readback: &Readback,
) -> Option<Vec<Place>> {
    if analysis.class() != Class::FullBoot || !analysis.run.switch_on_seen {
        return None;
    }
    let path = &analysis.path;
    let rests = |step: &Step| matches!(step.state, State::Low | State::Excess);
    let rest = path.iter().rposition(rests);
    // The inrush belongs to what follows it, as in the reference.
    let from = match rest {
        Some(at) if at > 0 && path[at - 1].state == State::Inrush => path[at - 1].from,
        Some(at) => path[at].from,
        None => 0,
    };
    let first = usize::from(profile.standby().is_some() && rest.is_none());
    let rested = rest.is_some_and(|at| path[at].rested);
    let steady: Vec<Range<usize>> =
        analysis.pieces.get(from..)?.iter().map(|piece| piece.samples.clone()).collect();
    let last = profile.phases.len() - 1;
    let phases = profile.follow(trace, &steady, readback, first, analysis.leak_w)?.into_iter().zip(first..);
    // After an attempt a board may rest at less than its standby.
    let place = |(samples, phase)| Place { phase, samples, ends: phase < last, whole: phase > 0 || !rested };
    Some(phases.map(place).collect())
}

/// The phases that the alignment names.
fn aligned(trace: &Trace, analysis: &Analysis, profile: &Profile) -> Vec<Place> {
    let mut places: Vec<Place> = Vec::new();
    // A board that runs, and is busy now and then, stays in one place.
    let mut goes_on = false;
    for (index, step) in analysis.path.iter().enumerate() {
        let Some(phase) = phase_of(analysis, profile, step) else {
            goes_on &= step.state == State::Burst;
            continue;
        };
        let Some(next) = place_of(analysis, index, phase) else { continue };
        match places.last_mut() {
            Some(place) if goes_on && place.phase == phase => place.goes_on_in(&next),
            _ => places.push(next),
        }
        goes_on = true;
    }
    mark_mixed(&mut places, trace, profile);
    places
}

/// The stay of one step of the alignment in `phase`, with the inrush before it.
fn place_of(analysis: &Analysis, index: usize, phase: usize) -> Option<Place> {
    let step = &analysis.path[index];
    let before = index.checked_sub(1).map(|before| &analysis.path[before]);
    let from = before.filter(|step| step.state == State::Inrush).map_or(step.from, |inrush| inrush.from);
    let (first, last) = (analysis.pieces.get(from)?, analysis.pieces.get(step.to - 1)?);
    Some(Place {
        phase,
        samples: first.samples.start..last.samples.end,
        ends: !matches!(step.state, State::Held(_)),
        // A stage that was broken off did not show its mean, nor its length.
        whole: !matches!(step.state, State::Held(stage) if stage != analysis.model.last()),
    })
}

fn phase_of(analysis: &Analysis, profile: &Profile, step: &Step) -> Option<usize> {
    let name = match step.state {
        // After an attempt a board may rest at less than its standby, or at more.
        State::Low | State::Excess if step.rested => return None,
        State::Low | State::Excess => &analysis.model.standby.name,
        State::Done(stage) | State::Held(stage) => &analysis.model.stages[stage].name,
        _ => return None,
    };
    profile.phases.iter().position(|phase| phase.name == *name)
}

/// A stage that should lie between two stays and was not seen may be in either: the shorter one does not show itself.
fn mark_mixed(places: &mut [Place], trace: &Trace, profile: &Profile) {
    for index in 1..places.len() {
        let unseen = places[index - 1].phase + 1..places[index].phase;
        let unseen: Vec<&PhaseReference> = unseen
            .filter_map(|phase| profile.phases.get(phase))
            .filter(|phase| phase.duration.is_some())
            .collect();
        for place in &mut places[index - 1..=index] {
            place.whole &= hidden_share(place, &unseen, trace, profile) <= MIXED_SHARE;
        }
    }
}

/// By which share the stages of `unseen` would change what `place` shows if they were in it: its level and its length, or its
/// level alone where its length tells nothing.
fn hidden_share(place: &Place, unseen: &[&PhaseReference], trace: &Trace, profile: &Profile) -> f64 {
    let time = trace.time();
    let length = time[place.samples.end - 1] - time[place.samples.start];
    let length_tells = profile.phases.get(place.phase).is_none_or(|phase| phase.duration.is_some());
    let watts = |i: usize| trace.volts()[i] * trace.amps()[i];
    let level = robust::median_at(place.samples.len(), |i| watts(place.samples.start + i)).unwrap_or(0.0);
    let moves = |phase: &&PhaseReference| {
        let level_off = (phase.mean_power.typical / level.max(f64::MIN_POSITIVE) - 1.0).abs();
        let lasts = phase.duration.map_or(0.0, |duration| duration.typical);
        lasts * if length_tells { 1.0 } else { level_off }
    };
    unseen.iter().map(moves).sum::<f64>() / length.max(f64::MIN_POSITIVE)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Stages one after the other that end at these readings.
    fn ends(at: [usize; 3]) -> Vec<Place> {
        let starts = std::iter::once(0).chain(at);
        let place = |(phase, (start, end))| Place { phase, samples: start..end, ends: true, whole: true };
        starts.zip(at).enumerate().map(place).collect()
    }

    #[test]
    fn a_stage_that_takes_up_the_running_level_or_the_standby_is_not_followed() {
        let aligned = ends([10, 20, 100]);
        assert!(ends_alike(&ends([10, 30, 100]), &aligned));
        assert!(ends_alike(&ends([10, 12, 100]), &aligned));
        assert!(!ends_alike(&ends([10, 95, 100]), &aligned));
        assert!(!ends_alike(&ends([4, 20, 100]), &aligned));
        assert!(ends_alike(&[], &aligned));
    }

    #[test]
    fn a_wait_is_whole_where_what_may_hide_in_it_draws_as_much() {
        use crate::verdict::tests::{OFF, SET_V, profile, trace};
        let profile = profile();
        let rails = profile.phases[1].mean_power.typical / SET_V;
        // Rails, the second phase, was not told apart between standby and loading.
        let whole = |waits_at: f64| {
            let trace = trace(&[OFF, (3.0, SET_V, waits_at), (4.0, SET_V, 1.0)]);
            let second = |seconds: f64| trace.time().partition_point(|time| *time < seconds);
            let (on, loads) = (second(OFF.0 + 0.1), second(OFF.0 + 2.9));
            let place = |phase, samples| Place { phase, samples, ends: true, whole: true };
            let mut places = [place(0, on..loads), place(2, loads..trace.len())];
            mark_mixed(&mut places, &trace, &profile);
            places[0].whole
        };
        assert!(whole(rails), "it would change nothing");
        assert!(!whole(0.0234), "standby would seem to draw more");
    }
}
