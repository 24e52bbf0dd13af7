//! Columns of a log that this version does not know, kept as text so that a read and a write lose nothing.

use std::borrow::Cow;
use std::collections::BTreeMap;

/// A named column of text beside the readings.
///
/// The cells of all samples share one string, so that a column of a long log costs its text and eight bytes a row.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TextColumn {
    name: String,
    text: String,
    /// Where the cell of each sample ends in `text`; samples past the last entry have an empty cell.
    ends: Vec<usize>,
    /// Cells of rows that hold events only, by the index of the row's first event.
    of_events: BTreeMap<usize, String>,
}

impl TextColumn {
    pub(super) fn new(name: &str) -> Self {
        Self { name: one_line(name).trim().to_owned(), ..Self::default() }
    }

    /// The column's name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The cell of sample `index`; empty where the log has nothing.
    #[must_use]
    pub fn cell(&self, index: usize) -> &str {
        let start = if index == 0 { Some(0) } else { self.ends.get(index - 1).copied() };
        match (start, self.ends.get(index)) {
            (Some(start), Some(end)) => &self.text[start..*end],
            _ => "",
        }
    }

    /// The cell of the row that holds events only and starts with event `index`.
    #[must_use]
    pub fn cell_of_event(&self, index: usize) -> Option<&str> {
        self.of_events.get(&index).map(String::as_str)
    }

    pub(super) fn set_cell(&mut self, index: usize, cell: &str) {
        if cell.is_empty() {
            return;
        }
        self.ends.resize(index, self.text.len());
        self.text.push_str(&one_line(cell));
        self.ends.push(self.text.len());
    }

    pub(super) fn set_cell_of_event(&mut self, index: usize, cell: &str) {
        if !cell.is_empty() {
            self.of_events.insert(index, one_line(cell).into_owned());
        }
    }
}

/// `cell` with its control characters, line ends among them, made blanks: a row is one line.
fn one_line(cell: &str) -> Cow<'_, str> {
    if cell.contains(char::is_control) {
        Cow::Owned(cell.replace(char::is_control, " "))
    } else {
        Cow::Borrowed(cell)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_that_were_never_set_are_empty() {
        let mut column = TextColumn::new("note");
        column.set_cell(2, "warm");
        column.set_cell(5, "hot");
        assert_eq!([0, 1, 2, 3, 5, 6].map(|i| column.cell(i)), ["", "", "warm", "", "hot", ""]);
    }
}
