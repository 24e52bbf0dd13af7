//! How close the paced pseudo-terminal comes to its line: rates and stamp errors of a client that does nothing but ask.
//!
//! `cargo run --release --example line_rates` prints a table. The limit is T = bytes · 10 bits / baud + device time, for
//! one exchange of `MEAS:VOLT?;CURR?`; what is measured includes the host's own time. The stamp is the middle of the
//! exchange, the truth is the moment at which the supply took the answer from its display, as a share of half the span:
//! above 1 the stamp would be wrong by more than it says.

use feedtale::simulator::{BoardModel, Case, Scenario, Server, Setup, SupplyKind};
use std::error::Error;
use std::io::{Read, Write};
use std::time::{Duration, Instant};

const QUERY: &[u8] = b"MEAS:VOLT?;CURR?\n";
const EXCHANGES: u32 = 200;

fn main() -> Result<(), Box<dyn Error>> {
    println!(
        "{:>7} {:>9} {:>11} {:>11} {:>7} {:>22}",
        "baud", "device ms", "limit /s", "measured /s", "share", "stamp error/half span"
    );
    for baud in [9600, 115_200] {
        for device_ms in [0.0, 5.0, 20.0] {
            measure(baud, device_ms)?;
        }
    }
    Ok(())
}

fn measure(baud: u32, device_ms: f64) -> Result<(), Box<dyn Error>> {
    let model = BoardModel::named("harrow-13")?;
    let scenario = Scenario::new(model, Case::FullBoot, SupplyKind::default(), 1, 1);
    let mut setup = Setup { baud: Some(baud), ..Setup::new(scenario) };
    setup.manners.device_s = device_ms / 1e3;
    let server = Server::pty(setup, None)?;
    let address = server.address();
    let path = address.split('?').next().unwrap_or_default();
    let mut port = serialport::new(path, baud).timeout(Duration::from_secs(2)).open()?;
    let mut stamps = Vec::new();
    let mut bytes: usize = 0;
    let begin = Instant::now();
    for _ in 0..EXCHANGES {
        let asked = Instant::now();
        port.write_all(QUERY)?;
        bytes += QUERY.len() + read_line(&mut port)?;
        stamps.push((asked, asked.elapsed()));
    }
    let rate = f64::from(EXCHANGES) / begin.elapsed().as_secs_f64();
    let mean_bytes = f64::from(u32::try_from(bytes)?) / f64::from(EXCHANGES);
    let limit = 1.0 / (mean_bytes * 10.0 / f64::from(baud) + device_ms / 1e3);
    let worst = worst_stamp_error(&server, &stamps);
    println!(
        "{baud:>7} {device_ms:>9} {limit:>11.1} {rate:>11.1} {:>6.1}% {worst:>22.3}",
        100.0 * rate / limit
    );
    Ok(())
}

fn worst_stamp_error(server: &Server, stamps: &[(Instant, Duration)]) -> f64 {
    let record = server.record();
    let errors = stamps.iter().zip(&record.exchanges).map(|((asked, span), exchange)| {
        let truth = exchange.at.saturating_duration_since(*asked).as_secs_f64();
        let half = span.as_secs_f64() / 2.0;
        (truth - half).abs() / half
    });
    errors.fold(0.0, f64::max)
}

fn read_line(port: &mut Box<dyn serialport::SerialPort>) -> std::io::Result<usize> {
    let (mut buffer, mut count) = ([0; 64], 0);
    loop {
        let got = port.read(&mut buffer)?;
        count += got;
        if buffer[..got].contains(&b'\n') {
            return Ok(count);
        }
    }
}
