//! A log that still grows: what is added is read once, and the verdict is looked at anew now and then.

use super::{Failure, GivenProfile};
use crate::cli::PAUSE_SHARE;
use crate::cli::logs::{diagnose_as, remark_cut};
use crate::trace::{Hasher, LogReader, Trace};
use crate::verdict::Finding;
use std::io::Read;
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::time::{Duration, Instant};

/// Blocks on their way; their room.
const BLOCKS: usize = 4;
const BLOCK: usize = 1 << 16;
/// While nothing was added, there is nothing to wake up for.
const LONG: Duration = Duration::from_secs(3600);

/// Reads `input` to its end; `look` is called with what was found so far, and the finding on the whole is returned.
pub(super) fn follow(
    input: impl Read + Send + 'static,
    given: Option<&GivenProfile>,
    mut look: impl FnMut(&Trace, &Finding) -> Result<(), Failure>,
) -> Result<Finding, Failure> {
    let (to_read, blocks) = sync_channel(BLOCKS);
    // Left to itself if the verdict ends in a failure before the input does.
    std::thread::spawn(move || send_on(input, &to_read));
    let mut growing = Growing {
        reader: LogReader::new(),
        hasher: Hasher::new(),
        given,
        beside: None,
        looked_beside: false,
    };
    let mut due = None;
    while growing.take_until(due, &blocks)? {
        let begin = Instant::now();
        if let Some((trace, finding)) = growing.finding()? {
            look(trace, &finding)?;
        }
        due = Some(Instant::now() + begin.elapsed() * PAUSE_SHARE);
    }
    growing.finish()
}

fn send_on(mut input: impl Read, blocks: &SyncSender<std::io::Result<Vec<u8>>>) {
    loop {
        let mut block = vec![0; BLOCK];
        let sent = match input.read(&mut block) {
            Ok(0) => return,
            Ok(count) => {
                block.truncate(count);
                blocks.send(Ok(block)).is_ok()
            }
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => true,
            Err(error) => {
                let _ = blocks.send(Err(error));
                return;
            }
        };
        if !sent {
            return;
        }
    }
}

/// The log so far.
struct Growing<'a> {
    reader: LogReader,
    hasher: Hasher,
    given: Option<&'a GivenProfile>,
    /// The profile of the log's board, and whether it was looked for.
    beside: Option<GivenProfile>,
    looked_beside: bool,
}

impl Growing<'_> {
    /// Takes what is added, at least one block and until `due`; `false` once the input has ended.
    fn take_until(
        &mut self,
        due: Option<Instant>,
        blocks: &Receiver<std::io::Result<Vec<u8>>>,
    ) -> Result<bool, Failure> {
        let mut added = false;
        loop {
            let pause = due.map_or(Duration::ZERO, |due| due.saturating_duration_since(Instant::now()));
            match blocks.recv_timeout(if added { pause } else { LONG }) {
                Ok(block) => {
                    let failed = |error| Failure::Input(format!("standard input cannot be read: {error}"));
                    let block = block.map_err(failed)?;
                    self.hasher.update(&block);
                    self.reader.feed(&block);
                    added = true;
                }
                Err(RecvTimeoutError::Timeout) if added => return Ok(true),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => return Ok(false),
            }
            if added && due.is_none_or(|due| Instant::now() >= due) {
                return Ok(true);
            }
        }
    }

    /// What is found so far; `None` while there is no reading, or once a line was malformed.
    fn finding(&mut self) -> Result<Option<(&Trace, Finding)>, Failure> {
        let Some(trace) = self.reader.so_far().filter(|trace| !trace.is_empty()) else { return Ok(None) };
        if self.reader.has_faults() {
            return Ok(None);
        }
        if self.given.is_none() && !self.looked_beside {
            self.beside = GivenProfile::beside(trace)?;
            self.looked_beside = true;
        }
        let profile = self.given.or(self.beside.as_ref());
        Ok(Some((trace, diagnose_as("-", self.hasher.so_far(), trace, profile))))
    }

    /// The finding on the whole log.
    fn finish(self) -> Result<Finding, Failure> {
        let sha256 = self.hasher.so_far();
        let bad = |error| Failure::Input(format!("standard input: {error}"));
        let (trace, cut) = self.reader.finish().map_err(bad)?;
        remark_cut("-", cut);
        let beside = match self.given {
            None if !self.looked_beside => GivenProfile::beside(&trace)?,
            _ => self.beside,
        };
        Ok(diagnose_as("-", sha256, &trace, self.given.or(beside.as_ref())))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fmt::Write as _;

    /// Standby, then a level that stays.
    fn log() -> String {
        let mut log = "# set_v: 12.8\n# limit_a: 3\nt_s,volts,amps\n".to_owned();
        for index in 0..600_u32 {
            let amps = if index < 200 { 240 + index % 3 } else { 8_000 + index * 7 % 90 };
            let _ = writeln!(log, "{}.{},12.8,0.{amps:04}", index / 10, index % 10);
        }
        log
    }

    #[test]
    fn the_last_word_is_that_of_the_whole_log() {
        let log = log();
        let mut looks = Vec::new();
        let found = follow(std::io::Cursor::new(log.clone().into_bytes()), None, |trace, finding| {
            looks.push((trace.len(), finding.verdict.class));
            Ok(())
        });
        let whole = crate::trace::read(log.as_bytes()).unwrap();
        assert_eq!(found.unwrap(), diagnose_as("-", whole.sha256, &whole.trace, None));
        assert!(looks.iter().all(|(count, _)| *count <= 600));
    }

    #[test]
    fn a_malformed_line_ends_it_as_it_does_a_whole_log() {
        let log = log() + "61,12.8,ERROR\n";
        let failure = follow(std::io::Cursor::new(log.into_bytes()), None, |_, _| Ok(())).unwrap_err();
        assert_eq!(failure.to_string(), "standard input: line 604: amps \"ERROR\" is not a number");
    }
}
