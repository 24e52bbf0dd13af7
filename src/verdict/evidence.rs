//! The facts that decided, in numbers that a technician can check.

use super::Class;
use super::align::{State, Step};
use super::engine::Analysis;
use crate::reference::GAIN_ERROR;
use crate::units::{Seconds, Volts, counted, how_often, in_steps, to_the_place_of};

/// Amps no finer than the supply reads them.
fn amps(analysis: &Analysis, value: f64) -> String {
    in_steps(value, analysis.step_a, "A")
}

/// Amps that were set, not read.
fn setting(limit: f64) -> String {
    in_steps(limit, 0.0, "A")
}

/// What the short measures as seen from the supply, and how well that is known: what each readback may be off by, and
/// half a step of the amps.
fn ohms(analysis: &Analysis, volts: f64, amps: f64) -> String {
    let amps = amps.abs().max(1e-6);
    let ohms = volts.abs() / amps;
    let uncertainty = ohms * (2.0 * GAIN_ERROR + analysis.step_a / 2.0 / amps);
    let shown = in_steps(ohms, 0.0, "Ω");
    format!("{shown} ± {}, leads included", to_the_place_of(&shown, ohms, uncertainty))
}

fn volts(value: f64) -> String {
    Volts::new(value).map_or_else(|_| "?".into(), |volts| volts.to_string())
}

/// Watts no finer than the amps behind them.
fn watts(analysis: &Analysis, value: f64) -> String {
    in_steps(value, analysis.step_a * analysis.run.set_v, "W")
}

pub(super) fn seconds(value: f64) -> String {
    Seconds::new(value).map_or_else(|_| "?".into(), |time| time.to_string())
}

/// The three or four facts behind the verdict on one run.
pub(super) fn because(analysis: &Analysis) -> Vec<String> {
    let Some(last) = analysis.path.last() else {
        return vec!["the run holds no reading with feed".into()];
    };
    let mut facts = match analysis.class() {
        Class::NoDraw => no_draw(analysis, last),
        Class::HardShort | Class::PartialShort => short(analysis, last),
        Class::ExcessStandby | Class::StandbyOnly => at_standby(analysis, last),
        Class::LatchOff | Class::Cycling | Class::FeedLimited => tries(analysis, last),
        Class::Stalled => stalled(analysis, last),
        Class::FullBoot | Class::DroppedOut => course(analysis),
        Class::Inconclusive => inconclusive(analysis, last),
    };
    if !analysis.explained && analysis.class() == Class::Inconclusive {
        facts.insert(0, "the run fits none of the explanations well".into());
    }
    if facts.len() < 4 && analysis.leak_w > 0.0 {
        facts.push(format!(
            "{} more than the usual standby, from before the wake on",
            watts(analysis, analysis.leak_w)
        ));
    }
    facts
}

fn held(analysis: &Analysis, step: &Step) -> String {
    let stretch = &step.stretch;
    format!(
        "{} at {} for {}, from {} on",
        amps(analysis, stretch.amps),
        volts(stretch.volts),
        seconds(stretch.duration()),
        seconds(stretch.start_s)
    )
}

fn no_draw(analysis: &Analysis, last: &Step) -> Vec<String> {
    let run = &analysis.run;
    vec![
        format!("feed present at {} from {} on", volts(last.stretch.volts), seconds(run.start_s)),
        format!(
            "mean current {} over {}",
            amps(analysis, last.stretch.amps),
            seconds(last.stretch.duration())
        ),
        pressed(analysis),
    ]
}

fn short(analysis: &Analysis, last: &Step) -> Vec<String> {
    let (run, stretch) = (&analysis.run, &last.stretch);
    let since = stretch.start_s - run.start_s;
    let from =
        if since < 1.0 { "switch-on".to_string() } else { format!("{} after switch-on", seconds(since)) };
    let ohms = ohms(analysis, stretch.volts, stretch.amps);
    let share = 100.0 * stretch.volts / run.set_v;
    let mut facts = vec![
        format!("{} at {} from {from} on: {ohms}", amps(analysis, stretch.amps), volts(stretch.volts)),
        format!("the feed stands at {share:.0} % of its {}", volts(run.set_v)),
    ];
    match run.limit_a {
        Some(limit) if stretch.limit > 0.5 => {
            facts.push(format!("the supply sits in its limit of {}", setting(limit)));
        }
        Some(limit) => facts.push(format!("below the limit of {}", setting(limit))),
        None => {}
    }
    if since >= 1.0 {
        facts.push("the board drew its standby before: the load comes with the wake".into());
    } else {
        facts.push(format!("no sequence before it, and steady for {}", seconds(stretch.duration())));
    }
    facts
}

fn at_standby(analysis: &Analysis, last: &Step) -> Vec<String> {
    let standby = &analysis.model.standby;
    let mut facts = vec![held(analysis, last)];
    match standby.watts {
        Some(typical) => facts.push(format!(
            "good boards of this model stand by at {} (up to {}); this one draws {}",
            watts(analysis, typical),
            watts(analysis, standby.high),
            watts(analysis, last.stretch.watts)
        )),
        None if last.stretch.watts < standby.high => {
            facts.push(format!("below the {} at which such boards are awake", watts(analysis, standby.high)));
        }
        None => facts.push(format!(
            "{}, where such boards stand by below {}; nothing follows that an awake board would do",
            watts(analysis, last.stretch.watts),
            watts(analysis, standby.high)
        )),
    }
    facts.push(pressed(analysis));
    facts
}

fn pressed(analysis: &Analysis) -> String {
    let run = &analysis.run;
    match run.presses.last() {
        Some(press) => format!(
            "power button marked {}, last at {}; no wake in the {} after it",
            how_often(run.presses.len()),
            seconds(*press),
            seconds(run.end_s - press)
        ),
        None => format!("no wake in {} of feed; no button is marked", seconds(run.duration())),
    }
}

fn is_awake(step: &Step) -> bool {
    step.state.stage().is_some() || matches!(step.state, State::Surge | State::Burst | State::Starved)
}

/// Attempts: maximal stretches above standby; (start, end, highest mean watts).
fn attempts(analysis: &Analysis) -> Vec<(f64, f64)> {
    let mut found: Vec<(f64, f64)> = Vec::new();
    let mut open = false;
    for step in &analysis.path {
        if is_awake(step) {
            match found.last_mut() {
                Some(attempt) if open => attempt.1 = step.stretch.end_s,
                _ => found.push((step.stretch.start_s, step.stretch.end_s)),
            }
        }
        open = is_awake(step);
    }
    found
}

fn tries(analysis: &Analysis, last: &Step) -> Vec<String> {
    let attempts = attempts(analysis);
    let mut facts = Vec::new();
    if let (Some(first), Some(end)) = (attempts.first(), attempts.last()) {
        let mean = attempts.iter().map(|(a, b)| b - a).sum::<f64>() / count(attempts.len());
        facts.push(format!(
            "{} between {} and {}, of {}{}",
            counted(attempts.len(), "attempt"),
            seconds(first.0),
            seconds(end.1),
            seconds(mean),
            if attempts.len() > 1 { " each on average" } else { "" }
        ));
        if attempts.len() > 1 {
            let period = (end.0 - first.0) / count(attempts.len() - 1);
            facts.push(format!("one every {}", seconds(period)));
        }
    }
    facts.extend(starving(analysis));
    if analysis.class() == Class::LatchOff {
        facts.push(format!("at the end {}", held(analysis, last)));
    }
    facts.truncate(4);
    facts
}

fn count(n: usize) -> f64 {
    f64::from(u32::try_from(n).unwrap_or(u32::MAX))
}

fn starving(analysis: &Analysis) -> Option<String> {
    /// The feed of a board that is switched on rises from nothing, which is no giving way, in seconds.
    const RISES_S: f64 = 1.0;
    let risen = analysis.run.start_s + RISES_S;
    let gave_way = |step: &&Step| step.state == State::Starved && step.stretch.start_s >= risen;
    let starved: Vec<&Step> = analysis.path.iter().filter(gave_way).collect();
    let lowest = starved.iter().map(|step| step.stretch.volts).fold(f64::INFINITY, f64::min);
    let limit =
        analysis.run.limit_a.map_or(String::new(), |limit| format!(" with the limit at {}", setting(limit)));
    let need = analysis.model.peak_w.map_or(String::new(), |peak| {
        format!("; a good boot peaks at {}, so set more", amps(analysis, peak / analysis.run.set_v))
    });
    lowest.is_finite().then(|| {
        format!("the feed gives way {}, down to {}{limit}{need}", how_often(starved.len()), volts(lowest))
    })
}

fn stalled(analysis: &Analysis, last: &Step) -> Vec<String> {
    let mut facts = course(analysis);
    if let Some(stage) = last.state.stage().map(|stage| &analysis.model.stages[stage]) {
        let usual = stage.duration.map_or(String::new(), |span| {
            format!("; good boards leave it after {} (at most {})", seconds(span.typical), seconds(span.high))
        });
        facts.push(format!("in {} for {}{usual}", stage.name, seconds(last.stretch.duration())));
    }
    facts.reverse();
    facts.truncate(4);
    facts
}

/// The stages gone through, in order.
fn course(analysis: &Analysis) -> Vec<String> {
    let mut facts: Vec<String> = Vec::new();
    let stages: Vec<String> = analysis
        .path
        .iter()
        .filter_map(|step| Some((step, &analysis.model.stages[step.state.stage()?])))
        .map(|(step, stage)| format!("{} at {}", stage.name, seconds(step.stretch.start_s)))
        .collect();
    if !stages.is_empty() {
        facts.push(format!("stages reached: {}", stages.join(", ")));
    }
    if let Some(last) = analysis.path.last() {
        facts.push(format!("at the end {}", held(analysis, last)));
        let expected = last.state.stage().map(|stage| &analysis.model.stages[stage]);
        facts.extend(expected.map(|stage| {
            format!(
                "{} here, {} usual in {}",
                watts(analysis, last.stretch.watts),
                watts(analysis, stage.watts),
                stage.name
            )
        }));
    }
    facts
}

fn inconclusive(analysis: &Analysis, last: &Step) -> Vec<String> {
    // The last level and not the mean since switch-on, which holds the rise of the feed.
    let end = analysis.pieces.get(last.to - 1);
    let end = end.map(|piece| format!("at the end {} at {}", amps(analysis, piece.amps), volts(piece.volts)));
    std::iter::once(format!("{} of feed were captured", seconds(analysis.run.duration())))
        .chain(end)
        .collect()
}
