//! Cuts a stream of bytes into replies.

/// Longest reply that is kept: far above any identification, far below what a babbling device would fill.
pub const LONGEST_REPLY: usize = 4096;

/// More bytes without an end of a reply than any reply has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error(
    "more than {LONGEST_REPLY} bytes without an end of line; the device is no supply, or its line settings differ"
)]
pub struct Overlong;

/// Bytes that came and were not yet taken as a reply.
///
/// A reply ends at CR or LF, in any mix and number; empty lines, stray NULs and blanks between replies, and the
/// device's prompt are no replies. The first end of line ends the reply: nothing waits for the second.
#[derive(Debug, Clone, Default)]
pub struct Inbox {
    bytes: Vec<u8>,
    prompt: Vec<u8>,
}

impl Inbox {
    /// An inbox for a device that puts `prompt` between replies (empty for none).
    #[must_use]
    pub fn new(prompt: &str) -> Self {
        Self { bytes: Vec::new(), prompt: prompt.trim_matches(|c| c <= ' ').as_bytes().to_vec() }
    }

    /// Takes in what came.
    ///
    /// # Errors
    /// [`Overlong`] if it is longer than any reply; the inbox is then empty.
    pub fn push(&mut self, bytes: &[u8]) -> Result<(), Overlong> {
        if self.bytes.len() + bytes.len() > LONGEST_REPLY {
            self.bytes.clear();
            return Err(Overlong);
        }
        self.bytes.extend_from_slice(bytes);
        Ok(())
    }

    /// The next whole reply, without its end and without blanks around it; `None` if there is none yet.
    pub fn take_line(&mut self) -> Option<Vec<u8>> {
        loop {
            let end = self.bytes.iter().position(|byte| matches!(byte, b'\r' | b'\n'))?;
            let mut line: Vec<u8> = self.bytes.drain(..=end).collect();
            line.pop();
            let reply = self.without_prompt(&line);
            if !reply.is_empty() {
                return Some(reply.to_vec());
            }
        }
    }

    /// Everything that is there as one reply, for a device that marks no end; `None` if that is nothing.
    pub fn take_rest(&mut self) -> Option<Vec<u8>> {
        let rest = std::mem::take(&mut self.bytes);
        let reply = self.without_prompt(&rest);
        (!reply.is_empty()).then(|| reply.to_vec())
    }

    /// Drops `echo` from the front, if what came starts with it.
    pub fn drop_echo(&mut self, echo: &[u8]) {
        let start = self.bytes.iter().position(|byte| !is_blank(*byte)).unwrap_or(0);
        if !echo.is_empty() && self.bytes[start..].starts_with(echo) {
            self.bytes.drain(..start + echo.len());
        }
    }

    /// Whether something other than blanks, ends of line and the prompt is there.
    #[must_use]
    pub fn holds_something(&self) -> bool {
        self.bytes
            .split(|byte| matches!(byte, b'\r' | b'\n'))
            .any(|line| !self.without_prompt(line).is_empty())
    }

    /// Forgets everything.
    pub fn clear(&mut self) {
        self.bytes.clear();
    }

    fn without_prompt<'a>(&self, line: &'a [u8]) -> &'a [u8] {
        let mut line = trimmed(line);
        while !self.prompt.is_empty() && line.starts_with(&self.prompt) {
            line = trimmed(&line[self.prompt.len()..]);
        }
        line
    }
}

/// White space of IEEE 488.2, 7.4.1.2: every control character, NUL among them, and the blank.
fn is_blank(byte: u8) -> bool {
    byte <= b' '
}

fn trimmed(line: &[u8]) -> &[u8] {
    let start = line.iter().position(|byte| !is_blank(*byte)).unwrap_or(line.len());
    let end = line.iter().rposition(|byte| !is_blank(*byte)).map_or(start, |last| last + 1);
    &line[start..end]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn lines(inbox: &mut Inbox) -> Vec<String> {
        std::iter::from_fn(|| inbox.take_line()).map(|line| String::from_utf8(line).unwrap()).collect()
    }

    #[test]
    fn every_mix_of_line_ends_cuts_the_same() {
        for end in ["\n", "\r", "\r\n", "\n\r", "\r\r\n", " \r\n\0\n"] {
            let mut inbox = Inbox::new("");
            inbox.push(format!("\0 12.8;0.02{end}").as_bytes()).unwrap();
            assert_eq!(lines(&mut inbox), ["12.8;0.02"], "{end:?}");
            assert!(!inbox.holds_something(), "{end:?}");
        }
    }

    #[test]
    fn a_reply_without_its_end_is_not_there_yet() {
        let mut inbox = Inbox::new("");
        inbox.push(b"12.").unwrap();
        assert_eq!(inbox.take_line(), None);
        assert!(inbox.holds_something());
        inbox.push(b"8\n").unwrap();
        assert_eq!(inbox.take_line().as_deref(), Some(b"12.8".as_slice()));
    }

    #[test]
    fn prompts_are_no_replies() {
        let mut inbox = Inbox::new("> ");
        inbox.push(b"> 12.8\r\n> \r\n>> 0.02\r\n> ").unwrap();
        assert_eq!(lines(&mut inbox), ["12.8", "0.02"]);
        assert!(!inbox.holds_something());
    }

    #[test]
    fn an_echo_goes_wherever_it_ends() {
        for came in ["MEAS:VOLT?\r\n12.8\n", "MEAS:VOLT?12.8\n", "\nMEAS:VOLT?\r12.8\n"] {
            let mut inbox = Inbox::new("");
            inbox.push(came.as_bytes()).unwrap();
            inbox.drop_echo(b"MEAS:VOLT?");
            assert_eq!(lines(&mut inbox), ["12.8"], "{came:?}");
        }
    }

    #[test]
    fn babble_without_end_is_refused() {
        let mut inbox = Inbox::new("");
        inbox.push(&[b'x'; LONGEST_REPLY]).unwrap();
        assert_eq!(inbox.push(b"x"), Err(Overlong));
        assert!(!inbox.holds_something());
    }

    proptest! {
        #[test]
        fn how_the_bytes_are_cut_into_reads_changes_nothing(
            bytes in proptest::collection::vec(any::<u8>(), 0..200), cut in 0_usize..200,
        ) {
            let cut = cut.min(bytes.len());
            let (mut whole, mut halves) = (Inbox::new(">"), Inbox::new(">"));
            whole.push(&bytes).unwrap();
            let expected: Vec<_> = std::iter::from_fn(|| whole.take_line()).collect();
            halves.push(&bytes[..cut]).unwrap();
            let mut found: Vec<_> = std::iter::from_fn(|| halves.take_line()).collect();
            halves.push(&bytes[cut..]).unwrap();
            found.extend(std::iter::from_fn(|| halves.take_line()));
            prop_assert_eq!(found, expected);
        }
    }
}
