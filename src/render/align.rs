//! One time base for several runs: the moment of each that the others have too.

use super::RenderError;
use super::options::Options;
use super::parts::{Subject, crop, unseen};
use crate::stats::robust::median;
use crate::trace::EventKind;
use crate::units::{Seconds, span_in_steps};
use crate::verdict::{Class, LogFacts, Phase, RISES_S};

/// What happens at the zero of the common time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Moment {
    /// The first stage after standby begins.
    Wake,
    /// The power button is pressed, and no wake follows.
    Press,
    /// The output is switched on.
    SwitchOn,
    /// No wake: as long after its switch-on as others take from theirs to their wake.
    AsOthers,
    /// No wake: as long after its press as others take from theirs.
    AsOthersPressed,
}

impl Moment {
    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::Wake => "the board wakes",
            Self::Press => "the button is pressed",
            Self::SwitchOn => "the output goes on",
            Self::AsOthers | Self::AsOthersPressed => "the others have woken",
        }
    }

    /// The same in the fewest words, of a run that has another than the rest.
    pub(super) const fn of_one(self) -> &'static str {
        match self {
            Self::Wake => "its wake",
            Self::Press => "its press",
            Self::SwitchOn => "its switch-on",
            Self::AsOthers => "no wake, placed by its switch-on",
            Self::AsOthersPressed => "no wake, placed by its press",
        }
    }
}

/// A run's moment and when it is, on the log's own clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Zero {
    pub(super) moment: Moment,
    pub(super) at: f64,
}

impl Zero {
    /// How long after the zero something happens. Where a stage begins or ends, between the two moments as the log says them,
    /// as stages are as long in text and table; else as the axis has it, for a difference of two rounded times may be beside
    /// the mark. A zero that the run is only set to has no moment in its log.
    pub(super) fn until(self, run: &Subject, at: f64) -> String {
        let log = &run.finding.log;
        let of_stage =
            || run.finding.phases.iter().any(|phase| is_at(phase.start_s, at) || is_at(phase.end_s, at));
        match self.moment {
            Moment::Wake | Moment::Press | Moment::SwitchOn if of_stage() => span(log, self.at, at),
            _ => log.time(at - self.at),
        }
    }
}

/// Whether that is the moment.
fn is_at(moment: Seconds, at: f64) -> bool {
    /// Times are read no finer.
    const FINEST_S: f64 = 1e-6;
    (moment.value() - at).abs() < FINEST_S
}

/// From one moment of a log to another, so that the one and the length add up to the other.
pub(super) fn span(log: &LogFacts, from: f64, to: f64) -> String {
    span_in_steps(from, to, log.update_s().unwrap_or(0.0))
}

/// The zero of each run on one panel: its wake. Where others wake, one that does not is set among them by its press, or else
/// by its switch-on: two moments of two kinds on one line would be compared. Of two, one that has neither wake nor press puts
/// both on their switch-on, or the other would seem to be late; among many one short would tear all the others apart.
pub(super) fn align(subjects: &[Subject]) -> Vec<Zero> {
    let own: Vec<Option<Zero>> = subjects.iter().map(wake_or_press).collect();
    let known = own.iter().flatten().count();
    let most = subjects.len() > 2 && 2 * known > subjects.len();
    if !most && known < subjects.len() {
        let on = |subject| Zero { moment: Moment::SwitchOn, at: switch_on(subject) };
        return subjects.iter().map(on).collect();
    }
    let wakes = own.iter().flatten().any(|zero| zero.moment == Moment::Wake);
    let usual = |start: fn(&Subject) -> Option<f64>| {
        let since = |(zero, subject): (&Option<Zero>, &Subject)| {
            let zero = (*zero).filter(|zero| !wakes || zero.moment == Moment::Wake)?;
            Some(zero.at - start(subject).filter(|start| *start <= zero.at)?)
        };
        median(&mut own.iter().zip(subjects).filter_map(since).collect::<Vec<_>>())
    };
    let (since_press, since_on) = (usual(press), usual(|subject| Some(switch_on(subject))));
    let place = |(own, subject): (&Option<Zero>, &Subject)| match own {
        Some(own) if own.moment == Moment::Wake || !wakes => *own,
        _ => among(press(subject).zip(since_press), (switch_on(subject), since_on.unwrap_or(0.0))),
    };
    own.iter().zip(subjects).map(place).collect()
}

/// The zero of a run without a wake beside others, which wake so long after these moments of theirs.
fn among(pressed: Option<(f64, f64)>, (on, since_on): (f64, f64)) -> Zero {
    match pressed {
        Some((press, since)) => Zero { moment: Moment::AsOthersPressed, at: press + since },
        None => Zero { moment: Moment::AsOthers, at: on + since_on },
    }
}

/// By what one that does not wake is set beside the other.
pub(super) const SET_BY_PRESS: &str = ", and is set beside it by its press";
const SET_BY_SWITCH_ON: &str = ", and is set beside it by its switch-on";

/// The zeros of a run before and one after, and what the zero of their common time is: the wake of both. One that never
/// wakes is set beside the other by the press, or else by the switch-on: two moments of two kinds on one line would have
/// its reader compare what is not alike.
pub(super) fn before_and_after(runs: &[Subject; 2], names: [&str; 2]) -> ([Zero; 2], String) {
    let both = |moment: Moment, at: [f64; 2]| (at.map(|at| Zero { moment, at }), moment.words().to_owned());
    let of = |moment: fn(&Subject) -> Option<f64>| [moment(&runs[0]), moment(&runs[1])];
    let pressed = of(press);
    match (of(wake), pressed) {
        ([Some(before), Some(after)], _) => both(Moment::Wake, [before, after]),
        ([Some(woken), None], _) => beside(runs, names, (0, woken)),
        ([None, Some(woken)], _) => beside(runs, names, (1, woken)),
        (_, [Some(before), Some(after)]) => both(Moment::Press, [before, after]),
        _ => both(Moment::SwitchOn, [switch_on(&runs[0]), switch_on(&runs[1])]),
    }
}

/// The same where only the run at `index` wakes.
fn beside(runs: &[Subject; 2], names: [&str; 2], (index, woken): (usize, f64)) -> ([Zero; 2], String) {
    let other = 1 - index;
    let since = |start: f64| woken - start;
    let pressed = press(&runs[other]).zip(press(&runs[index]).filter(|press| *press <= woken).map(since));
    let mut zeros = [Zero { moment: Moment::Wake, at: woken }; 2];
    zeros[other] = among(pressed, (switch_on(&runs[other]), since(switch_on(&runs[index]))));
    let since = if pressed.is_some() { SET_BY_PRESS } else { SET_BY_SWITCH_ON };
    (zeros, format!("{} wakes; {} does not{since}", names[index], names[other]))
}

fn wake_or_press(subject: &Subject) -> Option<Zero> {
    let woken = wake(subject).map(|at| Zero { moment: Moment::Wake, at });
    woken.or_else(|| press(subject).map(|at| Zero { moment: Moment::Press, at }))
}

fn wake(subject: &Subject) -> Option<f64> {
    // What the verdict says never starts has no wake, however its first readings are called; a short may come with the wake,
    // after more of a standby than its first readings.
    let is_wait =
        |phase: &Phase| is_standby(subject, phase) && phase.end_s.value() - phase.start_s.value() >= RISES_S;
    let stands_by = || subject.finding.phases.iter().any(is_wait);
    if never_starts(subject.finding.verdict.class) || is_shorted(subject) && !stands_by() {
        return None;
    }
    let mut stood_by = None;
    for phase in &subject.finding.phases {
        match phase.name.as_str() {
            "off" => stood_by = None,
            _ if is_standby(subject, phase) => stood_by = Some(phase),
            // From switch-on these are no wake; after standby they are what came of it.
            "short" | "heavy load" if stood_by.is_none() => return None,
            "no draw" | "rest" | "inrush" => {}
            _ => {
                // Where the first stages are not told apart, they are not to be left out of the common time.
                let read = stood_by.and_then(|standby| unseen::wake(subject, standby, phase));
                return Some(read.unwrap_or_else(|| phase.start_s.value()));
            }
        }
    }
    None
}

const fn never_starts(class: Class) -> bool {
    match class {
        Class::NoDraw | Class::ExcessStandby | Class::StandbyOnly => true,
        Class::HardShort
        | Class::PartialShort
        | Class::LatchOff
        | Class::Cycling
        | Class::Stalled
        | Class::FullBoot
        | Class::DroppedOut
        | Class::FeedLimited
        | Class::Inconclusive => false,
    }
}

fn is_shorted(subject: &Subject) -> bool {
    matches!(subject.finding.verdict.class, Class::HardShort | Class::PartialShort)
}

/// Whether the board has not woken in that phase, be it that it waits for a person or starts by itself.
fn is_standby(subject: &Subject, phase: &Phase) -> bool {
    let standby = subject.profile.and_then(|profile| profile.standby());
    standby.map_or("standby", |standby| &standby.name) == phase.name
}

/// The press that counts: the last before the wake, which is the one that woke the board; of a board that never wakes the
/// last of all, from which the verdict counts how long it has not answered.
pub(super) fn press(subject: &Subject) -> Option<f64> {
    let woken = wake(subject).unwrap_or(f64::INFINITY);
    let presses = presses(subject);
    presses.iter().rfind(|press| **press <= woken).or(presses.first()).copied()
}

/// All marked presses of the button, in their order.
pub(super) fn presses(subject: &Subject) -> Vec<f64> {
    let events = subject.trace.events().iter().filter(|event| event.kind.is_press());
    events.map(|event| event.time.value()).collect()
}

/// When the feed came: as the log says, else the first phase with feed, else the first reading.
pub(super) fn switch_on(subject: &Subject) -> f64 {
    let events = subject.trace.events().iter();
    let told =
        events.filter(|event| event.kind == EventKind::OutputOn).map(|event| event.time.value()).next();
    let fed =
        subject.finding.phases.iter().find(|phase| phase.name != "off").map(|phase| phase.start_s.value());
    told.or(fed).or(subject.trace.time().first().copied()).unwrap_or(0.0)
}

/// The stretch to show, in seconds from the common zero.
pub(super) fn window(
    subjects: &[Subject],
    zeros: &[Zero],
    options: &Options,
) -> Result<(f64, f64), RenderError> {
    if subjects.iter().any(|subject| subject.trace.is_empty()) {
        return Err(RenderError::NoReadings);
    }
    let runs = || subjects.iter().zip(zeros);
    let first = runs().filter_map(|(run, zero)| Some(run.trace.time().first()? - zero.at));
    let last = runs().filter_map(|(run, zero)| Some(run.trace.time().last()? - zero.at));
    let (first, last) = (first.fold(f64::INFINITY, f64::min), last.fold(f64::NEG_INFINITY, f64::max));
    let (start, end) = match &options.zoom {
        Some(name) => zoomed(subjects, zeros, name)?,
        None => whole(subjects, zeros, (first, last)),
    };
    let from = options.from.map_or(start, Seconds::value);
    let to = options.to.map_or(end, Seconds::value);
    match from < to && from <= last && to >= first {
        true => Ok((from, to)),
        false if first >= last => Ok((first - 0.5, first + 0.5)),
        false => Err(RenderError::EmptyWindow { from, to, first, last }),
    }
}

/// From just before the first switch-on to the end of the last run, or to where runs that are far longer than most
/// would press these together.
fn whole(subjects: &[Subject], zeros: &[Zero], (first, last): (f64, f64)) -> (f64, f64) {
    /// Of two, one may be this many times as long as the shorter …
    const FAR_LONGER: f64 = 3.0;
    /// … and among many this many times as long as one in the middle: what goes on longer has the others pressed together
    /// for a level that no longer changes.
    const LONGER: f64 = 1.4;
    /// Share of the width before the first switch-on.
    const BEFORE: f64 = 0.03;
    let runs = || subjects.iter().zip(zeros);
    let on = runs().map(|(run, zero)| switch_on(run) - zero.at).fold(f64::INFINITY, f64::min);
    let ends = runs().filter_map(|(run, zero)| Some(crop::usual(run.trace, run.finding)?.1 - zero.at));
    let mut ends: Vec<f64> = ends.collect();
    let last = ends.iter().copied().fold(f64::NEG_INFINITY, f64::max).min(last);
    ends.sort_by(f64::total_cmp);
    let usual = ends.get(ends.len().saturating_sub(1) / 2).copied().unwrap_or(last);
    let changes = runs().filter_map(|(run, zero)| Some(last_change(run)? - zero.at));
    let settled = changes.fold(0.0, f64::max) + usual * (LONGER - 1.0);
    let to = match ends.len() {
        _ if usual <= 0.0 => last,
        // A capture that ends right after its switch-on is not to hide that the other boots.
        0..=2 => last.min((usual * FAR_LONGER).max(last_stage(subjects, zeros) * LONGER)),
        _ => last.min(settled.clamp(usual * LONGER, (usual * FAR_LONGER).max(usual * LONGER))),
    };
    let from = first.max(on - (to - on) * BEFORE);
    // A log may end at its switch-on.
    if from < to { (from, to) } else { (first, last) }
}

/// When the last of the runs is in its last stage, from the common zero.
fn last_stage(subjects: &[Subject], zeros: &[Zero]) -> f64 {
    let begins = |(run, zero): (&Subject, &Zero)| {
        let stage = run.finding.phases.iter().rfind(|phase| phase.name != "off")?;
        Some(stage.start_s.value() - zero.at)
    };
    subjects.iter().zip(zeros).filter_map(begins).fold(0.0, f64::max)
}

/// When the board last gave up a try, or fell back.
fn last_change(run: &Subject) -> Option<f64> {
    let given_up = run.finding.attempts.iter().rfind(|attempt| attempt.given_up);
    let given_up = given_up.map(|attempt| attempt.end_s.value());
    let fall = run.finding.fall.map(|fall| fall.at_s.value());
    given_up.into_iter().chain(fall).reduce(f64::max)
}

/// The named phase of every run that has it, and some of what comes before and after.
fn zoomed(subjects: &[Subject], zeros: &[Zero], name: &str) -> Result<(f64, f64), RenderError> {
    let found = subjects.iter().zip(zeros).map(|(run, zero)| {
        let (start, end) = super::parts::around_phase(run.finding, name)?;
        Ok((start - zero.at, end - zero.at))
    });
    let found: Vec<Result<(f64, f64), RenderError>> = found.collect();
    let spans: Vec<(f64, f64)> = found.iter().filter_map(|span| span.as_ref().ok().copied()).collect();
    let start = spans.iter().map(|span| span.0).min_by(f64::total_cmp);
    let end = spans.iter().map(|span| span.1).max_by(f64::total_cmp);
    match (start.zip(end), found.into_iter().next()) {
        (Some(span), _) => Ok(span),
        (None, Some(Err(error))) => Err(error),
        (None, _) => Err(RenderError::NoReadings),
    }
}
