//! How tries end, told from the readings at their end.

use super::*;

/// Two tries in rails, each with this end, after which the board stays down.
fn latched(end: &[(f64, f64, f64)]) -> Finding {
    let again = [&[RAILS][..], end, &[REST], &[RAILS], end].concat();
    bench(&[&[OFF, STANDBY][..], &again, &[(40.0, SET_V, 0.0234)]].concat()).find()
}

#[test]
fn a_spike_is_the_end_of_a_try_whatever_the_readings_over_its_fall_are() {
    // Two readings of a slow fall at a fifth of what the try draws.
    let fell = latched(&[(0.1, SET_V, 0.76), (0.2, SET_V, 0.05)]);
    class(&fell, Class::LatchOff);
    assert!(because(&fell).contains("each a spike at the very end,"), "{}", because(&fell));
    let hint = checks(&fell);
    assert!(hint.contains("about 0.8 s after the wake, for a spike ends the tries"), "{hint}");
}

#[test]
fn a_spike_that_is_a_third_of_its_try_is_one_where_no_good_board_reads_as_much() {
    // Good boards read 1.63 A at most.
    let high = because(&latched(&[(0.4, SET_V, 2.2)]));
    assert!(high.contains("each a spike at the very end,"), "{high}");
    let step = because(&latched(&[(0.4, SET_V, 1.5)]));
    assert!(!step.contains("spike"), "{step}");
}

#[test]
fn two_tries_that_both_rise_at_their_very_end_are_said_to() {
    let level = (1.2, SET_V, 0.172);
    let both = because(&latched(&[level, (0.1, SET_V, 0.3)]));
    assert!(both.contains(", each a rise at the very end from a level of 0.172 A,"), "{both}");
    let one = [RAILS, level, (0.1, SET_V, 0.3), REST, RAILS, level, (40.0, SET_V, 0.0234)];
    let one = because(&bench(&[&[OFF, STANDBY][..], &one].concat()).find());
    assert!(!one.contains("a rise"), "{one}");
}

#[test]
fn all_tries_that_clearly_rise_are_counted_though_some_rise_a_little_less() {
    let rising = |times: f64| [RAILS, (1.2, SET_V, 0.172), (0.1, SET_V, 0.172 * times), REST];
    let tries: Vec<(f64, f64, f64)> =
        (0..8).flat_map(|index| rising(if index % 4 == 0 { 1.35 } else { 1.5 })).collect();
    let said = because(&bench(&[&[OFF, STANDBY][..], &tries].concat()).find());
    assert!(said.contains(", each a rise at the very end from a level of"), "{said}");
}

#[test]
fn a_spike_far_above_the_next_stage_is_not_that_stage() {
    let ends = |seconds: f64, amps: f64| {
        let tries = [RAILS, (seconds, SET_V, amps), REST].repeat(8);
        bench(&[&[OFF, STANDBY][..], &tries].concat()).find()
    };
    let in_loading = |found: &Finding| {
        found.attempts.iter().filter(|start| start.ended_in.as_deref() == Some("loading")).count()
    };
    // Good boards load at 1.0 A, and never read more than 1.63 A.
    for seconds in [0.3, 0.4] {
        let spike = ends(seconds, 2.6);
        assert_eq!(in_loading(&spike), 0, "{:#?}", spike.attempts);
        assert!(because(&spike).contains("each a spike at the very end,"), "{}", because(&spike));
    }
    assert_eq!(in_loading(&ends(0.4, 1.0)), 8);
}

#[test]
fn a_rise_that_stands_alone_at_the_end_of_more_tries_than_not_is_counted() {
    let jumping = |jumps: usize| {
        let each = |index: usize| {
            let jump = (index < jumps).then_some((0.1, SET_V, 1.5));
            [RAILS, (2.0, SET_V, 1.0)].into_iter().chain(jump).chain([REST])
        };
        let tries: Vec<(f64, f64, f64)> = (0..10).flat_map(each).collect();
        because(&bench(&[&[OFF, STANDBY][..], &tries].concat()).find())
    };
    let most = jumping(6);
    assert!(
        most.contains(", in at least 6 of 10 tries a rise at the very end from a level of 1.0"),
        "{most}"
    );
    assert!(most.contains(" up to 1.5"), "{most}");
    let few = jumping(5);
    assert!(!few.contains("very end"), "{few}");
}

#[test]
fn what_is_flat_on_the_limit_for_several_readings_is_no_spike() {
    let starved = |seconds: f64| {
        let tries = [RAILS, (2.0, SET_V, 0.3), (seconds, 9.0, 0.99), REST].repeat(8);
        let levels = [&[OFF, STANDBY][..], &tries].concat();
        because(&bench(&levels).with(|b| b.limit = 1.0).find())
    };
    let flat = starved(0.4);
    assert!(flat.contains(", each on the limit at the very end,") && !flat.contains("spike"), "{flat}");
    assert!(starved(0.1).contains(", each a spike at the very end,"), "{}", starved(0.1));
}

#[test]
fn a_low_step_of_a_rise_is_part_of_its_stage() {
    let steps = [(0.1, SET_V, 0.172), (0.6, SET_V, 0.12), (30.0, SET_V, 0.24)];
    let finding = bench(&[&[OFF, STANDBY][..], &steps].concat()).find();
    class(&finding, Class::Stalled);
    let said = because(&finding);
    assert_eq!(said.matches("rails at ").count(), 1, "{said}");
    assert!(finding.phases.iter().all(|phase| phase.name != "rest"), "{:?}", finding.phases);
}

#[test]
fn volts_that_jump_as_tries_let_go_are_not_called_steady_alone() {
    let tries = |end_v: f64| {
        let one = [(0.8, SET_V, 0.172), (0.1, end_v, 0.172), REST];
        let levels: Vec<_> = [OFF, STANDBY].into_iter().chain(one.repeat(4)).collect();
        because(&bench(&levels).find())
    };
    let jumps = tries(SET_V * 1.03);
    assert!(jumps.contains("volts steady at 12.8 V but for jumps up to 13.2 V as it lets go"), "{jumps}");
    let steady = tries(SET_V);
    assert!(steady.contains("volts steady at 12.8 V") && !steady.contains("jumps"), "{steady}");
}
