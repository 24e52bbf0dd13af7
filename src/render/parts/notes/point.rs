//! The point that a note speaks of, and what around it is to be seen beside its words.

use super::super::super::columns::Column;
use super::super::super::sheet::Sheet;
use super::super::amps::Axes;
use super::super::readings::Readings;
use super::Note;
use super::marks::{DOT, dot};
use super::spots::Moment;

/// Where what a note speaks of is seen to happen: at its dot, and up to the line of its moment and right after it.
pub(super) fn moment(sheet: &Sheet, readings: &Readings, note: &Note, point: (i32, i32)) -> Moment {
    /// What a board did right before, and where it went, in units of the layout.
    const BEFORE: f64 = 24.0;
    const AFTER: f64 = 8.0;
    let line = readings.time.x_within(note.at);
    let (first, last) = (line.min(point.0), line.max(point.0));
    let columns = (first - sheet.u(sheet.mark(BEFORE)), last + sheet.u(sheet.mark(AFTER)));
    Moment { point, dot: dot(sheet, point).grown(sheet.u(4.0)), columns }
}

/// How far from the line of its moment a dot still belongs to it, in units of the layout: as far as the edge of a stage
/// spreads.
pub(super) const BESIDE: f64 = 30.0;

/// The point that a note speaks of: where the trace is at the level that its words tell, as near as can be to the line of the
/// moment; of a level that the trace does not have there, on the trace where that is nearest to it.
pub(super) fn point(sheet: &Sheet, readings: &Readings, axes: Axes, note: &Note) -> (i32, i32) {
    let line = readings.time.x_within(note.at);
    let wanted = readings.time.x_within(note.point_at.unwrap_or(note.at));
    let beside = sheet.u(BESIDE);
    // What is met only later is no place on the edge that leads to it, nor on an inrush.
    let near = if (line - beside..=line).contains(&wanted) {
        Near { about: line, from: line - beside, to: line + beside }
    } else {
        let from = if wanted > line { wanted } else { wanted - beside };
        Near { about: wanted, from, to: wanted + beside }
    };
    let (x, y) = on_trace(readings, axes, note.amps, (near, wanted, sheet.u(sheet.mark(AT_LEVEL))))
        .unwrap_or((wanted, axes.main.area.center().1));
    // The dot stays within the strips: what is said above and below them is to be read.
    let floor = axes.quiet.unwrap_or(axes.main).area.bottom;
    (x, y.min(floor - sheet.u(sheet.mark(DOT)) - 1).max(axes.main.area.top + sheet.u(sheet.mark(DOT))))
}

/// What a level is off by no more than this is hidden below the dot, in units of the layout.
const AT_LEVEL: f64 = 4.0;

/// The columns among which the place of a dot is looked for, and that to which it is to be as near as can be.
#[derive(Debug, Clone, Copy)]
struct Near {
    about: i32,
    from: i32,
    to: i32,
}

/// Where the trace has the level, near the column that is said; without a level, or where nothing was read so near, the
/// nearest column of all to `wanted`.
fn on_trace(
    readings: &Readings,
    axes: Axes,
    amps: Option<f64>,
    (Near { about, from, to }, wanted, slack): (Near, i32, i32),
) -> Option<(i32, i32)> {
    let near = (readings.time.left..).zip(&readings.amps).filter(|(x, _)| (from..=to).contains(x));
    let near = near.filter_map(|(x, column)| Some((x, column.as_ref()?)));
    let found = amps.and_then(|amps| {
        let y = axes.row(amps);
        let rows = |column: &Column| rows_of(axes, column);
        let off = |column: &Column| (rows(column).0 - y).max(y - rows(column).1).max(0);
        let far = |column: &Column| if off(column) <= slack { 0 } else { off(column) };
        let (x, column) = near.min_by_key(|(x, column)| (far(column), (x - about).abs()))?;
        Some((x, y.clamp(rows(column).0, rows(column).1)))
    });
    found.or_else(|| {
        let (x, column) = nearest(readings, wanted)?;
        Some((x, axes.row(amps.map_or(column.leave, |amps| amps.clamp(column.low, column.high)))))
    })
}

/// The upper and the lower row of a column. What lies below the magnified strip is in the one above it, so that the lower
/// reading may have the upper row.
fn rows_of(axes: Axes, column: &Column) -> (i32, i32) {
    let (high, low) = (axes.row(column.high), axes.row(column.low));
    (high.min(low), high.max(low))
}

/// The column of the trace at `x`, or else the one that is nearest to it, with its place.
fn nearest(readings: &Readings, x: i32) -> Option<(i32, &Column)> {
    let all = (readings.time.left..).zip(&readings.amps);
    let shown = all.filter_map(|(at, column)| Some((at, column.as_ref()?)));
    shown.min_by_key(|(at, _)| (at - x).abs())
}

#[cfg(test)]
mod tests {
    use super::super::super::super::axis::{TimeAxis, ValueAxis};
    use super::super::super::super::fixtures::{finding, phase, trace};
    use super::super::super::super::geometry::Rect;
    use super::super::super::super::options::Options;
    use super::super::super::Subject;
    use super::*;

    #[test]
    fn a_dot_lies_on_the_trace_whatever_level_its_words_tell() {
        let (trace, finding) = (trace(600, 60.0, |_| 0.5), finding(vec![phase("run", 0.0, 60.0)]));
        let subject = Subject { trace: &trace, profile: None, finding: &finding };
        let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 80.0 };
        let readings = Readings::new(&subject, time);
        let main = ValueAxis { area: Rect::new(0, 0, 600, 400), low: 0.0, high: 3.0 };
        let sheet = Sheet::new(&Options::default(), (440.0, 560.0));
        let note = |at: f64, amps: Option<f64>| Note {
            at,
            point_at: None,
            amps,
            lines: Vec::new(),
            more: 0,
            placed: true,
        };
        let point = |note: &Note| point(&sheet, &readings, Axes { main, quiet: None }, note);
        for amps in [None, Some(0.5), Some(2.0), Some(0.1)] {
            assert_eq!(point(&note(30.0, amps)), (time.x(30.0), main.row(0.5)), "{amps:?}");
        }
        // After the last reading there is no trace: it stands at its end.
        let (x, y) = point(&note(79.0, Some(2.0)));
        assert!((time.x(59.0)..=time.x(60.0)).contains(&x) && y == main.row(0.5), "{x} {y}");
    }

    #[test]
    fn a_dot_stands_at_its_moment_where_the_trace_is_as_good_as_at_the_level() {
        // From 30 s to 31 s it is a line's width above it.
        let level = |index: u32| if (300..310).contains(&index) { 0.52 } else { 0.5 };
        let (trace, finding) = (trace(600, 59.9, level), finding(vec![phase("run", 0.0, 60.0)]));
        let subject = Subject { trace: &trace, profile: None, finding: &finding };
        let time = TimeAxis { left: 0, right: 600, from: 0.0, to: 80.0 };
        let readings = Readings::new(&subject, time);
        let main = ValueAxis { area: Rect::new(0, 0, 600, 400), low: 0.0, high: 3.0 };
        let sheet = Sheet::new(&Options::default(), (440.0, 560.0));
        let note =
            Note { at: 30.5, point_at: None, amps: Some(0.5), lines: Vec::new(), more: 0, placed: true };
        assert_eq!(point(&sheet, &readings, Axes { main, quiet: None }, &note).0, time.x(30.5));
    }

    #[test]
    fn a_dot_is_found_on_a_line_from_the_magnified_strip_to_what_only_the_other_shows() {
        // A reading far below zero lies below the magnified strip, and in the one above it.
        let level = |index: u32| if index.is_multiple_of(2) { 0.01 } else { -5.0 };
        let (trace, finding) = (trace(600, 1.0, level), finding(vec![phase("run", 0.0, 1.0)]));
        let subject = Subject { trace: &trace, profile: None, finding: &finding };
        let time = TimeAxis { left: 0, right: 60, from: 0.0, to: 1.0 };
        let readings = Readings::new(&subject, time);
        let main = ValueAxis { area: Rect::new(0, 0, 60, 400), low: -6.0, high: 3.0 };
        let quiet = Some(ValueAxis { area: Rect::new(0, 420, 60, 500), low: -0.01, high: 0.05 });
        let sheet = Sheet::new(&Options::default(), (440.0, 560.0));
        let note =
            Note { at: 0.5, point_at: None, amps: Some(0.01), lines: Vec::new(), more: 0, placed: true };
        let axes = Axes { main, quiet };
        assert_eq!(point(&sheet, &readings, axes, &note).1, axes.row(0.01));
    }
}
