//! What is told of the tries that came before, or that were too few for a verdict.

use super::ends::good_log;
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
    assert!(said.contains("in at least 2 of 7 tries"), "{said}");
}

#[test]
fn amps_below_the_limit_are_averages_where_the_volts_give_way_in_most_tries() {
    let tries = |low_a: f64| {
        let low = [RAILS, (0.2, 9.0, low_a), REST];
        let tries = [low.repeat(4), vec![RAILS, (0.2, 6.0, 0.59), REST]].concat();
        because(&bench(&[&[OFF, STANDBY][..], &tries].concat()).with(|b| b.limit = 0.6).find())
    };
    let most = tries(0.45);
    assert!(most.contains("the amps read are averages, and stay below the limit in 4 of 5 tries"), "{most}");
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
fn a_spike_that_is_followed_by_more_of_its_try_is_near_its_end() {
    let ends_in = |after: f64| {
        let try_ = [RAILS, (1.0, SET_V, 1.0), (0.1, SET_V, 2.4), (after, SET_V, 1.05), (30.0, SET_V, 0.0234)];
        let log = bench(&[&[OFF, STANDBY][..], &try_].concat()).with(|b| b.limit = 3.0);
        because(&log.find())
    };
    assert!(ends_in(0.0).contains(", a spike at its very end,"), "{}", ends_in(0.0));
    assert!(ends_in(0.2).contains(", a spike near its end,"), "{}", ends_in(0.2));
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

/// Tries that sag to `volts` under a limit of 0.6 A.
fn starved(volts: [f64; 3]) -> Bench {
    let tries = volts.into_iter().flat_map(|volts| [RAILS, (0.2, volts, 0.59), REST]);
    let levels: Vec<_> = [OFF, STANDBY].into_iter().chain(tries).collect();
    bench(&levels).with(|b| b.limit = 0.6)
}

#[test]
fn where_every_good_board_peaks_above_the_limit_none_could_boot_under_it() {
    // Watts at 12.8 V: 1.0 and 1.2 A, and one board below the limit.
    let good = |peaks: &[f64]| {
        let log = |watts: &f64| {
            good_log("loading", |loading| (loading.mean_power, loading.peak_power) = (watts - 1.0, *watts))
        };
        let logs = peaks.iter().map(log).collect();
        because(&starved([6.0; 3]).with(|b| b.profile.as_mut().expect("one").learned.logs = logs).find())
    };
    let all = good(&[12.8, 15.36]);
    assert!(
        all.contains("good boards draw 0.922 to 1.12 A on average in loading, and peak at 1.00 to 1.20 A: none could boot under this limit"),
        "{all}"
    );
    let some = good(&[6.4, 15.36]);
    assert!(some.contains("a good boot usually peaks at") && !some.contains("none could"), "{some}");
}

#[test]
fn that_no_good_board_could_boot_is_a_field_of_the_finding_as_the_evidence_says_it() {
    let found = |limit: f64| {
        let log = good_log("loading", |loading| (loading.mean_power, loading.peak_power) = (11.8, 12.8));
        let logs = vec![log];
        let starved = starved([6.0; 3]).with(|b| b.profile.as_mut().expect("one").learned.logs = logs);
        starved.with(|b| b.limit = limit).find()
    };
    let none = found(0.6);
    let reason = none.verdict.none_could_boot.clone().expect("a reason");
    assert!(reason.ends_with("none could boot under this limit"), "{reason}");
    assert!(none.verdict.because.iter().any(|fact| fact.split("; ").any(|part| part == reason)));
    assert_eq!(found(1.5).verdict.none_could_boot, None);
    // Left out where there is none, and missing in what was written before there was one.
    let written = serde_json::to_value(found(1.5)).expect("JSON");
    assert_eq!(written["verdict"].get("none_could_boot"), None);
    let read: Finding = serde_json::from_value(written).expect("a finding");
    assert_eq!(read.verdict.none_could_boot, None);
}

#[test]
fn what_a_limit_leaves_open_is_how_far_the_board_gets() {
    let limits = starved([6.0; 3]).find().limits.join("\n");
    assert!(
        limits.contains("how far it gets with enough current: the limit of 0.600 A is below"),
        "{limits}"
    );
}

#[test]
fn a_dip_is_said_to_the_hundredths_where_fewer_figures_hide_it() {
    let said = because(&starved([12.3, 12.3, 12.76]).find());
    assert!(said.contains("from 12.8 V to between 12.30 V and 12.76 V"), "{said}");
    let deep = because(&starved([12.0, 12.0, 12.3]).find());
    assert!(deep.contains("between 12.0 V and 12.3 V"), "{deep}");
}

#[test]
fn the_headline_names_the_stage_in_which_most_tries_end_and_the_verdict_the_furthest() {
    let (in_rails, in_loading) = ([(0.4, SET_V, 0.172), REST], [RAILS, (2.5, SET_V, 1.0), REST]);
    let of = |rails: usize, loading: usize| {
        let tries = [in_rails.repeat(rails), in_loading.repeat(loading)].concat();
        let finding = bench(&[&[OFF, STANDBY][..], &tries].concat()).find();
        class(&finding, Class::Cycling);
        finding
    };
    let mostly = of(6, 1);
    assert_eq!(mostly.verdict.reached.as_deref(), Some("loading"), "{mostly:#?}");
    assert_eq!(mostly.verdict.usually_in.as_deref(), Some("rails"), "{}", because(&mostly));
    assert!(because(&mostly).contains("mostly in rails (6 of 7)"), "{}", because(&mostly));
    assert_eq!(of(1, 6).verdict.usually_in, None);
}

/// The bench's log, of a supply that says in which `mode` it is.
fn marking(bench: &Bench, mode: Mode) -> Finding {
    let once = bench.trace();
    let mut builder = TraceBuilder::new(once.header().clone());
    for sample in (0..once.len()).filter_map(|i| once.sample(i)) {
        builder.sample(Sample { mode, ..sample }).expect("in order");
    }
    diagnose(&builder.finish(), bench.profile.as_ref(), &Sources::default())
}

/// Tries that end at a limit in a dip to `end_v`, after one to `within_v` halfway with nothing happening.
fn dipping(within_v: &[f64], end_v: &[f64]) -> Bench {
    let tries = within_v.iter().zip(end_v).flat_map(|(within, end)| {
        let loading = [(1.2, SET_V, 0.5), (0.1, *within, 0.5), (1.2, SET_V, 0.5), (0.1, *end, 0.55)];
        [&[RAILS][..], &loading, &[REST]].concat()
    });
    bench(&[&[OFF, STANDBY][..], &tries.collect::<Vec<_>>()].concat()).with(|b| b.limit = 0.6)
}

#[test]
fn a_dip_is_none_to_which_the_volts_go_within_a_try_too() {
    let ends = [12.6, 12.7, 12.6, 12.6];
    let told = |within: f64| because(&dipping(&[SET_V, within, SET_V, SET_V], &ends).find());
    assert!(told(SET_V).contains("in each try"), "{}", told(SET_V));
    assert!(told(12.7).contains("in at least 3 of 4 tries"), "{}", told(12.7));
}

#[test]
fn a_supply_that_never_marks_its_limit_leaves_the_dips_alone_to_show_it() {
    let bench = dipping(&[SET_V; 4], &[12.6; 4]);
    let told = |mode: Mode| because(&marking(&bench, mode));
    let never = "the supply never marks its limit: the dips alone show it";
    assert!(told(Mode::ConstantVoltage).contains(never), "{}", told(Mode::ConstantVoltage));
    // One that says nothing of its mode has no marks to miss.
    assert!(!told(Mode::Unknown).contains(never), "{}", told(Mode::Unknown));
}

#[test]
fn tries_that_stay_in_a_stage_for_longer_than_good_boards_say_so() {
    let told = |seconds: f64| {
        let levels =
            [&[OFF, STANDBY][..], &[(seconds, SET_V, 0.172), (0.1, SET_V, 0.6), (30.0, SET_V, 0.0234)]];
        let latched = bench(&levels.concat()).with(|b| {
            let log = good_log("rails", |rails| rails.duration = Some(0.9));
            b.profile.as_mut().expect("one").learned.logs.push(log);
        });
        because(&latched.find())
    };
    let late = "; good boards are through with rails 0.9 s after their wake";
    assert!(told(2.5).contains(late), "{}", told(2.5));
    assert!(!told(0.8).contains("are through with"), "{}", told(0.8));
}

#[test]
fn a_spike_that_the_averaging_splits_is_seen_where_readings_come_unevenly() {
    let rise = [(0.2, SET_V, 0.04), (0.2, SET_V, 0.08), (0.2, SET_V, 0.12), (0.1, SET_V, 0.16)];
    let spike = [(0.1, SET_V, 0.53), (0.1, SET_V, 0.17), REST];
    let once = bench(&[&[OFF, STANDBY][..], &[&rise[..], &spike].concat().repeat(6)].concat());
    let trace = once.trace();
    let mut builder = TraceBuilder::new(trace.header().clone());
    for sample in (0..trace.len()).filter_map(|i| trace.sample(i)) {
        // The reading in which each spike begins comes a little early.
        let early_s = if sample.amps.value() > 0.5 { 0.002 } else { 0.0 };
        let time = Seconds::constant(sample.time.value() - early_s);
        builder.sample(Sample { time, ..sample }).expect("in order");
    }
    let told = because(&diagnose(&builder.finish(), once.profile.as_ref(), &Sources::default()));
    assert!(told.contains(", each a spike at the very end,"), "{told}");
}

/// The tries of a finding, taken together.
fn taken(finding: &Finding) -> Tries {
    Tries::of(&finding.attempts, &[]).expect("tries")
}

/// A bench whose good boards run a code of 7 W before they load at 13 W, and idle at 18 W.
fn bench_with_code(levels: &[(f64, f64, f64)]) -> Bench {
    use crate::reference::Envelope;
    let times =
        |of: Envelope, by: f64| Envelope { low: of.low * by, typical: of.typical * by, high: of.high * by };
    bench(levels).with(|b| {
        let phases = &mut b.profile.as_mut().expect("one").phases;
        let mut code = phases[2].clone();
        code.name = "code".into();
        code.duration = Some(Envelope { low: 0.78, typical: 1.3, high: 2.08 });
        for (phase, by) in [(&mut code, 7.0 / 13.0), (&mut phases[3], 18.0 / 8.0)] {
            phase.mean_power = times(phase.mean_power, by);
            phase.peak_power = times(phase.peak_power, by);
            phase.activity = times(phase.activity, by);
        }
        phases.insert(2, code);
    })
}

#[test]
fn a_starved_try_that_is_held_at_a_later_stage_ends_there() {
    // The limit of 1.3 A is above what loading takes, and not above what it takes for moments.
    let ended = |held_s: f64| {
        let rails = [(0.4, SET_V, 0.1), (0.4, SET_V, 0.2), (0.3, SET_V, 0.3), (1.3, SET_V, 0.5)];
        let end = [(held_s, SET_V, 0.95), (0.1, 11.0, 1.3), REST];
        let tries = [&[OFF, STANDBY][..], &[&rails[..], &end].concat().repeat(4)].concat();
        let starved = bench_with_code(&tries).with(|b| b.limit = 1.3).find();
        class(&starved, Class::FeedLimited);
        taken(&starved)
    };
    let held = ended(0.3);
    assert_eq!((held.ended_in.as_deref(), held.ended_there), (Some("loading"), 4));
    let moment = ended(0.1);
    assert_eq!(moment.ended_in.as_deref(), Some("code"), "what the limit lets through of the step");
}

#[test]
fn a_try_before_the_last_two_low_readings_is_over_though_they_average_over_its_end() {
    let counted = |last: f64| {
        let end = [RAILS, (0.6, SET_V, 1.016), (0.3, SET_V, last)];
        let tries = [&[OFF, STANDBY][..], &[RAILS, (0.6, SET_V, 1.016), REST].repeat(5), &end].concat();
        let tries = taken(&bench(&tries).find());
        (tries.count, tries.one_is_on)
    };
    assert_eq!(counted(0.08), (6, false));
    assert_eq!(counted(0.4), (5, true));
}

#[test]
fn a_slow_start_that_has_just_begun_when_the_log_ends_is_no_rest() {
    let tries = [&[OFF, STANDBY][..], &[RAILS, (0.6, SET_V, 1.016), REST].repeat(5)].concat();
    let ends_with = |levels: &[(f64, f64, f64)]| bench(&[&tries, levels].concat()).find();
    let finding = ends_with(&[(0.3, SET_V, 0.05), (0.3, SET_V, 0.06), (0.3, SET_V, 0.08)]);
    class(&finding, Class::Cycling);
    let counted = taken(&finding);
    assert_eq!((counted.count, counted.one_is_on), (5, true));
    let [rest, begun] = finding.phases.last_chunk().expect("two phases");
    assert_eq!((rest.name.as_str(), begun.name.as_str()), ("rest", "attempt"));
    assert!((begun.end_s.value() - begun.start_s.value() - 0.9).abs() < 0.2, "{begun:?}");
    assert!(!taken(&ends_with(&[])).one_is_on, "a rest alone");
}

#[test]
fn a_start_begins_with_its_first_reading_however_slowly_it_comes_up() {
    let slow = [(0.2, SET_V, 0.06), (0.2, SET_V, 0.075), (0.4, SET_V, 0.172), (0.2, SET_V, 0.9), REST];
    let gives_up = [&[OFF, STANDBY][..], &slow.repeat(2), &[(20.0, SET_V, 0.0234)]].concat();
    let found = bench(&gives_up).with(|b| b.presses = vec![4.8]).find();
    let starts: Vec<f64> = found.attempts.iter().map(|start| start.start_s.value()).collect();
    let lasts: f64 = slow.iter().map(|(seconds, _, _)| seconds).sum();
    assert_eq!(starts.len(), 2, "{starts:?}");
    assert!((starts[0] - 5.0).abs() < 0.15 && (starts[1] - 5.0 - lasts).abs() < 0.15, "{starts:?}");
    assert!(because(&found).contains("starts the first, the other comes by itself"), "{}", because(&found));
}

#[test]
fn volts_that_dip_in_every_try_are_not_steady_however_little_they_dip() {
    let starved = |dip: f64| {
        let end = [RAILS, (0.6, SET_V, 0.9), (0.2, SET_V - dip, 0.95), REST];
        let tries = [&[OFF, STANDBY][..], &end.repeat(5)].concat();
        because(&bench(&tries).with(|b| b.limit = 0.98).find())
    };
    let (small, none) = (starved(0.09), starved(0.0));
    let end = |dip: f64| [RAILS, (0.6, SET_V, 0.9), (0.2, SET_V - dip, 0.95), REST];
    let mostly = [&[OFF, STANDBY][..], &end(0.09).repeat(3), &end(0.0), &end(0.09)].concat();
    let mostly = because(&bench(&mostly).with(|b| b.limit = 0.98).find());
    assert!(mostly.contains("in at least 4 of 5 tries"), "{mostly}");
    assert!(small.contains("volts dip a little from") && !small.contains("steady"), "{small}");
    assert!(none.contains("volts steady"), "{none}");
}

#[test]
fn what_draws_as_much_as_a_stage_in_the_middle_of_a_try_is_no_rest() {
    let usual = [RAILS, (6.0, SET_V, 1.0), REST];
    // A try whose levels are those of no stage; good boards draw 0.172 A in rails.
    let odd = [(2.2, SET_V, 0.68), (7.2, SET_V, 0.18), (3.3, SET_V, 0.79), REST];
    let levels = [&[OFF, STANDBY][..], &usual, &usual, &odd, &usual].concat();
    let finding = bench(&levels).find();
    class(&finding, Class::Cycling);
    assert!(because(&finding).starts_with("4 tries from"), "{}", because(&finding));
    let high = finding.phases.iter().find(|phase| phase.name == "rest" && phase.mean_a.value() > 0.1);
    assert!(high.is_none(), "{high:?}");
}

#[test]
fn a_last_reading_as_low_as_a_rest_ends_the_try_before_it() {
    let counted = |last: f64| {
        let end = [RAILS, (0.6, SET_V, 1.016), (0.1, SET_V, last)];
        let tries = [&[OFF, STANDBY][..], &[RAILS, (0.6, SET_V, 1.016), REST].repeat(5), &end].concat();
        let tries = taken(&bench(&tries).find());
        (tries.count, tries.one_is_on)
    };
    assert_eq!(counted(STANDBY.2), (6, false));
    assert_eq!(counted(0.1), (5, true), "what may average over a moment of rest");
}

#[test]
fn a_spike_of_a_readings_length_shows_no_stage() {
    let ended = |loading_s: f64| {
        let end = [RAILS, (loading_s, SET_V, 1.016), (0.1, SET_V, 2.6), REST];
        let tries = [&[OFF, STANDBY][..], &end.repeat(6)].concat();
        let found = bench(&tries).find();
        class(&found, Class::Cycling);
        (taken(&found).ended_in, because(&found))
    };
    let (spike, said) = ended(0.1);
    assert_ne!(spike.as_deref(), Some("loading"), "{said}");
    assert!(!said.contains("the amps show"), "{said}");
    assert_eq!(ended(0.6).0.as_deref(), Some("loading"));
}

#[test]
fn what_the_volts_drop_by_under_load_is_no_dip_where_the_readback_shows_a_little_more_of_it() {
    let end = |dip: f64| {
        [RAILS, (0.6, SET_V - 0.05, 0.9), (0.1, SET_V - dip, 0.95), (0.1, SET_V - 0.05, 0.95), REST]
    };
    let tries = [&[OFF, STANDBY][..], &end(0.2).repeat(3), &end(0.06).repeat(3)].concat();
    let said = because(&bench(&tries).find());
    assert!(said.contains("in at least 3 of 6 tries"), "{said}");
}

#[test]
fn what_ends_while_the_feed_rises_is_no_standby_that_is_too_short() {
    let too_short = |standby_s: f64| {
        let levels = [&[OFF, (standby_s, SET_V, 0.0234)][..], &TRY.repeat(5)].concat();
        let found = bench(&levels).with(|b| {
            b.presses.clear();
            let standby = &mut b.profile.as_mut().expect("one").phases[0];
            standby.waits_for_person = false;
            standby.duration = Some(crate::reference::Envelope { low: 2.4, typical: 3.0, high: 3.8 });
        });
        let found = found.find();
        class(&found, Class::Cycling);
        found.departures.iter().any(|departure| departure.phase == "standby")
    };
    assert!(!too_short(0.5));
    assert!(too_short(1.5));
}

#[test]
fn the_readings_before_a_spike_tell_the_stage_that_a_try_came_to() {
    // A first stage above the second one, and a try that is at the second one's level for a second before its spike.
    let envelope = |typical: f64| Envelope { low: 0.83 * typical, typical, high: 1.2 * typical };
    let gives_up = [(0.4, SET_V, 0.36), (0.5, SET_V, 0.23), (0.6, SET_V, 0.26), (0.2, SET_V, 1.5)];
    let levels = [&[OFF, STANDBY][..], &gives_up, &[(40.0, SET_V, 0.0234)]].concat();
    let finding = bench(&levels).with(|b| {
        let known = b.profile.as_mut().expect("one");
        (known.phases[1].mean_power, known.phases[2].mean_power) = (envelope(4.5), envelope(3.1));
        (known.phases[1].peak_power, known.phases[2].peak_power) = (envelope(5.2), envelope(4.1));
        known.phases[1].duration = Some(Envelope { low: 0.17, typical: 0.5, high: 0.88 });
        known.phases[2].duration = Some(Envelope { low: 1.4, typical: 2.3, high: 3.5 });
    });
    let said = because(&finding.find());
    assert!(said.contains(", in loading"), "{said}");
}
