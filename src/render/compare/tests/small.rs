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
