//! What a person at a terminal sees while something goes on: whole lines, and some that are written over.
//!
//! When stderr is no terminal (or a dumb one) only whole lines are written, and nothing but text.

use std::io::{IsTerminal, Write};
use std::time::{Duration, Instant};

/// How often the line that is written over is drawn at most; a number that changes faster cannot be read.
const REDRAW_EVERY: Duration = Duration::from_millis(120);
/// Width of a terminal that does not tell.
const USUAL_WIDTH: usize = 80;

/// How a piece of text is to stand out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Style {
    /// What the eye should find first.
    Strong,
    /// What is there to be looked up.
    Faint,
    /// What needs attention.
    Alarm,
}

/// The person's end of stderr.
#[derive(Debug)]
pub(super) struct Console {
    /// Whether lines can be written over.
    live: bool,
    colour: bool,
    /// Whether the terminal shows characters beyond ASCII.
    blocks: bool,
    /// How many status lines are on the screen.
    shown: usize,
    drawn: Option<Instant>,
}

impl Console {
    /// Stderr as it is: a terminal or not, with colour or not (`NO_COLOR` and `TERM` are respected).
    pub(super) fn stderr() -> Self {
        let term = std::env::var("TERM").unwrap_or_default();
        let no_colour = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        let locale = ["LC_ALL", "LC_CTYPE", "LANG"].into_iter().find_map(|name| std::env::var(name).ok());
        let locale = locale.unwrap_or_default().to_ascii_uppercase();
        let blocks = cfg!(windows) || locale.contains("UTF-8") || locale.contains("UTF8");
        Self { blocks, ..Self::new(std::io::stderr().is_terminal(), &term, no_colour) }
    }

    fn new(terminal: bool, term: &str, no_colour: bool) -> Self {
        let live = terminal && term != "dumb";
        Self { live, colour: live && !no_colour, blocks: false, shown: 0, drawn: None }
    }

    /// Whether there is a line that is written over.
    pub(super) fn is_live(&self) -> bool {
        self.live
    }

    /// What large letters are drawn with.
    pub(super) fn ink(&self) -> char {
        if self.blocks { '█' } else { '#' }
    }

    /// Columns and lines of the terminal; none where nothing can be written over.
    pub(super) fn room(&self) -> (u16, u16) {
        if self.live { crossterm::terminal::size().unwrap_or_default() } else { (0, 0) }
    }

    /// `text`, standing out if this terminal can.
    pub(super) fn styled(&self, style: Style, text: &str) -> String {
        let code = match style {
            Style::Strong => "1",
            Style::Faint => "2",
            Style::Alarm => "1;7",
        };
        if self.colour { format!("\u{1b}[{code}m{text}\u{1b}[0m") } else { text.to_owned() }
    }

    /// A whole line that stays.
    pub(super) fn line(&mut self, text: &str) {
        self.clear();
        // While keys are read one by one the terminal does not return the carriage by itself.
        let end = if self.live { "\r\n" } else { "\n" };
        write(&format!("{}{end}", text.replace('\n', end)));
    }

    /// The line (or lines) that is written over, made by `text` if it is time to draw it.
    pub(super) fn status(&mut self, text: impl FnOnce(&Self) -> String) {
        let fresh = self.drawn.is_some_and(|drawn| drawn.elapsed() < REDRAW_EVERY);
        if !self.live || fresh {
            return;
        }
        let text = text(self);
        let fitted: Vec<String> =
            text.lines().map(|line| format!("{}\u{1b}[K", fit(line, width()))).collect();
        // What is below goes as well: the last time there may have been more lines.
        write(&format!("{}{}\u{1b}[J", self.to_first_line(), fitted.join("\r\n")));
        (self.shown, self.drawn) = (fitted.len(), Some(Instant::now()));
    }

    /// Wipes the lines that are written over.
    pub(super) fn clear(&mut self) {
        if self.shown > 0 {
            write(&format!("{}\u{1b}[J", self.to_first_line()));
            (self.shown, self.drawn) = (0, None);
        }
    }

    /// Brings the cursor to the beginning of the status lines.
    fn to_first_line(&self) -> String {
        if self.shown > 1 { format!("\r\u{1b}[{}A", self.shown - 1) } else { "\r".to_owned() }
    }
}

impl Drop for Console {
    fn drop(&mut self) {
        self.clear();
    }
}

/// Writes to stderr. A closed terminal leaves nobody to tell, and must not end what is going on.
fn write(text: &str) {
    let mut stderr = std::io::stderr().lock();
    let _ = stderr.write_all(text.as_bytes()).and_then(|()| stderr.flush());
}

fn width() -> usize {
    crossterm::terminal::size().map_or(USUAL_WIDTH, |(columns, _)| usize::from(columns)).max(2)
}

/// `text` cut to one less than `width` visible characters, so that it never wraps; escape sequences take no width.
fn fit(text: &str, width: usize) -> String {
    let (mut fitted, mut visible, mut in_escape) = (String::new(), 0, false);
    for c in text.chars() {
        let takes_no_width = in_escape || c == '\u{1b}';
        if takes_no_width || visible + 1 < width {
            fitted.push(c);
        }
        in_escape = takes_no_width && c != 'm';
        visible += usize::from(!takes_no_width);
    }
    fitted
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colour_needs_a_terminal_that_can_and_a_user_who_wants_it() {
        let styled = |console: Console| console.styled(Style::Strong, "x");
        assert_eq!(styled(Console::new(true, "xterm", false)), "\u{1b}[1mx\u{1b}[0m");
        assert_eq!(styled(Console::new(true, "xterm", true)), "x");
        assert_eq!(styled(Console::new(true, "dumb", false)), "x");
        assert_eq!(styled(Console::new(false, "xterm", false)), "x");
        assert!(!Console::new(true, "dumb", false).live && Console::new(true, "xterm", true).live);
    }

    #[test]
    fn a_status_line_never_wraps_and_always_ends_its_colour() {
        assert_eq!(fit("12.8 V", 80), "12.8 V");
        assert_eq!(fit("12.8 V", 5), "12.8");
        assert_eq!(fit("\u{1b}[1m12.8 V\u{1b}[0m cv", 5), "\u{1b}[1m12.8\u{1b}[0m");
    }
}
