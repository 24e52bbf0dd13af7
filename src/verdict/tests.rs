//! Each class as a physical statement, on hand-made traces of an invented board.

use super::readout::Readout;
use super::run::{Run, runs};
use super::{Class, Finding, Live, Sources, diagnose};
use crate::reference::{Envelope, Profile};
use crate::segment::{Settings, segment};
use crate::trace::{EventKind, Header, Mode, Sample, Trace, TraceBuilder};
use crate::units::{Amps, Seconds, Volts};

mod long_runs;
mod odd_logs;
mod words;

/// Readback period of the supply in these traces, in seconds.
const PERIOD_S: f64 = 0.1;

pub(super) const SET_V: f64 = 12.8;

pub(super) fn profile() -> Profile {
    Profile::from_toml(&profile_text()).expect("a valid profile")
}

fn profile_text() -> String {
    let stage = |order: u8, name: &str, watts: f64, seconds: Option<f64>| {
        let duration = seconds.map_or(String::new(), |s| {
            format!("duration_s = {{ low = {}, typical = {s}, high = {} }}\n", s * 0.6, s * 1.6)
        });
        format!(
            "[[phase]]\norder = {order}\nname = \"{name}\"\nwaits_for_person = {}\n\
             mean_power_w = {{ low = {}, typical = {watts}, high = {} }}\n\
             peak_power_w = {{ low = {}, typical = {}, high = {} }}\n\
             activity_w = {{ low = {}, typical = {}, high = {} }}\n{duration}",
            order == 1,
            watts * 0.75,
            watts * 1.3,
            watts * 0.9,
            watts * 1.2,
            watts * 1.6,
            watts * 0.01,
            watts * 0.04,
            watts * 0.2,
        )
    };
    let head = "profile = 1\nboard = \"larch-2\"\ndescription = \"test\"\n[feed]\nnominal_v = 12.8\n\
                lowest_v = 11.5\nhighest_v = 13.5\nlimit_a = 3.0\npoint = \"battery connector\"\ncautions = []\n";
    let stages = [
        stage(1, "standby", 0.3, None),
        stage(2, "rails", 2.2, Some(0.8)),
        stage(3, "loading", 13.0, Some(8.0)),
        stage(4, "idle", 8.0, None),
    ];
    let learned = "[learned]\nboards = 6\ncaptures = 6\ndate = \"2026-03-02\"\n";
    format!("{head}{}{learned}", stages.concat())
}

/// A small, repeatable unevenness of the readback, in amps.
fn ripple(index: u32) -> f64 {
    [0.0, 0.001, -0.001, 0.001, 0.0, -0.001, 0.0][index as usize % 7]
}

/// The head of a log of the invented board, under a limit of 3 A.
fn header() -> Header {
    Header {
        board: Some("larch-2".into()),
        set_volts: Some(Volts::constant(SET_V)),
        limit: Some(Amps::constant(3.0)),
        ..Header::default()
    }
}

/// A trace of (seconds, volts, amps) levels under a limit of 3 A.
pub(super) fn trace(levels: &[(f64, f64, f64)]) -> Trace {
    trace_with(levels, &[])
}

fn trace_with(levels: &[(f64, f64, f64)], presses: &[f64]) -> Trace {
    let marks: Vec<(f64, &str)> = presses.iter().map(|press| (*press, "power button")).collect();
    trace_marked(levels, &marks)
}

/// The same with marks, in order of time.
fn trace_marked(levels: &[(f64, f64, f64)], marks: &[(f64, &str)]) -> Trace {
    let mut builder = TraceBuilder::new(header());
    let (mut index, mut end) = (0, 0.0);
    let mut marks = marks.iter().peekable();
    for (seconds, volts, amps) in levels {
        end += seconds;
        while f64::from(index) * PERIOD_S < end {
            let time = f64::from(index) * PERIOD_S;
            while let Some((at, word)) = marks.next_if(|(at, _)| *at <= time) {
                builder.event(Seconds::constant(*at), EventKind::Mark((*word).into())).expect("in order");
            }
            let amps = (amps + ripple(index)).max(0.0);
            let sample = Sample {
                time: Seconds::constant(time),
                volts: Volts::constant(*volts),
                amps: Amps::constant((amps * 1000.0).round() / 1000.0),
                mode: Mode::Unknown,
                span: None,
            };
            builder.sample(sample).expect("in order");
            index += 1;
        }
    }
    builder.finish()
}

fn find(levels: &[(f64, f64, f64)]) -> Finding {
    diagnose(&trace(levels), Some(&profile()), &Sources::default())
}

/// The run and the readout of a board that stands by for so many seconds.
pub(super) fn fed(seconds: f64) -> (Run, Readout) {
    let trace = trace(&[OFF, (seconds, SET_V, 0.0234)]);
    let cut = segment(&trace, &Settings::default()).expect("a trace with readings");
    let readout = Readout::of(&trace, Readout::timing(&trace), &cut);
    (runs(&trace, &readout).remove(0), readout)
}

pub(super) const OFF: (f64, f64, f64) = (1.0, 0.0, 0.0);
const STANDBY: (f64, f64, f64) = (4.0, SET_V, 0.0234);
const RAILS: (f64, f64, f64) = (0.8, SET_V, 0.172);
const LOADING: (f64, f64, f64) = (8.0, SET_V, 1.016);
const IDLE: (f64, f64, f64) = (15.0, SET_V, 0.625);

#[test]
fn a_sound_board_boots_and_has_no_departures() {
    let finding = find(&[OFF, STANDBY, RAILS, LOADING, IDLE]);
    assert_eq!(finding.verdict.class, Class::FullBoot, "{finding:#?}");
    assert_eq!(finding.verdict.reached.as_deref(), Some("idle"));
    assert_eq!(finding.departures, []);
    let names: Vec<&str> = finding.phases.iter().map(|phase| phase.name.as_str()).collect();
    assert_eq!(names, ["off", "standby", "rails", "loading", "idle"]);
}

#[test]
fn a_board_ten_per_cent_off_its_feed_still_boots() {
    for factor in [0.9, 1.1] {
        // A converter draws the same power from other volts.
        let fed = |(s, v, a): (f64, f64, f64)| (s, v * factor, a / factor);
        let mut trace = trace(&[OFF, fed(STANDBY), fed(RAILS), fed(LOADING), fed(IDLE)]);
        trace.header_mut().set_volts = Some(Volts::constant(SET_V * factor));
        let finding = diagnose(&trace, Some(&profile()), &Sources::default());
        assert_eq!(finding.verdict.class, Class::FullBoot, "{finding:#?}");
        assert_eq!(finding.departures, []);
    }
}

#[test]
fn shorts_are_told_by_how_far_the_feed_collapses() {
    let hard = find(&[OFF, (20.0, 0.6, 3.0)]);
    assert_eq!(hard.verdict.class, Class::HardShort);
    assert!(hard.verdict.because[0].contains("0.200 Ω ± 0.011 Ω"), "{:?}", hard.verdict.because);
    assert_eq!(find(&[OFF, (20.0, 8.5, 3.0)]).verdict.class, Class::PartialShort);
}

#[test]
fn inrush_is_no_short() {
    let finding = find(&[OFF, (0.1, 6.0, 3.0), STANDBY, RAILS, LOADING, IDLE]);
    assert_eq!(finding.verdict.class, Class::FullBoot);
}

#[test]
fn a_short_that_comes_with_the_wake_is_a_short_and_says_so() {
    let finding = find(&[OFF, STANDBY, (20.0, 0.5, 3.0)]);
    assert_eq!(finding.verdict.class, Class::HardShort);
    assert!(finding.verdict.because.iter().any(|fact| fact.contains("comes with the wake")));
}

#[test]
fn nothing_drawn_and_standby_and_too_much_of_it_are_three_things() {
    assert_eq!(find(&[OFF, (20.0, SET_V, 0.0)]).verdict.class, Class::NoDraw);
    assert_eq!(find(&[OFF, (20.0, SET_V, 0.0234)]).verdict.class, Class::StandbyOnly);
    assert_eq!(find(&[OFF, (20.0, SET_V, 0.12)]).verdict.class, Class::ExcessStandby);
}

#[test]
fn attempts_are_counted() {
    let (attempt, rest) = ((1.0, SET_V, 0.4), (2.0, SET_V, 0.0234));
    let once = find(&[OFF, STANDBY, RAILS, attempt, (20.0, SET_V, 0.0234)]);
    assert_eq!(once.verdict.class, Class::LatchOff);
    let mut levels = vec![OFF, STANDBY];
    for _ in 0..8 {
        levels.extend([RAILS, attempt, rest]);
    }
    assert_eq!(find(&levels).verdict.class, Class::Cycling);
}

#[test]
fn a_stall_names_its_stage() {
    let loading = find(&[OFF, STANDBY, RAILS, (60.0, SET_V, 1.016)]);
    assert_eq!(loading.verdict.class, Class::Stalled);
    assert_eq!(loading.verdict.stalled_in.as_deref(), Some("loading"));
    let rails = find(&[OFF, STANDBY, (40.0, SET_V, 0.172)]);
    assert_eq!(rails.verdict.stalled_in.as_deref(), Some("rails"));
}

#[test]
fn a_log_that_ends_too_early_carries_no_verdict() {
    assert_eq!(find(&[OFF, (0.4, SET_V, 0.0234)]).verdict.class, Class::Inconclusive);
    assert_eq!(find(&[OFF, STANDBY, RAILS, (4.0, SET_V, 1.016)]).verdict.class, Class::Inconclusive);
    assert_eq!(find(&[OFF]).verdict.class, Class::Inconclusive);
    assert_eq!(find(&[]).verdict.class, Class::Inconclusive);
}

#[test]
fn a_board_that_falls_from_its_running_level_dropped_out() {
    let finding = find(&[OFF, STANDBY, RAILS, LOADING, IDLE, (15.0, SET_V, 0.0234)]);
    assert_eq!(finding.verdict.class, Class::DroppedOut);
}

/// Tries of `watts` and so many seconds, and rests between them, from three seconds of standby on.
fn tries(tries: &[(f64, f64)]) -> Vec<(f64, f64, f64)> {
    let each =
        tries.iter().flat_map(|(watts, seconds)| [(*seconds, SET_V, watts / SET_V), (1.5, SET_V, 0.02)]);
    [OFF, (3.0, SET_V, 0.0234)].into_iter().chain(each).collect()
}

#[test]
fn a_third_try_like_two_that_failed_is_another_and_one_that_goes_further_may_come_up() {
    let mut alike = tries(&[(2.2, 0.6); 3]);
    alike.pop();
    let mut further = tries(&[(2.2, 0.6); 2]);
    further.extend([RAILS, (3.0, SET_V, 1.0)]);
    assert_eq!(find(&alike).verdict.class, Class::Cycling);
    assert_ne!(find(&further).verdict.class, Class::Cycling);
}

#[test]
fn a_pulse_as_high_and_long_as_the_tries_beside_it_is_counted_with_them() {
    // Up to 0.48 W a pulse may be one of standby.
    let mut low = [(0.66, 0.4); 9];
    low[4].0 = 0.54;
    assert_eq!(find(&tries(&low)).attempts.len(), 9);
}

#[test]
fn tries_that_fit_no_stage_end_for_want_of_amps_where_a_good_board_would_ask_for_more() {
    let last = |seconds: f64| {
        let mut trace = trace(&tries(&[(0.38 * SET_V, seconds); 6]));
        trace.header_mut().limit = Some(Amps::constant(0.6));
        diagnose(&trace, Some(&profile()), &Sources::default()).verdict.class
    };
    // Rails take half a second at least, and then loading asks for an amp.
    assert_eq!(last(1.0), Class::FeedLimited);
    assert_eq!(last(0.3), Class::Cycling);
}

#[test]
fn a_limit_below_the_boots_need_is_the_supplys_fault() {
    let (starved, rest) = ((0.4, 6.0, 0.6), (2.0, SET_V, 0.0234));
    let mut levels = vec![OFF, STANDBY];
    for _ in 0..4 {
        levels.extend([RAILS, starved, rest]);
    }
    let mut trace = trace(&levels);
    trace.header_mut().limit = Some(Amps::constant(0.6));
    let finding = diagnose(&trace, Some(&profile()), &Sources::default());
    assert_eq!(finding.verdict.class, Class::FeedLimited, "{finding:#?}");
    assert!(finding.limits.iter().any(|limit| limit.contains("is below the")));
}

#[test]
fn two_boots_in_one_log_are_two_runs() {
    let finding = find(&[OFF, (20.0, SET_V, 0.0234), (2.0, 0.0, 0.0), STANDBY, RAILS, LOADING, IDLE]);
    assert_eq!(finding.verdict.class, Class::FullBoot);
    assert!(finding.limits.iter().any(|limit| limit.contains("2 runs") && limit.contains("standby-only")));
}

#[test]
fn a_live_short_is_said_within_two_updates_and_the_final_word_is_the_batch_verdict() {
    let whole = trace(&[OFF, (20.0, 0.6, 3.0)]);
    let mut live = Live::new(whole.header().clone(), Some(profile()), Sources::default());
    let mut said_after = None;
    for index in 0..whole.len() {
        live.sample(whole.sample(index).expect("a sample")).expect("in order");
        if said_after.is_none()
            && whole.amps()[index] > 1.0
            && live.finding().verdict.class == Class::HardShort
        {
            said_after = Some(whole.amps()[..=index].iter().filter(|amps| **amps > 1.0).count());
        }
    }
    assert!(said_after.is_some_and(|updates| updates <= 2), "said after {said_after:?} updates");
    assert_eq!(live.finding(), diagnose(&whole, Some(&profile()), &Sources::default()));
}

#[test]
fn without_a_profile_the_verdict_says_that_it_is_a_guess() {
    let finding = diagnose(&trace(&[OFF, (20.0, 0.6, 3.0)]), None, &Sources::default());
    assert_eq!(finding.verdict.class, Class::HardShort);
    assert!(finding.limits.iter().any(|limit| limit.contains("guess by kind")));
    let boot = diagnose(&trace(&[OFF, STANDBY, RAILS, LOADING, IDLE]), None, &Sources::default());
    assert_eq!(boot.verdict.class, Class::Inconclusive, "no reference, no full boot");
}

#[test]
fn three_presses_without_a_wake_are_counted() {
    let trace = trace_with(&[OFF, (20.0, SET_V, 0.0234)], &[5.0, 8.0, 11.0]);
    let finding = diagnose(&trace, Some(&profile()), &Sources::default());
    assert_eq!(finding.verdict.class, Class::StandbyOnly);
    assert!(finding.verdict.because.iter().any(|fact| fact.contains("marked 3 times")));
}

#[test]
fn a_pulse_once_in_a_while_does_not_condemn_a_board_that_runs_for_hours() {
    let boot = [OFF, STANDBY, RAILS, LOADING];
    let hours = [(300.0, SET_V, 0.625), (0.1, SET_V, 1.3)].repeat(60);
    // A lively first stage minds no pulses, and would pass for the running level but for its power.
    let mut profile = profile();
    profile.phases[1].activity.typical = 0.9;
    profile.phases[1].activity.high = 4.0;
    let trace = trace(&[&boot[..], &hours, &[IDLE]].concat());
    let finding = diagnose(&trace, Some(&profile), &Sources::default());
    assert_eq!(finding.verdict.class, Class::FullBoot, "{:?}", finding.verdict);
    assert_eq!(finding.departures, []);
    let fell = find(&[&boot[..], &hours, &[(60.0, SET_V, 0.0234)]].concat());
    assert_eq!(fell.verdict.class, Class::DroppedOut, "{:?}", fell.verdict);
}

#[test]
fn where_most_tries_end_is_told_beside_the_furthest_stage() {
    let rest = (1.5, SET_V, 0.0234);
    let short = [RAILS, rest];
    let levels = |tries: &[&[(f64, f64, f64)]]| [&[OFF, STANDBY][..], &tries.concat()].concat();
    let once_further = [RAILS, (3.0, SET_V, 1.016), rest];
    let mostly = find(&levels(&[&short, &short, &once_further, &short, &short, &short])).verdict;
    assert_eq!((mostly.class, mostly.reached.as_deref()), (Class::Cycling, Some("loading")), "{mostly:#?}");
    assert_eq!((mostly.usually_in.as_deref(), mostly.place()), (Some("rails"), mostly.usually_in.as_ref()));
    // Where all end in one stage there is nothing else to be told.
    let all = find(&levels(&[&once_further, &once_further, &once_further, &once_further])).verdict;
    assert_eq!((all.reached.as_deref(), all.usually_in.as_deref()), (Some("loading"), None), "{all:#?}");
    assert_eq!(all.place(), all.reached.as_ref());
}

#[test]
fn a_board_that_tried_again_and_again_and_then_stayed_down_is_said_to_have_stopped() {
    let tries = [(1.5, SET_V, 0.0234), RAILS, (0.3, SET_V, 0.9)].repeat(5);
    let ends_after =
        |seconds: f64| find(&[&[OFF, STANDBY][..], &tries, &[(seconds, SET_V, 0.0234)]].concat()).verdict;
    let (going_on, stopped) = (ends_after(2.0), ends_after(30.0));
    assert_eq!((going_on.class, going_on.stays_down_s), (Class::Cycling, None));
    assert_eq!(stopped.class, Class::Cycling);
    assert!(stopped.stays_down_s.is_some_and(|down| (29.0..31.0).contains(&down)), "{stopped:?}");
    let said =
        |verdict: &crate::verdict::Verdict| verdict.because.iter().any(|fact| fact.starts_with("after that"));
    assert!(said(&stopped) && !said(&going_on), "{:#?}", stopped.because);
}

#[test]
fn a_board_that_stays_at_the_level_of_the_stage_before_its_running_one_has_not_booted() {
    let mut profile = profile();
    let close = 11.5 / 8.0;
    let idle = &mut profile.phases[3];
    for envelope in [&mut idle.mean_power, &mut idle.peak_power, &mut idle.activity] {
        *envelope = Envelope {
            low: close * envelope.low,
            typical: close * envelope.typical,
            high: close * envelope.high,
        };
    }
    let ends = |amps: f64| {
        let busy = [(2.0, SET_V, 1.0), (1.0, SET_V, 1.06), (3.0, SET_V, 0.98), (2.0, SET_V, 1.03)];
        let after = [(9.0, SET_V, amps), (3.0, SET_V, 1.04 * amps)].repeat(4);
        let trace = trace(&[&[OFF, STANDBY, RAILS][..], &busy, &after].concat());
        diagnose(&trace, Some(&profile), &Sources::default()).verdict.class
    };
    assert_eq!(ends(11.5 / SET_V), Class::FullBoot);
    assert_eq!(ends(13.1 / SET_V), Class::Stalled);
}
