//! What is said is no finer than what was read, and one number stands for one thing.

use super::*;
use crate::verdict::Phase;

/// The same levels, read every `period` seconds by a supply that averages over that time and rounds to `step` amps.
fn averaged(levels: &[(f64, f64, f64)], period: f64, step: f64) -> Trace {
    let level = |time: f64| {
        let mut end = 0.0;
        levels
            .iter()
            .find(|level| {
                end += level.0;
                time < end
            })
            .or(levels.last())
            .map_or((0.0, 0.0), |l| (l.1, l.2))
    };
    let total: f64 = levels.iter().map(|level| level.0).sum();
    let header = crate::trace::Header {
        board: Some("larch-2".into()),
        set_volts: Some(Volts::constant(SET_V)),
        limit: Some(Amps::constant(3.0)),
        ..crate::trace::Header::default()
    };
    let mut builder = crate::trace::TraceBuilder::new(header);
    for index in 0_u32.. {
        let time = f64::from(index) * period;
        if time >= total {
            break;
        }
        let parts = (0..20_u32).map(|part| level((time - period * (f64::from(part) + 0.5) / 20.0).max(0.0)));
        let (volts, amps) =
            parts.fold((0.0, 0.0), |(v, a), (volts, amps)| (v + volts / 20.0, a + amps / 20.0));
        let dither = [0.0, 0.4, -0.4, 0.2, -0.2][(index * index % 1009) as usize % 5] * step;
        builder
            .sample(crate::trace::Sample {
                time: Seconds::constant(time),
                volts: Volts::constant((volts * 100.0).round() / 100.0),
                amps: Amps::constant(((amps + dither) / step).round().max(0.0) * step),
                mode: crate::trace::Mode::Unknown,
                span: None,
            })
            .expect("in order");
    }
    builder.finish()
}

fn found(levels: &[(f64, f64, f64)], period: f64, step: f64) -> Finding {
    diagnose(&averaged(levels, period, step), bench(&[]).profile.as_ref(), &Sources::default())
}

const TRY: [(f64, f64, f64); 2] = [RAILS, (0.4, SET_V, 1.0)];
const LATCHED: (f64, f64, f64) = (30.0, SET_V, 0.0234);

fn two_tries() -> Vec<(f64, f64, f64)> {
    [&[OFF, STANDBY][..], &TRY, &[REST], &TRY, &[LATCHED]].concat()
}

#[test]
fn what_follows_a_try_is_told_without_its_tail() {
    for (period, step) in [(0.25, 0.001), (0.05, 0.001)] {
        let finding = found(&two_tries(), period, step);
        class(&finding, Class::LatchOff);
        let last = finding.phases.last().expect("a phase").mean_a.value();
        assert!((last - 0.0234).abs() < 3e-4, "{last} at {period} s");
        assert!(because(&finding).contains("after that 23"), "{}", because(&finding));
        // Nor is its highest reading that tail; its energy is that of the whole phase, edges and all.
        let phase = finding.phases.last().expect("a phase");
        assert!(phase.max_a.value() < 0.03, "{phase:?}");
        let lasts = phase.end_s.value() - phase.start_s.value();
        assert!(phase.energy_j.value() >= 0.99 * phase.mean_w.value() * lasts);
    }
}

#[test]
fn of_a_stage_of_few_readings_the_mean_is_that_of_all_that_are_drawn() {
    // Half a dozen readings of a try, the first of which are the highest.
    let tries = [&[OFF, STANDBY][..], &[RAILS, (0.15, SET_V, 1.15), (0.4, SET_V, 0.9)], &[LATCHED]].concat();
    let finding = found(&tries, 0.1, 0.001);
    let lasts = |phase: &Phase| phase.end_s.value() - phase.start_s.value();
    let phase = finding.phases.iter().find(|phase| (0.4..0.75).contains(&lasts(phase))).expect("a short one");
    let (mean, drawn) = (phase.mean_w.value(), phase.energy_j.value() / lasts(phase));
    assert!((mean / drawn - 1.0).abs() < 1e-6, "{mean} {drawn} {phase:?}");
    // Without those over the edges it would be another.
    assert!(phase.max_a.value() > 1.02 * phase.mean_a.value(), "{phase:?}");
}

#[test]
fn times_are_no_finer_than_the_readings() {
    // By construction from 5.0 s to 9.4 s; an averaging supply shows an edge up to one reading later.
    for (period, places) in [(0.25, 1), (0.05, 1), (0.02, 2)] {
        let facts = because(&found(&two_tries(), period, 0.001));
        let said: Vec<&str> = facts.split(' ').skip(3).step_by(3).take(2).collect();
        for (text, truth) in said.iter().zip([5.0, 9.4]) {
            let off = text.parse::<f64>().expect("a time") - truth;
            assert!((-period..=0.25 + 2.0 * period).contains(&off), "{text} at {period} s: {facts}");
            assert_eq!(text.split_once('.').map_or(0, |(_, decimals)| decimals.len()), places, "{facts}");
        }
    }
}

#[test]
fn a_few_steps_of_the_supply_are_said_to_be_no_number_to_build_on() {
    let limits = |step: f64| found(&two_tries(), 0.05, step).limits.join("\n");
    assert!(limits(0.01).contains("is good to half a step"), "{}", limits(0.01));
    assert!(!limits(0.001).contains("is good to half"), "{}", limits(0.001));
    let unseen =
        "amps are read in steps of 50 mA, and good boards stand by at 23 mA: this supply may not show it";
    assert!(limits(0.05).contains(unseen), "{}", limits(0.05));
    // Between the tries of a board that cycles as well; a standby that is read is no limit.
    let cycles = |step: f64| {
        let finding = found(&cycling(), 0.05, step);
        class(&finding, Class::Cycling);
        finding.limits.join("\n")
    };
    assert!(cycles(0.05).contains(unseen), "{}", cycles(0.05));
    assert!(!cycles(0.001).contains("stand by at"), "{}", cycles(0.001));
}

#[test]
fn too_few_readings_leave_a_place_open_between_stages() {
    let slow = found(&two_tries(), 0.25, 0.001);
    let (place, why) = (because(&slow), state(&slow, "main regulators").1);
    assert!(
        place.contains("in rails or the start of loading") || place.contains("in rails or loading"),
        "{place}"
    );
    assert!(why.starts_with("the tries end in rails or"), "{why}");
    assert!(!why.contains("or before"), "{why}");
    // So that no headline says one of them, and the picture leaves the first open.
    assert_eq!(slow.verdict.reached, None);
    let ends = |attempt: &crate::verdict::Attempt| {
        (attempt.ended_in.clone(), attempt.earliest_in.clone(), attempt.likely_in.clone())
    };
    let told = (None, Some("rails".to_owned()), Some("loading".to_owned()));
    assert!(slow.attempts.iter().all(|attempt| ends(attempt) == told), "{:#?}", slow.attempts);
    let quick = found(&two_tries(), 0.02, 0.001);
    assert!(!because(&quick).contains("do not tell which"), "{}", because(&quick));
    assert!(quick.attempts.iter().all(|attempt| attempt.earliest_in.is_none()), "{:#?}", quick.attempts);
    assert_eq!(quick.verdict.reached.as_deref(), Some("loading"));
}

#[test]
fn a_try_that_ends_in_a_stage_makes_what_begins_there_suspect_for_that_reason() {
    let finding = bench(&cycling()).find();
    assert_eq!(state(&finding, "processor"), (SectionState::Suspect, "the tries end in loading".into()));
    let early: Vec<(f64, f64, f64)> =
        [OFF, STANDBY].into_iter().chain((0..8).flat_map(|_| [(0.5, SET_V, 0.172), REST])).collect();
    let both = bench(&early).with(|b| {
        b.profile.as_mut().expect("one").power_path = vec![
            section("system rail", &["standby"], &[]),
            section("main regulators", &["standby", "rails"], &[]),
            section("processor", &["loading"], &[]),
        ];
    });
    let both = both.find();
    let (regulators, why) = state(&both, "main regulators");
    assert!(
        regulators == SectionState::Suspect && why.starts_with("worked up to here: the tries end in rails"),
        "{why}"
    );
    let (processor, why) = state(&both, "processor");
    assert!(
        processor == SectionState::Suspect && why == "the tries end in rails, in which its load may begin",
        "{why}"
    );
}

#[test]
fn what_a_try_got_past_worked_up_to_there_and_what_a_boot_got_past_is_proved() {
    let tries = bench(&cycling()).find();
    let (rails, why) = state(&tries, "main regulators");
    assert_eq!((rails, why.as_str()), (SectionState::Proved, "worked up to here: the board got past rails"));
    assert_eq!(state(&bench(&BOOT).find(), "main regulators").1, "the board got past rails");
    assert_eq!(state(&tries, "system rail").1, "the board got past standby");
}

#[test]
fn what_the_switch_on_starts_has_no_moment_of_its_own() {
    let at_once = bench(&[OFF, RAILS, LOADING, IDLE]).with(|b| {
        b.profile.as_mut().expect("one").phases.remove(0);
        b.presses.clear();
    });
    let facts = because(&at_once.find());
    assert!(facts.contains("rails from switch-on (1.0 s)"), "{facts}");
    let waits = because(&bench(&BOOT).find());
    assert!(waits.contains("rails at 5.0 s"), "{waits}");
}

#[test]
fn a_fall_has_the_same_numbers_in_text_and_finding_and_they_are_of_the_level_before_it() {
    let mut levels = BOOT.to_vec();
    levels.push((15.0, SET_V, 0.0234));
    let finding = found(&levels, 0.25, 0.001);
    class(&finding, Class::DroppedOut);
    let fall = finding.fall.expect("a fall");
    assert!((fall.from_a.value() - 0.625).abs() < 2e-3, "{fall:?}");
    assert!((fall.to_a.value() - 0.0234).abs() < 1e-3, "{fall:?}");
    let said = format!("from {} to 23", fall.from_a);
    assert!(because(&finding).contains(&said), "{said}: {}", because(&finding));
    assert_eq!(bench(&BOOT).find().fall, None);
}

#[test]
fn ohms_volts_and_watts_of_a_short_are_the_same_wherever_they_are_told() {
    let finding = bench(&[OFF, (20.0, 0.783, 3.0)]).find();
    let phase = finding.phases.last().expect("a phase");
    let (facts, checks) = (because(&finding), checks(&finding));
    assert!(
        facts.contains("0.261 Ω ± 0.012 Ω") && checks.contains("about 0.26 Ω or less"),
        "{facts}\n{checks}"
    );
    assert!(facts.contains(&format!("{} at {}", phase.mean_a, phase.mean_v)), "{facts}");
    let (watts, _) = facts
        .lines()
        .find_map(|line| line.split_once(" turn to heat in the short and the leads"))
        .expect("watts");
    assert!(
        finding.cautions.iter().any(|caution| caution.starts_with(&format!("Up to {watts} "))),
        "{watts}: {:?}",
        finding.cautions
    );
}

#[test]
fn nothing_is_no_number_and_a_zero_that_is_off_is_said() {
    let nothing = because(&bench(&[OFF, (20.0, SET_V, 0.0)]).with(|b| b.presses.truncate(1)).find());
    assert!(nothing.contains("mean current under 1 mA"), "{nothing}");
    assert!(nothing.contains("power button marked once, at 4.5 s"), "{nothing}");
    let twice = because(&bench(&ASLEEP).with(|b| b.presses.push(6.0)).find());
    assert!(twice.contains("power button marked twice, last at 6.0 s"), "{twice}");
    let zero_at = |zero: f64| {
        let off = (6.0, 0.0, zero);
        bench(&[off, (20.0, SET_V, 0.0234)]).with(|b| b.presses[0] = 8.0).find().limits.join("\n")
    };
    assert!(zero_at(0.004).contains("the supply reads 4 mA with its output off"), "{}", zero_at(0.004));
    assert!(!zero_at(0.0).contains("output off"), "{}", zero_at(0.0));
}

#[test]
fn amps_times_volts_are_the_watts_whatever_the_zero_is() {
    let all = [OFF, STANDBY, RAILS, (0.4, SET_V, 1.0), REST, RAILS, (0.4, SET_V, 1.0), LATCHED];
    let read = |zero: f64| {
        let offset: Vec<(f64, f64, f64)> = all.iter().map(|(s, v, a)| (*s, *v, a + zero)).collect();
        bench(&offset).find()
    };
    let (plain, offset) = (read(0.003), read(0.007));
    // Before switch-on there is nothing but noise.
    for (with, without) in offset.phases.iter().zip(&plain.phases).skip(1) {
        let amps = |phase: &crate::verdict::Phase| [phase.mean_a, phase.min_a, phase.max_a].map(Amps::value);
        for (one, other) in amps(with).iter().zip(amps(without)) {
            assert!((one - other).abs() < 1e-9, "{with:?} {without:?}");
        }
        let product = with.mean_a.value() * with.mean_v.value();
        assert!((product - with.mean_w.value()).abs() <= 0.01 * product + 1e-9, "{with:?}");
    }
    assert!(offset.phases[0].name == "off" && offset.phases[0].mean_a.value().abs() < f64::MIN_POSITIVE);
    let peaks = |finding: &Finding| Tries::of(&finding.attempts, &finding.log.gaps).expect("tries").peak_a;
    assert!((peaks(&offset).high - peaks(&plain).high).abs() < 1e-9, "{:?}", peaks(&offset));
    assert_eq!(because(&offset), because(&plain));
    // What the display shows is said where that differs.
    assert!(
        offset.limits.join("\n").contains("the supply reads 7 mA with its output off"),
        "{:?}",
        offset.limits
    );
}

#[test]
fn nothing_is_drawn_where_the_supply_reads_the_same_with_its_output_off() {
    let said = because(&bench(&[(6.0, 0.0, 0.002), (20.0, SET_V, 0.002)]).find());
    assert!(
        said.contains("the supply reads 2 mA over") && said.contains("and 2 mA with its output off"),
        "{said}"
    );
}

#[test]
fn the_level_before_a_fall_holds_no_reading_over_the_edge_and_nothing_older() {
    let levels = [&BOOT[..4], &[(12.0, SET_V, 0.9), (2.0, SET_V, 0.62), (15.0, SET_V, 0.0234)]].concat();
    for period in [0.25, 0.05] {
        let finding = found(&levels, period, 0.001);
        class(&finding, Class::DroppedOut);
        let from = finding.fall.expect("a fall").from_a.value();
        assert!((from - 0.62).abs() < 2e-3, "{from} at {period} s");
    }
}

#[test]
fn periods_have_figures_of_their_own_and_marks_are_as_logged() {
    let tries: Vec<(f64, f64, f64)> =
        (0..9).flat_map(|_| [(0.75, SET_V, 0.3), (1.5, SET_V, 0.0234)]).collect();
    let levels = [&[OFF, STANDBY][..], &tries].concat();
    let said = because(&found(&levels, 0.25, 0.001));
    assert!(said.contains("one every 2.25 s"), "{said}");
    let asked = because(&bench(&ASLEEP).with(|b| b.presses[0] = 6.12).find());
    assert!(asked.contains("at 6.12 s"), "{asked}");
}

#[test]
fn a_try_of_one_reading_is_no_stretch_of_time() {
    let said = because(&found(&[OFF, STANDBY, (0.25, SET_V, 0.3), LATCHED], 0.25, 0.001));
    assert!(said.contains("1 try at 5.") && said.contains("for under 0.5 s: one reading"), "{said}");
    assert!(!said.contains("1 try from"), "{said}");
}

#[test]
fn a_slow_readback_says_little_of_a_charge_that_it_did_not_read() {
    let dead = |period: f64| found(&[OFF, (20.0, SET_V, 0.0)], period, 0.001);
    let slow = dead(0.25);
    class(&slow, Class::NoDraw);
    assert!(because(&slow).contains("with a reading every 0.25 s that says little"), "{}", because(&slow));
    assert!(slow.limits.join("\n").contains("read every 0.25 s: no time is better"), "{:?}", slow.limits);
    assert!(because(&dead(0.1)).contains("points to an open lead or inlet"), "{}", because(&dead(0.1)));
}

#[test]
fn a_mean_is_over_the_time_that_is_said_of_it() {
    // The rise of the feed takes up the first fifth of a second, which the mean is not over.
    let brief = bench(&[OFF, (0.2, 1.4, 0.04), (0.6, SET_V, 0.0234)]).with(|b| b.presses.clear()).find();
    class(&brief, Class::Inconclusive);
    assert!(because(&brief).contains("mean over its last 0.5 s: 23"), "{}", because(&brief));
}

#[test]
fn how_long_a_board_was_seen_to_run_is_one_number() {
    // Lengths that come out otherwise than the difference of their ends, as these are said.
    for readings in 0..8_u32 {
        let standby = (4.0 + 0.17 * f64::from(readings), SET_V, 0.0234);
        let found = found(&[OFF, standby, RAILS, LOADING, IDLE], 0.17, 0.001);
        class(&found, Class::FullBoot);
        let said = because(&found);
        let ran = said.lines().find_map(|fact| fact.split_once(" for ")?.1.split_once(", from "));
        let ran = ran.expect("how long it ran").0;
        assert!(checks(&found).contains(&format!("seen to run for {ran} only")), "{ran}: {}", checks(&found));
    }
}

#[test]
fn four_readings_a_second_are_said_once_to_be_coarse() {
    let limits = |period: f64| found(&two_tries(), period, 0.001).limits.join("\n");
    assert_eq!(limits(0.25).matches("no time is better than that").count(), 1, "{}", limits(0.25));
    assert!(!limits(0.05).contains("no time is better"), "{}", limits(0.05));
}

#[test]
fn a_brief_log_tells_its_last_readings_and_no_mean_over_the_rise_of_the_feed() {
    let brief = bench(&[OFF, (0.1, 5.1, 0.011), (0.2, SET_V, 0.0134)]).with(|b| b.presses.clear()).find();
    class(&brief, Class::Inconclusive);
    let said = because(&brief);
    assert!(said.contains("mean of its last 2 readings: 12 mA at 12.8 V"), "{said}");
    assert!(said.contains("good boards wait for a press of the button, and none is marked"), "{said}");
}

#[test]
fn a_long_try_without_a_reference_may_have_been_a_boot() {
    let tried = |seconds: f64| {
        let levels = [OFF, STANDBY, (seconds, SET_V, 1.0), (30.0, SET_V, 0.0234)];
        let finding = bench(&levels).with(|b| b.profile = None).find();
        class(&finding, Class::LatchOff);
        finding.limits.join("\n")
    };
    assert!(tried(26.0).contains("it may have been up"), "{}", tried(26.0));
    assert!(!tried(1.5).contains("it may have been up"), "{}", tried(1.5));
}

#[test]
fn a_departure_and_the_evidence_name_the_same_mean_and_start() {
    let mut low = BOOT.to_vec();
    low[0] = (1.0, 0.0, 0.004);
    low[4].2 = 0.3;
    let finding = bench(&low).find();
    class(&finding, Class::FullBoot);
    let departs = finding.departures.iter().find(|departure| departure.phase == "idle").expect("a departure");
    let phase = finding.phases.last().expect("a phase");
    assert!((departs.measured - phase.mean_a.value()).abs() < 1e-9, "{departs:?} {phase:?}");
    assert_eq!(departs.starts_s, phase.start_s);
    assert!(because(&finding).contains(&format!("{} at", phase.mean_a)), "{}", because(&finding));
}

#[test]
fn no_mean_of_volts_holds_the_rise_of_the_feed() {
    let rising = bench(&[OFF, (0.4, 6.0, 0.68), (30.0, SET_V, 0.68)]).find();
    let phase = rising.phases.last().expect("a phase");
    assert!((phase.mean_v.value() - SET_V).abs() < 1e-9, "{phase:?}");
}

#[test]
fn a_running_level_that_is_busy_now_and_then_is_compared_as_a_whole() {
    let falls = |first: f64| {
        let idle = [(0.8, SET_V, first), (2.0, SET_V, 1.4), (14.0, SET_V, 0.625), (15.0, SET_V, 0.0234)];
        let finding = bench(&[&BOOT[..4], &idle].concat()).find();
        class(&finding, Class::DroppedOut);
        finding.departures
    };
    assert_eq!(falls(0.4), [], "its first moments are not what it draws");
    let low = [(16.0, SET_V, 0.4), (15.0, SET_V, 0.0234)];
    let low = bench(&[&BOOT[..4], &low].concat()).find();
    assert!(low.departures.iter().any(|departure| departure.phase == "idle"), "{low:#?}");
}

#[test]
fn a_stage_passes_unseen_only_under_two_readings() {
    let limits = |levels: &[(f64, f64, f64)], period: f64| found(levels, period, 0.001).limits.join("\n");
    // Of good boards rails take 0.48 s at least: a try of a board that sleeps may hide between readings 0.25 s apart.
    assert!(
        limits(&ASLEEP, 0.25).contains("a try of less than 0.5 s may pass unseen"),
        "{}",
        limits(&ASLEEP, 0.25)
    );
    assert!(!limits(&ASLEEP, 0.1).contains("unseen"), "{}", limits(&ASLEEP, 0.1));
    let brief = [OFF, (1.2, SET_V, 0.024)];
    assert!(!limits(&brief, 0.25).contains("read 4"), "{}", limits(&brief, 0.25));
    // Usually they take 0.8 s.
    let hangs = [OFF, STANDBY, (60.0, SET_V, 1.016)];
    assert!(
        limits(&hangs, 0.5).contains("rails, usually 0.800 s long, may pass unseen"),
        "{}",
        limits(&hangs, 0.5)
    );
    assert!(!limits(&hangs, 0.25).contains("unseen"), "{}", limits(&hangs, 0.25));
}

#[test]
fn a_stage_that_lasts_for_longer_than_it_takes_to_a_new_value_is_read_roughly_and_not_missed() {
    let hangs = [OFF, STANDBY, (60.0, SET_V, 1.016)];
    let of_good = |rails_s: Option<f64>, period: f64| {
        let mut known = bench(&[]).profile.expect("one");
        let log = |seconds: f64| super::ends::good_log("rails", |rails| rails.duration = Some(seconds));
        known.learned.logs = rails_s.map(log).into_iter().collect();
        diagnose(&averaged(&hangs, period, 0.001), Some(&known), &Sources::default()).limits.join("\n")
    };
    // Rails usually take 0.8 s: three values, of four a second.
    let roughly = "rails, usually 0.800 s long, shows its level and length only roughly";
    assert!(of_good(None, 0.25).contains(roughly), "{}", of_good(None, 0.25));
    assert!(!of_good(None, 0.1).contains("rails"), "{}", of_good(None, 0.1));
    // The shortest that was seen counts.
    assert!(of_good(Some(0.2), 0.25).contains("may pass unseen"), "{}", of_good(Some(0.2), 0.25));
    let surplus = found(&[OFF, (40.0, SET_V, 0.1)], 0.25, 0.001);
    class(&surplus, Class::ExcessStandby);
    assert!(surplus.limits.join("\n").contains("a try of less than 0.5 s may pass unseen"), "{surplus:#?}");
}

#[test]
fn a_rest_that_is_off_by_less_than_the_steps_carry_is_within_good_boards_standby() {
    // 3 mA less, of readings in steps of 2 mA, may be half a step at either end.
    let rests = [OFF, (4.0, SET_V, 0.0234), RAILS, (1.5, SET_V, 1.0), (40.0, SET_V, 0.0201)];
    let coarse = because(&found(&rests, 0.1, 0.002));
    assert!(coarse.contains("it is back within good boards' standby"), "{coarse}");
}

#[test]
fn a_faint_charge_at_switch_on_is_told_and_not_denied() {
    let rises = |amps: f64, later: f64| {
        let step = (0.25, SET_V, 0.005);
        let rest = (20.0, SET_V, 0.0);
        let dead = [OFF, (0.25, 0.9, amps), rest, step, rest, (0.25, SET_V, later), rest];
        because(&found(&dead, 0.125, 0.005))
    };
    let alone = rises(0.01, 0.005);
    assert!(alone.contains("10 mA as the volts rise, more than at any time after that"), "{alone}");
    let again = rises(0.01, 0.01);
    assert!(again.contains("no more than 10 mA is read as the volts rise"), "{again}");
    let none = rises(0.0, 0.005);
    assert!(none.contains("no charge of capacitors is read as the volts rise"), "{none}");
}

#[test]
fn a_rest_in_another_figure_that_the_steps_do_not_carry_is_near_its_standby() {
    let after = |amps: f64| {
        let levels = [OFF, (4.0, SET_V, 0.0039), RAILS, (1.5, SET_V, 1.0), (40.0, SET_V, amps)];
        let mut known = bench(&[]).profile.expect("one");
        known.phases[0].mean_power = crate::reference::Envelope { low: 0.02, typical: 0.05, high: 0.1 };
        because(&diagnose(&averaged(&levels, 0.1, 0.001), Some(&known), &Sources::default()))
    };
    assert!(after(0.0033).contains("it is back near its standby (4 mA before)"), "{}", after(0.0033));
    assert!(after(0.0039).contains("it is back at its standby"), "{}", after(0.0039));
}
