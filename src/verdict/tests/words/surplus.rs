//! A standby that draws too much: one number, and what is done about it.

use super::checks::place;
use super::*;

const SURPLUS: (f64, f64, f64) = (20.0, SET_V, 0.12);

/// A board of its profile that stands by at too much, or boots from there.
fn surplus(levels: &[(f64, f64, f64)]) -> Bench {
    bench(levels).with(|b| {
        b.profile.as_mut().expect("one").power_path.clear();
        b.feed_point = Some("main terminals");
    })
}

#[test]
fn a_rail_explains_no_wake_only_of_a_board_that_was_asked_to() {
    let asked = surplus(&[OFF, SURPLUS]);
    class(&asked.find(), Class::ExcessStandby);
    assert!(asks(&asked, "one that is dragged down may explain surplus and no wake"));
    let unasked = asked.with(|b| b.presses.clear());
    assert!(asks(&unasked, "one that is dragged down may carry the surplus"), "{}", checks(&unasked.find()));
    assert!(!asks(&unasked, "no wake"), "{}", checks(&unasked.find()));
    // What is attached may be what keeps it asleep.
    let finding = unasked.find();
    assert!(place(&finding, "may still be attached") < place(&finding, "press the power button"));
}

#[test]
fn a_surplus_of_a_board_that_boots_is_one_number_of_before_its_wake() {
    let levels: Vec<_> =
        BOOT.iter().map(|(s, v, a)| (*s, *v, if *v > 0.0 { a + 0.04 } else { *a })).collect();
    let boots = surplus(&levels).find();
    class(&boots, Class::FullBoot);
    let said = because(&boots);
    let watts = said.lines().find_map(|fact| fact.split_once(" more than the usual standby"));
    let (watts, rest) = watts.expect("a surplus");
    assert!(rest.starts_with(" before its wake; whether that goes on then is not told"), "{said}");
    assert!(
        checks(&boots).contains(&format!("a surplus of {watts} in one part")),
        "{watts}: {}",
        checks(&boots)
    );
}

#[test]
fn a_board_that_runs_and_draws_too_much_is_looked_at_by_its_heat() {
    // A board that runs at 8 W, of good boards that do so at that share of it.
    let runs = |share: f64| {
        let levels = [OFF, STANDBY, RAILS, LOADING, (30.0, SET_V, IDLE.2)];
        let less = |b: &mut Bench| {
            let idle = &mut b.profile.as_mut().expect("one").phases[3];
            for envelope in [&mut idle.mean_power, &mut idle.peak_power] {
                envelope.low *= share;
                envelope.typical *= share;
                envelope.high *= share;
            }
        };
        surplus(&levels).with(less).find()
    };
    // The first of them at which it is outside their envelope.
    let outside = |found: &Finding| {
        found.verdict.class == Class::FullBoot && found.departures.iter().any(|d| d.quantity == "mean power")
    };
    let hot = [0.72, 0.68, 0.64, 0.6, 0.56, 0.52].map(runs).into_iter().find(outside).expect("a surplus");
    let told = checks(&hot);
    let (_, after) =
        told.split_once("thermal camera as it runs, beside a good board: a surplus of ").expect("one");
    let watts = after.split(" W").next().expect("a number");
    // 28 to 48 % of 8 W.
    assert!((2.2..3.9).contains(&watts.parse::<f64>().expect("watts")), "{watts}");
    assert!(place(&hot, "thermal camera") < place(&hot, "let it run for minutes"), "{told}");
    assert!(
        hot.cautions.concat().contains(&format!("The surplus of {watts} W burns skin")),
        "{:#?}",
        hot.cautions
    );
    let usual = runs(1.0);
    class(&usual, Class::FullBoot);
    assert!(!checks(&usual).contains("thermal camera"), "{}", checks(&usual));
    assert!(!usual.cautions.concat().contains("surplus"), "{:#?}", usual.cautions);
}

#[test]
fn a_cell_that_the_cautions_have_out_is_not_taken_off_again() {
    let mut levels = BOOT.to_vec();
    levels[1] = (STANDBY.0, SET_V, 0.06);
    for levels in [levels, vec![OFF, SURPLUS]] {
        let told = surplus(&levels)
            .with(|b| {
                let known = b.profile.as_mut().expect("one");
                known.feed.cautions = vec!["Take the lithium cell out first.".into()];
            })
            .find();
        assert!(told.cautions[0].contains("cell"), "{told:#?}");
        let off = checks(&told);
        assert!(off.contains("feed off, ") && off.contains("may still be attached"), "{off}");
        assert!(!off.contains("take the battery off") && !off.contains("the battery where"), "{off}");
    }
}

#[test]
fn a_board_that_does_not_even_stand_by_is_pressed_last() {
    let dead = bench(&[OFF, (20.0, SET_V, 0.0)]).with(|b| b.presses.clear()).find();
    class(&dead, Class::NoDraw);
    assert!(place(&dead, "follow the volts") < place(&dead, "press the power button"), "{dead:#?}");
    let asleep = bench(&ASLEEP).with(|b| b.presses.clear()).find();
    assert_eq!(place(&asleep, "press the power button"), 0, "{asleep:#?}");
}

#[test]
fn what_is_unplugged_is_unplugged_with_the_feed_off() {
    for levels in [cycling(), vec![OFF, SURPLUS]] {
        for check in &bench(&levels).find().next_checks {
            let off = check.contains("unplug") || check.contains("take off");
            assert!(!off || check.contains("feed off") || check.contains("switch off"), "{check}");
        }
    }
}

#[test]
fn a_surplus_is_looked_for_at_the_input_as_well() {
    let surplus = surplus(&[OFF, SURPLUS]);
    assert!(asks(
        &surplus,
        "ohms to ground on the input rail and each always-on rail, against a good board's"
    ));
    assert!(
        asks(&surplus, "thermal camera (input capacitors, protection and charger"),
        "{}",
        checks(&surplus.find())
    );
}

#[test]
fn a_small_surplus_may_show_on_a_camera_and_is_else_sought_by_millivolts() {
    // 97 mA at 12.8 V.
    let large = checks(&surplus(&[OFF, SURPLUS]).find());
    let shows = "a surplus of 1.23 W in one part should show at close range";
    assert!(large.contains(shows) && !large.contains("millivolts"), "{large}");
    // A board that stands by at a tenth of it.
    let leaks = |amps: f64| {
        let small = |b: &mut Bench| {
            let standby = &mut b.profile.as_mut().expect("one").phases[0];
            for envelope in [&mut standby.mean_power, &mut standby.peak_power] {
                envelope.low *= 0.1;
                envelope.typical *= 0.1;
                envelope.high *= 0.1;
            }
        };
        let finding = surplus(&[OFF, (30.0, SET_V, amps)]).with(small).find();
        class(&finding, Class::ExcessStandby);
        checks(&finding)
    };
    let small = leaks(0.0105);
    assert!(small.contains("compare millivolts over each rail's coil or sense resistor"), "{small}");
    assert!(small.contains("in one part warms it little, and may show at close range"), "{small}");
    assert!(!small.contains("no camera") && !small.contains("Ω at"), "{small}");
    assert!(!small.contains("few ohms"), "{small}");
}

#[test]
fn a_spike_above_all_that_good_boards_read_is_told_and_looked_into() {
    // The first that is above what good boards peak at, and no departure.
    let runs =
        |amps: f64| surplus(&[&BOOT[..], &[(0.3, SET_V, amps), (20.0, SET_V, IDLE.2)]].concat()).find();
    let told = |found: &Finding| because(found).contains("its highest reading there, ");
    let spiked = (7..28).map(|step| runs(0.1 * f64::from(step))).find(told).expect("a spike");
    class(&spiked, Class::FullBoot);
    assert!(spiked.departures.is_empty(), "{:#?}", spiked.departures);
    assert!(checks(&spiked).contains("comes again, and what starts then"), "{}", checks(&spiked));
    let usual = bench(&BOOT).find();
    assert!(!told(&usual) && !checks(&usual).contains("comes again"), "{usual:#?}");
}
