//! Learning, as the program's user meets it: stages are found without help, and what does not fit is named.
//!
//! The captures are made here: levels of an invented board with a busy stage that wanders, written as logs.

use crate::simulated::{good_of, judged, logged, named, scenario, supplies};
use feedtale::reference::{Capture, LearnError, Profile, Request, Unfit, learn, update};
use feedtale::simulator::{Alteration, Case, SupplyKind};
use feedtale::trace;
use feedtale::verdict::{Class, Finding};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::fmt::Write;

/// Watts, seconds, and how much the load wanders, of each stage; the first lasts as long as the person waits.
const STAGES: [(f64, f64, f64); 4] = [(0.3, 4.0, 0.0), (2.4, 0.9, 0.0), (8.0, 4.0, 0.03), (14.0, 7.0, 0.25)];
const RUNNING: (f64, f64, f64) = (5.5, 15.0, 0.0);

/// A log at `volts` of the board of `seed`; `stall` ends it in the third stage.
fn capture(seed: u64, volts: f64, stall: bool) -> Capture {
    capture_running(seed, volts, stall, RUNNING.1)
}

/// The same, run for so many seconds.
fn capture_running(seed: u64, volts: f64, stall: bool, running_s: f64) -> Capture {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let board = 1.0 + random.random_range(-0.05..0.05);
    let mut text = format!("# log: 1\n# board: larch-7\n# serial: L{seed}\n# set_v: {volts}\n# limit_a: 3\n");
    text.push_str("t_s,volts,amps\n");
    let (mut time, mut wander) = (0.0_f64, 0.0_f64);
    let running = (RUNNING.0, running_s, RUNNING.2);
    let stages = STAGES.iter().chain([&running]).take(if stall { 3 } else { 5 });
    for (index, (watts, seconds, busy)) in stages.enumerate() {
        let spread = if index == 0 { 0.6 } else { 0.08 };
        let mut seconds = seconds * (1.0 + random.random_range(-spread..spread));
        if stall && index == 2 {
            seconds = 30.0;
        }
        let ends = time + seconds;
        while time < ends {
            wander = 0.7 * wander + random.random_range(-1.0..1.0);
            let amps = watts * board * (busy * wander).exp() / volts;
            let _ = writeln!(text, "{time:.3},{volts:.3},{amps:.3}");
            time += 0.1;
        }
    }
    let log = trace::read(text.as_bytes()).unwrap();
    Capture { name: format!("good-{seed}.csv"), sha256: log.sha256, trace: log.trace }
}

fn request() -> Request {
    Request { board: "larch-7".into(), date: "2026-03-02".into(), ..Request::default() }
}

fn good() -> Vec<Capture> {
    [12.6, 12.8, 13.0, 12.8, 12.9].iter().zip(1..).map(|(volts, seed)| capture(seed, *volts, false)).collect()
}

#[test]
fn the_boards_own_stages_are_found_without_help() {
    let found = learn(&good(), &request()).unwrap();
    assert_eq!(found.refused, []);
    let profile = found.profile;
    let names: Vec<&str> = profile.phases.iter().map(|phase| phase.name.as_str()).collect();
    assert_eq!(names, ["standby", "stage 1", "stage 2", "stage 3", "running"]);
    assert!(profile.phases[0].waits_for_person);
    assert_eq!((profile.learned.boards, profile.learned.captures), (5, 5));
    for (phase, (watts, seconds, _)) in profile.phases.iter().zip(STAGES.iter().chain([&RUNNING])) {
        assert!((phase.mean_power.typical / watts).ln().abs() < 0.15, "{phase:?} against {watts} W");
        if let Some(duration) = phase.duration {
            assert!((duration.typical / seconds).ln().abs() < 0.2, "{phase:?} against {seconds} s");
        }
    }
    assert_eq!(Profile::from_toml(&profile.to_toml()).unwrap(), profile);
}

#[test]
fn a_log_of_hours_shows_the_stages_of_one_of_a_minute() {
    let found = learn(&[capture_running(1, 12.8, false, 7200.0)], &request()).unwrap();
    let names: Vec<&str> = found.profile.phases.iter().map(|phase| phase.name.as_str()).collect();
    assert_eq!(names, ["standby", "stage 1", "stage 2", "stage 3", "running"]);
}

/// Learning takes time with the square of the changes: what no good board's start shows is refused with what to do.
#[test]
fn a_log_that_goes_up_and_down_thousands_of_times_is_refused() {
    let mut text = String::from("# log: 1\n# board: larch-7\n# set_v: 12.8\n# limit_a: 3\nt_s,volts,amps\n");
    let mut random = ChaCha8Rng::seed_from_u64(1);
    let mut level = 0.0;
    for index in 0..80_000_u32 {
        if index % 8 == 0 {
            level = [0.01, 0.03, 0.1, 0.2, 0.4, 0.8, 1.5][random.random_range(0..7)];
        }
        let amps = level + random.random_range(-0.003..0.003);
        let _ = writeln!(text, "{:.3},12.8,{amps:.4}", f64::from(index) * 0.02);
    }
    let log = trace::read(text.as_bytes()).unwrap();
    let busy = Capture { name: "busy.csv".into(), sha256: log.sha256, trace: log.trace };
    let message = learn(&[busy], &request()).unwrap_err().to_string();
    assert!(message.starts_with("no log can be learned from: busy.csv: its load changes "), "{message}");
    assert!(message.ends_with("; give a log of the start and a few minutes after it"), "{message}");
}

#[test]
fn a_capture_that_does_not_fit_is_refused_by_name() {
    let mut captures = good();
    captures.push(capture(9, 12.8, true));
    let found = learn(&captures, &request()).unwrap();
    let names: Vec<&str> = found.refused.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(names, ["good-9.csv"]);
    let kept = learn(&captures, &Request { keep_all: true, ..request() }).unwrap();
    assert_eq!((kept.refused.len(), kept.profile.learned.captures), (0, 6));
}

#[test]
fn captures_added_later_count_as_if_they_had_been_there() {
    let captures = good();
    let first = learn(&captures[..4], &request()).unwrap().profile;
    let added = update(&first, &captures[4..], false, "2026-03-03").unwrap();
    assert_eq!((added.profile.learned.boards, added.profile.learned.captures), (5, 5));
    assert!(added.refused.is_empty());
    let again = update(&added.profile, &captures[4..], false, "2026-03-04").unwrap_err();
    assert!(
        matches!(&again, LearnError::AllUnfit { refused } if refused[0].1 == Unfit::Duplicate),
        "{again}"
    );
}

#[test]
fn a_log_of_another_board_or_without_feed_says_so() {
    let other = Request { board: "larch-8".into(), ..request() };
    let message = learn(&good()[..1], &other).unwrap_err().to_string();
    assert_eq!(
        message,
        "no log can be learned from: good-1.csv: its header says board `larch-7`, not `larch-8`"
    );
    assert_eq!(learn(&[], &request()).unwrap_err(), LearnError::NoLogs);
}

#[test]
fn every_good_capture_is_taken_whatever_the_supply_and_no_sound_board_departs() {
    for kind in supplies() {
        for board in ["harrow-13", "wren-4", "kiln-24"] {
            let found = learn(&good_of(board, &kind), &named(board)).unwrap();
            assert_eq!(found.refused, [], "{board} on {}", kind.name);
            for unit in 20..24 {
                let finding = judged(&scenario(board, Case::FullBoot, &kind, unit), &found.profile);
                assert_eq!(finding.departures, [], "{board} unit {unit} on {}", kind.name);
            }
        }
    }
}

#[test]
fn a_foreign_capture_is_refused_by_name() {
    let kind = SupplyKind::default();
    for case in [Case::Stalled, Case::LatchOff, Case::ExcessStandby, Case::PartialShort] {
        let mut captures = good_of("harrow-13", &kind);
        captures.push(logged(&scenario("harrow-13", case, &kind, 9)));
        let found = learn(&captures, &named("harrow-13")).unwrap();
        let names: Vec<&str> = found.refused.iter().map(|(name, _)| name.as_str()).collect();
        assert_eq!(names, [format!("{case}-9.csv")]);
        assert!(found.refused[0].1.to_string().contains(" where the others have "), "{:?}", found.refused);
    }
}

#[test]
fn a_stage_clearly_off_is_named_and_told_once() {
    let kind = SupplyKind::default();
    let found = learn(&good_of("harrow-13", &kind), &named("harrow-13")).unwrap();
    for (state, power, duration, quantity) in [
        ("standby", 3.0, 1.0, "mean power"),
        ("firmware", 0.5, 1.0, "mean power"),
        ("firmware", 1.0, 2.5, "duration"),
        ("picture", 0.5, 1.0, "mean power"),
    ] {
        // What is compared here is a board that booted; whether it did is for the tests of the verdict.
        let booted: Vec<Finding> = (31..35)
            .map(|unit| {
                let mut scenario = scenario("harrow-13", Case::FullBoot, &kind, unit);
                scenario.alterations = vec![Alteration { state: state.into(), power, duration }];
                judged(&scenario, &found.profile)
            })
            .filter(|finding| finding.verdict.class == Class::FullBoot)
            .collect();
        assert!(!booted.is_empty(), "{state} x{power} for x{duration}");
        for finding in booted {
            let said: Vec<(&str, &str)> =
                finding.departures.iter().map(|d| (d.phase.as_str(), d.quantity.as_str())).collect();
            let told = said.iter().filter(|departure| **departure == (state, quantity)).count();
            let of_stage = said.iter().filter(|(phase, _)| *phase == state).count();
            assert_eq!((told, of_stage), (1, 1), "{state} x{power} for x{duration}: {said:?}");
            let departure = finding.departures.iter().find(|d| d.phase == state).unwrap();
            assert!(!(departure.low..=departure.high).contains(&departure.measured), "{departure:?}");
        }
    }
}

#[test]
fn volts_that_give_way_are_taken_off() {
    // Watts are volts times amps: a supply whose own 0.3 Ω lets the volts sag by 0.4 V in the hungriest stage measures the
    // same board, which draws more amps for it, at the same watts.
    let stiff = SupplyKind::default();
    let soft = SupplyKind { source_ohms: 0.3, ..stiff.clone() };
    let watts = |kind: &SupplyKind| {
        let found = learn(&good_of("harrow-13", kind), &named("harrow-13")).unwrap();
        found.profile.phases.iter().map(|phase| phase.mean_power.typical).collect::<Vec<_>>()
    };
    for (stiff, soft) in watts(&stiff).into_iter().zip(watts(&soft)).skip(2) {
        assert!((soft / stiff).ln().abs() < 0.03, "{soft} W against {stiff} W");
    }
}
