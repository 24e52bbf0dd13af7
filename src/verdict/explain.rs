//! Competing explanations: what each end of a run would be called, and how plausible that is.

use super::Class;
use super::align::{Ending, Progress, Scores, State, Step, soft, tail};

/// Time in which a board that will wake does so, in seconds after the button or, for boards that start by themselves,
/// after switch-on: regulators, oscillators and a supervisor's reset take up to a second or so (common practice).
const WAKE_S: f64 = 1.5;

/// Rest after which no further attempt is to be expected, in seconds: supervisors retry every half a second to three
/// seconds (common practice, no source).
const FOR_GOOD_S: f64 = 4.5;

/// Stay at the running level from which it counts as reached, in seconds: a dip in a busy stage is shorter.
const STAYED_S: f64 = 1.5;

/// A steady heavy load is one after this many seconds: no stage of boot size is so early and so long and so flat.
const HEAVY_S: f64 = 1.0;

/// Plausibility that a board which is still in a stage at the end of the log is stuck there, before anything is known
/// of how long it has been there.
const STUCK: f64 = 0.1;

/// Lateness from which a stage has lasted `far beyond its usual time`, in standard deviations of the log of duration.
const FAR_BEYOND_SDS: f64 = 2.5;

/// How sharply the limit divides a starved board from a sick one, as a standard deviation of the log of the current
/// that a boot needs.
const NEED_SD: f64 = 0.2;

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
pub(super) fn explanations(scores: &Scores, endings: &[Ending]) -> Vec<Explanation> {
    let pieces = endings.first().and_then(|ending| ending.path.last()).map_or(0, |step| step.to);
    let score = -UNEXPLAINED - UNEXPLAINED_PER_PIECE * f64::from(u16::try_from(pieces).unwrap_or(u16::MAX));
    let mut best: Vec<Explanation> = vec![Explanation { class: Class::Inconclusive, score, ending: None }];
    for (index, ending) in endings.iter().enumerate() {
        for (class, extra) in outcomes(scores, ending) {
            let score = ending.score + extra;
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

/// What this ending would be called, with the nats that each reading of it adds.
fn outcomes(scores: &Scores, ending: &Ending) -> Vec<(Class, f64)> {
    let Some(last) = ending.path.last() else { return Vec::new() };
    match ending.state {
        State::Inrush => vec![(Class::Inconclusive, 0.0)],
        State::Nothing => carried(Class::NoDraw, time_to_wake(scores)),
        State::Collapsed => vec![(Class::HardShort, 0.0)],
        State::Heavy => carried(Class::PartialShort, (last.stretch.duration() / HEAVY_S).ln() / 0.3),
        State::Starved => starved(scores, Class::PartialShort),
        State::Low | State::Excess => at_rest(scores, ending, last),
        State::Surge => given_up_again(scores, ending.progress, Class::Inconclusive),
        State::Held(stage) if stage == scores.model.last() => running(scores, ending, last),
        State::Held(stage) => in_stage(scores, ending, last, stage),
        State::Done(_) => Vec::new(),
    }
}

/// `class` if the evidence carries (`z` well above 0), else inconclusive.
fn carried(class: Class, z: f64) -> Vec<(Class, f64)> {
    vec![(class, soft(z)), (Class::Inconclusive, soft(-z))]
}

/// Evidence that the board had its time to wake.
fn time_to_wake(scores: &Scores) -> f64 {
    let run = scores.run;
    let since = run.presses.last().copied().unwrap_or(run.start_s).max(run.start_s);
    ((run.end_s - since).max(1e-3) / WAKE_S).ln() / 0.25
}

/// Log of the probability that the limit is too low for this board, and of its opposite.
pub(super) fn limit_too_low(scores: &Scores) -> (f64, f64) {
    let run = scores.run;
    match (scores.model.need_w, run.limit_a) {
        (Some(need), Some(limit)) => {
            let z = (need / run.set_v / limit).ln() / NEED_SD;
            (soft(z), soft(-z))
        }
        // Without a reference or a limit, a feed that gives way again and again points to the feed.
        _ => (0.7_f64.ln(), 0.3_f64.ln()),
    }
}

fn starved(scores: &Scores, otherwise: Class) -> Vec<(Class, f64)> {
    let (low, ample) = limit_too_low(scores);
    vec![(Class::FeedLimited, low), (otherwise, ample)]
}

fn at_rest(scores: &Scores, ending: &Ending, last: &Step) -> Vec<(Class, f64)> {
    let progress = ending.progress;
    if progress.left_last || ran(scores, ending) {
        return vec![(Class::DroppedOut, 0.0)];
    }
    let stays = (last.stretch.duration().max(1e-3) / FOR_GOOD_S).ln() / 0.3;
    match progress.attempts {
        0 if ending.state == State::Excess => carried(Class::ExcessStandby, time_to_wake(scores)),
        0 => carried(Class::StandbyOnly, time_to_wake(scores)),
        1 | 2 if progress.starved => {
            let (low, ample) = limit_too_low(scores);
            // A feed that gave way is seen at once; whether the board tries again matters no more.
            vec![
                (Class::FeedLimited, low),
                (Class::LatchOff, ample + soft(stays)),
                (Class::Inconclusive, ample + soft(-stays)),
            ]
        }
        1 | 2 => carried(Class::LatchOff, stays),
        _ => given_up_again(scores, progress, Class::Cycling),
    }
}

/// Whether the board stayed at the running level, whatever it did on its way down from there.
fn ran(scores: &Scores, ending: &Ending) -> bool {
    let running = State::Held(scores.model.last());
    let stayed = |step: &Step| step.state == running && step.stretch.duration() >= STAYED_S;
    scores.model.of_this_board && ending.path.iter().any(stayed)
}

/// A board that tries again and again; `few` is what fewer than three attempts are called.
fn given_up_again(scores: &Scores, progress: Progress, few: Class) -> Vec<(Class, f64)> {
    match (progress.attempts, progress.starved) {
        (3.., true) => starved(scores, Class::Cycling),
        (3.., false) => vec![(Class::Cycling, 0.0)],
        (2, true) => starved(scores, few),
        (2, false) => vec![(Class::Cycling, 0.5_f64.ln()), (few, 0.5_f64.ln())],
        _ => vec![(few, 0.0)],
    }
}

/// At the running level when the log ends.
fn running(scores: &Scores, ending: &Ending, last: &Step) -> Vec<(Class, f64)> {
    if !scores.model.of_this_board {
        return vec![(Class::Inconclusive, 0.0)];
    }
    let stayed = (last.stretch.duration().max(1e-3) / STAYED_S).ln() / 0.3;
    if ending.progress.left_last {
        return vec![(Class::DroppedOut, 0.0)];
    }
    carried(Class::FullBoot, stayed)
}

/// In a stage before the last when the log ends: stuck, or not yet through.
fn in_stage(scores: &Scores, ending: &Ending, last: &Step, stage: usize) -> Vec<(Class, f64)> {
    let expected = &scores.model.stages[stage];
    let late = expected.duration.map(|span| scores.late(&last.stretch, &span));
    // The alignment counted unusual lateness and calm against the stage; of a stuck board both are to be expected.
    let overdue = late.map_or(0.0, |z| tail(z.max(0.0)).max(-6.0));
    let activity = scores.activity(&last.stretch, expected);
    let far_beyond = late.map_or(0.0, |z| (z - FAR_BEYOND_SDS) * 2.0);
    let stuck = STUCK.ln() - overdue - activity - 1.0 + soft(far_beyond);
    let going = (1.0 - STUCK).ln() + soft(-far_beyond);
    match ending.progress.attempts {
        0 if ending.progress.left_last => vec![(Class::FullBoot, -1.0)],
        0 | 1 => vec![(Class::Stalled, stuck), (Class::Inconclusive, going)],
        attempts => {
            let again = given_up_again(scores, ending.progress, Class::Inconclusive);
            let again = again.into_iter().map(|(class, score)| (class, score + going));
            let sure = if attempts == 2 { 0.0 } else { -2.0 };
            std::iter::once((Class::Stalled, stuck + sure)).chain(again).collect()
        }
    }
}
