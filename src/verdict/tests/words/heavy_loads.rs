//! Heavy loads: what tells a resistance from a diode, and what an ohmmeter is to find.

use super::*;
use crate::verdict::seen::Load;

fn short(volts: f64, amps: f64) -> Bench {
    bench(&[OFF, (20.0, volts, amps)])
}

#[test]
fn reversed_polarity_is_by_the_volts_at_the_board() {
    // Thin leads take 0.3 V of 3 A.
    assert!(asks(&short(1.3, 3.0), "leads included, a board stands that is fed in reverse"));
    // Of 0.4 V at the board none is told, and half the limit tells.
    let open = short(0.7, 3.0);
    assert!(!asks(&open, "check the polarity") && asks(&open, "a diode or reversed polarity"));
    let little = short(0.44, 3.0);
    assert!(!asks(&little, "check the polarity"), "{}", checks(&little.find()));
    assert!(!asks(&little, "in reverse"), "{}", checks(&little.find()));
}

#[test]
fn a_limit_that_is_not_what_is_read_in_it_is_said_to_be_what_was_set() {
    let [same, above] = [3.0, 3.02].map(|amps| because(&short(0.44, amps).find()));
    assert!(
        same.contains("3.00 A at 0.44") && same.contains("the supply sits in its limit of 3.00 A"),
        "{same}"
    );
    assert!(above.contains("3.02 A at 0.44"), "{above}");
    assert!(above.contains("the supply sits in its limit, set to 3.00 A"), "{above}");
}

#[test]
fn half_the_limit_tells_a_resistance_from_a_diode() {
    assert!(asks(
        &short(0.6, 3.0),
        "set the limit to half, 1.50 A: volts that halve as well are a resistance"
    ));
    assert!(!asks(&short(SET_V, 2.9), "limit to half"), "not in its limit");
}

#[test]
fn few_tenths_of_an_ohm_take_more_than_a_plain_meter_and_little_heat_more_than_seconds() {
    let little = short(0.44, 3.0);
    assert!(asks(&little, "(by a four-wire or milliohm meter"), "{}", checks(&little.find()));
    assert!(!asks(&short(3.0, 3.0), "milliohm"), "{}", checks(&short(3.0, 3.0).find()));
    // 1.32 W, 0.9 W of them in thin leads.
    assert!(
        asks(&little, "fed as now: 0.42 W in one part should show at close range"),
        "{}",
        checks(&little.find())
    );
    assert!(asks(&short(2.0, 3.0), "for seconds only"));
}

#[test]
fn ohms_that_the_supply_sees_are_those_of_the_input_rail_and_not_of_one_behind_a_converter() {
    let partial = bench(&[OFF, (20.0, SET_V, 2.0)]);
    class(&partial.find(), Class::PartialShort);
    let drawn = "if nothing there reads about 6.4 Ω, a converter or chip draws when fed";
    assert!(asks(&partial, drawn), "{}", checks(&partial.find()));
    let woken = bench(&[OFF, STANDBY, (20.0, SET_V, 2.0)]);
    class(&woken.find(), Class::PartialShort);
    assert!(asks(&woken, drawn), "{}", checks(&woken.find()));
    // A feed that collapses runs no converter.
    assert!(!asks(&short(1.5, 3.0), "converter or chip"), "{}", checks(&short(1.5, 3.0).find()));
}

#[test]
fn half_the_limit_tells_what_holds_a_feed_that_stands_above_a_diode() {
    let limited = bench(&[OFF, (20.0, 8.5, 3.0)]);
    class(&limited.find(), Class::PartialShort);
    assert!(asks(
        &limited,
        "set the limit to half, 1.50 A: volts that halve as well are a resistance, volts that"
    ));
    let below = bench(&[OFF, (20.0, SET_V, 2.0)]);
    class(&below.find(), Class::PartialShort);
    assert!(!asks(&below, "limit to half"), "{}", checks(&below.find()));
}

#[test]
fn more_amps_than_a_model_is_fed_with_are_for_what_carries_them() {
    let cold = |usual_a: f64| {
        let model = |b: &mut Bench| {
            b.limit = 1.5;
            b.profile.as_mut().expect("one").feed.limit = Amps::constant(usual_a);
        };
        short(0.15, 1.5).with(model)
    };
    let few = cold(1.5);
    let said = "at the battery connector for seconds, if it, fuse and leads carry more than the usual 1.50 A";
    assert!(asks(&few, said), "{}", checks(&few.find()));
    assert!(asks(&cold(3.0), "fuse and leads carry that"), "{}", checks(&cold(3.0).find()));
    // 0.96 Ω take 1.39 V and 1.44 A for two watts.
    let cool = short(0.48, 0.5).with(|b| {
        b.limit = 0.5;
        b.profile.as_mut().expect("one").feed.limit = Amps::constant(0.5);
    });
    let warm = "or up to 1.4 V, 1.4 A (2 W)";
    assert_eq!(checks(&cool.find()).matches(warm).count(), 1, "{}", checks(&cool.find()));
    let told = cool.find().cautions.concat();
    assert!(told.contains("1.4 V and 1.4 A are 2 W, which in one small part"), "{told}");
    let warns = |b: &Bench| b.find().cautions.concat().contains("which in one small part burn skin");
    assert!(warns(&few) && !warns(&short(1.3, 3.0)));
}

#[test]
fn a_feed_that_stands_as_it_was_set_is_said_to_hold() {
    let stands = |volts: f64| {
        let heavy =
            bench(&[OFF, (20.0, volts, 2.5)]).with(|b| (b.presses, b.limit) = (Vec::new(), 3.0)).find();
        because(&heavy)
    };
    assert!(
        stands(SET_V).contains("the feed holds the 12.8 V set; below the limit of 3.00 A"),
        "{}",
        stands(SET_V)
    );
    assert!(stands(8.5).contains("the feed stands at 8.50 V of the 12.8 V set"), "{}", stands(8.5));
}

/// A load at the limit of 3 A, whose volts go from `from_v` to `to_v` in steps of a second.
fn creeping(from_v: f64, to_v: f64) -> String {
    let steps = (0..30_u32).map(|step| (1.0, from_v + (to_v - from_v) * f64::from(step) / 29.0, 3.0));
    let levels: Vec<_> = std::iter::once(OFF).chain(steps).collect();
    let finding = bench(&levels).find();
    class(&finding, Class::PartialShort);
    because(&finding)
}

/// A load whose volts rise by less than a step in half a minute, beside readings that scatter by some steps, and that end high.
fn scattered() -> String {
    let volts = |tenth: u32| {
        let scatter = f64::from(tenth * 7 % 5) - 2.0;
        let end = if tenth >= 295 { 0.2 } else { 0.0 };
        8.5 + 0.0001 * f64::from(tenth) + 0.15 * scatter + end
    };
    let readings = (0..300_u32).map(|tenth| (0.1, volts(tenth), 3.0));
    let levels: Vec<_> = std::iter::once(OFF).chain(readings).collect();
    because(&bench(&levels).find())
}

#[test]
fn ohms_that_creep_one_way_are_not_called_steady() {
    let [falls, rises, stays] = [(8.6, 8.2), (8.2, 8.6), (8.5, 8.52)].map(|(from, to)| creeping(from, to));
    assert!(falls.contains("its ohms creep down, from 2.87 Ω to 2.73 Ω"), "{falls}");
    assert!(falls.contains("metal's rise as it warms") && !falls.contains("steady"), "{falls}");
    // The first second and the last, as anybody finds them there.
    assert!(rises.contains("its ohms creep up, from 2.73 Ω to 2.87 Ω"), "{rises}");
    assert!(stays.contains("it is steady for") && !stays.contains("creep"), "{stays}");
    // 1.5 % from the first part to the last, by 10 mV a second at a constant current.
    let little = creeping(8.43, 8.6);
    assert!(little.contains("its ohms creep up, from 2.8"), "{little}");
    // Less than a supply may drift by tells nothing, and is there all the same.
    let faint = creeping(8.5, 8.57);
    assert!(faint.contains("s but for ohms that creep up by 0.8 %"), "{faint}");
    assert!(faint.contains("it is steady for"), "{faint}");
    // By chance the last second may lie higher than all before it; its readings scatter as far.
    let by_chance = scattered();
    assert!(!by_chance.contains("creep"), "{by_chance}");
    // To and fro is no creep, however far.
    let swings: Vec<_> = (0..30).map(|step| (1.0, if step % 2 == 0 { 8.2 } else { 8.8 }, 3.0)).collect();
    let swings = because(&bench(&[&[OFF][..], &swings].concat()).find());
    assert!(!swings.contains("creep"), "{swings}");
}

#[test]
fn a_current_that_goes_one_way_is_not_called_steady_though_its_ohms_hardly_move() {
    // Steps of a second below the limit, by a few of the readback's milliamps.
    let below_the_limit = |from_a: f64, to_a: f64| {
        let amps = |step: u32| from_a + (to_a - from_a) * f64::from(step) / 29.0;
        let steps = (0..30_u32).map(|step| (1.0, SET_V, amps(step)));
        let finding = bench(&std::iter::once(OFF).chain(steps).collect::<Vec<_>>()).find();
        class(&finding, Class::PartialShort);
        because(&finding)
    };
    let [falls, rises, stays, creeps] = [(1.625, 1.612), (1.612, 1.625), (1.61, 1.61), (1.625, 1.595)]
        .map(|(from, to)| below_the_limit(from, to));
    assert!(falls.contains("s the current falls from 1.62 to 1.61 A (as where metal warms)"), "{falls}");
    // The share of what the figures do not show.
    let little = below_the_limit(1.624, 1.617);
    assert!(little.contains("s the current falls by 0.4"), "{little}");
    assert!(creeps.contains("its ohms creep up, from 7.8"), "{creeps}");
    assert!(!falls.contains("steady"), "{falls}");
    assert!(
        rises.contains("s the current rises from 1.61 to 1.62 A") && !rises.contains("steady"),
        "{rises}"
    );
    assert!(stays.contains("it is steady for") && !stays.contains("the current falls"), "{stays}");
}

#[test]
fn a_round_figure_of_ohms_gives_back_the_watts_that_it_was_reckoned_from() {
    let at_a_volt = [0.7, 0.399, 29.9, 1.84, 25.6, 0.05].map(|watts: f64| Load::rough(1.0 / watts));
    assert_eq!(at_a_volt, ["1.4 Ω", "2.5 Ω", "0.033 Ω", "0.54 Ω", "0.04 Ω", "20 Ω"]);
}

#[test]
fn a_load_from_switch_on_is_said_to_be_unasked_where_no_press_is_marked() {
    let unasked = "no press of the button is marked: whether it would start at one is not known";
    let pressed = |presses: &[f64]| {
        because(&bench(&[OFF, (20.0, SET_V, 2.0)]).with(|b| b.presses = presses.to_vec()).find())
    };
    assert!(pressed(&[]).contains(unasked), "{}", pressed(&[]));
    assert!(!pressed(&[4.5]).contains(unasked), "{}", pressed(&[4.5]));
}

#[test]
fn ohms_are_known_no_better_than_a_step_of_the_volts_and_their_zero() {
    // 200 readings of 0.16 or 0.17 V: a step is 9.3 mΩ, the zero as much again, and both readbacks 3 mΩ.
    let of_steps = |step: f64| {
        let low = |turn: i32| 0.16 + step * f64::from(turn % 2);
        let levels: Vec<_> = (0..40).map(|turn| (0.5, low(turn), 1.07)).collect();
        let finding = bench(&[&[OFF][..], &levels].concat()).with(|b| b.limit = 1.07).find();
        class(&finding, Class::HardShort);
        because(&finding)
    };
    assert!(of_steps(0.01).contains("0.154 Ω ± 0.022 Ω"), "{}", of_steps(0.01));
    // A finer readback still has a zero.
    assert!(of_steps(0.001).contains("0.150 Ω ± 0.014 Ω"), "{}", of_steps(0.001));
}

/// The checks of a load that is there from switch-on, without what is marked beside them.
fn steps_of(load: &Bench) -> Vec<String> {
    load.find().next_checks
}

#[test]
fn a_short_has_few_checks_and_no_step_twice() {
    for (load, most) in
        [(short(SET_V, 2.0), 6), (short(8.5, 3.0), 7), (short(0.44, 3.0), 6), (short(0.15, 1.5), 6)]
    {
        let steps = steps_of(&load);
        assert!((3..=most).contains(&steps.len()), "{steps:#?}");
        let cameras = steps.iter().filter(|step| step.contains("thermal camera")).count();
        assert_eq!(cameras, 1, "{steps:#?}");
    }
}
