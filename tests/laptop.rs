//! The laptop check: a sound laptop-class board fed at about 13 V settles near 1.1 A (about 14 W) once its picture is
//! up (common practice, no source). Such a trace is a full boot, and feeding at the battery connector proves the
//! computer and nothing of what that feed point skips.

use crate::program::feedtale;
use feedtale::verdict::{Finding, SectionState};
use std::fmt::Write as _;

const PROFILE: &str = include_str!("../profiles/harrow-13.toml");

/// A log of a board that stands by, takes its stages and settles at `settled` amps, polled ten times a second.
fn log(settled: f64) -> String {
    let stages =
        [(2.0, 0.0, 0.0), (5.0, 13.0, 0.033), (0.7, 13.0, 0.19), (4.0, 13.0, 0.66), (9.0, 13.0, 1.44)];
    let mut text =
        String::from("# log: 1\n# board: harrow-13\n# feed_point: battery connector\n# set_v: 13\n");
    text.push_str("# limit_a: 3.5\nt_s,volts,amps,event\n");
    let mut row = 0_u32;
    for (seconds, volts, amps) in stages.into_iter().chain([(30.0, 13.0, settled)]) {
        let end = f64::from(row) * 0.1 + seconds;
        while f64::from(row) * 0.1 < end - 0.05 {
            // A load is never quite still; what it does here is of no account.
            let wobble = 1.0 + 0.02 * f64::from(row * 7 % 5) - 0.04;
            let event = if row == 70 { "mark=power button" } else { "" };
            writeln!(text, "{:.1},{volts:.2},{:.3},{event}", f64::from(row) * 0.1, amps * wobble)
                .expect("text grows");
            row += 1;
        }
    }
    text
}

fn finding(settled: f64) -> Finding {
    let ended = feedtale(["diagnose", "boot.csv", "--profile", "harrow-13.toml", "--json"])
        .file("boot.csv", log(settled))
        .file("harrow-13.toml", PROFILE)
        .end()
        .code(0);
    serde_json::from_str(&ended.stdout()).expect("a finding")
}

#[test]
fn a_laptop_that_settles_near_1_1_amps_is_a_full_boot() {
    let finding = finding(1.1);
    assert_eq!(finding.verdict.class.name(), "full-boot", "{:?}", finding.verdict);
    assert_eq!(finding.verdict.reached.as_deref(), Some("picture"));
}

#[test]
fn feeding_at_the_battery_connector_proves_the_computer_and_not_the_charger() {
    let finding = finding(1.1);
    let state =
        |section: &str| finding.power_path.iter().find(|proof| proof.section == section).map(|p| p.state);
    assert_eq!(state("processor, memory and firmware"), Some(SectionState::Proved));
    assert_eq!(state("charger"), Some(SectionState::NotExercised));
    assert_eq!(state("inlet and its protection"), Some(SectionState::NotExercised));
    assert!(
        finding.next_checks.iter().any(|check| check.contains("inlets, charger")),
        "{:?}",
        finding.next_checks
    );
}

#[test]
fn a_laptop_that_stays_where_it_loads_is_no_full_boot() {
    assert_ne!(finding(1.44).verdict.class.name(), "full-boot");
}
