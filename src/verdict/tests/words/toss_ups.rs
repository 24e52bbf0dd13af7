//! What is said of a board whose supply hardly tells what it draws asleep from nothing.

use super::*;
use crate::reference::Envelope;
use crate::trace::EventKind;

/// A step of the supply, in amps.
const STEP_A: f64 = 0.005;

/// Twenty seconds of a board whose good ones stand by at so many amps, read in whole steps: one in so many readings shows one.
fn asleep(standby_a: f64, one_in: u32) -> Finding {
    let mut known = profile();
    let watts = |amps: f64| amps * SET_V;
    known.phases[0].mean_power =
        Envelope { low: watts(0.5 * standby_a), typical: watts(standby_a), high: watts(2.0 * standby_a) };
    let mut builder = TraceBuilder::new(header());
    for index in 0..420 {
        let time = Seconds::constant(f64::from(index) * PERIOD_S);
        let (volts, mode) = if index < 20 { (0.0, Mode::Off) } else { (SET_V, Mode::ConstantVoltage) };
        let amps = if index >= 20 && index % one_in == 3 { STEP_A } else { 0.0 };
        let (volts, amps) = (Volts::constant(volts), Amps::constant(amps));
        builder.sample(Sample { time, volts, amps, mode, span: None }).expect("in order");
        if index == 60 {
            builder.event(time, EventKind::Mark("power button".into())).expect("in order");
        }
    }
    diagnose(&builder.finish(), Some(&known), &Sources::default())
}

#[test]
fn the_first_check_of_a_toss_up_tells_its_two_verdicts_apart() {
    let is_toss_up = |found: &Finding| {
        let verdict = &found.verdict;
        crate::verdict::is_toss_up(verdict.class, verdict.confidence, verdict.runner_up)
    };
    let all: Vec<Finding> = (4..40).map(|one_in| asleep(0.001, one_in)).collect();
    let open = all.iter().find(|found| is_toss_up(found)).expect("one that is open");
    assert!(matches!(open.verdict.class, Class::NoDraw | Class::StandbyOnly), "{:#?}", open.verdict);
    let first = &open.next_checks[0];
    assert!(first.starts_with("measure the volts, and their polarity, on the board side"), "{first}");
    assert!(first.contains("then its always-on rails: with these up it stands by"), "{first}");
    assert_eq!(checks(open).matches("polarity").count(), 1, "{}", checks(open));
    let sure = asleep(0.030, 1000);
    class(&sure, Class::NoDraw);
    assert!(!is_toss_up(&sure) && !checks(&sure).contains("with these up"), "{}", checks(&sure));
}

#[test]
fn readings_of_one_step_are_counted_where_a_standby_would_show_no_more() {
    let hint = because(&asleep(0.001, 8));
    let told = "50 of 400 readings show 5 mA, one step of this supply, and none of 20 with its output off";
    assert!(hint.contains(told), "{hint}");
    // A standby of six steps would show otherwise.
    let plain = because(&asleep(0.030, 8));
    assert!(!plain.contains("one step of this supply"), "{plain}");
}
