//! Boards whose running level is busy, as far as a technician would trust a verdict on them: learned from good boards, then
//! judged on others.
//!
//! The boards are invented; their load wanders as loads do that software makes (each reading keeps nine tenths of the last
//! one's deviation).

use feedtale::reference::{Capture, Profile, Request, learn};
use feedtale::trace;
use feedtale::verdict::{Class, Sources, Verdict, diagnose};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::fmt::Write;
use std::ops::Range;

/// Watts, seconds, and the standard deviation of the log of its load, of a stage.
type Stage = (f64, f64, f64);

const SET_V: f64 = 12.8;

/// How long a reading of the supply takes, in seconds.
const PERIOD_S: f64 = 0.1;

/// The log of a unit of a board with `stages`.
fn log(seed: u64, stages: &[Stage]) -> Capture {
    const KEPT: f64 = 0.9;
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let board = 1.0 + random.random_range(-0.04..0.04);
    let mut text = format!("# log: 1\n# board: larch-7\n# serial: L{seed}\n# set_v: {SET_V}\n# limit_a: 3\n");
    text.push_str("t_s,volts,amps\n");
    let (mut time, mut wander) = (0.0_f64, 0.0_f64);
    for (index, (watts, seconds, busy)) in stages.iter().enumerate() {
        let spread = if index == 0 { 0.5 } else { 0.08 };
        let ends = time + seconds * (1.0 + random.random_range(-spread..spread));
        while time < ends {
            // Uniform noise of ±√3 has a variance of 1.
            let news = 3.0_f64.sqrt() * random.random_range(-1.0..1.0);
            wander = KEPT * wander + (1.0 - KEPT * KEPT).sqrt() * news;
            let amps = watts * board * (busy * wander).exp() / SET_V;
            let _ = writeln!(text, "{time:.3},{SET_V:.3},{amps:.4}");
            time += PERIOD_S;
        }
    }
    let log = trace::read(text.as_bytes()).expect("a log");
    Capture { name: format!("board-{seed}.csv"), sha256: log.sha256, trace: log.trace }
}

fn profile(stages: &[Stage]) -> Profile {
    let good: Vec<Capture> = (1..=5).map(|seed| log(seed, stages)).collect();
    let request = Request { board: "larch-7".into(), date: "2026-03-02".into(), ..Request::default() };
    learn(&good, &request).expect("a profile").profile
}

/// Checks the verdict on a unit with `stages` for each of `seeds`.
fn each(seeds: Range<u64>, stages: &[Stage], profile: &Profile, right: impl Fn(&Verdict) -> bool) {
    for seed in seeds {
        let verdict = diagnose(&log(seed, stages).trace, Some(profile), &Sources::default()).verdict;
        assert!(right(&verdict), "board {seed}: {verdict:?}");
    }
}

fn booted(verdict: &Verdict) -> bool {
    verdict.class == Class::FullBoot
}

/// A short calm stage close below a running level that goes down to it again and again.
const CLOSE: [Stage; 6] = [
    (0.3, 4.0, 0.0),
    (8.0, 1.1, 0.05),
    (17.0, 4.0, 0.05),
    (13.0, 4.2, 0.05),
    (7.4, 2.8, 0.05),
    (9.8, 28.0, 0.2),
];

#[test]
fn a_busy_running_level_close_above_the_stage_before_is_reached() {
    let profile = profile(&CLOSE);
    each(11..27, &CLOSE, &profile, booted);
}

/// ... and one that is half of what the stage before draws, which is busy too.
const APART: [Stage; 5] =
    [(0.3, 4.0, 0.0), (2.4, 0.9, 0.05), (8.0, 4.0, 0.05), (15.0, 3.0, 0.2), (6.5, 28.0, 0.2)];

#[test]
fn a_board_that_stays_where_the_stage_before_is_has_not_booted_however_busy_it_is() {
    let profile = profile(&APART);
    let mut stuck = APART[..4].to_vec();
    stuck[3].1 = 45.0;
    each(11..27, &stuck, &profile, |verdict| verdict.class == Class::Stalled);
}

/// A board that waits for nobody, whose running level is low and dips below its first stage now and then: no rest is known to
/// compare with.
#[test]
fn a_dip_of_the_running_level_is_no_start_from_anew() {
    let at_once =
        [(7.0, 1.1, 0.05), (17.0, 4.0, 0.05), (24.0, 3.0, 0.05), (13.0, 4.2, 0.05), (10.0, 28.0, 0.2)];
    let profile = profile(&at_once);
    let mut low = at_once;
    low[4].0 = 7.0;
    each(11..141, &low, &profile, booted);
}

/// A board that is stuck in a stage below the next: there is no step up, so that it is not in the next, however long it stays.
#[test]
fn a_board_is_stuck_in_the_stage_that_it_stepped_to() {
    let good = [
        (0.3, 4.0, 0.0),
        (9.0, 0.95, 0.02),
        (21.0, 6.0, 0.03),
        (17.0, 6.7, 0.1),
        (31.0, 9.6, 0.2),
        (10.0, 25.0, 0.05),
    ];
    let profile = profile(&good);
    let stuck = [good[0], good[1], good[2], (18.0, 55.0, 0.13)];
    each(11..71, &stuck, &profile, |verdict| verdict.stalled_in.as_deref() == Some("stage 3"));
}
