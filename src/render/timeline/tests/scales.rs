//! How much of time and amps a timeline shows.

use super::*;

#[test]
fn minutes_before_the_feed_are_left_out_and_counted() {
    let trace = trace(600, 60.0, |index| if index < 480 { 0.0 } else { 0.8 });
    let mut finding = finding(vec![phase("off", 0.0, 48.0), phase("boot", 48.0, 60.0)]);
    finding.departures.clear();
    let said = |options: &Options| {
        let scene = draw(&trace, None, &finding, options).unwrap();
        assert_legible(&scene);
        scene.labels().map(|label| label.text.clone()).collect::<Vec<_>>()
    };
    // The fixture's button is pressed at 60 s / 7, and what somebody marked is shown.
    assert!(!said(&Options::default()).iter().any(|text| text.contains("not shown")));
    let close = Options { from: Seconds::new(47.0).ok(), ..Options::default() };
    assert!(said(&close).contains(&"off, 47.0 s not shown".to_owned()), "{:?}", said(&close));
}

#[test]
fn a_wide_envelope_is_cut_and_does_not_flatten_the_trace() {
    let mut profile = profile();
    let rails = &mut profile.phases[1];
    rails.mean_power = crate::reference::Envelope { low: 2.0, typical: 10.0, high: 90.0 };
    rails.duration = None;
    let name = rails.name.clone();
    let trace = trace(600, 60.0, |_| 0.8);
    let mut finding = finding(vec![phase(&name, 0.0, 60.0)]);
    finding.departures.clear();
    finding.verdict.class = Class::FullBoot;
    let scene = draw(&trace, Some(&profile), &finding, &Options::default()).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    assert!(said.iter().any(|text| text.starts_with("to 7.")), "{said:?}");
    assert!(!said.iter().any(|text| ["4", "6", "4 A", "6 A", "5 A"].contains(text)), "{said:?}");
    assert_legible(&scene);
}
