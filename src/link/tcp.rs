//! TCP connections, as network supplies and USB-to-network bridges offer them.

use super::{Channel, LinkError};
use std::io::{self, Read, Write};
use std::net::{SocketAddr, TcpStream, ToSocketAddrs};
use std::time::Duration;

struct Tcp(TcpStream);

impl Read for Tcp {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        self.0.read(buffer)
    }
}

impl Write for Tcp {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.write(bytes)
    }
    fn flush(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

impl Channel for Tcp {
    fn block_at_most(&mut self, limit: Duration) -> io::Result<()> {
        self.0.set_read_timeout(Some(limit))?;
        self.0.set_write_timeout(Some(limit))
    }

    fn has_input(&mut self) -> io::Result<bool> {
        self.0.set_nonblocking(true)?;
        let seen = self.0.peek(&mut [0]);
        self.0.set_nonblocking(false)?;
        match seen {
            // A closed connection has "input": the read that follows reports the end.
            Ok(_) => Ok(true),
            Err(e) if e.kind() == io::ErrorKind::WouldBlock => Ok(false),
            Err(e) => Err(e),
        }
    }
}

/// Connects to `host` at `port`, trying each of its addresses, and sends small messages without delay.
pub(super) fn open(host: &str, port: u16, within: Duration) -> Result<Box<dyn Channel>, LinkError> {
    let name = format!("tcp:{host}:{port}");
    let addresses: Vec<SocketAddr> = (host, port)
        .to_socket_addrs()
        .map_err(|e| LinkError::UnknownHost { port: name.clone(), detail: e.to_string() })?
        .collect();
    let mut last = None;
    for address in addresses {
        match TcpStream::connect_timeout(&address, within) {
            Ok(stream) => {
                stream
                    .set_nodelay(true)
                    .map_err(|e| LinkError::Other { port: name.clone(), detail: e.to_string() })?;
                return Ok(Box::new(Tcp(stream)));
            }
            Err(error) => last = Some(error),
        }
    }
    Err(cannot_connect(name, last, within))
}

fn cannot_connect(port: String, error: Option<io::Error>, waited: Duration) -> LinkError {
    match error {
        None => LinkError::UnknownHost { port, detail: "the name has no address".to_owned() },
        Some(e) if e.kind() == io::ErrorKind::ConnectionRefused => LinkError::Refused { port },
        Some(e) if e.kind() == io::ErrorKind::TimedOut => LinkError::Unreachable { port, waited },
        Some(e) => LinkError::Other { port, detail: e.to_string() },
    }
}
