//! The only place that may energise: permission, order of steps, confirmation, and off on every way out.
//!
//! [`Permission`] is made here and nowhere else, after a person saw the cautions; [`Guard`] takes it together with the
//! supply. Nothing is switched on before the output was confirmed off, the settings were read back and found right.
//! Dropping the guard, by whatever way (an error, a signal, a panic), switches the output off and confirms it by
//! reading back; an outcome that could not be confirmed is reported as [`OffOutcome::Unknown`], never as off.

mod off;
mod orders;
mod permission;
mod short_check;

pub use off::OffOutcome;
pub use orders::Orders;
pub use permission::{Bounds, Feed, Permission, Preparation, Refusal, Request};
pub use short_check::{Load, ShortCheck, ShortCheckResult};

use super::{Settings, Supply, SupplyError};
use crate::units::{Amps, Volts};
use orders::Drive;
use std::time::Duration;

/// How often a question that confirms something is asked before its failure counts.
const CONFIRM_TRIES: u32 = 3;
/// A setting was taken if it reads back within this share: supplies round to steps much finer than this.
const SAME_SETTING_SHARE: f64 = 0.005;
/// Over-voltage protection above the set volts, as a share: clear of overshoot, well below what doubles a rail.
/// Common practice, no source.
const OVER_VOLTS_SHARE: f64 = 0.1;
/// And at least so many volts above them.
const OVER_VOLTS_LEAST: f64 = 0.5;
/// Over-current protection above the limit, as a share: the limit must be able to act first. Common practice.
const OVER_AMPS_SHARE: f64 = 0.1;

/// Why driving did not go on. The output was then switched off, or never on, except where it says otherwise.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum GuardError {
    /// The dialect does not say how.
    #[error("dialect '{dialect}' has no [drive] section: this supply can be read but not driven")]
    CannotDrive {
        /// The dialect.
        dialect: String,
    },
    /// The supply did not answer as it should.
    #[error(transparent)]
    Supply(#[from] SupplyError),
    /// The supply refused an order.
    #[error("the supply refused '{order}': {answer}")]
    Rejected {
        /// What was sent.
        order: String,
        /// Its error queue, or what it answered.
        answer: String,
    },
    /// A setting reads back as something else.
    #[error("{what} was set to {wanted} but reads back as {found}; the output stays off")]
    NotTaken {
        /// Which setting.
        what: &'static str,
        /// What was sent.
        wanted: String,
        /// What was read back.
        found: String,
    },
    /// The output is not in the state that it was switched to.
    #[error("the output was switched {wanted} but reads back as {found}")]
    NotSwitched {
        /// Where to.
        wanted: &'static str,
        /// What was read back.
        found: &'static str,
    },
    /// Switching on before the settings were made and checked.
    #[error("the output is not set up; volts and limit are set and read back first")]
    NotSetUp,
    /// The output could not be confirmed off.
    #[error("{0}")]
    NotOff(String),
}

/// How the output stands, as far as this program can know.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// Nothing was sent yet: the output is as it was found.
    Untouched,
    /// Confirmed off.
    Off,
    /// Confirmed off, volts and limit set and read back.
    Ready,
    /// Switched on, or perhaps on.
    MaybeOn,
}

/// What hears how the last switching off went, when the guard goes by a way that returns nothing.
type OnDrop = Box<dyn FnOnce(&OffOutcome) + Send>;

/// A supply with permission to drive it.
pub struct Guard {
    supply: Supply,
    drive: Drive,
    permission: Permission,
    state: State,
    leave_on: bool,
    on_drop: Option<OnDrop>,
}

impl std::fmt::Debug for Guard {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Guard")
            .field("supply", &self.supply)
            .field("state", &self.state)
            .finish_non_exhaustive()
    }
}

impl Guard {
    /// Takes the supply in guard and prepares it (remote control, selected output). The output stays as it is.
    ///
    /// # Errors
    /// [`GuardError::CannotDrive`] if the dialect does not say how, [`GuardError::Supply`] if the supply is not there.
    pub fn new(mut supply: Supply, permission: Permission) -> Result<Self, GuardError> {
        let Some(drive) = supply.dialect.orders.drive.clone() else {
            return Err(GuardError::CannotDrive { dialect: supply.dialect.name.clone() });
        };
        prepare(&mut supply, permission.preparation())?;
        Ok(Self { supply, drive, permission, state: State::Untouched, leave_on: false, on_drop: None })
    }

    /// The supply, to be read.
    pub fn supply(&mut self) -> &mut Supply {
        &mut self.supply
    }

    /// The supply, and the permission to prepare it again once its link is back.
    pub fn supply_and_preparation(&mut self) -> (&mut Supply, &Preparation) {
        (&mut self.supply, self.permission.preparation())
    }

    /// What the permission allows to set.
    #[must_use]
    pub fn feed(&self) -> Feed {
        self.permission.feed()
    }

    /// How long the supply's own watchdog waits for traffic before it switches off, if it has one.
    #[must_use]
    pub fn watchdog(&self) -> Option<Duration> {
        self.drive.watchdog.as_ref().map(|watchdog| Duration::from_secs_f64(watchdog.seconds))
    }

    /// Hears how the switching off went when the guard is dropped with the output on.
    pub fn report_drop_to(&mut self, report: impl FnOnce(&OffOutcome) + Send + 'static) {
        self.on_drop = Some(Box::new(report));
    }

    /// Switches the output off and confirms it, sets volts, limit and what protection the supply has, and reads all
    /// of it back.
    ///
    /// # Errors
    /// [`GuardError`]; the output is off, or could not be confirmed off ([`GuardError::NotOff`]).
    pub fn set_up(&mut self) -> Result<Settings, GuardError> {
        self.set_feed(self.permission.feed())
    }

    fn set_feed(&mut self, feed: Feed) -> Result<Settings, GuardError> {
        self.confirm_off()?;
        // What others left in the error queue is not about us.
        self.supply.errors()?;
        let (volts, limit) = (self.drive.set_volts(feed.volts), self.drive.limit(feed.limit));
        self.order(&volts)?;
        self.order(&limit)?;
        self.protect(feed)?;
        std::thread::sleep(self.drive.settle);
        self.nothing_refused(&format!("{volts}; {limit}"))?;
        let settings = self.confirm(Supply::settings)?;
        self.check(feed, &settings)?;
        self.state = State::Ready;
        Ok(settings)
    }

    /// Switches the output on, after [`Self::set_up`], and confirms it.
    ///
    /// # Errors
    /// [`GuardError::NotSetUp`] if the output is not set up; else [`GuardError`], and the output was switched off again.
    pub fn on(&mut self) -> Result<(), GuardError> {
        if self.state != State::Ready {
            return Err(GuardError::NotSetUp);
        }
        let switched = self.switch_on();
        if switched.is_err()
            && let OffOutcome::Unknown { why } = self.off()
        {
            return Err(GuardError::NotOff(why));
        }
        switched
    }

    fn switch_on(&mut self) -> Result<(), GuardError> {
        // From here on the output may be on, whatever comes back.
        self.state = State::MaybeOn;
        for order in self.drive.watchdog.iter().flat_map(|watchdog| watchdog.arm.clone()).collect::<Vec<_>>()
        {
            self.order(&order)?;
        }
        let on = self.drive.on.clone();
        self.order(&on)?;
        std::thread::sleep(self.drive.settle);
        if self.confirm(Supply::output_on)? == Some(true) {
            return Ok(());
        }
        self.nothing_refused(&on)?;
        Err(GuardError::NotSwitched { wanted: "on", found: "off" })
    }

    /// Leaves the output as it is when the guard goes. This must be asked for by a person.
    pub fn leave_on(&mut self) {
        self.leave_on = true;
    }

    fn protect(&mut self, feed: Feed) -> Result<(), GuardError> {
        let volts = feed.volts.value();
        let most = Volts::new(volts + (volts * OVER_VOLTS_SHARE).max(OVER_VOLTS_LEAST)).unwrap_or(feed.volts);
        let amps = Amps::new(feed.limit.value() * (1.0 + OVER_AMPS_SHARE)).unwrap_or(feed.limit);
        let (volts_step, amps_step) = self.drive.half_steps();
        let protections = [
            (self.drive.over_volts(most), self.drive.over_volts_set.clone(), most.value(), volts_step),
            (self.drive.over_amps(amps), self.drive.over_amps_set.clone(), amps.value(), amps_step),
        ];
        for (order, query, wanted, step) in protections {
            let Some(order) = order else { continue };
            self.order(&order)?;
            let Some(query) = query else { continue };
            let found = self.confirm(|supply| supply.number(&query))?;
            if !same(wanted, found, step) {
                let (wanted, found) = (wanted.to_string(), found.to_string());
                return Err(GuardError::NotTaken { what: "the protection level", wanted, found });
            }
        }
        Ok(())
    }

    /// Compares what was read back with what was set.
    fn check(&self, feed: Feed, settings: &Settings) -> Result<(), GuardError> {
        let (volts_step, amps_step) = self.drive.half_steps();
        let not_taken = |what, wanted: String, found: Option<String>| {
            Err(GuardError::NotTaken { what, wanted, found: found.unwrap_or_else(|| "nothing".to_owned()) })
        };
        if !settings.set_volts.is_some_and(|found| same(feed.volts.value(), found.value(), volts_step)) {
            let found = settings.set_volts.map(|v| v.to_string());
            return not_taken("the output voltage", feed.volts.to_string(), found);
        }
        if !settings.limit.is_some_and(|found| same(feed.limit.value(), found.value(), amps_step)) {
            return not_taken(
                "the current limit",
                feed.limit.to_string(),
                settings.limit.map(|a| a.to_string()),
            );
        }
        match settings.output_on {
            Some(false) => Ok(()),
            found => not_taken("the output", "off".to_owned(), found.map(|_| "on".to_owned())),
        }
    }

    /// Sends an order and takes its acknowledgement, where the dialect has one.
    fn order(&mut self, order: &str) -> Result<(), GuardError> {
        match send(&mut self.supply, order, self.drive.acknowledge.as_deref())? {
            None => Ok(()),
            Some(answer) => Err(GuardError::Rejected { order: order.to_owned(), answer }),
        }
    }

    fn nothing_refused(&mut self, order: &str) -> Result<(), GuardError> {
        let errors = self.confirm(Supply::errors)?;
        match errors.as_slice() {
            [] => Ok(()),
            all => {
                let answer = all.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ");
                Err(GuardError::Rejected { order: order.to_owned(), answer })
            }
        }
    }

    /// Asks until it is answered, a few times at most: a single garbled reply is no reason to give up.
    fn confirm<T>(
        &mut self,
        mut ask: impl FnMut(&mut Supply) -> Result<T, SupplyError>,
    ) -> Result<T, SupplyError> {
        let mut last = ask(&mut self.supply);
        for _ in 1..CONFIRM_TRIES {
            match &last {
                Err(error) if !error.is_link_lost() => last = ask(&mut self.supply),
                _ => break,
            }
        }
        last
    }
}

/// Whether a setting reads back as it was sent: within the rounding of the supply and of what was sent.
fn same(wanted: f64, found: f64, half_step: f64) -> bool {
    // A hair for binary fractions.
    (wanted - found).abs() <= wanted.abs() * SAME_SETTING_SHARE + half_step * 1.001
}

/// Sends one order; what it answers other than its acknowledgement is returned.
fn send(supply: &mut Supply, order: &str, acknowledge: Option<&str>) -> Result<Option<String>, SupplyError> {
    supply.wire.send(order)?;
    let Some(expected) = acknowledge else { return Ok(None) };
    let within = supply.wire.line().reply_within;
    let answer = supply.wire.line_within(order, within)?;
    match answer {
        Some(answer) if answer == expected => Ok(None),
        Some(answer) => {
            supply.wire.doubt();
            Ok(Some(answer))
        }
        None => {
            supply.wire.doubt();
            Ok(Some("no acknowledgement".to_owned()))
        }
    }
}

/// Sends what the dialect needs before the supply answers: remote control, selection of the output. Sets no volts,
/// no limit and no output.
///
/// # Errors
/// [`SupplyError`] if the link fails.
pub fn prepare(supply: &mut Supply, _allowed: &Preparation) -> Result<(), SupplyError> {
    let prepare = supply.dialect.orders.prepare.clone();
    for order in prepare.remote.iter().chain(&prepare.select) {
        supply.wire.send(order)?;
    }
    if prepare.select.is_some() {
        std::thread::sleep(prepare.settle);
    }
    Ok(())
}

/// Gives the supply back to its front panel, where the dialect says how.
///
/// # Errors
/// [`SupplyError`] if the link fails.
pub fn hand_back(supply: &mut Supply, _allowed: &Preparation) -> Result<(), SupplyError> {
    if let Some(local) = supply.dialect.orders.prepare.local.clone() {
        supply.wire.send(&local)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests;
