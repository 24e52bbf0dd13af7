//! The supply on a TCP port.

use super::converse::{Ended, Talk, Wire};
#[cfg(unix)]
use super::wait_for_bytes;
use std::io::{self, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::time::{Duration, Instant};

/// How often an idle listener is looked at.
const ACCEPT_WAIT: Duration = Duration::from_millis(5);
/// How long a port may take to come back after an unplugging.
const REBIND_PATIENCE: Duration = Duration::from_secs(5);

/// Waits for bytes in short steps, as a socket's own timeout is rounded up to the system's ticks.
#[cfg(not(unix))]
fn wait_for_bytes(stream: &TcpStream, wait: Duration) -> io::Result<bool> {
    const STEP: Duration = Duration::from_micros(200);
    let end = Instant::now() + wait;
    stream.set_nonblocking(true)?;
    let there = loop {
        match stream.peek(&mut [0]) {
            Err(error) if is_nothing(&error) && Instant::now() >= end => break Ok(false),
            Err(error) if is_nothing(&error) => std::thread::sleep(STEP),
            result => break result.map(|_| true),
        }
    };
    stream.set_nonblocking(false)?;
    there
}

impl Wire for TcpStream {
    fn receive(&mut self, buffer: &mut [u8], wait: Duration) -> io::Result<usize> {
        if !wait_for_bytes(self, wait)? {
            return Ok(0);
        }
        match self.read(buffer) {
            Ok(0) => Err(io::ErrorKind::UnexpectedEof.into()),
            Err(error) if is_nothing(&error) => Ok(0),
            result => result,
        }
    }

    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.write_all(bytes)
    }
}

/// Serves clients one after another until the server is to stop.
pub(super) fn serve(listener: TcpListener, talk: &mut Talk) -> io::Result<()> {
    let place = listener.local_addr()?;
    let mut listener = Some(listener);
    while !talk.is_stopped() {
        let ended = match &listener {
            Some(open) => serve_next(open, talk)?,
            None => None,
        };
        if let Some(Ended::Unplugged { outage, .. }) = ended {
            // Nobody listens while the cable is out.
            listener = None;
            if talk.wait_out(outage) {
                listener = Some(rebind(place)?);
            }
        }
    }
    Ok(())
}

fn serve_next(listener: &TcpListener, talk: &mut Talk) -> io::Result<Option<Ended>> {
    match listener.accept() {
        Ok((mut client, _)) => {
            client.set_nonblocking(false)?;
            client.set_nodelay(true)?;
            talk.converse(&mut client).map(Some)
        }
        Err(error) if is_nothing(&error) => {
            std::thread::sleep(ACCEPT_WAIT);
            Ok(talk.look_around())
        }
        Err(error) => Err(error),
    }
}

fn rebind(place: std::net::SocketAddr) -> io::Result<TcpListener> {
    let begin = Instant::now();
    loop {
        match TcpListener::bind(place) {
            Ok(listener) => {
                listener.set_nonblocking(true)?;
                return Ok(listener);
            }
            Err(error) if begin.elapsed() > REBIND_PATIENCE => return Err(error),
            Err(_) => std::thread::sleep(ACCEPT_WAIT),
        }
    }
}

fn is_nothing(error: &io::Error) -> bool {
    use io::ErrorKind::{Interrupted, TimedOut, WouldBlock};
    matches!(error.kind(), Interrupted | TimedOut | WouldBlock)
}
