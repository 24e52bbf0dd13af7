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
