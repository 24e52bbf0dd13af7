//! Links against their own other ends: memory, a TCP server, a pseudo-terminal.

use super::*;
use std::net::TcpListener;

fn soon() -> Instant {
    Instant::now() + Duration::from_secs(5)
}

/// Well under the deadlines of these tests and well over a scheduler's hiccup.
const SHORT: Duration = Duration::from_millis(30);

#[test]
fn bytes_cross_a_link_in_memory_both_ways() {
    let (mut link, mut device) = memory("bench");
    link.send(b"MEAS:VOLT?\n", soon()).unwrap();
    let mut heard = [0; 11];
    device.read_exact(&mut heard).unwrap();
    device.write_all(b"12.8\n").unwrap();
    let mut answer = [0; 16];
    let count = link.receive(&mut answer, soon()).unwrap();
    assert_eq!((&heard, &answer[..count]), (b"MEAS:VOLT?\n", b"12.8\n".as_slice()));
}

#[test]
fn silence_ends_at_the_deadline_and_is_no_error() {
    let (mut link, _device) = memory("bench");
    let started = Instant::now();
    assert_eq!(link.receive(&mut [0; 4], started + SHORT), Ok(0));
    assert!(started.elapsed() >= SHORT);
}

#[test]
fn a_deadline_that_has_passed_still_takes_what_is_there() {
    let (mut link, mut device) = memory("bench");
    device.write_all(b"1").unwrap();
    assert_eq!(link.receive(&mut [0; 4], Instant::now()), Ok(1));
    assert_eq!(link.receive_waiting(&mut [0; 4]), Ok(0));
}

#[test]
fn a_dropped_end_is_a_link_gone() {
    let (mut link, device) = memory("bench");
    drop(device);
    let gone = LinkError::Gone { port: "bench".into() };
    assert_eq!(link.receive(&mut [0; 4], soon()), Err(gone.clone()));
    assert_eq!(link.receive_waiting(&mut [0; 4]), Err(gone.clone()));
    assert_eq!(link.send(b"x", soon()), Err(gone));
}

#[test]
fn tcp_carries_bytes_and_sees_the_end() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    let server = std::thread::spawn(move || {
        let (mut peer, _) = listener.accept().unwrap();
        let mut heard = [0; 3];
        peer.read_exact(&mut heard).unwrap();
        peer.write_all(&heard).unwrap();
    });
    let mut link = Link::open(&format!("tcp:127.0.0.1:{port}").parse().unwrap()).unwrap();
    assert_eq!(link.receive_waiting(&mut [0; 4]), Ok(0));
    link.send(b"abc", soon()).unwrap();
    let mut heard = Vec::new();
    while heard.len() < 3 {
        let mut buffer = [0; 4];
        let count = link.receive(&mut buffer, soon()).unwrap();
        heard.extend_from_slice(&buffer[..count]);
    }
    assert_eq!(heard, b"abc");
    server.join().unwrap();
    let end = link.receive(&mut [0; 4], soon());
    assert!(matches!(end, Err(LinkError::Gone { .. })), "{end:?}");
}

#[test]
fn a_tcp_port_nobody_listens_at_is_refused() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    drop(listener);
    let error = Link::open(&format!("tcp:127.0.0.1:{port}").parse().unwrap()).unwrap_err();
    assert_eq!(error, LinkError::Refused { port: format!("tcp:127.0.0.1:{port}") });
}

#[test]
fn a_port_that_is_not_there_says_so_and_what_to_try() {
    let error = Link::open(&"/dev/ttyNOWHERE7".parse().unwrap()).unwrap_err();
    assert_eq!(
        error.to_string(),
        "/dev/ttyNOWHERE7: no such port; is the cable plugged in and the supply switched on? `feedtale supplies` lists the ports that are there"
    );
}

#[cfg(unix)]
mod over_a_pseudo_terminal {
    use super::*;
    use serialport::{SerialPort, TTYPort};

    fn pair() -> (TTYPort, Link, String) {
        let (mut master, slave) = TTYPort::pair().unwrap();
        master.set_timeout(Duration::from_secs(5)).unwrap();
        let path = slave.name().unwrap();
        // The library holds its own slave exclusively; ours must be the only one.
        drop(slave);
        let link = Link::open(&format!("{path}?baud=115200").parse().unwrap()).unwrap();
        (master, link, path)
    }

    #[test]
    fn bytes_cross_raw() {
        let (mut master, mut link, _) = pair();
        // In cooked mode these bytes would be echoed, end a line, or raise a signal.
        let bytes = b"\r\n\x03\x04\x11\x13\x7f\0";
        link.send(bytes, soon()).unwrap();
        let mut heard = [0; 8];
        master.read_exact(&mut heard).unwrap();
        assert_eq!(&heard, bytes);
        master.write_all(bytes).unwrap();
        let mut heard = Vec::new();
        while heard.len() < bytes.len() {
            let mut buffer = [0; 16];
            let count = link.receive(&mut buffer, soon()).unwrap();
            assert!(count > 0, "no answer within 5 s");
            heard.extend_from_slice(&buffer[..count]);
        }
        assert_eq!(heard, bytes);
        assert_eq!(link.receive_waiting(&mut [0; 4]), Ok(0));
    }

    #[test]
    fn a_pulled_cable_is_a_link_gone() {
        let (master, mut link, path) = pair();
        drop(master);
        let gone = LinkError::Gone { port: path };
        assert_eq!(link.receive(&mut [0; 4], soon()), Err(gone.clone()));
        assert_eq!(link.send(b"x", soon()), Err(gone));
    }

    #[test]
    fn a_port_in_use_is_busy() {
        let (_master, _link, path) = pair();
        let error = Link::open(&path.parse().unwrap()).unwrap_err();
        assert_eq!(error, LinkError::Busy { port: path });
    }

    #[test]
    fn a_plain_file_is_not_a_serial_port() {
        let file = tempfile::NamedTempFile::new().unwrap();
        let path = file.path().to_str().unwrap();
        let error = Link::open(&path.parse().unwrap()).unwrap_err();
        assert!(matches!(error, LinkError::NotSerial { .. }), "{error:?}");
    }
}
