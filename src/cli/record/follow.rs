//! What the person sees while a run goes on: the status line, and a line for everything that happens.

use super::super::console::{Console, Style};
use super::super::keys::Keys;
use super::judge::{Judge, Saying};
use super::tall::tall;
use crate::capture::{JournalNotice, Session, Update};
use crate::trace::{EventKind, Mode, Sample};
use crate::units::Seconds;
use std::sync::mpsc::RecvTimeoutError;
use std::time::{Duration, Instant};

/// How long to wait for news before the status line is drawn anyway.
const REDRAW: Duration = Duration::from_millis(150);
/// Over how many seconds of the log the poll rate of the status line is taken.
const RATE_OVER: f64 = 2.0;

/// Follows a run to its end.
pub(super) struct Follower<'a> {
    pub(super) console: &'a mut Console,
    pub(super) keys: &'a Keys,
    pub(super) judge: Option<&'a Judge>,
}

/// The newest reading and how fast readings come.
#[derive(Default)]
struct Now {
    sample: Option<Sample>,
    recent: std::collections::VecDeque<f64>,
    /// Since when there is no reading, if there is none, and whether the link is lost.
    missing: Option<(Instant, bool)>,
    /// What was last said to be wrong.
    trouble: String,
}

/// Columns that a tall reading needs at the most.
const TALL_COLUMNS: u16 = 78;
/// Lines of a terminal from which there is room for tall numbers and for what happened.
const TALL_ROWS: u16 = 16;

impl Follower<'_> {
    /// Shows what happens until the run has ended.
    pub(super) fn follow(mut self, session: &Session) {
        let mut now = Now::default();
        loop {
            match session.updates().recv_timeout(REDRAW) {
                Ok(update) => self.take(&mut now, &update),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
            while let Ok(update) = session.updates().try_recv() {
                self.take(&mut now, &update);
            }
            self.show(&now);
        }
        self.console.clear();
    }

    fn take(&mut self, now: &mut Now, update: &Update) {
        if let Some(judge) = self.judge {
            judge.take(update);
        }
        match update {
            Update::Sample(sample) => now.take(*sample),
            Update::Started(_) => {}
            // Said once: a lost link begins with the query that found it.
            Update::Trouble(text) if *text == now.trouble => {}
            other => {
                now.saw(other);
                let (style, text) = in_words(other);
                let text = style.map_or_else(|| text.clone(), |style| self.console.styled(style, &text));
                self.console.line(&text);
            }
        }
    }

    fn show(&mut self, now: &Now) {
        let typed = self.keys.typed();
        let said = self.judge.and_then(Judge::said);
        self.console.status(|console| now.lines(console, &typed, said.as_ref()));
    }
}

impl Now {
    fn take(&mut self, sample: Sample) {
        let time = sample.time.value();
        self.recent.push_back(time);
        while self.recent.front().is_some_and(|first| time - first > RATE_OVER) && self.recent.len() > 2 {
            self.recent.pop_front();
        }
        self.sample = Some(sample);
        self.missing = None;
        self.trouble.clear();
    }

    /// Remembers what keeps readings from coming.
    fn saw(&mut self, update: &Update) {
        match update {
            Update::Event(_, EventKind::Gap) => {
                self.missing.get_or_insert((Instant::now(), false));
            }
            Update::Event(_, EventKind::LinkLost) => {
                let since = self.missing.map_or_else(Instant::now, |(since, _)| since);
                self.missing = Some((since, true));
            }
            Update::Event(_, EventKind::LinkBack) => {
                self.missing = self.missing.map(|(since, _)| (since, false));
            }
            Update::Trouble(text) => self.trouble.clone_from(text),
            _ => {}
        }
    }

    /// The status line, with tall numbers above it where there is room.
    fn lines(&self, console: &Console, typed: &str, said: Option<&Saying>) -> String {
        let line = self.status(console, typed, said);
        let (columns, rows) = console.room();
        let tall = match (self.missing, self.sample) {
            _ if columns < TALL_COLUMNS || rows < TALL_ROWS => None,
            (None, Some(sample)) => tall(&format!("{}    {}", sample.volts, sample.amps), console.ink()),
            (Some(_), _) => tall("--- V    --- A", console.ink()),
            (None, None) => None,
        };
        let Some(tall) = tall else { return line };
        let tall = tall.map(|row| console.styled(Style::Strong, &row));
        // A blank line sets the numbers off from what happened, and from the line below.
        format!("\n{}\n\n{line}", tall.join("\n"))
    }

    fn time(&self) -> Seconds {
        self.sample.map_or(Seconds::ZERO, |sample| sample.time)
    }

    fn poll_hz(&self) -> Option<f64> {
        let (first, last) = (self.recent.front()?, self.recent.back()?);
        #[expect(clippy::cast_precision_loss, reason = "a count of a few seconds' readings")]
        (last > first).then(|| (self.recent.len() - 1) as f64 / (last - first))
    }

    /// `0:12.4   12.80 V   0.841 A   10.8 W  cv  running  full-boot 97 %  31/s`, what matters most at the left.
    fn status(&self, console: &Console, typed: &str, said: Option<&Saying>) -> String {
        if !typed.is_empty() {
            return format!("{} mark: {typed}_ (Enter sets it, Esc drops it)", clock(self.time()));
        }
        if let Some((since, lost)) = self.missing {
            return self.nothing(console, since, lost);
        }
        let Some(sample) = self.sample else { return "waiting for the first reading".to_owned() };
        let feed = format!("{:>8}  {:>8}", sample.volts, sample.amps);
        let mut parts = vec![clock(sample.time), console.styled(Style::Strong, &feed)];
        parts.push(format!("{:>8}", sample.volts * sample.amps));
        parts.push(match sample.mode {
            Mode::ConstantCurrent => console.styled(Style::Alarm, "in limit"),
            Mode::ConstantVoltage => "cv".to_owned(),
            Mode::Off => "off".to_owned(),
            Mode::Unknown => String::new(),
        });
        parts.extend(said.map(|said| console.styled(Style::Strong, &said.in_short())));
        parts.extend(self.poll_hz().map(|hz| console.styled(Style::Faint, &format!("{hz:.0}/s"))));
        parts.retain(|part| !part.is_empty());
        parts.join("  ")
    }
}

impl Now {
    /// `NO LINK for 0:04.2, last 12.8 V 0.841 A at 1:02.4`: an old reading must not look like a new one.
    fn nothing(&self, console: &Console, since: Instant, lost: bool) -> String {
        let what = if lost { " NO LINK " } else { " NO READING " };
        let long = Seconds::new(since.elapsed().as_secs_f64()).unwrap_or_default();
        let before = self.sample.map_or_else(String::new, |sample| {
            format!("last {}  {} at {}", sample.volts, sample.amps, clock(sample.time))
        });
        format!("{} for {}  {before}", console.styled(Style::Alarm, what), clock(long))
    }
}

/// `1:02.4`: minutes and seconds into the run.
fn clock(time: Seconds) -> String {
    let tenths = (time.value().max(0.0) * 10.0).floor();
    format!("{}:{:04.1}", (tenths / 600.0).floor(), tenths % 600.0 / 10.0)
}

/// One line for what happened, and how it should stand out.
fn in_words(update: &Update) -> (Option<Style>, String) {
    match update {
        Update::Event(time, kind) => {
            let (style, text) = event_in_words(kind);
            (style, format!("{} {text}", clock(*time)))
        }
        Update::Trouble(text) => (Some(Style::Alarm), text.clone()),
        Update::Journal(JournalNotice::Moved { from, why, to }) => (
            Some(Style::Alarm),
            format!(
                "the log cannot be kept in {}: {why}; all of it is now in {}",
                from.display(),
                to.display()
            ),
        ),
        Update::Journal(JournalNotice::InMemory { from, why }) => (
            Some(Style::Alarm),
            format!(
                "the log cannot be kept in {}: {why}; it goes on in memory only. Make room or give the folder back: it is tried twice a second",
                from.display()
            ),
        ),
        Update::Journal(JournalNotice::SavedAgain { to }) => {
            (None, format!("all of the log is on disk again: {}", to.display()))
        }
        Update::Started(_) | Update::Sample(_) => (None, String::new()),
    }
}

fn event_in_words(kind: &EventKind) -> (Option<Style>, String) {
    match kind {
        EventKind::OutputOn => (Some(Style::Strong), "output on".into()),
        EventKind::OutputOff => (Some(Style::Strong), "output off".into()),
        EventKind::Mark(word) => (None, format!("mark: {word}")),
        EventKind::SetVolts(volts) => (None, format!("set volts are now {volts}")),
        EventKind::Limit(amps) => (None, format!("the current limit is now {amps}")),
        EventKind::Gap => (None, "gap: readings are missing from here".into()),
        EventKind::LinkLost => (Some(Style::Alarm), "link lost; waiting for the supply to come back".into()),
        EventKind::LinkBack => (Some(Style::Strong), "link back".into()),
        EventKind::Trip(why) => (Some(Style::Alarm), format!("TRIP: {why}")),
        EventKind::Other(word) => (None, word.clone()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Amps, Volts};

    fn now(amps: f64, mode: Mode) -> Now {
        let mut now = Now::default();
        for i in 0..4_u32 {
            now.take(Sample {
                time: Seconds::constant(62.4 + f64::from(i) * 0.1),
                volts: Volts::constant(12.8),
                amps: Amps::constant(amps),
                mode,
                span: None,
            });
        }
        now
    }

    #[test]
    fn the_status_line_says_volts_amps_watts_and_rate() {
        let now = now(0.841, Mode::ConstantVoltage);
        let console = Console::stderr();
        let line = now
            .status(&console, "", None)
            .replace("\u{1b}[1m", "")
            .replace("\u{1b}[2m", "")
            .replace("\u{1b}[0m", "");
        assert_eq!(line, "1:02.7    12.8 V   0.841 A    10.8 W  cv  10/s");
    }

    #[test]
    fn the_word_being_typed_is_shown_instead() {
        let line = now(0.1, Mode::Unknown).status(&Console::stderr(), "fan o", None);
        assert_eq!(line, "1:02.7 mark: fan o_ (Enter sets it, Esc drops it)");
    }

    #[test]
    fn an_old_reading_does_not_look_like_a_new_one() {
        let mut now = now(0.841, Mode::ConstantVoltage);
        now.saw(&Update::Event(Seconds::constant(63.0), EventKind::Gap));
        let line = now.status(&Console::stderr(), "", None);
        assert!(line.contains(" NO READING ") && line.ends_with("last 12.8 V  0.841 A at 1:02.7"), "{line}");
        now.saw(&Update::Event(Seconds::constant(63.1), EventKind::LinkLost));
        assert!(now.status(&Console::stderr(), "", None).contains(" NO LINK "));
        let sample = now.sample.unwrap();
        now.take(sample);
        assert!(now.status(&Console::stderr(), "", None).contains("0.841 A    10.8 W  cv"));
    }

    #[test]
    fn times_are_minutes_and_seconds() {
        let shown = [0.0, 9.99, 59.96, 60.0, 3600.0].map(|s| clock(Seconds::constant(s)));
        assert_eq!(shown, ["0:00.0", "0:09.9", "0:59.9", "1:00.0", "60:00.0"]);
    }
}
