//! Checks come in the order of a bench: what is quick and harmless first.

use super::checks::place;
use super::*;

#[test]
fn a_button_is_tried_before_rails_are_measured() {
    let asleep = bench(&ASLEEP).find();
    for word in ["press again, for 5 to 10 s", "bridge the button", "ribbon"] {
        assert!(place(&asleep, word) < place(&asleep, "always-on rails"), "{word}: {asleep:#?}");
    }
    let by_itself = bench(&ASLEEP).with(|b| {
        b.profile.as_mut().expect("one").phases[0].waits_for_person = false;
        b.presses.clear();
    });
    assert!(!asks(&by_itself, "bridge the button"));
}

#[test]
fn coils_are_measured_before_a_scope_is_set_up_and_software_is_tried_where_tries_last() {
    let lasting = |seconds: f64| {
        let mut levels = vec![OFF, STANDBY];
        for _ in 0..8 {
            levels.extend([RAILS, (seconds, SET_V, 1.0), REST]);
        }
        bench(&levels).find()
    };
    let (brief, long) = (lasting(1.5), lasting(6.0));
    class(&brief, Class::Cycling);
    class(&long, Class::Cycling);
    assert!(place(&brief, "converter's coil") < place(&brief, "with a scope"), "{brief:#?}");
    assert!(place(&long, "known-good image") < place(&long, "with a scope"));
    assert!(place(&long, "with a scope") < place(&long, "converter's coil"), "{long:#?}");
    assert!(!checks(&brief).contains("known-good image"), "{}", checks(&brief));
}

#[test]
fn cooling_comes_first_where_a_board_ran_and_fell() {
    let fell = bench(&falls_to(0.0234)).find();
    class(&fell, Class::DroppedOut);
    assert_eq!(place(&fell, "fan turns"), 0, "{:#?}", fell.next_checks);
    assert!(place(&fell, "thermal camera") < place(&fell, "scope rails"));
}

#[test]
fn polarity_comes_before_the_leads_of_a_hard_short() {
    let short = bench(&[OFF, (20.0, 0.8, 3.0)]).find();
    class(&short, Class::HardShort);
    assert!(place(&short, "check the polarity") < place(&short, "take the board off the clips"));
}

#[test]
fn a_latch_is_let_go_before_anything_is_measured() {
    let latched =
        bench(&[&[OFF, STANDBY, RAILS, (1.5, SET_V, 1.0)][..], &[(30.0, SET_V, 0.0234)]].concat()).find();
    class(&latched, Class::LatchOff);
    let feed = place(&latched, "a latch lets go only without feed");
    assert!(feed < place(&latched, "unplug what can be unplugged") && feed < place(&latched, "with a scope"));
    assert!(latched.next_checks[feed].starts_with("press again with the feed left on"), "{latched:#?}");
    let cycles = bench(&cycling());
    assert!(!asks(&cycles, "a latch lets go only without feed"), "a board that tries again has not latched");
}

#[test]
fn the_feed_is_off_before_a_bus_or_a_medium_is_changed_and_the_screen_is_watched() {
    let stalled_in = |name: &str| {
        bench(&[OFF, STANDBY, RAILS, (60.0, SET_V, 1.016)])
            .with(|b| b.profile.as_mut().expect("one").phases[2].name = name.into())
            .find()
    };
    let bus = stalled_in("bus");
    assert!(bus.next_checks[0].starts_with("feed off, connect the bus"), "{bus:#?}");
    assert!(bus.next_checks[1].starts_with("look at console or screen"), "{bus:#?}");
    for name in ["storage", "boot", "kernel"] {
        let said = checks(&stalled_in(name));
        assert!(said.contains("feed off, put in ") && said.contains("known-good image"), "{name}: {said}");
    }
}
