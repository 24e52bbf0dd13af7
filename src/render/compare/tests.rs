//! Two runs on one time base.

mod boards;
mod mean;
mod panels;
mod small;
mod worded;
mod zero;

use super::super::align::Zero;
use super::super::axis::TimeAxis;
use super::super::fixtures::{any_options, any_run, assert_legible, finding, phase, profile, sizes, trace};
use super::super::options::Size;
use super::super::scene::Shape;
use super::*;
use crate::reference::Profile;
use crate::trace::Trace;
use crate::units::{Amps, Seconds, Watts};
use crate::verdict::{Class, Finding, Phase, RunnerUp};
use proptest::prelude::*;

/// A minute whose phases have these ends and amps at 13 V, from a first that begins at `start`.
fn run(start: f64, levels: &[(&str, f64, f64)], class: Class) -> (Trace, Finding) {
    let mut from = start;
    let mut phases = Vec::new();
    for &(name, to, amps) in levels {
        let (mean_a, mean_w) = (Amps::constant(amps), Watts::constant(amps * 13.0));
        phases.push(Phase { mean_a, max_a: mean_a, mean_w, ..phase(name, from, to) });
        from = to;
    }
    let mut finding = finding(phases);
    finding.departures.clear();
    finding.verdict.class = class;
    finding.verdict.reached = levels.last().map(|level| level.0.to_owned());
    finding.verdict.stalled_in = finding.verdict.reached.clone().filter(|_| class == Class::Stalled);
    finding.log.changed_hz = Some(10.0);
    (retraced(&finding), finding)
}

/// A minute of readings at the means of the phases.
fn retraced(finding: &Finding) -> Trace {
    let at = |index: u32| f64::from(index) * 60.0 / 599.0;
    let there = |index: u32| finding.phases.iter().rfind(|phase| phase.start_s.value() <= at(index));
    trace(600, 60.0, |index| there(index).map_or(0.0, |phase| phase.mean_a.value()))
}

fn stalled() -> (Trace, Finding) {
    let levels = [("off", 2.0, 0.0), ("standby", 9.0, 0.034), ("rails", 9.6, 0.19), ("firmware", 60.0, 0.66)];
    run(0.0, &levels, Class::Stalled)
}

fn booted() -> (Trace, Finding) {
    let levels = [
        ("off", 1.0, 0.0),
        ("standby", 5.0, 0.033),
        ("rails", 5.7, 0.19),
        ("firmware", 9.6, 0.58),
        ("loading", 18.0, 1.44),
        ("picture", 60.0, 1.14),
    ];
    run(0.0, &levels, Class::FullBoot)
}

fn subjects<'a>(
    before: &'a (Trace, Finding),
    after: &'a (Trace, Finding),
    profile: Option<&'a Profile>,
) -> [Subject<'a>; 2] {
    [before, after].map(|(trace, finding)| Subject { trace, profile, finding })
}

#[test]
fn each_stage_says_what_differs() {
    let (before, after, profile) = (stalled(), booted(), profile());
    let found = differences(subjects(&before, &after, Some(&profile)));
    let line = |d: &Difference| format!("{}: {} | {} | {}", d.stage, d.before, d.after, d.words);
    insta::assert_snapshot!(found.iter().map(line).collect::<Vec<_>>().join("\n"), @"
    standby: 34 mA, 7.0 s | 33 mA, 4.0 s | alike, both as good boards
    rails: 0.190 A, 0.6 s | 0.190 A, 0.7 s | alike, both as good boards
    firmware: 0.660 A, 50.4 s | 0.580 A, 3.9 s | draws 12 % less, takes 46.5 s less, now as good boards
    loading: not reached | 1.44 A, 8.4 s | now reached
    picture: not reached | 1.14 A, 42.0 s | now reached
    ");
}

/// The fixtures' cycling board, whose tries show no stages apart.
fn tries() -> (Trace, Finding) {
    let mut finding = crate::render::fixtures::cycling(4);
    finding.phases.retain(|phase| ["off", "standby"].contains(&phase.name.as_str()));
    finding
        .phases
        .extend((0..4_u32).map(|n| phase("attempt", 6.0 + 3.0 * f64::from(n), 8.0 + 3.0 * f64::from(n))));
    (trace(600, 60.0, |_| 0.5), finding)
}

#[test]
fn a_stage_that_tries_got_to_is_not_said_to_be_unreached() {
    let (before, after, profile) = (tries(), booted(), profile());
    let found = differences(subjects(&before, &after, Some(&profile)));
    let line = |d: &Difference| format!("{}: {} | {}", d.stage, d.before, d.words);
    insta::assert_snapshot!(found[1..3].iter().map(line).collect::<Vec<_>>().join("\n"), @"
    rails: passed in 3 tries | reached in both
    firmware: 3 tries end in it | now passed
    ");
}

#[test]
fn tries_are_counted_once_however_many_of_them_show_their_stages() {
    // Three tries were given up and one is on; of the first two the stages are told apart, of the others not.
    let mut finding = crate::render::fixtures::cycling(4);
    for phase in finding.phases.iter_mut().filter(|phase| phase.start_s.value() >= 12.0) {
        if ["rails", "firmware"].contains(&phase.name.as_str()) {
            phase.name = "attempt".into();
        }
    }
    let (before, after, profile) = ((retraced(&finding), finding), booted(), profile());
    let found = differences(subjects(&before, &after, Some(&profile)));
    let line = |d: &Difference| format!("{}: {} | {} | {}", d.stage, d.before, d.after, d.words);
    insta::assert_snapshot!(found.iter().map(line).collect::<Vec<_>>().join("\n"), @"
    standby: 30 mA, 4.0 s | 33 mA, 4.0 s | alike, both as good boards
    rails: passed in 3 tries, try 1: 0.200 A, 0.5 s | 0.190 A, 0.7 s | takes 0.2 s longer, both as good boards
    firmware: 3 tries end in it, try 1: 0.700 A, 1.5 s | 0.580 A, 3.9 s | now passed, draws 17 % less, takes 2.4 s longer, now as good boards
    loading: not reached | 1.44 A, 8.4 s | now reached
    picture: not reached | 1.14 A, 42.0 s | now reached
    tries: 3 given up, one every 3.00 s | no try given up | gives up no longer
    ");
}

#[test]
fn a_stage_before_others_that_were_reached_is_not_said_to_be_unreached() {
    let unseen =
        run(0.0, &[("off", 2.0, 0.0), ("firmware", 6.0, 0.6), ("loading", 60.0, 1.4)], Class::Stalled);
    let (booted, profile) = (booted(), profile());
    let rails = |before: &(Trace, Finding), after: &(Trace, Finding)| {
        let found = differences(subjects(before, after, Some(&profile)));
        let rails = found.into_iter().find(|difference| difference.stage == "rails").unwrap();
        assert_eq!(rails.reach, None);
        [rails.before, rails.after, rails.words]
    };
    assert_eq!(rails(&unseen, &booted), ["not told apart", "0.190 A, 0.7 s", "not told apart before"]);
    assert_eq!(rails(&booted, &unseen), ["0.190 A, 0.7 s", "not told apart", "not told apart after"]);
}

#[test]
fn percentages_follow_from_the_numbers_that_are_shown() {
    let at = |amps: f64, volts: f64| {
        let mut run = run(0.0, &[("off", 2.0, 0.0), ("boot", 60.0, amps)], Class::FullBoot);
        run.1.phases[1].mean_v = crate::units::Volts::constant(volts);
        run.1.phases[1].mean_w = Watts::constant(amps * volts);
        run
    };
    let words = |before, after| differences(subjects(&before, &after, None)).remove(0).words;
    // 0.853 A are 18.5 % more than 0.720 A, whatever the watts are on feeds that differ by 2 %.
    assert_eq!(words(at(0.72, 7.52), at(0.853, 7.40)), "draws 18 % more");
    // 28 mA are 3.1 times 9 mA, though 28.4 are 3.3 times 8.6.
    assert_eq!(words(at(0.0086, 7.4), at(0.0284, 7.4)), "draws 3.1 times as much");
    // On feeds that differ amps do not compare: the watts do, and are shown.
    assert_eq!(words(at(1.0, 12.0), at(0.5, 24.0)), "alike");
    assert_eq!(words(at(1.0, 12.0), at(0.4, 24.0)), "draws 20 % less (12.0 W, then 9.60 W)");
}

#[test]
fn a_board_that_nobody_asked_before_is_no_repair() {
    let mut asleep = run(0.0, &[("off", 2.0, 0.0), ("standby", 60.0, 0.034)], Class::StandbyOnly);
    let (after, profile) = (booted(), profile());
    let mut signs = |asked: Option<bool>| {
        asleep.1.verdict.asked = asked;
        let scene = draw(subjects(&asleep, &after, Some(&profile)), &Options::default()).unwrap();
        let said: Vec<String> = scene.labels().map(|label| label.text.clone()).collect();
        ["✓", "?", NOT_ASKED].map(|text| said.iter().any(|label| label == text))
    };
    assert_eq!(signs(Some(false)), [false, true, true]);
    assert_eq!(signs(Some(true)), [true, false, false]);
}

#[test]
fn stages_of_which_the_same_is_to_be_said_share_a_row() {
    let asleep = run(0.0, &[("off", 2.0, 0.0), ("standby", 60.0, 0.034)], Class::StandbyOnly);
    let (after, profile) = (booted(), profile());
    let found = differences(subjects(&asleep, &after, Some(&profile)));
    let once = reach::told_once(&found);
    let line = |d: &Difference| format!("{}: {} | {} | {}", d.stage, d.before, d.after, d.words);
    insta::assert_snapshot!(once.iter().skip(1).map(line).collect::<Vec<_>>().join("\n"), @"
    rails to picture: not reached | each as good boards | now reached
    ");
    // One that departs has a row of its own, which says how.
    let mut departing = booted();
    departing.1.departures = vec![too_little("loading")];
    let found = differences(subjects(&asleep, &departing, Some(&profile)));
    let told = reach::told_once(&found);
    let loading = told.iter().find(|d| d.stage == "loading").map(|d| d.words.as_str());
    assert_eq!(loading, Some("now reached, but draws too little"));
}

#[test]
fn the_rise_of_the_feed_is_no_stage_that_differs() {
    let before = run(0.0, &[("off", 2.0, 0.0), ("boot", 60.0, 0.5)], Class::FullBoot);
    let named = |rise: f64| {
        let levels = [("off", 2.0, 0.0), ("standby", 2.0 + rise, 0.1), ("boot", 60.0, 0.5)];
        let after = run(0.0, &levels, Class::FullBoot);
        let found = differences(subjects(&before, &after, None));
        found.into_iter().map(|difference| difference.stage).collect::<Vec<_>>()
    };
    assert_eq!(named(0.2), ["boot"]);
    assert_eq!(named(4.0), ["boot", "standby"]);
}

fn too_little(phase: &str) -> crate::verdict::Departure {
    let direction = crate::verdict::Direction::Below;
    crate::verdict::Departure { phase: phase.into(), direction, ..finding(Vec::new()).departures[0].clone() }
}

#[test]
fn the_departure_of_the_longest_stage_is_the_one_that_is_marked() {
    let (before, mut after, profile) = (stalled(), booted(), profile());
    // A short stage departs first, the running level for most of the minute.
    after.1.departures = [("rails", 5.0), ("picture", 18.0)]
        .map(|(phase, at)| crate::verdict::Departure { starts_s: Seconds::constant(at), ..too_little(phase) })
        .into();
    let scene = draw(subjects(&before, &after, Some(&profile)), &Options::default()).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    assert!(said.iter().any(|text| text.starts_with("picture draws too little")), "{said:?}");
    // Awake at 5 s: the running level begins 13 s later. Both times stand on one axis, and say whose they are.
    for told in ["after: 13.0 s", "before: "] {
        assert!(said.iter().any(|text| text.starts_with(told) && text.ends_with(" s")), "{told}: {said:?}");
    }
}

#[test]
fn a_departure_of_standby_has_low_current_magnified() {
    let (before, mut after, profile) = (stalled(), booted(), profile());
    let magnified = |after: &(Trace, Finding)| {
        let scene = draw(subjects(&before, after, Some(&profile)), &Options::default()).unwrap();
        scene.labels().filter(|label| label.text.starts_with("low current, magnified")).count()
    };
    assert_eq!(magnified(&after), 0, "the boot has the room");
    after.1.departures = vec![crate::verdict::Departure { low: 0.02, high: 0.03, ..too_little("standby") }];
    assert_eq!(magnified(&after), 1, "along zero it could not be seen");
}

#[test]
fn of_a_board_that_is_stuck_at_another_level_it_is_said_that_good_boards_have_none_such() {
    let (mut before, after, profile) = (stalled(), booted(), profile());
    let said = |before: &(Trace, Finding)| {
        let scene = draw(subjects(before, &after, Some(&profile)), &Options::default()).unwrap();
        let stuck = scene.labels().find(|label| label.text.starts_with("stuck in firmware"));
        stuck.unwrap().text.clone()
    };
    assert!(!said(&before).contains("good boards"), "{}", said(&before));
    for (amps, words) in [
        (2.5, "stuck in firmware, above good boards' mean: "),
        (0.1, "stuck in firmware, below good boards' mean: "),
    ] {
        before.1.phases[3].mean_a = Amps::constant(amps);
        assert!(said(&before).contains(words), "{}", said(&before));
    }
}

#[test]
fn without_good_boards_the_two_are_still_compared() {
    let (before, after) = (stalled(), booted());
    let found = differences(subjects(&after, &before, None));
    let words: Vec<&str> = found.iter().map(|difference| difference.words.as_str()).collect();
    insta::assert_snapshot!(words.join("\n"), @"
    alike
    alike
    draws 14 % more, takes 46.5 s longer
    gone
    gone
    ");
}

#[test]
fn the_figure_names_both_verdicts_and_warns_of_two_boards() {
    let (before, mut after, profile) = (stalled(), booted(), profile());
    after.1.log.serial = Some("FE-9".into());
    let scene = draw(subjects(&before, &after, Some(&profile)), &Options::default()).unwrap();
    let said = |text: &str| scene.labels().any(|label| label.text.contains(text));
    for text in
        ["Before: stalled in firmware. After: full boot", "logs of two boards: FE-0231 before, FE-9 after"]
    {
        assert!(said(text), "{text}");
    }
    assert!(scene.title.ends_with("FE-9: Before: stalled in firmware. After: full boot"), "{}", scene.title);
    assert!(
        scene.description.contains("picture: in the log before, not reached; in the log after, "),
        "{}",
        scene.description
    );
}

#[test]
fn a_capture_that_ends_at_its_switch_on_does_not_hide_that_the_other_boots() {
    let (mut before, after, profile) = (stalled(), booted(), profile());
    before.1.phases.truncate(2);
    before.1.phases[1].end_s = Seconds::constant(3.0);
    before.0 = trace(30, 3.0, |_| 0.03);
    let runs = subjects(&before, &after, Some(&profile));
    let zeros = align::align(&runs);
    let (_, to) = align::window(&runs, &zeros, &Options::default()).unwrap();
    let settled = after.1.phases.last().unwrap().start_s.value() - zeros[1].at;
    assert!(to > settled, "{to} {settled}");
}

#[test]
fn the_table_calls_a_short_as_the_headline_does() {
    let short = run(0.0, &[("off", 2.0, 0.0), ("starved", 60.0, 3.0)], Class::PartialShort);
    let (after, profile) = (booted(), profile());
    let found = differences::differences(subjects(&short, &after, Some(&profile)));
    let stages: Vec<&str> = found.iter().map(|difference| difference.stage.as_str()).collect();
    assert!(stages.contains(&"partial short") && !stages.contains(&"starved"), "{stages:?}");
}

#[test]
fn what_departed_before_stands_in_the_headline() {
    let (mut before, after) = (booted(), booted());
    before.1.departures = finding(Vec::new()).departures;
    before.1.departures.truncate(1);
    before.1.departures[0].phase = "picture".into();
    let said = said::before_after(subjects(&before, &after, None));
    assert_eq!(said, "Before: full boot, but picture draws too much. After: full boot");
    assert_eq!(said::before_after(subjects(&after, &after, None)), "Before and after: full boot");
    assert_eq!(
        said::before_after(subjects(&stalled(), &after, None)),
        "Before: stalled in firmware. After: full boot"
    );
}

#[test]
fn what_is_wrong_is_led_from_its_words_to_its_mark() {
    let (before, after, profile) = (stalled(), booted(), profile());
    for size in [Size::PHONE, Size::WIDE] {
        let options = Options { size, ..Options::default() };
        let scene = draw(subjects(&before, &after, Some(&profile)), &options).unwrap();
        assert_legible(&scene);
        let alarm = crate::render::Theme::Light.palette().alarm;
        let corners = |count: usize| {
            scene.shapes.iter().find_map(|shape| match shape {
                Shape::Polygon { points, color } if points.len() == count && *color == alarm => Some(points),
                _ => None,
            })
        };
        assert!(corners(4).is_some(), "{size}: no sign on the trace");
        let flag = corners(3).unwrap();
        let (x, top) =
            (flag.iter().map(|point| point.0).sum::<i32>() / 3, flag.iter().map(|point| point.1).min());
        let words = scene.labels().filter(|label| label.text.contains("stuck in firmware: ")).last().unwrap();
        let leads = |shape: &Shape| match shape {
            Shape::Fill { area, color } => {
                *color == alarm
                    && (area.left - 3..area.right + 3).contains(&x)
                    && area.width() < 8
                    && area.top >= words.bounds().top
                    && top.is_some_and(|top| area.bottom <= top + 2)
            }
            _ => false,
        };
        assert!(scene.shapes.iter().any(leads), "{size}");
    }
}

#[test]
fn labels_keep_apart_at_every_size() {
    let (before, after, profile) = (stalled(), booted(), profile());
    for size in sizes() {
        let options = Options { size, ..Options::default() };
        assert_legible(&draw(subjects(&before, &after, Some(&profile)), &options).unwrap());
    }
}

#[test]
fn what_is_left_to_the_table_is_counted_even_where_a_note_is_cut() {
    let trace = trace(600, 60.0, |_| 0.5);
    let mut finding = finding(vec![phase("standby", 0.0, 9.0), phase("loading", 9.0, 60.0)]);
    finding.verdict.stalled_in = Some("loading".into());
    let subject = Subject { trace: &trace, profile: None, finding: &finding };
    for size in [Size::WIDE, Size::new(900, 820).unwrap()] {
        let scene = draw([subject, subject], &Options { size, ..Options::default() }).unwrap();
        let counted = scene.labels().filter(|label| label.text.ends_with("more below")).count();
        assert_eq!(counted, 2, "{size}");
    }
}

#[test]
fn a_small_run_beside_a_large_one_has_a_scale_of_its_own_and_says_so() {
    let (mut before, mut after) = (stalled(), booted());
    after.0 = trace(600, 60.0, |_| 0.5);
    let said = |before: &(Trace, Finding), size: Size| {
        let runs = subjects(before, &after, None);
        let scene = draw(runs, &Options { size, ..Options::default() }).unwrap();
        assert_legible(&scene);
        let finer = |label: &&crate::render::scene::Label| label.text.contains("finer");
        scene.labels().find(finer).map(|label| label.text.clone())
    };
    before.0 = trace(600, 60.0, |_| 0.5);
    assert_eq!(said(&before, Size::WIDE), None);
    before.0 = trace(600, 60.0, |_| 0.025);
    for size in [Size::WIDE, Size::PHONE] {
        let said = said(&before, size).unwrap();
        let times =
            said.strip_prefix("amps about ").and_then(|said| said.strip_suffix(" times finer than below"));
        assert!(times.is_some_and(|times| (19.0..=21.0).contains(&times.parse().unwrap())), "{size}: {said}");
    }
}

#[test]
fn the_rise_of_the_feed_is_no_stage_of_a_board_without_a_standby() {
    let (mut before, mut after) = (stalled(), booted());
    let profile = {
        let mut profile = profile();
        profile.phases.retain(|stage| stage.name != "standby");
        profile.phases[0].waits_for_person = false;
        profile
    };
    before.1.phases = vec![phase("standby", 0.0, 60.0)];
    before.1.verdict.class = Class::StandbyOnly;
    after.1.phases.retain(|phase| phase.name != "standby");
    after.1.phases.insert(0, phase("standby", 0.0, 0.2));
    let row = |profile: Option<&crate::reference::Profile>| {
        let found = differences::differences(subjects(&before, &after, profile));
        found.into_iter().find(|row| row.stage == "standby").unwrap().after
    };
    assert_eq!(row(Some(&profile)), "none");
    assert_ne!(row(None), "none");
}

#[test]
fn tries_beside_a_run_without_any_are_told_in_words() {
    let (mut before, after) = (stalled(), booted());
    before.1.attempts = crate::render::fixtures::cycling(2).attempts;
    before.1.attempts.truncate(1);
    let found = differences::differences(subjects(&before, &after, None));
    let row = found.into_iter().find(|row| row.stage == "tries").unwrap();
    let said = [row.before.as_str(), row.after.as_str(), row.words.as_str()];
    assert_eq!(said, ["1 given up", "no try given up", "gives up no longer"]);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]
    #[test]
    fn whatever_the_runs_hold_their_labels_keep_apart(
        before in any_run(),
        after in any_run(),
        options in any_options(),
        with_profile in any::<bool>(),
    ) {
        let profile = with_profile.then(profile);
        assert_legible(&draw(subjects(&before, &after, profile.as_ref()), &options).unwrap());
    }
}

#[test]
fn stages_that_are_alike_share_a_row_where_rows_would_take_the_runs_their_room() {
    let booted = booted();
    let profile = profile();
    let found = differences(subjects(&booted, &booted, Some(&profile)));
    let rows = reach::without_alike(&found);
    let alike = |row: &&Difference| row.words == differences::ALIKE_AND_GOOD;
    assert!(found.iter().filter(alike).count() >= 2, "{found:?}");
    assert!(
        rows.len() < found.len() && rows[0].stage.contains(" to ") && rows[0].words == "alike",
        "{rows:?}"
    );
}

#[test]
fn the_standby_of_a_run_that_gives_up_is_the_one_it_woke_from() {
    let (mut before, after, profile) = (tries(), booted(), profile());
    before.1.phases.push(phase("standby", 18.0, 60.0));
    let found = differences(subjects(&before, &after, Some(&profile)));
    let standby = found.iter().find(|row| row.stage == "standby").unwrap();
    assert!(standby.before.ends_with("4.0 s"), "{standby:?}");
}

#[test]
fn a_board_that_fell_back_is_not_said_to_have_given_up_a_try() {
    let (mut before, after, profile) = (tries(), booted(), profile());
    before.1.verdict.class = Class::DroppedOut;
    before.1.attempts.truncate(1);
    let found = differences(subjects(&before, &after, Some(&profile)));
    let of_tries = found.iter().find(|row| row.stage == "tries");
    assert!(of_tries.is_none_or(|row| row.before == "no try given up"), "{of_tries:?}");
    assert!(found.iter().all(|row| !row.before.contains("1 try") && !row.before.contains('×')), "{found:?}");
}

#[test]
fn a_run_without_any_rest_has_no_strip_for_it() {
    let (stalled, after, profile) = (stalled(), booted(), profile());
    let short = run(0.0, &[("off", 2.0, 0.0), ("short", 60.0, 1.5)], Class::HardShort);
    let strips = |mut before: (Trace, Finding)| {
        // So that low current is magnified in a figure as low as this.
        before.1.departures =
            vec![crate::verdict::Departure { low: 0.02, high: 0.03, ..too_little("standby") }];
        let scene = draw(subjects(&before, &after, Some(&profile)), &Options::default()).unwrap();
        scene.labels().filter(|label| label.text.starts_with("low current, magnified")).count()
    };
    assert_eq!((strips(stalled), strips(short)), (1, 0));
}
