//! A small table: names in the first column, what belongs to them in the others.

use super::super::font::{Weight, clean};
use super::super::geometry::{Rect, px};
use super::super::scene::{Anchor, Style};
use super::super::sheet::{Sheet, em};

/// A column's heading and its share of the width that no cell needs.
pub(in crate::render) type Column = (&'static str, f64);

/// Units of the layout to a row of one line.
const ROW: f64 = 22.0;

/// The same where rows are many.
const DENSE: f64 = 17.0;

/// From one column to the next, in units of the layout.
const BETWEEN: f64 = 14.0;

/// Lines of a cell: what takes more is no cell.
const MOST_LINES: usize = 3;

/// Whether a table `width` pixels wide has room for more columns than a name and what is said of it.
pub(in crate::render) fn is_wide(sheet: &Sheet, width: i32) -> bool {
    /// Below this many units five columns would be mostly a few letters wide.
    const WIDE: f64 = 900.0;
    width >= sheet.u(WIDE)
}

/// A table that knows how wide its columns are and on how many lines its cells stand.
#[derive(Debug)]
pub(in crate::render) struct Table {
    head: Vec<String>,
    rows: Vec<Vec<String>>,
    shares: Vec<f64>,
}

/// How large a table is set.
#[derive(Debug, Clone, Copy)]
struct Set {
    name: Style,
    cell: Style,
    /// A row of one line, and each further line.
    row: i32,
    line: i32,
}

impl Set {
    fn new(sheet: &Sheet, dense: bool) -> Self {
        let (size, row) = if dense { (em::SMALL, DENSE) } else { (em::USUAL, ROW) };
        let name = sheet.style(size, Weight::Bold, sheet.palette.text);
        let cell = sheet.style(size, Weight::Regular, sheet.palette.text);
        Self { name, cell, row: sheet.u(row), line: name.line_height().max(cell.line_height()) }
    }

    /// The style of the cells in that column.
    const fn of(self, column: usize) -> Style {
        if column == 0 { self.name } else { self.cell }
    }

    /// The height of a row of so many lines.
    fn height(self, lines: usize) -> i32 {
        let further = i32::try_from(lines.saturating_sub(1)).unwrap_or(0);
        self.row + further * self.line
    }
}

impl Table {
    pub(in crate::render) fn new(columns: &[Column], rows: &[Vec<String>]) -> Self {
        let rows = rows.iter().map(|row| row.iter().map(|cell| clean(cell)).collect()).collect();
        let (head, shares) = columns.iter().map(|(head, share)| ((*head).to_owned(), *share)).unzip();
        Self { head, rows, shares }
    }

    /// The same with another heading over one of the columns.
    pub(in crate::render) fn headed(mut self, from: &str, to: &str) -> Self {
        self.head.iter_mut().filter(|head| *head == from).for_each(|head| *head = clean(to));
        self
    }

    /// The height that the table takes, its heading included.
    pub(in crate::render) fn height(&self, sheet: &Sheet, width: i32) -> i32 {
        self.height_of(Set::new(sheet, false), sheet.u(BETWEEN), width)
    }

    /// The height that it takes at least, in smaller letters.
    pub(in crate::render) fn dense_height(&self, sheet: &Sheet, width: i32) -> i32 {
        self.height_of(Set::new(sheet, true), sheet.u(BETWEEN), width)
    }

    fn height_of(&self, set: Set, between: i32, width: i32) -> i32 {
        let widths = self.widths(set, width, between);
        let rows = self.rows.iter().map(|row| set.height(lines(set, row, &widths)));
        set.height(1) + rows.sum::<i32>()
    }

    /// How wide each column is: as its longest cell where all have room, and what is left by their shares; else the wide
    /// ones share what the narrow ones leave.
    fn widths(&self, set: Set, width: i32, between: i32) -> Vec<i32> {
        let count = i32::try_from(self.shares.len()).unwrap_or(i32::MAX);
        let room = (width - (count - 1).max(0) * between).max(count);
        let natural = |column: usize| {
            let cells = self.rows.iter().chain(std::iter::once(&self.head)).filter_map(|row| row.get(column));
            cells.map(|cell| set.of(column).width(cell)).max().unwrap_or(0)
        };
        let natural: Vec<i32> = (0..self.shares.len()).map(natural).collect();
        let spare = room - natural.iter().sum::<i32>();
        if spare < 0 {
            return levelled(&natural, room);
        }
        let total: f64 = self.shares.iter().sum();
        let part = |share: &f64| px(f64::from(spare) * share / total);
        natural.iter().zip(&self.shares).map(|(width, share)| width + part(share)).collect()
    }

    /// Draws heading and rows into `area`, in smaller letters where they are many; rows that it has no room for even so
    /// are counted in the last that it has.
    pub(in crate::render) fn draw(&self, sheet: &mut Sheet, area: Rect) {
        let between = sheet.u(BETWEEN);
        let dense = self.height(sheet, area.width()) > area.height();
        let set = Set::new(sheet, dense);
        let widths = self.widths(set, area.width(), between);
        let faint = sheet.style(em::SMALL, Weight::Regular, sheet.palette.faint_text);
        let small = Set { name: faint, cell: faint, ..set };
        let below_head = area.top + set.height(1);
        if below_head + set.height(1) > area.bottom {
            return;
        }
        let heights: Vec<i32> = self.rows.iter().map(|row| set.height(lines(set, row, &widths))).collect();
        let shown = that_fit(&heights, area.bottom - below_head, set.height(1));
        let mut place = Rect { bottom: below_head, ..area };
        row(sheet, place, (small, between), &self.head, &widths);
        for (cells, height) in self.rows.iter().zip(heights).take(shown) {
            place = Rect { top: place.bottom, bottom: place.bottom + height, ..area };
            row(sheet, place, (set, between), cells, &widths);
        }
        if shown < self.rows.len() {
            let rest = vec![format!("and {} more", self.rows.len() - shown)];
            place = Rect { top: place.bottom, bottom: place.bottom + set.height(1), ..area };
            row(sheet, place, (small, between), &rest, &[area.width()]);
        }
    }
}

/// How many rows fit into `room`, with one of height `last` for the words of the rest where not all do.
fn that_fit(heights: &[i32], room: i32, last: i32) -> usize {
    if heights.iter().sum::<i32>() <= room {
        return heights.len();
    }
    let mut taken = last;
    let fits = |height: &&i32| {
        taken += **height;
        taken <= room
    };
    heights.iter().take_while(fits).count()
}

/// Widths that sum up to `room`: those below a common level as they are, the others at it.
fn levelled(natural: &[i32], room: i32) -> Vec<i32> {
    let mut order: Vec<usize> = (0..natural.len()).collect();
    order.sort_by_key(|index| natural[*index]);
    let mut widths = vec![0; natural.len()];
    let mut room = room;
    for (place, index) in order.iter().enumerate() {
        let others = i32::try_from(natural.len() - place).unwrap_or(i32::MAX);
        widths[*index] = natural[*index].min(room / others);
        room -= widths[*index];
    }
    widths
}

/// On how many lines the longest cell of a row stands.
fn lines(set: Set, row: &[String], widths: &[i32]) -> usize {
    let of = |(column, (cell, width)): (usize, (&String, &i32))| {
        set.of(column).wrap(cell, *width, MOST_LINES).len()
    };
    row.iter().zip(widths).enumerate().map(of).max().unwrap_or(1)
}

/// One row with a line above it.
fn row(sheet: &mut Sheet, place: Rect, (set, between): (Set, i32), cells: &[String], widths: &[i32]) {
    sheet.scene.fill(Rect { bottom: place.top + 1, ..place }, sheet.palette.grid);
    let mut left = place.left;
    for (column, (cell, width)) in cells.iter().zip(widths).enumerate() {
        let style = set.of(column);
        let mut middle = place.top + set.row / 2;
        for line in style.wrap(cell, *width, MOST_LINES) {
            sheet.scene.text(line, (left, style.baseline_at(middle)), Anchor::Start, style);
            middle += set.line;
        }
        left += width + between;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wide_columns_share_what_the_narrow_ones_leave() {
        assert_eq!(levelled(&[100, 900, 500], 700), [100, 300, 300]);
        assert_eq!(levelled(&[10, 20, 500], 100), [10, 20, 70]);
    }

    #[test]
    fn rows_without_room_leave_a_line_that_counts_them() {
        assert_eq!(that_fit(&[10, 10, 10], 30, 10), 3);
        assert_eq!(that_fit(&[10, 10, 10], 29, 10), 1);
        assert_eq!(that_fit(&[10, 30, 10], 45, 10), 1);
    }
}
