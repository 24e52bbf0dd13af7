//! What to mind before a board is fed or touched, and in which order.

use super::*;

#[test]
fn a_lithium_cell_comes_first_among_the_cautions_and_polarity_and_capacitors_are_always_there() {
    let with = |told: &[&str]| {
        let told: Vec<String> = told.iter().map(|told| (*told).to_owned()).collect();
        bench(&BOOT).with(|b| b.profile.as_mut().expect("one").feed.cautions = told).find().cautions
    };
    let no_reference = bench(&BOOT).with(|b| b.profile = None).find().cautions;
    for cautions in [with(&[]), with(&["Disconnect the machine."]), no_reference] {
        assert!(cautions[0].contains("pack"), "{cautions:?}");
        let all = cautions.join("\n");
        assert!(all.contains("polarity") && all.contains("Capacitors stay charged"), "{all}");
    }
    let hot = bench(&[OFF, (20.0, 4.0, 3.0)]).with(|b| b.limit = 3.0).find().cautions;
    for caution in hot.iter().chain(&with(&["Disconnect the machine."])) {
        let begins = caution.starts_with(char::is_uppercase);
        assert!(begins && caution.ends_with('.') && !caution.ends_with(".."), "one style: {caution}");
    }
    let told = ["Check polarity.", "Capacitors stay charged.", "Take the cell out."];
    let own = with(&told);
    assert_eq!(own[0], "Take the cell out.", "{own:?}");
    let all = own.join("\n").to_lowercase();
    assert_eq!((all.matches("polarity").count(), all.matches("capacitors").count()), (1, 1), "{all}");
    let panel = bench(&BOOT).with(|b| {
        let feed = &mut b.profile.as_mut().expect("one").feed;
        (feed.nominal, feed.point) = (Volts::constant(24.0), "main terminals".into());
        b.feed_point = None;
    });
    assert!(!panel.find().cautions.join("\n").contains("lithium"), "no cell sits in a panel");
}

#[test]
fn fire_is_named_where_the_watts_can_start_one() {
    let short = |volts: f64, amps: f64| {
        bench(&[OFF, (20.0, volts, amps)]).with(|b| b.limit = amps).find().cautions.join("\n")
    };
    let hot = short(4.0, 3.0);
    assert!(
        hot.contains("Up to 12.0 W in one small part, less what the leads take, can start a fire"),
        "{hot}"
    );
    let warm = short(0.6, 3.0);
    assert!(warm.contains("burns skin") && !warm.contains("fire"), "{warm}");
    assert!(!short(0.6, 0.3).contains("burns skin"), "{}", short(0.6, 0.3));
}
