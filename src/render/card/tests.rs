//! The card of a profile.

use super::super::fixtures::{any_options, any_words, assert_legible, profile, sizes};
use super::super::options::Size;
use super::super::scene::Shape;
use super::*;
use crate::reference::Envelope;
use proptest::prelude::*;

fn labels(profile: &Profile, options: &Options) -> Vec<String> {
    draw(profile, options).labels().map(|label| label.text.clone()).collect()
}

#[test]
fn the_card_says_what_a_bench_needs() {
    let profile = profile();
    let labels = labels(&profile, &Options::default());
    let has = |text: &str| labels.iter().any(|label| label.contains(text));
    for stage in &profile.phases {
        assert!(has(&stage.name), "{}", stage.name);
    }
    let feed = &profile.feed;
    let feed = [
        feed.point.clone(),
        feed.nominal.to_string(),
        feed.limit.to_string(),
        feed.highest.to_string(),
        counted(profile.learned.boards, "good board"),
    ];
    let cautions = ["Unplug the battery pack", "check polarity", "Capacitors on the board"].map(String::from);
    for text in feed.into_iter().chain(cautions) {
        assert!(has(&text), "{text} in {labels:#?}");
    }
}

#[test]
fn the_amps_are_the_profile_s_watts_at_the_usual_feed() {
    let mut profile = profile();
    let volts = profile.feed.nominal.value();
    let loading = profile.phases.iter_mut().find(|phase| phase.name == "loading").unwrap();
    loading.volts_exponent = 0.0;
    // 15.6 to 23.4 W at 13 V are 1.2 to 1.8 A.
    loading.mean_power = Envelope { low: 15.6, typical: 18.2, high: 23.4 };
    assert!((volts - 13.0).abs() < 1e-9);
    let labels = labels(&profile, &Options::default());
    assert!(labels.iter().any(|label| label == "1.20 to 1.80 A"), "{labels:#?}");
}

#[test]
fn how_a_board_is_fed_is_not_cut_and_the_graph_is_said_to_be_no_time_axis() {
    let mut profile = profile();
    profile.feed.point = "not stated in the logs".into();
    let labels = labels(&profile, &Options { size: Size::new(640, 480).unwrap(), ..Options::default() });
    for text in ["not stated in the logs", "widths not to scale"] {
        assert!(labels.iter().any(|label| label == text), "{text}: {labels:#?}");
    }
}

#[test]
fn labels_keep_apart_at_every_size() {
    for size in sizes() {
        assert_legible(&draw(&profile(), &Options { size, ..Options::default() }));
    }
}

#[test]
fn bands_have_their_numbers_all_or_none_and_lengths_one_wording() {
    let ranges = |size: Size| {
        let labels = labels(&profile(), &Options { size, ..Options::default() });
        let about = labels.iter().filter(|label| label.starts_with("about ")).count();
        // Once in the table with the usual value, or on a narrow card alone; once at the band.
        (labels.iter().filter(|label| label.ends_with(" to")).count(), about)
    };
    let stages = profile().phases.len();
    let timed = profile().phases.iter().filter(|phase| phase.duration.is_some()).count();
    for size in sizes() {
        let (in_two_lines, about) = ranges(size);
        assert!(in_two_lines <= stages, "{size}");
        assert!(about == 0 || about == timed, "{size}: {about} of {timed}");
    }
}

#[test]
fn a_profile_without_sections_has_no_column_for_what_they_prove() {
    let mut profile = profile();
    let heads =
        |profile: &Profile| labels(profile, &Options::default()).contains(&"reached, it proves".to_owned());
    assert!(heads(&profile));
    profile.power_path.clear();
    assert!(!heads(&profile));
}

/// The profile of the fixtures with so many stages.
fn with_stages(count: usize) -> Profile {
    let mut profile = profile();
    let stages = profile.phases.clone();
    let named = (1..=count).zip(stages.into_iter().cycle());
    profile.phases =
        named.map(|(number, stage)| PhaseReference { name: format!("stage {number}"), ..stage }).collect();
    profile
}

#[test]
fn twenty_stages_are_all_listed_on_a_phone_too() {
    let profile = with_stages(20);
    for size in [Size::PHONE, Size::WIDE, Size::A4] {
        let labels = labels(&profile, &Options { size, ..Options::default() });
        for stage in &profile.phases {
            assert!(
                labels.iter().any(|label| label.ends_with(&stage.name)),
                "{size}: {} in {labels:?}",
                stage.name
            );
        }
        assert!(!labels.iter().any(|label| label.ends_with(" more")), "{size}: {labels:?}");
    }
}

#[test]
fn stages_without_room_for_their_names_are_numbered_as_in_the_table() {
    let labels = labels(&with_stages(8), &Options { size: Size::PHONE, ..Options::default() });
    for text in ["8", "8 stage 8"] {
        assert!(labels.iter().any(|label| label == text), "{text}: {labels:?}");
    }
}

#[test]
fn a_peak_far_above_the_rest_is_cut_and_says_so() {
    let mut profile = profile();
    let volts = profile.feed.nominal.value();
    let loading = profile.phases.iter_mut().find(|phase| phase.name == "loading").unwrap();
    loading.volts_exponent = 0.0;
    loading.peak_power = Envelope { low: volts, typical: 2.0 * volts, high: 9.0 * volts };
    let at_the_limit = labels(&profile, &Options::default());
    // The supply of the card is set to 3.50 A, and nobody reads 9 A of it.
    for text in ["highest peak up to the limit", "up to the limit"] {
        assert!(at_the_limit.iter().any(|label| label == text), "{text}: {at_the_limit:?}");
    }
    profile.feed.limit = crate::units::Amps::constant(10.0);
    let scene = draw(&profile, &Options::default());
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    assert!(said.contains(&"highest peak 9.00 A"), "{said:?}");
    assert_legible(&scene);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]
    #[test]
    fn whatever_the_profile_says_labels_keep_apart(
        options in any_options(),
        names in prop::collection::vec(prop_oneof!["[a-z ]{1,60}", any_words(20)], 1..21),
        cautions in prop::collection::vec("[a-z ]{0,300}", 0..9),
        words in any_words(200),
    ) {
        let mut profile = profile();
        let stages = profile.phases.clone();
        profile.phases = names
            .into_iter()
            .zip(stages.into_iter().cycle())
            .map(|(name, stage)| PhaseReference { name, ..stage })
            .collect();
        profile.feed.cautions = cautions;
        profile.feed.point.clone_from(&words);
        profile.description = words;
        assert_legible(&draw(&profile, &options));
    }
}

#[test]
fn a_standby_that_would_be_a_line_along_zero_has_a_strip_of_its_own() {
    let mut profile = profile();
    for size in [Size::WIDE, Size::A4] {
        let options = Options { size, ..Options::default() };
        let scene = draw(&profile, &options);
        let ground = crate::render::Theme::Light.palette().envelope;
        // The sample of the legend comes first, then the stages from the left.
        let bands = scene.shapes.iter().filter_map(|shape| match shape {
            Shape::Fill { area, color } if *color == ground => Some(*area),
            _ => None,
        });
        let bands: Vec<_> = bands.skip(1).collect();
        let heights = bands.iter().filter(|band| band.left == bands[0].left).map(|band| band.height());
        let share = |height: i32| f64::from(height) / f64::from(size.height());
        let heights: Vec<f64> = heights.map(share).collect();
        // Of 47.8 mA below 72 mA, where the stages together take 3.9 A.
        assert!(heights.len() == 2 && heights[0] < 0.01 && heights[1] > 0.03, "{size}: {heights:?}");
        assert!(scene.labels().any(|label| label.text.starts_with("low current, magnified ")), "{size}");
    }
    // Of a board whose stages draw alike nothing is magnified.
    profile.phases[0].mean_power = profile.phases[2].mean_power;
    profile.phases[1].mean_power = profile.phases[2].mean_power;
    let labels = labels(&profile, &Options::default());
    assert!(!labels.iter().any(|label| label.starts_with("low current")), "{labels:?}");
}

#[test]
fn the_limit_is_drawn_where_the_graph_reaches_it() {
    let mut profile = profile();
    let mut lines = |limit: f64| {
        profile.feed.limit = crate::units::Amps::constant(limit);
        let scene = draw(&profile, &Options::default());
        let color = crate::render::Theme::Light.palette().limit;
        let line = |shape: &&Shape| matches!(shape, Shape::Dashed { color: of, .. } if *of == color);
        let named = scene.labels().any(|label| label.text.starts_with("current limit "));
        (scene.shapes.iter().filter(line).count(), named)
    };
    // Of the line itself, and of its sample in the legend.
    assert_eq!(lines(2.0), (2, true));
    assert_eq!(lines(50.0), (0, false));
}

#[test]
fn a_peak_that_lies_under_the_line_of_the_limit_is_said_in_words() {
    let mut profile = profile();
    profile.phases.truncate(4);
    let (volts, limit) = (profile.feed.nominal.value(), 2.0);
    profile.feed.limit = crate::units::Amps::constant(limit);
    let busiest = profile.phases.last_mut().unwrap();
    busiest.volts_exponent = 0.0;
    busiest.mean_power = Envelope { low: 0.3 * volts, typical: 0.5 * volts, high: 0.7 * volts };
    for size in [Size::WIDE, Size::PHONE, Size::A4] {
        let said = |peak: f64| {
            let mut profile = profile.clone();
            let busiest = profile.phases.last_mut().unwrap();
            busiest.peak_power = Envelope { low: volts, typical: 1.3 * volts, high: peak * volts };
            let others = profile.phases.iter_mut().rev().skip(1);
            others.for_each(|stage| stage.peak_power.high = stage.mean_power.high);
            let labels = labels(&profile, &Options { size, ..Options::default() });
            labels.iter().any(|label| label.ends_with("to limit") || label == "peaks up to the limit")
        };
        assert_eq!([said(3.0), said(1.5)], [true, false], "{size}");
    }
}
