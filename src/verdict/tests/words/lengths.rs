//! A check is read with a probe in the other hand: it is short.

use super::*;
use std::collections::BTreeSet;

/// Words of a check; what stands in brackets are names and examples.
fn words(check: &str) -> usize {
    let check = check.strip_suffix(" (common practice)").unwrap_or(check);
    let mut depth = 0;
    let told = check.chars().filter(|letter| match letter {
        '(' => {
            depth += 1;
            false
        }
        ')' => {
            depth -= 1;
            false
        }
        _ => depth == 0,
    });
    told.collect::<String>().split_whitespace().count()
}

/// What boards of every class do, and of every stage in which they may end.
fn every_class() -> Vec<Vec<(f64, f64, f64)>> {
    let until = |stage: usize| BOOT[..stage].to_vec();
    let with = |mut levels: Vec<(f64, f64, f64)>, more: &[(f64, f64, f64)]| {
        levels.extend(more);
        levels
    };
    let tries = |lasts: &[(f64, f64, f64)], times: usize| {
        let each: Vec<(f64, f64, f64)> = lasts.iter().copied().chain([REST]).collect();
        with(until(2), &each.repeat(times))
    };
    let spike = [RAILS, (1.5, SET_V, 1.0), (0.1, SET_V, 2.6)];
    vec![
        vec![OFF, (20.0, SET_V, 0.0)],
        vec![OFF, (20.0, 0.2, 3.0)],
        vec![OFF, (20.0, 0.8, 3.0)],
        vec![OFF, (20.0, 1.5, 0.3)],
        vec![OFF, (0.6, 0.6, 3.0)],
        vec![OFF, STANDBY, (20.0, 0.6, 3.0)],
        vec![OFF, (20.0, 8.5, 3.0)],
        vec![OFF, (20.0, SET_V, 2.5)],
        vec![OFF, (20.0, SET_V, 0.12)],
        ASLEEP.to_vec(),
        with(tries(&[RAILS], 1), &[(30.0, SET_V, 0.0234)]),
        with(tries(&spike, 1), &[(30.0, SET_V, 0.0234)]),
        tries(&[(0.5, SET_V, 0.172)], 8),
        tries(&[RAILS], 8),
        tries(&spike, 8),
        tries(&[RAILS, (6.0, SET_V, 1.0)], 8),
        tries(&[RAILS, (0.4, 6.0, 0.6)], 8),
        with(until(2), &[(60.0, SET_V, 0.172)]),
        with(until(3), &[(60.0, SET_V, 1.016)]),
        with(until(3), &[(60.0, SET_V, 0.7)]),
        with(until(3), &[(0.5, SET_V, 0.97), (0.5, SET_V, 1.06)].repeat(60)),
        BOOT.to_vec(),
        with(vec![OFF, (4.0, SET_V, 0.08)], &BOOT[2..]),
        falls_to(0.0234),
        falls_to(0.0),
        vec![OFF, (0.6, SET_V, 0.0234)],
        vec![OFF, (50.0, SET_V, 0.9)],
        with(BOOT.to_vec(), &[(30.0, SET_V, 0.625)]),
    ]
}

#[test]
fn no_check_is_longer_than_is_read_at_a_glance() {
    const MOST_WORDS: usize = 25;
    let stages = [
        "memory",
        "disk spin-up",
        "flash",
        "radio",
        "display",
        "loading",
        "bus",
        "motor",
        "heater",
        "loader",
        "firmware",
        "kernel",
        "self-test",
        "core rails",
    ];
    let kinds = [4.0, 5.0, SET_V, 24.0, 36.0];
    let mut classes = BTreeSet::new();
    let mut asked = |finding: Finding| {
        classes.insert(finding.verdict.class);
        for check in &finding.next_checks {
            assert!(words(check) <= MOST_WORDS, "{} words: {check}", words(check));
        }
    };
    for levels in every_class() {
        let starved = levels.iter().any(|(_, volts, _)| (volts - 6.0).abs() < 0.1);
        let limit = if starved { 0.6 } else { 3.0 };
        for presses in [vec![4.5], vec![]] {
            asked(
                bench(&levels)
                    .with(|b| (b.profile, b.presses, b.limit) = (None, presses.clone(), limit))
                    .find(),
            );
            for (kind, point) in kinds.iter().flat_map(|kind| [(kind, "battery connector"), (kind, "inlet")])
            {
                asked(
                    bench(&levels)
                        .with(|b| {
                            b.profile.as_mut().expect("one").feed.nominal = Volts::constant(*kind);
                            (b.feed_point, b.limit) = (Some(point), limit);
                            b.presses.clone_from(&presses);
                        })
                        .find(),
                );
            }
        }
        for name in stages {
            let named = bench(&levels).with(|b| {
                b.limit = limit;
                let known = b.profile.as_mut().expect("one");
                known.phases[2].name = name.into();
                known.power_path[3].proved_by = vec![name.into()];
            });
            asked(named.find());
        }
    }
    assert_eq!(classes.into_iter().collect::<Vec<_>>(), Class::ALL, "every class was asked");
}
