use super::*;
use crate::simulator::{BoardModel, Case, Operator, SupplyKind};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

fn setup() -> Setup {
    let model = BoardModel::named("kiln-24").unwrap();
    let mut scenario = Scenario::new(model, Case::FullBoot, SupplyKind::named("bench-fast").unwrap(), 1, 1);
    scenario.operator = Operator { on_s: Some(0.1), ..Operator::default() };
    Setup::new(scenario)
}

fn tcp(setup: Setup) -> (Server, TcpStream) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let place = listener.local_addr().unwrap();
    let server = Server::tcp(setup, listener).unwrap();
    let client = TcpStream::connect(place).unwrap();
    client.set_read_timeout(Some(Duration::from_secs(5))).unwrap();
    client.set_nodelay(true).unwrap();
    (server, client)
}

fn ask(wire: &mut (impl Read + Write), message: &str) -> io::Result<String> {
    wire.write_all(format!("{message}\n").as_bytes())?;
    let mut answer = Vec::new();
    let mut byte = [0];
    while answer.last() != Some(&b'\n') {
        match wire.read(&mut byte)? {
            0 => return Err(io::ErrorKind::UnexpectedEof.into()),
            _ => answer.push(byte[0]),
        }
    }
    Ok(String::from_utf8_lossy(&answer).trim().to_owned())
}

#[test]
fn a_client_on_tcp_sees_the_board_start_after_its_first_measurement() {
    let (server, mut client) = tcp(Setup { speed: 20.0, ..setup() });
    assert!(server.address().starts_with("tcp:127.0.0.1:") && server.address().ends_with("?speed=20"));
    assert!(ask(&mut client, "*IDN?").unwrap().starts_with("SALTMARSH BENCH"));
    assert!(server.record().zero.is_none(), "identifying alone starts nothing");
    while server
        .record()
        .events
        .iter()
        .all(|event| event.what != crate::simulator::Truth::State("rails".into()))
    {
        ask(&mut client, "MEAS:VOLT?;CURR?").unwrap();
    }
    let record = server.stop().unwrap();
    assert_eq!(record.messages.len(), record.exchanges.len() + 1);
    assert!(record.exchanges.windows(2).all(|pair| pair[0].at < pair[1].at));
}

#[test]
fn a_program_that_switches_the_output_is_not_interfered_with() {
    let (server, mut client) = tcp(Setup { speed: 20.0, ..setup() });
    ask(&mut client, "VOLT 24;CURR 1.5;OUTP OFF;OUTP?").unwrap();
    while server.record().exchanges.last().is_none_or(|exchange| exchange.bench_s < 1.0) {
        ask(&mut client, "MEAS:VOLT?").unwrap();
    }
    assert_eq!(ask(&mut client, "OUTP?").unwrap(), "0");
    assert_eq!(ask(&mut client, "OUTP ON;OUTP?").unwrap(), "1");
}

#[test]
fn left_alone_the_bench_goes_back_to_the_beginning() {
    let (server, mut client) = tcp(Setup { rewind_s: Some(0.2), ..setup() });
    ask(&mut client, "MEAS:VOLT?").unwrap();
    while server.record().rewinds == 0 {
        std::thread::sleep(Duration::from_millis(20));
    }
    assert_eq!(ask(&mut client, "OUTP?").unwrap(), "0");
    assert!(server.record().zero.is_none());
}

#[test]
fn an_unplugged_tcp_cable_ends_the_connection_and_comes_back() {
    let faults = vec!["unplug=200ms@3".parse().unwrap()];
    let (server, mut client) = tcp(Setup { faults, ..setup() });
    let answers = (0..10).take_while(|_| ask(&mut client, "MEAS:VOLT?").is_ok()).count();
    assert!((2..=3).contains(&answers), "{answers} answers before the cable was out");
    let place = server.address().trim_start_matches("tcp:").to_owned();
    let mut client = (0..200)
        .find_map(|_| {
            std::thread::sleep(Duration::from_millis(20));
            TcpStream::connect(&place).ok()
        })
        .expect("the port comes back");
    assert!(ask(&mut client, "MEAS:VOLT?").is_ok());
}

#[test]
fn a_reboot_switches_the_output_off_and_is_silent_for_a_while() {
    let faults = vec!["reboot=300ms@2".parse().unwrap()];
    let (_server, mut client) = tcp(Setup { faults, ..setup() });
    ask(&mut client, "VOLT 24;CURR 1.5;OUTP ON;OUTP?").unwrap();
    assert_eq!(ask(&mut client, "OUTP?").unwrap(), "1");
    client.set_read_timeout(Some(Duration::from_millis(100))).unwrap();
    let silent = (0..100).take_while(|_| ask(&mut client, "OUTP?").is_err()).count();
    assert!(silent >= 1, "the supply answered all through its reboot");
    assert_eq!(ask(&mut client, "OUTP?").unwrap(), "0");
}

#[cfg(unix)]
mod on_a_pseudo_terminal {
    use super::*;
    use std::time::Instant;

    fn open(address: &str) -> Box<dyn serialport::SerialPort> {
        let path = address.split('?').next().unwrap();
        serialport::new(path, 9600).timeout(Duration::from_secs(5)).open().unwrap()
    }

    #[test]
    fn bytes_take_their_time_at_the_baud_rate_both_ways() {
        let server = Server::pty(Setup { baud: Some(9600), ..setup() }, None).unwrap();
        assert!(server.address().ends_with("?baud=9600"), "{}", server.address());
        let mut port = open(&server.address());
        let mut fastest = f64::INFINITY;
        for _ in 0..5 {
            let begin = Instant::now();
            let answer = ask(&mut port, "MEAS:VOLT?;CURR?").unwrap();
            let bytes = u32::try_from("MEAS:VOLT?;CURR?\n".len() + answer.len() + 1).unwrap();
            fastest = fastest.min(begin.elapsed().as_secs_f64() / (f64::from(bytes) * 10.0 / 9600.0));
        }
        // Never faster than the line; how much slower depends on the machine and is measured elsewhere.
        assert!(fastest >= 0.999, "{fastest} of the line's time");
    }

    #[test]
    fn a_link_leads_there_and_is_taken_away() {
        let folder = tempfile::tempdir().unwrap();
        let link = folder.path().join("supply");
        let server = Server::pty(setup(), Some(&link)).unwrap();
        assert_eq!(server.address(), link.display().to_string());
        assert_eq!(ask(&mut open(&server.address()), "OUTP?").unwrap(), "0");
        // A second client after the first has closed.
        assert_eq!(ask(&mut open(&server.address()), "OUTP?").unwrap(), "0");
        server.stop().unwrap();
        assert!(std::fs::symlink_metadata(&link).is_err());
    }

    #[test]
    fn a_pulled_cable_breaks_the_port_and_the_link_leads_to_the_new_one() {
        let folder = tempfile::tempdir().unwrap();
        let link = folder.path().join("supply");
        let faults = vec!["unplug=200ms@2".parse().unwrap(), "rename=200ms@4".parse().unwrap()];
        let server = Server::pty(Setup { faults, ..setup() }, Some(&link)).unwrap();
        let until_broken = |path: &Path| {
            let deadline = Instant::now() + Duration::from_secs(20);
            while !path.exists() && Instant::now() < deadline {
                std::thread::sleep(Duration::from_millis(10));
            }
            let mut port = open(&path.display().to_string());
            (0..10).take_while(|_| ask(&mut port, "MEAS:VOLT?").is_ok()).count()
        };
        assert!(until_broken(&link) >= 1);
        assert!(until_broken(&link) >= 1);
        let renamed = folder.path().join("supply-2");
        assert!(until_broken(&renamed) == 10, "the renamed port answers");
        assert_eq!(server.address(), renamed.display().to_string());
    }
}
