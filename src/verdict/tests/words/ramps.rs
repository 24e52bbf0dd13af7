//! Stages that are mostly a ramp: what is read in them is no level, and where they end is more than their mean.

use super::ends::good_log;
use super::*;
use crate::reference::Envelope;

#[test]
fn a_stall_where_the_ramp_of_a_stage_ends_is_no_more_than_good_boards_come_to() {
    let stalled = |peak_w: f64| {
        let logs = [3.0, peak_w].map(|watts| good_log("rails", |rails| rails.peak_power = watts));
        let known = |b: &mut Bench| b.profile.as_mut().expect("one").learned.logs = logs.to_vec();
        // 3.33 W, where good boards draw 2.86 W at most on average.
        let finding = bench(&[OFF, STANDBY, (50.0, SET_V, 0.26)]).with(known).find();
        class(&finding, Class::Stalled);
        because(&finding)
    };
    let within = stalled(3.6);
    assert!(
        within.contains("in rails on average, with peaks of 3.00 to 3.60 W: this is no more"),
        "{within}"
    );
    let above = stalled(3.2);
    assert!(above.contains("so this is 1.5 times as much"), "{above}");
}

#[test]
fn a_stall_after_a_ramp_is_not_called_flat_beside_it() {
    let stalled = |seconds: f64| {
        let levels = [OFF, STANDBY, (50.0, SET_V, 0.172)];
        let known = |b: &mut Bench| {
            let rails = &mut b.profile.as_mut().expect("one").phases[1];
            rails.activity = Envelope { low: 0.1, typical: 0.2, high: 0.6 };
            rails.duration = Some(Envelope { low: 0.6 * seconds, typical: seconds, high: 1.6 * seconds });
        };
        let finding = bench(&levels).with(known).find();
        class(&finding, Class::Stalled);
        because(&finding)
    };
    assert!(!stalled(0.8).contains("the current"), "{}", stalled(0.8));
    assert!(stalled(4.0).contains("flat where good boards' swings"), "{}", stalled(4.0));
}

#[test]
fn a_ramp_of_a_few_readings_has_no_mean_to_speak_of_where_a_board_gives_up() {
    let cycles = |rails: &[f64]| {
        let rails: Vec<(f64, f64, f64)> = rails.iter().map(|amps| (0.1, SET_V, *amps)).collect();
        let again = [&rails[..], &[(1.5, SET_V, 1.0), REST]].concat().repeat(8);
        let finding = bench(&[&[OFF, STANDBY][..], &again].concat()).find();
        class(&finding, Class::Cycling);
        finding.limits.join("\n")
    };
    // Both have 0.124 A on average, and good boards at least 0.129 A.
    let level = cycles(&[0.124; 8]);
    assert!(level.contains("whether rails draws too little: 0.124 A is below"), "{level}");
    let ramp = cycles(&[0.08, 0.10, 0.11, 0.12, 0.13, 0.14, 0.15, 0.16]);
    assert!(!ramp.contains("rails draws"), "{ramp}");
}
