//! What the note at the turn says and points at.

use super::super::super::fixtures::trace_at;
use super::*;
use crate::verdict::Attempt;

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
    assert!(note.lines[1].starts_with("its peak 1.90 A at "), "{:?}", note.lines);
    let of_finding = crate::verdict::Tries::of(&finding.attempts, &finding.log.gaps).unwrap().first_peak_a;
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
    assert!(said.contains(&"0.680 A at 24.0 V, no stages"), "{said:?}");
    // After the rise the feed is steady: it has no lowest.
    assert!(!said.iter().any(|text| text.starts_with("lowest")), "{said:?}");
}

#[test]
fn a_rise_that_is_read_more_often_than_it_is_renewed_is_no_dip() {
    // Read ten times a second and renewed twice: the first renewal of the feed is there five times.
    let (_, mut finding) = run_of(Class::PartialShort);
    finding.log.changed_hz = Some(2.0);
    let said = |rise: f64, later: f64| {
        let volts = |index: u32| match index {
            0..20 => 0.0,
            20..25 => rise,
            300..305 => later,
            _ => 24.0,
        };
        let trace = trace_at(600, 60.0, |index| if index < 20 { 0.0 } else { 0.68 }, volts);
        let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
        scene.labels().find(|label| label.text.starts_with("lowest")).map(|label| label.text.clone())
    };
    assert_eq!(said(22.3, 24.0), None);
    // What is lower in the rise is left out, and the words say so.
    assert_eq!(said(22.3, 23.0).as_deref(), Some("lowest 23.0 V once settled"));
    assert_eq!(said(23.5, 23.0).as_deref(), Some("lowest 23.0 V"));
}

#[test]
fn a_fall_in_a_gap_is_marked_at_the_last_reading_before_it() {
    use crate::trace::{Header, Mode, Sample, TraceBuilder};
    let mut finding = cycling(4);
    let mut builder = TraceBuilder::new(Header::default());
    for index in (0..600_u32).filter(|index| !(78..86).contains(index)) {
        let time = Seconds::constant(f64::from(index) / 10.0);
        let amps = Amps::constant(if (60..80).contains(&index) { 0.7 } else { 0.03 });
        builder
            .sample(Sample { time, volts: Volts::constant(12.8), amps, mode: Mode::Unknown, span: None })
            .unwrap();
    }
    let trace = builder.finish();
    let note = |finding: &Finding| {
        let subject = Subject { trace: &trace, profile: None, finding };
        super::super::super::parts::turning::turning(&subject).unwrap()
    };
    let seen = note(&finding);
    assert_eq!((seen.lines[0].as_str(), seen.at), ("gives up here in firmware", 8.0));
    finding.log.gaps =
        vec![crate::verdict::Gap { start_s: Seconds::constant(7.7), end_s: Seconds::constant(8.6) }];
    let unseen = note(&finding);
    assert_eq!((unseen.lines[0].as_str(), unseen.at), ("gives up in the gap from here", 7.7));
    assert_eq!(unseen.point_at, Some(7.7));
}

#[test]
fn two_tries_are_both() {
    let (trace, finding) = (run_of_tries(|_| 12.8), cycling(3));
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let note = super::super::super::parts::turning::turning(&subject).unwrap();
    assert!(note.lines[2].starts_with("both tries end after "), "{:?}", note.lines);
    let finding = cycling(4);
    let note =
        super::super::super::parts::turning::turning(&Subject { finding: &finding, ..subject }).unwrap();
    assert!(note.lines[2].starts_with("all 3 tries end after "), "{:?}", note.lines);
    // Where a new value comes every other second, edges are most of such tries.
    let mut slow = cycling(4);
    slow.log.renewed_s = Some(Seconds::constant(2.0));
    let note = super::super::super::parts::turning::turning(&Subject { finding: &slow, ..subject }).unwrap();
    assert!(note.lines[2].starts_with("all 3 tries end within about "), "{:?}", note.lines);
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
    assert_eq!(note.lines[1], "on average less than one step of the supply (under 1 mA)");
    assert!(note.lines[2].starts_with("at "), "no zero stands beside steps that are seen: {:?}", note.lines);
}

#[test]
fn one_reading_above_a_step_is_no_reason_to_say_that_nothing_flows() {
    let (_, mut finding) = run_of(Class::NoDraw);
    let with_one = |high: f64| {
        let read = |index| if index == 400 { high } else { f64::from(u8::from(index % 7 == 0)) * 0.001 };
        trace(600, 60.0, read)
    };
    for phase in &mut finding.phases {
        phase.mean_a = Amps::constant(0.001 / 7.0);
    }
    let lines = |trace: &crate::trace::Trace, finding: &Finding| {
        let subject = Subject { trace, profile: None, finding };
        super::super::super::parts::turning::turning(&subject).unwrap().lines
    };
    let (one, two) = (with_one(0.001), with_one(0.002));
    assert_eq!(lines(&with_one(0.0), &finding)[0], "fed from here on: hardly anything flows");
    assert_eq!(lines(&trace(600, 60.0, |_| 0.0), &finding)[0], "fed from here on: nothing flows");
    assert_eq!(lines(&one, &finding)[0], "fed from here on: hardly anything flows");
    let said = lines(&two, &finding);
    assert_eq!(said[0], "fed from here on: hardly anything flows");
    assert_eq!(said[1], "under 1 mA on average, single readings up to 2 mA");
}

#[test]
fn what_is_left_below_standby_is_not_called_standby() {
    let profile = profile();
    let (trace, mut finding) = run_of(Class::DroppedOut);
    let usual = profile.phases[0].mean_power;
    let low = usual.low;
    let mut left = |watts: f64, amps: f64, high: f64, step: f64| {
        finding.log.resolution_a = Amps::new(step).ok();
        let last = finding.phases.last_mut().unwrap();
        (last.mean_w, last.mean_a) = (crate::units::Watts::constant(watts), Amps::constant(amps));
        last.max_a = Amps::constant(high);
        let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
        let last = subject.finding.phases.last().unwrap();
        super::super::super::parts::trouble::trouble(&subject, last).map(|trouble| trouble.name)
    };
    let of =
        [left(low * 1.2, 0.02, 0.02, 0.001), left(low * 0.5, 0.01, 0.01, 0.001), left(0.0, 0.0, 0.0, 0.001)];
    assert_eq!(of.map(Option::unwrap), ["standby", "below standby", "no current"]);
    // Readings that come and go by a step are a current.
    assert_eq!(left(0.0, 0.0004, 0.001, 0.001).unwrap(), "below standby");
    // In steps of more than good boards stand by at nothing tells it from theirs.
    assert_eq!(left(usual.typical, 0.02, 0.1, 0.1).unwrap(), "standby or less");
}

/// A board that latches off after one try, from 9 to 30 s.
fn latched_off() -> Finding {
    let (_, mut finding) = run_of(Class::LatchOff);
    finding.attempts = cycling(2).attempts;
    finding.attempts.truncate(1);
    (finding.attempts[0].start_s, finding.attempts[0].end_s) =
        (Seconds::constant(9.0), Seconds::constant(30.0));
    finding
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
    let finding = latched_off();
    let trace = trace_at(601, 60.0, amps, |index| if index == 299 { 5.61 } else { 12.8 });
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let note = super::super::super::parts::turning::turning(&subject).unwrap();
    assert_eq!((note.amps, note.point_at), (Some(3.01), Some(29.8)));
    assert!(
        note.lines[2].starts_with("its peak 3.01 A at 12.8 V, volts down to 5.61 V, then 24 mA"),
        "{note:?}"
    );
}

#[test]
fn of_several_tries_before_a_board_latches_off_the_first_is_marked() {
    let mut finding = latched_off();
    finding.attempts = cycling(4).attempts[..3].to_vec();
    let trace = trace_at(601, 60.0, |index| if (60..80).contains(&index) { 0.7 } else { 0.024 }, |_| 12.8);
    let note = super::super::super::parts::turning::turning(&Subject {
        trace: &trace,
        profile: None,
        finding: &finding,
    });
    // The three end at 8, 11 and 14 s; the phase after them begins at 30 s.
    let note = note.unwrap();
    assert_eq!(note.at.to_bits(), 8.0_f64.to_bits(), "{note:?}");
    assert_eq!(note.lines[0], "gives up here in boot");
    assert_eq!(note.lines[2], "all 3 tries end after 2.0 s on average");
    assert_eq!(note.lines.last().unwrap(), "stays down from 30.0 s on: 24 mA to the end");
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

#[test]
fn of_tries_that_end_in_different_stages_that_is_shown_which_the_head_names() {
    let (trace, mut finding) = (run_of_tries(|_| 12.8), cycling(4));
    for index in [0, 2] {
        finding.attempts[index].ended_in = Some("rails".into());
    }
    let note = |finding: &Finding| {
        let subject = Subject { trace: &trace, profile: None, finding };
        super::super::super::parts::turning::turning(&subject).unwrap()
    };
    let second = note(&finding);
    // The second try, from 9 to 11 s, is the first that got to the firmware.
    assert!((second.at - 11.0).abs() < 1e-9, "{second:?}");
    assert_eq!(second.lines.last().unwrap(), "this one in firmware, 2 of 3 in rails");
    // One in the middle says which it is.
    assert_eq!(second.lines[0], "gives up here in firmware (try 2)");
    finding.verdict.reached = Some("rails".into());
    let first = note(&finding);
    assert!((first.at - 8.0).abs() < 1e-9, "{first:?}");
    assert_eq!(first.lines.last().unwrap(), "2 of 3 end in rails, 1 in firmware");
    let mut untold = finding.clone();
    let more = Attempt { ended_in: None, ..untold.attempts[1].clone() };
    untold.attempts.insert(2, more);
    assert_eq!(note(&untold).lines.last().unwrap(), "2 of 4 end in rails, 1 in firmware, 1 not told");
    assert_eq!(first.lines[0], "gives up here in rails");
    // Where most end is the place of headline, mark and note, however far one of them got.
    (finding.verdict.reached, finding.verdict.usually_in) = (Some("firmware".into()), Some("rails".into()));
    for class in [Class::Cycling, Class::FeedLimited] {
        finding.verdict.class = class;
        assert_eq!(note(&finding).at.to_bits(), first.at.to_bits(), "{class}");
        assert!(note(&finding).lines[0].ends_with(" in rails"), "{class}");
        assert!(crate::render::words::headline(&finding.verdict).contains(" in rails: "), "{class}");
    }
}

#[test]
fn a_single_try_is_pointed_at_where_it_falls_and_not_at_an_earlier_reading() {
    // A stage of 1 A, then one of half of that up to the fall; and a hump a second before it.
    for (late, last) in [(0.5, 0.5), (1.0, 0.93)] {
        let amps = |index: u32| match index {
            90..230 => 1.0,
            230..298 if index == 288 => late * 1.05,
            230..299 => last,
            299 => 0.6 * last,
            _ => 0.024,
        };
        let finding = latched_off();
        let trace = trace_at(601, 60.0, amps, |_| 12.8);
        let subject = Subject { trace: &trace, profile: None, finding: &finding };
        let note = super::super::super::parts::turning::turning(&subject).unwrap();
        assert_eq!((note.at, note.amps, note.point_at), (30.0, Some(last), Some(29.8)), "{note:?}");
    }
}

#[test]
fn a_fall_is_marked_at_the_moment_that_the_finding_tells() {
    let (trace, mut finding) = run_of(Class::DroppedOut);
    let level = |amps: f64| (Amps::constant(amps), Volts::constant(12.8));
    let ((from_a, from_v), (to_a, to_v)) = (level(0.8), level(0.024));
    let at_s = Seconds::constant(30.2);
    finding.fall = Some(crate::verdict::Fall { at_s, from_a, from_v, to_a, to_v, lowest_v: from_v });
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let note = super::super::super::parts::turning::turning(&subject).unwrap();
    assert!((note.at - 30.2).abs() < 1e-9, "{note:?}");
    // The dot stands where the trace falls.
    assert!(note.point_at.is_some_and(|at| (29.9..30.2).contains(&at)), "{note:?}");
}

#[test]
fn what_no_reference_tells_apart_is_called_as_the_text_calls_it() {
    let (trace, mut finding) = run_of(Class::Inconclusive);
    finding.phases = vec![phase("off", 0.0, 10.0), phase("awake", 10.0, 60.0)];
    let mut said = |class: Class, profile: Option<&crate::reference::Profile>| {
        finding.verdict.class = class;
        let scene = draw(&trace, profile, &finding, &Options::default()).unwrap();
        let named = |label: &&crate::render::scene::Label| label.text.starts_with("awake");
        scene.labels().find(named).map(|label| label.text.clone())
    };
    assert_eq!(said(Class::Inconclusive, None).as_deref(), Some("awake or loaded"));
    assert_eq!(said(Class::Inconclusive, Some(&profile())).as_deref(), Some("awake"));
    assert_eq!(said(Class::FullBoot, None).as_deref(), Some("awake"));
}

#[test]
fn a_load_is_pointed_at_where_it_is_read_and_not_where_the_feed_is_switched_on() {
    let (_, mut finding) = run_of(Class::PartialShort);
    finding.phases.truncate(1);
    finding.phases.push(Phase { mean_a: Amps::constant(3.6), ..phase("heavy load", 2.0, 60.0) });
    // Half a second of the rise of the feed first.
    let trace = trace(601, 60.0, |index| match index {
        0..20 => 0.0,
        20..25 => 0.1,
        _ => 3.63,
    });
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let note = super::super::super::parts::turning::turning(&subject).unwrap();
    let near = |at: f64, to: f64| (at - to).abs() < 1e-9;
    assert!(near(note.at, 2.0) && note.point_at.is_some_and(|at| near(at, 2.5)), "{note:?}");
}

#[test]
fn what_is_no_counted_try_is_no_alarm_on_the_strip() {
    // A phase that begins before and reaches into the first try at 6 s.
    let alarm = Theme::Light.palette().alarm;
    for begins in [2.0, 4.5] {
        let (trace, mut finding) = (run_of_tries(|_| 12.8), cycling(4));
        finding.phases.retain(|phase| phase.end_s.value() <= 2.0 || phase.start_s.value() > 7.0);
        finding.phases.insert(1, phase("attempt", begins, 8.0));
        let scene = draw(&trace, None, &finding, &Options::default()).unwrap();
        assert!(scene.labels().all(|label| label.text != "try"), "{begins}");
        let one = scene.labels().find(|label| label.text == "try 1").unwrap().bounds();
        let bars = scene.shapes.iter().filter_map(|shape| match shape {
            Shape::Fill { area, color }
                if *color == alarm && area.top < one.top && area.bottom > one.bottom =>
            {
                Some(*area)
            }
            _ => None,
        });
        // The first bar in red on the strip is that of the first try, shorter than from one try to the next.
        let first = bars.min_by_key(|area| area.left).unwrap();
        assert!(first.left < one.left && one.right < first.right, "{begins}: {first:?} {one:?}");
        let second = scene.labels().find(|label| label.text == "try 2").unwrap().bounds();
        assert!(first.width() < second.center().0 - one.center().0, "{begins}: {first:?}");
    }
}

#[test]
fn a_board_that_nobody_asked_is_not_shown_as_one_that_fails_to_wake() {
    let (trace, mut finding) = asleep();
    let mut said = |asked: Option<bool>| {
        finding.verdict.asked = asked;
        let scene = draw(&trace, Some(&profile()), &finding, &Options::default()).unwrap();
        let all: Vec<String> = scene.labels().map(|label| label.text.clone()).collect();
        let has = |text: &str| all.iter().any(|label| label == text);
        // It is no question either: how sure the verdict is stands beside the sign.
        assert!(!has("?"), "{all:?}");
        [has("no wake"), has("✗ wake"), has("– wake"), has("no press of the button in this log"), has("✗")]
    };
    assert_eq!(said(None), [true, true, false, false, true]);
    assert_eq!(said(Some(false)), [false, false, true, true, false]);
}

#[test]
fn a_stretch_without_readings_is_explained_on_a_narrow_picture() {
    let (trace, mut finding) = run_of(Class::DroppedOut);
    let explained = |finding: &Finding| {
        let scene = draw(&trace, Some(&profile()), finding, &options(Size::PHONE, Theme::Light)).unwrap();
        scene.labels().any(|label| label.text == "no readings")
    };
    assert!(!explained(&finding));
    // Too narrow for words of its own.
    let (start_s, end_s) = (Seconds::constant(20.0), Seconds::constant(21.0));
    finding.log.gaps.push(crate::verdict::Gap { start_s, end_s });
    assert!(explained(&finding));
}

#[test]
fn a_rest_is_no_standby_where_good_boards_have_none() {
    let mut profile = profile();
    let (trace, finding) = run_of(Class::DroppedOut);
    let said = |profile: &Profile| {
        let scene = draw(&trace, Some(profile), &finding, &Options::default()).unwrap();
        scene.labels().any(|label| label.text == "at rest")
    };
    assert!(!said(&profile));
    profile.phases.remove(0);
    assert!(said(&profile));
}

#[test]
fn the_dot_of_a_board_that_never_wakes_is_at_the_level_that_is_told() {
    // The press falls on a lone peak, at 60 s / 7.
    let trace = trace(600, 60.0, |index| if index == 85 { 0.09 } else { 0.03 });
    let mut stay = phase("standby", 0.0, 60.0);
    stay.mean_a = Amps::constant(0.03);
    let mut finding = finding(vec![stay]);
    finding.departures.clear();
    finding.verdict.class = Class::StandbyOnly;
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let note = super::super::super::parts::turning::turning(&subject).unwrap();
    assert!((note.at - trace.time()[85]).abs() < 1e-9 && note.amps == Some(0.03), "{note:?}");
    assert_eq!(note.point_at, Some(trace.time()[86]));
}

#[test]
fn a_short_that_the_supply_holds_is_told_at_its_limit() {
    let (trace, mut finding) = run_of(Class::PartialShort);
    finding.phases = vec![
        phase("off", 0.0, 2.0),
        Phase { mean_a: Amps::constant(1.28), ..phase("heavy load", 2.0, 60.0) },
    ];
    let body = |finding: &Finding| {
        let subject = Subject { trace: &trace, profile: None, finding };
        super::super::super::parts::turning::turning(&subject).unwrap().lines.swap_remove(1)
    };
    finding.log.limit_a = Amps::new(1.27).ok();
    assert_eq!(body(&finding), "at the limit of 1.27 A, 12.8 V on average, no stages");
    finding.log.limit_a = Amps::new(1.5).ok();
    assert_eq!(body(&finding), "1.28 A at 12.8 V, no stages");
}

#[test]
fn a_mean_that_hardly_any_reading_has_is_said_to_be_one() {
    let body = |high: f64| {
        let trace = trace(600, 60.0, |index| if index % 10 < 3 { high } else { 0.03 });
        let mean = 0.7f64.mul_add(0.03, 0.3 * high);
        let mut finding =
            finding(vec![Phase { mean_a: Amps::constant(mean), ..phase("standby", 0.0, 60.0) }]);
        finding.departures.clear();
        finding.verdict.class = Class::StandbyOnly;
        let subject = Subject { trace: &trace, profile: None, finding: &finding };
        super::super::super::parts::turning::turning(&subject).unwrap().lines.swap_remove(1)
    };
    assert!(body(0.09).starts_with("48 mA at 12.8 V on average still"), "{}", body(0.09));
    assert!(body(0.03).starts_with("30 mA at 12.8 V still"), "{}", body(0.03));
}

#[test]
fn a_fall_from_a_mean_that_was_not_read_last_says_so() {
    let (trace, mut finding) = run_of(Class::DroppedOut);
    let level = |amps: f64| (Amps::constant(amps), Volts::constant(12.8));
    let mut body = |from: f64| {
        let ((from_a, from_v), (to_a, to_v)) = (level(from), level(0.024));
        let at_s = Seconds::constant(30.0);
        finding.fall = Some(crate::verdict::Fall { at_s, from_a, from_v, to_a, to_v, lowest_v: from_v });
        let subject = Subject { trace: &trace, profile: None, finding: &finding };
        super::super::super::parts::turning::turning(&subject).unwrap().lines.swap_remove(1)
    };
    assert_eq!(body(0.85), "from 0.850 A at 12.8 V on average to 24 mA at 12.8 V");
    assert_eq!(body(0.8), "from 0.800 A at 12.8 V to 24 mA at 12.8 V");
}
