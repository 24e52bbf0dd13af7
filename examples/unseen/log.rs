//! A simulated run as the log that a poller would have written.

use feedtale::simulator::{Capture, Mode as Regulation, Polling, Row, Scenario, capture};
use feedtale::trace::{EventKind, Header, Mode, Sample, Trace, TraceBuilder};
use feedtale::units::{Amps, Seconds, Volts};
use std::error::Error;

/// Runs `scenario` under `polling` and returns the log beside what truly happened.
///
/// # Errors
/// If a number of the simulation is none that a log may hold.
pub(crate) fn taken(scenario: &Scenario, polling: &Polling) -> Result<(Trace, Capture), Box<dyn Error>> {
    let taken = capture(scenario, polling);
    let mut builder = TraceBuilder::new(header(scenario)?);
    let mut presses = taken.presses().collect::<Vec<f64>>().into_iter().peekable();
    for row in &taken.rows {
        while let Some(press) = presses.next_if(|press| *press <= rounded(row.time, 3)) {
            builder.event(Seconds::new(rounded(press, 3))?, EventKind::Mark("power button".into()))?;
        }
        builder.sample(sample(row, scenario)?)?;
    }
    Ok((builder.finish(), taken))
}

fn header(scenario: &Scenario) -> Result<Header, Box<dyn Error>> {
    Ok(Header {
        board: Some(scenario.model.name.clone()),
        serial: Some(scenario.serial()),
        set_volts: Some(Volts::new(scenario.set_volts)?),
        limit: Some(Amps::new(scenario.limit)?),
        ..Header::default()
    })
}

fn sample(row: &Row, scenario: &Scenario) -> Result<Sample, Box<dyn Error>> {
    let shown = &scenario.supply.readback;
    Ok(Sample {
        time: Seconds::new(rounded(row.time, 3))?,
        volts: Volts::new(rounded(row.volts, shown.volts_decimals))?,
        amps: Amps::new(rounded(row.amps, shown.amps_decimals))?,
        mode: match row.mode {
            Regulation::Off => Mode::Off,
            Regulation::ConstantVoltage => Mode::ConstantVoltage,
            Regulation::ConstantCurrent => Mode::ConstantCurrent,
        },
        span: Some(Seconds::new(rounded(row.span, 3))?),
    })
}

/// `value` with so many decimals.
pub(crate) fn rounded(value: f64, decimals: usize) -> f64 {
    let factor = 10_f64.powi(i32::try_from(decimals).unwrap_or_default());
    (value * factor).round() / factor
}
