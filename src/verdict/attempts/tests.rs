//! How starts are told apart and taken together.

use super::*;

fn start(from: f64, to: f64, stage: Option<&str>, given_up: bool) -> Attempt {
    Attempt {
        start_s: Seconds::constant(from),
        end_s: Seconds::constant(to),
        ended_in: stage.map(Into::into),
        likely_in: stage.map(Into::into),
        earliest_in: None,
        peak_a: Amps::constant(1.0 + from / 10.0),
        lowest_v: Volts::constant(12.0),
        given_up,
    }
}

#[test]
fn a_start_that_is_still_on_is_no_try_but_tells_the_period() {
    let all = [
        start(1.0, 2.0, Some("rails"), true),
        start(4.0, 5.2, Some("firmware"), true),
        start(8.0, 9.0, Some("firmware"), true),
        start(11.0, 11.5, None, false),
    ];
    let tries = Tries::of(&all, &[]).expect("three tries");
    assert_eq!((tries.count, tries.one_is_on), (3, true));
    assert_eq!((tries.ended_in.as_deref(), tries.ended_there), (Some("firmware"), 2));
    let every = tries.every_s.expect("a period");
    assert!((every.low - 3.0).abs() < 1e-9 && (every.high - 4.0).abs() < 1e-9, "{every:?}");
    assert!((tries.lasts_s.high - 1.2).abs() < 1e-9 && (tries.peak_a.high - 1.8).abs() < 1e-9);
}

#[test]
fn a_gap_in_a_start_that_is_longer_than_the_others_may_hide_a_rest() {
    let start = |from: f64, to: f64| start(from, to, Some("rails"), true);
    let gap = |from, to| [Gap { start_s: Seconds::constant(from), end_s: Seconds::constant(to) }];
    let tries = || vec![start(1.0, 1.5), start(3.0, 3.5), start(5.0, 7.5), start(9.0, 9.5)];
    let parted = parted_by_gaps(tries(), &gap(5.4, 7.0));
    assert_eq!(parted.len(), 5);
    assert!((parted[2].end_s.value() - 5.4).abs() < 1e-9 && (parted[3].start_s.value() - 7.0).abs() < 1e-9);
    assert_eq!(parted_by_gaps(tries(), &gap(5.4, 5.5)).len(), 4, "too short for a rest");
    assert_eq!(parted_by_gaps(tries(), &gap(2.0, 2.9)).len(), 4, "between two starts");
    let alike = vec![start(1.0, 4.0), start(6.0, 9.0), start(11.0, 14.0)];
    assert_eq!(parted_by_gaps(alike, &gap(7.0, 8.0)).len(), 3, "as long as the others");
}

#[test]
fn what_the_readback_shows_of_its_own_noise_is_no_start() {
    let faint = Attempt { peak_a: Amps::constant(0.005), ..start(3.0, 3.5, None, true) };
    let starts = without_blips(vec![start(1.0, 2.0, None, true), faint, start(5.0, 6.0, None, true)]);
    assert_eq!(starts.len(), 2, "{starts:?}");
}

#[test]
fn a_dip_parts_no_start_and_an_edge_is_none() {
    let all = [
        start(1.0, 1.02, None, true),
        start(1.5, 2.5, Some("rails"), true),
        start(2.6, 4.0, None, true),
        start(6.0, 7.0, Some("rails"), false),
    ];
    let starts = without_blips(all.into_iter().fold(Vec::new(), joined));
    let spans: Vec<(f64, f64)> = starts.iter().map(|s| (s.start_s.value(), s.end_s.value())).collect();
    assert_eq!(spans, [(1.5, 4.0), (6.0, 7.0)]);
    assert_eq!(starts[0].ended_in.as_deref(), Some("rails"));
    assert!(starts[0].given_up && !starts[1].given_up);
    assert_eq!(without_blips(vec![start(1.0, 1.02, None, true)]).len(), 1, "nothing else to count");
}

#[test]
fn a_board_that_stays_on_gave_up_nothing() {
    assert_eq!(Tries::of(&[start(1.0, 9.0, Some("idle"), false)], &[]), None);
    assert_eq!(Tries::of(&[], &[]), None);
}

#[test]
fn one_try_has_no_period() {
    let tries = Tries::of(&[start(1.0, 2.0, None, true)], &[]).expect("a try");
    assert_eq!((tries.count, tries.every_s, tries.ended_in), (1, None, None));
}

#[test]
fn a_try_that_shows_no_stage_outvotes_none_that_does() {
    let all =
        [start(1.0, 2.0, None, true), start(4.0, 5.0, None, true), start(7.0, 8.0, Some("rails"), true)];
    let tries = Tries::of(&all, &[]).expect("tries");
    assert_eq!((tries.ended_in.as_deref(), tries.ended_there), (Some("rails"), 1));
}

#[test]
fn a_start_that_a_gap_cuts_has_no_length_and_no_peak_that_is_known() {
    let all = [
        start(1.0, 2.0, None, true),
        start(4.0, 6.0, None, true),
        start(9.0, 10.0, None, true),
        start(13.0, 14.0, None, true),
    ];
    let gap = [Gap { start_s: Seconds::constant(5.5), end_s: Seconds::constant(6.5) }];
    let cut = Tries::of(&all, &gap).expect("tries");
    assert!((cut.lasts_s.high - 1.0).abs() < 1e-9 && (cut.peak_a.low - 1.1).abs() < 1e-9, "{cut:?}");
    assert_eq!(cut.count, 4);
    let whole = Tries::of(&all, &[]).expect("tries");
    assert!((whole.lasts_s.high - 2.0).abs() < 1e-9, "{whole:?}");
    let none_read = Tries::of(&all[1..2], &gap).expect("a try");
    assert!((none_read.lasts_s.high - 2.0).abs() < 1e-9, "as far as was read: {none_read:?}");
}

#[test]
fn a_start_that_a_gap_hides_is_no_longer_time_from_start_to_start() {
    let at = |times: &[f64]| -> Vec<Attempt> {
        times.iter().map(|from| start(*from, from + 0.5, Some("rails"), true)).collect()
    };
    let gap = |from, to| [Gap { start_s: Seconds::constant(from), end_s: Seconds::constant(to) }];
    let starts = at(&[1.0, 2.5, 4.0, 7.0, 8.5]);
    let every = |gaps: &[Gap]| Tries::of(&starts, gaps).and_then(|tries| tries.every_s).expect("a period");
    let hidden = every(&gap(5.2, 6.2));
    assert!((hidden.mean - 1.5).abs() < 1e-9 && (hidden.high - 1.5).abs() < 1e-9, "{hidden:?}");
    assert_eq!(hidden_in_gaps(&starts, &gap(5.2, 6.2)), [0, 0, 1, 0]);
    // Too short a gap hides nothing, and what was read is as long as it is.
    for gaps in [&gap(5.2, 5.3)[..], &[]] {
        let read = every(gaps);
        assert!((read.mean - 1.875).abs() < 1e-9 && (read.high - 3.0).abs() < 1e-9, "{read:?}");
    }
}

#[test]
fn a_rest_may_be_read_half_a_step_too_high_and_no_stage_is_one() {
    // Readings of 10 mA at 9 V, in steps of 5 mA, beside a standby of up to 8 mA and rails of 40 mA.
    let (standby, read, half_a_step) = (0.072, 0.09, 0.0225);
    assert!(down_below(standby, half_a_step, 0.4, 0.36) >= read);
    assert!(down_below(standby, 0.0, 0.4, 0.36) < read, "of finer readings");
    assert!(down_below(standby, 0.2, 0.4, 0.36) < 0.2, "half the way to the lowest stage is awake");
}

#[test]
fn the_charge_of_the_capacitors_is_no_start() {
    let first = |peak_a: f64| {
        let first = Attempt { peak_a: Amps::constant(peak_a), ..start(1.1, 1.4, None, true) };
        let later = [2.4, 4.4, 6.1].map(|from| start(from, from + 0.8, None, true));
        without_the_rise([&[first][..], &later].concat(), 2.0).len()
    };
    assert_eq!((first(0.2), first(1.1)), (3, 4));
    let later = without_the_rise([2.4, 4.4, 6.1].map(|from| start(from, from + 0.8, None, true)).into(), 2.0);
    assert_eq!(later.len(), 3);
}

#[test]
fn a_rest_at_the_beginning_parts_no_start_from_the_rest_before_it_but_the_rise_of_the_feed_from_the_first() {
    let rests = || vec![10..14, 30..40];
    let (rise, standby) = (parting(rests(), 10, true), parting(rests(), 10, false));
    assert_eq!((rise.len(), rise[0].start), (1, 30), "the slow rise of a start");
    assert_eq!((standby.len(), standby[0].start), (2, 10), "standby after switch-on");
}

#[test]
fn one_reading_as_the_feed_comes_up_is_no_try_of_a_board_of_which_little_was_read() {
    let first = |to: f64, given_up: bool| vec![start(2.5, to, None, given_up), start(3.1, 3.3, None, false)];
    assert_eq!(without_a_charge(first(2.625, true), 2.4, 0.125).len(), 1);
    assert_eq!(without_a_charge(first(2.9, true), 2.4, 0.125).len(), 2, "several readings");
    assert_eq!(without_a_charge(first(2.625, true), 1.0, 0.125).len(), 2, "later");
    assert_eq!(without_a_charge(first(2.625, false), 2.4, 0.125).len(), 2, "on when the log ends");
}
