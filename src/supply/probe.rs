//! Finds out how a supply is spoken to, by asking only.
//!
//! Every message is one of the standard's queries; nothing that could set anything is ever sent, so what drives the
//! output is not found out and the dialect that comes of it can only read.

use super::dialect::DialectError;
use super::{Dialect, Reading, Supply, SupplyError};
use crate::link::{Link, LinkError};
use crate::scpi::{Identity, Inbox, shown};
use std::fmt::Write as _;
use std::time::{Duration, Instant};

/// Baud rates to try where none is given, the commonest first: common practice, no source.
const BAUD_RATES: [u32; 5] = [9600, 115_200, 19_200, 38_400, 57_600];
/// Ends of message to try, by their names in a dialect.
const SEND_ENDS: [(&str, &str); 3] = [("lf", "\n"), ("crlf", "\r\n"), ("cr", "\r")];
/// How long a first answer may take.
const FIRST_WITHIN: Duration = Duration::from_millis(600);
/// Silence after which an answer counts as whole.
const WHOLE_AFTER: Duration = Duration::from_millis(80);
/// Rests between messages to try, in milliseconds.
const RESTS: [u32; 3] = [0, 20, 60];
/// Readings that must be understood in a row before a way of asking counts as found.
const IN_A_ROW: usize = 3;
/// More bytes than this as a first answer come from no supply.
const LONGEST_FIRST: usize = 1024;
/// Longest prompt.
const LONGEST_PROMPT: usize = 4;

/// A way of asking for volts and amps.
#[derive(Debug, Clone, Copy)]
struct Way {
    /// Its lines of the `[ask]` section of a dialect.
    asks: &'static str,
    /// Whether it is one message.
    compound: bool,
    /// Its line of the `[reply]` section, for a list.
    fields: &'static str,
}

/// What a person must check of a list.
const PAIR: &str = "fields = [\"volts\", \"amps\"]  # by their usual order: compare with the display\n";
const TRIPLE: &str =
    "fields = [\"volts\", \"amps\", \"skip\"]  # by their usual order: compare with the display\n";
const EACH: &str = "volts = \"MEAS:VOLT?\"\namps = \"MEAS:CURR?\"\n";

/// Ways to try, best first.
const WAYS: [Way; 6] = [
    Way { asks: EACH, compound: true, fields: "" },
    Way { asks: EACH, compound: false, fields: "" },
    Way { asks: "both = \"MEAS:ALL?\"\n", compound: false, fields: PAIR },
    Way { asks: "both = \"MEAS:ALL?\"\n", compound: false, fields: TRIPLE },
    Way { asks: "both = \"MEAS?\"\n", compound: false, fields: PAIR },
    Way { asks: "both = \"MEAS?\"\n", compound: false, fields: TRIPLE },
];
/// Further questions, kept where they are answered.
const EXTRAS: [(&str, &str); 4] =
    [("set_volts", "VOLT?"), ("limit", "CURR?"), ("output", "OUTP?"), ("next_error", "SYST:ERR?")];

/// Why no dialect was found.
#[derive(Debug, thiserror::Error)]
pub enum ProbeError {
    /// The link itself.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// Nothing came back at any setting.
    #[error(
        "{port}: no answer to any question{}; is the supply on, is its remote interface switched on, and is the cable a straight (not a null-modem) one?",
        tried(.rates)
    )]
    Silent {
        /// The port.
        port: String,
        /// Baud rates tried.
        rates: Vec<u32>,
    },
    /// Something answers, but not with volts and amps.
    #[error(
        "{port}: something answers ('{answer}'), but gives no volts and amps; this is no supply, or one that needs a dialect written by hand (start from profiles/dialects/plain.toml)"
    )]
    NoSupply {
        /// The port.
        port: String,
        /// What it said first.
        answer: String,
    },
    /// Answered at first, and then no longer.
    #[error(transparent)]
    Supply(#[from] SupplyError),
}

fn tried(rates: &[u32]) -> String {
    if rates.is_empty() {
        return String::new();
    }
    let rates: Vec<_> = rates.iter().map(ToString::to_string).collect();
    format!(" at {} baud", rates.join(", "))
}

/// What was found out.
#[derive(Debug)]
pub struct Found {
    /// Who the supply says it is.
    pub identity: Option<Identity>,
    /// The baud rate at which it answered, if it was tried out.
    pub baud: Option<u32>,
    /// The dialect.
    pub dialect: Dialect,
    /// The dialect as a file.
    pub text: String,
    /// How fast it is and how fine.
    pub measured: Measured,
}

/// What polling as fast as possible showed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Readings.
    pub polls: usize,
    /// Readings a second.
    pub poll_hz: f64,
    /// Readings a second that differ from the one before; `None` if the readings never moved.
    pub changed_hz: Option<f64>,
    /// Median time of an exchange.
    pub round_trip: Duration,
    /// Decimals of volts and amps.
    pub decimals: (u8, u8),
    /// Whether those were the same in every reading, with a zero at the end of one: the supply never drops zeros.
    pub fixed_decimals: bool,
}

/// The line as far as it is known.
struct Line {
    baud: Option<u32>,
    send_end: &'static str,
    identify: bool,
    silence: bool,
    echo: bool,
    prompt: String,
    first: String,
}

/// Finds the dialect of the supply that `open` opens a link to, at a baud rate to be tried (`None`: as it stands), and
/// polls it for `length`. `say` hears what is being tried.
///
/// # Errors
/// [`ProbeError`]; a device that is no supply is told from one that is silent.
pub fn probe(
    port: &str,
    try_rates: bool,
    length: Duration,
    mut open: impl FnMut(Option<u32>) -> Result<Link, LinkError>,
    mut say: impl FnMut(&str),
) -> Result<Found, ProbeError> {
    let rules = find_line(port, try_rates, &mut open, &mut say)?;
    let mut link = open(rules.baud)?;
    for way in WAYS {
        for rest in RESTS {
            let text = dialect_text(&rules, way, "", rest, "");
            say(&format!("asking by {}", way.asks.trim().replace('\n', ", ")));
            let Ok(mut supply) = supply(link, &text) else {
                link = open(rules.baud)?;
                continue;
            };
            if answers(&mut supply) {
                return finish(supply, &rules, way, rest, length);
            }
            drop(supply);
            link = open(rules.baud)?;
            settle(&mut link)?;
        }
    }
    Err(ProbeError::NoSupply { port: port.to_owned(), answer: rules.first })
}

fn supply(link: Link, text: &str) -> Result<Supply, DialectError> {
    Ok(Supply::over(link, Dialect::parse("probe", text)?))
}

fn answers(supply: &mut Supply) -> bool {
    (0..IN_A_ROW).all(|_| supply.read().is_ok())
}

/// Takes what is still on its way from the trial before.
fn settle(link: &mut Link) -> Result<(), LinkError> {
    let mut buffer = [0; 256];
    let until = Instant::now() + FIRST_WITHIN;
    while link.receive(&mut buffer, until.min(Instant::now() + WHOLE_AFTER))? > 0 && Instant::now() < until {}
    Ok(())
}

fn find_line(
    port: &str,
    try_rates: bool,
    open: &mut impl FnMut(Option<u32>) -> Result<Link, LinkError>,
    say: &mut impl FnMut(&str),
) -> Result<Line, ProbeError> {
    let rates: Vec<_> = if try_rates { BAUD_RATES.map(Some).to_vec() } else { vec![None] };
    let mut asked_before = false;
    for baud in &rates {
        let mut link = open(*baud)?;
        for question in ["*IDN?", "MEAS:VOLT?"] {
            for (send_end, end) in SEND_ENDS {
                let at = baud.map_or_else(String::new, |baud| format!(" at {baud} baud"));
                say(&format!("{question} ended by {send_end}{at}"));
                if asked_before {
                    // What a device that waits for another end kept of the questions before would spoil this one: an
                    // end on its own, which asks and sets nothing, lets it be done with them.
                    raw_answer(&mut link, end, 2 * WHOLE_AFTER)?;
                }
                asked_before = true;
                let raw = raw_answer(&mut link, &format!("{question}{end}"), FIRST_WITHIN)?;
                if let Some(line) = judge(question, send_end, *baud, &raw) {
                    return Ok(line);
                }
            }
        }
    }
    Err(ProbeError::Silent { port: port.to_owned(), rates: rates.into_iter().flatten().collect() })
}

/// Everything that comes back until it is silent, if it begins within `within`.
fn raw_answer(link: &mut Link, message: &str, within: Duration) -> Result<Vec<u8>, LinkError> {
    settle_quickly(link)?;
    link.send(message.as_bytes(), Instant::now() + FIRST_WITHIN)?;
    let (mut raw, mut until) = (Vec::new(), Instant::now() + within);
    let mut buffer = [0; 256];
    while raw.len() < LONGEST_FIRST {
        let count = link.receive(&mut buffer, until)?;
        if count == 0 {
            break;
        }
        raw.extend_from_slice(&buffer[..count]);
        until = Instant::now() + WHOLE_AFTER;
    }
    Ok(raw)
}

fn settle_quickly(link: &mut Link) -> Result<(), LinkError> {
    let mut buffer = [0; 256];
    for _ in 0..16 {
        if link.receive_waiting(&mut buffer)? == 0 {
            break;
        }
    }
    Ok(())
}

/// What a first answer says of the line; `None` if it is none: nothing, no text, or only the question again.
fn judge(question: &str, send_end: &'static str, baud: Option<u32>, raw: &[u8]) -> Option<Line> {
    let text = std::str::from_utf8(raw).ok().filter(|text| text.len() < LONGEST_FIRST)?;
    let is_end = |c: char| c == '\r' || c == '\n';
    let echo = text.trim_start().starts_with(question);
    let body = if echo { text.trim_start()[question.len()..].to_owned() } else { text.to_owned() };
    let tail = body.rsplit(is_end).next().unwrap_or_default().trim_matches(|c: char| c <= ' ');
    let silence = !body.trim().contains(is_end) && !body.ends_with(is_end);
    let is_prompt = !silence
        && !tail.is_empty()
        && tail.len() <= LONGEST_PROMPT
        && !tail.contains(|c: char| c.is_ascii_alphanumeric() || c == '"' || c == '\\');
    let prompt = if is_prompt { tail.to_owned() } else { String::new() };
    let mut inbox = Inbox::new(&prompt);
    inbox.push(body.as_bytes()).ok()?;
    let first = inbox.take_line().or_else(|| inbox.take_rest())?;
    let first = String::from_utf8(first).ok().filter(|first| first != question)?;
    let printable =
        first.chars().all(|c| !c.is_control()) && first.contains(|c: char| c.is_ascii_alphanumeric());
    let identify = question == "*IDN?" && Identity::parse(&first).is_ok() && !is_error_word(&first);
    (printable && (identify || question != "*IDN?")).then_some(Line {
        baud,
        send_end,
        identify,
        silence,
        echo,
        prompt,
        first: shown(first.as_bytes()),
    })
}

fn is_error_word(reply: &str) -> bool {
    reply.trim().to_ascii_uppercase().starts_with("ERR")
}

/// Finds the further questions, measures, and writes the dialect.
fn finish(
    mut supply: Supply,
    rules: &Line,
    way: Way,
    rest: u32,
    length: Duration,
) -> Result<Found, ProbeError> {
    let identity = supply.identify().unwrap_or_default();
    let mut more = String::new();
    let (_, mut link) = supply.into_parts();
    for (key, question) in EXTRAS {
        let only = format!("{key} = \"{question}\"\n");
        let text = dialect_text(rules, way, &only, rest, "");
        let mut trial = match Dialect::parse("probe", &text) {
            Ok(dialect) => Supply::over(link, dialect),
            Err(_) => break,
        };
        if is_answered(&mut trial, key) {
            more.push_str(&only);
        }
        (_, link) = trial.into_parts();
    }
    let text = dialect_text(rules, way, &more, rest, "");
    let dialect = Dialect::parse("probe", &text).map_err(|_| no_supply(rules))?;
    let mut supply = Supply::over(link, dialect);
    let measured = measure(&mut supply, length)?;
    let text = dialect_text(rules, way, &more, rest, &tail_text(&measured, identity.as_ref()));
    let dialect = Dialect::parse("probe", &text).map_err(|_| no_supply(rules))?;
    Ok(Found { identity, baud: rules.baud, dialect, text, measured })
}

fn no_supply(line: &Line) -> ProbeError {
    ProbeError::NoSupply { port: "probe".to_owned(), answer: line.first.clone() }
}

fn is_answered(supply: &mut Supply, key: &str) -> bool {
    let answered = match key {
        "output" => supply.output_on().is_ok(),
        "next_error" => supply.errors().is_ok(),
        _ => supply.settings().is_ok(),
    };
    // Gets in step again if it was not.
    answered && supply.read().is_ok()
}

fn measure(supply: &mut Supply, length: Duration) -> Result<Measured, SupplyError> {
    let start = Instant::now();
    let mut readings = vec![supply.read()?];
    while start.elapsed() < length {
        readings.push(supply.read()?);
    }
    Ok(summary(&readings))
}

fn summary(readings: &[Reading]) -> Measured {
    let last = readings[readings.len() - 1];
    let seconds = (last.end - readings[0].start).as_secs_f64().max(f64::MIN_POSITIVE);
    #[expect(clippy::cast_precision_loss, reason = "some thousand readings")]
    let rate = |count: usize| count as f64 / seconds;
    let same = |a: &Reading, b: &Reading| (a.volts, a.amps) == (b.volts, b.amps);
    let changed = readings.windows(2).filter(|pair| !same(&pair[0], &pair[1])).count();
    let mut trips: Vec<_> = readings.iter().map(Reading::span).collect();
    trips.sort_unstable();
    let decimals = |reading: &Reading| (reading.volts_decimals, reading.amps_decimals);
    let fixed = readings.iter().all(|reading| decimals(reading) == decimals(&last));
    let ends_in_zero = |value: f64, decimals: u8| format!("{value:.*}", usize::from(decimals)).ends_with('0');
    let zero_kept = |value: fn(&Reading) -> f64, decimals: fn(&Reading) -> u8| {
        readings.iter().any(|r| decimals(r) > 0 && ends_in_zero(value(r), decimals(r)))
    };
    let zeros = zero_kept(|r| r.volts.value(), |r| r.volts_decimals)
        && zero_kept(|r| r.amps.value(), |r| r.amps_decimals);
    Measured {
        polls: readings.len(),
        poll_hz: rate(readings.len()),
        changed_hz: (changed > 0).then(|| rate(changed)),
        round_trip: trips[trips.len() / 2],
        decimals: decimals(&last),
        fixed_decimals: fixed && zeros,
    }
}

fn dialect_text(line: &Line, way: Way, more: &str, rest: u32, tail: &str) -> String {
    let mut text = String::from(
        "# Found by asking only. How to drive the output cannot be found out that way: copy [drive] from\n# profiles/dialects/plain.toml if the supply's manual agrees.\nname = \"probed\"\n",
    );
    text.push_str("\n[line]\n");
    if let Some(baud) = line.baud {
        let _ = writeln!(text, "baud = {baud}");
    }
    let reply_end = if line.silence { "silence" } else { "line" };
    let _ =
        writeln!(text, "send_end = \"{}\"\nreply_end = \"{reply_end}\"\necho = {}", line.send_end, line.echo);
    if !line.prompt.is_empty() {
        let _ = writeln!(text, "prompt = \"{}\"", line.prompt);
    }
    let _ = writeln!(text, "delay_ms = {rest}\ncompound = {}\n\n[ask]", way.compound);
    if line.identify {
        text.push_str("identify = \"*IDN?\"\n");
    }
    text.push_str(way.asks);
    text.push_str(more);
    text.push_str("\n[reply]\nsuffix = \"maybe\"\n");
    text.push_str(way.fields);
    text.push_str(tail);
    text
}

fn tail_text(measured: &Measured, identity: Option<&Identity>) -> String {
    let mut text = String::new();
    let (volts, amps) = measured.decimals;
    if measured.fixed_decimals {
        let _ = writeln!(text, "volts_decimals = {volts}\namps_decimals = {amps}");
    }
    let step = |decimals: u8| format!("{:.*}", usize::from(decimals), 10_f64.powi(-i32::from(decimals)));
    let _ =
        writeln!(text, "\n[readback]\nvolts_resolution = {}\namps_resolution = {}", step(volts), step(amps));
    let _ = writeln!(
        text,
        "# polled {:.1} times a second, a round trip of {:.1} ms",
        measured.poll_hz,
        measured.round_trip.as_secs_f64() * 1e3
    );
    if let Some(identity) = identity {
        let _ = writeln!(text, "# the supply called itself {}", shown(identity.to_string().as_bytes()));
    }
    text
}

#[cfg(test)]
mod tests;
