//! The keyboard of a recording: marks at the time of their key press, and the key that ends the run.
//!
//! At a terminal, one press of the space bar marks the power button; any other word is typed and ended by Enter, and
//! has the time of its first letter. Escape drops a half-typed word, or ends the run, as does Ctrl-C. Where stdin is
//! no terminal, every line that comes is a mark, so that a script can set them.

use crate::capture::{Ended, Request};
use crossterm::event::{self, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use std::io::{BufRead, IsTerminal};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::Sender;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// The word of the space bar, and of an empty line from a script.
pub(super) const POWER_BUTTON: &str = "power button";
/// How long one look for a key may take before the end of the run is looked for.
const LOOK_FOR: Duration = Duration::from_millis(100);

/// Listens until dropped; then the terminal is as it was.
#[derive(Debug)]
pub(super) struct Keys {
    over: Arc<AtomicBool>,
    typed: Arc<Mutex<String>>,
    raw: bool,
}

impl Keys {
    /// Starts to listen and to send what is asked for.
    pub(super) fn listen(requests: Sender<Request>) -> Self {
        let mut keys = Self { over: Arc::default(), typed: Arc::default(), raw: false };
        if !std::io::stdin().is_terminal() {
            std::thread::spawn(move || read_lines(std::io::stdin().lock(), &requests));
            return keys;
        }
        if crossterm::terminal::enable_raw_mode().is_err() {
            return keys;
        }
        let (over, typed) = (Arc::clone(&keys.over), Arc::clone(&keys.typed));
        std::thread::spawn(move || read_keys(&over, &typed, &requests));
        keys.raw = true;
        keys
    }

    /// Whether single keys are read.
    pub(super) fn at_terminal(&self) -> bool {
        self.raw
    }

    /// The word being typed.
    pub(super) fn typed(&self) -> String {
        self.typed.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

impl Drop for Keys {
    fn drop(&mut self) {
        self.over.store(true, Ordering::Relaxed);
        if self.raw {
            // A terminal that is gone needs no restoring.
            let _ = crossterm::terminal::disable_raw_mode();
        }
    }
}

fn read_keys(over: &AtomicBool, typed: &Mutex<String>, requests: &Sender<Request>) {
    let mut typing = Typing::default();
    while !over.load(Ordering::Relaxed) {
        let key = match event::poll(LOOK_FOR)
            .and_then(|there| if there { event::read().map(Some) } else { Ok(None) })
        {
            Ok(Some(Event::Key(key))) if key.kind != KeyEventKind::Release => key,
            Ok(_) => continue,
            Err(_) => break,
        };
        let request = typing.press(key, Instant::now());
        typing.word.clone_into(&mut typed.lock().unwrap_or_else(PoisonError::into_inner));
        if request.is_some_and(|request| requests.send(request).is_err()) {
            break;
        }
    }
}

/// Every line is a mark, at the time at which it came.
fn read_lines(input: impl BufRead, requests: &Sender<Request>) {
    for line in input.lines() {
        let (Ok(line), at) = (line, Instant::now()) else { break };
        let word = if line.trim().is_empty() { POWER_BUTTON } else { line.trim() };
        if requests.send(Request::Mark { at, word: word.to_owned() }).is_err() {
            break;
        }
    }
}

/// A word being typed.
#[derive(Debug, Default)]
struct Typing {
    word: String,
    since: Option<Instant>,
}

impl Typing {
    /// What a key pressed at `at` asks for, if anything.
    fn press(&mut self, key: KeyEvent, at: Instant) -> Option<Request> {
        let control = key.modifiers.contains(KeyModifiers::CONTROL);
        match key.code {
            KeyCode::Char('c' | 'd') if control => Some(Request::Stop(Ended::ByHand)),
            KeyCode::Char(' ') if self.word.is_empty() => {
                Some(Request::Mark { at, word: POWER_BUTTON.to_owned() })
            }
            KeyCode::Char(letter) if !control => {
                self.since.get_or_insert(at);
                self.word.push(letter);
                None
            }
            KeyCode::Backspace => {
                self.word.pop();
                if self.word.is_empty() {
                    self.since = None;
                }
                None
            }
            KeyCode::Enter => {
                let at = self.since.take()?;
                let word = std::mem::take(&mut self.word);
                Some(Request::Mark { at, word: word.trim().to_owned() })
            }
            KeyCode::Esc if self.word.is_empty() => Some(Request::Stop(Ended::ByHand)),
            KeyCode::Esc => {
                *self = Self::default();
                None
            }
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc::channel;

    fn press(typing: &mut Typing, codes: &[KeyCode], start: Instant) -> Vec<Request> {
        let key = |code: &KeyCode| KeyEvent::new(*code, KeyModifiers::NONE);
        let times = (0..).map(|ms| start + Duration::from_millis(ms));
        codes.iter().zip(times).filter_map(|(code, at)| typing.press(key(code), at)).collect()
    }

    #[test]
    fn the_space_bar_marks_the_power_button_at_once() {
        let start = Instant::now();
        let found = press(&mut Typing::default(), &[KeyCode::Char(' ')], start);
        assert_eq!(found, [Request::Mark { at: start, word: "power button".into() }]);
    }

    #[test]
    fn a_typed_word_has_the_time_of_its_first_letter() {
        let start = Instant::now();
        let mut codes: Vec<KeyCode> = "xfan on".chars().map(KeyCode::Char).collect();
        codes.insert(1, KeyCode::Backspace);
        codes.push(KeyCode::Enter);
        let found = press(&mut Typing::default(), &codes, start);
        let at = start + Duration::from_millis(2);
        assert_eq!(found, [Request::Mark { at, word: "fan on".into() }]);
    }

    #[test]
    fn escape_drops_a_word_and_then_ends_the_run() {
        let codes = [KeyCode::Char('a'), KeyCode::Esc, KeyCode::Enter, KeyCode::Esc];
        let found = press(&mut Typing::default(), &codes, Instant::now());
        assert_eq!(found, [Request::Stop(Ended::ByHand)]);
        let control_c = KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL);
        let found = Typing::default().press(control_c, Instant::now());
        assert_eq!(found, Some(Request::Stop(Ended::ByHand)));
    }

    #[test]
    fn lines_of_a_script_are_marks() {
        let (requests, received) = channel();
        read_lines("image on screen\n\n".as_bytes(), &requests);
        drop(requests);
        let words: Vec<String> = received
            .iter()
            .filter_map(|request| if let Request::Mark { word, .. } = request { Some(word) } else { None })
            .collect();
        assert_eq!(words, ["image on screen", "power button"]);
    }
}
