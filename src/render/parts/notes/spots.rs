//! Room for a note: of the places within a strip the one that hides least.

use super::super::super::axis::ValueAxis;
use super::super::super::columns::Column;
use super::super::super::geometry::Rect;
use super::super::super::sheet::Sheet;
use super::super::envelope::Expected;
use super::super::readings::Readings;

/// Top and bottom of the trace, column by column of pixels.
#[derive(Debug)]
pub(in crate::render) struct Rows {
    left: i32,
    all: Vec<Option<(i32, i32)>>,
}

impl Rows {
    pub(in crate::render) fn new(readings: &Readings, axis: ValueAxis) -> Self {
        let rows = |column: &Column| (axis.row(column.high), axis.row(column.low));
        let all = readings.amps.iter().map(|column| column.as_ref().map(rows)).collect();
        Self { left: readings.time.left, all }
    }

    /// The same of what good boards keep within.
    pub(super) fn of_envelopes(readings: &Readings, axis: ValueAxis, expected: &[Expected]) -> Self {
        let at = |x: i32| {
            let within =
                |of: &&Expected| (readings.time.x(of.from)..readings.time.x_within(of.to)).contains(&x);
            let there = expected.iter().find(within)?;
            Some((axis.row_within(there.high), axis.row_within(there.low)))
        };
        let columns = (readings.time.left..).zip(&readings.amps);
        Self { left: readings.time.left, all: columns.map(|(x, _)| at(x)).collect() }
    }

    /// The same of lines across the whole strip.
    pub(super) fn of_lines(readings: &Readings, rows: &[i32]) -> Vec<Self> {
        let of =
            |row: &i32| Self { left: readings.time.left, all: vec![Some((*row, *row)); readings.amps.len()] };
        rows.iter().map(of).collect()
    }

    /// How many columns of the trace a box would hide.
    fn hidden(&self, spot: Rect) -> i32 {
        let index = |x: i32| usize::try_from(x - self.left).unwrap_or(0).min(self.all.len());
        let within = &self.all[index(spot.left)..index(spot.right).max(index(spot.left))];
        let meets = |rows: &(i32, i32)| rows.0 < spot.bottom && rows.1 >= spot.top;
        let count = within.iter().flatten().filter(|rows| meets(rows)).count();
        i32::try_from(count).unwrap_or(i32::MAX)
    }
}

/// What a note stands among.
#[derive(Debug, Clone, Copy)]
pub(in crate::render) struct Among<'a> {
    /// What it is to hide as little of as can be.
    pub(in crate::render) traces: &'a [Rows],
    /// What it is to leave uncovered where the traces let it: what the traces are held to.
    pub(in crate::render) held_to: &'a [Rows],
    /// Columns of the lines of moments, which it is to leave uncovered.
    pub(in crate::render) lines: &'a [i32],
    /// Where it may not stand.
    pub(in crate::render) taken: &'a [Rect],
    /// Whether its leader has the colour of the trace, which one that lies nearly level would be taken for.
    pub(in crate::render) leader_as_trace: bool,
}

/// A place with what speaks against it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spot {
    pub(super) place: Rect,
    /// Whether it lies over the moment that the note speaks of.
    pub(super) covers: bool,
    /// How many columns of the trace it hides.
    pub(super) hidden: i32,
    /// How many columns it hides of what the trace is held to.
    pub(super) shades: i32,
    /// Whether it stands on the line of a moment.
    pub(super) on_line: bool,
    /// Whether its leader would be taken for the trace.
    pub(super) as_trace: bool,
}

/// What a note speaks of: its dot, and the columns of the trace in which it is seen to happen.
#[derive(Debug, Clone, Copy)]
pub(super) struct Moment {
    pub(super) point: (i32, i32),
    pub(super) dot: Rect,
    pub(super) columns: (i32, i32),
}

impl Moment {
    fn is_covered(self, spot: Rect, traces: &[Rows]) -> bool {
        let beside = Rect {
            left: spot.left.max(self.columns.0),
            right: spot.right.min(self.columns.1).max(spot.left.max(self.columns.0)),
            ..spot
        };
        spot.overlaps(self.dot) || traces.first().is_some_and(|own| own.hidden(beside) > 0)
    }
}

/// Of the places within the strip that nothing else takes, the one that hides least of the trace, then the nearest.
pub(super) fn best_spot(
    sheet: &Sheet,
    Among { traces, held_to, lines, taken, leader_as_trace }: Among,
    axis: ValueAxis,
    moment: Moment,
    size: (i32, i32),
) -> Option<Spot> {
    // Below the pointer at the top, which shows where the first note belongs.
    let inside = Rect { top: axis.area.top + sheet.u(16.0), ..axis.area.grown(-sheet.u(6.0)) };
    let free = |spot: &Rect| !taken.iter().any(|other| other.grown(sheet.u(6.0)).overlaps(*spot));
    let hides = |spot: Rect, of: &[Rows]| of.iter().map(|rows| rows.hidden(spot.grown(sheet.u(5.0)))).sum();
    // Also where it would hide an edge of it, or of the dot.
    let near = 2 * sheet.u(4.0);
    let on = |spot: Rect, x: i32| spot.left - near < x && x < spot.right + near;
    let on_a_line = |spot: Rect| lines.iter().any(|line| on(spot, *line));
    let point = moment.point;
    let spots = spots(inside, point.0, size, sheet.u(16.0)).filter(free);
    let covers = |spot: Rect| moment.is_covered(spot, traces);
    let spots = spots.map(|place| Spot {
        place,
        covers: covers(place),
        hidden: hides(place, traces),
        shades: hides(place, held_to),
        on_line: on_a_line(place),
        as_trace: leader_as_trace && is_level(sheet, (foot(place, point), point)),
    });
    spots.min_by_key(|spot| badness(spot, on(spot.place, point.0), point, taken))
}

/// The places that are tried for a box within a strip: a grid of them, and right beside column `x`.
fn spots(inside: Rect, x: i32, (width, height): (i32, i32), aside: i32) -> impl Iterator<Item = Rect> {
    /// Places to try along each direction.
    const TRIES: i32 = 14;
    let step = |low: i32, high: i32, i: i32| low + (high - low).max(0) * i / (TRIES - 1);
    let rightmost = inside.right - width;
    let beside =
        [x + aside, x - aside - width].map(|left| left.clamp(inside.left, rightmost.max(inside.left)));
    let lefts = (0..TRIES).map(move |i| step(inside.left, rightmost, i)).chain(beside);
    let tops = move |left: i32| {
        (0..TRIES).map(move |i| {
            let top = step(inside.top, inside.bottom - height, i);
            Rect::new(left, top, left + width, top + height)
        })
    };
    lefts.flat_map(tops).filter(move |spot| inside.holds(*spot))
}

/// What speaks against a place, the weightiest first. Nothing of the trace is to be hidden if that can be helped, and the
/// point itself least of all.
fn badness(
    &Spot { place, covers, hidden, shades, on_line, as_trace }: &Spot,
    over_the_point: bool,
    point: (i32, i32),
    taken: &[Rect],
) -> (bool, i32, usize, bool, bool, i32, i32) {
    let leader = (foot(place, point), point);
    let crosses = taken.iter().filter(|words| words.is_crossed(leader)).count();
    (covers, hidden, crosses, as_trace, on_line || over_the_point, shades, distance(place, point))
}

/// Whether a leader lies so level, for so long, that one in the colour of a trace reads as the trace going on.
fn is_level(sheet: &Sheet, (from, to): ((i32, i32), (i32, i32))) -> bool {
    /// Shorter than this it is seen to end at its dot, in units of the layout.
    const LONG: f64 = 30.0;
    /// It falls by no more than one part in so many: traces are level, and their steps upright.
    const LEVEL: i32 = 3;
    let (across, down) = ((from.0 - to.0).abs(), (from.1 - to.1).abs());
    across > sheet.u(LONG) && down * LEVEL < across
}

/// The pixel of a box that is nearest to a point.
pub(super) fn foot(spot: Rect, (x, y): (i32, i32)) -> (i32, i32) {
    (x.clamp(spot.left, spot.right - 1), y.clamp(spot.top, spot.bottom - 1))
}

/// How far a point is from a box, across and down together.
pub(super) fn distance(spot: Rect, (x, y): (i32, i32)) -> i32 {
    let (dx, dy) = (x - x.clamp(spot.left, spot.right), y - y.clamp(spot.top, spot.bottom));
    dx.abs() + dy.abs()
}

#[cfg(test)]
mod tests {
    use super::super::super::super::options::Options;
    use super::*;

    #[test]
    fn a_leader_in_the_colour_of_the_trace_does_not_lie_along_it() {
        let sheet = Sheet::new(&Options::default(), (440.0, 700.0));
        let axis = ValueAxis { area: Rect::new(0, 0, 1000, 400), low: 0.0, high: 1.0 };
        // Its own trace is at zero all along; another rises soon after the point, and stays.
        let own = (0..1000).map(|_| Some((398, 399))).collect();
        let other = (0..1000).map(|x| match x {
            0..100 => None,
            100 => Some((150, 399)),
            _ => Some((150, 151)),
        });
        let traces = [own, other.collect()].map(|all| Rows { left: 0, all });
        let point = (20, 390);
        let moment = Moment { point, dot: Rect::new(14, 384, 27, 397), columns: (18, 22) };
        let leader = |leader_as_trace: bool| {
            let among = Among { traces: &traces, held_to: &[], lines: &[], taken: &[], leader_as_trace };
            let spot = best_spot(&sheet, among, axis, moment, (300, 60)).unwrap();
            assert_eq!(spot.hidden, 0);
            (foot(spot.place, point), point)
        };
        // Where it has another colour it may be near.
        assert!(is_level(&sheet, leader(false)), "{:?}", leader(false));
        assert!(!is_level(&sheet, leader(true)), "{:?}", leader(true));
    }
}
