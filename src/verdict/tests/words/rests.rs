//! What is said of a board at rest: before it wakes, and after it fell.

use super::*;

#[test]
fn a_standby_that_the_supply_hardly_reads_is_not_told_from_less() {
    let hardly_read = bench(&falls_to(0.001)).with(|b| {
        let standby = &mut b.profile.as_mut().expect("one").phases[0];
        standby.mean_power = crate::reference::Envelope { low: 0.006, typical: 0.01, high: 0.03 };
        standby.peak_power = crate::reference::Envelope { low: 0.01, typical: 0.02, high: 0.06 };
        b.levels[1].2 = 0.001;
    });
    let finding = hardly_read.find();
    class(&finding, Class::DroppedOut);
    let facts = because(&finding);
    assert!(facts.contains("its standby or less, which this supply hardly reads"), "{facts}");
    assert_eq!(state(&finding, "system rail").0, SectionState::Unknown);
    let read = because(&bench(&falls_to(0.0234)).find());
    assert!(!read.contains("hardly reads"), "{read}");
}

#[test]
fn a_standby_that_was_read_before_the_press_is_no_unknown_after_it() {
    // Two readings with the output off are too few for a zero, which may then be off by milliamps.
    let off = (0.2, 0.0, 0.0);
    let fell = bench(&[off, (4.8, SET_V, 0.016), RAILS, LOADING, IDLE, (30.0, SET_V, 0.016)])
        .with(|b| {
            let standby = &mut b.profile.as_mut().expect("one").phases[0];
            standby.mean_power = crate::reference::Envelope { low: 0.12, typical: 0.205, high: 0.35 };
        })
        .find();
    class(&fell, Class::DroppedOut);
    assert!(because(&fell).contains("it is back at its standby"), "{}", because(&fell));
}

#[test]
fn what_is_left_is_no_standby_of_a_board_that_has_none() {
    let starts_at_once = [OFF, RAILS, LOADING, IDLE, (20.0, SET_V, 0.0234)];
    let fell = bench(&starts_at_once)
        .with(|b| {
            let known = b.profile.as_mut().expect("one");
            known.phases.remove(0);
            known.power_path.clear();
            b.presses.clear();
        })
        .find();
    class(&fell, Class::DroppedOut);
    let facts = because(&fell);
    assert!(facts.contains("a residual draw") && !facts.contains("standby"), "{facts}");
}

#[test]
fn less_than_good_boards_stand_by_at_is_said_beside_what_the_board_drew_before() {
    let after =
        |amps: f64| because(&bench(&[OFF, STANDBY, RAILS, (1.5, SET_V, 1.0), (40.0, SET_V, amps)]).find());
    assert!(after(0.016).contains("7 mA less than the 23 mA before its first start"), "{}", after(0.016));
    assert!(!after(0.0234).contains("before its first start"), "{}", after(0.0234));
}

#[test]
fn a_standby_that_was_brief_is_held_against_the_rest_after_the_try_as_well() {
    let after_a_standby_of = |seconds: f64| {
        let levels = [OFF, (seconds, SET_V, 0.0234), RAILS, (1.5, SET_V, 1.0), (40.0, SET_V, 0.016)];
        let latched = bench(&levels).with(|b| b.presses.clear()).find();
        class(&latched, Class::LatchOff);
        because(&latched)
    };
    let brief = after_a_standby_of(1.3);
    // Its readings average 22.5 mA, which is said as 22: the difference is that of the figures.
    assert!(brief.contains("and 6 mA less than the 22 mA before its first start"), "{brief}");
    // Of two readings nothing is said.
    let none = after_a_standby_of(0.9);
    assert!(!none.contains("before its first start"), "{none}");
}

#[test]
fn a_standby_below_that_of_good_boards_proves_nothing_and_is_said_to_be_less() {
    let low = bench(&[OFF, (20.0, SET_V, 0.012)]).find();
    class(&low, Class::StandbyOnly);
    assert!(because(&low).contains("this is less"), "{}", because(&low));
    assert_eq!(state(&low, "system rail").0, SectionState::Unknown);
    let usual = bench(&ASLEEP).find();
    assert!(!because(&usual).contains("this is less"), "{}", because(&usual));
    assert_eq!(state(&usual, "system rail").0, SectionState::Proved);
}

#[test]
fn a_section_that_carries_part_of_the_standby_is_not_proved_by_it() {
    let part = bench(&falls_to(0.008)).find();
    class(&part, Class::DroppedOut);
    assert!(because(&part).contains("less than its standby"), "{}", because(&part));
    let (rail, why) = state(&part, "system rail");
    assert!(rail == SectionState::Suspect && why.contains("with the standby"), "{rail:?} {why}");
    assert_eq!(state(&part, "main regulators").0, SectionState::Unknown);
}

#[test]
fn a_rest_that_half_a_step_may_lift_into_the_band_is_at_or_just_below_it() {
    let after = |amps: f64| {
        let levels = [OFF, (4.0, SET_V, 0.029), RAILS, (1.5, SET_V, 1.0), (40.0, SET_V, amps)];
        // The least of good boards is 17.1 mA, and the supply reads a little with nothing drawn.
        bench(&levels).with(|b| b.profile.as_mut().expect("one").phases[0].mean_power.low = 0.2185).find()
    };
    let edge = after(0.017);
    let said = because(&edge);
    assert!(
        said.contains(
            "at or just below the least that good boards stand by at (17.1 mA), and 12 mA less than the 29 mA"
        ),
        "{said}"
    );
    assert!(checks(&edge).contains("what drew the 12 mA went off as well"), "{}", checks(&edge));
    let within = because(&after(0.019));
    assert!(within.contains("as much as some good boards stand by at, and 10 mA less"), "{within}");
    let back = bench(&[OFF, STANDBY, RAILS, (1.5, SET_V, 1.0), (40.0, SET_V, 0.0234)]);
    class(&back.find(), Class::LatchOff);
    assert!(!asks(&back, "went off as well"), "{}", checks(&back.find()));
}

#[test]
fn what_good_boards_stand_by_at_is_said_of_a_board_that_draws_nothing() {
    let dead = || bench(&[OFF, (20.0, SET_V, 0.0)]);
    class(&dead().find(), Class::NoDraw);
    assert!(because(&dead().find()).contains("; good boards stand by at 23"), "{}", because(&dead().find()));
    let unknown = because(&dead().with(|b| b.profile = None).find());
    assert!(!unknown.contains("good boards"), "{unknown}");
}

#[test]
fn what_is_drawn_of_nothing_and_how_long_it_was_fed_are_one_span() {
    let dead = bench(&[OFF, (0.3, SET_V, 0.05), (20.05, SET_V, 0.0)]).with(|b| b.presses.clear()).find();
    class(&dead, Class::NoDraw);
    let said = because(&dead);
    let span = said.split_once("mean current under 1 mA over ").map(|(_, rest)| rest.split(':').next());
    let span = span.flatten().and_then(|span| span.split(';').next()).unwrap_or_default();
    assert!(!span.is_empty() && said.contains(&format!("is marked in {span} of feed")), "{span}: {said}");
}
