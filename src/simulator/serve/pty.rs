//! The supply on a pseudo-terminal.

use super::converse::{Ended, Talk, Wire};
use super::{locked, wait_for_bytes, with_settings};
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::OFlags;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use std::fs::File;
use std::io::{self, Read, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long a write may wait for a client that does not read.
const WRITE_PATIENCE: Timespec = Timespec { tv_sec: 1, tv_nsec: 0 };

/// A pseudo-terminal and the link that leads to it.
#[derive(Debug)]
pub(super) struct Port {
    master: File,
    /// Kept open: with no one at the other end, reading from the master would fail. A plain file, as a serial port
    /// of the library would hold a lock that keeps the client out.
    client_end: File,
    path: String,
    link: Option<PathBuf>,
}

impl Port {
    /// A new pseudo-terminal in raw mode. No child of this process inherits either end: a cable is out when this one
    /// says so.
    pub(super) fn open(link: Option<&Path>) -> io::Result<Self> {
        let master = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        grantpt(&master)?;
        unlockpt(&master)?;
        let device = ptsname(&master, Vec::new())?.into_string().map_err(io::Error::other)?;
        let flags = OFlags::NOCTTY.bits().cast_signed();
        let client_end = File::options().read(true).write(true).custom_flags(flags).open(&device)?;
        let mut settings = tcgetattr(&client_end)?;
        settings.make_raw();
        tcsetattr(&client_end, OptionalActions::Now, &settings)?;
        let path = match link {
            Some(link) => {
                std::os::unix::fs::symlink(&device, link)?;
                link.display().to_string()
            }
            None => device,
        };
        Ok(Self { master: File::from(master), client_end, path, link: link.map(Path::to_owned) })
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
        if wait_for_bytes(&self.master, wait)? {
            return self.master.read(buffer);
        }
        // A client that left may have kept the port to itself, and the mark stays while we hold the port.
        rustix::termios::ioctl_tiocnxcl(&self.client_end)?;
        Ok(0)
    }

    fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        // Nobody reads: a line has no memory, and what does not fit is lost.
        let takes = poll(&mut [PollFd::new(&self.master, PollFlags::OUT)], Some(&WRITE_PATIENCE));
        if matches!(takes, Ok(0)) { Ok(()) } else { self.master.write_all(bytes) }
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
