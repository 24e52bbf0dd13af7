//! What is told of the tries that came before, or that were too few for a verdict.

use super::*;

/// A try that ends in loading, and the rest after it.
const TRY: [(f64, f64, f64); 3] = [RAILS, (1.5, SET_V, 1.0), REST];

#[test]
fn a_boot_that_took_several_tries_says_so_and_counts_stages_from_the_last() {
    let levels = [&[OFF, STANDBY][..], &TRY, &TRY, &[RAILS, LOADING, IDLE]].concat();
    let finding = bench(&levels).find();
    class(&finding, Class::FullBoot);
    let said = because(&finding);
    assert!(said.contains("2 tries before it, the last given up at 11.6 s"), "{said}");
    assert_eq!(said.matches("rails ").count(), 1, "{said}");
}

#[test]
fn a_boot_between_tries_that_sag_at_a_limit_too_low_is_no_sound_board() {
    let sag = (0.2, 0.8 * SET_V, 0.98);
    let starved = [RAILS, (1.0, SET_V, 0.9), sag, REST];
    let levels = [&[OFF, STANDBY][..], &starved, &starved, &[RAILS, (8.0, SET_V, 0.96), IDLE]].concat();
    let finding = bench(&levels).with(|b| b.limit = 1.0).find();
    class(&finding, Class::FeedLimited);
}

#[test]
fn two_tries_are_told_even_where_they_carry_no_verdict() {
    let levels = [&[OFF, STANDBY][..], &TRY, &[RAILS, (1.5, SET_V, 1.0), (0.9, SET_V, 0.0234)]].concat();
    let finding = bench(&levels).find();
    class(&finding, Class::Inconclusive);
    let said = because(&finding);
    assert!(said.starts_with("2 tries from 5.0 s to "), "{said}");
}

#[test]
fn how_many_tries_a_cycling_board_gave_up_stands_in_the_verdict() {
    let of = |tries: usize| {
        let levels = [&[OFF, STANDBY][..], &TRY.repeat(tries), &[RAILS, (1.0, SET_V, 1.0)]].concat();
        let finding = bench(&levels).find();
        class(&finding, Class::Cycling);
        finding.verdict.tries
    };
    assert_eq!([of(2), of(4)], [Some(2), Some(4)]);
    assert_eq!(bench(&BOOT).find().verdict.tries, None);
}

#[test]
fn a_stage_that_a_few_tries_show_is_no_place_where_only_those_end() {
    let tries = [[RAILS, REST].repeat(2), [(1.0, SET_V, 0.38), REST].repeat(5)].concat();
    let starved = bench(&[&[OFF, STANDBY][..], &tries].concat()).with(|b| {
        b.limit = 0.6;
        b.profile.as_mut().expect("one").phases[1].peak_power.high = 6.0;
    });
    let starved = starved.find();
    class(&starved, Class::FeedLimited);
    let said = because(&starved);
    assert!(said.contains("tries, of the others the time alone tells"), "{said}");
}

#[test]
fn amps_below_the_limit_are_averages_where_the_volts_give_way_in_most_tries() {
    let tries = |low_a: f64| {
        let low = [RAILS, (0.2, 9.0, low_a), REST];
        let tries = [low.repeat(4), vec![RAILS, (0.2, 6.0, 0.59), REST]].concat();
        because(&bench(&[&[OFF, STANDBY][..], &tries].concat()).with(|b| b.limit = 0.6).find())
    };
    let most = tries(0.45);
    assert!(most.contains("the amps read are averages, in 4 of 5 tries below the limit"), "{most}");
    assert!(!tries(0.59).contains("averages"), "{}", tries(0.59));
}

#[test]
fn a_last_try_that_has_just_come_down_is_not_on_any_more() {
    let start = [RAILS, (3.0, SET_V, 1.0), REST];
    // A reading that averages over the fall stands between the try and its end, and the segments part neither from it.
    let ends_at = |seconds: f64| {
        let last = [RAILS, (3.0, SET_V, 1.0), (0.1, SET_V, 0.2), (seconds, SET_V, 0.0234)];
        let finding = bench(&[&[OFF, STANDBY][..], &start.repeat(4), &last].concat()).find_asked_thrice();
        class(&finding, Class::Cycling);
        assert_eq!(finding.attempts.len(), 5);
        finding.attempts.last().map(|last| (last.given_up, last.end_s.value())).expect("a try")
    };
    for seconds in [0.1, 0.2] {
        let (given_up, end_s) = ends_at(seconds);
        assert!(given_up, "{seconds} s");
        assert!((end_s - 32.1).abs() < 0.05, "{seconds} s: ends at {end_s} s");
    }
    assert!(!ends_at(0.0).0);
}

#[test]
fn a_try_that_the_limit_holds_down_after_a_whole_stage_ends_in_the_next_one() {
    let held = [(0.8, SET_V, 0.172), (2.5, SET_V, 0.6), (0.1, SET_V, 0.7), REST];
    let held = bench(&[&[OFF, STANDBY][..], &held.repeat(3)].concat()).with(|b| b.limit = 0.8).find();
    class(&held, Class::FeedLimited);
    // No stage that a good board has: above rails by far, and well below loading.
    assert_eq!(held.phases[3].name, "attempt");
    for start in &held.attempts {
        assert_eq!(start.ended_in.as_deref(), Some("loading"), "{start:?}");
    }
}

#[test]
fn what_lasts_for_seconds_at_the_end_of_a_try_is_no_spike() {
    let ends = |seconds: f64| {
        let try_ = [RAILS, (7.0, SET_V, 1.0), (seconds, SET_V, 2.4), REST];
        because(&bench(&[&[OFF, STANDBY][..], &try_.repeat(3)].concat()).find())
    };
    assert!(ends(0.2).contains("a spike at the very end"), "{}", ends(0.2));
    assert!(!ends(1.0).contains("spike"), "{}", ends(1.0));
}
