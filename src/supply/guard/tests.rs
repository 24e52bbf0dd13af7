//! Driving a supply that obeys, one that does not, and one that is gone.

use super::super::fake::{Fake, Fault};
use super::super::{Dialect, Supply};
use super::*;
use crate::units::Ohms;
use short_check::{Point, judge};
use std::sync::mpsc;

fn permission(volts: f64, limit: f64) -> Permission {
    let feed = Feed { volts: Volts::constant(volts), limit: Amps::constant(limit) };
    let bounds = Bounds { lowest: feed.volts, highest: feed.volts, limit: feed.limit };
    let request = Request { feed, bounds: Some(bounds), beyond_profile: false, cautions: Vec::new() };
    Permission::obtain(&request, |_| true).unwrap()
}

fn supply(fake: &Fake) -> Supply {
    let mut dialect = Dialect::plain();
    dialect.line.reply_within = Duration::from_millis(60);
    Supply::over(fake.link(), dialect)
}

fn guard(fake: &Fake) -> Guard {
    Guard::new(supply(fake), permission(12.8, 3.0)).unwrap()
}

#[test]
fn nothing_is_switched_on_before_off_is_confirmed_and_settings_are_read_back() {
    let fake = Fake::new();
    let mut guard = guard(&fake);
    assert_eq!(guard.on(), Err(GuardError::NotSetUp));
    assert!(fake.state().heard.is_empty());
    guard.set_up().unwrap();
    guard.on().unwrap();
    assert_eq!(
        fake.state().heard,
        [
            "OUTP OFF",
            "OUTP?",
            "SYST:ERR?",
            "VOLT 12.800",
            "CURR 3.000",
            "SYST:ERR?",
            "VOLT?;CURR?;OUTP?",
            "OUTP ON",
            "OUTP?"
        ]
    );
    assert!(fake.state().on);
    assert_eq!(guard.finish(), Some(OffOutcome::Confirmed));
    assert!(!fake.state().on);
}

#[test]
fn settings_that_are_not_taken_keep_the_output_off() {
    let fake = Fake::new();
    fake.state().deaf_to_settings = true;
    let mut guard = guard(&fake);
    let error = guard.set_up().unwrap_err();
    assert_eq!(
        error.to_string(),
        "the output voltage was set to 12.8 V but reads back as 5.00 V; the output stays off"
    );
    assert_eq!(guard.on(), Err(GuardError::NotSetUp));
    assert!(!fake.state().on);
}

#[test]
fn what_the_supply_refuses_is_told_in_its_own_words() {
    let fake = Fake::new();
    let mut guard = guard(&fake);
    // One entry from before, which is not ours, and one after the settings.
    fake.faults([Fault::None, Fault::None, Fault::Instead(b"-222,\"Data out of range\"\n")]);
    let error = guard.set_up().unwrap_err().to_string();
    assert_eq!(error, "the supply refused 'VOLT 12.800; CURR 3.000': -222 Data out of range");
}

#[test]
fn a_garbled_confirmation_is_asked_for_again() {
    let fake = Fake::new();
    let mut guard = guard(&fake);
    guard.set_up().unwrap();
    fake.faults([Fault::Instead(b"#\n")]);
    guard.on().unwrap();
    assert!(fake.state().on);
    fake.faults([Fault::Cut, Fault::Silent]);
    assert_eq!(guard.off(), OffOutcome::Confirmed);
}

#[test]
fn an_output_that_stays_on_is_never_called_off() {
    let fake = Fake::new();
    let mut guard = guard(&fake);
    guard.set_up().unwrap();
    guard.on().unwrap();
    fake.state().stuck_on = true;
    let OffOutcome::Unknown { why } = guard.off() else { panic!("called off") };
    assert_eq!(why, "the supply says that its output is still on");
    let tries = fake.state().heard.iter().filter(|message| *message == "OUTP OFF").count();
    assert_eq!(tries, 1 + 3);
    fake.state().stuck_on = false;
}

#[test]
fn dropping_the_guard_switches_off_and_tells() {
    for stuck in [false, true] {
        let fake = Fake::new();
        let (tell, told) = mpsc::channel();
        let mut guard = guard(&fake);
        guard.report_drop_to(move |outcome| tell.send(outcome.clone()).unwrap());
        guard.set_up().unwrap();
        guard.on().unwrap();
        fake.state().stuck_on = stuck;
        drop(guard);
        assert_eq!(fake.state().on, stuck);
        assert_eq!(told.recv().unwrap() == OffOutcome::Confirmed, !stuck);
    }
}

#[test]
fn a_panic_switches_off() {
    let fake = Fake::new();
    let mut guard = guard(&fake);
    guard.set_up().unwrap();
    guard.on().unwrap();
    let panicked = std::thread::spawn(move || {
        let _guard = guard;
        panic!("in the middle of a run");
    });
    assert!(panicked.join().is_err());
    assert!(!fake.state().on);
}

#[test]
fn an_output_is_left_on_only_when_asked_for() {
    let fake = Fake::new();
    let mut guard = guard(&fake);
    guard.set_up().unwrap();
    guard.on().unwrap();
    guard.leave_on();
    assert_eq!(guard.finish(), None);
    assert!(fake.state().on);
}

#[test]
fn a_supply_that_is_gone_is_not_called_off() {
    let fake = Fake::new();
    let mut guard = guard(&fake);
    guard.set_up().unwrap();
    guard.on().unwrap();
    fake.state().plugged = false;
    assert!(matches!(guard.off(), OffOutcome::Unknown { .. }));
}

#[test]
fn a_guard_that_drove_nothing_sends_nothing() {
    let fake = Fake::new();
    drop(guard(&fake));
    assert!(fake.state().heard.is_empty());
}

#[test]
fn a_dialect_without_drive_cannot_be_driven() {
    let text = "name = \"meter\"\n[ask]\nvolts = \"MEAS:VOLT?\"\namps = \"MEAS:CURR?\"\n";
    let fake = Fake::new();
    let supply = Supply::over(fake.link(), Dialect::parse("meter.toml", text).unwrap());
    let error = Guard::new(supply, permission(5.0, 1.0)).unwrap_err();
    assert_eq!(error, GuardError::CannotDrive { dialect: "meter".into() });
}

fn check(fake: &Fake) -> ShortCheckResult {
    let mut guard = guard(fake);
    let check =
        ShortCheck { length: Duration::from_millis(150), ..ShortCheck::with_threshold(Ohms::constant(2.0)) };
    guard.short_check(&check, || true).unwrap().unwrap()
}

#[test]
fn the_short_check_gives_ohms_and_refuses_a_short() {
    for (ohms, may_go_on) in [(0.5, false), (1.5, false), (20.0, true)] {
        let fake = Fake::new();
        fake.state().load_ohms = ohms;
        let result = check(&fake);
        let Load::Resistance(found) = result.load else { panic!("{result:?}") };
        assert!((found.value() / ohms - 1.0).abs() < 0.02, "{ohms}: {result:?}");
        assert_eq!(result.may_go_on, may_go_on);
        let state = fake.state();
        assert!(!state.on && state.set_volts <= 1.0 && state.limit <= 0.5);
    }
}

#[test]
fn the_short_check_tells_a_charging_capacitor_from_a_short() {
    let fake = Fake::new();
    // 0.5 A into 0.2 F: 2.5 V/s, 0.4 V at the end of the check.
    fake.state().load_farads = 0.2;
    let result = check(&fake);
    let Load::Charging { volts_per_second, .. } = result.load else { panic!("{result:?}") };
    assert!((volts_per_second / 2.5 - 1.0).abs() < 0.1, "{result:?}");
    assert!(result.may_go_on);
}

#[test]
fn too_few_readings_of_the_short_check_say_nothing() {
    let point = Point { time: crate::units::Seconds::ZERO, volts: 0.1, amps: 0.5 };
    assert_eq!(judge(&[point; 3], Amps::constant(0.5), Ohms::constant(2.0)), None);
    let nothing = Point { amps: 0.0, volts: 1.0, ..point };
    assert_eq!(judge(&[nothing; 8], Amps::constant(0.5), Ohms::constant(2.0)).unwrap().load, Load::Open);
}
