//! What looks like a fault and is none.

use super::presses::{REGULAR, panel};
use super::*;

#[test]
fn a_press_is_asked_for_where_none_is_marked() {
    let unasked = || bench(&ASLEEP).with(|b| b.presses.clear());
    assert!(asks(&unasked(), "press the power button briefly"));
    assert_eq!(state(&unasked().find(), "main regulators").0, SectionState::Unknown);
    assert!(!asks(&bench(&ASLEEP), "press the power button briefly"));
    assert_eq!(state(&bench(&ASLEEP).find(), "main regulators").0, SectionState::Suspect);
    // A panel whose good boards wake after the same time whenever they are fed has no button to press.
    assert!(!asks(&unasked().with(panel(&REGULAR)), "press the power button briefly"));
    // A small computer has one if its profile knows that it waits.
    let small = |waits: bool| {
        unasked().with(|b| {
            let known = b.profile.as_mut().expect("one");
            known.feed.nominal = Volts::constant(5.0);
            known.phases[0].waits_for_person = waits;
        })
    };
    assert!(asks(&small(true), "press the power button briefly"), "{}", checks(&small(true).find()));
    assert!(!asks(&small(true), "reset, clock"), "{}", checks(&small(true).find()));
    let pressed = small(true).with(|b| b.presses = vec![4.5]);
    let said = checks(&pressed.find());
    assert!(
        said.contains("bridge the button's contacts") && said.contains("good boards wait for a person"),
        "{said}"
    );
    assert!(asks(&small(false), "reset, clock"), "{}", checks(&small(false).find()));
}

#[test]
fn the_packs_data_lines_matter_at_the_battery_connector_only() {
    assert!(asks(&bench(&ASLEEP), "pack's data or detect line"));
    assert!(!asks(&bench(&ASLEEP).with(|b| b.feed_point = Some("adapter inlet")), "data or detect line"));
    let handheld = |b: &mut Bench| b.profile.as_mut().expect("one").feed.nominal = Volts::constant(4.0);
    assert!(asks(&bench(&ASLEEP).with(handheld), "identification or temperature line"));
    assert!(!asks(&bench(&BOOT), "data or detect line"));
}

#[test]
fn a_low_limit_is_named_where_it_may_stop_the_board() {
    assert!(asks(
        &bench(&cycling()).with(|b| b.limit = 1.05),
        "raise the current limit from 1.05 A to 3.00 A"
    ));
    assert!(!asks(&bench(&cycling()), "raise the current limit"));
    assert!(!asks(&bench(&BOOT), "raise the current limit"));
}

#[test]
fn thin_leads_matter_where_amps_are_many_for_the_volts() {
    let many: Vec<(f64, f64, f64)> =
        cycling().into_iter().map(|(s, v, a)| (s, v, if a > 0.9 { 2.7 } else { a })).collect();
    assert!(asks(&bench(&many).with(|b| b.limit = 6.0), "thick leads"));
    assert!(!asks(&bench(&cycling()), "thick leads"));
}

#[test]
fn inrush_may_be_taken_for_a_short_while_it_may_still_charge() {
    let briefly = |seconds: f64| bench(&[OFF, (seconds, 0.6, 0.1)]).with(|b| b.limit = 0.1);
    assert!(asks(&briefly(1.0), "large input capacitors charge"), "{}", checks(&briefly(1.0).find()));
    assert!(!asks(&briefly(20.0), "large input capacitors charge"));
}

#[test]
fn a_load_may_still_be_attached_where_too_much_is_drawn() {
    let load = "still attached";
    assert!(asks(&bench(&[OFF, (20.0, SET_V, 0.12)]), "may still be attached"));
    assert!(asks(&bench(&[OFF, (20.0, 8.5, 3.0)]), load));
    assert!(!asks(&bench(&ASLEEP), load) && !asks(&bench(&BOOT), load));
}

#[test]
fn what_thin_leads_leave_a_board_is_held_against_its_least() {
    let cycles = |least: f64| {
        let lowest =
            move |b: &mut Bench| b.profile.as_mut().expect("one").feed.lowest = Volts::constant(least);
        let heavy = [RAILS, (1.5, SET_V, 2.6), REST].repeat(6);
        checks(&bench(&[&[OFF, STANDBY][..], &heavy].concat()).with(lowest).find())
    };
    assert!(
        cycles(12.6).contains("at 2.60 A thin ones leave it 12.5 V, below its least of 12.6 V"),
        "{}",
        cycles(12.6)
    );
    assert!(cycles(12.5).contains("at 2.60 A thin ones take about 0.26 V unseen"), "{}", cycles(12.5));
}

/// A log of a busy stage before a running level that lies close below it and is calm, in which the stage goes on for three
/// times as long as usual, and then what `goes_on` does.
fn slow_loader(goes_on: &[(f64, f64, f64)]) -> Bench {
    let busy = [(0.6, SET_V, 0.95), (0.6, SET_V, 1.15)].repeat(21);
    bench(&[&[OFF, STANDBY, RAILS][..], &busy, goes_on].concat()).with(|b| {
        let known = b.profile.as_mut().expect("one");
        known.phases[2].activity = Envelope { low: 0.8, typical: 1.3, high: 2.2 };
        known.phases[3].mean_power = Envelope { low: 9.2, typical: 11.0, high: 13.2 };
        known.phases[3].peak_power = Envelope { low: 10.0, typical: 12.5, high: 15.0 };
    })
}

#[test]
fn a_stage_that_takes_long_and_then_settles_as_a_running_board_is_not_stuck() {
    let settles = slow_loader(&[(40.0, SET_V, 0.87)]).find();
    class(&settles, Class::FullBoot);
    assert!(settles.departures.iter().any(|departure| departure.phase == "loading"), "it took long");
    let stuck = slow_loader(&[(0.6, SET_V, 0.95), (0.6, SET_V, 1.15)].repeat(33)).find();
    class(&stuck, Class::Stalled);
}
