//! The supply on a pseudo-terminal.

use super::converse::{Ended, Talk, Wire};
use super::{locked, with_settings};
use rustix::fs::OFlags;
use serialport::{SerialPort, TTYPort};
use std::fs::File;
use std::io::{self, Read, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long a write may wait for a client that does not read.
const WRITE_PATIENCE: Duration = Duration::from_secs(1);

/// A pseudo-terminal and the link that leads to it.
#[derive(Debug)]
pub(super) struct Port {
    master: TTYPort,
    /// Kept open: with no one at the other end, reading from the master would fail. A plain file, as a serial port
    /// of this kind would hold a lock that keeps the client out.
    client_end: File,
    path: String,
    link: Option<PathBuf>,
}

impl Port {
    /// A new pseudo-terminal in raw mode.
    pub(super) fn open(link: Option<&Path>) -> io::Result<Self> {
        let (master, raw_end) = TTYPort::pair()?;
        let device = raw_end.name().ok_or_else(|| io::Error::other("a pseudo-terminal without a name"))?;
        let flags = OFlags::NOCTTY.bits().cast_signed();
        let client_end = File::options().read(true).write(true).custom_flags(flags).open(&device)?;
        let path = match link {
            Some(link) => {
                std::os::unix::fs::symlink(&device, link)?;
                link.display().to_string()
            }
            None => device,
        };
        Ok(Self { master, client_end, path, link: link.map(Path::to_owned) })
    }

    /// The path for a client.
    pub(super) fn path(&self) -> &str {
        &self.path
    }
}

impl Drop for Port {
    fn drop(&mut self) {
        if let Some(link) = &self.link {
            // Somebody may have taken it away already.
            let _ = std::fs::remove_file(link);
        }
    }
}

impl Wire for Port {
    fn receive(&mut self, buffer: &mut [u8], wait: Duration) -> io::Result<usize> {
        self.master.set_timeout(wait)?;
        match self.master.read(buffer) {
            Err(error) if matches!(error.kind(), io::ErrorKind::TimedOut | io::ErrorKind::Interrupted) => {
                // A client that left may have kept the port to itself, and the mark stays while we hold the port.
                rustix::termios::ioctl_tiocnxcl(&self.client_end)?;
                Ok(0)
            }
            result => result,
        }
    }

    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.master.set_timeout(WRITE_PATIENCE)?;
        match self.master.write_all(bytes) {
            // Nobody reads: a line has no memory, and what does not fit is lost.
            Err(error) if error.kind() == io::ErrorKind::TimedOut => Ok(()),
            result => result,
        }
    }
}

/// Serves until the server is to stop.
pub(super) fn serve(port: Port, talk: &mut Talk) -> io::Result<()> {
    let mut port = port;
    let mut times_renamed = 0;
    loop {
        match talk.converse(&mut port)? {
            Ended::Stopped => return Ok(()),
            Ended::Gone => {}
            Ended::Unplugged { outage, renamed } => {
                times_renamed += u32::from(renamed);
                let link = port.link.take();
                if let Some(link) = &link {
                    std::fs::remove_file(link)?;
                }
                drop(port);
                if !talk.wait_out(outage) {
                    return Ok(());
                }
                let link = if renamed { link.map(|link| renamed_link(&link, times_renamed)) } else { link };
                port = Port::open(link.as_deref())?;
                let setup = talk.setup();
                *locked(&talk.address) = with_settings(port.path(), setup.baud, setup.speed);
            }
        }
    }
}

/// `supply` comes back as `supply-2`, as a port that was still held open by somebody would.
fn renamed_link(link: &Path, times: u32) -> PathBuf {
    let mut name = link.as_os_str().to_owned();
    name.push(format!("-{}", times + 1));
    name.into()
}
