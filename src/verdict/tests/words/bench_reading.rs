//! What a technician who reads a finding beside its log would dispute, on hand-made traces.

use super::checks::place;
use super::gaps::with_gap;
use super::*;
use crate::reference::Envelope;

/// Tries of `seconds` at the level of loading, each with a rest after it.
fn tries_of(seconds: &[f64]) -> Vec<(f64, f64, f64)> {
    let tries = seconds.iter().flat_map(|seconds| [RAILS, (*seconds, SET_V, 1.0), REST]);
    [OFF, STANDBY].into_iter().chain(tries).collect()
}

#[test]
fn the_mean_of_the_last_seconds_is_that_of_all_their_readings() {
    // A level with peaks that are shorter than a second.
    let busy = (0..6).flat_map(|_| [(0.7, SET_V, 0.8), (0.4, SET_V, 1.6)]);
    let levels: Vec<_> =
        [OFF, (25.0, SET_V, 0.5)].into_iter().chain(busy).chain([(0.7, SET_V, 0.8)]).collect();
    let bench = bench(&levels).with(|b| (b.profile, b.presses) = (None, Vec::new()));
    let finding = bench.find();
    class(&finding, Class::Inconclusive);
    let facts = because(&finding);
    let (_, said) = facts.split_once("mean over its last ").expect("a mean");
    let (seconds, rest) = said.split_once(" s: ").expect("a length");
    let (amps, _) = rest.split_once(" A at").expect("amps");
    let [seconds, amps] = [seconds, amps].map(|number| number.parse::<f64>().expect("a number"));
    let trace = trace(&levels);
    let from = trace.time().last().expect("a reading") - seconds;
    let read: Vec<f64> =
        (0..trace.len()).filter(|i| trace.time()[*i] > from + 1e-6).map(|i| trace.amps()[i]).collect();
    #[expect(clippy::cast_precision_loss, reason = "a count of readings")]
    let mean = read.iter().sum::<f64>() / read.len() as f64;
    assert!((amps - mean).abs() < 0.02, "{amps} A said over {seconds} s, {mean} A read");
}

#[test]
fn a_load_that_swings_is_told_by_what_it_swings_about() {
    let swings = (0..20).flat_map(|_| [(1.2, SET_V, 0.62), (1.2, SET_V, 0.8)]);
    let levels: Vec<_> = std::iter::once(OFF).chain(swings).collect();
    let finding = bench(&levels).with(|b| (b.profile, b.presses) = (None, Vec::new())).find();
    class(&finding, Class::Inconclusive);
    let facts = because(&finding);
    let (_, said) = facts.split_once(" s: ").expect("a mean");
    let amps: f64 = said.split(' ').next().and_then(|amps| amps.parse().ok()).expect("amps");
    assert!((amps - 0.71).abs() < 0.02, "{facts}");
}

#[test]
fn two_tries_that_sag_at_the_limit_are_told_so_and_the_limit_is_raised() {
    let sagging = |volts: f64| {
        let tries = [RAILS, (9.0, SET_V, 0.6), (0.3, volts, 0.99), REST].repeat(2);
        let levels = [&[OFF][..], &tries, &[RAILS, (9.0, SET_V, 0.6)]].concat();
        bench(&levels).with(|b| (b.profile, b.presses, b.limit) = (None, Vec::new(), 1.0)).find()
    };
    let starved = sagging(9.0);
    assert!(matches!(starved.verdict.class, Class::Inconclusive | Class::FeedLimited), "{starved:#?}");
    assert!(because(&starved).contains("volts sag from 12.8 V to 9.00 V"), "{}", because(&starved));
    assert!(checks(&starved).contains("raise the current limit from 1.00 A"), "{}", checks(&starved));
    assert!(!checks(&starved).contains("look and listen first"), "{}", checks(&starved));
}

#[test]
fn a_board_that_only_a_reference_tells_of_is_looked_at_and_not_captured_again() {
    let awake = |seconds: f64| {
        let ramp = (0..5).map(|step| (seconds / 5.0, SET_V, 0.5 + 0.1 * f64::from(step)));
        let levels: Vec<_> = std::iter::once(OFF).chain(ramp).collect();
        bench(&levels).with(|b| (b.profile, b.presses) = (None, Vec::new())).find()
    };
    let long = awake(36.0);
    class(&long, Class::Inconclusive);
    assert!(because(&long).contains("only a reference can tell"), "{}", because(&long));
    assert!(!checks(&long).contains("capture again"), "{}", checks(&long));
    assert!(place(&long, "look and listen") < place(&long, "feedtale learn"));
    assert!(checks(&awake(8.0)).contains("capture again"), "{}", checks(&awake(8.0)));
    assert!(long.limits.join("\n").contains("what is said of it is a guess by kind"), "{:?}", long.limits);
}

#[test]
fn a_try_that_a_gap_cuts_is_left_out_of_lengths_and_peaks() {
    let cycling = bench(&tries_of(&[1.5; 8]));
    let whole = because(&cycling.find());
    assert!(!whole.contains("gap"), "{whole}");
    // The third try runs from 13.6 to 15.9 s.
    let cut = because(&with_gap(&cycling, 14.35, 16.65));
    assert!(cut.contains("one begins or ends in a gap of the log, and is left out"), "{cut}");
    let facts = |said: &str| {
        let length = said.lines().find(|line| line.starts_with("each ends")).expect("ends").to_owned();
        length.split(" after").next().expect("a length").to_owned()
    };
    assert_eq!(facts(&cut), facts(&whole));
    // A peak that a gap may hide is no lowest one.
    let low = [&[OFF, STANDBY][..], &[RAILS, (0.7, SET_V, 0.6), (0.8, SET_V, 1.2), REST].repeat(8)].concat();
    let low = bench(&low);
    let peaks = |said: &str| said.lines().find(|line| line.starts_with("peak")).expect("peaks").to_owned();
    assert_eq!(peaks(&because(&with_gap(&low, 15.05, 16.65))), peaks(&because(&low.find())));
}

#[test]
fn tries_that_end_above_all_that_a_stage_peaks_at_have_begun_the_next() {
    let tries = |end: &[(f64, f64, f64)]| {
        let tries = (0..8).flat_map(|_| [&[(0.8, SET_V, 0.172)], end, &[REST]].concat());
        let levels: Vec<_> = [OFF, STANDBY].into_iter().chain(tries).collect();
        because(&bench(&levels).find())
    };
    let by_length = tries(&[]);
    assert!(by_length.contains("at the step into loading, as far as the readings tell"), "{by_length}");
    // Rails peak at up to 3.52 W: 0.275 A.
    let by_level = tries(&[(0.1, SET_V, 0.3)]);
    assert!(
        by_level.contains("tries end above the 0.275 A up to which good boards peak in rails"),
        "{by_level}"
    );
}

#[test]
fn volts_that_are_read_at_rest_as_well_are_no_sag() {
    let sagging = |dips: [f64; 3]| {
        let tries = dips.into_iter().flat_map(|volts| [RAILS, (1.3, SET_V, 1.0), (0.2, volts, 1.0), REST]);
        let scatter = (0.1, 12.72, 0.0234);
        let levels: Vec<_> =
            [OFF, (2.0, SET_V, 0.0234), scatter, (1.9, SET_V, 0.0234)].into_iter().chain(tries).collect();
        because(&bench(&levels).with(|b| b.limit = 1.0).find())
    };
    let two = sagging([11.0, 12.72, 11.2]);
    assert!(two.contains("between 11.0 V and 11.2 V in at least 2 of 3 tries"), "{two}");
    let all = sagging([11.0, 11.1, 11.2]);
    assert!(all.contains("between 11.0 V and 11.2 V in each try"), "{all}");
}

#[test]
fn the_first_press_is_brief_and_nothing_is_measured_before_it() {
    let unasked = bench(&ASLEEP).with(|b| b.presses.clear()).find();
    assert!(unasked.next_checks[0].starts_with("press the power button briefly"), "{unasked:#?}");
    assert!(!checks(&unasked).contains("always-on rails"), "{}", checks(&unasked));
    assert_eq!(because(&unasked).matches("press").count(), 1, "{}", because(&unasked));
    let asked = bench(&ASLEEP).find();
    assert!(asked.next_checks[0].starts_with("press again, for 5 to 10 s"), "{asked:#?}");
    assert!(checks(&asked).contains("always-on rails"), "{}", checks(&asked));
}

#[test]
fn a_surplus_that_the_evidence_names_is_looked_for() {
    // At 7.4 V no kind is told; under a limit of 1.5 A such a board draws 0.52 W asleep at most.
    let asleep = |amps: f64| {
        let levels = [OFF, (4.0, 7.4, amps), (0.1, 7.4, amps + 0.002), (40.0, 7.4, amps)];
        let mut trace = trace_marked(&levels, &[(6.0, "power button")]);
        trace.header_mut().set_volts = Some(Volts::constant(7.4));
        trace.header_mut().limit = Some(Amps::constant(1.5));
        diagnose(&trace, None, &Sources::default())
    };
    for amps in [0.09, 0.02] {
        let finding = asleep(amps);
        let surplus = because(&finding).contains("a surplus, or awake");
        assert_eq!(surplus, amps > 0.08, "{}", because(&finding));
        let sought = checks(&finding);
        class(&finding, Class::StandbyOnly);
        for word in ["known-good board", "thermal camera"] {
            assert_eq!(sought.contains(word), surplus, "{word}: {sought}");
        }
    }
}

#[test]
fn a_board_that_goes_off_is_watched_in_a_try_and_does_not_wait() {
    let named = |name: &'static str| {
        let levels = [OFF, STANDBY, RAILS, (4.0, SET_V, 1.0), (40.0, SET_V, 0.0234)];
        bench(&levels).with(|b| b.profile.as_mut().expect("one").phases[2].name = name.into()).find()
    };
    let down = named("kernel");
    class(&down, Class::LatchOff);
    assert!(!checks(&down).contains("waits for or repeats"), "{}", checks(&down));
    let stalls = bench(&[OFF, STANDBY, RAILS, (60.0, SET_V, 1.016)])
        .with(|b| b.profile.as_mut().expect("one").phases[2].name = "kernel".into())
        .find();
    assert!(checks(&stalls).contains("waits for or repeats"), "{}", checks(&stalls));
}

#[test]
fn a_scope_comes_before_ohms_where_converters_are_up_for_two_seconds() {
    for (seconds, up) in [(1.0, false), (2.1, true)] {
        let finding = bench(&tries_of(&[seconds; 8])).find();
        class(&finding, Class::Cycling);
        let scope_first = place(&finding, "with a scope") < place(&finding, "converter's coil");
        assert_eq!(scope_first, up, "{seconds} s: {}", checks(&finding));
    }
}

#[test]
fn firmware_that_ran_for_a_second_is_watched_before_coils_are_measured() {
    for (seconds, up) in [(0.5, false), (1.5, true)] {
        let firmware = bench(&tries_of(&[seconds; 8]))
            .with(|b| b.profile.as_mut().expect("one").phases[2].name = "firmware".into())
            .find();
        class(&firmware, Class::Cycling);
        let ohms = place(&firmware, "converter's coil");
        assert_eq!(place(&firmware, "with a scope") < ohms, up, "{seconds} s: {}", checks(&firmware));
    }
}

#[test]
fn a_load_is_steady_from_its_first_reading_on() {
    // The readback shows nothing for a third of a second after the output went on.
    let late = bench(&[OFF, (0.3, 0.0, 0.0), (20.0, 0.6, 3.0)]).find();
    class(&late, Class::HardShort);
    assert!(because(&late).contains("steady for 19.9 s"), "{}", because(&late));
}

#[test]
fn even_pulses_that_are_low_beside_their_level_are_told_and_uneven_ones_are_not() {
    let pulsing = |rests: [f64; 6]| {
        let pulses = rests.into_iter().flat_map(|rest| [(rest, SET_V, 0.0934), (0.1, SET_V, 0.112)]);
        let levels: Vec<_> = std::iter::once(OFF).chain(pulses).chain([(3.0, SET_V, 0.0934)]).collect();
        let surplus = bench(&levels).with(|b| {
            b.profile.as_mut().expect("one").phases[0].peak_power =
                Envelope { low: 0.2, typical: 0.3, high: 0.5 };
        });
        because(&surplus.find())
    };
    assert!(pulsing([3.7; 6]).contains("short pulses, one about every 3.8 s"), "{}", pulsing([3.7; 6]));
    let missed = pulsing([3.2, 6.5, 3.2, 6.5, 3.2, 6.5]);
    assert!(missed.contains("one about every 3.3 s with 3 not seen, of up to"), "{missed}");
    let uneven = pulsing([3.0, 1.0, 6.0, 2.0, 9.0, 1.0]);
    assert!(!uneven.contains("pulse"), "{uneven}");
}
