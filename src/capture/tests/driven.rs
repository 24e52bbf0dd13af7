//! Runs that drive the output: what trips, and that every way out ends with the output off.

use super::*;

fn drive(lead_in: f64) -> DrivePlan {
    let trips = TripLevels {
        set_volts: Volts::constant(12.8),
        limit: Amps::constant(3.0),
        most_amps: None,
        collapse: USUAL_COLLAPSE,
    };
    DrivePlan { lead_in: Seconds::constant(lead_in), trips, leave_on: false }
}

/// A driven run of a board that draws `amps` at `volts` once fed, with what was asked of the supply.
fn driven(volts: f64, amps: f64, plan: impl FnOnce(Plan) -> Plan) -> (Run, Vec<Act>) {
    driven_by(volts, amps, |_| {}, plan)
}

fn driven_by(
    volts: f64,
    amps: f64,
    prepare: impl FnOnce(&mut FakeSupply),
    change: impl FnOnce(Plan) -> Plan,
) -> (Run, Vec<Act>) {
    let clock = Arc::new(FakeClock::default());
    let acts: Arc<Mutex<Vec<Act>>> = Arc::default();
    let seen = Arc::clone(&acts);
    let mut supply = FakeSupply::new(&clock, move |_| {
        let on = seen.lock().unwrap().contains(&Act::On);
        Ok(if on { (volts, amps) } else { (0.0, 0.0) })
    });
    (supply.acts, supply.may_switch) = (Arc::clone(&acts), true);
    prepare(&mut supply);
    let run = run(supply, change(Plan { drive: Some(drive(0.5)), ..plan("5s", &clock) }));
    let acts = acts.lock().unwrap().clone();
    (run, acts)
}

#[test]
fn a_driven_run_reads_first_then_switches_on_and_ends_off() {
    let (run, acts) = driven(12.8, 0.5, |plan| plan);
    assert_eq!(
        (run.report.ended.clone(), run.report.output.clone()),
        (Ended::Length, OutputState::ConfirmedOff)
    );
    let words = run.words();
    assert!((0.5..0.55).contains(&words[0].0), "{words:?}");
    assert_eq!(run.kinds(), [EventKind::OutputOn, EventKind::OutputOff]);
    assert_eq!(acts.last(), Some(&Act::Off));
    assert_eq!(acts.iter().filter(|act| **act == Act::On).count(), 1);
}

#[test]
fn a_trip_switches_off_in_the_very_next_exchange() {
    let (run, acts) = driven(14.0, 0.5, |plan| plan);
    let Ended::Trip(trip) = &run.report.ended else { panic!("no trip: {:?}", run.report.ended) };
    assert_eq!(run.kinds(), [EventKind::OutputOn, EventKind::Trip(trip.to_string()), EventKind::OutputOff]);
    let on = acts.iter().position(|act| *act == Act::On).unwrap();
    assert_eq!(acts[on..], [Act::On, Act::Read, Act::Off], "one reading over the set volts, then off");
    assert_eq!(run.report.output, OutputState::ConfirmedOff);
}

#[test]
fn a_short_trips_after_its_time() {
    let (run, _) = driven(0.6, 3.0, |plan| plan);
    assert!(matches!(run.report.ended, Ended::Trip(Trip::Collapsed { .. })), "{:?}", run.report.ended);
    let seconds = run.trace.duration().unwrap().value();
    assert!((2.5..2.6).contains(&seconds), "0.5 s before switching on, 2 s of short: {seconds}");
}

#[test]
fn a_lost_link_trips_and_off_is_tried_until_confirmed() {
    let lose = |supply: &mut FakeSupply| {
        supply.off_fails = 2;
        supply.answer = Box::new(|number| match number {
            100.. => Err(Trouble::Lost("unplugged".into())),
            _ => steady(number),
        });
    };
    let (run, acts) = driven_by(0.0, 0.0, lose, |plan| plan);
    assert!(matches!(run.report.ended, Ended::Trip(Trip::LinkLost(_))), "{:?}", run.report.ended);
    assert_eq!(run.report.output, OutputState::ConfirmedOff);
    assert!(acts.ends_with(&[Act::Off, Act::Reopen, Act::Off, Act::Reopen, Act::Off]), "{acts:?}");
}

#[test]
fn an_output_that_cannot_be_confirmed_off_is_reported_unknown() {
    let (run, _) = driven_by(12.8, 0.5, |supply| supply.off_fails = u32::MAX, |plan| plan);
    assert_eq!(run.report.output, OutputState::Unknown(Unconfirmed("no answer".into())));
    assert!(!run.kinds().contains(&EventKind::OutputOff), "off is not claimed in the log either");
}

#[test]
fn only_a_calm_end_leaves_the_output_on() {
    let leave =
        |plan: Plan| Plan { drive: plan.drive.map(|drive| DrivePlan { leave_on: true, ..drive }), ..plan };
    let (run, acts) = driven(12.8, 0.5, leave);
    assert_eq!(run.report.output, OutputState::LeftOn);
    assert!(!acts.contains(&Act::Off));
    let (run, _) = driven(14.0, 0.5, leave);
    assert_eq!(run.report.output, OutputState::ConfirmedOff, "a trip switches off whatever was asked");
}

#[test]
fn a_source_without_permission_is_never_switched() {
    let (run, acts) = driven_by(12.8, 0.5, |supply| supply.may_switch = false, |plan| plan);
    assert!(matches!(run.report.ended, Ended::NotSwitchedOn(_)));
    assert!(!acts.contains(&Act::On) && !acts.contains(&Act::Off));
}

/// Answers for ever, in real time, and says when it is dropped.
struct Endless(Arc<Mutex<bool>>);

impl Source for Endless {
    fn read(&mut self) -> Result<Reading, Trouble> {
        let asked = Instant::now();
        std::thread::sleep(MILLI);
        let (volts, amps) = (Volts::ZERO, Amps::ZERO);
        Ok(Reading { volts, amps, mode: Mode::Unknown, asked, answered: Instant::now() })
    }

    fn settings(&mut self) -> Result<Settings, Trouble> {
        Ok(Settings::default())
    }

    fn reopen(&mut self) -> Result<(), Trouble> {
        Ok(())
    }
}

impl Drop for Endless {
    fn drop(&mut self) {
        *self.0.lock().unwrap() = true;
    }
}

#[test]
fn a_session_nobody_holds_ends() {
    let clock: Arc<dyn Clock> = Arc::new(RealClock);
    let gone = Arc::new(Mutex::new(false));
    let folder = tempfile::tempdir().unwrap();
    let fake = FakeClock::default();
    let plan = Plan { length: None, places: vec![folder.path().join("run.csv")], ..plan("1s", &fake) };
    let session = Session::start(Box::new(Endless(Arc::clone(&gone))), plan, clock).unwrap();
    drop(session);
    assert!(*gone.lock().unwrap(), "dropping a session waits for the end of its run");
}

#[test]
fn a_bug_in_the_loop_still_ends_with_the_output_off() {
    let crash = |supply: &mut FakeSupply| {
        supply.answer = Box::new(|number| match number {
            100.. => panic!("a bug"),
            _ => steady(number),
        });
    };
    let (run, acts) = driven_by(0.0, 0.0, crash, |plan| plan);
    assert_eq!(run.report.ended, Ended::Crashed("a bug".into()));
    assert_eq!((run.report.output.clone(), acts.last()), (OutputState::ConfirmedOff, Some(&Act::Off)));
    assert_eq!(run.trace.len(), 100, "and nothing that was read is lost");
}
