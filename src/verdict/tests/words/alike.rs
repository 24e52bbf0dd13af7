//! Tries that look alike: from where they are timed, where they end, and what they end in.

use super::ends::good_log;
use super::*;
use crate::reference::Envelope;

/// Tries of `levels` after a standby, with a rest after each.
fn tries(levels: &[&[(f64, f64, f64)]]) -> Bench {
    let all = levels.iter().flat_map(|levels| [levels, &[REST][..]].concat());
    bench(&[OFF, STANDBY].into_iter().chain(all).collect::<Vec<_>>())
}

/// A board that starts with its feed: what the others call standby is its first stage, and waits for nobody.
fn starts_with_its_feed(levels: &[(f64, f64, f64)]) -> Finding {
    let unasked = |b: &mut Bench| {
        b.presses.clear();
        let known = b.profile.as_mut().expect("one");
        let duration = known.phases[1].duration;
        let first = &mut known.phases[0];
        (first.name, first.waits_for_person, first.duration) = ("reset".into(), false, duration);
    };
    bench(levels).with(unasked).find()
}

#[test]
fn tries_are_timed_from_the_step_that_all_of_them_show() {
    let (wait, rest) = ((1.2, SET_V, 0.0234), (1.5, SET_V, 0.012));
    let [first, other] = [[wait, RAILS], [(0.1, SET_V, 0.172), RAILS]];
    let said = |levels: &[(f64, f64, f64)]| because(&starts_with_its_feed(levels));
    let skipped = [&[OFF][..], &first, &[rest], &other[1..], &[(40.0, SET_V, 0.012)]].concat();
    let skipped = said(&skipped);
    // The steps to 0.172 A are at 2.2 and 4.5 s.
    assert!(skipped.contains("2 tries from 2.2 s to 5.3 s, starts 2.3 s apart"), "{skipped}");
    assert!(skipped.contains("each ends 0.8 s after its wake") && skipped.contains("rails"), "{skipped}");
    // Where each shows the wait, it is part of them.
    let shown = [&[OFF][..], &first, &[rest], &first, &[(40.0, SET_V, 0.012)]].concat();
    let shown = said(&shown);
    assert!(shown.contains("2 tries from 1.0 s to"), "{shown}");
}

#[test]
fn the_hint_says_when_the_spike_begins_and_names_a_step_that_good_boards_come_to_then() {
    let spike: [(f64, f64, f64); 2] = [(2.0, SET_V, 0.172), (0.2, SET_V, 0.6)];
    let finding = |count: usize, rails_s: f64| {
        let lasting = good_log("rails", |rails| rails.duration = Some(rails_s));
        let end = [(40.0, SET_V, 0.0234)];
        let known = |b: &mut Bench| {
            let known = b.profile.as_mut().expect("one");
            known.learned.logs = vec![lasting];
            known.phases[1].duration = Some(Envelope { low: 1.3, typical: 2.2, high: 3.5 });
            b.levels.extend(end);
        };
        tries(&vec![&spike[..]; count]).with(known).find()
    };
    let several = finding(4, 2.0);
    let hint = checks(&several);
    assert!(hint.contains("comes on about 2.0 s after the wake, for a spike ends the tries"), "{hint}");
    assert_eq!(several.verdict.step_into.as_deref(), Some("loading"), "{}", because(&several));
    assert_eq!(finding(4, 3.0).verdict.step_into, None);
    let one = checks(&finding(1, 2.0));
    assert!(one.contains("about 2.0 s after the wake, for a spike ends the try (common"), "{one}");
}

#[test]
fn a_try_that_comes_to_the_level_of_a_stage_when_the_others_do_ends_there() {
    let whole = [RAILS, (2.5, SET_V, 1.0)];
    let cut = |amps: f64| because(&tries(&[&[RAILS, (0.1, SET_V, amps)], &whole, &whole, &whole]).find());
    let shown = cut(1.0);
    assert!(shown.contains("after its wake, in loading"), "{shown}");
    // One that the level does not last in is told by the others.
    let (whole_too, brief) = ([RAILS, (0.5, SET_V, 1.0)], [RAILS, (0.2, SET_V, 1.0), (0.3, SET_V, 0.5)]);
    let brief = because(&tries(&[&brief, &whole_too, &whole_too, &whole_too]).find());
    assert!(brief.contains("in loading") && !brief.contains("the time alone tells"), "{brief}");
    // At no level of the stage there is nothing to go by.
    let not = cut(0.4);
    assert!(not.contains("mostly in loading (3 of 4)"), "{not}");
    // Nor at another time than the others.
    let early = because(&tries(&[&[(0.1, SET_V, 1.0), RAILS], &whole, &whole, &whole]).find());
    assert!(early.contains("mostly in loading (3 of 4)"), "{early}");
}

#[test]
fn most_tries_that_rise_before_they_go_off_are_said_to() {
    let level = [RAILS, (2.0, SET_V, 1.0)];
    let rises = [RAILS, (2.0, SET_V, 1.0), (0.2, SET_V, 1.5)];
    let finding = |rising: usize| {
        let all: Vec<&[(f64, f64, f64)]> =
            (0..6).map(|index| if index < rising { &rises[..] } else { &level[..] }).collect();
        tries(&all).find()
    };
    let most = finding(4);
    let said = because(&most);
    assert!(said.contains("in at least 4 of 6 tries a rise at the very end from a level of 1."), "{said}");
    assert!(
        checks(&most).contains("2.8 s after the wake, for most tries end in a rise"),
        "{}",
        checks(&most)
    );
    let half = finding(3);
    assert!(!because(&half).contains("a rise") && !checks(&half).contains("a rise"), "{}", because(&half));
}

/// Eight tries of a board that each read these amps after their rails.
fn tries_that_read(loading: &[f64]) -> Finding {
    let each: Vec<(f64, f64, f64)> =
        std::iter::once(RAILS).chain(loading.iter().map(|amps| (0.1, SET_V, *amps))).collect();
    tries(&[&each[..]; 8]).find()
}

#[test]
fn a_rise_that_is_little_but_ends_every_try_is_said_and_where_to_look_with_it() {
    let busy = [1.0, 1.04, 0.97, 1.02, 0.99, 1.05, 0.96, 1.01, 0.98, 1.03, 1.0, 1.04, 0.97, 1.02];
    let rising = tries_that_read(&[&busy[..], &[1.24]].concat());
    class(&rising, Class::Cycling);
    let said = because(&rising);
    assert!(said.contains("peaks of 1.2"), "{said}");
    assert!(said.contains("each a rise at the very end from a level of 1.0"), "{said}");
    let hint = checks(&rising);
    assert!(hint.contains("about 2.2 s after the wake, for every try ends in a rise"), "{hint}");
    // What the load scatters by, or climbs by all the time, is none.
    let climbing: Vec<f64> = (0..25).map(|index| 0.9 + 0.02 * f64::from(index)).collect();
    for even in [[&busy[..], &[1.06]].concat(), climbing] {
        let even = tries_that_read(&even);
        assert!(
            !because(&even).contains("very end") && !checks(&even).contains("rise"),
            "{}",
            because(&even)
        );
    }
}

#[test]
fn one_brief_try_whose_last_readings_are_beyond_its_stage_ends_in_a_spike() {
    let ends = |amps: f64| {
        let brief = [(0.3, SET_V, 0.125), (0.1, SET_V, amps), (0.1, SET_V, 0.5 * amps)];
        let latched = tries(&[&brief]).with(|b| b.levels.push((40.0, SET_V, 0.0234))).find();
        class(&latched, Class::LatchOff);
        latched
    };
    let spike = ends(0.9);
    assert!(because(&spike).contains("0.900 A, a spike at its very end,"), "{}", because(&spike));
    assert!(
        checks(&spike).contains("about 0.3 s after the wake, for a spike ends the try"),
        "{}",
        checks(&spike)
    );
    // Good boards peak at 0.275 A in rails.
    assert!(!because(&ends(0.262)).contains("spike"), "{}", because(&ends(0.262)));
}

#[test]
fn what_a_try_has_come_to_before_is_no_spike_at_its_very_end() {
    let ends = |before: f64| {
        let levels = [RAILS, (0.3, SET_V, before), (2.0, SET_V, 0.4), (0.2, SET_V, 1.0)];
        because(&tries(&[&levels[..]; 4]).find())
    };
    assert!(ends(0.4).contains("a spike at the very end"), "{}", ends(0.4));
    assert!(!ends(0.95).contains("very end"), "{}", ends(0.95));
}

#[test]
fn a_press_starts_no_board_that_needs_none() {
    let at = |volts: f64| {
        let mut fed = tries(&[&[RAILS, (1.5, SET_V, 1.0)][..]; 4]);
        super::presses::panel(&super::presses::REGULAR)(&mut fed);
        fed.profile.as_mut().expect("one").feed.nominal = Volts::constant(volts);
        because(&fed.find())
    };
    assert!(at(SET_V).contains("the press at 4.5 s starts the first"), "{}", at(SET_V));
    let unasked = at(24.0);
    assert!(unasked.contains("the first comes 0.5 s after the press at 4.5 s"), "{unasked}");
    assert!(!unasked.contains("starts"), "{unasked}");
}

#[test]
fn a_board_that_good_ones_wait_with_is_not_said_to_start_by_itself() {
    let asleep = |waits: bool| {
        let known = |b: &mut Bench| {
            let known = b.profile.as_mut().expect("one");
            known.feed.nominal = Volts::constant(5.0);
            known.phases[0].waits_for_person = waits;
        };
        checks(&bench(&[OFF, (30.0, SET_V, 0.0234)]).with(known).find())
    };
    assert!(asleep(true).contains("good boards wait for a person"), "{}", asleep(true));
    assert!(!asleep(true).contains("start by itself"), "{}", asleep(true));
    assert!(asleep(false).contains("it should start by itself"), "{}", asleep(false));
}

#[test]
fn no_check_is_built_on_a_difference_that_the_readings_do_not_carry() {
    let latched = |after: &[(f64, f64, f64)]| {
        let levels = [&[OFF, (4.0, SET_V, 0.005), RAILS, (1.0, SET_V, 0.4)][..], &after.repeat(100)].concat();
        let known = |b: &mut Bench| {
            let standby = &mut b.profile.as_mut().expect("one").phases[0];
            standby.mean_power = Envelope { low: 0.01, typical: 0.045, high: 0.08 };
        };
        bench(&levels).with(known).find()
    };
    // The log is read in steps of 1 mA: 5 mA before, then 2 mA, or 3 and 4 mA in turn.
    let far = latched(&[(0.4, SET_V, 0.002)]);
    let near = latched(&[(0.2, SET_V, 0.003), (0.2, SET_V, 0.004)]);
    class(&far, Class::LatchOff);
    assert!(checks(&far).contains("went off as well"), "{}", checks(&far));
    assert!(because(&far).contains("3 mA less than the 5 mA before its first start"), "{}", because(&far));
    assert!(!checks(&near).contains("went off as well"), "{}", checks(&near));
    assert!(!because(&near).contains("less than"), "{}", because(&near));
}

#[test]
fn what_one_of_many_tries_shows_is_not_said_of_the_board() {
    let usual: &[(f64, f64, f64)] = &[(1.2, SET_V, 0.172), (3.0, SET_V, 1.016)];
    let high: &[(f64, f64, f64)] = &[(1.2, SET_V, 0.235), (3.0, SET_V, 1.016)];
    let rails_of = |levels: &[&[(f64, f64, f64)]]| {
        let finding = tries(levels).find();
        class(&finding, Class::Cycling);
        finding.departures.iter().filter(|d| d.phase == "rails" && d.unit == "A").count()
            + finding.limits.iter().filter(|limit| limit.contains("whether rails draws")).count()
    };
    assert_eq!(rails_of(&[usual, high, usual, usual]), 0);
    assert_eq!(rails_of(&[high; 4]), 1);
}

#[test]
fn tries_that_are_mostly_edges_are_said_to_be_within_a_time() {
    let of = |seconds: f64| {
        let levels: &[(f64, f64, f64)] = &[(seconds, SET_V, 0.3)];
        because(&tries(&[levels; 6]).find())
    };
    assert!(of(0.2).contains("each ends within about 0."), "{}", of(0.2));
    assert!(of(1.0).contains("each ends 1.0 s after its wake"), "{}", of(1.0));
}
