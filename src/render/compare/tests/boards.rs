//! Two logs that are of two boards, and a figure that is low.

use super::super::two_boards::of_two_boards;
use super::*;
use crate::render::scene::Scene;

fn said(scene: &Scene) -> Vec<&str> {
    scene.labels().map(|label| label.text.as_str()).collect()
}

#[test]
fn logs_of_two_boards_show_no_repair() {
    let levels = [("off", 2.0, 0.0), ("partial short", 60.0, 2.0)];
    let (mut before, after, profile) = (run(0.0, &levels, Class::PartialShort), booted(), profile());
    let wide = Options::default();
    let scene = draw(subjects(&before, &after, Some(&profile)), &wide).unwrap();
    for text in ["✓", "gone", "now reached"] {
        assert!(said(&scene).contains(&text), "{text}: {:?}", said(&scene));
    }
    before.1.log.serial = Some("FE-0999".into());
    let scene = draw(subjects(&before, &after, Some(&profile)), &wide).unwrap();
    // How many boards there are is certain: no sign of doubt.
    for text in
        ["2", "Two boards. Before: partial short. After: full boot", "only before", "reached only after"]
    {
        assert!(said(&scene).contains(&text), "{text}: {:?}", said(&scene));
    }
    for text in ["✓", "?", "gone", "now reached"] {
        assert!(!said(&scene).contains(&text), "{text}: {:?}", said(&scene));
    }
}

#[test]
fn a_column_in_which_no_row_says_anything_is_left_out() {
    let asleep = run(0.0, &[("off", 2.0, 0.0), ("partial short", 60.0, 2.0)], Class::PartialShort);
    let (after, profile) = (booted(), profile());
    let scene = draw(subjects(&asleep, &after, Some(&profile)), &Options::default()).unwrap();
    assert!(said(&scene).contains(&"each as good boards"), "{:?}", said(&scene));
    // The foot says what they were compared with.
    let headings = |scene: &Scene| said(scene).iter().filter(|text| **text == "good boards").count() - 1;
    assert_eq!(headings(&scene), 0, "{:?}", said(&scene));
    let scene = draw(subjects(&stalled(), &after, Some(&profile)), &Options::default()).unwrap();
    assert_eq!(headings(&scene), 1, "{:?}", said(&scene));
}

#[test]
fn the_place_of_a_run_that_never_wakes_is_told_by_its_own_switch_on() {
    let shorted = run(0.0, &[("off", 2.0, 0.0), ("partial short", 60.0, 2.0)], Class::PartialShort);
    let zero = Zero { moment: align::Moment::AsOthers, at: 12.0 };
    let subject = Subject { trace: &shorted.0, profile: None, finding: &shorted.1 };
    let on = align::switch_on(&subject);
    assert_eq!(moments::in_words(&subject, zero, on + 0.1), "at switch-on");
    assert_eq!(moments::in_words(&subject, zero, on + 3.0), "3.0 s after switch-on");
    let woken = Zero { moment: align::Moment::Wake, at: 12.0 };
    assert_eq!(moments::in_words(&subject, woken, 15.0), "3.0 s");
}

#[test]
fn a_very_low_figure_has_one_scale_and_neither_table_nor_volts() {
    let (before, after, profile) = (stalled(), booted(), profile());
    let of = |width, height| {
        let options = Options { size: Size::new(width, height).unwrap(), ..Options::default() };
        draw(subjects(&before, &after, Some(&profile)), &options).unwrap()
    };
    let volts = |scene: &Scene| {
        let color = Options::default().theme.palette().volts;
        let is_line = |shape: &&Shape| matches!(shape, Shape::Steps { color: of, .. } if *of == color);
        scene.shapes.iter().filter(is_line).count()
    };
    let (low, high) = (of(480, 360), of(1600, 900));
    assert_eq!((volts(&low), volts(&high)), (0, 2));
    assert!(said(&high).contains(&"difference") && !said(&low).contains(&"difference"));
    let scale = |high: f64| {
        let readings = Readings::new(
            &subjects(&before, &after, None)[0],
            TimeAxis { left: 0, right: 100, from: 0.0, to: 60.0 },
        );
        amps::Scale::whole(&subjects(&before, &after, None)[0], &readings).with_headroom(high)
    };
    let apart = |times: f64, low: bool| panel::side_by_side([scale(1.0), scale(times)], [false; 2], low).1;
    assert_eq!([apart(4.0, false), apart(4.0, true), apart(11.0, true)], [true, false, true]);
    // Unless its rest is what is told of the one: along the zero of the other nobody sees that.
    let rests = |rests: [bool; 2]| panel::side_by_side([scale(1.0), scale(4.0)], rests, true).1;
    assert_eq!([rests([true, false]), rests([false, true])], [true, false]);
}

#[test]
fn a_run_that_fell_back_differs_from_one_that_stays_by_more_than_its_length() {
    let mut levels =
        vec![("off", 1.0, 0.0), ("standby", 5.0, 0.033), ("rails", 5.7, 0.19), ("firmware", 9.6, 0.58)];
    levels.extend([("loading", 18.0, 1.44), ("picture", 26.0, 1.14), ("standby", 60.0, 0.033)]);
    let (mut fell, stays, profile) = (run(0.0, &levels, Class::DroppedOut), booted(), profile());
    fell.1.verdict.reached = Some("picture".into());
    let words = |before: &(Trace, Finding), after: &(Trace, Finding)| {
        let found = differences::differences(subjects(before, after, Some(&profile)));
        found.into_iter().find(|difference| difference.stage == "picture").unwrap().words
    };
    assert_eq!(words(&fell, &stays), "before it fell back, after it stays, both draw as good boards");
    assert_eq!(words(&stays, &fell), "before it stayed, after it falls back, no longer as good boards");
}

#[test]
fn what_starves_tries_for_moments_is_in_the_row_of_the_tries() {
    let (mut before, after, profile) = (tries(), booted(), profile());
    before.1.phases.insert(1, phase("starved", 2.0, 2.1));
    let found = differences::differences(subjects(&before, &after, Some(&profile)));
    let stages: Vec<&str> = found.iter().map(|difference| difference.stage.as_str()).collect();
    assert!(stages.contains(&"tries") && !stages.contains(&"starved"), "{stages:?}");
}

#[test]
fn how_sure_each_verdict_is_stands_in_its_title_however_long_the_rest_is() {
    let (before, after, profile) = (stalled(), booted(), profile());
    for width in (900..1800).step_by(10) {
        let size = Size::new(width, 900).unwrap();
        let options = Options { size, ..Options::default() };
        let scene = draw(subjects(&before, &after, Some(&profile)), &options).unwrap();
        let sure = said(&scene).iter().filter(|text| text.contains("% sure")).count();
        assert_eq!(sure, 2, "{size}: {:?}", said(&scene));
    }
}

#[test]
fn a_legend_of_one_row_takes_no_more_on_a_low_figure() {
    let (before, after, profile) = (booted(), booted(), profile());
    let options = Options { size: Size::new(480, 360).unwrap(), ..Options::default() };
    let scene = draw(subjects(&before, &after, Some(&profile)), &options).unwrap();
    let bounds = |text: &str| scene.labels().find(|label| label.text.starts_with(text)).unwrap().bounds();
    let (legend, title) = (bounds("this board"), bounds("before"));
    assert!(title.top - legend.bottom < legend.height(), "{legend:?} {title:?}");
}

#[test]
fn a_stage_in_which_tries_end_is_not_as_on_good_boards_whatever_it_draws() {
    let mut finding = crate::render::fixtures::cycling(4);
    finding.attempts.iter_mut().for_each(|attempt| attempt.given_up = true);
    // They draw and last what good boards do, up to where they give up.
    for phase in finding.phases.iter_mut().filter(|phase| phase.name == "firmware") {
        (phase.mean_a, phase.mean_w) = (Amps::constant(0.58), Watts::constant(0.58 * 13.0));
    }
    let (before, after, mut profile) = ((retraced(&finding), finding), booted(), profile());
    for usual in profile.phases.iter_mut().filter_map(|phase| phase.duration.as_mut()) {
        usual.low = usual.low.min(1.5);
    }
    let words = |before: &(Trace, Finding), after: &(Trace, Finding)| {
        let found = differences::differences(subjects(before, after, Some(&profile)));
        found.into_iter().find(|difference| difference.stage == "firmware").unwrap().words
    };
    // Both numbers are as those of good boards, and a row that grants them to one of the two contradicts itself.
    assert_eq!(words(&before, &after), "now passed, takes 2.4 s longer");
    assert_eq!(words(&after, &before), "tries end in it now, takes 2.4 s less");
}

#[test]
fn what_stands_outside_the_band_of_its_row_is_not_called_as_good_boards() {
    let (mut before, after, profile) = (booted(), booted(), profile());
    let row = |before: &(Trace, Finding), after: &(Trace, Finding)| {
        let found = differences::differences(subjects(before, after, Some(&profile)));
        found.into_iter().find(|difference| difference.stage == "firmware").unwrap()
    };
    assert!(row(&before, &after).words.ends_with("as good boards"));
    // As far above as one of all stages of a sound board may be: no departure.
    let firmware = before.1.phases.iter_mut().find(|phase| phase.name == "firmware").unwrap();
    firmware.mean_a = Amps::constant(2.0 * firmware.mean_a.value());
    let told = row(&before, &after).words;
    assert!(told.ends_with(", before above good boards' mean"), "{told}");
    let told = row(&after, &before).words;
    assert!(told.ends_with(", after above good boards' mean"), "{told}");
    assert!(row(&before, &before).words.ends_with("both above good boards' mean"));
    // The band is that at the volts of both runs.
    let mut lower = booted();
    lower.1.log.set_v = crate::units::Volts::new(12.0).ok();
    let (one, both) = (row(&after, &after).good, row(&lower, &after).good);
    assert_ne!(one, both);
    assert_eq!(
        one.split_once(" to ").unwrap().0,
        both.split_once(" to ").unwrap().0,
        "fewer volts, more amps"
    );
}

#[test]
fn a_stage_with_one_in_it_that_is_not_told_apart_is_not_compared() {
    let profile = profile();
    let mixed = run(
        0.0,
        &[("off", 2.0, 0.0), ("standby", 5.0, 0.033), ("firmware", 9.0, 0.1), ("loading", 60.0, 1.4)],
        Class::Stalled,
    );
    let found = differences(subjects(&mixed, &booted(), Some(&profile)));
    let firmware = found.iter().find(|difference| difference.stage == "firmware").unwrap();
    assert_eq!(firmware.words, "before not told apart from rails: not compared");
    // So has one in which the next is: its level may still be that of good boards, but it is longer than theirs.
    let levels = |end: f64| {
        let levels =
            [("off", 2.0, 0.0), ("standby", 5.0, 0.033), ("rails", end, 0.19), ("loading", 60.0, 1.4)];
        run(0.0, &levels, Class::FullBoot)
    };
    let rails = |after: &(Trace, Finding)| {
        let found = differences(subjects(&booted(), after, Some(&profile)));
        found.into_iter().find(|difference| difference.stage == "rails").unwrap().words
    };
    assert_eq!(rails(&levels(7.5)), "after not told apart from firmware: not compared");
    assert_eq!(rails(&levels(5.7)), "alike, both as good boards");
}

/// The words of a row, as they are said of two boards.
fn said_of_two_boards(words: &str) -> String {
    let mut difference = Difference {
        stage: "rails".into(),
        before: String::new(),
        after: String::new(),
        good: String::new(),
        words: words.into(),
        reach: None,
    };
    of_two_boards(&mut difference);
    difference.words
}

#[test]
fn what_changed_between_two_boards_is_said_of_the_one_that_it_is_meant_of() {
    let of = said_of_two_boards;
    assert_eq!(of("now passed, but not told apart"), "passed only after, not told apart");
    assert_eq!(of("draws 68 % more, both as good boards"), "after draws 68 % more, both as good boards");
}

#[test]
fn alike_are_means_that_differ_by_less_than_is_said_of_others_or_than_a_step() {
    let words = |before: f64, after: f64, step: f64| {
        let at = |amps: f64| {
            let mut run = run(0.0, &[("off", 2.0, 0.0), ("boot", 60.0, amps)], Class::FullBoot);
            run.1.log.resolution_a = Amps::new(step).ok();
            run
        };
        differences(subjects(&at(before), &at(after), None)).remove(0).words
    };
    assert_eq!(words(0.189, 0.210, 0.001), "draws 11 % more");
    assert_eq!(words(0.210, 0.189, 0.001), "alike");
    assert_eq!(words(0.005, 0.006, 0.002), "alike within steps of 2 mA");
    assert_eq!(words(0.100, 0.101, 0.002), "alike");
}

#[test]
fn a_stage_is_as_long_as_the_text_says_it_is_and_the_difference_is_that_of_the_row() {
    let at = |from: f64, to: f64| {
        let mut run =
            run(0.0, &[("off", from, 0.0), ("boot", to, 0.5), ("running", 60.0, 0.9)], Class::FullBoot);
        run.1.log.changed_hz = Some(5.0);
        run
    };
    // From 1.3 s to 3.0 s, though it is 1.82 s long.
    let (before, after) = (at(1.26, 3.04), at(1.0, 6.0));
    let row = differences(subjects(&before, &after, None)).remove(0);
    let text = |run: &(Trace, Finding)| {
        let phase = &run.1.phases[1];
        crate::units::span_in_steps(phase.start_s.value(), phase.end_s.value(), 0.2)
    };
    assert_eq!([text(&before), text(&after)], ["1.7 s", "5.0 s"]);
    assert_eq!([row.before, row.after], ["0.500 A, 1.7 s", "0.500 A, 5.0 s"]);
    assert_eq!(row.words, "takes 3.3 s longer");
}

#[test]
fn what_a_log_is_too_short_to_show_is_not_said_to_be_unreached() {
    let mut short = run(0.0, &[("off", 2.0, 0.0), ("standby", 3.4, 0.034)], Class::Inconclusive);
    short.1.verdict.because =
        ["1.4 s of feed were captured", "it ends 1.4 s after switch-on"].map(String::from).into();
    let (after, profile) = (booted(), profile());
    let told = |before: &(Trace, Finding), after: &(Trace, Finding)| {
        let rows = reach::told_once(&differences(subjects(before, after, Some(&profile))));
        let row = rows.into_iter().find(|row| row.stage == "rails to picture").unwrap();
        [row.before, row.after, row.words]
    };
    let (ends, good) = ("log ends first", "each as good boards");
    assert_eq!(told(&short, &after), [ends, good, "the log before ends first: not compared"]);
    assert_eq!(told(&after, &short), [good, ends, "the log after ends first: not compared"]);
    assert_eq!(told(&short, &short), [ends, ends, "both logs end first: not compared"]);
    // Nor is one that ends in a stage while good boards still are in it.
    for in_time in [
        "in standby for 1.4 s when it ends; good boards stay for up to 6.2 s",
        "it rises at 3.2 s and ends 0.2 s later: how far it gets is not seen",
    ] {
        short.1.verdict.because[1] = in_time.into();
        assert_eq!(told(&short, &after), [ends, good, "the log before ends first: not compared"]);
    }
    // One that is long enough and decides nothing did not reach them.
    short.1.verdict.because.truncate(1);
    assert_eq!(told(&short, &after), ["not reached", good, "now reached"]);
}

#[test]
fn the_headline_says_where_tries_end_however_sure_that_is() {
    let mut finding = crate::render::fixtures::cycling(4);
    finding.verdict.reached = None;
    for attempt in &mut finding.attempts {
        (attempt.ended_in, attempt.likely_in) = (None, Some("firmware".into()));
    }
    let (before, after, profile) = ((trace(600, 60.0, |_| 0.5), finding), booted(), profile());
    let runs = subjects(&before, &after, Some(&profile));
    assert_eq!(said::before_after(runs), "Before: cycling (likely in firmware). After: full boot");
    let scene = draw(runs, &Options::default()).unwrap();
    assert!(scene.labels().any(|label| label.text == said::before_after(runs)));
}

#[test]
fn a_stage_that_tries_may_have_ended_in_is_not_said_to_be_as_on_good_boards() {
    let mut finding = crate::render::fixtures::cycling(4);
    for attempt in &mut finding.attempts {
        (attempt.ended_in, attempt.given_up) = (None, true);
        (attempt.earliest_in, attempt.likely_in) = (Some("rails".into()), Some("firmware".into()));
    }
    let (mut before, after, profile) = ((retraced(&finding), finding), booted(), profile());
    let row = |before: &(Trace, Finding)| {
        let found = differences::differences(subjects(before, &after, Some(&profile)));
        found.into_iter().find(|difference| difference.stage == "rails").unwrap()
    };
    let said = row(&before);
    assert!(said.before.starts_with("4 tries end in it or later"), "{}", said.before);
    assert!(!said.words.contains("good boards"), "{}", said.words);
    before.1.attempts.iter_mut().for_each(|attempt| attempt.earliest_in = None);
    assert!(row(&before).words.contains("both as good boards"), "{}", row(&before).words);
}

#[test]
fn the_length_of_a_stage_in_which_a_short_log_ends_is_not_compared() {
    let (mut before, after, profile) = (
        run(0.0, &[("off", 1.0, 0.0), ("standby", 5.0, 0.033), ("rails", 5.2, 0.19)], Class::Inconclusive),
        booted(),
        profile(),
    );
    let words = |before: &(Trace, Finding)| {
        let found = differences::differences(subjects(before, &after, Some(&profile)));
        found.into_iter().find(|difference| difference.stage == "rails").unwrap().words
    };
    assert_eq!(words(&before), "takes 0.5 s longer, both as good boards");
    before.1.verdict.because =
        ["4.2 s of feed were captured", "it ends 4.2 s after switch-on"].map(String::from).into();
    assert!(words::is_too_short(&before.1));
    assert_eq!(words(&before), "alike, the log before ends in it, both draw as good boards");
}

#[test]
fn few_readings_that_come_as_far_as_those_of_the_other_run_show_no_difference() {
    let (mut before, mut after, profile) = (booted(), booted(), profile());
    let words = |before: &(Trace, Finding), after: &(Trace, Finding)| {
        let found = differences::differences(subjects(before, after, Some(&profile)));
        found.into_iter().find(|difference| difference.stage == "rails").unwrap().words
    };
    let set = |run: &mut (Trace, Finding), (low, mean, high): (f64, f64, f64)| {
        for phase in run.1.phases.iter_mut().filter(|phase| phase.name == "rails") {
            (phase.min_a, phase.mean_a, phase.max_a) =
                (Amps::constant(low), Amps::constant(mean), Amps::constant(high));
        }
        run.0 = retraced(&run.1);
    };
    set(&mut before, (0.17, 0.17, 0.17));
    set(&mut after, (0.17, 0.2, 0.23));
    assert_eq!(words(&before, &after), "draws 18 % more, both as good boards");
    // Seven tenths of a second are two readings then.
    for run in [&mut before, &mut after] {
        run.1.log.changed_hz = Some(3.0);
    }
    assert_eq!(words(&before, &after), "too few readings to tell apart, both as good boards");
    set(&mut after, (0.2, 0.21, 0.22));
    assert_eq!(words(&before, &after), "draws 24 % more, both as good boards");
}

#[test]
fn only_what_is_more_than_a_step_beside_the_band_is_said_to_be_so() {
    let (mut after, profile) = (booted(), profile());
    let runs = |after: &(Trace, Finding)| {
        let found = differences::differences(subjects(&booted(), after, Some(&profile)));
        found.into_iter().find(|difference| difference.stage == "rails").unwrap().words
    };
    let rails = profile.phases.iter().find(|phase| phase.name == "rails").unwrap();
    let subject = Subject { trace: &after.0, profile: Some(&profile), finding: &after.1 };
    let band = crate::render::parts::envelope::in_amps(&profile, rails, subject.feed_volts().unwrap());
    let of = |after: &mut (Trace, Finding), amps: f64, step: f64| {
        for phase in after.1.phases.iter_mut().filter(|phase| phase.name == "rails") {
            (phase.mean_a, phase.min_a, phase.max_a) = [Amps::constant(amps); 3].into();
        }
        after.1.log.resolution_a = Amps::new(step).ok();
        after.0 = retraced(&after.1);
    };
    of(&mut after, band.high + 0.004, 0.001);
    assert!(runs(&after).contains("after above good boards' mean"), "{}", runs(&after));
    // Of three renewals two average over the edges: a reading within the band leaves open whether the level is.
    after.1.log.changed_hz = Some(4.0);
    for phase in after.1.phases.iter_mut().filter(|phase| phase.name == "rails") {
        phase.min_a = Amps::constant(band.low);
    }
    assert!(!runs(&after).contains("good boards' mean"), "{}", runs(&after));
    of(&mut after, band.high + 0.004, 0.005);
    assert!(!runs(&after).contains("good boards"), "{}", runs(&after));
}

#[test]
fn a_length_that_departs_is_the_same_in_row_and_departure() {
    let (mut before, after, profile) = (booted(), booted(), profile());
    for phase in &mut before.1.phases {
        // 13.165 s long, of moments that are 13.1 s apart in tenths.
        let at = |start: f64, end: f64| (Seconds::constant(start), Seconds::constant(end));
        (phase.start_s, phase.end_s) = match phase.name.as_str() {
            "firmware" => at(6.167, 19.332),
            "loading" => at(19.332, 27.7),
            "picture" => at(27.7, 60.0),
            _ => continue,
        };
    }
    before.1.log.renewed_s = Seconds::new(0.2).ok();
    let row = |before: &(Trace, Finding)| {
        let found = differences::differences(subjects(before, &after, Some(&profile)));
        found.into_iter().find(|difference| difference.stage == "firmware").unwrap()
    };
    assert!(row(&before).before.ends_with(", 13.1 s"), "{}", row(&before).before);
    let departure = crate::verdict::Departure {
        phase: "firmware".into(),
        quantity: "duration".into(),
        direction: crate::verdict::Direction::Longer,
        measured: 13.165,
        low: 2.0,
        high: 8.0,
        unit: "s".into(),
        starts_s: Seconds::constant(6.167),
    };
    before.1.departures = vec![departure];
    assert!(row(&before).before.ends_with(", 13.2 s"), "{}", row(&before).before);
    assert!(row(&before).words.contains("takes 9.3 s less"), "{}", row(&before).words);
}

#[test]
fn of_two_boards_whose_draw_is_meant_is_said_wherever_it_stands() {
    let of = said_of_two_boards;
    assert_eq!(of("now passed, draws 12 % less"), "passed only after, after draws 12 % less");
    assert_eq!(
        of("draws about 67 % more, takes 1.0 s longer"),
        "after draws about 67 % more, takes 1.0 s longer"
    );
    assert_eq!(of("now passed, takes 1.0 s longer"), "passed only after, after takes 1.0 s longer");
    let departs = "neither as good boards: draws too much, lasts too long";
    assert_eq!(of(departs), departs);
}

#[test]
fn what_a_toss_up_says_was_not_reached_is_no_surer_in_the_table_than_in_the_title() {
    let mut before = run(0.0, &[("off", 2.0, 0.0), ("no draw", 60.0, 0.0)], Class::NoDraw);
    let (after, profile) = (booted(), profile());
    let rows = |before: &(Trace, Finding)| differences::differences(subjects(before, &after, Some(&profile)));
    let said = |row: &Difference| [&row.stage, &row.before, &row.words].map(String::clone);
    let of = |rows: &[Difference]| [said(&rows[0]), said(rows.last().unwrap())];
    let sure = [["standby", "not reached", "now reached"], ["no draw", "under 1 mA, 58.0 s", "gone"]];
    assert_eq!(of(&rows(&before)), sure.map(|row| row.map(String::from)));
    before.1.verdict.confidence = 0.51;
    before.1.verdict.runner_up = Some(RunnerUp { class: Class::StandbyOnly, confidence: 0.45 });
    let open = [
        ["standby", "probably not reached", "probably now reached"],
        ["probably no draw", "under 1 mA, 58.0 s", "gone"],
    ];
    assert_eq!(of(&rows(&before)), open.map(|row| row.map(String::from)));
    assert_eq!(words::short(&before.1.verdict), "probably no draw");
}

#[test]
fn amps_of_good_boards_at_two_feeds_say_at_which() {
    let (mut before, after, profile) = (stalled(), booted(), profile());
    let headed = |before: &(Trace, Finding)| {
        let scene = draw(subjects(before, &after, Some(&profile)), &Options::default()).unwrap();
        let of = |words: &str| scene.labels().any(|label| label.text == words);
        [of("good boards at 12.5 to 12.8 V"), of("good boards")]
    };
    // The other is the key of the foot.
    assert_eq!(headed(&before), [false, true]);
    before.1.log.set_v = Some(crate::units::Volts::constant(12.5));
    assert!(headed(&before)[0]);
}

#[test]
fn where_tries_only_likely_end_what_comes_after_is_only_likely_not_reached() {
    let (mut before, after, profile) = (tries(), booted(), profile());
    let loading = |before: &(Trace, Finding)| {
        let found = differences::differences(subjects(before, &after, Some(&profile)));
        let row = found.into_iter().find(|row| row.stage == "loading").unwrap();
        [row.before, row.words]
    };
    let ended = |before: &mut (Trace, Finding), sure: bool| {
        before.1.verdict.reached = None;
        for attempt in &mut before.1.attempts {
            attempt.likely_in = Some("firmware".into());
            (attempt.ended_in, attempt.earliest_in) = (attempt.likely_in.clone().filter(|_| sure), None);
        }
    };
    ended(&mut before, true);
    assert_eq!(loading(&before), ["not reached", "now reached"]);
    ended(&mut before, false);
    assert_eq!(loading(&before), ["likely not reached", "likely now reached"]);
}
