//! What a figure of many tries still shows: the tries themselves, what lies between them, and one place for all that is said.

use super::super::super::fixtures::trace_at;
use super::*;

fn small() -> Options {
    options(Size::new(640, 480).unwrap(), Theme::Light)
}

fn says(scene: &Scene, text: &str) -> bool {
    scene.labels().any(|label| label.text == text)
}

/// A starved board whose every try ends in a spike up to the limit of 1.2 A, with a dip.
fn spikes() -> (Trace, Finding) {
    let at = |index: u32| index.checked_sub(60).filter(|index| *index < 420).map(|index| index % 30);
    let amps = move |index: u32| match at(index) {
        Some(0..18) => 0.3,
        Some(18 | 19) => 1.2,
        _ => 0.03,
    };
    let volts = move |index: u32| if at(index) == Some(19) { 10.5 } else { 12.8 };
    let mut finding = cycling(15);
    finding.verdict.class = Class::FeedLimited;
    finding.verdict.step_into = Some("loading".into());
    finding.log.limit_a = Amps::new(1.2).ok();
    for attempt in &mut finding.attempts {
        (attempt.peak_a, attempt.lowest_v) = (Amps::constant(1.2), Volts::constant(10.5));
    }
    (trace_at(520, 51.9, amps, volts), finding)
}

#[test]
fn a_note_leaves_the_peaks_of_all_tries_and_the_words_of_the_limit_make_room_for_it() {
    let (trace, finding) = spikes();
    for size in [Size::WIDE, Size::A4, Size::new(640, 480).unwrap()] {
        let scene = draw(&trace, None, &finding, &options(size, Theme::Light)).unwrap();
        assert_legible(&scene);
        let boxes = boxes(&scene);
        assert_eq!(boxes.len(), 1, "{size}");
        assert_eq!(hidden(&scene, boxes[0]), 0, "{size}");
    }
}

#[test]
fn of_starved_tries_the_first_that_dips_is_marked_however_little_it_does() {
    use super::super::super::parts::turning::turning;
    let (_, finding) = spikes();
    // The first dips less than the others, or not at all; in the second less than the limit is read, as over the edge of a dip.
    let volts = |first: f64| {
        move |index: u32| match index {
            79 => first,
            139 => 10.4,
            80.. if (index - 60) % 30 == 19 && index < 480 => 10.5,
            _ => 12.8,
        }
    };
    let amps = |index: u32| match index.checked_sub(60).map(|index| (index / 30, index % 30)) {
        Some((1, 18 | 19)) => 1.0,
        Some((0..14, 18 | 19)) => 1.2,
        Some((0..14, 0..18)) => 0.3,
        _ => 0.03,
    };
    let turn = |first: f64| {
        let trace = trace_at(520, 51.9, amps, volts(first));
        turning(&Subject { trace: &trace, profile: None, finding: &finding }).unwrap()
    };
    let note = turn(12.0);
    assert!((note.at - 7.9).abs() < 0.05, "{note:?}");
    assert_eq!(note.lines[0], "the feed gives way at the end of firmware");
    let note = turn(12.8);
    assert!((note.at - 10.9).abs() < 0.05, "{note:?}");
    assert!(note.lines[0].ends_with("try 2)"), "{note:?}");
    assert_eq!(note.lines[1], "down to 10.5 V, 1.00 A read then");
    // The others show it.
    assert_eq!(note.lines[2], "limit 1.20 A likely met in this try, too briefly to be read");
}

#[test]
fn the_first_try_is_marked_unless_it_is_an_exception() {
    use super::super::super::parts::turning::turning;
    let (trace, mut finding) = (run_of_tries(|_| 12.8), cycling(8));
    let head = |finding: &Finding| {
        turning(&Subject { trace: &trace, profile: None, finding }).unwrap().lines.swap_remove(0)
    };
    finding.attempts[0].peak_a = Amps::constant(0.9);
    assert_eq!(head(&finding), "gives up here in firmware");
    finding.attempts[0].peak_a = Amps::constant(1.4);
    assert_eq!(head(&finding), "gives up here in firmware (try 2)");
    // A length is known to a reading or so, here of a second: one more makes no exception.
    finding.attempts[0].peak_a = Amps::constant(0.7);
    finding.attempts[0].end_s = Seconds::constant(finding.attempts[0].end_s.value() + 0.9);
    assert_eq!(head(&finding), "gives up here in firmware (try 2)");
    finding.log.changed_hz = Some(1.0);
    assert_eq!(head(&finding), "gives up here in firmware");
    // Of the few that tell where they end most are exceptions: the first is as all the others are.
    let mut few = cycling(8);
    for (index, attempt) in few.attempts.iter_mut().enumerate() {
        match index {
            0 => {}
            2 | 4 => attempt.peak_a = Amps::constant(0.2),
            _ => attempt.ended_in = None,
        }
    }
    assert_eq!(head(&few), "gives up here in firmware");
}

#[test]
fn a_try_that_dips_twice_alike_ends_at_the_later_dip() {
    use super::super::super::parts::turning::turning;
    let (trace, finding) = spikes();
    let volts = |index: u32| match index {
        // Half a second before the end of the first try, as deep.
        74 | 79 => 10.5,
        80.. if (index - 60) % 30 == 19 && index < 480 => 10.5,
        _ => 12.8,
    };
    let twice = trace_at(520, 51.9, |index| trace.amps()[index as usize], volts);
    let note = turning(&Subject { trace: &twice, profile: None, finding: &finding }).unwrap();
    assert!((note.at - 7.9).abs() < 0.05, "{note:?}");
}

#[test]
fn what_good_boards_need_has_a_line_only_where_its_words_stand() {
    let (trace, finding) = spikes();
    let profile = profile();
    let mut seen = (false, false);
    for size in sizes().into_iter().chain([Size::new(480, 360).unwrap()]) {
        let scene = draw(&trace, Some(&profile), &finding, &options(size, Theme::Light)).unwrap();
        let label = scene
            .labels()
            .find(|label| label.text.starts_with("good boards peak at") && label.text.ends_with("or more"));
        let good = Theme::Light.palette().good;
        let is_line = |shape: &Shape| matches!(shape, Shape::Dashed { color, .. } if *color == good);
        assert_eq!(scene.shapes.iter().any(is_line), label.is_some(), "{size}");
        seen = (seen.0 || label.is_some(), seen.1 || label.is_none());
    }
    assert_eq!(seen, (true, true), "both ways");
}

#[test]
fn a_starved_board_is_told_first_what_good_boards_peak_at() {
    use super::super::super::parts::turning::turning;
    let (trace, finding) = spikes();
    let profile = profile();
    let peak = |log: &crate::reference::SourceLog| {
        log.stages.iter().map(|stage| stage.peak_power / 12.8).fold(0.0, f64::max)
    };
    let least = profile.learned.logs.iter().map(peak).fold(f64::INFINITY, f64::min);
    assert!(least > 1.2 && least < 1.8, "{least}");
    let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
    let lines = turning(&subject).unwrap().lines;
    let (stage, need) = lines[1].split_once("good boards peak at ").expect("what good boards peak at");
    let need = need.strip_suffix(" A or more, limit 1.20 A").expect("beside the limit");
    // All go highest in one stage.
    assert_eq!(stage, "in loading ");
    let mut unlike = profile.clone();
    unlike.learned.logs[0].stages.last_mut().unwrap().peak_power *= 10.0;
    let unlike = Subject { profile: Some(&unlike), ..subject };
    assert!(turning(&unlike).unwrap().lines[1].starts_with("good boards peak at "), "in no stage");
    // At the volts of this run, which are nearly those of the captures.
    assert!((need.parse::<f64>().unwrap() - least).abs() < 0.02 * least, "{need}, of {least}");
    let scene = draw(&trace, Some(&profile), &finding, &Options::default()).unwrap();
    assert!(says(&scene, &format!("good boards peak at {need} A or more")), "at its line");
    let mut ample = finding.clone();
    ample.log.limit_a = Amps::new(9.0).ok();
    let subject = Subject { trace: &trace, profile: Some(&profile), finding: &ample };
    assert!(!turning(&subject).unwrap().lines[1].contains("or more"), "the limit is above it");
}

#[test]
fn words_that_would_hide_dips_of_the_volts_are_left_out() {
    let (trace, finding) = spikes();
    // Fourteen dips side by side leave no room for a word; a lone one has its own.
    let lowest = |trace: &Trace, options: &Options| {
        let scene = draw(trace, None, &finding, options).unwrap();
        scene.labels().any(|label| label.text.contains("lowest"))
    };
    let phone = options(Size::PHONE, Theme::Light);
    assert!(!lowest(&trace, &phone));
    let lone = trace_at(520, 51.9, |_| 0.5, |index| if index == 79 { 10.5 } else { 12.8 });
    assert!(lowest(&lone, &phone));
}

#[test]
fn what_lies_between_tries_is_named_once() {
    let (trace, finding) = (run_of_tries(|_| 12.8), cycling(15));
    let of = |from: f64, to: f64| Options {
        from: Seconds::new(from).ok(),
        to: Seconds::new(to).ok(),
        ..Options::default()
    };
    // In fifteen slivers there is no room for the word, which the legend has then; in wide ones there is.
    let many = draw(&trace, None, &finding, &Options::default()).unwrap();
    assert!(says(&many, "rest between tries") && !says(&many, "rest"));
    // Nor is the same word said over and over.
    let short = draw(&trace, None, &finding, &of(5.0, 26.0)).unwrap();
    assert!(says(&short, "rest between tries") && !says(&short, "rest"));
    let few = draw(&trace, None, &finding, &of(5.0, 20.0)).unwrap();
    assert!(says(&few, "rest") && !says(&few, "rest between tries"));
    let low = draw(&trace, None, &finding, &small()).unwrap();
    assert!(says(&low, "rest"), "in fewer words where there is less room");
    let (trace, finding) = run_of(Class::Stalled);
    assert!(!says(&draw(&trace, None, &finding, &Options::default()).unwrap(), "rest between tries"));
}

#[test]
fn what_is_left_after_a_try_is_the_level_of_the_rest_and_no_reading_over_the_edge() {
    // The capacitors of the board empty over half a second.
    let amps = |index: u32| match index.checked_sub(60).map(|index| index % 30) {
        Some(0..20) => 0.7,
        Some(20..25) => 0.15,
        _ => 0.03,
    };
    let (trace, finding) = (trace_at(520, 51.9, amps, |_| 12.8), cycling(15));
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    let note = super::super::super::parts::turning::turning(&subject).unwrap();
    assert_eq!(note.lines[1], "0.700 A at 12.8 V, then 30 mA");
}

#[test]
fn a_gap_in_the_try_that_is_marked_is_told_with_it() {
    use super::super::super::parts::turning::turning;
    use crate::verdict::Gap;
    let (trace, mut finding) = (run_of_tries(|_| 12.8), cycling(15));
    let gap = |from: f64, to: f64| Gap { start_s: Seconds::constant(from), end_s: Seconds::constant(to) };
    let last = |finding: &Finding| {
        let subject = Subject { trace: &trace, profile: None, finding };
        turning(&subject).unwrap().lines.pop().unwrap()
    };
    let without = last(&finding);
    finding.log.gaps = vec![gap(3.0, 4.0)];
    assert_eq!(last(&finding), without, "before the tries");
    finding.log.gaps.push(gap(6.7, 7.3));
    assert_eq!(last(&finding), "no readings of this try from 6.7 s to 7.3 s");
    finding.log.gaps.push(gap(7.4, 7.6));
    assert_eq!(last(&finding), "no readings in 2 stretches of this try");
}

#[test]
fn a_try_that_is_still_on_has_no_stages_that_nothing_tells() {
    let (mut finding, profile) = (cycling(3), profile());
    for attempt in &mut finding.attempts {
        attempt.likely_in = Some("firmware".into());
    }
    for phase in &mut finding.phases {
        if ["rails", "firmware"].contains(&phase.name.as_str()) {
            phase.name = "attempt".into();
        }
    }
    let trace = run_of_tries(|_| 12.8);
    let bands = |given_up: bool| {
        let mut finding = finding.clone();
        finding.attempts[2].given_up = given_up;
        let subject = Subject { trace: &trace, profile: Some(&profile), finding: &finding };
        let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 16.0 };
        let all = envelope::expected(&subject, &Readings::new(&subject, time));
        all.iter().filter(|band| band.from >= 12.0).count()
    };
    assert!(bands(true) > 0);
    assert_eq!(bands(false), 0);
}
