//! What the note at the turn says and points at.

use super::super::super::fixtures::trace_at;
use super::*;

#[test]
fn a_try_that_ends_in_a_spike_is_pointed_at_there() {
    // Ten readings a second; each try lasts two seconds and ends in a spike with a flank on either side.
    let amps = |index: u32| match index.checked_sub(60).map(|index| index % 30) {
        _ if index < 20 => 0.0,
        Some(17 | 19) => 1.2,
        Some(18) => 1.9,
        Some(0..20) => 0.7,
        _ => 0.03,
    };
    let (trace, mut finding) = (trace(501, 50.0, amps), cycling(15));
    for attempt in &mut finding.attempts {
        attempt.peak_a = Amps::constant(1.9);
    }
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let note = super::super::super::parts::turning::turning(&subject).unwrap();
    assert!(note.lines[1].starts_with("peak 1.90 A at "), "{:?}", note.lines);
    let of_finding = crate::verdict::Tries::of(&finding.attempts).unwrap().first_peak_a;
    assert!(note.amps.is_some_and(|amps| (amps - of_finding).abs() < 1e-9), "{:?}", note.amps);
    let read = trace.time().iter().position(|t| Some(*t) == note.point_at).unwrap();
    assert!((trace.amps()[read] - of_finding).abs() < 1e-9, "{:?}", note.point_at);
}

#[test]
fn a_level_is_that_of_the_finding_and_the_lowest_volts_leave_out_the_same_rise() {
    let (_, mut finding) = run_of(Class::PartialShort);
    let volts = |index: u32| match index {
        0..20 => 0.0,
        20..24 => 6.0,
        _ => 24.0,
    };
    let trace = trace_at(600, 60.0, |index| if index < 20 { 0.0 } else { 0.68 }, volts);
    for phase in finding.phases.iter_mut().filter(|phase| phase.name != "off") {
        (phase.mean_a, phase.mean_v) = (Amps::constant(0.68), crate::units::Volts::constant(24.0));
    }
    let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    for text in ["0.680 A at 24.0 V, no stages", "lowest 24.0 V"] {
        assert!(said.contains(&text), "{text}: {said:?}");
    }
}

#[test]
fn what_draws_nothing_is_said_to_draw_nothing() {
    let (_, mut finding) = run_of(Class::NoDraw);
    let trace = trace(600, 60.0, |index| if index % 7 == 0 { 0.001 } else { 0.0 });
    for phase in &mut finding.phases {
        phase.mean_a = Amps::constant(0.001 / 7.0);
    }
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let note = super::super::super::parts::turning::turning(&subject).unwrap();
    assert!(note.lines[1].starts_with("0 mA at "), "{:?}", note.lines);
    assert_eq!(note.lines[2], "supply resolves 1 mA");
}

#[test]
fn what_is_left_below_standby_is_not_called_standby() {
    let profile = profile();
    let (trace, mut finding) = run_of(Class::DroppedOut);
    let low = profile.phases[0].mean_power.low;
    let mut left = |watts: f64, amps: f64| {
        let last = finding.phases.last_mut().unwrap();
        (last.mean_w, last.mean_a) = (crate::units::Watts::constant(watts), Amps::constant(amps));
        let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
        let last = subject.finding.phases.last().unwrap();
        super::super::super::parts::turning::trouble(&subject, last).map(|trouble| trouble.name)
    };
    let of = [left(low * 1.2, 0.02), left(low * 0.5, 0.01), left(0.0, 0.0)];
    assert_eq!(of.map(Option::unwrap), ["standby", "below standby", "no current"]);
}

#[test]
fn a_board_that_latches_off_is_told_by_the_peak_of_its_try() {
    // The spike at the end of the try, and a reading that the fall crosses.
    let amps = |index: u32| match index {
        90..298 => 0.8,
        298 => 3.01,
        299 => 2.51,
        _ => 0.024,
    };
    let (_, mut finding) = run_of(Class::LatchOff);
    finding.attempts = cycling(2).attempts;
    finding.attempts.truncate(1);
    (finding.attempts[0].start_s, finding.attempts[0].end_s) =
        (Seconds::constant(9.0), Seconds::constant(30.0));
    let trace = trace_at(601, 60.0, amps, |index| if index == 299 { 5.61 } else { 12.8 });
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let note = super::super::super::parts::turning::turning(&subject).unwrap();
    assert_eq!((note.amps, note.point_at), (Some(3.01), Some(29.8)));
    assert!(note.lines[1].starts_with("peak 3.01 A at 12.8 V, volts down to 5.61 V, then 24 mA"), "{note:?}");
}

#[test]
fn what_pulls_the_feed_down_unread_is_pointed_at_where_it_meets_the_limit() {
    let volts = |index: u32| if index == 79 { 10.5 } else { 12.8 };
    let (trace, mut finding) = (run_of_tries(volts), cycling(15));
    finding.verdict.class = Class::FeedLimited;
    finding.log.limit_a = Amps::new(1.2).ok();
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let turn = super::super::super::parts::turning::turning(&subject).unwrap();
    // 0.7 A is what was read before it, and not where the note points.
    assert_eq!((turn.amps, turn.point_at), (Some(1.2), None));
}

#[test]
fn notes_take_off_what_the_supply_reads_with_nothing_drawn() {
    let (trace, mut finding) = (run_of_tries(|_| 12.8), cycling(15));
    let said = |finding: &Finding| {
        let subject = Subject { trace: &trace, profile: None, finding };
        super::super::super::parts::turning::turning(&subject).unwrap().lines[1].clone()
    };
    assert!(said(&finding).starts_with("0.700 A at 12.8 V, then "), "{}", said(&finding));
    finding.log.zero_a = Amps::new(0.02).ok();
    assert!(said(&finding).starts_with("0.680 A at 12.8 V, then "), "{}", said(&finding));
}
