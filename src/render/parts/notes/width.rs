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
        /// Lines that one of its own may take, and their share of the width that it had.
        const MOST: usize = 2;
        const SHARE: f64 = 0.56;
        let longest = lines.iter().map(|(line, style)| style.width(line)).max().unwrap_or(0);
        match self {
            Self::Full => {
                lines.into_iter().filter_map(|(line, style)| Some((style.fit(&line, room)?, style))).collect()
            }
            Self::Slim => {
                // The head says what happened, in letters that are read from afar: it stays on its line.
                let head = lines.first().map_or(0, |(line, style)| style.width(line));
                let room = room.min(head.max(px(f64::from(longest) * SHARE)));
                let wrap = |(line, style): (String, Style)| {
                    style.wrap(&line, room, MOST).into_iter().map(move |line| (line, style))
                };
                lines.into_iter().flat_map(wrap).collect()
            }
        }
    }
}
