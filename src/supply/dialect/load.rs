//! From TOML to a checked [`Dialect`].

use super::section::{Section, Source, parse};
use super::{
    Accuracy, Ask, Channel, Dialect, DialectError, Field, Item, LineRules, NumberRules, Query, Readback,
    StatusBits,
};
use crate::scpi::{Suffix, Unit};
use crate::supply::guard::Orders;
use crate::units::{Amps, Volts};
use std::time::Duration;

/// Longest wait that a dialect may ask for, in milliseconds.
const LONGEST_WAIT: u32 = 60_000;
/// A reply of a bench supply takes tens of milliseconds; one second has room for the slowest.
const USUAL_REPLY_WITHIN: u32 = 1_000;
/// Silence that ends a reply of a supply that marks no end: some twenty byte times at 9600 baud.
const USUAL_QUIET: u32 = 20;

/// How commands are to be understood.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::supply) struct Syntax {
    /// Whether commands keep to the standard's syntax, so that headers can be shortened.
    standard: bool,
    /// The channel that `{channel}` stands for.
    channel: Option<u32>,
}

impl Syntax {
    /// The unit that the text under `key` stands for.
    pub(in crate::supply) fn unit(
        self,
        section: &Section<'_>,
        key: &str,
        text: &str,
    ) -> Result<Unit, DialectError> {
        let text = match self.channel {
            Some(number) => text.replace("{channel}", &number.to_string()),
            None => text.to_owned(),
        };
        if let Some(open) = text.find(['{', '}']) {
            let expected = "no placeholder but {channel}, with [channel] number set";
            return Err(section.wrong(key, &format!("'{}'", &text[open..]), expected));
        }
        let unit = if self.standard { Unit::parse(&text) } else { Unit::verbatim(&text) };
        unit.map_err(|e| section.wrong(key, &e.to_string(), "one command"))
    }
}

pub(super) fn load(path: &str, text: &str) -> Result<Dialect, DialectError> {
    let source = Source { path, text };
    let document = parse(&source)?;
    let root = Section::root(&source, document.get_ref());
    let line_section = root.section("line")?;
    let syntax = Syntax { standard: standard_syntax(&line_section)?, channel: channel_number(&root)? };
    let line = line_rules(&line_section)?;
    let asks = Asks::read(&root, syntax)?;
    let (numbers, fields) = number_rules(&root, asks.both.is_some())?;
    let status = status_bits(&root, syntax)?;
    let orders = Orders::read(&root, syntax)?;
    if orders.can_drive() {
        asks.enough_to_drive(&root)?;
    }
    let dialect = Dialect {
        name: required(&root, "name", "a dialect needs a short name")?,
        description: root.text("description")?.unwrap_or_default().to_owned(),
        identify: asks.identify.as_ref().map(single),
        readings: plan(&asks.readings(status.as_ref()), line.compound),
        settings: plan(&asks.settings(), line.compound),
        output: asks.output.as_ref().map(single),
        next_error: asks.next_error.as_ref().map(single),
        status: status.map(|(bits, _)| bits),
        channel: channel(&root, syntax)?,
        readback: readback(&root)?,
        line,
        numbers,
        fields,
        orders,
    };
    root.finish()?;
    Ok(dialect)
}

fn required(section: &Section<'_>, key: &'static str, why: &str) -> Result<String, DialectError> {
    match section.text(key)? {
        Some(text) if !text.trim().is_empty() => Ok(text.to_owned()),
        _ => Err(section.missing(key, why)),
    }
}

fn standard_syntax(line: &Section<'_>) -> Result<bool, DialectError> {
    let words = [("standard", true), ("verbatim", false)];
    Ok(line.one_of("syntax", &words)?.unwrap_or(true))
}

pub(in crate::supply) fn milliseconds(
    section: &Section<'_>,
    key: &'static str,
) -> Result<Option<Duration>, DialectError> {
    Ok(section.whole(key, (0, LONGEST_WAIT))?.map(|ms| Duration::from_millis(ms.into())))
}

fn line_rules(line: &Section<'_>) -> Result<LineRules, DialectError> {
    let ends = [("lf", "\n"), ("crlf", "\r\n"), ("cr", "\r"), ("none", "")];
    let by_silence = line.one_of("reply_end", &[("line", false), ("silence", true)])?.unwrap_or(false);
    let silence = milliseconds(line, "silence_ms")?;
    if silence.is_some() && !by_silence {
        return Err(line.wrong("silence_ms", "set", "reply_end = \"silence\" beside it"));
    }
    let quiet = silence.unwrap_or(Duration::from_millis(USUAL_QUIET.into()));
    let rules = LineRules {
        baud: line.whole("baud", (50, 10_000_000))?,
        send_end: line.one_of("send_end", &ends)?.unwrap_or("\n"),
        quiet: by_silence.then_some(quiet),
        echo: line.switch("echo", false)?,
        prompt: line.text("prompt")?.unwrap_or_default().to_owned(),
        delay: milliseconds(line, "delay_ms")?.unwrap_or_default(),
        reply_within: milliseconds(line, "reply_within_ms")?
            .filter(|within| !within.is_zero())
            .unwrap_or(Duration::from_millis(USUAL_REPLY_WITHIN.into())),
        compound: line.switch("compound", true)?,
    };
    line.finish()?;
    Ok(rules)
}

/// The commands of `[ask]`, each checked to be a query.
struct Asks {
    identify: Option<Unit>,
    volts: Option<Unit>,
    amps: Option<Unit>,
    both: Option<Unit>,
    set_volts: Option<Unit>,
    limit: Option<Unit>,
    output: Option<Unit>,
    next_error: Option<Unit>,
}

impl Asks {
    fn read(root: &Section<'_>, syntax: Syntax) -> Result<Self, DialectError> {
        let section = root.section("ask")?;
        let asks = Self {
            identify: query(&section, "identify", syntax)?,
            volts: query(&section, "volts", syntax)?,
            amps: query(&section, "amps", syntax)?,
            both: query(&section, "both", syntax)?,
            set_volts: query(&section, "set_volts", syntax)?,
            limit: query(&section, "limit", syntax)?,
            output: query(&section, "output", syntax)?,
            next_error: query(&section, "next_error", syntax)?,
        };
        section.finish()?;
        match (&asks.volts, &asks.amps, &asks.both) {
            (Some(_), Some(_), None) | (None, None, Some(_)) => Ok(asks),
            (_, _, Some(_)) => Err(section.wrong("both", "set beside volts or amps", "one way of asking")),
            (None, _, None) => {
                Err(section.missing("volts", "a supply is read by volts and amps, or by both"))
            }
            (_, None, None) => Err(section.missing("amps", "a supply is read by volts and amps, or by both")),
        }
    }

    fn enough_to_drive(&self, root: &Section<'_>) -> Result<(), DialectError> {
        let why = "what [drive] sets must be read back";
        let section = root.section("ask")?;
        let needed = [("set_volts", &self.set_volts), ("limit", &self.limit), ("output", &self.output)];
        match needed.iter().find(|(_, unit)| unit.is_none()) {
            Some((key, _)) => Err(section.missing(key, why)),
            None => Ok(()),
        }
    }

    fn readings(&self, status: Option<&(StatusBits, Unit)>) -> Vec<(Item, Unit)> {
        let parts = [(Item::Volts, &self.volts), (Item::Amps, &self.amps), (Item::Both, &self.both)];
        let mut list = present(&parts);
        list.extend(status.map(|(_, unit)| (Item::Status, unit.clone())));
        list
    }

    fn settings(&self) -> Vec<(Item, Unit)> {
        present(&[
            (Item::SetVolts, &self.set_volts),
            (Item::Limit, &self.limit),
            (Item::Output, &self.output),
        ])
    }
}

fn present(parts: &[(Item, &Option<Unit>)]) -> Vec<(Item, Unit)> {
    parts.iter().filter_map(|(item, unit)| unit.as_ref().map(|unit| (*item, unit.clone()))).collect()
}

/// A command that must only ask.
pub(in crate::supply) fn query(
    section: &Section<'_>,
    key: &'static str,
    syntax: Syntax,
) -> Result<Option<Unit>, DialectError> {
    let Some(text) = section.text(key)? else { return Ok(None) };
    let unit = syntax.unit(section, key, text)?;
    if unit.is_query() {
        Ok(Some(unit))
    } else {
        Err(section.wrong(key, &format!("'{text}' sets something"), "a query, with '?' behind its header"))
    }
}

fn single(unit: &Unit) -> Query {
    Query::of(std::slice::from_ref(unit)).expect("checked to be a query")
}

/// One message for all where the supply takes compound messages, else one message each.
fn plan(items: &[(Item, Unit)], compound: bool) -> Vec<Ask> {
    let at_once = if compound { items.len().max(1) } else { 1 };
    let ask = |part: &[(Item, Unit)]| {
        let units: Vec<_> = part.iter().map(|(_, unit)| unit.clone()).collect();
        let query = Query::of(&units).expect("checked to be queries");
        Ask { query, items: part.iter().map(|(item, _)| *item).collect() }
    };
    items.chunks(at_once).map(ask).collect()
}

fn number_rules(root: &Section<'_>, list: bool) -> Result<(NumberRules, Vec<Field>), DialectError> {
    let section = root.section("reply")?;
    let suffixes = [("never", Suffix::Never), ("maybe", Suffix::Maybe), ("always", Suffix::Always)];
    let fields = [("volts", Field::Volts), ("amps", Field::Amps), ("skip", Field::Skip)];
    let decimals = |key| Ok(section.whole(key, (0, 9))?.and_then(|count| u8::try_from(count).ok()));
    let rules = NumberRules {
        suffix: section.one_of("suffix", &suffixes)?.unwrap_or_default(),
        separator: section
            .one_of("separator", &[(",", ','), (" ", ' '), ("/", '/'), ("|", '|')])?
            .unwrap_or(','),
        volts_decimals: decimals("volts_decimals")?,
        amps_decimals: decimals("amps_decimals")?,
    };
    let order = section.list_of("fields", &fields)?;
    section.finish()?;
    if order.is_some() && !list {
        return Err(section.wrong("fields", "set", "ask.both, whose reply it describes"));
    }
    let order = order.unwrap_or_else(|| vec![Field::Volts, Field::Amps]);
    let once = |wanted| order.iter().filter(|field| **field == wanted).count() == 1;
    if !once(Field::Volts) || !once(Field::Amps) {
        return Err(section.wrong("fields", "a list", "'volts' and 'amps' once each"));
    }
    Ok((rules, order))
}

fn status_bits(root: &Section<'_>, syntax: Syntax) -> Result<Option<(StatusBits, Unit)>, DialectError> {
    let section = root.section("status")?;
    let mask = |key| Ok(section.whole(key, (0, 31))?.map(|bit| 1 << bit));
    let bits = StatusBits {
        constant_voltage: mask("cv_bit")?,
        constant_current: mask("cc_bit")?,
        off: mask("off_bit")?,
    };
    let unit = query(&section, "query", syntax)?;
    section.finish()?;
    match unit {
        _ if !section.is_there() => Ok(None),
        None => Err(section.missing("query", "the bits belong to a register that must be asked for")),
        Some(_) if bits == StatusBits::default() => {
            Err(section
                .missing("cc_bit", "a register is of use with at least one of cv_bit, cc_bit, off_bit"))
        }
        Some(_) if clash(&bits) => Err(section.wrong("cc_bit", "one bit for two states", "different bits")),
        Some(unit) => Ok(Some((bits, unit))),
    }
}

fn clash(bits: &StatusBits) -> bool {
    let mut masks: Vec<_> =
        [bits.constant_voltage, bits.constant_current, bits.off].into_iter().flatten().collect();
    let all = masks.len();
    masks.sort_unstable();
    masks.dedup();
    masks.len() < all
}

fn channel_number(root: &Section<'_>) -> Result<Option<u32>, DialectError> {
    let section = root.section("channel")?;
    match section.whole("number", (1, 99))? {
        None if section.is_there() => Err(section.missing("number", "which output is meant")),
        number => Ok(number),
    }
}

fn channel(root: &Section<'_>, syntax: Syntax) -> Result<Option<Channel>, DialectError> {
    let section = root.section("channel")?;
    let Some(number) = section.whole("number", (1, 99))? else { return Ok(None) };
    // What selects the channel sets something and belongs to the orders.
    section.text("select")?;
    let channel = Channel {
        number,
        selected: query(&section, "selected", syntax)?.as_ref().map(single),
        settle: milliseconds(&section, "settle_ms")?.unwrap_or_default(),
    };
    section.finish()?;
    Ok(Some(channel))
}

fn readback(root: &Section<'_>) -> Result<Readback, DialectError> {
    let section = root.section("readback")?;
    let step = |key| section.number(key, (1e-9, 1e3));
    let accuracy = |share, fixed| -> Result<Option<Accuracy>, DialectError> {
        let (share, fixed) = (section.number(share, (0.0, 100.0))?, section.number(fixed, (0.0, 1e3))?);
        let known = share.is_some() || fixed.is_some();
        let share = share.unwrap_or_default() / 100.0;
        Ok(known.then_some(Accuracy { share, fixed: fixed.unwrap_or_default() }))
    };
    let readback = Readback {
        volts_resolution: step("volts_resolution")?.and_then(|v| Volts::new(v).ok()),
        amps_resolution: step("amps_resolution")?.and_then(|a| Amps::new(a).ok()),
        volts_accuracy: accuracy("volts_percent", "volts_offset")?,
        amps_accuracy: accuracy("amps_percent", "amps_offset")?,
        fastest_update: milliseconds(&section, "fastest_update_ms")?,
        slowest_update: milliseconds(&section, "slowest_update_ms")?,
    };
    section.finish()?;
    if let (Some(fast), Some(slow)) = (readback.fastest_update, readback.slowest_update)
        && fast > slow
    {
        let found = format!("{} ms is less than fastest_update_ms", slow.as_millis());
        return Err(section.wrong("slowest_update_ms", &found, "the longer of the two times"));
    }
    Ok(readback)
}
