//! The two panels: their scales, and the end of a log that is too short.

use super::*;

fn texts(scene: &Scene) -> Vec<&str> {
    scene.labels().map(|label| label.text.as_str()).collect()
}

/// A run that ends so early that nothing can be said of it.
fn too_short() -> (Trace, Finding) {
    let mut short = run(0.0, &[("off", 2.0, 0.0), ("standby", 3.4, 0.034)], Class::Inconclusive);
    short.0 = trace(34, 3.4, |_| 0.034);
    short.1.verdict.because = vec!["1.4 s of feed were captured".into()];
    short
}

#[test]
fn a_run_without_a_verdict_says_why_and_where_its_log_ends() {
    let (before, after, profile) = (too_short(), booted(), profile());
    for size in [Size::WIDE, Size::A4, Size::new(480, 360).unwrap()] {
        let scene = draw(subjects(&before, &after, Some(&profile)), &Options { size, ..Options::default() });
        let scene = scene.unwrap();
        assert_legible(&scene);
        for text in ["1.4 s of feed were captured", "log ends here"] {
            let said = texts(&scene).iter().filter(|label| **label == text).count();
            assert_eq!(said, 1, "{size}: {text}");
        }
    }
}

#[test]
fn a_short_in_the_limit_is_set_beside_a_boot_by_its_switch_on() {
    let shorted = run(0.0, &[("off", 2.0, 0.0), ("starved", 60.0, 0.4)], Class::PartialShort);
    let (after, profile) = (booted(), profile());
    let runs = subjects(&shorted, &after, Some(&profile));
    let (zeros, said) = align::before_and_after(&runs, NAMES);
    assert_eq!(zeros[0].moment, align::Moment::AsOthers);
    assert_eq!(said, "after wakes; before does not, and is set beside it by its switch-on");
    // A board without a standby that its feed starves has started.
    let starved = run(0.0, &[("off", 2.0, 0.0), ("starved", 60.0, 0.4)], Class::FeedLimited);
    let (zeros, _) = align::before_and_after(&subjects(&starved, &after, Some(&profile)), NAMES);
    assert_eq!(zeros[0].moment, align::Moment::Wake);
}

#[test]
fn the_title_names_both_boards() {
    let (mut before, mut after) = (stalled(), booted());
    let title = |before: &(Trace, Finding), after: &(Trace, Finding)| title(subjects(before, after, None));
    (before.1.log.serial, after.1.log.serial) = (Some("S-1".into()), Some("S-2".into()));
    let of_two = title(&before, &after);
    assert!(of_two.contains("S-1 and ") && of_two.contains("S-2: "), "{of_two}");
    before.1.log.serial = Some("S-2".into());
    assert!(!title(&before, &after).contains(" and "));
}

#[test]
fn of_two_boards_nothing_is_said_of_a_repair() {
    let (mut before, mut after, profile) = (tries(), booted(), profile());
    before.1.log.serial = Some("S-1".into());
    after.1.log.serial = Some("S-2".into());
    for runs in [[&before, &after], [&after, &before]] {
        let mut found = differences(subjects(runs[0], runs[1], Some(&profile)));
        found.iter_mut().for_each(two_boards::of_two_boards);
        for Difference { stage, words, .. } in &found {
            let repair = words.split([' ', ',']).any(|word| ["now", "longer", "gone", "new"].contains(&word));
            assert!(!repair || words.contains(" s longer"), "{stage}: {words}");
        }
        assert!(found.iter().any(|row| row.words.contains("only ")), "{found:?}");
    }
}

#[test]
fn that_it_never_leaves_its_standby_is_not_alike() {
    let (after, profile) = (booted(), profile());
    let mut asleep = run(0.0, &[("off", 2.0, 0.0), ("standby", 60.0, 0.034)], Class::StandbyOnly);
    asleep.1.verdict.asked = Some(true);
    let words = |before: &(Trace, Finding)| {
        let found = differences(subjects(before, &after, Some(&profile)));
        found.into_iter().find(|row| row.stage == "standby").unwrap().words
    };
    assert_eq!(words(&asleep), "before it never wakes, after it wakes, both draw as good boards");
    // Nor is what it draws all that is not as on good boards.
    let mut excess = run(0.0, &[("off", 2.0, 0.0), ("standby", 60.0, 0.09)], Class::ExcessStandby);
    excess.1.verdict.asked = Some(true);
    let mut departure = finding(Vec::new()).departures.remove(0);
    departure.phase = "standby".into();
    excess.1.departures.push(departure);
    assert_eq!(
        words(&excess),
        "draws about 63 % less, before it never wakes, after it wakes, now draws as good boards"
    );
    // Where nobody asked it to, that is when the log was ended.
    asleep.1.verdict.asked = Some(false);
    assert_eq!(words(&asleep), "alike, both as good boards");
}

#[test]
fn of_coarse_readings_the_per_cent_are_those_of_the_amps_in_the_row() {
    let (before, mut after) = (booted(), booted());
    let firmware = after.1.phases.iter_mut().find(|phase| phase.name == "firmware").unwrap();
    firmware.mean_a = Amps::constant(0.58 * 0.87);
    let words = |before: &(Trace, Finding), after: &(Trace, Finding)| {
        let found = differences(subjects(before, after, None));
        found.into_iter().find(|row| row.stage == "firmware").unwrap().words
    };
    let coarse = |run: &(Trace, Finding)| {
        let mut run = (trace(600, 60.0, |index| if index % 2 == 0 { 0.5 } else { 0.48 }), run.1.clone());
        run.1.log.resolution_a = Amps::new(0.01).ok();
        run
    };
    let said = words(&coarse(&before), &coarse(&after));
    assert!(said.contains("draws about 14 % less") || said.contains("draws about 13 % less"), "{said}");
}

/// Rows of the picture that an ampere takes in the strip whose values of current stand between these rows.
fn rows_per_amp(scene: &Scene, from: i32, to: i32) -> f64 {
    let factor = |unit: &str| match unit {
        "mA" => Some(1e-3),
        "A" => Some(1.0),
        _ => None,
    };
    let value = |text: &str| {
        let (number, unit) = text.split_once(' ')?;
        Some(number.parse::<f64>().ok()? * factor(unit)?)
    };
    let labels = || scene.labels().filter(|label| (from..to).contains(&label.at.1));
    // The strip that magnifies low current stands below.
    let top = labels().filter(|label| value(&label.text).is_some()).min_by_key(|label| label.at.1).unwrap();
    let zeros = labels().filter(|label| ["0", "0.0"].contains(&label.text.as_str()));
    let zero = zeros.min_by_key(|label| label.at.1).unwrap();
    f64::from(zero.at.1 - top.at.1) / value(&top.text).unwrap()
}

#[test]
fn how_many_times_finer_the_one_is_is_what_their_values_show() {
    let (mut asleep, mut after, profile) =
        (run(0.0, &[("off", 2.0, 0.0), ("standby", 60.0, 0.034)], Class::StandbyOnly), booted(), profile());
    asleep.0 = trace(600, 60.0, |index| if index < 20 { 0.0 } else { 0.034 });
    after.0 = trace(600, 60.0, |index| if index < 50 { 0.033 } else { 1.3 });
    for size in sizes() {
        for runs in [[&asleep, &after], [&after, &asleep]] {
            let scene =
                draw(subjects(runs[0], runs[1], Some(&profile)), &Options { size, ..Options::default() });
            let scene = scene.unwrap();
            let said = scene.labels().find(|label| label.text.starts_with("amps about ")).unwrap();
            let times: f64 = said.text.split(' ').nth(2).unwrap().parse().unwrap();
            let titles = scene.labels().filter(|label| label.text.starts_with("after: "));
            let lower = titles.map(|label| label.at.1).min().unwrap();
            let (upper, lower) = (rows_per_amp(&scene, 0, lower), rows_per_amp(&scene, lower, i32::MAX));
            let drawn = if said.text.ends_with("below") { upper / lower } else { lower / upper };
            assert!((times / drawn - 1.0).abs() < 0.1, "{size}: {times} times is said, {drawn} drawn");
        }
    }
}

#[test]
fn what_a_board_that_fell_is_left_at_has_a_strip_in_which_it_is_read_off() {
    let mut levels =
        vec![("off", 1.0, 0.0), ("standby", 5.0, 0.033), ("rails", 5.7, 0.19), ("firmware", 9.6, 0.58)];
    levels.extend([("loading", 18.0, 1.44), ("picture", 26.0, 1.14), ("standby", 60.0, 0.033)]);
    let (mut fell, mut stays, profile) = (run(0.0, &levels, Class::DroppedOut), booted(), profile());
    fell.1.verdict.reached = Some("picture".into());
    let rest = |index: u32| if index < 10 { 0.0 } else { 0.033 };
    fell.0 = trace(600, 60.0, |index| if (50..260).contains(&index) { 1.2 } else { rest(index) });
    stays.0 = trace(600, 60.0, |index| if index >= 50 { 1.2 } else { rest(index) });
    let strips = |runs: [&(Trace, Finding); 2]| {
        let scene = draw(subjects(runs[0], runs[1], Some(&profile)), &Options::default()).unwrap();
        assert_legible(&scene);
        scene.labels().filter(|label| label.text.starts_with("low current, magnified")).count()
    };
    assert_eq!([strips([&fell, &stays]), strips([&stays, &stays])], [1, 0]);
}

#[test]
fn a_band_that_begins_at_nothing_is_told_by_its_end() {
    let (before, after, mut profile) = (stalled(), booted(), profile());
    let good = |profile: &Profile| {
        let found = differences(subjects(&before, &after, Some(profile)));
        found.into_iter().find(|row| row.stage == "standby").unwrap().good
    };
    assert_eq!(good(&profile), "23 to 48 mA");
    profile.phases[0].mean_power.low = 0.0;
    assert_eq!(good(&profile), "up to 48 mA");
}
