//! How wide a note is: in the place of one long line it may take two.

use super::super::super::geometry::px;
use super::super::super::scene::Style;

/// How wide a note is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::render) enum Width {
    /// As its longest line.
    Full,
    /// Less, on more lines.
    Slim,
}

impl Width {
    /// In the order in which they are tried.
    pub(in crate::render) const ALL: [Self; 2] = [Self::Full, Self::Slim];

    /// The lines of a note in their styles, none longer than `room`.
    pub(super) fn lines(self, lines: Vec<(String, Style)>, room: i32) -> Vec<(String, Style)> {
        /// Lines that one of its own may take, and their share of the width that it had: the next where words do not part so
        /// that they hold it.
        const MOST: usize = 2;
        const SHARES: [f64; 4] = [0.56, 0.7, 0.85, 1.0];
        let longest = lines.iter().map(|(line, style)| style.width(line)).max().unwrap_or(0);
        match self {
            Self::Full => {
                lines.into_iter().filter_map(|(line, style)| Some((style.fit(&line, room)?, style))).collect()
            }
            Self::Slim => {
                // The head says what happened, in letters that are read from afar: it stays on its line.
                let head = lines.first().map_or(0, |(line, style)| style.width(line));
                let width = |share: f64| room.min(head.max(px(f64::from(longest) * share)));
                let is_whole = |room: &i32| {
                    let is_held =
                        |(line, style): &(String, Style)| holds(&style.wrap(line, *room, MOST), line);
                    lines.iter().all(is_held)
                };
                let room = SHARES.map(width).into_iter().find(is_whole).unwrap_or(room);
                let wrap = |(line, style): (String, Style)| {
                    style.wrap(&line, room, MOST).into_iter().map(move |line| (line, style))
                };
                lines.into_iter().flat_map(wrap).collect()
            }
        }
    }
}

/// Whether the lines hold all words of the one that they were made of.
fn holds(lines: &[String], line: &str) -> bool {
    lines.iter().flat_map(|line| line.split_whitespace()).eq(line.split_whitespace())
}

#[cfg(test)]
mod tests {
    use super::super::super::super::font::Weight;
    use super::super::super::super::options::{Options, Size};
    use super::super::super::super::sheet::{Sheet, em};
    use super::*;

    #[test]
    fn a_slim_note_parts_its_lines_so_that_nothing_of_them_is_left_out() {
        let size = Size::new(480, 360).unwrap();
        let sheet = Sheet::new(&Options { size, ..Options::default() }, (440.0, 700.0));
        let style = |em| sheet.style(em, Weight::Regular, sheet.palette.text);
        for told in
            ["0 mA at 3.92 V for 50.1 s", "0 mA at 19.52 V for 59.9 s", "from 0.200 A to 1 mA", "short"]
        {
            let lines = vec![("X-2101".to_owned(), style(em::LARGE)), (told.to_owned(), style(em::USUAL))];
            let whole = style(em::USUAL).width(told);
            let slim = Width::Slim.lines(lines, 400);
            let said: Vec<&str> = slim[1..].iter().map(|(line, _)| line.as_str()).collect();
            assert_eq!(said.join(" "), told);
            assert!(slim.iter().all(|(line, style)| style.width(line) <= whole.max(400)), "{said:?}");
        }
    }
}
