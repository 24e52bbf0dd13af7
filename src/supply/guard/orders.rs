//! The commands that set something, out of reach for everything but the guard.

use crate::scpi::Message;
use crate::supply::dialect::{DialectError, Query, Section, Syntax, milliseconds, query};
use crate::units::{Amps, Volts};
use std::time::Duration;

/// Decimals of settings where the dialect names none: a millivolt and a milliampere.
const USUAL_DECIMALS: u8 = 3;

/// What a dialect says of setting things. Only the guard can see what is inside.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Orders {
    pub(super) drive: Option<Drive>,
    pub(super) prepare: Prepare,
}

/// How to drive the output.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Drive {
    set_volts: Template,
    limit: Template,
    pub(super) on: String,
    pub(super) off: String,
    volts_decimals: u8,
    amps_decimals: u8,
    pub(super) acknowledge: Option<String>,
    pub(super) settle: Duration,
    over_volts: Option<Template>,
    over_amps: Option<Template>,
    pub(super) over_volts_set: Option<Query>,
    pub(super) over_amps_set: Option<Query>,
    pub(super) watchdog: Option<Watchdog>,
}

/// The supply's own watchdog: it switches the output off when it hears nothing for a while.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Watchdog {
    pub(super) arm: Vec<String>,
    pub(super) disarm: String,
    pub(super) seconds: f64,
}

/// What the supply needs before it answers, and what gives it back to its front panel.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Prepare {
    pub(super) remote: Option<String>,
    pub(super) local: Option<String>,
    pub(super) select: Option<String>,
    pub(super) settle: Duration,
}

/// Stands for the number while a template is checked; no other part of a command is a lone 1.5.
const SAMPLE: &str = "1.5";

/// A command with one number to be filled in.
#[derive(Debug, Clone, PartialEq)]
struct Template {
    before: String,
    after: String,
}

impl Template {
    fn fill(&self, value: f64, decimals: u8) -> String {
        format!("{}{value:.*}{}", self.before, usize::from(decimals), self.after)
    }
}

impl Orders {
    /// Whether the dialect says how to drive the output.
    #[must_use]
    pub fn can_drive(&self) -> bool {
        self.drive.is_some()
    }

    /// Reads `[drive]`, `[watchdog]`, `[prepare]` and what selects the channel.
    pub(in crate::supply) fn read(root: &Section<'_>, syntax: Syntax) -> Result<Self, DialectError> {
        let watchdog = Watchdog::read(root, syntax)?;
        let drive = Drive::read(root, syntax, watchdog)?;
        Ok(Self { drive, prepare: Prepare::read(root, syntax)? })
    }

    /// Every order that could be sent, with the numbers given.
    #[cfg(test)]
    pub(in crate::supply) fn all(&self, volts: Volts, amps: Amps) -> Vec<String> {
        let Prepare { remote, local, select, .. } = &self.prepare;
        let mut orders: Vec<String> = [remote, local, select].into_iter().flatten().cloned().collect();
        if let Some(drive) = &self.drive {
            orders.extend([drive.set_volts(volts), drive.limit(amps), drive.on.clone(), drive.off.clone()]);
            orders.extend(drive.over_volts(volts).into_iter().chain(drive.over_amps(amps)));
            orders.extend(drive.watchdog.iter().flat_map(|w| w.arm.iter().chain([&w.disarm]).cloned()));
        }
        orders
    }
}

impl Drive {
    fn read(
        root: &Section<'_>,
        syntax: Syntax,
        watchdog: Option<Watchdog>,
    ) -> Result<Option<Self>, DialectError> {
        let section = root.section("drive")?;
        let all = "driving needs set_volts, limit, output_on and output_off";
        let need = |key| order(&section, key, syntax)?.ok_or_else(|| section.missing(key, all));
        if !section.is_there() {
            return match watchdog {
                Some(_) => Err(root.missing("drive", "a watchdog is of use only where the output is driven")),
                None => Ok(None),
            };
        }
        let filled =
            |key, place| template(&section, key, place, syntax)?.ok_or_else(|| section.missing(key, all));
        let decimals = |key| -> Result<u8, DialectError> {
            let count = section.whole(key, (0, 6))?.and_then(|count| u8::try_from(count).ok());
            Ok(count.unwrap_or(USUAL_DECIMALS))
        };
        let drive = Self {
            set_volts: filled("set_volts", "{volts}")?,
            limit: filled("limit", "{amps}")?,
            on: need("output_on")?,
            off: need("output_off")?,
            volts_decimals: decimals("volts_decimals")?,
            amps_decimals: decimals("amps_decimals")?,
            acknowledge: section.text("acknowledge")?.map(str::to_owned),
            settle: milliseconds(&section, "settle_ms")?.unwrap_or_default(),
            over_volts: template(&section, "over_volts", "{volts}", syntax)?,
            over_amps: template(&section, "over_amps", "{amps}", syntax)?,
            over_volts_set: asked(&section, "over_volts_set", syntax)?,
            over_amps_set: asked(&section, "over_amps_set", syntax)?,
            watchdog,
        };
        section.finish()?;
        Ok(Some(drive))
    }

    pub(super) fn set_volts(&self, volts: Volts) -> String {
        self.set_volts.fill(volts.value(), self.volts_decimals)
    }

    pub(super) fn limit(&self, limit: Amps) -> String {
        self.limit.fill(limit.value(), self.amps_decimals)
    }

    pub(super) fn over_volts(&self, volts: Volts) -> Option<String> {
        self.over_volts.as_ref().map(|order| order.fill(volts.value(), self.volts_decimals))
    }

    pub(super) fn over_amps(&self, amps: Amps) -> Option<String> {
        self.over_amps.as_ref().map(|order| order.fill(amps.value(), self.amps_decimals))
    }

    /// Half a step of the volts that can be sent, and of the amps.
    pub(super) fn half_steps(&self) -> (f64, f64) {
        let half = |decimals: u8| 0.5 * 10_f64.powi(-i32::from(decimals));
        (half(self.volts_decimals), half(self.amps_decimals))
    }
}

impl Watchdog {
    fn read(root: &Section<'_>, syntax: Syntax) -> Result<Option<Self>, DialectError> {
        let section = root.section("watchdog")?;
        if !section.is_there() {
            return Ok(None);
        }
        let why = "a watchdog needs arm, disarm and seconds";
        let seconds =
            section.number("seconds", (0.1, 3600.0))?.ok_or_else(|| section.missing("seconds", why))?;
        let time = template(&section, "time", "{seconds}", syntax)?;
        let arm = order(&section, "arm", syntax)?.ok_or_else(|| section.missing("arm", why))?;
        let disarm = order(&section, "disarm", syntax)?.ok_or_else(|| section.missing("disarm", why))?;
        section.finish()?;
        let time = time.map(|time| time.fill(seconds, u8::from(seconds.fract() != 0.0)));
        Ok(Some(Self { arm: time.into_iter().chain([arm]).collect(), disarm, seconds }))
    }
}

impl Prepare {
    fn read(root: &Section<'_>, syntax: Syntax) -> Result<Self, DialectError> {
        let section = root.section("prepare")?;
        let channel = root.section("channel")?;
        let prepare = Self {
            remote: order(&section, "remote", syntax)?,
            local: order(&section, "local", syntax)?,
            select: order(&channel, "select", syntax)?,
            settle: milliseconds(&channel, "settle_ms")?.unwrap_or_default(),
        };
        section.finish()?;
        Ok(prepare)
    }
}

/// A command that sets something.
fn order(section: &Section<'_>, key: &'static str, syntax: Syntax) -> Result<Option<String>, DialectError> {
    let Some(text) = section.text(key)? else { return Ok(None) };
    let unit = syntax.unit(section, key, text)?;
    if unit.is_query() {
        return Err(section.wrong(key, &format!("'{text}' only asks"), "a command that sets something"));
    }
    Ok(Some(Message::of(&[unit]).text().to_owned()))
}

fn asked(section: &Section<'_>, key: &'static str, syntax: Syntax) -> Result<Option<Query>, DialectError> {
    Ok(query(section, key, syntax)?.and_then(|unit| Query::of(&[unit]).ok()))
}

/// A command that sets something to the number at `place`.
fn template(
    section: &Section<'_>,
    key: &'static str,
    place: &str,
    syntax: Syntax,
) -> Result<Option<Template>, DialectError> {
    let Some(text) = section.text(key)? else { return Ok(None) };
    let Some((before, after)) = text.split_once(place) else {
        return Err(section.wrong(key, &format!("'{text}'"), &format!("a command with {place} in it")));
    };
    // Checked with a number in place, then cut at that number again.
    let unit = syntax.unit(section, key, &format!("{before}{SAMPLE}{after}"))?;
    if unit.is_query() {
        return Err(section.wrong(key, &format!("'{text}' only asks"), "a command that sets something"));
    }
    let message = Message::of(&[unit]);
    let at = message.text().rfind(SAMPLE).unwrap_or_default();
    let (before, after) = (&message.text()[..at], &message.text()[at + SAMPLE.len()..]);
    Ok(Some(Template { before: before.to_owned(), after: after.to_owned() }))
}
