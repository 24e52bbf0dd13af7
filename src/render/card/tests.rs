//! The card of a profile.

use super::super::fixtures::{any_options, assert_legible, profile, sizes};
use super::*;
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
    let feed = ["battery connector", "13.0 V", "11.2 to 14.0 V", "3.50 A", "5 good boards, 6 captures"];
    for text in
        feed.into_iter().chain(["Unplug the battery pack", "check polarity", "Capacitors on the board"])
    {
        assert!(has(text), "{text} in {labels:#?}");
    }
}

#[test]
fn the_amps_are_the_profile_s_watts_at_the_usual_feed() {
    // 15.48 to 22.9 W of the profile's loading stage at 13.0 V, divided by hand.
    let labels = labels(&profile(), &Options::default());
    assert!(labels.iter().any(|label| label == "1.19 to 1.76 A"), "{labels:#?}");
}

#[test]
fn labels_keep_apart_at_every_size() {
    for size in sizes() {
        assert_legible(&draw(&profile(), &Options { size, ..Options::default() }));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]
    #[test]
    fn whatever_the_profile_says_labels_keep_apart(
        options in any_options(),
        names in prop::collection::vec("[a-z ]{1,60}|\\PC{0,20}", 1..21),
        cautions in prop::collection::vec("[a-z ]{0,300}", 0..9),
        words in "\\PC{0,200}",
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
