//! What is told of a press that comes while a board is on, and of loads and stages that a technician would doubt.

use super::checks::place;
use super::*;

const RUNS: [(f64, f64, f64); 5] = [OFF, STANDBY, RAILS, (6.0, SET_V, 1.0), (30.0, SET_V, 0.0234)];

#[test]
fn a_press_that_did_nothing_before_one_that_woke_is_told() {
    let standby = (8.0, SET_V, 0.0234);
    for levels in [vec![OFF, standby, RAILS, LOADING, IDLE], vec![OFF, standby, RAILS, (60.0, SET_V, 1.016)]]
    {
        let pressed =
            |presses: &[f64]| because(&bench(&levels).with(|b| b.presses = presses.to_vec()).find());
        // The board wakes at 9.0 s, within the time of the first press.
        let twice = pressed(&[6.5, 8.6]);
        assert!(twice.contains("the press at 6.5 s changes nothing; that at 8.6 s wakes it"), "{twice}");
        let once = pressed(&[8.6]);
        assert!(!once.contains("changes nothing"), "{once}");
        // One that may be what woke it is not said to have done nothing.
        let alone = pressed(&[6.5]);
        assert!(!alone.contains("changes nothing"), "{alone}");
    }
}

#[test]
fn a_press_shortly_before_a_board_goes_off_may_have_switched_it_off() {
    let pressed = |more: &[f64]| bench(&RUNS).with(|b| b.presses.extend(more)).find();
    let twice = pressed(&[9.8]);
    class(&twice, Class::LatchOff);
    let told = "pressed at 9.8 s while it was on, 2.0 s before the fall: that may have switched it off";
    assert!(because(&twice).contains(told), "{}", because(&twice));
    let limits = twice.limits.join("\n");
    assert!(limits.contains("whether it went off by itself or at the press at 9.8 s"), "{limits}");
    assert!(twice.next_checks[0].starts_with("repeat, and do not press once it is on"), "{twice:#?}");
    // The press that woke it, one long before, and one after.
    for more in [&[][..], &[6.2], &[20.0]] {
        let other = pressed(more);
        assert!(!because(&other).contains("switched it off"), "{more:?}: {}", because(&other));
        assert!(!checks(&other).contains("do not press once"), "{more:?}: {}", checks(&other));
    }
}

#[test]
fn a_board_that_ran_may_have_been_switched_off_as_well() {
    let fell = |more: &[f64]| {
        let levels = [OFF, STANDBY, RAILS, LOADING, IDLE, (30.0, SET_V, 0.0234)];
        bench(&levels).with(|b| b.presses.extend(more)).find()
    };
    let pressed = fell(&[26.0]);
    class(&pressed, Class::DroppedOut);
    assert!(because(&pressed).contains("2.8 s before the fall"), "{}", because(&pressed));
    assert!(!because(&pressed).contains("may be a shutdown"), "{}", because(&pressed));
    assert!(!because(&fell(&[])).contains("switched it off"), "{}", because(&fell(&[])));
}

#[test]
fn tries_are_switched_off_where_most_of_them_end_after_a_press() {
    let tries = [RAILS, (1.5, SET_V, 1.0), REST].repeat(8);
    let levels = [&[OFF, STANDBY][..], &tries].concat();
    let pressed = |presses: &[f64]| bench(&levels).with(|b| b.presses.extend(presses)).find();
    let one = pressed(&[6.5]);
    class(&one, Class::Cycling);
    assert!(!because(&one).contains("switched it off"), "{}", because(&one));
}

#[test]
fn a_load_from_switch_on_that_a_press_leaves_alone_is_said_to_and_burns() {
    let levels = [OFF, (40.0, SET_V, 0.4)];
    let loaded = bench(&levels).with(|b| (b.profile, b.presses) = (None, vec![8.0])).find();
    class(&loaded, Class::Inconclusive);
    let told = "the press at 8.0 s changes nothing";
    assert!(because(&loaded).contains(told), "{}", because(&loaded));
    let cautions = loaded.cautions.join("\n");
    assert!(cautions.contains("5.1") && cautions.contains("burns skin and chars the board"), "{cautions}");
    assert!(place(&loaded, "measure ohms") < place(&loaded, "look and listen"), "{}", checks(&loaded));
    let woken = [OFF, (7.0, SET_V, 0.02), (40.0, SET_V, 0.4)];
    let woken = bench(&woken).with(|b| (b.profile, b.presses) = (None, vec![7.8])).find();
    assert!(!woken.cautions.join("\n").contains("burns"), "{:?}", woken.cautions);
    assert!(!because(&woken).contains("changes nothing"), "{}", because(&woken));
}

#[test]
fn a_surplus_of_a_board_that_boots_burns_as_well() {
    let boots = |asleep_a: f64| {
        bench(&[OFF, (4.0, SET_V, asleep_a), RAILS, LOADING, IDLE]).find().cautions.join("\n")
    };
    assert!(boots(0.09).contains("W in one small part burns skin"), "{}", boots(0.09));
    assert!(!boots(0.0234).contains("burns"), "{}", boots(0.0234));
}

#[test]
fn the_first_stage_of_a_board_is_measured_before_its_software_is_loaded() {
    for name in ["boot", "rails", "firmware", "stirring"] {
        let stuck = bench(&[OFF, STANDBY, (60.0, SET_V, 0.172)])
            .with(|b| b.profile.as_mut().expect("one").phases[1].name = name.into())
            .find();
        class(&stuck, Class::Stalled);
        assert!(stuck.next_checks[0].starts_with("measure every rail"), "{name}: {}", checks(&stuck));
        assert!(checks(&stuck).contains("reset and clock"), "{name}: {}", checks(&stuck));
        let software = stuck.next_checks.iter().position(|check| check.contains("software anew"));
        assert!(software.is_none_or(|at| at + 1 == stuck.next_checks.len()), "{name}: {}", checks(&stuck));
    }
}

#[test]
fn a_fall_from_a_busy_level_is_from_its_last_reading_or_from_about_its_mean() {
    let fell = |last_a: f64| {
        let busy = [(0.5, SET_V, 0.6), (0.2, SET_V, last_a)].repeat(20);
        let levels = [&[OFF, STANDBY, RAILS, LOADING][..], &busy, &[(30.0, SET_V, 0.0234)]].concat();
        because(&bench(&levels).find())
    };
    let burst = " from 0.700 A, a burst above its usual 0.600 A, to 23 mA";
    assert!(fell(0.7).contains(burst), "{}", fell(0.7));
    // A low reading may lie over the edge.
    assert!(fell(0.45).contains(" from about 0.5"), "{}", fell(0.45));
    assert!(fell(0.6).contains(" from 0.6"), "{}", fell(0.6));
}

#[test]
fn a_zero_is_told_where_it_changes_a_figure() {
    let boots = |zero_a: f64| {
        let shift = |(s, v, a): (f64, f64, f64)| (s, v, a + zero_a);
        let levels = [(3.0, 0.0, 0.0), STANDBY, RAILS, LOADING, IDLE].map(shift);
        bench(&levels).find().limits.join("\n")
    };
    assert!(boots(0.002).contains("is taken off all amps and watts"), "{}", boots(0.002));
    assert!(!boots(0.0).contains("taken off"), "{}", boots(0.0));
}

#[test]
fn a_board_whose_feed_charges_nothing_points_to_an_open_lead() {
    let dead = bench(&[OFF, (20.0, SET_V, 0.0)]).find();
    class(&dead, Class::NoDraw);
    assert!(because(&dead).contains("points to an open lead or inlet"), "{}", because(&dead));
    let charged = bench(&[OFF, (0.3, SET_V, 0.5), (20.0, SET_V, 0.0)]).find();
    assert!(!because(&charged).contains("open lead"), "{}", because(&charged));
}

#[test]
fn tries_that_end_away_from_the_next_level_are_not_at_the_step_into_it() {
    let tries = |levels: &[(f64, f64, f64)]| {
        let tries = [levels, &[REST]].concat().repeat(8);
        because(&bench(&[&[OFF, STANDBY][..], &tries].concat()).find())
    };
    let flat = tries(&[(0.9, SET_V, 0.172)]);
    assert!(flat.contains("at the step into loading"), "{flat}");
    let turned = tries(&[(0.4, SET_V, 0.185), (0.5, SET_V, 0.165)]);
    assert!(turned.contains("in rails") && !turned.contains("at the step into"), "{turned}");
}
