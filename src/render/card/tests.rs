//! The card of a profile.

use super::super::fixtures::{any_options, any_words, assert_legible, profile, sizes};
use super::super::options::Size;
use super::super::scene::{Label, Shape};
use super::super::theme::Color;
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
    profile.feed.point = "a point with a long name".into();
    let small = Options { size: Size::new(640, 480).unwrap(), ..Options::default() };
    let said = labels(&profile, &small);
    for text in ["a point with a long name", "widths not to scale"] {
        assert!(said.iter().any(|label| label == text), "{text}: {said:#?}");
    }
    // What nobody said is small and plain.
    profile.feed.point = POINT_NOT_STATED.into();
    for options in [small, Options { size: Size::PHONE, ..Options::default() }] {
        let scene = draw(&profile, &options);
        let point = scene.labels().find(|label| label.text == "feed point: not stated").unwrap();
        assert_eq!(point.style.weight, Weight::Regular, "{options:?}");
        assert!(!scene.labels().any(|label| label.text.contains("in the logs")), "{options:?}");
        assert!(!scene.description.contains("in the logs"), "{}", scene.description);
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
    for text in ["peak, at most 3.50 A", "3500 mA, the limit"] {
        assert!(at_the_limit.iter().any(|label| label == text), "{text}: {at_the_limit:?}");
    }
    profile.feed.limit = crate::units::Amps::constant(10.0);
    let scene = draw(&profile, &Options::default());
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    assert!(said.contains(&"peak, at most 9.00 A"), "{said:?}");
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
        // Of 47.8 mA below what standby peaks at, where the stages together take 3.9 A.
        assert!(heights.len() == 2 && heights[0] < 0.01 && heights[1] > 0.025, "{size}: {heights:?}");
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
        let named = scene.labels().find(|label| label.text.starts_with("current limit "));
        (scene.shapes.iter().filter(line).count(), named.map(|label| label.text.clone()).unwrap_or_default())
    };
    // Of the line itself, and of its sample in the legend.
    assert_eq!(lines(2.0), (2, "current limit 2.00 A".into()));
    assert_eq!(lines(50.0), (0, "current limit 50.0 A, above".into()));
    // The axis goes a little further for a limit that is near.
    let top = axis_top(&super::super::fixtures::profile());
    let near = (1.15 * top * 100.0).round() / 100.0;
    assert_eq!(lines(near), (2, format!("current limit {near:.2} A")));
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
            labels.iter().any(|label| label.starts_with("peak") && label.ends_with(" limit"))
        };
        assert_eq!([said(3.0), said(1.5)], [true, false], "{size}");
    }
}

/// Where the axis of a card ends that no limit is near.
fn axis_top(profile: &Profile) -> f64 {
    let mut profile = profile.clone();
    profile.feed.limit = crate::units::Amps::constant(50.0);
    let expected: Vec<_> = profile.phases.iter().map(|phase| shown(&profile, phase)).collect();
    stages::highest(&expected)
}

/// Rows of what is drawn in that colour as a dashed line of the bands, between its columns.
fn dashed(scene: &Scene, dash: f64, sheet: &Sheet) -> Vec<Rect> {
    let (color, dash) = (sheet.palette.envelope_edge, sheet.u(dash));
    let of = |shape: &Shape| match shape {
        Shape::Dashed { area, dash: of, color: is, .. } if *of == dash && *is == color => Some(*area),
        _ => None,
    };
    scene.shapes.iter().filter_map(of).collect()
}

#[test]
fn no_number_of_a_range_stands_on_a_line_of_peaks_or_of_the_limit() {
    let volts = profile().feed.nominal.value();
    for (size, peak) in [(Size::WIDE, 1.02), (Size::WIDE, 1.2), (Size::WIDE, 1.5), (Size::A4, 1.3)] {
        let mut profile = profile();
        for (stage, mean) in profile.phases.iter_mut().zip([0.02, 0.3, 0.6, 1.0, 1.2]) {
            stage.volts_exponent = 0.0;
            let of = |times: f64| mean * times * volts;
            stage.mean_power = Envelope { low: of(0.9), typical: of(1.0), high: of(1.1) };
            stage.peak_power = Envelope { low: of(0.9), typical: of(peak), high: of(1.1 * peak) };
        }
        profile.feed.limit = crate::units::Amps::constant(1.9);
        let options = Options { size, ..Options::default() };
        let (scene, sheet) = (draw(&profile, &options), sheet(&profile, &options));
        let lines = dashed(&scene, 2.0, &sheet);
        let ranges: Vec<Rect> = scene
            .labels()
            .filter(|label| label.anchor == Anchor::Middle && label.style.weight == Weight::Bold)
            .filter(|label| label.text.ends_with('A') || label.text.ends_with(" to"))
            .map(Label::bounds)
            .collect();
        assert!(ranges.len() + 1 >= profile.phases.len(), "{size}: {ranges:?}");
        for spot in &ranges {
            assert!(!lines.iter().any(|line| line.overlaps(*spot)), "{size}, {peak}: {spot:?} {lines:?}");
        }
        // Above the line of its stage's peaks it would be taken for theirs.
        let across = |line: &Rect, spot: &Rect| (line.left..line.right).contains(&spot.center().0);
        let above = |spot: &&Rect| lines.iter().any(|line| across(line, spot) && spot.bottom <= line.top);
        let above: Vec<&Rect> = ranges.iter().filter(above).collect();
        assert!(above.is_empty(), "{size}, {peak}: {above:?}");
    }
}

#[test]
fn a_peak_in_the_row_of_a_grid_line_is_painted_over_it() {
    let mut profile = profile();
    let volts = profile.feed.nominal.value();
    let stage = profile.phases.iter_mut().find(|phase| phase.name == "loading").unwrap();
    stage.volts_exponent = 0.0;
    stage.peak_power = Envelope { low: volts, typical: 1.9 * volts, high: 2.0 * volts };
    let options = Options::default();
    let (scene, sheet) = (draw(&profile, &options), sheet(&profile, &options));
    let grid = |shape: &Shape| match shape {
        Shape::Fill { area, color } if *color == sheet.palette.grid => Some(*area),
        _ => None,
    };
    let on_grid = |line: &Rect| {
        let place = |of: &Rect| {
            scene.shapes.iter().position(|shape| match shape {
                Shape::Dashed { area, .. } => area == of,
                other => grid(other) == Some(*of),
            })
        };
        let rows = scene.shapes.iter().filter_map(grid).filter(|row| row.overlaps(*line));
        rows.map(|row| place(&row) < place(line)).collect::<Vec<_>>()
    };
    let orders: Vec<bool> = dashed(&scene, 2.0, &sheet).iter().flat_map(on_grid).collect();
    assert!(!orders.is_empty() && orders.iter().all(|before| *before), "{orders:?}");
}

#[test]
fn the_magnified_strip_holds_the_peak_of_standby_and_says_which_stages_it_does_not_show() {
    let mut profile = profile();
    let volts = profile.feed.nominal.value();
    let standby = &mut profile.phases[0];
    standby.volts_exponent = 0.0;
    standby.mean_power = Envelope { low: 0.002 * volts, typical: 0.005 * volts, high: 0.008 * volts };
    standby.peak_power = Envelope { low: 0.002 * volts, typical: 0.008 * volts, high: 0.018 * volts };
    let options = Options::default();
    let (scene, sheet) = (draw(&profile, &options), sheet(&profile, &options));
    let caption = scene.labels().find(|label| label.text.starts_with("low current")).unwrap().at.1;
    let peaks: Vec<Rect> = dashed(&scene, 2.0, &sheet);
    assert!(peaks.iter().any(|line| line.top > caption), "{peaks:?}");
    assert!(scene.labels().any(|label| label.text == "above this scale" && label.at.1 > caption));
    assert!(scene.labels().any(|label| label.text == "2.00 to 8.00 mA" && label.at.1 > caption));
    // In the main strip the edge of its band hides it.
    // The sample of the legend comes first.
    let in_main = peaks.iter().skip(1).filter(|line| line.top < caption).count();
    assert_eq!(in_main, profile.phases.len() - 1, "{peaks:?}");
}

#[test]
fn volts_that_are_alike_are_said_once_and_few_boards_are_owned_up_to() {
    let mut profile = profile();
    let nominal = profile.feed.nominal.value();
    let mut said = |boards: usize, learned_at: f64| {
        profile.learned.boards = boards;
        profile.learned.feed = Some(Volts::constant(learned_at));
        let labels = labels(&profile, &Options::default());
        let few = labels.iter().any(|label| label.ends_with("few boards, wide bands"));
        (few, labels.iter().any(|label| label.contains("learned at")))
    };
    assert_eq!(said(4, 1.004 * nominal), (true, false));
    assert_eq!(said(5, 1.04 * nominal), (false, true));
}

#[test]
fn on_a_wall_table_and_cautions_have_ten_points() {
    let options = Options { size: Size::A4, dpi: Some(300), ..Options::default() };
    let points = |profile: &Profile| {
        sheet(profile, &options).style(em::USUAL, Weight::Regular, Color(0, 0, 0)).em * 72.0 / 300.0
    };
    assert!(points(&profile()) >= 10.0, "{}", points(&profile()));
    // Of many stages all are listed first.
    assert!(points(&with_stages(20)) < 8.0);
    assert_legible(&draw(&profile(), &options));
}

#[test]
fn a_band_that_runs_out_of_the_magnified_strip_says_how_far() {
    let mut profile = profile();
    let volts = profile.feed.nominal.value();
    let means = [(0.002, 0.005, 0.008, 0.018), (0.015, 0.02, 0.03, 0.04)];
    for (stage, (low, typical, high, peak)) in profile.phases.iter_mut().zip(means) {
        stage.volts_exponent = 0.0;
        stage.mean_power = Envelope { low: low * volts, typical: typical * volts, high: high * volts };
        stage.peak_power = Envelope { low: low * volts, typical: high * volts, high: peak * volts };
    }
    let scene = draw(&profile, &Options::default());
    assert_legible(&scene);
    let arrows = scene.shapes.iter().filter(|shape| matches!(shape, Shape::Polygon { .. })).count();
    assert!(arrows > 0 && scene.labels().any(|label| label.text == "to 30.0 mA"), "{arrows}");
}

#[test]
fn a_number_stands_where_its_band_is_seen_and_in_the_unit_of_the_axis_there() {
    let mut profile = profile();
    let volts = profile.feed.nominal.value();
    let of = |low: f64, typical: f64, high: f64| Envelope {
        low: low * volts,
        typical: typical * volts,
        high: high * volts,
    };
    let loading = profile.phases.iter().position(|phase| phase.name == "loading").unwrap();
    // Standby peaks far above the strip that magnifies it.
    let levels = |place: usize| match place {
        0 => (of(0.002, 0.005, 0.008), of(0.002, 0.008, 0.12)),
        place if place == loading => (of(0.08, 0.3, 0.5), of(0.08, 0.5, 0.99)),
        _ => (of(0.2, 0.3, 0.4), of(0.2, 0.4, 0.5)),
    };
    for (place, stage) in profile.phases.iter_mut().enumerate() {
        let (mean, peak) = levels(place);
        (stage.volts_exponent, stage.mean_power, stage.peak_power) = (0.0, mean, peak);
    }
    let scene = draw(&profile, &Options::default());
    let caption = scene.labels().find(|label| label.text.starts_with("low current")).unwrap().at.1;
    let rows = |text: &str| {
        let labels = scene.labels().filter(|label| label.text == text);
        labels.map(|label| label.at.1 > caption).collect::<Vec<_>>()
    };
    assert_eq!(rows("2.00 to 8.00 mA"), [true], "in the lower strip alone");
    assert!(rows("80.0 to 500 mA").is_empty(), "the axis has amps");
    assert_eq!(rows("0.0800 to 0.500 A"), [false]);
}
