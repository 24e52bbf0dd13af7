//! A lab supply as a source of readings, and, with a guard, of an output.

use super::source::{Output, Reading, Settings, Source, Trouble, Unconfirmed};
use crate::link::{Address, serial_ports};
use crate::supply::guard::{self, Guard, OffOutcome, Preparation};
use crate::supply::{self, Supply, SupplyError};
use crate::trace::Mode;

/// Finds ports at which a supply may have come back under another name.
pub type Elsewhere = Box<dyn FnMut() -> Vec<Address> + Send>;

/// The places to look for `supply` at, should its port vanish: those of `also`, then serial ports that were not there
/// when this was called, with the line settings of its own. Whatever answers there must identify itself as the same
/// supply before anything is read from it.
#[must_use]
pub fn elsewhere(supply: &Supply, also: Vec<Address>) -> Elsewhere {
    let own = supply.address().cloned();
    let name = own.as_ref().map(|own| own.place().to_string());
    let before: Vec<String> =
        port_names().into_iter().filter(|port| Some(port.as_str()) != name.as_deref()).collect();
    Box::new(move || {
        let new = port_names().into_iter().filter(|port| !before.contains(port));
        let new = new.filter_map(|port| own.as_ref()?.at_port(&port));
        also.iter().cloned().chain(new).collect()
    })
}

/// A supply that is only read.
pub struct SupplySource {
    supply: Supply,
    elsewhere: Elsewhere,
    /// Whether remote control and the output may be taken anew after the link was lost.
    preparation: Option<Preparation>,
}

impl SupplySource {
    /// Reads `supply`. Should its port vanish, it is looked for at the same address, then at serial ports that were
    /// not there before.
    #[must_use]
    pub fn new(supply: Supply) -> Self {
        let elsewhere = elsewhere(&supply, Vec::new());
        Self::looking(supply, elsewhere)
    }

    /// Reads `supply`; should its port vanish, it is looked for at the same address, then at those of `elsewhere`.
    #[must_use]
    pub fn looking(supply: Supply, elsewhere: Elsewhere) -> Self {
        Self { supply, elsewhere, preparation: None }
    }

    /// Prepares the supply again (remote control, selected output) whenever its link was lost, and gives it back to
    /// its front panel at the end.
    #[must_use]
    pub fn prepared(mut self, preparation: Preparation) -> Self {
        self.preparation = Some(preparation);
        self
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
        reopen(&mut self.supply, &mut self.elsewhere, self.preparation.as_ref())
    }
}

impl Drop for SupplySource {
    fn drop(&mut self) {
        if let Some(preparation) = &self.preparation {
            // The front panel is a courtesy: a link that is gone was reported when it went.
            let _ = guard::hand_back(&mut self.supply, preparation);
        }
    }
}

/// A supply whose output may be switched.
pub struct GuardedSource {
    guard: Guard,
    elsewhere: Elsewhere,
}

impl GuardedSource {
    /// Reads and switches the supply that `guard` holds, which is set up and confirmed off. Should its port vanish,
    /// it is looked for at the same address, then at those of `elsewhere`.
    #[must_use]
    pub fn looking(guard: Guard, elsewhere: Elsewhere) -> Self {
        Self { guard, elsewhere }
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
        let (supply, preparation) = self.guard.supply_and_preparation();
        reopen(supply, &mut self.elsewhere, Some(preparation))
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

/// Tries the same address, then the others; the first at which the same supply answers.
fn reopen(
    supply: &mut Supply,
    elsewhere: &mut Elsewhere,
    preparation: Option<&Preparation>,
) -> Result<(), Trouble> {
    let Err(first) = reconnect(supply, None, preparation) else { return Ok(()) };
    for address in elsewhere() {
        if reconnect(supply, Some(&address), preparation).is_ok() {
            return Ok(());
        }
    }
    Err(Trouble::Lost(first.to_string()))
}

fn reconnect(
    supply: &mut Supply,
    address: Option<&Address>,
    preparation: Option<&Preparation>,
) -> Result<(), SupplyError> {
    supply.reconnect(address)?;
    preparation.map_or(Ok(()), |preparation| guard::prepare(supply, preparation))
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
