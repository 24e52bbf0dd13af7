//! Starts that are none: the readings of a rest, taken for starts because nothing better was found for them.

use super::FEW;
use crate::stats::robust;
use crate::trace::Trace;
use crate::verdict::Attempt;
use crate::verdict::engine::Analysis;
use crate::verdict::phases::without_zero;
use crate::verdict::readout::Readout;

/// The starts without those whose readings are for the most part those of a rest.
pub(super) fn without_rests(
    starts: Vec<Attempt>,
    trace: &Trace,
    analysis: &Analysis,
    readout: &Readout,
) -> Vec<Attempt> {
    let known = analysis.model.of_this_board && analysis.model.standby.watts.is_some();
    if !known {
        return starts;
    }
    let rest_a = (analysis.model.standby.high + analysis.leak_w) / analysis.run.set_v + analysis.step_a;
    let drawn_a = |start: &Attempt| {
        let at = |time: f64| trace.time().partition_point(|t| *t < time);
        let read = at(start.start_s.value())..at(start.end_s.value());
        let amps = trace.amps().get(read).unwrap_or_default();
        robust::median(&mut amps.iter().map(|amps| without_zero(*amps, readout.zero_a)).collect::<Vec<f64>>())
    };
    without_low(starts, drawn_a, rest_a)
}

/// The starts without those that draw no more than `rest_a` for most of their time, where the others peak far above that.
fn without_low(
    mut starts: Vec<Attempt>,
    drawn_a: impl Fn(&Attempt) -> Option<f64>,
    rest_a: f64,
) -> Vec<Attempt> {
    /// Times a rest that starts usually peak at, where the two are not to be mistaken for each other (by judgement).
    const CLEARLY: f64 = 4.0;
    /// Share of what starts usually draw that one draws as well, however near that is to a rest (by judgement).
    const AS_USUAL: f64 = 0.5;
    let usual = robust::median(&mut starts.iter().map(|start| start.peak_a.value()).collect::<Vec<f64>>());
    if starts.len() >= FEW && usual.is_some_and(|usual| usual >= CLEARLY * rest_a) {
        let draw = robust::median(&mut starts.iter().filter_map(&drawn_a).collect::<Vec<f64>>());
        let low_a = draw.map_or(rest_a, |usual| rest_a.min(AS_USUAL * usual));
        // The first readings of one that is still on are over its edge.
        starts.retain(|start| !start.given_up || drawn_a(start).is_none_or(|drawn| drawn > low_a));
    }
    starts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Amps, Seconds, Volts};

    /// The readings of a board that stands by at 5 mA, after its switch-on, at a flicker, and in two of its tries.
    #[test]
    fn what_reads_as_a_rest_for_most_of_its_time_is_no_start() {
        let start = |from: f64, peak_a: f64| Attempt {
            start_s: Seconds::constant(from),
            end_s: Seconds::constant(from + 1.0),
            ended_in: None,
            likely_in: None,
            earliest_in: None,
            peak_a: Amps::constant(peak_a),
            lowest_v: Volts::constant(24.0),
            given_up: true,
        };
        let drawn = |start: &Attempt| match start.start_s.value() {
            from if from < 4.0 => Some(0.0075),
            _ => Some(0.19),
        };
        let all =
            vec![start(1.9, 0.145), start(3.4, 0.01), start(4.4, 0.235), start(6.6, 0.22), start(9.4, 0.22)];
        let kept = without_low(all.clone(), drawn, 0.011);
        assert_eq!(kept, all[2..]);
        let on = Attempt { given_up: false, ..start(3.4, 0.01) };
        let ends_on = [&all[2..], &[on]].concat();
        assert_eq!(without_low(ends_on.clone(), drawn, 0.011), ends_on, "one that is on when the log ends");
        // One that draws no more than a rest may, and no less than the others.
        let alike = |start: &Attempt| Some(if start.start_s.value() < 6.0 { 0.02 } else { 0.025 });
        assert_eq!(without_low(all[2..].to_vec(), alike, 0.02).len(), 3);
        // Where a try peaks at little more than a rest, nothing is told by that.
        assert_eq!(without_low(all.clone(), drawn, 0.1).len(), 5);
        assert_eq!(without_low(all[..2].to_vec(), drawn, 0.011).len(), 2, "nothing else to count");
    }
}
