//! The readings within the window, as columns, with gaps and stretches in current limit.

use super::super::axis::{TimeAxis, ValueAxis};
use super::super::columns::{self, Column};
use super::super::geometry::Rect;
use super::Subject;
use super::turning::OFF;
use crate::trace::{EventKind, Mode, Trace};
use crate::units::Amps;
use crate::verdict::{Class, RISES_S};

/// What the window shows of the readings.
#[derive(Debug)]
pub(in crate::render) struct Readings {
    pub(in crate::render) time: TimeAxis,
    pub(in crate::render) amps: Vec<Option<Column>>,
    pub(in crate::render) volts: Vec<Option<Column>>,
    /// Stretches without readings, each from the last before to the first after.
    pub(in crate::render) gaps: Vec<(f64, f64)>,
    /// Columns in current limit, as stretches of pixels from the left end of the axis.
    pub(in crate::render) limited: Vec<(i32, i32)>,
    /// When the good board that is shown beside it leaves its rest after a press that is set on one of this run.
    pub(in crate::render) beside_leaves: Option<f64>,
}

/// A supply that limits reads its limit, within about this share (common practice, no source). Where it does not say that
/// it limits, it is taken to when the amps are so near …
pub(in crate::render) const AT_LIMIT: f64 = 0.98;
/// … and the volts this far below what was set: both at once do not happen by load alone.
const BELOW_SET: f64 = 0.98;

impl Readings {
    pub(in crate::render) fn new(subject: &Subject, time: TimeAxis) -> Self {
        let trace = subject.trace;
        let gaps = gaps(subject);
        let mut amps = columns::columns(trace.time(), trace.amps(), &gaps, time.window());
        amps.iter_mut().flatten().for_each(|column| without_zero(subject, column));
        let volts = columns::columns(trace.time(), trace.volts(), &gaps, time.window());
        let limited = without_jitter(subject, &amps, limited(trace, &amps, time.left), time.left);
        let limited = without_the_rise(subject, limited, time);
        Self { time, amps, volts, gaps, limited, beside_leaves: None }
    }

    /// How many columns of the amps something in `spot` would hide.
    pub(in crate::render) fn hidden(&self, axis: ValueAxis, spot: Rect) -> usize {
        let across = |x: &i32| (spot.left..spot.right).contains(x);
        let columns = (self.time.left..).zip(&self.amps).filter(|(x, _)| across(x));
        let meets = |column: &Column| axis.row(column.high) < spot.bottom && axis.row(column.low) >= spot.top;
        columns.filter(|(_, column)| column.as_ref().is_some_and(meets)).count()
    }

    /// Whether the line of the trace passes the spot, its steps from one column to the next with it.
    pub(in crate::render) fn cross(&self, axis: ValueAxis, spot: Rect) -> bool {
        let across = |x: i32| (spot.left..spot.right).contains(&x);
        let meets = |pair: &[Option<Column>]| match pair {
            [Some(a), Some(b)] => {
                axis.row(a.high.max(b.high)) < spot.bottom && axis.row(a.low.min(b.low)) >= spot.top
            }
            _ => false,
        };
        (self.time.left + 1..).zip(self.amps.windows(2)).any(|(x, pair)| across(x) && meets(pair))
    }

    /// Whether the window shows some of a stretch without readings.
    pub(in crate::render) fn has_gaps(&self) -> bool {
        self.gaps.iter().any(|(start, end)| *end > self.time.from && *start < self.time.to)
    }

    /// Highest amps drawn, 0 if none.
    pub(in crate::render) fn highest_amps(&self) -> f64 {
        self.amps.iter().flatten().map(|column| column.high).fold(0.0, f64::max)
    }

    /// Lowest amps drawn, 0 if none is negative.
    pub(in crate::render) fn lowest_amps(&self) -> f64 {
        self.amps.iter().flatten().map(|column| column.low).fold(0.0, f64::min)
    }
}

/// Takes off what the supply reads with nothing drawn, as the finding does: picture and words say the same.
fn without_zero(subject: &Subject, column: &mut Column) {
    let drawn = |read: f64| subject.finding.log.drawn(read);
    let Column { low, high, enter, leave, .. } = column;
    for value in [low, high, leave].into_iter().chain(enter) {
        *value = drawn(*value);
    }
}

/// The finding's gaps and those that the log marks itself, in order and without overlap.
fn gaps(subject: &Subject) -> Vec<(f64, f64)> {
    let times = subject.trace.time();
    let found = subject.finding.log.gaps.iter().map(|gap| (gap.start_s.value(), gap.end_s.value()));
    let marked = subject.trace.events().iter().filter(|event| matches!(event.kind, EventKind::Gap));
    let marked = marked.filter_map(|event| {
        // A gap that shares its row with a reading begins at that reading; else at the reading before.
        let here = times.get(event.sample).copied()?;
        if here <= event.time.value() {
            Some((here, *times.get(event.sample + 1)?))
        } else {
            Some((*times.get(event.sample.checked_sub(1)?)?, here))
        }
    });
    let mut all: Vec<(f64, f64)> = found.chain(marked).filter(|(start, end)| start < end).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    all.dedup_by(|later, earlier| {
        let joined = later.0 < earlier.1;
        if joined {
            earlier.1 = earlier.1.max(later.1);
        }
        joined
    });
    all
}

/// Stretches of columns in which the supply limited its current, by its own word or else by volts and amps.
fn limited(trace: &Trace, amps: &[Option<Column>], left: i32) -> Vec<(i32, i32)> {
    let mut stretches: Vec<(i32, i32)> = Vec::new();
    let mut standing = false;
    for (x, column) in (left..).zip(amps) {
        let Some(column) = column else {
            standing = false;
            continue;
        };
        let here = column.samples.clone().any(|index| in_limit(trace, index));
        let holds = if column.samples.is_empty() { standing } else { here };
        standing = column.samples.end.checked_sub(1).is_some_and(|last| holds && in_limit(trace, last));
        match stretches.last_mut() {
            Some(last) if holds && last.1 == x => last.1 = x + 1,
            _ if holds => stretches.push((x, x + 1)),
            _ => {}
        }
    }
    stretches
}

/// Stretches that are apart only because readings jitter below the limit, as one: volts that stay down while the amps keep
/// within a step or so of the limit are still held there by it.
fn without_jitter(
    subject: &Subject,
    amps: &[Option<Column>],
    stretches: Vec<(i32, i32)>,
    left: i32,
) -> Vec<(i32, i32)> {
    let column = |x: i32| amps.get(usize::try_from(x - left).ok()?)?.as_ref();
    let holds = |x: i32| column(x).is_some_and(|column| column.samples.clone().all(|i| is_held(subject, i)));
    let mut joined: Vec<(i32, i32)> = Vec::new();
    for (from, to) in stretches {
        match joined.last_mut() {
            Some(last) if (last.1..from).all(holds) => last.1 = to,
            _ => joined.push((from, to)),
        }
    }
    joined
}

/// Without those that are over while the feed rises: that a supply meets its limit as it charges what it feeds is no sign of
/// anything, unless what it feeds is a short.
fn without_the_rise(subject: &Subject, mut stretches: Vec<(i32, i32)>, time: TimeAxis) -> Vec<(i32, i32)> {
    if matches!(subject.finding.verdict.class, Class::HardShort | Class::PartialShort) {
        return stretches;
    }
    let on = subject.finding.phases.windows(2).filter(|pair| pair[0].name == OFF && pair[1].name != OFF);
    let on: Vec<f64> = on.map(|pair| pair[1].start_s.value()).collect();
    // When the feed comes is known to a reading or so.
    let early = subject.finding.log.update_s().unwrap_or(0.0);
    let rises = |(left, right): &(i32, i32)| {
        on.iter().any(|on| time.x(on - early) <= *left && *right <= time.x(on + RISES_S) + 1)
    };
    stretches.retain(|stretch| !rises(stretch));
    stretches
}

/// Whether a reading may be of a supply in its limit, whatever it says itself.
fn is_held(subject: &Subject, index: usize) -> bool {
    /// A readback is off by a step or two of its last place (common practice, no source).
    const JITTER: f64 = 2.0;
    let header = subject.trace.header();
    let (Some(limit), Some(set)) = (subject.finding.log.limit_a.or(header.limit), header.set_volts) else {
        return false;
    };
    let step = subject.resolution().map_or(0.0, Amps::value);
    let least = (AT_LIMIT * limit.value()).min(limit.value() - JITTER * step);
    subject.trace.amps()[index] >= least && subject.trace.volts()[index] < BELOW_SET * set.value()
}

fn in_limit(trace: &Trace, index: usize) -> bool {
    match trace.mode(index) {
        Mode::ConstantCurrent => true,
        Mode::Off => false,
        // A supply that is out of its limit again when it is asked for its mode has read the amps of it all the same.
        Mode::ConstantVoltage | Mode::Unknown => {
            let (header, amps, volts) = (trace.header(), trace.amps()[index], trace.volts()[index]);
            let at_limit = header.limit.is_some_and(|limit| amps >= AT_LIMIT * limit.value());
            at_limit && header.set_volts.is_some_and(|set| volts < BELOW_SET * set.value())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::fixtures::{finding, phase, trace_at};
    use super::*;
    use crate::units::Volts;

    /// The stretches in limit of a run at a limit of 3 A that reads `amps` at `volts` in its third quarter's middle.
    fn stretches(amps: f64, volts: f64) -> usize {
        let dips = |index: u32| (55..60).contains(&index);
        let trace = trace_at(
            100,
            10.0,
            |index| if dips(index) { amps } else { 3.0 },
            |index| if dips(index) { volts } else { 6.0 },
        );
        let mut finding = finding(vec![phase("boot", 0.0, 10.0)]);
        finding.log.resolution_a = Amps::new(0.05).ok();
        finding.log.set_v = Volts::new(12.8).ok();
        let subject = Subject { trace: &trace, profile: None, finding: &finding };
        Readings::new(&subject, TimeAxis { left: 0, right: 500, from: 0.0, to: 10.0 }).limited.len()
    }

    #[test]
    fn amps_are_drawn_without_what_the_supply_reads_with_nothing_drawn() {
        let trace = trace_at(100, 10.0, |_| 0.014, |_| 5.2);
        let mut finding = finding(vec![phase("standby", 0.0, 10.0)]);
        finding.log.zero_a = Amps::new(-0.002).ok();
        let subject = Subject { trace: &trace, profile: None, finding: &finding };
        let readings = Readings::new(&subject, TimeAxis { left: 0, right: 500, from: 0.0, to: 10.0 });
        assert!((readings.highest_amps() - 0.016).abs() < 1e-12, "{}", readings.highest_amps());
    }

    #[test]
    fn a_limit_that_is_met_while_the_feed_rises_marks_no_fault_unless_it_is_a_short() {
        let limited = |from: u32, class: Class| {
            let at = |index: u32| (from..from + 3).contains(&index);
            let amps = |index: u32| if at(index) { 3.0 } else { 0.2 };
            let volts = |index: u32| if at(index) { 5.0 } else { 12.8 };
            let trace = trace_at(201, 20.0, amps, volts);
            let mut finding = finding(vec![phase("off", 0.0, 5.0), phase("boot", 5.0, 20.0)]);
            finding.verdict.class = class;
            let subject = Subject { trace: &trace, profile: None, finding: &finding };
            Readings::new(&subject, TimeAxis { left: 0, right: 600, from: 0.0, to: 20.0 }).limited.len()
        };
        assert_eq!([50, 58].map(|from| limited(from, Class::FeedLimited)), [0, 1]);
        assert_eq!(limited(50, Class::HardShort), 1);
    }

    #[test]
    fn a_reading_at_the_limit_with_the_volts_down_is_one_of_it_whatever_mode_is_told_with_it() {
        use crate::trace::{Header, Sample, TraceBuilder};
        use crate::units::Seconds;
        let limits = |amps: f64, volts: f64, mode: Mode| {
            let header =
                Header { limit: Amps::new(3.0).ok(), set_volts: Volts::new(12.8).ok(), ..Header::default() };
            let mut builder = TraceBuilder::new(header);
            let (amps, volts) = (Amps::constant(amps), Volts::constant(volts));
            builder.sample(Sample { time: Seconds::constant(0.0), volts, amps, mode, span: None }).unwrap();
            in_limit(&builder.finish(), 0)
        };
        let modes = [Mode::ConstantCurrent, Mode::ConstantVoltage, Mode::Unknown, Mode::Off];
        assert_eq!(modes.map(|mode| limits(3.0, 10.5, mode)), [true, true, true, false]);
        assert_eq!(modes.map(|mode| limits(3.0, 12.8, mode)), [true, false, false, false]);
        assert_eq!(modes.map(|mode| limits(2.0, 10.5, mode)), [true, false, false, false]);
    }

    #[test]
    fn jitter_below_the_limit_makes_no_holes_where_the_volts_stay_down() {
        assert_eq!(stretches(2.9, 6.0), 1);
        // A board that draws less, or is fed again, is out of the limit.
        assert_eq!(stretches(2.5, 6.0), 2);
        assert_eq!(stretches(2.9, 12.8), 2);
    }
}
