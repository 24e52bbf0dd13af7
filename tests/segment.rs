//! What segmentation finds in signals with known changes, in published series and in anything at all. The report
//! `examples/segment_report` prints the same and more over more seeds.

use feedtale::segment::{Changes, SegmentError, Settings, Stream, changes};
use feedtale::units::{Amps, Seconds};
use proptest::prelude::*;

#[path = "../examples/segment_report/published.rs"]
mod published;
#[path = "../examples/segment_report/score.rs"]
mod score;
#[path = "../examples/segment_report/signals.rs"]
mod signals;

use score::{f1, score};
use signals::{CHANGES, Jumps, Signal, Stress, stressed};

const SEEDS: std::ops::Range<u64> = 70..74;

const SEVERAL: Jumps = Jumps { least: 4.0, most: 10.0 };
const NONE: Jumps = Jumps { least: 0.0, most: 0.0 };

/// The readback's ways of spoiling a signal that leave its samples, or updates, independent.
const INDEPENDENT: [Stress; 8] = [
    Stress::None,
    Stress::Offset(1e6),
    Stress::Offset(1e8),
    Stress::Spikes(15.0),
    Stress::Rounded(1.0),
    Stress::Rounded(4.0),
    Stress::Repeats(4),
    Stress::Uneven,
];

const BUSY: [Stress; 2] = [Stress::Autoregressive(0.5), Stress::Autoregressive(0.8)];

/// Samples that a found change may lie off: four times as many where four samples say about as much as one.
fn margin(stress: Stress) -> usize {
    if matches!(stress, Stress::Autoregressive(_) | Stress::Repeats(_)) { 40 } else { 10 }
}

fn cut(signal: &Signal) -> Changes {
    changes(&signal.time, &signal.values, &signals::settings()).expect("a series of numbers in order of time")
}

/// Every true change in every signal, and at most one false one a signal in the mean.
fn holds(stress: Stress, pick: impl Fn(Changes) -> Vec<usize>) {
    let scores = SEEDS.map(|seed| {
        let signal = stressed(stress, SEVERAL, seed);
        score(&signal.changes, &pick(cut(&signal)), margin(stress))
    });
    let scores: Vec<score::Score> = scores.collect();
    assert!(scores.iter().all(|score| score.right == CHANGES), "{stress:?}: {scores:?}");
    let wrong: usize = scores.iter().map(|score| score.wrong).sum();
    assert!(wrong <= scores.len(), "{stress:?}: {scores:?}");
}

#[test]
fn jumps_of_several_deviations_are_found_under_every_stress() {
    for stress in INDEPENDENT {
        holds(stress, |found| found.fine);
        holds(stress, |found| found.coarse);
    }
}

#[test]
fn a_busy_load_does_not_shatter_a_stage() {
    for stress in BUSY {
        holds(stress, |found| found.coarse);
    }
}

#[test]
fn where_nothing_changes_nothing_is_found() {
    for stress in INDEPENDENT.into_iter().chain(BUSY) {
        for seed in SEEDS {
            let found = cut(&stressed(stress, NONE, seed));
            assert_eq!((&found.coarse[..], &found.spread[..]), (&[][..], &[][..]), "{stress:?}");
            assert!(found.fine.is_empty() || BUSY.contains(&stress), "{stress:?}: {:?}", found.fine);
        }
    }
}

#[test]
fn every_spike_of_one_sample_is_an_event_of_its_own() {
    let signal = stressed(Stress::None, NONE, 80);
    let mut values = signal.values.clone();
    let wild: Vec<usize> = (1..=20).map(|number| number * 470).collect();
    for index in &wild {
        values[*index] += 15.0;
    }
    let found = cut(&Signal { values, ..signal });
    assert_eq!(found.spikes, wild.iter().map(|index| *index..index + 1).collect::<Vec<_>>());
    assert_eq!(found.fine, [] as [usize; 0]);
}

#[test]
fn changes_of_spread_are_found_on_rounded_data_and_nowhere_else() {
    for rounding in [0.25, 1.0, 2.0, 4.0] {
        for (seed, ratio) in SEEDS.flat_map(|seed| [2.0, 3.0, 4.0].map(|ratio| (seed, ratio))) {
            let signal = signals::spreads(6, ratio, rounding, seed);
            let found = cut(&signal);
            let score = score(&signal.changes, &found.spread, 50);
            let what = format!("x{ratio}, rounded to {rounding}: {found:?}, {:?}", signal.changes);
            assert_eq!((score.wrong, found.fine.len()), (0, found.spread.len()), "{what}");
            // A step that is wide against the smaller spread hides it.
            let least = if rounding > 1.0 { 0 } else { 4 + usize::from(ratio > 3.0) * 2 };
            assert!(score.right >= least, "{what}");
        }
    }
}

#[test]
fn published_series_change_where_their_annotators_say() {
    let cut = |name: &str| {
        let series = published::series(name);
        changes(&series.time, &series.values, &Settings::default()).expect("a published series")
    };
    // Cobb, Biometrika 65 (1978) 243: after 1898, the 28th year.
    assert_eq!(cut("Nile").fine, [28]);
    // Turing Change Point Dataset: the range of the annotators that mark one.
    for (name, range) in
        [("quality_control_1", 143..=146), ("quality_control_2", 97..=99), ("quality_control_3", 178..=180)]
    {
        let found = cut(name).coarse;
        assert!(found.len() == 1 && range.contains(&found[0]), "{name}: {found:?}");
    }
    let none = cut("quality_control_5");
    assert!(none.fine.is_empty() && none.coarse.is_empty(), "{none:?}");
    let well_log = cut("well_log");
    let agreement = f1(&published::well_log_annotations(), &well_log.coarse, 5);
    assert!(agreement >= 0.9, "{agreement}: {:?}", well_log.coarse);
    let usual = f1(&[published::WELL_LOG.to_vec()], &well_log.coarse, 5);
    assert!(usual >= 0.9, "{usual}: {:?}", well_log.coarse);
}

#[test]
fn real_captures_change_where_their_samples_do() {
    for (name, marker, step) in published::CAPTURES {
        let series = published::capture(name);
        let found = changes(&series.time, &series.values, &Settings::default()).expect("a real capture");
        let (Some(marker), Some(step)) = (marker, step) else {
            assert!(found.fine.is_empty() && found.coarse.is_empty(), "{name}: {found:?}");
            continue;
        };
        let near = found.fine.iter().any(|place| (series.time[*place] - step).abs() < 1e-3);
        assert!(near, "{name}: no change at {step} s in {:?}", found.fine);
        // At the marker itself the samples show nothing: two codes of the readback at most.
        let beside: Vec<f64> = series
            .time
            .iter()
            .zip(&series.values)
            .filter(|(time, _)| (**time - marker).abs() < 0.02)
            .map(|(_, amps)| *amps)
            .collect();
        let (least, most) =
            beside.iter().fold((f64::MAX, f64::MIN), |(a, b), amps| (a.min(*amps), b.max(*amps)));
        assert!(most - least < 0.005, "{name}: {least} to {most} A beside the marker");
    }
}

#[test]
fn a_stream_reports_a_large_jump_with_its_first_samples() {
    for seed in SEEDS {
        for (size, most) in [(20.0, 2), (6.0, 5), (3.0, 25)] {
            let signal = signals::one_jump(1000, size, 1100, seed);
            let mut stream = Stream::new(Settings::default());
            let mut told = None;
            for (index, (time, value)) in signal.time.iter().zip(&signal.values).enumerate() {
                stream.push(*time, *value).expect("a number");
                assert!(index >= 1000 || stream.open_since() == 0, "a false report at {index}");
                if stream.open_since() > 990 {
                    told = told.or(Some(index + 1 - 1000));
                }
            }
            assert!(told.is_some_and(|samples| samples <= most), "{size} SD: {told:?}");
        }
    }
}

#[test]
fn a_stream_ends_with_what_the_batch_says() {
    for stress in INDEPENDENT.into_iter().chain(BUSY) {
        let signal = stressed(stress, SEVERAL, 90);
        let mut stream = Stream::new(signals::settings());
        for (time, value) in signal.time.iter().zip(&signal.values) {
            stream.push(*time, *value).expect("a number");
        }
        assert_eq!(stream.changes().expect("samples"), cut(&signal), "{stress:?}");
    }
}

/// Samples as a readback may give them: levels, ties, constant stretches, codes, wild values.
fn readback() -> impl Strategy<Value = (Vec<f64>, Vec<f64>)> {
    let value = prop_oneof![
        8 => -1.0..1.0_f64,
        2 => Just(0.0),
        1 => (-4_i8..4).prop_map(|code| f64::from(code) * 0.25),
        1 => prop_oneof![Just(1e79), Just(-1e79), Just(f64::MIN_POSITIVE), -1e6..1e6_f64],
    ];
    let level = (prop_oneof![3 => -8.0..8.0_f64, 1 => Just(0.0)], prop::collection::vec(value, 1..60));
    let step = prop_oneof![4 => Just(0.0625), 1 => 1e-6..1.0_f64, 1 => Just(3600.0)];
    (prop::collection::vec(level, 1..6), prop::collection::vec(step, 300)).prop_map(|(runs, steps)| {
        let run = |(level, noise): (f64, Vec<f64>)| noise.into_iter().map(move |noise| level + noise);
        let values: Vec<f64> = runs.into_iter().flat_map(run).collect();
        let time = steps.into_iter().take(values.len()).scan(0.0, |time, step| {
            *time += step;
            Some(*time)
        });
        (time.collect(), values)
    })
}

/// Steps in noise that are nowhere near a tie, on a grid of times that shifts and scales without rounding.
fn steps() -> impl Strategy<Value = (Vec<f64>, Vec<f64>)> {
    let level = (1.0..40.0_f64, prop::collection::vec(-0.5..0.5_f64, 20..120));
    prop::collection::vec(level, 1..6).prop_map(|runs| {
        let run = |(level, noise): (f64, Vec<f64>)| noise.into_iter().map(move |noise| level + noise);
        let values: Vec<f64> = runs.into_iter().flat_map(run).collect();
        ((0..values.len()).map(|index| f64::from(u16::try_from(index).unwrap()) * 0.0625).collect(), values)
    })
}

fn is_within(changes: &[usize], count: usize) -> bool {
    let rising = changes.windows(2).all(|pair| pair[0] < pair[1]);
    rising
        && changes.first().is_none_or(|first| *first > 0)
        && changes.last().is_none_or(|last| *last < count)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn boundaries_are_in_order_within_and_nested((time, values) in readback()) {
        let found = changes(&time, &values, &Settings::default()).expect("numbers in order of time");
        for list in [&found.fine, &found.coarse, &found.spread] {
            prop_assert!(is_within(list, values.len()), "{list:?}");
            prop_assert!(list.iter().all(|change| found.fine.contains(change)), "{list:?} in {:?}", found.fine);
        }
        prop_assert!(found.spikes.iter().all(|spike| spike.start < spike.end && spike.end <= values.len()));
        prop_assert!(found.spikes.windows(2).all(|pair| pair[0].end <= pair[1].start), "{:?}", found.spikes);
        prop_assert!(found.noise.is_finite() && found.noise > 0.0 && found.rounding >= 0.0);
    }

    /// Nothing depends on when a run began, on which way the current is counted, or on the units of volts, amps or
    /// seconds if the settings are given in the same.
    #[test]
    fn shifted_scaled_or_reversed_in_sign_the_changes_are_the_same((time, values) in steps()) {
        let settings = Settings::default();
        let found = changes(&time, &values, &settings).expect("numbers in order of time");
        let shifted: Vec<f64> = time.iter().map(|time| time + 4096.0).collect();
        prop_assert_eq!(&changes(&shifted, &values, &settings).unwrap(), &found);
        let negative: Vec<f64> = values.iter().map(|value| -value).collect();
        prop_assert_eq!(&changes(&time, &negative, &settings).unwrap(), &found);
        let scaled: Vec<f64> = values.iter().map(|value| value * 1024.0).collect();
        let smallest_change = Amps::new(settings.smallest_change.value() * 1024.0).unwrap();
        let coarsest_step = Amps::new(settings.coarsest_step.value() * 1024.0).unwrap();
        let scales = Settings { smallest_change, coarsest_step, ..settings };
        let again = changes(&time, &scaled, &scales).unwrap();
        prop_assert_eq!((&again.fine, &again.coarse, &again.spread), (&found.fine, &found.coarse, &found.spread));
        let slower: Vec<f64> = time.iter().map(|time| time * 8.0).collect();
        let shortest_phase = Seconds::new(settings.shortest_phase.value() * 8.0).unwrap();
        let slowest_renewal = Seconds::new(settings.slowest_renewal.value() * 8.0).unwrap();
        let scales = Settings { shortest_phase, slowest_renewal, ..settings };
        prop_assert_eq!(&changes(&slower, &values, &scales).unwrap(), &found);
    }

    #[test]
    fn what_is_no_series_is_refused_by_its_sample(
        (mut time, mut values) in readback(),
        place in any::<prop::sample::Index>(),
        bad in prop_oneof![Just(f64::NAN), Just(f64::INFINITY), Just(f64::NEG_INFINITY), Just(1e80)],
        in_time in any::<bool>(),
    ) {
        let index = place.index(values.len());
        (if in_time { &mut time } else { &mut values })[index] = bad;
        let error = changes(&time, &values, &Settings::default()).unwrap_err();
        let named = matches!(error, SegmentError::NotANumber { index: found, .. } if found == index);
        prop_assert!(named, "{error:?} for sample {index}");
    }
}

#[test]
fn nothing_one_sample_and_equal_samples_have_the_obvious_answer() {
    let cut = |time: &[f64], values: &[f64]| changes(time, values, &Settings::default());
    assert_eq!(cut(&[], &[]), Err(SegmentError::NoSamples));
    assert_eq!(cut(&[0.0, 1.0], &[1.0]), Err(SegmentError::Lengths { times: 2, values: 1 }));
    assert_eq!(cut(&[0.0, 0.0], &[1.0, 2.0]), Err(SegmentError::Time { index: 1, found: 0.0, before: 0.0 }));
    for count in [1_u16, 2, 3, 31, 32, 33, 1000] {
        let time: Vec<f64> = (0..count).map(f64::from).collect();
        let found = cut(&time, &vec![0.1; usize::from(count)]).expect("equal samples");
        assert!(found.fine.is_empty() && found.coarse.is_empty() && found.spikes.is_empty(), "{found:?}");
    }
}
