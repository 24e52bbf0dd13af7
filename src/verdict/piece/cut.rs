//! Where a segment is cut besides: at every turn of a load that goes up and down, and beside readings that average over an
//! edge.
//!
//! Both take ranges of samples in order and give the same samples in order, in as many ranges or more, none of them empty.

use crate::share::each;
use crate::stats::robust;
use crate::trace::Trace;
use crate::verdict::readout::Readout;
use rayon::prelude::*;
use std::ops::Range;

/// A load that goes up and down by this factor is no level: stages of a board lie about as far apart, and its bursts are
/// less (common practice, no source).
const FAR_APART: f64 = 2.5;
/// Tenths of the readings that lie beyond the low and the high end of the way: what is rarer is a spike.
const FEW_TENTHS: usize = 1;
/// Between these tenths of its readings a normal noise reaches over 2.6 standard deviations (2 Φ⁻¹(0.9)), and hardly over
/// this many.
const BEYOND_NOISE: f64 = 3.0;
/// Share of the way up below which a reading is down, and above which it is up, where a busy load may be.
const NEARLY_DOWN: f64 = 0.1;
const NEARLY_UP: f64 = 0.6;
/// Fewer turns than this are an edge or a pulse, which the segmentation has found already.
const FEWEST_TURNS: usize = 4;
/// The median of so many readings is that of all but one of them: the reading next to it in order is as good a level.
const MANY: usize = 1 << 14;

/// The same segments, each in which the load goes up and down by [`FAR_APART`] again and again cut wherever it does.
///
/// To a supply that is renewed hardly faster than a board tries, attempts are a level with much noise; but no level of
/// its own goes so far up and down, and what lies between is what tells a rest from a stage.
pub(super) fn at_turns(
    trace: &Trace,
    segments: Vec<Range<usize>>,
    set_v: f64,
    readout: &Readout,
) -> Vec<Range<usize>> {
    segments.into_par_iter().flat_map_iter(|segment| ups_and_downs(trace, segment, set_v, readout)).collect()
}

fn ups_and_downs(trace: &Trace, samples: Range<usize>, set_v: f64, readout: &Readout) -> Vec<Range<usize>> {
    let watts = |i: usize| power(trace, i, set_v, readout);
    let Some((low, high)) = ends(&samples, watts) else { return vec![samples] };
    let noise = BEYOND_NOISE * readout.noise_a * set_v;
    if high < FAR_APART * low || high - low < noise {
        return vec![samples];
    }
    // Between down and up: an average over an edge is anything between the two levels, with equal chances.
    let share = |i: usize| (watts(i) - low) / (high - low);
    let side = |i: usize| (share(i) > NEARLY_DOWN, share(i) > NEARLY_UP);
    let turns: Vec<usize> = samples.clone().skip(1).filter(|i| side(*i) != side(i - 1)).collect();
    if turns.len() < FEWEST_TURNS {
        return vec![samples];
    }
    let starts = std::iter::once(samples.start).chain(turns.iter().copied());
    starts.zip(turns.iter().copied().chain([samples.end])).map(|(from, to)| from..to).collect()
}

/// Power at sample `i` in watts, with a step of the readback added: nothing drawn is no zero to be divided by.
fn power(trace: &Trace, i: usize, set_v: f64, readout: &Readout) -> f64 {
    let step = (readout.step_a * set_v).max(1e-9);
    (trace.volts()[i] * (trace.amps()[i] - readout.zero_a)).max(0.0) + step
}

/// The low and the high end of the way that the power of `samples` goes.
fn ends(samples: &Range<usize>, watts: impl Fn(usize) -> f64) -> Option<(f64, f64)> {
    let mut all = robust::enough(samples.len(), |i| watts(samples.start + i));
    let last = all.len().checked_sub(1)?;
    let mut at = |tenths: usize| *all.select_nth_unstable_by(last * tenths / 10, f64::total_cmp).1;
    Some((at(FEW_TENTHS), at(10 - FEW_TENTHS)))
}

/// The same stretches, with every reading that averages over the edge between two of them cut off.
pub(super) fn without_edges(trace: &Trace, ranges: &[Range<usize>], readout: &Readout) -> Vec<Range<usize>> {
    let samples = ranges.iter().map(Range::len).sum();
    let levels = each(ranges, samples, |range| level(trace, range.clone()));
    let at = |index: Option<usize>| index.and_then(|index| levels.get(index).copied()).flatten();
    let numbered: Vec<(usize, &Range<usize>)> = ranges.iter().enumerate().collect();
    let parts = |(index, range): &(usize, &Range<usize>)| {
        let beside = (at(index.checked_sub(1)), at(Some(index + 1)));
        let own = at(Some(*index)).filter(|_| range.len() >= MANY);
        without_its_edges(trace, range, own, beside, readout)
    };
    each(&numbered, samples, parts).concat()
}

/// The stretch between the levels `before` and `after` it, cut likewise. Its `own` level is that of all its readings where that
/// is known.
fn without_its_edges(
    trace: &Trace,
    range: &Range<usize>,
    own: Option<f64>,
    (before, after): (Option<f64>, Option<f64>),
    readout: &Readout,
) -> Vec<Range<usize>> {
    let (mut found, mut inner) = (Vec::new(), range.clone());
    let first = range.start..end_of_reading(trace, range);
    if averages_over_edge(trace, &first, first.end..range.end, (own, before), readout) {
        inner.start = first.end;
        found.push(first);
    }
    let last = start_of_reading(trace, &inner)..range.end;
    if averages_over_edge(trace, &last, inner.start..last.start, (own, after), readout) {
        found.extend([inner.start..last.start, last]);
    } else {
        found.push(inner);
    }
    found
}

/// Median amps of a stretch.
fn level(trace: &Trace, samples: Range<usize>) -> Option<f64> {
    robust::median_at(samples.len(), |i| trace.amps()[samples.start + i])
}

/// Where the first fresh reading of a stretch ends: polls repeat it until the supply has another.
fn end_of_reading(trace: &Trace, samples: &Range<usize>) -> usize {
    (samples.start + 1..samples.end).find(|i| trace.is_fresh(*i)).unwrap_or(samples.end)
}

/// Where its last fresh reading starts.
fn start_of_reading(trace: &Trace, samples: &Range<usize>) -> usize {
    (samples.start + 1..samples.end).rev().find(|i| trace.is_fresh(*i)).unwrap_or(samples.start)
}

/// Whether `reading` lies between the level of the `rest` of its stretch and the `other` level beside it, clearly off the
/// former. The level of the rest is `own` where that is known.
fn averages_over_edge(
    trace: &Trace,
    reading: &Range<usize>,
    rest: Range<usize>,
    (own, other): (Option<f64>, Option<f64>),
    readout: &Readout,
) -> bool {
    /// Share of the step between the levels that is no noise of a busy load.
    const CLEARLY_OFF: f64 = 0.2;
    /// ... nor of the readback, in standard deviations.
    const CLEARLY_OFF_SDS: f64 = 4.0;
    let (Some(other), Some(amps)) = (other, level(trace, reading.clone())) else { return false };
    let Some(own) = own.or_else(|| level(trace, rest.clone())) else { return false };
    let (off, step) = (amps - own, other - own);
    let share = off / step;
    (CLEARLY_OFF..1.0).contains(&share) && off.abs() > CLEARLY_OFF_SDS * noise_of(trace, rest, readout)
}

/// Noise of the readings of a stretch, in amps: its own where that is less than what the readings of the whole log show, in which
/// a busy load may have a part.
fn noise_of(trace: &Trace, samples: Range<usize>, readout: &Readout) -> f64 {
    /// Fewer readings show no noise.
    const FEWEST: usize = 8;
    let mut read = robust::enough(samples.len(), |i| trace.amps()[samples.start + i]);
    let own = robust::deviation(&mut read).filter(|_| samples.len() >= FEWEST);
    own.map_or(readout.noise_a, |own| own.max(readout.step_a).min(readout.noise_a))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::segment::{Settings, segment};
    use crate::trace::{Header, Mode, Sample, TraceBuilder};
    use crate::units::{Amps, Seconds, Volts};
    use proptest::prelude::*;

    const SET_V: f64 = 12.0;

    /// A log of ten readings a second at [`SET_V`], in milliamperes.
    fn trace(amps_m: &[u32]) -> Trace {
        let mut builder = TraceBuilder::new(Header::default());
        for (index, amps_m) in (0_u32..).zip(amps_m) {
            let time = Seconds::constant(f64::from(index) * 0.1);
            let (volts, amps) = (Volts::constant(SET_V), Amps::constant(f64::from(*amps_m) * 0.001));
            builder.sample(Sample { time, volts, amps, mode: Mode::Unknown, span: None }).unwrap();
        }
        builder.finish()
    }

    fn readout(trace: &Trace) -> Readout {
        let cut = segment(trace, &Settings::default()).unwrap();
        Readout::of(trace, Readout::timing(trace), &cut)
    }

    fn cut(trace: &Trace, segments: &[Range<usize>]) -> (Vec<Range<usize>>, Vec<Range<usize>>) {
        let readout = readout(trace);
        let turns = at_turns(trace, segments.to_vec(), SET_V, &readout);
        let inner = without_edges(trace, &turns, &readout);
        (turns, inner)
    }

    fn whole(count: usize) -> Vec<Range<usize>> {
        std::iter::once(0..count).collect()
    }

    /// Current of a board that rests, tries, is on its way, or draws anything.
    fn reading() -> impl Strategy<Value = u32> {
        prop_oneof![3 => 20..24_u32, 3 => 980..1020_u32, 1 => 0..1500_u32]
    }

    /// Readings, each repeated as often as a poll may find it again, and where they are cut.
    fn segmented() -> impl Strategy<Value = (Vec<u32>, Vec<Range<usize>>)> {
        let readings = prop::collection::vec((reading(), 1..4_usize), 1..80);
        (readings, prop::collection::vec(0.0..1.0_f64, 0..8)).prop_map(|(readings, cuts)| {
            let repeated = |(amps_m, times): (u32, usize)| std::iter::repeat_n(amps_m, times);
            let amps_m: Vec<u32> = readings.into_iter().flat_map(repeated).collect();
            let count = u32::try_from(amps_m.len()).unwrap();
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share of a count")]
            let at = |share: f64| (share * f64::from(count)) as usize;
            let mut bounds: Vec<usize> = cuts.into_iter().map(at).chain([0, amps_m.len()]).collect();
            bounds.sort_unstable();
            bounds.dedup();
            let segments = bounds.windows(2).map(|pair| pair[0]..pair[1]).collect();
            (amps_m, segments)
        })
    }

    /// Whether `ranges` hold all samples up to `count` in order, none of them empty.
    fn cover(ranges: &[Range<usize>], count: usize) -> bool {
        let joined = ranges.windows(2).all(|pair| pair[0].end == pair[1].start);
        let ends = ranges.first().map(|range| range.start).zip(ranges.last().map(|range| range.end));
        joined && ends == Some((0, count)) && ranges.iter().all(|range| !range.is_empty())
    }

    proptest! {
        #[test]
        fn the_parts_hold_the_same_samples_in_order((amps_m, segments) in segmented()) {
            let (turns, inner) = cut(&trace(&amps_m), &segments);
            for parts in [&turns, &inner] {
                prop_assert!(cover(parts, amps_m.len()), "{parts:?}");
            }
            let ends = |parts: &[Range<usize>], end: usize| parts.iter().any(|part| part.end == end);
            prop_assert!(segments.iter().all(|segment| ends(&turns, segment.end)), "{turns:?}");
            prop_assert!(turns.iter().all(|turn| ends(&inner, turn.end)), "{inner:?}");
        }
    }

    #[test]
    fn a_load_that_goes_up_and_down_is_cut_at_every_turn_and_a_single_pulse_is_not() {
        let level = |amps_m: u32| (0..5_u32).map(move |index| amps_m + index % 2);
        let up_and_down: Vec<u32> = [20, 1000, 20, 1000, 20].into_iter().flat_map(level).collect();
        let (turns, _) = cut(&trace(&up_and_down), &whole(25));
        assert_eq!(turns, [0..5, 5..10, 10..15, 15..20, 20..25]);
        let pulse: Vec<u32> = [20, 1000, 20].into_iter().flat_map(level).collect();
        assert_eq!(cut(&trace(&pulse), &whole(15)).0, whole(15));
    }

    #[test]
    fn a_reading_between_two_levels_is_cut_off_on_the_side_that_it_was_given_to() {
        let level = |amps_m: u32| (0..10_u32).map(move |index| amps_m + index % 3);
        let amps_m: Vec<u32> = level(20).chain([500]).chain(level(1000)).collect();
        let trace = trace(&amps_m);
        for segments in [[0..10, 10..21], [0..11, 11..21]] {
            assert_eq!(cut(&trace, &segments).1, [0..10, 10..11, 11..21], "{segments:?}");
        }
    }

    #[test]
    fn a_segment_of_one_reading_is_left_as_it_is() {
        let amps_m = [20, 20, 21, 500, 1000, 1001, 1000];
        assert_eq!(cut(&trace(&amps_m), &[0..3, 3..4, 4..7]).1, [0..3, 3..4, 4..7]);
        assert_eq!(cut(&trace(&[20]), &whole(1)).1, whole(1));
    }

    #[test]
    fn the_noise_of_a_quiet_stretch_is_its_own() {
        let rest = [19, 20, 21, 20].repeat(6);
        let trace = trace(&[&rest[..], &[50], &[130; 12]].concat());
        let cut = |noise_a: f64| {
            let mut readout = readout(&trace);
            (readout.noise_a, readout.step_a) = (noise_a, 0.001);
            without_edges(&trace, &[0..25, 25..37], &readout)
        };
        // As where a busy load has a part in what the readings of the whole log show.
        assert_eq!(cut(0.012), [0..24, 24..25, 25..37]);
        assert_eq!(cut(0.001), cut(0.012));
    }
}
