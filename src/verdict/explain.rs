//! Competing explanations: what each end of a run would be called, and how plausible that is.

mod running;
mod settled;
mod step;

use super::Class;
use super::align::{Ending, Look, Scores, State, Step, soft, tail};
use super::feed::{gave_way, limit_too_low, starving};
use super::piece::{Piece, Sums};
use super::presses::{BY_HAND_S, TIME_TO_WAKE_S};
use running::{left_running, ran, running, stayed};
use settled::settles_as_running;
use step::{not_gone_on, went_on_in_time};

/// Time in which a board that will wake does so, in seconds after the button or, for boards that start by themselves,
/// after switch-on: regulators, oscillators and a supervisor's reset take up to a second or so (common practice).
const WAKE_S: f64 = 1.5;

/// ... and in which a person presses the button of a board that waits for it, where no press is marked (common practice, no
/// source).
const PRESS_S: f64 = 5.0;

/// Rest after which no further attempt is to be expected, in seconds: supervisors retry every half a second to three
/// seconds (common practice, no source).
const FOR_GOOD_S: f64 = 4.5;

/// A steady heavy load is one after this many seconds: no stage of boot size is so early and so long and so flat.
const HEAVY_S: f64 = 1.0;

/// Share of its readings from which a load is in limit all along.
const MOSTLY_IN_LIMIT: f64 = 0.5;

/// Too much in standby is one after this many seconds; before, it may be the board on its way up.
const EXCESS_S: f64 = 3.0;

/// A load that was there from the start lets no attempt pass, in nats for each that did.
const HEAVY_AFTER_ATTEMPT: f64 = 3.0;

/// Plausibility that a board which is still in a stage at the end of the log is stuck there, before anything is known
/// of how long it has been there.
const STUCK: f64 = 0.1;

/// What a run without an attempt may be if a gap may hide one, in nats.
const UNSEEN_ATTEMPT: [(Class, f64); 2] = [(Class::LatchOff, -1.0), (Class::Inconclusive, -1.5)];

/// Share of boards that give up a third time, after two tries that ended alike ...
const THIRD_ALIKE: f64 = 0.85;
/// ... and where the third has come further than both (common practice, no source).
const THIRD_FURTHER: f64 = 0.3;
/// ... and a second time, where it woke by itself: one try may have been an accident (common practice, no source).
const SECOND_ALIKE: f64 = 0.35;
const SECOND_FURTHER: f64 = 0.1;
/// Share of boards that a limit stops again, of those that it stopped once (by judgement).
const STARVED_AGAIN: f64 = 0.7;
/// Share of boards that try a third time, of those that rest for a moment after a second that came by itself (by judgement).
const THIRD_TO_COME: f64 = 0.4;

/// A board that stops half-way, against one that does anything else, in nats.
const STOPS: f64 = 0.85;

/// A board that stops half-way stops at any level, and a short draws anything; that it is just the running level, or that
/// of a stage, is a coincidence, in nats: the log of how much wider the one scatters than the other.
const COINCIDENCE: f64 = 1.0;
/// ... and as much more where its own stage draws something else, in nats: of all levels it might stop at, it is this one (by
/// judgement).
const OFF_ITS_OWN: f64 = 1.5;
/// A stuck board that moves about as a running one does so by coincidence too, in nats (by judgement).
const AS_BUSY: f64 = 0.7;

/// Lateness from which a stage has lasted `far beyond its usual time`, in standard deviations of the log of duration.
const FAR_BEYOND_SDS: f64 = 2.5;

/// Penalty of `none of these`, in nats below a perfect fit: a run that every explanation fits worse than this is not
/// explained.
const UNEXPLAINED: f64 = 22.0;
/// ... and for every piece of the run, each of which adds a little misfit to any explanation.
const UNEXPLAINED_PER_PIECE: f64 = 0.8;

/// A class, and how plausible it is with which ending.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Explanation {
    pub class: Class,
    /// Nats below a perfect fit.
    pub score: f64,
    /// Index of the ending that it rests on; `None` for `none of these`.
    pub ending: Option<usize>,
}

/// The best explanation for every class that has one, best first.
pub(super) fn explanations(scores: &Scores, endings: &[Ending], pieces: &[Piece]) -> Vec<Explanation> {
    let sums = Sums::of(pieces);
    let count = endings.first().and_then(|ending| ending.path.last()).map_or(0, |step| step.to);
    let score = -UNEXPLAINED - UNEXPLAINED_PER_PIECE * f64::from(u16::try_from(count).unwrap_or(u16::MAX));
    let mut best: Vec<Explanation> = vec![Explanation { class: Class::Inconclusive, score, ending: None }];
    let in_time = went_on_in_time(scores, endings);
    for (index, ending) in endings.iter().enumerate() {
        for (class, extra) in outcomes(scores, ending) {
            let stuck = match (ending.state, class) {
                (State::Held(stage), Class::Stalled) => {
                    stuck_in_time(scores, stage, in_time) + settles_as_running(scores, ending, &sums, stage)
                }
                _ => 0.0,
            };
            let score = ending.score + extra + stuck;
            match best.iter_mut().find(|explanation| explanation.class == class) {
                Some(known) if known.score >= score => {}
                Some(known) => *known = Explanation { class, score, ending: Some(index) },
                None => best.push(Explanation { class, score, ending: Some(index) }),
            }
        }
    }
    best.retain(|explanation| explanation.score.is_finite());
    best.sort_by(|a, b| b.score.total_cmp(&a.score));
    best
}

/// What speaks against a board being stuck in the stage before the running level that looks `in_time` as if it went on from there
/// just when good boards do, 0 to 1: a stuck one steps at any time or at none.
fn stuck_in_time(scores: &Scores, stage: usize, in_time: f64) -> f64 {
    /// In nats: within the usual scatter of a duration one step in ten is by chance (by judgement).
    const BY_CHANCE: f64 = -2.3;
    let before_running = stage + 1 == scores.model.last() && scores.model.of_this_board;
    if before_running { BY_CHANCE * in_time } else { 0.0 }
}

/// What this ending would be called, with the nats that each reading of it adds.
fn outcomes(scores: &Scores, ending: &Ending) -> Vec<(Class, f64)> {
    let Some(last) = ending.path.last() else { return Vec::new() };
    match ending.state {
        State::Inrush => vec![(Class::Inconclusive, 0.0)],
        State::Nothing => carried(Class::NoDraw, time_to_wake(scores)),
        State::Collapsed => vec![(Class::HardShort, 0.0)],
        State::Heavy => heavy(scores, ending, last),
        State::Starved if may_be_at_work(scores, last) => vec![(Class::Inconclusive, 0.0)],
        State::Starved => starved(scores, Class::PartialShort),
        State::Low | State::Excess => at_rest(scores, ending, last),
        State::Burst => running(scores, ending),
        State::Surge => given_up_again(scores, ending, Class::Inconclusive),
        State::Held(stage) if stage == scores.model.last() => running(scores, ending),
        State::Held(stage) => in_stage(scores, ending, last, stage),
        State::Done(_) => Vec::new(),
    }
}

/// Whether a load in a log that begins later than the board, of which nothing is known, may as well be the board at work, and
/// volts that sink there a source that runs down.
fn may_be_at_work(scores: &Scores, last: &Step) -> bool {
    !scores.model.of_this_board && !scores.run.switch_on_seen && last.stretch.limit < MOSTLY_IN_LIMIT
}

/// A heavy load that stays to the end, there since switch-on or since the wake.
fn heavy(scores: &Scores, ending: &Ending, last: &Step) -> Vec<(Class, f64)> {
    if may_be_at_work(scores, last) {
        return vec![(Class::Inconclusive, 0.0)];
    }
    let tried = f64::from(ending.progress.attempts) * HEAVY_AFTER_ATTEMPT;
    let at_a_stage = COINCIDENCE * scores.at_a_stage(&scores.look(&last.stretch));
    let found = carried(Class::PartialShort, (last.stretch.duration() / HEAVY_S).ln() / 0.3);
    found.into_iter().map(|(class, score)| (class, score - tried - at_a_stage)).collect()
}

/// `class` if the evidence carries (`z` well above 0), else inconclusive.
fn carried(class: Class, z: f64) -> Vec<(Class, f64)> {
    vec![(class, soft(z)), (Class::Inconclusive, soft(-z))]
}

/// Evidence that the board had its time to show something.
fn time_to_wake(scores: &Scores) -> f64 {
    time_beyond(scores, WAKE_S)
}

/// Evidence that the board had its time to wake, and somebody the time to press its button.
fn time_to_leave_standby(scores: &Scores) -> f64 {
    let standby = &scores.model.standby;
    let by_hand = standby.waits && scores.run.presses.is_empty();
    let wait_s = if by_hand { PRESS_S } else { standby.longest_s.unwrap_or(0.0) };
    time_beyond(scores, wait_s + WAKE_S)
}

/// Evidence that the log goes on for longer than `seconds` after the last press, or else after switch-on.
fn time_beyond(scores: &Scores, seconds: f64) -> f64 {
    let run = scores.run;
    let since = run.presses.last().copied().unwrap_or(run.start_s).max(run.start_s);
    ((run.end_s - since).max(1e-3) / seconds).ln() / 0.25
}

fn starved(scores: &Scores, otherwise: Class) -> Vec<(Class, f64)> {
    let (low, ample) = limit_too_low(scores);
    vec![(Class::FeedLimited, low), (otherwise, ample)]
}

fn at_rest(scores: &Scores, ending: &Ending, last: &Step) -> Vec<(Class, f64)> {
    let progress = ending.progress;
    let back = back_to_standby(scores, ending);
    if !progress.left_last && !ran(scores, ending) {
        return after_tries(scores, ending, last, back);
    }
    if progress.starved {
        return starved(scores, Class::DroppedOut);
    }
    let dropped_out = left_running(scores, ending, back);
    if ran(scores, ending) {
        return vec![(Class::DroppedOut, dropped_out)];
    }
    // A running level that is left at once may as well be the stage before, or the peak in which a try ends.
    let z = stayed(scores, ending);
    let tried = after_tries(scores, ending, last, back).into_iter();
    let tried = tried.map(|(class, score)| (class, score + soft(-z)));
    std::iter::once((Class::DroppedOut, dropped_out + soft(z))).chain(tried).collect()
}

/// At rest after so many tries that all ended before the running level.
fn after_tries(scores: &Scores, ending: &Ending, last: &Step, back: f64) -> Vec<(Class, f64)> {
    let progress = ending.progress;
    let stays = (last.stretch.duration().max(1e-3) / FOR_GOOD_S).ln() / 0.3;
    match progress.attempts {
        0 => {
            let class = if ending.state == State::Excess { Class::ExcessStandby } else { Class::StandbyOnly };
            let unseen = if gap_hides_attempt(scores) { UNSEEN_ATTEMPT.to_vec() } else { Vec::new() };
            let lasting = (last.stretch.duration().max(1e-3) / EXCESS_S).ln() / 0.25;
            let seen = if class == Class::ExcessStandby { lasting } else { rest_of_a_kind(scores, last) };
            carried(class, time_to_leave_standby(scores).min(seen)).into_iter().chain(unseen).collect()
        }
        1 | 2 => {
            let (low, ample) = starving(scores, ending);
            // A feed that gave way is seen at once; whether the board tries again matters no more.
            let again =
                if progress.attempts == 2 && woke_by_itself(scores, ending) { THIRD_TO_COME } else { 0.0 };
            // ... but one that the limit turned off draws no steady load afterwards, for as long as one likes.
            let loaded = ending.state == State::Excess && !gave_way(scores, ending);
            vec![
                (Class::FeedLimited, low + if loaded { soft(-stays) } else { 0.0 }),
                (Class::LatchOff, ample + soft(stays) + back),
                (Class::Inconclusive, ample + soft(-stays) + (1.0 - again).ln()),
                (Class::Cycling, ample + soft(-stays) + again.ln() + back),
            ]
        }
        _ => given_up_again(scores, ending, Class::Cycling),
    }
}

/// Evidence that what a board of unknown model rests at is a standby: its kind tells of an upper end only.
fn rest_of_a_kind(scores: &Scores, last: &Step) -> f64 {
    /// Standard deviation of the log of that end, and how many of them above it a standby is as likely as anything else
    /// (common practice, no source).
    const SD: f64 = 0.3;
    const EVEN: f64 = 1.5;
    if scores.model.of_this_board {
        return f64::INFINITY;
    }
    EVEN - (last.stretch.watts.max(1e-9) / scores.model.standby.high).ln() / SD
}

/// Whether nothing was read for the better part of an attempt just when one was to be expected: after the button, or
/// after switch-on where the board starts by itself or no press is marked.
fn gap_hides_attempt(scores: &Scores) -> bool {
    let run = scores.run;
    let asked = if run.presses.is_empty() { vec![run.start_s] } else { run.presses.clone() };
    let hides = |from: f64, to: f64| asked.iter().any(|at| from < at + WAKE_S && to >= *at);
    scores.readout.gaps.iter().any(|gap| hides(gap.start_s.value(), gap.end_s.value()))
}

/// Evidence that a board fell `back to standby or less` after an attempt, and not to a load of its own.
fn back_to_standby(scores: &Scores, ending: &Ending) -> f64 {
    /// Twice the standby of good boards is still standby with a fault.
    const STILL: f64 = 2.0;
    /// ... where no standby is known, what a board may draw that never started is an upper bound only: after a try, half
    /// (by judgement).
    const STILL_UNKNOWN: f64 = 0.5;
    let still = if scores.model.starts_at_once() { STILL_UNKNOWN } else { STILL };
    let rests = ending.path.iter().filter(|step| step.rested && step.state.is_rest());
    let lowest = rests.map(|step| step.stretch.watts).fold(f64::INFINITY, f64::min);
    let usual = scores.model.standby.high + scores.leak_w;
    if lowest.is_finite() { soft((still * usual / lowest.max(1e-9)).ln() / 0.2 + 1.0) } else { 0.0 }
}

/// Whether the try that is on has come to a later stage than those before it.
fn goes_further(ending: &Ending) -> bool {
    let Some((now, before)) = ending.path.split_last() else { return false };
    let reached = before
        .iter()
        .filter(|step| matches!(step.state, State::Held(_)))
        .filter_map(|step| step.state.stage());
    now.state.stage().is_some_and(|stage| reached.max().is_some_and(|reached| stage > reached))
}

/// A board that tries again and again; `few` is what fewer than three attempts are called.
fn given_up_again(scores: &Scores, ending: &Ending, few: Class) -> Vec<(Class, f64)> {
    let progress = ending.progress;
    let (low, ample) = starving(scores, ending);
    let back = back_to_standby(scores, ending);
    match (progress.attempts, gave_way(scores, ending)) {
        (3.., _) => vec![(Class::FeedLimited, low), (Class::Cycling, ample + back)],
        (2, true) => vec![(Class::FeedLimited, low), (few, ample)],
        // The feed gave way, once: it will again.
        (1, true) => vec![
            (Class::FeedLimited, low + STARVED_AGAIN.ln()),
            (few, (ample.exp() + (1.0 - STARVED_AGAIN) * low.exp()).ln()),
        ],
        (2, false) => {
            let again = if goes_further(ending) { THIRD_FURTHER } else { THIRD_ALIKE };
            gives_up_again(again, low, ample + back, few)
        }
        (1, false) if woke_by_itself(scores, ending) => {
            let again = if goes_further(ending) { SECOND_FURTHER } else { SECOND_ALIKE };
            gives_up_again(again, low, ample + back, few)
        }
        _ => vec![(few, 0.0)],
    }
}

/// With a chance of `again`, the next try ends as those before it: for want of feed (`low`) or not (`ample`).
fn gives_up_again(again: f64, low: f64, ample: f64, few: Class) -> Vec<(Class, f64)> {
    vec![
        (Class::FeedLimited, again.ln() + low),
        (Class::Cycling, again.ln() + ample),
        (few, (1.0 - again).ln()),
    ]
}

/// Whether the board left its last rest without a press: none is marked where others are, it waits for none, or no hand is as
/// quick.
fn woke_by_itself(scores: &Scores, ending: &Ending) -> bool {
    /// A person who sees the amps fall presses again no sooner, in seconds (common practice, no source).
    const PRESSED_AGAIN_S: f64 = 1.5;
    let Some((_, before)) = ending.path.split_last() else { return false };
    let rests = before.iter().filter(|step| step.state.is_rest());
    let Some(rest) = rests.map(|step| step.stretch).next_back() else { return false };
    let woke_s = rest.end_s;
    let presses = &scores.run.presses;
    let wakes = |press: &f64| (-BY_HAND_S..TIME_TO_WAKE_S).contains(&(woke_s - press));
    let unmarked = presses.is_empty() && scores.model.standby.waits && rest.duration() >= PRESSED_AGAIN_S;
    !unmarked && !presses.iter().any(wakes)
}

/// What a stuck board that draws what a running one does has of a coincidence, in nats: more so where that is not what its own
/// stage draws.
fn at_running_level(scores: &Scores, look: &Look<'_>, stage: usize) -> f64 {
    scores.runs_at(look) * (COINCIDENCE + OFF_ITS_OWN * (1.0 - scores.fits(look, stage)))
}

/// How far a stay in the stage before the running level moves about as a running board does, and not as that stage, 0 to 1: a
/// board that is stuck may do so, by coincidence.
fn busy_as_running(scores: &Scores, look: &Look<'_>, stage: usize) -> f64 {
    if !scores.model.of_this_board || stage + 1 != scores.model.last() {
        return 0.0;
    }
    let as_running = scores.activity(look, scores.model.last()).exp();
    as_running * (1.0 - scores.activity(look, stage).exp())
}

/// What speaks against a board that ran, fell back, started again and is stuck: two faults where one explains as much, and a
/// fall that must be one.
fn stuck_after_running(scores: &Scores, ending: &Ending) -> f64 {
    /// In nats (by judgement).
    const TWICE: f64 = -3.0;
    TWICE + left_running(scores, ending, back_to_standby(scores, ending))
}

/// Two weights in nats as logs of shares.
fn shares(one: f64, other: f64) -> (f64, f64) {
    let larger = one.max(other);
    let total = larger + ((one - larger).exp() + (other - larger).exp()).ln();
    (one - total, other - total)
}

/// What speaks against a board having woken that waits for a person: nobody is as quick after switch-on, and in this log the button
/// is marked later. What it draws from then on may as well be its standby.
fn woke_before_asked(scores: &Scores, ending: &Ending) -> f64 {
    /// In nats (by judgement): the button may have been held as the feed came on.
    const NOT_ASKED: f64 = -2.0;
    let run = scores.run;
    let woke = ending.path.iter().find(|step| step.state.stage().is_some());
    let at_once = woke.is_some_and(|step| step.stretch.start_s < run.start_s + BY_HAND_S);
    let later = run.presses.first().is_some_and(|press| *press > run.start_s + BY_HAND_S);
    if scores.model.standby.waits && run.switch_on_seen && at_once && later { NOT_ASKED } else { 0.0 }
}

/// In a stage before the last when the log ends: stuck, or not yet through.
fn in_stage(scores: &Scores, ending: &Ending, last: &Step, stage: usize) -> Vec<(Class, f64)> {
    let look = scores.look(&last.stretch);
    let late = scores.late(&look, stage);
    // Unusual lateness and calm speak against a board that is going on; of a stuck one both are to be expected.
    let overdue = late.map_or(0.0, |z| tail(z.max(0.0)).max(-6.0));
    let activity = scores.activity(&look, stage);
    let far_beyond = late.map_or(0.0, |z| (z - FAR_BEYOND_SDS) * 2.0);
    let (stuck, going) = shares(STUCK.ln() + soft(far_beyond), (1.0 - STUCK).ln() + soft(-far_beyond));
    let stuck = stuck - STOPS - at_running_level(scores, &look, stage) + scores.stuck_activity(&look, stage)
        - AS_BUSY * busy_as_running(scores, &look, stage)
        + scores.stuck_level(&look, stage)
        + not_gone_on(scores, ending, stage);
    let going = going + overdue + activity;
    match ending.progress.attempts {
        0 if ending.progress.left_last => vec![(Class::FullBoot, -1.0)],
        0 => vec![(Class::Stalled, stuck + woke_before_asked(scores, ending)), (Class::Inconclusive, going)],
        attempts => {
            let again = given_up_again(scores, ending, Class::Inconclusive);
            let again = again.into_iter().map(|(class, score)| (class, score + going));
            let rarely = if attempts <= 2 { 0.0 } else { -2.0 };
            let fell = if ending.progress.left_last {
                stuck_after_running(scores, ending)
            } else {
                back_to_standby(scores, ending)
            };
            std::iter::once((Class::Stalled, stuck + rarely + fell)).chain(again).collect()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::align::Progress;
    use super::super::model::Model;
    use super::super::piece::Stretch;
    use super::super::tests::{SET_V, fed, profile};
    use super::*;
    use crate::units::Volts;

    /// What is said against a stall of a board that woke so many seconds after switch-on, with a press marked at 5 s if at all.
    fn said_against(woke_s: f64, pressed: bool) -> f64 {
        let model = Model::from_profile(&profile(), Volts::constant(SET_V));
        let (mut run, readout) = fed(60.0);
        run.switch_on_seen = true;
        run.presses = if pressed { vec![run.start_s + 5.0] } else { Vec::new() };
        let (start_s, end_s) = (run.start_s + woke_s, run.end_s);
        let (sag, dip, limit, spread_w, levels) = (0.0, 0.0, 0.0, 0.1, 8.0);
        let (watts, amps, volts, level) = (2.2, 2.2 / SET_V, SET_V, 0.8);
        let stretch =
            Stretch { start_s, end_s, watts, amps, volts, sag, dip, limit, spread_w, levels, level };
        let path = vec![Step { state: State::Held(0), from: 0, to: 1, rested: false, stretch }];
        let ending = Ending { state: State::Held(0), progress: Progress::default(), score: 0.0, path };
        woke_before_asked(&Scores::new(&model, &run, &readout, 0.0), &ending)
    }

    #[test]
    fn a_board_that_waits_for_a_person_does_not_wake_before_one_can_press() {
        assert!(said_against(0.3, true) < -1.0, "the press comes later");
        assert!(said_against(0.3, false).abs() < 1e-12, "none is marked: it may have been held");
        assert!(said_against(5.1, true).abs() < 1e-12, "at the press");
    }
}
