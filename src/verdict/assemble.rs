//! The finding, from the analyses of a log's runs.

use super::advice;
use super::departures::{Compared, departures};
use super::engine::Analysis;
use super::evidence::{because, fallen, none_could_boot};
use super::limits::limits;
use super::phases::{is_mostly_edges, phases};
use super::posterior::Probable;
use super::presses::tries_at_each_press;
use super::readout::Readout;
use super::run::unknown_feed;
use super::seen::{Ends, Seen, seconds, volts};
use super::{
    Class, Departure, Finding, LogFacts, Phase, ProfileFacts, RunVerdict, RunnerUp, Sources, Tool, Verdict,
};
use crate::reference::{Profile, Quantity};
use crate::trace::Trace;
use crate::units::{Amps, Seconds, Watts, percent};

/// A runner-up below this is not worth a word (by judgement).
const CLOSE: f64 = 0.05;

/// The finding of a log whose runs were analysed. The verdict is that of the last run that carries one; the others are
/// named among the limits.
pub(super) fn finding(
    trace: &Trace,
    readout: &Readout,
    analyses: &[Analysis],
    profile: Option<&Profile>,
    sources: &Sources,
) -> Finding {
    let log = log_facts(trace, Some(readout), sources);
    let phases = phases(trace, readout, analyses);
    match chosen(analyses) {
        Some(chosen) => of_run(
            trace,
            readout,
            analyses,
            profile,
            chosen,
            Finding { phases, ..bare(log, profile, sources) },
        ),
        None => Finding {
            verdict: unfed(trace),
            phases,
            cautions: advice::cautions(None, profile, &[]),
            ..bare(log, profile, sources)
        },
    }
}

/// The last run that carries a verdict, or else the last one.
fn chosen(analyses: &[Analysis]) -> Option<usize> {
    let carries = analyses.iter().rposition(|analysis| analysis.class() != Class::Inconclusive);
    carries.or(analyses.len().checked_sub(1))
}

/// The finding `bare` with what is to be said of the run that was chosen.
fn of_run(
    trace: &Trace,
    readout: &Readout,
    analyses: &[Analysis],
    profile: Option<&Profile>,
    chosen: usize,
    bare: Finding,
) -> Finding {
    let told = &analyses[chosen];
    let compared = compared(trace, told, readout, profile, &bare.phases);
    let phases = bare
        .phases
        .into_iter()
        .map(|phase| as_it_departs(phase, &compared.outside, readout.update_s()))
        .collect();
    let bare = Finding { phases, ..bare };
    let seen = Seen::of(trace, readout, told, profile, compared).among(&bare.phases);
    let power_path = advice::power_path(&seen);
    let next_checks = advice::next_checks(&seen, &power_path);
    let verdict = verdict(&seen);
    let limits = limits(&seen).into_iter().chain(other_runs(analyses, chosen)).collect();
    Finding {
        runs: runs(analyses, chosen, &verdict),
        fall: fallen(&seen),
        verdict,
        power_path,
        cautions: advice::cautions(Some(&seen), profile, &next_checks),
        next_checks,
        limits,
        attempts: seen.attempts,
        departures: seen.departures,
        ..bare
    }
}

/// What the run is like beside good boards, in the numbers that the phases have.
fn compared(
    trace: &Trace,
    told: &Analysis,
    readout: &Readout,
    profile: Option<&Profile>,
    phases: &[Phase],
) -> Compared {
    let compared =
        profile.map_or_else(Compared::default, |profile| departures(trace, told, readout, profile));
    let mut just_inside = settled(compared.just_inside, phases, readout);
    just_inside.retain(|near| !phases.iter().any(|phase| is_of(near, phase) && is_as_usual(near, phase)));
    Compared { outside: settled(compared.outside, phases, readout), just_inside }
}

/// A phase of so few readings that their mean is one of its edges as well, with the mean by which it departs: one stage is not to
/// have two.
fn as_it_departs(phase: Phase, outside: &[Departure], update_s: f64) -> Phase {
    let short = is_mostly_edges(phase.end_s.value() - phase.start_s.value(), update_s);
    let departs = |departure: &&Departure| short && is_mean(departure) && is_of(departure, &phase);
    let Some(measured) = outside.iter().find(departs).and_then(|one| Amps::new(one.measured).ok()) else {
        return phase;
    };
    let mean_w = Watts::new(measured.value() * phase.mean_v.value()).unwrap_or(phase.mean_w);
    Phase { mean_a: measured, mean_w, ..phase }
}

/// Whether a departure is of the mean, and said in amps.
fn is_mean(departure: &Departure) -> bool {
    departure.unit == "A" && departure.quantity == Quantity::MeanPower.name()
}

/// Whether the mean of a phase, as text and picture show it, is within the band that another cut of its readings is outside of.
fn is_as_usual(near: &Departure, phase: &Phase) -> bool {
    is_mean(near) && (near.low..=near.high).contains(&phase.mean_a.value())
}

/// The verdicts of all runs; that of the `chosen` one knows the levels of its tries, which tell more than its alignment.
fn runs(analyses: &[Analysis], chosen: usize, verdict: &Verdict) -> Vec<RunVerdict> {
    let run = |(index, analysis): (usize, &Analysis)| {
        let run = run_verdict(analysis)?;
        Some(if index == chosen { RunVerdict { reached: verdict.reached.clone(), ..run } } else { run })
    };
    analyses.iter().enumerate().filter_map(run).collect()
}

/// The finding of a log that has no readings.
pub(super) fn empty(trace: &Trace, profile: Option<&Profile>, sources: &Sources) -> Finding {
    let log = log_facts(trace, None, sources);
    Finding {
        verdict: nothing_carried(&["the log has no readings", CAPTURE]),
        cautions: advice::cautions(None, profile, &[]),
        ..bare(log, profile, sources)
    }
}

fn bare(log: LogFacts, profile: Option<&Profile>, sources: &Sources) -> Finding {
    Finding {
        tool: Tool { name: "feedtale".into(), version: env!("CARGO_PKG_VERSION").into() },
        log,
        profile: profile.map(|profile| profile_facts(profile, sources)),
        verdict: nothing_carried(&["nothing was analysed"]),
        runs: Vec::new(),
        phases: Vec::new(),
        attempts: Vec::new(),
        fall: None,
        departures: Vec::new(),
        power_path: Vec::new(),
        next_checks: Vec::new(),
        cautions: Vec::new(),
        limits: Vec::new(),
    }
}

/// What to do about a log without a run.
const CAPTURE: &str = "capture from before switch-on, with the output on";

fn unfed(trace: &Trace) -> Verdict {
    match unknown_feed(trace) {
        Some(highest) => nothing_carried(&[
            &format!("no reading shows more than {}, which feeds no board", volts(highest)),
            "if a short holds the volts down, give the log what was set: `# set_v: …` and `# limit_a: …` at its head",
        ]),
        None => nothing_carried(&["no feed volts are in the log", CAPTURE]),
    }
}

/// Whatever the board is like, this log does not tell.
fn nothing_carried(because: &[&str]) -> Verdict {
    /// Nothing can be said, and that is as sure as anything here gets.
    const SURE: f64 = 0.99;
    Verdict {
        class: Class::Inconclusive,
        confidence: SURE,
        reached: None,
        usually_in: None,
        stalled_in: None,
        step_into: None,
        asked: None,
        tries: None,
        stays_down_s: None,
        none_could_boot: None,
        because: because.iter().map(|&fact| fact.into()).collect(),
        runner_up: None,
    }
}

/// The departures with the start and the numbers that the phases have, which text and picture show: what was compared may
/// be cut by a reading or two otherwise. A length that by the phases is as on good boards is none.
fn settled(departures: Vec<Departure>, phases: &[Phase], readout: &Readout) -> Vec<Departure> {
    let settle = |departure: Departure| match phases.iter().find(|phase| is_of(&departure, phase)) {
        Some(phase) if departure.quantity == Quantity::Duration.name() => settled_length(departure, phase),
        Some(phase) => Some(Departure {
            measured: mean_of(&departure, phase, readout).unwrap_or(departure.measured),
            starts_s: phase.start_s,
            ..departure
        }),
        None => Some(departure),
    };
    departures.into_iter().filter_map(settle).collect()
}

/// The departure of a length with the length of the phase; `None` if that is as on good boards.
fn settled_length(departure: Departure, phase: &Phase) -> Option<Departure> {
    let measured = phase.end_s.value() - phase.start_s.value();
    let outside = !(departure.low..=departure.high).contains(&measured);
    outside.then_some(Departure { measured, starts_s: phase.start_s, ..departure })
}

/// Whether the departure was seen in this stay: it begins nearer to its start than to its end.
fn is_of(departure: &Departure, phase: &Phase) -> bool {
    let starts_s = departure.starts_s.value();
    phase.name == departure.phase && (phase.start_s.value() - starts_s).abs() < phase.end_s.value() - starts_s
}

/// The mean of the phase in amps, if the departure is one of it and it is as far out.
fn mean_of(departure: &Departure, phase: &Phase, readout: &Readout) -> Option<f64> {
    /// Share by which two means of a stage may differ over its edges.
    const EDGES: f64 = 0.03;
    let mean = phase.mean_a.value();
    let near = EDGES * mean.abs() + readout.step_a;
    let outside = !(departure.low..=departure.high).contains(&mean);
    (is_mean(departure) && outside && (mean - departure.measured).abs() <= near).then_some(mean)
}

fn verdict(seen: &Seen) -> Verdict {
    let analysis = seen.analysis;
    let (reached, stalled_in) = places(analysis);
    let furthest = advice::reached(seen);
    let name = |stage: usize| analysis.model.stages[stage].name.clone();
    let step_into = seen.ends.filter(|ends| furthest == Some(ends.last)).and_then(|ends| ends.into);
    let reached = furthest.map(name).or(reached.filter(|_| seen.ends.is_none_or(Ends::told)));
    Verdict {
        class: analysis.class(),
        confidence: analysis.confidence(),
        usually_in: usual_end(seen).filter(|usual| reached.as_ref().is_some_and(|reached| reached != usual)),
        reached,
        stalled_in,
        step_into: step_into.map(name),
        asked: seen.has_button().then_some(!analysis.run.presses.is_empty()),
        tries: seen
            .tries()
            .filter(|_| analysis.class() == Class::Cycling || tries_at_each_press(seen))
            .map(|tries| tries.count),
        stays_down_s: gives_up_for_good(seen),
        none_could_boot: none_could_boot(seen),
        because: because(seen),
        runner_up: second(seen),
    }
}

/// How long a board that started again and again has stayed down since.
fn gives_up_for_good(seen: &Seen) -> Option<f64> {
    let again = matches!(seen.class(), Class::Cycling | Class::FeedLimited);
    seen.tries().filter(|_| again).and_then(|tries| tries.stays_down(seen.analysis.run.end_s))
}

/// The stage in which more than half of the tries end that were given up, of a board that tries again and again.
fn usual_end(seen: &Seen) -> Option<String> {
    let gives_up = matches!(seen.class(), Class::LatchOff | Class::Cycling | Class::FeedLimited);
    let tries = seen.tries().filter(|tries| gives_up && 2 * tries.ended_there > tries.count)?;
    tries.ended_in.filter(|_| seen.ends.is_none_or(|ends| ends.into.is_none()))
}

/// The classes that the verdict may be, without a limit that stops the board where readings and reference have no sign of
/// it: what is left to it then is what the model gives to any class.
fn with_some_ground(probable: &[Probable], limit_may_stop: bool) -> Vec<Probable> {
    /// A share that is no longer only that (by judgement).
    const MUCH: f64 = 0.2;
    let groundless =
        |other: &Probable| other.class == Class::FeedLimited && other.probability < MUCH && !limit_may_stop;
    let ranked = probable.iter().enumerate();
    ranked.filter(|(rank, other)| *rank == 0 || !groundless(other)).map(|(_, other)| *other).collect()
}

/// What else the verdict on a run may be.
pub(super) fn second(seen: &Seen) -> Option<RunnerUp> {
    runner_up(&with_some_ground(&seen.analysis.probable, advice::limit_may_stop(seen)))
}

/// What else it may be, of classes that stand likeliest first.
fn runner_up(probable: &[Probable]) -> Option<RunnerUp> {
    let second = probable.get(1).filter(|second| second.probability >= CLOSE)?;
    Some(RunnerUp { class: second.class, confidence: second.probability })
}

fn run_verdict(analysis: &Analysis) -> Option<RunVerdict> {
    let (reached, stalled_in) = places(analysis);
    Some(RunVerdict {
        start_s: Seconds::new(analysis.run.start_s).ok()?,
        end_s: Seconds::new(analysis.run.end_s).ok()?,
        class: analysis.class(),
        confidence: analysis.confidence(),
        reached,
        stalled_in,
    })
}

/// The furthest stage that was reached, and the one that the board stays in if it is stalled.
fn places(analysis: &Analysis) -> (Option<String>, Option<String>) {
    let stage = |index: usize| analysis.model.stages[index].name.clone();
    let standing = analysis.path.last().and_then(|step| step.state.stage());
    let stalled = standing.filter(|_| analysis.class() == Class::Stalled).map(stage);
    (advice::aligned(analysis).map(stage).or_else(|| reached_standby(analysis)), stalled)
}

fn reached_standby(analysis: &Analysis) -> Option<String> {
    let rests = matches!(analysis.class(), Class::StandbyOnly | Class::ExcessStandby);
    // A board that starts by itself has no standby to get to: it did not start at all.
    let has_one = !analysis.model.of_this_board || analysis.model.standby.watts.is_some();
    (rests && has_one).then(|| analysis.model.standby.name.clone())
}

fn other_runs(analyses: &[Analysis], chosen: usize) -> Option<String> {
    let describe = |analysis: &Analysis| {
        let (from, to) = (seconds(analysis.run.start_s), seconds(analysis.run.end_s));
        match analysis.class() {
            Class::Inconclusive => format!("{from} to {to}: undecided"),
            class => format!("{from} to {to}: {class}, {} sure", percent(analysis.confidence())),
        }
    };
    let others: Vec<String> = analyses
        .iter()
        .enumerate()
        .filter(|(index, _)| *index != chosen)
        .map(|(_, analysis)| describe(analysis))
        .collect();
    (!others.is_empty()).then(|| {
        format!(
            "the log holds {} runs and the verdict is of one; the others: {}",
            analyses.len(),
            others.join("; ")
        )
    })
}

fn log_facts(trace: &Trace, readout: Option<&Readout>, sources: &Sources) -> LogFacts {
    let header = trace.header();
    LogFacts {
        path: sources.log_path.clone(),
        sha256: sources.log_sha256.clone(),
        board: header.board.clone(),
        serial: header.serial.clone(),
        ticket: header.ticket.clone(),
        feed_point: header.feed_point.clone(),
        started: header.started.map(|at| at.to_rfc3339()),
        supply: header.supply.clone(),
        set_v: header.set_volts,
        limit_a: header.limit,
        samples: trace.len(),
        duration_s: trace.duration(),
        poll_hz: readout.and_then(|readout| readout.poll_hz),
        changed_hz: readout.and_then(|readout| readout.changed_hz),
        renewed_s: readout
            .filter(|readout| readout.poll_hz.is_some())
            .and_then(|readout| Seconds::new(readout.update_s()).ok()),
        resolution_a: readout.and_then(|readout| readout.resolution_a).and_then(|step| Amps::new(step).ok()),
        zero_a: readout.and_then(|readout| Amps::new(readout.zero_a).ok()),
        gaps: readout.map_or_else(Vec::new, |readout| readout.gaps.clone()),
    }
}

fn profile_facts(profile: &Profile, sources: &Sources) -> ProfileFacts {
    ProfileFacts {
        name: profile.board.clone(),
        path: sources.profile_path.clone(),
        sha256: sources.profile_sha256.clone(),
        boards: profile.learned.boards,
        captures: profile.learned.captures,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Joules, Volts};
    use crate::verdict::Direction;

    fn loading(start: f64, end: f64) -> Phase {
        Phase {
            name: "loading".into(),
            start_s: Seconds::constant(start),
            end_s: Seconds::constant(end),
            mean_a: Amps::constant(1.0),
            min_a: Amps::constant(0.9),
            max_a: Amps::constant(1.1),
            mean_v: Volts::constant(12.8),
            mean_w: Watts::constant(12.8),
            energy_j: Joules::constant(100.0),
            activity_w: Watts::constant(0.1),
            period_s: None,
        }
    }

    #[test]
    fn whatever_takes_most_of_the_doubt_about_a_verdict_is_named() {
        let second = |probability: f64| {
            let of = |class, probability| Probable { class, probability, ending: None };
            runner_up(&[of(Class::PartialShort, 0.98 - probability), of(Class::FeedLimited, probability)])
        };
        assert_eq!(second(0.09).map(|second| second.class), Some(Class::FeedLimited));
        assert_eq!(second(0.02), None);
        assert_eq!(runner_up(&[]), None);
    }

    #[test]
    fn a_limit_that_nothing_points_to_is_named_only_if_it_is_much_of_the_doubt() {
        let named = |limited: f64, limit_may_stop: bool| {
            let of = |class, probability| Probable { class, probability, ending: None };
            let probable = [of(Class::DroppedOut, 0.94 - limited), of(Class::FeedLimited, limited)];
            runner_up(&with_some_ground(&probable, limit_may_stop)).map(|second| second.class)
        };
        assert_eq!(named(0.06, false), None);
        assert_eq!(named(0.06, true), Some(Class::FeedLimited));
        assert_eq!(named(0.3, false), Some(Class::FeedLimited));
    }

    #[test]
    fn a_length_is_that_of_the_phase_and_no_departure_where_that_is_as_on_good_boards() {
        let short = Departure {
            phase: "loading".into(),
            quantity: Quantity::Duration.name().into(),
            direction: Direction::Shorter,
            measured: 1.2,
            low: 7.6,
            high: 16.6,
            unit: "s".into(),
            starts_s: Seconds::constant(13.1),
        };
        assert_eq!(settled_length(short.clone(), &loading(13.2, 24.9)), None);
        let settled = settled_length(short, &loading(13.2, 14.2)).expect("shorter than good boards");
        assert!((settled.measured - 1.0).abs() < 1e-9 && (settled.starts_s.value() - 13.2).abs() < 1e-9);
    }

    #[test]
    fn a_mean_that_text_and_picture_show_within_the_band_is_not_said_to_be_beside_it() {
        // The mean of the phase is 1.0 A.
        assert!(is_as_usual(&near(0.9), &loading(13.2, 24.9)));
        assert!(!is_as_usual(&near(1.1), &loading(13.2, 24.9)));
    }

    #[test]
    fn a_stage_that_is_mostly_edges_has_the_mean_by_which_it_departs() {
        let mean = |end: f64| as_it_departs(loading(13.2, end), &[near(0.9)], 0.1);
        let short = mean(13.8);
        assert!(
            (short.mean_a.value() - 0.8).abs() < 1e-9 && (short.mean_w.value() - 0.8 * 12.8).abs() < 1e-9
        );
        assert!(
            (mean(24.9).mean_a.value() - 1.0).abs() < 1e-9,
            "of many readings the mean is that of the level"
        );
    }

    fn near(low: f64) -> Departure {
        Departure {
            phase: "loading".into(),
            quantity: Quantity::MeanPower.name().into(),
            direction: Direction::Below,
            measured: 0.8,
            low,
            high: 1.4,
            unit: "A".into(),
            starts_s: Seconds::constant(13.1),
        }
    }
}
