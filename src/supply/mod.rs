//! A lab supply as a device: dialect, readings, and the guard, the only place that may energise.
//!
//! [`Supply`] only asks. It is a link and a [`Dialect`]; every message that it can send is a [`dialect::Query`],
//! which cannot hold a command that sets anything. Whoever wants to switch an output or change a setting needs
//! [`guard::Guard`], and that needs a permission which only [`guard`] can make.

pub mod dialect;
mod error;
#[cfg(test)]
mod fake;
pub mod guard;
pub mod probe;
mod reading;
mod wire;

pub use dialect::{Dialect, DialectError, Mode};
pub use error::SupplyError;
pub use reading::{Reading, Settings};

use crate::link::{Address, Link, LinkError, Place};
use crate::scpi::{ErrorEntry, Identity, shown};
use crate::units::{Amps, Volts};
use dialect::{Ask, Query};
use reading::Gathered;
use std::time::Instant;
use wire::Wire;

/// More entries than any error queue holds; a device that never says "no error" must not hold us for ever.
const LONGEST_ERROR_QUEUE: usize = 64;

/// A lab supply that is only asked.
#[derive(Debug)]
pub struct Supply {
    wire: Wire,
    dialect: Dialect,
    address: Option<Address>,
    settings: Settings,
}

impl Supply {
    /// A supply at the other end of `link`.
    #[must_use]
    pub fn over(link: Link, dialect: Dialect) -> Self {
        let wire = Wire::new(link, dialect.line.clone(), dialect.identify.clone());
        Self { wire, dialect, address: None, settings: Settings::default() }
    }

    /// Opens the link to a supply. Nothing is sent.
    ///
    /// # Errors
    /// [`LinkError`] if the link cannot be opened.
    pub fn open(address: &Address, dialect: Dialect) -> Result<Self, LinkError> {
        let address = with_usual_baud(address, &dialect);
        let mut supply = Self::over(Link::open(&address)?, dialect);
        supply.address = Some(address);
        Ok(supply)
    }

    /// The link again, for another dialect.
    fn into_parts(self) -> (Dialect, Link) {
        (self.dialect, self.wire.into_link())
    }

    /// The port, for messages.
    #[must_use]
    pub fn name(&self) -> &str {
        self.wire.name()
    }

    /// The address that it was opened at.
    #[must_use]
    pub fn address(&self) -> Option<&Address> {
        self.address.as_ref()
    }

    /// How this supply is spoken to.
    #[must_use]
    pub fn dialect(&self) -> &Dialect {
        &self.dialect
    }

    /// Asks who the supply is and whether the right output is selected. `None` if the dialect knows no such question.
    ///
    /// # Errors
    /// [`SupplyError`].
    pub fn identify(&mut self) -> Result<Option<Identity>, SupplyError> {
        let identity = self.identification()?;
        self.check_channel()?;
        Ok(identity)
    }

    fn identification(&mut self) -> Result<Option<Identity>, SupplyError> {
        let Some(query) = self.dialect.identify.clone() else { return Ok(None) };
        let answer = self.wire.ask(&query)?;
        let identity = Identity::parse(&answer.text)
            .map_err(|e| self.not_understood(&query, &answer.text, &e.to_string()))?;
        self.wire.know(&answer.text);
        Ok(Some(identity))
    }

    fn check_channel(&mut self) -> Result<(), SupplyError> {
        let Some(channel) = self.dialect.channel.clone() else { return Ok(()) };
        let Some(query) = channel.selected else { return Ok(()) };
        let answer = self.wire.ask(&query)?;
        let found = crate::scpi::register(&answer.text)
            .map_err(|e| self.not_understood(&query, &answer.text, &e.to_string()))?;
        if found == channel.number {
            return Ok(());
        }
        Err(SupplyError::WrongChannel { port: self.name().to_owned(), found, wanted: channel.number })
    }

    /// Reads volts and amps, in one message where the dialect allows.
    ///
    /// # Errors
    /// [`SupplyError`]; a reply that was not understood is never a reading.
    pub fn read(&mut self) -> Result<Reading, SupplyError> {
        let (gathered, start, end) = self.gather(|dialect| &dialect.readings)?;
        // The dialect asks for both in every case; a reply without them was refused above.
        let (Some(volts), Some(amps)) = (gathered.volts, gathered.amps) else {
            return Err(self.wrong_reply("readings", "", "volts or amps are missing"));
        };
        let finite = |e: crate::units::NotFinite| e.to_string();
        let values = Volts::new(volts.value())
            .map_err(finite)
            .and_then(|v| Amps::new(amps.value()).map_err(finite).map(|a| (v, a)));
        let (v, a) = values.map_err(|why| self.wrong_reply("readings", "", &why))?;
        Ok(Reading {
            volts: v,
            amps: a,
            mode: self.mode(v, a, gathered.status),
            start,
            end,
            volts_decimals: volts.decimals(),
            amps_decimals: amps.decimals(),
        })
    }

    /// What regulates the output: by the status register where the dialect has one, else by the settings last read.
    fn mode(&self, volts: Volts, amps: Amps, status: Option<u32>) -> Option<Mode> {
        match (self.dialect.status, status) {
            (Some(bits), Some(register)) => bits.mode(register),
            _ => reading::infer_mode(volts, amps, &self.settings, &self.dialect.readback),
        }
    }

    /// Reads what the supply is set to; parts that the dialect cannot ask for are `None`.
    ///
    /// # Errors
    /// [`SupplyError`].
    pub fn settings(&mut self) -> Result<Settings, SupplyError> {
        if self.dialect.settings.is_empty() {
            return Ok(Settings::default());
        }
        let (gathered, _, _) = self.gather(|dialect| &dialect.settings)?;
        self.settings = gathered.settings;
        Ok(self.settings)
    }

    /// Whether the output is on; `None` if the dialect cannot ask.
    ///
    /// # Errors
    /// [`SupplyError`].
    pub fn output_on(&mut self) -> Result<Option<bool>, SupplyError> {
        let Some(query) = self.dialect.output.clone() else { return Ok(None) };
        let answer = self.wire.ask(&query)?;
        let on = crate::scpi::boolean(&answer.text)
            .map_err(|e| self.not_understood(&query, &answer.text, &e.to_string()))?;
        self.settings.output_on = Some(on);
        Ok(Some(on))
    }

    /// One number by itself, such as a protection level.
    fn number(&mut self, query: &Query) -> Result<f64, SupplyError> {
        let answer = self.wire.ask(query)?;
        let number = crate::scpi::Number::parse(&answer.text)
            .map_err(|e| self.not_understood(query, &answer.text, &e.to_string()))?;
        Ok(number.value())
    }

    /// Empties the error queue; no entries if it is empty or the dialect has none.
    ///
    /// # Errors
    /// [`SupplyError`].
    pub fn errors(&mut self) -> Result<Vec<ErrorEntry>, SupplyError> {
        let Some(query) = self.dialect.next_error.clone() else { return Ok(Vec::new()) };
        let mut entries = Vec::new();
        while entries.len() < LONGEST_ERROR_QUEUE {
            let answer = self.wire.ask(&query)?;
            let entry = ErrorEntry::parse(&answer.text)
                .map_err(|e| self.not_understood(&query, &answer.text, &e.to_string()))?;
            if entry.is_none() {
                break;
            }
            entries.push(entry);
        }
        Ok(entries)
    }

    /// Opens the link again, at the same address or at `elsewhere`, and makes sure that the same supply answers. The old
    /// link is closed first: a port that this program holds itself counts as in use.
    ///
    /// # Errors
    /// [`SupplyError::Link`] if there is still nothing there, [`SupplyError::AnotherSupply`] if another one answers,
    /// [`SupplyError::Unidentified`] for another address if this supply cannot say who it is. The link is then gone.
    pub fn reconnect(&mut self, elsewhere: Option<&Address>) -> Result<(), SupplyError> {
        let Some(address) = elsewhere.or(self.address.as_ref()).cloned() else {
            return Err(LinkError::Gone { port: self.name().to_owned() }.into());
        };
        if elsewhere.is_some() && self.wire.known().is_none() {
            return Err(SupplyError::Unidentified { port: address.place().to_string() });
        }
        let address = with_usual_baud(&address, &self.dialect);
        let lost = self.name().to_owned();
        self.wire.replace_link(Link::gone(lost.clone()));
        self.settings = Settings::default();
        self.wire.replace_link(Link::open(&address)?);
        if let Err(error) = self.same_supply() {
            self.wire.replace_link(Link::gone(lost));
            return Err(error);
        }
        self.address = Some(address);
        Ok(())
    }

    fn same_supply(&mut self) -> Result<(), SupplyError> {
        let Some(query) = self.dialect.identify.clone() else { return Ok(()) };
        let expected = self.wire.known().map(str::to_owned);
        self.wire.expect_any_supply();
        let found = self.wire.ask(&query)?.text;
        let expected = expected.unwrap_or_else(|| found.clone());
        self.wire.know(&expected);
        if expected == found {
            return Ok(());
        }
        Err(SupplyError::AnotherSupply { port: self.name().to_owned(), expected, found })
    }

    /// Asks all of a group of questions; the span is from the first question to the last answer.
    fn gather(
        &mut self,
        group: impl Fn(&Dialect) -> &Vec<Ask>,
    ) -> Result<(Gathered, Instant, Instant), SupplyError> {
        let mut gathered = Gathered::default();
        let mut span: Option<(Instant, Instant)> = None;
        for ask in group(&self.dialect) {
            let answer = self.wire.ask(&ask.query)?;
            if let Err(why) = gathered.take(&self.dialect, ask, &answer.text) {
                let query = ask.query.clone();
                return Err(self.not_understood(&query, &answer.text, &why));
            }
            span = Some((span.map_or(answer.start, |(start, _)| start), answer.end));
        }
        let (start, end) = span.unwrap_or_else(|| (Instant::now(), Instant::now()));
        Ok((gathered, start, end))
    }

    fn not_understood(&mut self, query: &Query, reply: &str, why: &str) -> SupplyError {
        self.wrong_reply(query.text(), reply, why)
    }

    fn wrong_reply(&mut self, command: &str, reply: &str, why: &str) -> SupplyError {
        self.wire.doubt();
        SupplyError::NotUnderstood {
            port: self.name().to_owned(),
            command: command.to_owned(),
            reply: shown(reply.as_bytes()),
            why: why.to_owned(),
        }
    }
}

/// The address, with the dialect's baud rate if it gives none itself.
fn with_usual_baud(address: &Address, dialect: &Dialect) -> Address {
    match (address.place(), dialect.line.baud) {
        (Place::Serial { .. }, Some(baud)) if !address.gives_baud() => address.with_baud(baud),
        _ => address.clone(),
    }
}

#[cfg(test)]
mod tests;
