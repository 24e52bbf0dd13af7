//! What a small comparison says, and names that are cut.

use super::*;

#[test]
fn on_the_smallest_figure_the_words_beside_the_deadline_say_what_it_means() {
    let (before, after, profile) = (stalled(), booted(), profile());
    let said = |size: Size| {
        let options = Options { size, ..Options::default() };
        let scene = draw(subjects(&before, &after, Some(&profile)), &options).unwrap();
        let said = |words: &str| scene.labels().any(|label| label.text.starts_with(words));
        [said("overdue in firmware from here: "), said("stuck in firmware: ")]
    };
    assert_eq!(said(Size::new(480, 360).unwrap()), [true, false]);
    assert_eq!(said(Size::WIDE), [false, true]);
}

#[test]
fn a_name_that_ends_in_an_ellipsis_of_its_own_is_not_cut() {
    let run = run(
        0.0,
        &[("off", 2.0, 0.0), (":…", 30.0, 0.4), ("::::::::::::::::::::::::", 31.0, 0.5)],
        Class::Stalled,
    );
    for size in sizes() {
        let options = Options { size, ..Options::default() };
        let scene = draw(subjects(&run, &run, None), &options).unwrap();
        let labels: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
        assert!(labels.contains(&":…"), "{size}: {labels:?}");
        let cut = labels
            .iter()
            .find(|text| text.ends_with('…') && **text != ":…" && !text.contains(char::is_alphanumeric));
        assert_eq!(cut, None, "{size}");
    }
}

#[test]
fn how_sure_a_verdict_is_stands_behind_what_is_wrong_where_the_title_has_no_room() {
    // So little is drawn that the scales differ, and that takes the row of the title with the zero.
    let before = run(0.0, &[("off", 2.0, 0.0), ("standby", 60.0, 0.09)], Class::ExcessStandby);
    let (after, profile) = (booted(), profile());
    let options = Options { size: Size::new(480, 360).unwrap(), ..Options::default() };
    let scene = draw(subjects(&before, &after, Some(&profile)), &options).unwrap();
    assert_legible(&scene);
    let sure = scene.labels().filter(|label| label.text.contains("% sure")).count();
    assert_eq!(sure, 2, "{:?}", scene.labels().map(|label| &label.text).collect::<Vec<_>>());
}

#[test]
fn that_a_run_goes_on_when_the_picture_ends_is_said_at_every_size() {
    // A capture of three seconds has the picture end long before the other does.
    let (mut brief, long, profile) = (stalled(), booted(), profile());
    brief.1.phases.truncate(2);
    brief.1.phases[1].end_s = Seconds::constant(3.0);
    brief.0 = trace(30, 3.0, |_| 0.03);
    let said = |before: &(Trace, Finding), size: Size| {
        let options = Options { size, ..Options::default() };
        let scene = draw(subjects(before, &long, Some(&profile)), &options).unwrap();
        scene.labels().map(|label| label.text.clone()).collect::<Vec<_>>()
    };
    for size in sizes() {
        let cut = said(&brief, size);
        let beyond = cut.iter().position(|text| text == "goes on").and_then(|at| cut.get(at + 1));
        assert_eq!(beyond.map(String::as_str), Some("after to 55.0 s"), "{size}: {cut:?}");
        assert!(!said(&long, size).contains(&"goes on".to_owned()), "{size}");
    }
}
