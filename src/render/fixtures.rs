//! Runs made up for the tests of the figures.

use crate::trace::{EventKind, Header, Mode, Sample, Trace, TraceBuilder};
use crate::units::{Amps, Joules, Seconds, Volts, Watts};
use crate::verdict::{Class, Departure, Direction, Finding, LogFacts, Phase, Tool, Verdict};

/// A trace of `count` readings over `length` seconds.
pub(super) fn trace(count: u32, length: f64, amps: impl Fn(u32) -> f64) -> Trace {
    let header = Header { set_volts: Volts::new(12.8).ok(), limit: Amps::new(3.0).ok(), ..Header::default() };
    let mut builder = TraceBuilder::new(header);
    for index in 0..count {
        let time = Seconds::constant(length * f64::from(index) / f64::from(count - 1));
        let sample = Sample {
            time,
            volts: Volts::constant(12.8),
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
            resolution_a: Amps::new(0.001).ok(),
            gaps: Vec::new(),
        },
        profile: None,
        verdict: Verdict {
            class: Class::Stalled,
            confidence: 0.94,
            reached: Some("stage 3".into()),
            stalled_in: Some("stage 3".into()),
            because: vec!["0.84 A at 12.3 V for 25 s, longer than 5.2 s on good boards".into(); 4],
            runner_up: None,
        },
        phases,
        departures: (0..6).map(departure).collect(),
        power_path: Vec::new(),
        next_checks: Vec::new(),
        cautions: Vec::new(),
        limits: Vec::new(),
    }
}

/// Stages of a minute's run, some too short for their names.
pub(super) fn stages(count: u32) -> Vec<Phase> {
    let share = |index: u32| 60.0 * f64::from(index * index) / f64::from(count * count);
    (0..count).map(|index| phase(&format!("stage {index}"), share(index), share(index + 1))).collect()
}
