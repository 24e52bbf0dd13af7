//! Runs made up for the tests of the figures.

use super::geometry::Rect;
use super::options::{Options, Size};
use super::scene::{Scene, Shape};
use super::theme::Theme;
use crate::reference::Profile;
use crate::trace::{EventKind, Header, Mode, Sample, Trace, TraceBuilder};
use crate::units::{Amps, Joules, Seconds, Volts, Watts};
use crate::verdict::{Attempt, Class, Departure, Direction, Finding, LogFacts, Phase, Tool, Verdict};
use proptest::prelude::*;
use std::path::Path;

/// A trace of `count` readings over `length` seconds.
pub(super) fn trace(count: u32, length: f64, amps: impl Fn(u32) -> f64) -> Trace {
    trace_at(count, length, amps, |_| 12.8)
}

/// The same with volts of its own.
pub(super) fn trace_at(
    count: u32,
    length: f64,
    amps: impl Fn(u32) -> f64,
    volts: impl Fn(u32) -> f64,
) -> Trace {
    let header = Header { set_volts: Volts::new(12.8).ok(), limit: Amps::new(3.0).ok(), ..Header::default() };
    let mut builder = TraceBuilder::new(header);
    for index in 0..count {
        let time = Seconds::constant(length * f64::from(index) / f64::from(count - 1));
        let sample = Sample {
            time,
            volts: Volts::constant(volts(index)),
            amps: Amps::constant(amps(index)),
            mode: Mode::Unknown,
            span: None,
        };
        builder.sample(sample).unwrap();
        if index == count / 7 {
            builder
                .event(time, EventKind::Mark("power button, pressed by the person at the bench".into()))
                .unwrap();
            builder.event(time, EventKind::OutputOn).unwrap();
        }
    }
    builder.finish()
}

pub(super) fn phase(name: &str, start: f64, end: f64) -> Phase {
    Phase {
        name: name.into(),
        start_s: Seconds::constant(start),
        end_s: Seconds::constant(end),
        mean_a: Amps::constant(0.8),
        min_a: Amps::constant(0.0),
        max_a: Amps::constant(1.6),
        mean_v: Volts::constant(12.8),
        mean_w: Watts::constant(10.0),
        energy_j: Joules::constant(10.0),
        activity_w: Watts::constant(0.1),
        period_s: None,
    }
}

pub(super) fn finding(phases: Vec<Phase>) -> Finding {
    let departure = |index: u32| Departure {
        phase: format!("stage {index}"),
        quantity: "mean power".into(),
        direction: Direction::Above,
        measured: 1.6,
        low: 0.7,
        high: 0.9,
        unit: "A".into(),
        starts_s: Seconds::constant(f64::from(index) * 2.9),
    };
    Finding {
        tool: Tool { name: "feedtale".into(), version: "0".into() },
        log: LogFacts {
            path: "bench/a log with a long name that goes on and on.csv".into(),
            sha256: String::new(),
            board: Some("a board whose name somebody made very long indeed to see what happens".into()),
            serial: Some("FE-0231".into()),
            ticket: Some("T-1042".into()),
            feed_point: Some("battery connector".into()),
            started: Some("2026-03-02T09:00:00Z".into()),
            supply: Some("bench supply, two channels, a long identification, 1.2.3".into()),
            set_v: Volts::new(12.8).ok(),
            limit_a: Amps::new(3.0).ok(),
            samples: 600,
            duration_s: Seconds::new(60.0).ok(),
            poll_hz: Some(10.0),
            changed_hz: Some(9.7),
            renewed_s: None,
            zero_a: None,
            resolution_a: Amps::new(0.001).ok(),
            gaps: Vec::new(),
        },
        profile: None,
        verdict: Verdict {
            class: Class::Stalled,
            confidence: 0.94,
            reached: Some("stage 3".into()),
            usually_in: None,
            stalled_in: Some("stage 3".into()),
            step_into: None,
            asked: None,
            tries: None,
            stays_down_s: None,
            none_could_boot: None,
            because: vec!["0.84 A at 12.3 V for 25 s, longer than 5.2 s on good boards".into(); 4],
            runner_up: None,
        },
        runs: Vec::new(),
        phases,
        attempts: Vec::new(),
        fall: None,
        departures: (0..6).map(departure).collect(),
        power_path: Vec::new(),
        next_checks: Vec::new(),
        cautions: Vec::new(),
        limits: Vec::new(),
    }
}

/// A run that starts `count` times, once every three seconds, and is in the last start when the log ends.
pub(super) fn cycling(count: u32) -> Finding {
    let level = |name: &str, start: f64, end: f64, mean: f64| Phase {
        mean_a: Amps::constant(mean),
        max_a: Amps::constant(mean),
        ..phase(name, start, end)
    };
    let start = |attempt: u32| 6.0 + 3.0 * f64::from(attempt);
    let mut phases = vec![level("off", 0.0, 2.0, 0.0), level("standby", 2.0, 6.0, 0.03)];
    for at in (0..count).map(start) {
        phases.push(level("rails", at, at + 0.5, 0.2));
        phases.push(level("firmware", at + 0.5, at + 2.0, 0.7));
        phases.push(level("rest", at + 2.0, at + 3.0, 0.03));
    }
    phases.pop();
    let mut finding = finding(phases);
    let attempt = |index: u32| Attempt {
        start_s: Seconds::constant(start(index)),
        end_s: Seconds::constant(start(index) + 2.0),
        ended_in: Some("firmware".into()),
        peak_a: Amps::constant(0.7),
        lowest_v: Volts::constant(12.8),
        likely_in: None,
        earliest_in: None,
        given_up: index + 1 < count,
    };
    finding.attempts = (0..count).map(attempt).collect();
    finding.departures.clear();
    finding.verdict.class = Class::Cycling;
    finding.verdict.reached = Some("firmware".into());
    finding.verdict.stalled_in = None;
    finding
}

/// Stages of a minute's run, some too short for their names.
pub(super) fn stages(count: u32) -> Vec<Phase> {
    let share = |index: u32| 60.0 * f64::from(index * index) / f64::from(count * count);
    (0..count).map(|index| phase(&format!("stage {index}"), share(index), share(index + 1))).collect()
}

/// The profile of a laptop board that comes with the program.
pub(super) fn profile() -> Profile {
    let text = include_str!("../../profiles/harrow-13.toml");
    Profile::from_bytes(Path::new("harrow-13.toml"), text.as_bytes()).unwrap()
}

/// How many moments have a flag: a triangle, where the dot of a note has four corners.
pub(super) fn flags(scene: &Scene) -> usize {
    let is_flag = |shape: &&Shape| matches!(shape, Shape::Polygon { points, .. } if points.len() == 3);
    scene.shapes.iter().filter(is_flag).count()
}

/// No label over another, none beyond the sheet, none below a box, none cut to a few letters.
#[track_caller]
pub(super) fn assert_legible(scene: &Scene) {
    assert_uncovered(scene);
    let letters = |text: &str| text.chars().filter(|c| c.is_alphanumeric()).count();
    let cut = scene.labels().find(|label| label.text.ends_with('…') && letters(&label.text) < 4);
    assert!(cut.is_none(), "{cut:?} says nothing");
    let labels: Vec<(&str, Rect)> =
        scene.labels().map(|label| (label.text.as_str(), label.bounds())).collect();
    let size = (scene.width, scene.height);
    for (index, (text, bounds)) in labels.iter().enumerate() {
        assert!(scene.bounds().holds(*bounds), "{size:?}: {text:?} at {bounds:?} leaves the sheet");
        for (other, taken) in &labels[..index] {
            assert!(!bounds.overlaps(*taken), "{size:?}: {text:?} over {other:?}");
        }
    }
}

/// Nothing that is painted later hides a label.
#[track_caller]
fn assert_uncovered(scene: &Scene) {
    for (index, shape) in scene.shapes.iter().enumerate() {
        let Shape::Text(label) = shape else { continue };
        for later in &scene.shapes[index + 1..] {
            let size = (scene.width, scene.height);
            assert!(!meets(later, label.bounds()), "{size:?}: {:?} below {later:?}", label.text);
        }
    }
}

/// Whether a shape is drawn on some of `spot`.
fn meets(shape: &Shape, spot: Rect) -> bool {
    match shape {
        Shape::Fill { area, .. } | Shape::Hatch { area, .. } | Shape::Dashed { area, .. } => {
            area.overlaps(spot)
        }
        Shape::Steps { left, spans, clip, .. } => {
            let spot = spot.intersection(*clip);
            if spot.is_empty() {
                return false;
            }
            let columns = (*left..).zip(spans).filter(|(x, _)| (spot.left..spot.right).contains(x));
            columns.filter_map(|(_, span)| *span).any(|span| {
                let from = span.enter.map_or(span.top, |enter| enter.min(span.top));
                let to = span.enter.map_or(span.bottom, |enter| enter.max(span.bottom));
                from < spot.bottom && spot.top <= to
            })
        }
        Shape::Line { from, to, .. } => {
            let steps = (from.0 - to.0).abs().max((from.1 - to.1).abs()).max(1);
            let at = |a: i32, b: i32, step: i32| a + (b - a) * step / steps;
            (0..=steps)
                .map(|step| (at(from.0, to.0, step), at(from.1, to.1, step)))
                .any(|(x, y)| (spot.left..spot.right).contains(&x) && (spot.top..spot.bottom).contains(&y))
        }
        Shape::Polygon { .. } | Shape::Text(_) => false,
    }
}

/// From the smallest figure to a page, lying and upright.
pub(super) fn sizes() -> [Size; 7] {
    let of = |width, height| Size::new(width, height).unwrap();
    [Size::WIDE, Size::PHONE, Size::A4, of(640, 480), of(480, 360), of(2480, 3508), of(3000, 360)]
}

/// Any way to look at a figure.
pub(super) fn any_options() -> impl Strategy<Value = Options> {
    let dpi = prop::sample::select(vec![None, Some(72), Some(144), Some(300)]);
    let theme = prop::sample::select(vec![Theme::Light, Theme::Dark]);
    (prop::sample::select(sizes().to_vec()), dpi, theme).prop_map(|(size, dpi, theme)| Options {
        size,
        dpi,
        theme,
        ..Options::default()
    })
}

/// Words of any characters; without an ellipsis of their own, by which a label that was cut is known.
pub(super) fn any_words(most: usize) -> impl Strategy<Value = String> {
    prop::string::string_regex(&format!("\\PC{{0,{most}}}"))
        .unwrap()
        .prop_map(|words| words.replace('…', "."))
}

/// A run with phases, marks and departures of any name and length, under any verdict.
pub(super) fn any_run() -> impl Strategy<Value = (Trace, Finding)> {
    let name = prop_oneof![
        3 => prop::sample::select(vec!["off", "standby", "rails", "firmware", "loading", "picture", "attempt", "rest"])
            .prop_map(String::from),
        1 => "[a-z ]{1,60}",
        1 => any_words(20),
    ];
    let phases = prop::collection::vec((name, 0.05..4.0_f64, 0.0..2.5_f64), 0..25);
    let marks = prop::collection::vec((0.0..1.0_f64, "[a-z ]{0,40}|power button"), 0..12);
    let class = prop::sample::select(Class::ALL.to_vec());
    (phases, marks, class, 2..900_u32, prop::collection::vec(any_words(40), 0..4))
        .prop_map(|(phases, marks, class, count, because)| run(&phases, marks, class, count, because))
}

fn run(
    levels: &[(String, f64, f64)],
    mut marks: Vec<(f64, String)>,
    class: Class,
    count: u32,
    because: Vec<String>,
) -> (Trace, Finding) {
    let total: f64 = levels.iter().map(|(_, length, _)| length).sum::<f64>().max(1.0);
    let mut start = 0.0;
    let mut phases = Vec::new();
    for (name, length, mean) in levels {
        let mean_a = Amps::constant(*mean);
        phases.push(Phase { mean_a, max_a: mean_a, ..phase(name, start, start + length) });
        start += length;
    }
    let level = |t: f64| {
        let standing = phases.iter().find(|phase| t < phase.end_s.value());
        standing.map_or(0.0, |phase| phase.mean_a.value())
    };
    marks.sort_by(|a, b| a.0.total_cmp(&b.0));
    let header = Header { set_volts: Volts::new(13.0).ok(), limit: Amps::new(2.0).ok(), ..Header::default() };
    let mut builder = TraceBuilder::new(header);
    let mut marks = marks.into_iter().peekable();
    for index in 0..count {
        let time = total * f64::from(index) / f64::from(count - 1);
        while let Some((at, word)) = marks.next_if(|(at, _)| at * total < time) {
            builder.event(Seconds::constant(at * total), EventKind::Mark(word)).unwrap();
        }
        let amps = level(time);
        let mode = if amps > 2.0 { Mode::ConstantCurrent } else { Mode::ConstantVoltage };
        let (time, amps) = (Seconds::constant(time), Amps::constant(amps.min(2.0)));
        let volts = Volts::constant(if amps.value() < 2.0 { 13.0 } else { 6.0 });
        builder.sample(Sample { time, volts, amps, mode, span: None }).unwrap();
    }
    let stages: Vec<String> = phases.iter().map(|phase| phase.name.clone()).collect();
    let mut finding = finding(phases);
    finding.departures.truncate(stages.len());
    for (departure, stage) in finding.departures.iter_mut().zip(&stages) {
        departure.phase.clone_from(stage);
    }
    finding.verdict.class = class;
    finding.verdict.reached = stages.last().cloned();
    finding.verdict.stalled_in = stages.last().cloned();
    finding.verdict.because = because;
    (builder.finish(), finding)
}
