//! How fast the recorder is, and how honest its stamps are.

use crate::run::{Run, record, setup, tcp};
use crate::{Result, count};
use feedtale::simulator::{Manners, Server, Setup};
use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// What one poll sends, with its terminator.
const QUERY: &str = "MEAS:VOLT?;CURR?\n";
/// Start bit, eight data bits, stop bit.
const BITS_PER_BYTE: f64 = 10.0;
/// How often the plain loop and the recorder take turns: what else the machine does falls on both.
const TURNS: u32 = 3;

/// A line to measure on.
#[derive(Clone, Copy)]
struct Line {
    baud: Option<u32>,
    device_ms: f64,
}

pub(crate) fn print(seconds: f64) -> Result<Vec<Run>> {
    println!("Rates, {seconds} s each, one message a poll (17 bytes out, replies as counted)\n");
    println!(
        "| wire | device ms | limit/s | plain loop/s | of limit | recorded/s | of limit | of plain | changes/s |"
    );
    println!("|---|---:|---:|---:|---:|---:|---:|---:|---:|");
    let mut runs = Vec::new();
    for baud in [Some(9600), Some(115_200), None] {
        for device_ms in [0.0, 5.0, 20.0] {
            runs.extend(Line { baud, device_ms }.measure(seconds)?);
        }
    }
    println!();
    Ok(runs)
}

impl Line {
    fn name(self) -> String {
        self.baud.map_or_else(|| "tcp".to_owned(), |baud| format!("serial {baud}"))
    }

    fn server(self) -> Result<Server> {
        let manners = Manners { device_s: self.device_ms / 1e3, ..Manners::default() };
        let setup = Setup { manners, baud: self.baud, ..setup()? };
        if self.baud.is_some() { Ok(Server::pty(setup, None)?) } else { tcp(setup) }
    }

    /// Seconds that one poll takes at least.
    fn limit(self, reply_bytes: f64) -> f64 {
        let bytes = count(QUERY.len()) + reply_bytes;
        self.baud.map_or(0.0, |baud| bytes * BITS_PER_BYTE / f64::from(baud)) + self.device_ms / 1e3
    }

    fn measure(self, seconds: f64) -> Result<Vec<Run>> {
        let turn = seconds / f64::from(TURNS);
        let (mut plain, mut runs) = (Vec::new(), Vec::new());
        for _ in 0..TURNS {
            plain.push(plain_rate(&self.server()?, Duration::from_secs_f64(turn))?);
            runs.push(record(&format!("{}, {} ms", self.name(), self.device_ms), self.server()?, turn)?);
        }
        let mean = |values: &[f64]| values.iter().sum::<f64>() / count(values.len().max(1));
        let of_runs = |part: fn(&Run) -> Option<f64>| {
            mean(&runs.iter().map(|run| part(run).unwrap_or_default()).collect::<Vec<_>>())
        };
        let recorded = of_runs(|run| run.report.tally.poll_hz());
        let changes = of_runs(|run| run.report.tally.changed_hz());
        let plain = mean(&plain);
        let wire_s = self.limit(of_runs(|run| Some(run.reply_bytes())));
        let limit = if wire_s > 0.0 { format!("{:.1}", 1.0 / wire_s) } else { "none".to_owned() };
        let share = |rate: f64| {
            if wire_s > 0.0 { format!("{:.1} %", 100.0 * rate * wire_s) } else { "-".to_owned() }
        };
        println!(
            "| {} | {} | {limit} | {plain:.1} | {} | {recorded:.1} | {} | {:.1} % | {changes:.1} |",
            self.name(),
            self.device_ms,
            share(plain),
            share(recorded),
            100.0 * recorded / plain
        );
        Ok(runs)
    }
}

/// Polls a second of a loop that does nothing but write and read, blocking.
fn plain_rate(server: &Server, length: Duration) -> Result<f64> {
    let address = server.address();
    let place = address.split('?').next().unwrap_or_default();
    if let Some(place) = place.strip_prefix("tcp:") {
        let mut stream = TcpStream::connect(place)?;
        stream.set_nodelay(true)?;
        return ask_for(&mut stream, length);
    }
    let mut port = serialport::new(place, 9600).timeout(Duration::from_secs(2)).open()?;
    ask_for(&mut port, length)
}

fn ask_for(wire: &mut (impl Read + Write), length: Duration) -> Result<f64> {
    let (begin, mut polls) = (Instant::now(), 0);
    let mut buffer = [0; 64];
    while begin.elapsed() < length {
        wire.write_all(QUERY.as_bytes())?;
        let mut ended = false;
        while !ended {
            let count = wire.read(&mut buffer)?;
            ended = buffer[..count].contains(&b'\n');
        }
        polls += 1;
    }
    Ok(count(polls) / begin.elapsed().as_secs_f64())
}

/// Stamps of every run against the moments at which the supply took its readings.
pub(crate) fn print_stamps(runs: &[Run]) {
    println!("Stamps against the simulator's true time\n");
    println!("| wire | readings | median error ms | worst error ms | worst of half its span | beyond it |");
    println!("|---|---:|---:|---:|---:|---:|");
    for run in runs {
        let found: Vec<(f64, f64)> = (0..run.log.len()).filter_map(|index| run.stamp_error(index)).collect();
        let mut errors: Vec<f64> = found.iter().map(|(error, _)| error * 1e3).collect();
        errors.sort_by(f64::total_cmp);
        let (median, worst) = (errors.get(errors.len() / 2), errors.last());
        let share = found.iter().map(|(error, half)| error / half).fold(0.0, f64::max);
        let beyond = run.log.len() - found.iter().filter(|(error, half)| error <= half).count();
        println!(
            "| {} | {} | {:.3} | {:.3} | {:.1} % | {beyond} |",
            run.name,
            run.log.len(),
            median.copied().unwrap_or(f64::NAN),
            worst.copied().unwrap_or(f64::NAN),
            100.0 * share
        );
    }
    println!();
}
