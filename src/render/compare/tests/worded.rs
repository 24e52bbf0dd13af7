//! What a comparison says in sentences, and in one wording.

use super::*;

#[test]
fn what_is_read_out_says_of_which_log_it_is_and_reads_as_a_sentence() {
    let (mut short, after, profile) = (stalled(), booted(), profile());
    short.1.verdict.class = Class::Inconclusive;
    short.1.verdict.because =
        vec!["1.4 s of feed were captured".into(), "it ends 1.4 s after switch-on".into()];
    short.1.phases.truncate(2);
    let said = draw(subjects(&short, &after, Some(&profile)), &Options::default()).unwrap().description;
    let rails = "rails: in the log before, it ends first; in the log after, 0.190 A, 0.7 s; the log before ends first: \
                 not compared.";
    assert!(said.contains(rails), "{said}");
    assert!(!said.contains("before log"), "{said}");
}

#[test]
fn a_level_that_is_none_of_good_boards_has_one_wording_in_note_and_table() {
    let (mut before, after, profile) = (stalled(), booted(), profile());
    for phase in before.1.phases.iter_mut().filter(|phase| phase.name == "firmware") {
        (phase.mean_a, phase.max_a) = (Amps::constant(1.4), Amps::constant(1.4));
    }
    before.0 = retraced(&before.1);
    let scene = draw(subjects(&before, &after, Some(&profile)), &Options::default()).unwrap();
    let said: Vec<&str> = scene.labels().map(|label| label.text.as_str()).collect();
    let wording = "above good boards' mean";
    assert_eq!(said.iter().filter(|text| text.contains(wording)).count(), 2, "{said:?}");
    assert!(!said.iter().any(|text| text.contains("the band of")), "{said:?}");
}

#[test]
fn what_good_boards_draw_is_as_fine_as_the_finer_of_both_readbacks() {
    let (mut fine, coarse, profile) = (booted(), booted(), profile());
    fine.1.log.resolution_a = Amps::new(0.0001).ok();
    let good = |before: &(Trace, Finding), after: &(Trace, Finding)| {
        let found = differences::differences(subjects(before, after, Some(&profile)));
        found.into_iter().find(|difference| difference.stage == "standby").unwrap().good
    };
    let as_fine = good(&fine, &fine);
    assert_ne!(good(&coarse, &coarse), as_fine);
    assert_eq!([good(&fine, &coarse), good(&coarse, &fine)], [as_fine.clone(), as_fine]);
}
