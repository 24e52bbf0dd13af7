//! Runs that look much like those of another class.

use super::*;

const RESTING: (f64, f64, f64) = (20.0, SET_V, 0.0234);

/// A bench with a board that starts by itself: no standby is known of it.
fn starts_by_itself(levels: &[(f64, f64, f64)]) -> Bench {
    bench(levels).with(|b| {
        b.profile.as_mut().expect("one").phases.remove(0);
    })
}

fn runner_up(finding: &Finding) -> Option<Class> {
    finding.verdict.runner_up.as_ref().map(|other| other.class)
}

#[test]
fn starts_too_short_for_their_stage_s_level_are_no_heartbeat_of_a_board_that_starts_by_itself() {
    let pulses = [0.1, 0.12, 0.105, 0.09].into_iter().cycle().take(24);
    let starts = pulses.flat_map(|amps| [(0.2, SET_V, amps), (1.8, SET_V, 0.02)]);
    let levels: Vec<_> = std::iter::once(OFF).chain(starts).collect();
    class(&starts_by_itself(&levels).find(), Class::Cycling);
}

#[test]
fn a_current_that_rises_on_a_standing_feed_charges_no_capacitor() {
    let rise = [(0.2, SET_V, 0.1), (0.2, SET_V, 0.13), (0.2, SET_V, 0.16)];
    let levels = [&[OFF][..], &rise, &[RESTING]].concat();
    class(&starts_by_itself(&levels).find(), Class::LatchOff);
}

#[test]
fn a_second_try_that_comes_by_itself_may_be_the_second_of_many() {
    let levels = [OFF, STANDBY, RAILS, (6.0, SET_V, 1.0), REST, RAILS, (2.0, SET_V, 1.0)];
    let by_itself = bench(&levels).with(|b| b.presses = vec![5.0]).find();
    class(&by_itself, Class::Inconclusive);
    assert_eq!(runner_up(&by_itself), Some(Class::Cycling), "{by_itself:#?}");
    let pressed = bench(&levels).with(|b| b.presses = vec![5.0, 13.7]).find();
    class(&pressed, Class::Inconclusive);
    assert_ne!(runner_up(&pressed), Some(Class::Cycling), "{pressed:#?}");
    let open = |rest_s: f64| {
        let levels =
            [OFF, STANDBY, RAILS, (6.0, SET_V, 1.0), (rest_s, SET_V, 0.0234), RAILS, (2.0, SET_V, 1.0)];
        bench(&levels).with(|b| b.presses = Vec::new()).find().verdict.confidence
    };
    let (by_itself, perhaps_pressed) = (open(0.9), open(3.0));
    assert!(by_itself < 0.8 && perhaps_pressed > 0.9, "{by_itself} {perhaps_pressed}");
}

#[test]
fn two_tries_that_end_at_the_limit_speak_for_the_feed_as_three_do() {
    let dip = (0.1, 0.965 * SET_V, 0.6);
    let starved = [RAILS, (7.5, SET_V, 0.96), dip, REST];
    let levels = [&[OFF, STANDBY][..], &starved, &starved, &[RAILS, (1.0, SET_V, 0.9)]].concat();
    class(&bench(&levels).with(|b| b.limit = 1.05).find(), Class::FeedLimited);
}

#[test]
fn a_board_stuck_in_a_short_stage_may_wander_more_than_good_boards_show_in_passing() {
    let wander: Vec<(f64, f64, f64)> = [0.19, 0.15, 0.2, 0.16, 0.14, 0.18, 0.22, 0.17]
        .iter()
        .cycle()
        .take(60)
        .map(|amps| (0.8, SET_V, *amps))
        .collect();
    let finding = bench(&[&[OFF, STANDBY][..], &wander].concat()).find();
    class(&finding, Class::Stalled);
    assert_eq!(finding.verdict.stalled_in.as_deref(), Some("rails"));
}

#[test]
fn a_try_begins_with_its_first_stage_however_high_it_ends() {
    let spike = (0.1, SET_V, 2.9);
    let start = [(0.7, SET_V, 0.172), (0.6, SET_V, 1.0), spike, REST];
    let finding = bench(&[&[OFF, STANDBY][..], &start.repeat(8)].concat()).find();
    class(&finding, Class::Cycling);
    let first = finding.attempts.first().expect("a try");
    assert!((first.start_s.value() - 5.0).abs() < 2.0 * PERIOD_S, "{first:?}");
}

#[test]
fn a_board_that_waits_for_nothing_starts_with_its_feed() {
    let average = (0.1, SET_V, 0.06);
    let levels = [OFF, average, (0.8, SET_V, 0.172), (3.0, SET_V, 1.0), RESTING];
    let finding = starts_by_itself(&levels).find();
    class(&finding, Class::LatchOff);
    let first = finding.attempts.first().expect("a try");
    assert!((first.start_s.value() - OFF.0).abs() < PERIOD_S, "{first:?}");
}

#[test]
fn what_a_board_of_unknown_model_rests_at_above_its_kind_s_highest_is_a_guess() {
    let sure = |amps: f64| {
        let finding = bench(&[OFF, (60.0, SET_V, amps)]).with(|b| b.profile = None).find();
        class(&finding, Class::StandbyOnly);
        finding.verdict.confidence
    };
    assert!(sure(0.03) > 0.9, "{}", sure(0.03));
    assert!(sure(0.23) < 0.7, "{}", sure(0.23));
}

#[test]
fn a_first_try_right_at_switch_on_is_counted_as_one() {
    let start = [(0.3, SET_V, 0.172), (1.2, SET_V, 0.02)];
    let levels = [&[OFF][..], &start, &start, &[RESTING]].concat();
    let finding = starts_by_itself(&levels).find();
    class(&finding, Class::LatchOff);
    assert_eq!(finding.attempts.len(), 2, "{:?}", finding.attempts);
}

/// A board that is stuck in loading at about `amps`, which wanders by up to `swing` of it for `seconds` at a time.
fn stuck_in_loading(amps: f64, swing: f64, seconds: f64) -> Finding {
    let wander = [0.0, -0.8, 0.8, -0.5, 0.5, -1.0, 1.0, -0.3].into_iter().cycle().take(60);
    let stuck = wander.map(|share| (seconds, SET_V, amps * (1.0 + swing * share)));
    let start = [OFF, STANDBY, RAILS, (8.0, SET_V, 1.1 * amps)];
    bench(&start.into_iter().chain(stuck).collect::<Vec<_>>()).find()
}

#[test]
fn a_level_that_the_board_did_not_step_down_to_from_the_stage_before_is_no_running_level() {
    for finding in [stuck_in_loading(0.9, 0.12, 0.9), stuck_in_loading(0.9, 0.1, 0.5)] {
        class(&finding, Class::Stalled);
        assert_eq!(finding.verdict.stalled_in.as_deref(), Some("loading"));
    }
}

#[test]
fn a_board_that_wanders_about_the_level_of_a_stage_is_no_short() {
    for seconds in [0.5, 0.9, 1.4, 2.0] {
        let finding = stuck_in_loading(1.0, 0.16, seconds);
        class(&finding, Class::Stalled);
        assert_eq!(finding.verdict.stalled_in.as_deref(), Some("loading"));
    }
}

#[test]
fn a_board_that_ran_for_seconds_has_dropped_out_however_odd_its_stages_were() {
    let odd =
        [(1.2, SET_V, 0.15), (1.2, SET_V, 1.5), (2.5, SET_V, 1.05), (1.0, SET_V, 0.8), (9.0, SET_V, 0.55)];
    let levels = [&[OFF, STANDBY][..], &odd, &[(30.0, SET_V, 0.0234)]].concat();
    class(&bench(&levels).find(), Class::DroppedOut);
}

#[test]
fn a_try_begins_with_the_first_reading_of_its_rise() {
    // Up to half of what the first stage draws, a board that waits for nothing counts as at rest.
    let rise = [(0.1, SET_V, 0.03), (0.1, SET_V, 0.06), (0.1, SET_V, 0.09)];
    let tries = [&rise[..], &[RAILS, (2.0, SET_V, 1.0), (3.0, SET_V, 0.001)]].concat();
    let down = [(20.0, SET_V, 0.001)];
    let finding = starts_by_itself(&[&[OFF][..], &tries.repeat(2), &down].concat()).find();
    let starts: Vec<f64> = finding.attempts.iter().map(|start| start.start_s.value()).collect();
    assert_eq!(starts.len(), 2, "{starts:?}");
    assert!((starts[1] - 7.1).abs() < 1.5 * PERIOD_S, "{starts:?}");
}

#[test]
fn a_try_begins_with_the_first_reading_that_is_above_all_that_its_standby_came_to() {
    let start_after = |standby: &[(f64, f64, f64)]| {
        let rise =
            [(0.1, SET_V, 0.038), (0.2, SET_V, 0.041), RAILS, (1.5, SET_V, 1.0), (30.0, SET_V, 0.0234)];
        let finding = bench(&[&[OFF][..], standby, &rise].concat()).find();
        finding.attempts.first().expect("a try").start_s.value()
    };
    let steady = start_after(&[(4.0, SET_V, 0.0234)]);
    assert!((steady - 5.0).abs() < 0.5 * PERIOD_S, "{steady}");
    // Where it came to as much now and then, that tells of no wake.
    let restless = start_after(&[(0.8, SET_V, 0.0234), (0.2, SET_V, 0.041)].repeat(4));
    assert!(restless > 5.0 + 1.5 * PERIOD_S, "{restless}");
}

#[test]
fn volts_that_give_way_in_the_limit_as_two_tries_end_tell_of_the_feed() {
    let gives_way =
        [(0.3, SET_V, 1.15), (0.1, 0.95 * SET_V, 1.19), (0.1, 0.8 * SET_V, 1.2), (2.0, SET_V, 0.0234)];
    let tries = [&[RAILS, (7.0, SET_V, 1.05)][..], &gives_way].concat();
    let levels = [&[OFF, STANDBY][..], &tries.repeat(2), &[RAILS, (4.0, SET_V, 1.0)]].concat();
    let finding = bench(&levels).with(|b| b.limit = 1.2).find();
    class(&finding, Class::FeedLimited);
    assert!(finding.verdict.confidence > 0.6, "{}", finding.verdict.confidence);
}

#[test]
fn a_zero_of_few_readings_says_how_few() {
    let zero = |off_s: f64| {
        let asleep = bench(&[(off_s, 0.0, 0.002), (20.0, SET_V, 0.0254)]);
        let limits = asleep.find().limits;
        limits.into_iter().find(|limit| limit.contains("its output off")).expect("a zero")
    };
    assert!(zero(0.35).contains("with its output off (4 readings): this"), "{}", zero(0.35));
    assert!(zero(2.0).contains("with its output off: this"), "{}", zero(2.0));
    // One reading with the feed up does not show how far readings scatter.
    let brief = bench(&[(0.35, 0.0, 0.002), (0.1, SET_V, 0.0254)]).with(|b| b.presses.clear()).find();
    let said = brief.limits.join("\n");
    assert!(said.contains("(4 readings)") && !said.contains("good to about"), "{said}");
    assert!(said.contains("do not tell how well low amps are known"), "{said}");
}

#[test]
fn a_limit_below_what_a_good_boot_peaks_at_is_said_whatever_the_verdict() {
    let stalled = |limit: f64| {
        bench(&[OFF, STANDBY, RAILS, (60.0, SET_V, 1.016)]).with(|b| b.limit = limit).find().limits.join("\n")
    };
    // Loading takes 13.0 W and peaks at 15.6 W: 1.22 A.
    assert!(stalled(1.2).contains("the limit of 1.20 A is below the 1.22 A"), "{}", stalled(1.2));
    assert!(!stalled(1.25).contains("is below the"), "{}", stalled(1.25));
}

#[test]
fn how_far_a_stalled_load_swings_is_told_where_good_boards_may_be_flat_as_well() {
    let stalled = bench(&[OFF, STANDBY, RAILS, (60.0, SET_V, 1.016)]).with(|b| {
        b.profile.as_mut().expect("one").phases[2].activity =
            crate::reference::Envelope { low: 0.0, typical: 0.26, high: 0.64 };
    });
    let said = because(&stalled.find());
    assert!(
        said.contains("swings typically by")
            && said.contains("either way; good boards' by 20 mA, at most by 50 mA"),
        "{said}"
    );
    assert!(!said.contains("flat where"), "{said}");
}

#[test]
fn a_stage_that_draws_too_little_is_not_looked_for_by_taking_off_more() {
    let boots = |rails: &[(f64, f64, f64)]| {
        let levels = [&[OFF, STANDBY][..], rails, &[LOADING, IDLE]].concat();
        bench(&levels).with(|b| b.profile.as_mut().expect("one").power_path.clear()).find()
    };
    let ramp: Vec<_> = (1..=7).map(|step| (0.1, SET_V, 0.02 * f64::from(step))).collect();
    for rails in [&ramp[..], &[(0.8, SET_V, 0.07)]] {
        let weak = boots(rails);
        class(&weak, Class::FullBoot);
        let said = checks(&weak);
        assert!(
            said.contains("rails draws too little: see what is not attached, then which of its rails"),
            "{said}"
        );
        assert!(!said.contains("take off"), "{said}");
        // Readings on their way up have no level.
        let limits = weak.limits.join("\n");
        let ramps = limits.contains("its mean of") && limits.contains("hangs on where it begins and ends");
        assert_eq!(ramps, rails.len() > 1, "{limits}");
    }
    let strong = boots(&[(0.8, SET_V, 0.4)]);
    assert!(checks(&strong).contains("take off what is attached"), "{}", checks(&strong));
}

#[test]
fn a_try_that_the_limit_holds_down_ends_in_the_stage_that_it_stepped_into() {
    // Rails have had their time; loading, which takes 1.02 A, is held down to 0.6 A, or below as the volts give way.
    let held = |volts: f64, amps: f64| [RAILS, (0.6, volts, amps), REST];
    let tries = [held(6.0, 0.6), held(10.0, 0.5), held(12.0, 0.59), held(6.0, 0.6)].concat();
    let starved = bench(&[&[OFF, STANDBY][..], &tries].concat()).with(|b| b.limit = 0.6).find();
    class(&starved, Class::FeedLimited);
    assert!(because(&starved).contains("each ends 1.4 s after its wake, in loading"), "{starved:#?}");
}
