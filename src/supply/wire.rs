//! One question, one answer: keeps the two in step over a line that loses, delays, joins and cuts.
//!
//! Answers carry no number that says which question they belong to. As long as every question got exactly one whole
//! answer in time, the two are in step. Once one did not, the next answer could be the late one of the question
//! before; so before anything else is asked, a question whose answer cannot be mistaken for a reading (the
//! identification) is sent, and everything up to its answer is thrown away. An instrument answers in order.

use super::SupplyError;
use super::dialect::{LineRules, Query};
use crate::link::Link;
use crate::scpi::{Inbox, shown};
use std::time::{Duration, Instant};

/// How much is read at once.
const CHUNK: usize = 256;
/// How long a message may take to leave.
const SEND_WITHIN: Duration = Duration::from_secs(2);

/// An answer, and when its question went out and its end came in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Answer {
    pub(super) text: String,
    pub(super) start: Instant,
    pub(super) end: Instant,
}

#[derive(Debug)]
pub(super) struct Wire {
    link: Link,
    inbox: Inbox,
    line: LineRules,
    identify: Option<Query>,
    /// The identification that answers [`Self::identify`], once known.
    known: Option<String>,
    /// Whether the identification of another supply counts as well.
    any_supply: bool,
    /// End of the last exchange, or of the opening of the link; the supply may need a rest from then on.
    last: Option<Instant>,
    /// Whether an answer may still come that belongs to an earlier question.
    in_doubt: bool,
    /// Identifications asked for while in doubt and not yet answered.
    outstanding: u32,
}

impl Wire {
    pub(super) fn new(link: Link, rules: LineRules, identify: Option<Query>) -> Self {
        let inbox = Inbox::new(&rules.prompt);
        Self {
            link,
            inbox,
            line: rules,
            identify,
            known: None,
            any_supply: true,
            // Somebody else may just have talked to the supply.
            last: Some(Instant::now()),
            in_doubt: false,
            outstanding: 0,
        }
    }

    pub(super) fn into_link(self) -> Link {
        self.link
    }

    pub(super) fn name(&self) -> &str {
        self.link.name()
    }

    pub(super) fn line(&self) -> &LineRules {
        &self.line
    }

    /// Goes on over another link; what was under way on the old one is lost.
    pub(super) fn replace_link(&mut self, link: Link) {
        self.link = link;
        self.inbox.clear();
        (self.last, self.in_doubt, self.outstanding) = (Some(Instant::now()), true, 0);
    }

    /// Remembers the reply by which this supply is known.
    pub(super) fn know(&mut self, identification: &str) {
        self.known = Some(identification.to_owned());
        self.any_supply = false;
    }

    /// Takes the identification of any supply for an answer until one is known (again).
    pub(super) fn expect_any_supply(&mut self) {
        self.any_supply = true;
    }

    pub(super) fn known(&self) -> Option<&str> {
        self.known.as_deref()
    }

    /// Notes that an answer was not what was asked for, so that the next question first gets in step again.
    pub(super) fn doubt(&mut self) {
        self.in_doubt = true;
    }

    /// Asks, after getting in step again if need be.
    pub(super) fn ask(&mut self, query: &Query) -> Result<Answer, SupplyError> {
        self.discard_waiting()?;
        if self.in_doubt {
            self.get_in_step()?;
        }
        let answer = self.exchange(query.text());
        self.in_doubt = answer.is_err();
        answer
    }

    /// Sends what sets something. No answer is waited for, and none is needed: an order must go out in any state.
    pub(super) fn send(&mut self, text: &str) -> Result<Instant, SupplyError> {
        self.rest();
        let started = Instant::now();
        let message = format!("{text}{}", self.line.send_end);
        self.link.send(message.as_bytes(), started + SEND_WITHIN)?;
        self.last = Some(Instant::now() + self.link.time_on_line(message.len()));
        Ok(started)
    }

    /// Waits for one line that is not an echo of `sent`; `None` if none came in time.
    pub(super) fn line_within(
        &mut self,
        sent: &str,
        within: Duration,
    ) -> Result<Option<String>, SupplyError> {
        let line = self.next_line(sent, Instant::now() + within)?;
        self.last = Some(Instant::now());
        Ok(line.map(|line| String::from_utf8_lossy(&line).into_owned()))
    }

    fn exchange(&mut self, text: &str) -> Result<Answer, SupplyError> {
        let start = self.send(text)?;
        let line = self.next_line(text, start + self.line.reply_within)?;
        let end = Instant::now();
        self.last = Some(end);
        let Some(line) = line else { return Err(self.nothing_whole(text, end - start)) };
        if self.inbox.holds_something() {
            self.inbox.clear();
            return Err(SupplyError::Joined {
                port: self.name().to_owned(),
                command: text.to_owned(),
                received: shown(&line),
            });
        }
        match String::from_utf8(line) {
            Ok(text) => Ok(Answer { text, start, end }),
            Err(bad) => Err(SupplyError::NotUnderstood {
                port: self.name().to_owned(),
                command: text.to_owned(),
                reply: shown(bad.as_bytes()),
                why: "not text; check the baud rate and the parity".to_owned(),
            }),
        }
    }

    fn nothing_whole(&mut self, command: &str, waited: Duration) -> SupplyError {
        let (port, command) = (self.name().to_owned(), command.to_owned());
        match self.inbox.take_rest() {
            Some(received) => SupplyError::Cut { port, command, received: shown(&received) },
            None => SupplyError::Silent { port, command, waited },
        }
    }

    /// The next line that is not an echo of `sent`.
    fn next_line(&mut self, sent: &str, deadline: Instant) -> Result<Option<Vec<u8>>, SupplyError> {
        loop {
            if self.line.echo {
                self.inbox.drop_echo(sent.as_bytes());
            }
            while let Some(line) = self.inbox.take_line() {
                if line != sent.as_bytes() {
                    return Ok(Some(line));
                }
            }
            let silence = self.line.quiet.filter(|_| self.inbox.holds_something());
            let until = silence.map_or(deadline, |silence| deadline.min(Instant::now() + silence));
            if !self.take_in(until)? {
                return Ok(silence
                    .and_then(|_| self.inbox.take_rest())
                    .filter(|rest| rest != sent.as_bytes()));
            }
        }
    }

    /// Waits for bytes and puts them into the inbox; `false` if none came.
    fn take_in(&mut self, deadline: Instant) -> Result<bool, SupplyError> {
        let mut chunk = [0; CHUNK];
        let count = self.link.receive(&mut chunk, deadline)?;
        self.keep(&chunk[..count])?;
        Ok(count > 0)
    }

    fn keep(&mut self, bytes: &[u8]) -> Result<(), SupplyError> {
        let name = self.link.name();
        self.inbox.push(bytes).map_err(|_| SupplyError::Babble { port: name.to_owned() })
    }

    /// Throws away what came without being asked for; more than ends of line and prompts is a reason for doubt.
    fn discard_waiting(&mut self) -> Result<(), SupplyError> {
        let mut chunk = [0; CHUNK];
        let mut total = 0;
        loop {
            let count = self.link.receive_waiting(&mut chunk)?;
            total += count;
            if total > crate::scpi::LONGEST_REPLY {
                self.in_doubt = true;
                return Err(SupplyError::Babble { port: self.name().to_owned() });
            }
            self.keep(&chunk[..count])?;
            if count == 0 {
                break;
            }
        }
        self.in_doubt |= self.inbox.holds_something();
        self.inbox.clear();
        Ok(())
    }

    /// Waits until everything that may still come has come.
    fn get_in_step(&mut self) -> Result<(), SupplyError> {
        let deadline = Instant::now() + self.line.reply_within;
        match self.identify.clone() {
            Some(identify) => self.wait_for_identification(identify.text(), deadline),
            None => self.wait_for_silence(deadline),
        }
    }

    fn wait_for_identification(&mut self, identify: &str, deadline: Instant) -> Result<(), SupplyError> {
        let start = self.send(identify)?;
        self.outstanding += 1;
        let mut found = false;
        while let Some(line) = self.next_line(identify, deadline)? {
            if self.is_identification(&line) {
                found = true;
                self.outstanding -= 1;
            }
            if self.outstanding == 0 {
                break;
            }
        }
        self.inbox.clear();
        self.last = Some(Instant::now());
        if found {
            // The earlier ones that did not come within this time were never heard by the supply.
            (self.outstanding, self.in_doubt) = (0, false);
            return Ok(());
        }
        Err(SupplyError::Silent {
            port: self.name().to_owned(),
            command: identify.to_owned(),
            waited: start.elapsed(),
        })
    }

    /// What ran into the known identification with no terminator between belongs to an earlier question.
    fn is_identification(&self, line: &[u8]) -> bool {
        if self.known.as_deref().is_some_and(|known| !known.is_empty() && line.ends_with(known.as_bytes())) {
            return true;
        }
        self.any_supply && std::str::from_utf8(line).is_ok_and(could_be_identification)
    }

    /// For a supply that cannot identify itself: a late answer comes within the time that answers may take.
    fn wait_for_silence(&mut self, deadline: Instant) -> Result<(), SupplyError> {
        while self.take_in(deadline)? {
            self.inbox.clear();
        }
        self.in_doubt = false;
        Ok(())
    }

    /// The rest that the supply needs between two exchanges.
    fn rest(&self) {
        let ready = self.last.map(|last| last + self.line.delay);
        if let Some(wait) = ready.and_then(|ready| ready.checked_duration_since(Instant::now())) {
            std::thread::sleep(wait);
        }
    }
}

/// Whether a line could be an identification, of a supply not known yet: it starts with a letter, as no reading does,
/// and is neither an acknowledgement nor an error word.
fn could_be_identification(line: &str) -> bool {
    let word = line.trim_start_matches('"').to_ascii_uppercase();
    word.starts_with(|c: char| c.is_ascii_alphabetic()) && !word.starts_with("ERR") && word != "OK"
}
