//! What a finding says, held against the readings as anybody finds them in the log.

use super::ends::good_log;
use super::*;

#[test]
fn a_reading_that_shows_next_to_nothing_of_a_try_is_no_part_of_it() {
    // The second try ends with a reading of 34 mA, of which 23 mA is rest.
    let rest = (1.6, SET_V, 0.0234);
    let tail = (0.1, SET_V, 0.034);
    let levels = |last: &[(f64, f64, f64)]| {
        let tries = [OFF, STANDBY, (0.6, SET_V, 1.0), rest, (0.6, SET_V, 1.0)];
        [&tries[..], last, &[(40.0, SET_V, 0.0234)]].concat()
    };
    let ends = |last: &[(f64, f64, f64)]| {
        let found = bench(&levels(last)).find_asked_thrice();
        class(&found, Class::LatchOff);
        found.attempts.iter().map(|attempt| attempt.end_s.value()).collect::<Vec<f64>>()
    };
    let (without, with) = (ends(&[]), ends(&[tail]));
    assert_eq!(without.len(), 2, "{without:?}");
    assert!((with[1] - without[1]).abs() < 0.01, "{with:?} {without:?}");
    // A reading that is half of the try and half of the rest shows it.
    assert!(ends(&[(0.1, SET_V, 0.5)])[1] > without[1] + 0.05, "{without:?}");
}

#[test]
fn pulses_of_the_rest_after_a_latch_off_are_told() {
    let pulses = [(3.0, SET_V, 0.0234), (0.1, SET_V, 0.0434)].repeat(9);
    let pulses = [&pulses[..], &[(3.0, SET_V, 0.0234)]].concat();
    let after = |rest: &[(f64, f64, f64)]| {
        let found = bench(&[&[OFF, STANDBY, RAILS, (1.5, SET_V, 1.0), REST], rest].concat()).find();
        class(&found, Class::LatchOff);
        because(&found)
    };
    let told = after(&pulses);
    assert!(told.contains("after the try 9 short pulses, one about every 3.1 s, of up to 21 mA"), "{told}");
    let flat = after(&[(40.0, SET_V, 0.0234)]);
    assert!(!flat.contains("short pulses"), "{flat}");
}

#[test]
fn volts_on_their_way_up_have_no_mean() {
    let brief = |levels: &[(f64, f64, f64)]| {
        because(&bench(&[&[OFF], levels].concat()).with(|b| b.presses.clear()).find())
    };
    let rising = brief(&[(0.3, 10.1, 0.0234), (0.4, SET_V, 0.0234)]);
    assert!(rising.contains("mA, as the volts rise from 10.1 to 12.8 V"), "{rising}");
    let up = brief(&[(0.7, SET_V, 0.0234)]);
    assert!(up.contains("mA at 12.8 V") && !up.contains("rise"), "{up}");
}

#[test]
fn a_swing_that_says_nothing_comes_after_what_the_board_draws() {
    let order = |rails_s: f64, activity: f64| {
        let swings = [(0.5, SET_V, 0.150), (0.5, SET_V, 0.194)].repeat(30);
        let found = bench(&[&[OFF, STANDBY][..], &swings].concat())
            .with(|b| {
                let rails = &mut b.profile.as_mut().expect("one").phases[1];
                let scale = |times: f64| rails_s * times;
                rails.duration = Some(crate::reference::Envelope {
                    low: scale(0.6),
                    typical: scale(1.0),
                    high: scale(1.6),
                });
                rails.activity = crate::reference::Envelope {
                    low: activity * 0.5,
                    typical: activity,
                    high: activity * 1.2,
                };
            })
            .find();
        class(&found, Class::Stalled);
        let place = |what: &str| {
            found.verdict.because.iter().position(|fact| fact.contains(what)).unwrap_or_else(|| {
                panic!("{what}: {}", because(&found));
            })
        };
        (place("the current swings"), place("there 0.17"))
    };
    // A stage of half a second is mostly ramp, and one of eight is not.
    let (swing, drawn) = order(0.5, 0.01);
    assert!(drawn < swing, "{drawn} {swing}");
    let (swing, drawn) = order(8.0, 0.1);
    assert!(swing < drawn, "{drawn} {swing}");
}

#[test]
fn a_standby_that_departs_and_was_seen_for_a_moment_may_not_be_its_level() {
    let stands_by = |seconds: f64, amps: f64| {
        let levels = [OFF, (seconds, SET_V, amps), RAILS, LOADING, IDLE];
        let found = bench(&levels)
            .with(|b| {
                b.presses.clear();
                b.profile.as_mut().expect("one").phases[0].waits_for_person = false;
            })
            .find();
        class(&found, Class::FullBoot);
        found.limits.join("\n")
    };
    let brief = stands_by(1.5, 0.009);
    assert!(brief.contains("is the level of its standby: it was seen for 1."), "{brief}");
    assert!(!stands_by(6.0, 0.009).contains("is the level of its standby"), "{}", stands_by(6.0, 0.009));
    assert!(!stands_by(1.5, 0.0234).contains("is the level of its standby"), "{}", stands_by(1.5, 0.0234));
}

#[test]
fn what_a_supply_cannot_show_is_less_than_one_step_of_its_readings() {
    let dead = because(&bench(&[OFF, (20.0, SET_V, 0.0)]).find());
    assert!(dead.contains("less than one step of the readings once the feed is up"), "{dead}");
    let gone = because(
        &bench(&falls_to(0.0))
            .with(|b| {
                b.profile.as_mut().expect("one").phases.remove(0);
            })
            .find(),
    );
    assert!(gone.contains("what is left is less than this supply can show"), "{gone}");
}

#[test]
fn a_rest_within_a_wide_band_of_good_boards_is_not_said_to_be_less_than_standby() {
    let after = |low_w: f64| {
        let levels = [OFF, (0.6, SET_V, 0.0234), RAILS, (1.5, SET_V, 1.0), (40.0, SET_V, 0.009)];
        let log = good_log("standby", |standby| standby.mean_power = 0.3);
        let found = bench(&levels)
            .with(|b| {
                let known = b.profile.as_mut().expect("one");
                known.phases[0].mean_power.low = low_w;
                known.learned.logs = vec![log];
            })
            .find();
        class(&found, Class::LatchOff);
        because(&found)
    };
    let within = after(0.05);
    assert!(within.contains(": less than half of what good boards usually stand by at"), "{within}");
    assert!(!within.contains("less than its standby"), "{within}");
    assert!(after(0.2).contains(": less than its standby"), "{}", after(0.2));
}
