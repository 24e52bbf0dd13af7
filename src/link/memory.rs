//! A link within the process: two ends, each a reader and a writer.

use super::{Channel, Link};
use std::collections::VecDeque;
use std::io::{self, Read, Write};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// How long a read blocks on an end that was never told.
const UNTIL_TOLD: Duration = Duration::from_secs(3600);

#[derive(Default)]
struct Lane {
    bytes: VecDeque<u8>,
    closed: bool,
}

#[derive(Default)]
struct Pipe {
    lane: Mutex<Lane>,
    changed: Condvar,
}

impl Pipe {
    fn lock(&self) -> MutexGuard<'_, Lane> {
        // A panic of the other end leaves whole bytes behind.
        self.lane.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn close(&self) {
        self.lock().closed = true;
        self.changed.notify_all();
    }
}

/// One end of a link in memory. Dropping it is what pulling the plug is to a cable.
pub struct MemoryEnd {
    incoming: Arc<Pipe>,
    outgoing: Arc<Pipe>,
    limit: Duration,
}

/// A link in memory, called `name` in messages, and its other end.
#[must_use]
pub fn memory(name: &str) -> (Link, MemoryEnd) {
    let (there, back) = (Arc::new(Pipe::default()), Arc::new(Pipe::default()));
    let near = MemoryEnd { incoming: Arc::clone(&back), outgoing: Arc::clone(&there), limit: UNTIL_TOLD };
    let far = MemoryEnd { incoming: there, outgoing: back, limit: UNTIL_TOLD };
    (Link::over(Box::new(near), name), far)
}

impl Read for MemoryEnd {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let deadline = Instant::now() + self.limit;
        let mut lane = self.incoming.lock();
        while lane.bytes.is_empty() {
            if lane.closed {
                return Ok(0);
            }
            let left = deadline.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Err(io::ErrorKind::TimedOut.into());
            }
            lane = self.incoming.changed.wait_timeout(lane, left).unwrap_or_else(PoisonError::into_inner).0;
        }
        let count = buffer.len().min(lane.bytes.len());
        for (slot, byte) in buffer.iter_mut().zip(lane.bytes.drain(..count)) {
            *slot = byte;
        }
        Ok(count)
    }
}

impl Write for MemoryEnd {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let mut lane = self.outgoing.lock();
        if lane.closed {
            return Err(io::ErrorKind::BrokenPipe.into());
        }
        lane.bytes.extend(bytes);
        drop(lane);
        self.outgoing.changed.notify_all();
        Ok(bytes.len())
    }
    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl Channel for MemoryEnd {
    fn block_at_most(&mut self, limit: Duration) -> io::Result<()> {
        self.limit = limit;
        Ok(())
    }
    fn has_input(&mut self) -> io::Result<bool> {
        let lane = self.incoming.lock();
        Ok(!lane.bytes.is_empty() || lane.closed)
    }
}

impl Drop for MemoryEnd {
    fn drop(&mut self) {
        self.incoming.close();
        self.outgoing.close();
    }
}
