//! How much of a log a picture shows by default: not the minutes before and after the feed.

use crate::trace::Trace;
use crate::verdict::{Finding, Phase};

/// Time without feed may take this share of the log at one end; more of it presses together what matters.
const MOST_OFF: f64 = 0.12;

/// Less than this many seconds is no wait, however short the rest.
const SHORT_S: f64 = 5.0;

/// So much of it is shown then, as a share of what is left.
const SHOWN: f64 = 0.05;

/// From the first to the last reading, but for a long time without feed at either end in which nobody marked anything:
/// nothing is drawn there, and the band of that time says how much of it is not shown.
pub(in crate::render) fn usual(trace: &Trace, finding: &Finding) -> Option<(f64, f64)> {
    let (first, last) = (*trace.time().first()?, *trace.time().last()?);
    let phases = &finding.phases;
    let off = |phase: Option<&Phase>| phase.is_some_and(|phase| phase.name == "off") && phases.len() > 1;
    let on = phases.first().filter(|first| off(Some(first))).map_or(first, |phase| phase.end_s.value());
    let end = phases.last().filter(|last| off(Some(last))).map_or(last, |phase| phase.start_s.value());
    if on >= end {
        return Some((first, last));
    }
    let margin = SHOWN * (end - on);
    let long = |length: f64| length > SHORT_S.max(MOST_OFF * (last - first)).max(margin);
    let quiet =
        |from: f64, to: f64| !trace.events().iter().any(|event| (from..to).contains(&event.time.value()));
    let from = Some(on - margin).filter(|from| long(on - first) && quiet(first, *from)).unwrap_or(first);
    let to = Some(end + margin).filter(|to| long(last - end) && quiet(*to, f64::INFINITY)).unwrap_or(last);
    Some((from, to))
}

#[cfg(test)]
mod tests {
    use super::super::super::fixtures::{finding, phase, trace};
    use super::*;

    #[test]
    fn long_times_without_feed_are_left_out_unless_somebody_marked_something() {
        // The fixture presses the button at a seventh of its length.
        let trace = trace(701, 70.0, |_| 0.5);
        let shown = |on: f64, end: f64| {
            let run = [phase("off", 0.0, on), phase("boot", on, end), phase("off", end, 70.0)];
            usual(&trace, &finding(run.to_vec())).unwrap()
        };
        assert_eq!(shown(9.5, 49.5), (7.5, 51.5));
        assert_eq!(shown(8.0, 65.0), (0.0, 70.0));
        assert_eq!(shown(4.0, 20.0), (0.0, 20.8), "a few seconds are no wait");
        // The press at 10 s is before the feed here.
        assert_eq!(shown(30.0, 50.0), (0.0, 51.0));
        assert_eq!(usual(&trace, &finding(vec![phase("off", 0.0, 70.0)])), Some((0.0, 70.0)));
    }
}
