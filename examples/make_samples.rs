//! Writes the sample logs: known-good captures to learn profiles from, one capture of each class, and the stalled boards
//! again after their repair.
//!
//! `cargo run --example make_samples -- logs` writes them into `logs/`. Everything is simulated and drawn from fixed
//! numbers, so the files come out the same every time; `.ci/run` checks that those in the repository are current.

use feedtale::simulator::{
    BoardModel, Capture, Case, Mode as Regulation, Polling, Row, Scenario, SupplyKind, capture,
};
use feedtale::trace::{EventKind, Header, Mode, Sample, Trace, TraceBuilder, write};
use feedtale::units::{Amps, Seconds, Volts};
use std::error::Error;
use std::path::Path;

/// Known-good units of each board; each is captured once, the first of them twice.
const GOOD_UNITS: u64 = 5;
/// Units of the sick boards are numbered from here, so that none is also a reference.
const FIRST_SICK_UNIT: u64 = 40;
/// Day and time that the invented shop made its captures, and those of what it had repaired.
const STARTED: &str = "2026-03-02T09:00:00+00:00";
const REPAIRED: &str = "2026-03-04T14:00:00+00:00";

type Done = Result<(), Box<dyn Error>>;

fn main() -> Done {
    let folder = std::env::args_os().nth(1).ok_or("name the folder to write to, such as logs")?;
    write_all(Path::new(&folder))
}

fn write_all(folder: &Path) -> Done {
    for model in BoardModel::built_in() {
        for unit in 1..=GOOD_UNITS {
            write_good(folder, &model, unit, 1)?;
        }
        write_good(folder, &model, 1, 2)?;
        for (case, unit) in Case::ALL.into_iter().zip(FIRST_SICK_UNIT..) {
            let name = format!("{}-{case}.csv", model.name);
            write_one(&folder.join("samples").join(name), &scenario(&model, case, unit, 1), (unit, STARTED))?;
            if case == Case::Stalled {
                write_repaired(folder, &model, unit)?;
            }
        }
    }
    Ok(())
}

/// The same unit once it is repaired, on the same supply: as many runs later as there are supplies in turn.
fn write_repaired(folder: &Path, model: &BoardModel, unit: u64) -> Done {
    let run = 1 + u64::try_from(SupplyKind::built_in().len())?;
    let name = format!("{}-{}.csv", model.name, Case::FullBoot);
    let path = folder.join("repaired").join(name);
    write_one(&path, &scenario(model, Case::FullBoot, unit, run), (unit, REPAIRED))
}

fn write_good(folder: &Path, model: &BoardModel, unit: u64, run: u64) -> Done {
    let name = format!("{}-good-{unit}-{run}.csv", model.name);
    let path = folder.join("good").join(name);
    write_one(&path, &scenario(model, Case::FullBoot, unit, run), (unit, STARTED))
}

/// A run on one of the simulated supplies in turn, fed a little above and below the usual volts.
fn scenario(model: &BoardModel, case: Case, unit: u64, run: u64) -> Scenario {
    let kinds = SupplyKind::built_in();
    let kind = kinds[usize::try_from(unit + run).unwrap_or_default() % kinds.len()].clone();
    let mut scenario = Scenario::new(model.clone(), case, kind, unit, run);
    let off_nominal = [0.0, 0.02, -0.02][usize::try_from(unit).unwrap_or_default() % 3];
    scenario.set_volts = round(model.feed_v * (1.0 + off_nominal), 2);
    if case == Case::Stalled {
        scenario.stage = Some(model.hungriest_stage());
    }
    scenario
}

fn write_one(path: &Path, scenario: &Scenario, (unit, started): (u64, &str)) -> Done {
    let seconds = if scenario.case == Case::Stalled { 90.0 } else { 55.0 };
    let polling = Polling { rate_hz: 1.0 / scenario.supply.readback.period_s, seconds, ..Polling::default() };
    let shown = (scenario.supply.readback.volts_decimals, scenario.supply.readback.amps_decimals);
    let trace = trace(header(scenario, (unit, started))?, &capture(scenario, &polling), shown)?;
    std::fs::create_dir_all(path.parent().ok_or("a file lies in a folder")?)?;
    Ok(std::fs::write(path, write(&trace))?)
}

fn header(scenario: &Scenario, (unit, started): (u64, &str)) -> Result<Header, Box<dyn Error>> {
    Ok(Header {
        board: Some(scenario.model.name.clone()),
        serial: Some(scenario.serial()),
        ticket: (unit >= FIRST_SICK_UNIT).then(|| format!("T-{}", 1000 + unit)),
        feed_point: Some(scenario.model.feed_point.clone()),
        supply: Some(scenario.supply.identity.to_owned()),
        set_volts: Some(Volts::new(scenario.set_volts)?),
        limit: Some(Amps::new(scenario.limit)?),
        started: Some(started.parse()?),
        other: vec![
            ("simulated".into(), "yes".into()),
            ("simulated_unit".into(), unit.to_string()),
            ("simulated_run".into(), scenario.run.to_string()),
        ],
    })
}

/// The log of a capture, its readings with the `shown` decimals of volts and amps.
fn trace(header: Header, taken: &Capture, shown: (usize, usize)) -> Result<Trace, Box<dyn Error>> {
    let mut builder = TraceBuilder::new(header);
    let mut presses = taken.presses().peekable();
    let mut was_on = false;
    for row in &taken.rows {
        while let Some(press) = presses.next_if(|press| *press <= round(row.time, 3)) {
            builder.event(Seconds::new(round(press, 3))?, EventKind::Mark("power button".into()))?;
        }
        let sample = sample(row, shown)?;
        builder.sample(sample)?;
        let is_on = row.mode != Regulation::Off;
        if is_on != was_on {
            builder.event(sample.time, if is_on { EventKind::OutputOn } else { EventKind::OutputOff })?;
        }
        was_on = is_on;
    }
    Ok(builder.finish())
}

fn sample(row: &Row, shown: (usize, usize)) -> Result<Sample, Box<dyn Error>> {
    Ok(Sample {
        time: Seconds::new(round(row.time, 3))?,
        volts: Volts::new(round(row.volts, shown.0))?,
        amps: Amps::new(round(row.amps, shown.1))?,
        mode: match row.mode {
            Regulation::Off => Mode::Off,
            Regulation::ConstantVoltage => Mode::ConstantVoltage,
            Regulation::ConstantCurrent => Mode::ConstantCurrent,
        },
        span: Some(Seconds::new(round(row.span, 3))?),
    })
}

fn round(value: f64, decimals: usize) -> f64 {
    let factor = 10_f64.powi(i32::try_from(decimals).unwrap_or_default());
    (value * factor).round() / factor
}
