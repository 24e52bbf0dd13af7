//! A lab supply as a source of readings, and, with a guard, of an output.

use super::source::{Output, Reading, Settings, Source, Trouble, Unconfirmed};
use crate::link::{Address, serial_ports};
use crate::supply::guard::{Guard, OffOutcome};
use crate::supply::{self, Supply, SupplyError};
use crate::trace::Mode;

/// Finds ports at which a supply may have come back under another name.
pub type Elsewhere = Box<dyn FnMut() -> Vec<Address> + Send>;

/// A supply that is only read.
pub struct SupplySource {
    supply: Supply,
    elsewhere: Elsewhere,
}

impl SupplySource {
    /// Reads `supply`. Should its port vanish, it is looked for at the same address, then at serial ports that were
    /// not there before.
    #[must_use]
    pub fn new(supply: Supply) -> Self {
        let before = port_names();
        Self::looking(supply, Box::new(move || ports_besides(&before)))
    }

    /// Reads `supply`; should its port vanish, it is looked for at the same address, then at those of `elsewhere`.
    #[must_use]
    pub fn looking(supply: Supply, elsewhere: Elsewhere) -> Self {
        Self { supply, elsewhere }
    }
}

impl Source for SupplySource {
    fn read(&mut self) -> Result<Reading, Trouble> {
        read(&mut self.supply)
    }

    fn settings(&mut self) -> Result<Settings, Trouble> {
        settings_of(&mut self.supply)
    }

    fn reopen(&mut self) -> Result<(), Trouble> {
        reopen(&mut self.supply, &mut self.elsewhere)
    }
}

/// A supply whose output may be switched.
pub struct GuardedSource {
    guard: Guard,
    elsewhere: Elsewhere,
}

impl GuardedSource {
    /// Reads and switches the supply that `guard` holds, which is set up and confirmed off.
    #[must_use]
    pub fn new(guard: Guard) -> Self {
        let before = port_names();
        Self { guard, elsewhere: Box::new(move || ports_besides(&before)) }
    }
}

impl Source for GuardedSource {
    fn read(&mut self) -> Result<Reading, Trouble> {
        read(self.guard.supply())
    }

    fn settings(&mut self) -> Result<Settings, Trouble> {
        settings_of(self.guard.supply())
    }

    fn reopen(&mut self) -> Result<(), Trouble> {
        reopen(self.guard.supply(), &mut self.elsewhere)
    }

    fn output(&mut self) -> Option<&mut dyn Output> {
        Some(self)
    }
}

impl Output for GuardedSource {
    fn switch_on(&mut self) -> Result<(), Trouble> {
        self.guard.on().map_err(|error| Trouble::NotUnderstood(error.to_string()))
    }

    fn switch_off(&mut self) -> Result<(), Unconfirmed> {
        match self.guard.off() {
            OffOutcome::Confirmed => Ok(()),
            OffOutcome::Unknown { why } => Err(Unconfirmed(why)),
        }
    }

    fn leave_on(&mut self) {
        self.guard.leave_on();
    }
}

fn read(supply: &mut Supply) -> Result<Reading, Trouble> {
    let reading = supply.read().map_err(|error| trouble(&error))?;
    Ok(Reading {
        volts: reading.volts,
        amps: reading.amps,
        mode: reading.mode.map_or(Mode::Unknown, mode),
        asked: reading.start,
        answered: reading.end,
    })
}

/// What the supply is set to, by as few messages as its dialect allows.
///
/// # Errors
/// [`Trouble`]; a reply that was not understood is no setting.
pub fn settings_of(supply: &mut Supply) -> Result<Settings, Trouble> {
    let found = supply.settings().map_err(|error| trouble(&error))?;
    let output_on = match found.output_on {
        None => supply.output_on().map_err(|error| trouble(&error))?,
        known => known,
    };
    Ok(Settings { volts: found.set_volts, limit: found.limit, output_on })
}

fn mode(mode: supply::Mode) -> Mode {
    match mode {
        supply::Mode::ConstantVoltage => Mode::ConstantVoltage,
        supply::Mode::ConstantCurrent => Mode::ConstantCurrent,
        supply::Mode::Off => Mode::Off,
    }
}

fn reopen(supply: &mut Supply, elsewhere: &mut Elsewhere) -> Result<(), Trouble> {
    let Err(first) = supply.reconnect(None) else { return Ok(()) };
    for address in elsewhere() {
        if supply.reconnect(Some(&address)).is_ok() {
            return Ok(());
        }
    }
    Err(Trouble::Lost(first.to_string()))
}

fn trouble(error: &SupplyError) -> Trouble {
    let text = error.to_string();
    if error.is_link_lost() {
        Trouble::Lost(text)
    } else if error.is_silence() {
        Trouble::Silent(text)
    } else {
        Trouble::NotUnderstood(text)
    }
}

fn port_names() -> Vec<String> {
    serial_ports().unwrap_or_default().into_iter().map(|port| port.path).collect()
}

fn ports_besides(before: &[String]) -> Vec<Address> {
    port_names()
        .into_iter()
        .filter(|name| !before.contains(name))
        .filter_map(|name| name.parse().ok())
        .collect()
}
