//! How one supply departs from the plain standard.

use std::fmt;
use std::str::FromStr;

/// What ends a message to the supply.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Terminator {
    /// LF; a CR before it is white space.
    #[default]
    LineFeed,
    /// CR only: an LF is ignored, and a message without CR waits for ever.
    CarriageReturn,
}

/// How the supply says what regulates its output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ModeBits {
    /// Questionable condition: bit 0 is constant current, bit 1 constant voltage.
    #[default]
    CurrentThenVoltage,
    /// Questionable condition: bit 0 is constant voltage, bit 1 constant current.
    VoltageThenCurrent,
    /// Operation condition: bit 8 is constant voltage, bit 10 constant current.
    Operation,
    /// Not at all.
    None,
}

/// How one supply departs from the plain standard; the default departs in nothing.
///
/// Each departure has a word for the command line, `name` or `name=value`; see [`Manners::set`].
#[derive(Debug, Clone, PartialEq)]
#[expect(clippy::struct_excessive_bools, reason = "each departure is there or not, and all combine")]
pub struct Manners {
    /// What ends a message to it.
    pub accepts: Terminator,
    /// What ends its answers.
    pub ends_with: Vec<u8>,
    /// Numbers carry their unit: `1.234A`.
    pub unit_suffix: bool,
    /// Numbers have an exponent: `1.2340E+00`.
    pub scientific: bool,
    /// Decimals of volts and amps, where they are not those that the readback resolves.
    pub decimals: Option<(usize, usize)>,
    /// `MEAS:VOLT?` and `MEAS:CURR?` both answer volts and amps in one list, as does `MEAS:ALL?`.
    pub both_always: bool,
    /// Watts stand behind volts and amps in the list.
    pub watts_in_list: bool,
    /// Queries name the output by a word: `MEAS:VOLT? CH1`.
    pub channel_word: bool,
    /// The output that the board hangs at; with 2, a first output has nothing connected and is the one selected.
    pub board_at: u8,
    /// `OUTP OFF` is not obeyed, as by a relay that is welded shut.
    pub stuck_on: bool,
    /// The regulator gives so many times the volts that are set.
    pub volts_factor: f64,
    /// Everything it receives comes back first.
    pub echo: bool,
    /// Sent after every message.
    pub prompt: Vec<u8>,
    /// `OK` after every message that asked nothing.
    pub says_ok: bool,
    /// The word that it answers in place of an answer when it does not understand; none is silence.
    pub error_word: Option<String>,
    /// Whether it takes more than one unit in a message; if not, what follows the first `;` is lost.
    pub compound: bool,
    /// Whether it keeps an error queue; if not, `SYST:ERR?` is not understood.
    pub error_queue: bool,
    /// Whether it ignores all but `SYST:REM` and `*IDN?` until it is put in remote.
    pub needs_remote: bool,
    /// How it says what regulates.
    pub mode_bits: ModeBits,
    /// From the end of a message to its answer, in seconds.
    pub device_s: f64,
    /// A message sooner than this after the last answer is lost.
    pub pause_s: f64,
    /// How long it is busy after a channel was selected.
    pub select_s: f64,
}

impl Default for Manners {
    fn default() -> Self {
        Self {
            accepts: Terminator::LineFeed,
            ends_with: b"\n".to_vec(),
            unit_suffix: false,
            scientific: false,
            decimals: None,
            both_always: false,
            watts_in_list: false,
            channel_word: false,
            board_at: 1,
            stuck_on: false,
            volts_factor: 1.0,
            echo: false,
            prompt: Vec::new(),
            says_ok: false,
            error_word: None,
            compound: true,
            error_queue: true,
            needs_remote: false,
            mode_bits: ModeBits::default(),
            device_s: 0.0,
            pause_s: 0.0,
            select_s: 0.5,
        }
    }
}

/// A departure that the simulator does not know.
#[derive(Debug, thiserror::Error)]
pub enum QuirkError {
    /// No such word.
    #[error("no quirk {found}; there are {known}")]
    Unknown {
        /// What was asked for.
        found: String,
        /// The words that there are.
        known: String,
    },
    /// A value that cannot be understood.
    #[error("quirk {quirk}={found}: expected {expected}")]
    Value {
        /// The word.
        quirk: String,
        /// Its value.
        found: String,
        /// What it may be.
        expected: &'static str,
    },
}

/// The words of the departures, with what each does.
pub const QUIRKS: [(&str, &str); 23] = [
    ("cr-in", "messages end in CR"),
    ("end=none|cr|lf|crlf|mix", "what answers end in"),
    ("suffix", "numbers carry their unit"),
    ("scientific", "numbers have an exponent"),
    ("decimals=V/A", "so many decimals of volts and amps: decimals=2/3"),
    ("list", "volts and amps come in one list"),
    ("watts-in-list", "volts, amps and watts come in one list"),
    ("channel-word", "queries name the output: MEAS:VOLT? CH1"),
    ("second", "two outputs, the board at the second, the first selected"),
    ("stuck-on", "the output does not go off"),
    ("high=FACTOR", "the output gives so many times the volts set"),
    ("echo", "everything received comes back first"),
    ("prompt", "a prompt after every message"),
    ("ok", "OK after every message that asked nothing"),
    ("err-word", "ERR in place of an answer when not understood"),
    ("no-compound", "what follows a ; is lost"),
    ("no-queue", "no error queue"),
    ("remote", "deaf until SYST:REM"),
    ("bits=cc-cv|cv-cc|oper|none", "how the status bits say what regulates"),
    ("delay=MS", "milliseconds from message to answer"),
    ("pause=MS", "a message sooner than this after the last answer is lost"),
    ("select=MS", "milliseconds busy after a channel was selected"),
    ("plain", "no departure"),
];

impl Manners {
    /// Adds the departure of that word (see [`QUIRKS`]).
    ///
    /// # Errors
    /// [`QuirkError`] for an unknown word or a value that cannot be understood.
    pub fn set(&mut self, quirk: &str) -> Result<(), QuirkError> {
        let (word, value) = quirk.split_once('=').unwrap_or((quirk, ""));
        match word {
            "plain" => *self = Self::default(),
            "cr-in" => self.accepts = Terminator::CarriageReturn,
            "end" => self.ends_with = ending(value)?,
            "suffix" => self.unit_suffix = true,
            "scientific" => self.scientific = true,
            "decimals" => self.decimals = Some(decimals(value)?),
            "list" => self.both_always = true,
            "watts-in-list" => (self.both_always, self.watts_in_list) = (true, true),
            "channel-word" => self.channel_word = true,
            "second" => self.board_at = 2,
            "stuck-on" => self.stuck_on = true,
            "high" => self.volts_factor = factor(word, value)?,
            "echo" => self.echo = true,
            "prompt" => self.prompt = b"> ".to_vec(),
            "ok" => self.says_ok = true,
            "err-word" => self.error_word = Some("ERR".to_owned()),
            "no-compound" => self.compound = false,
            "no-queue" => self.error_queue = false,
            "remote" => self.needs_remote = true,
            "bits" => self.mode_bits = bits(value)?,
            "delay" => self.device_s = milliseconds(word, value)?,
            "pause" => self.pause_s = milliseconds(word, value)?,
            "select" => self.select_s = milliseconds(word, value)?,
            _ => {
                let known = QUIRKS.map(|(name, _)| name).join(", ");
                return Err(QuirkError::Unknown { found: quirk.to_owned(), known });
            }
        }
        Ok(())
    }
}

impl FromStr for Manners {
    type Err = QuirkError;

    /// Words separated by commas.
    fn from_str(quirks: &str) -> Result<Self, QuirkError> {
        let mut manners = Self::default();
        for quirk in quirks.split(',').map(str::trim).filter(|quirk| !quirk.is_empty()) {
            manners.set(quirk)?;
        }
        Ok(manners)
    }
}

impl fmt::Display for Terminator {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::LineFeed => "LF",
            Self::CarriageReturn => "CR",
        })
    }
}

fn ending(value: &str) -> Result<Vec<u8>, QuirkError> {
    Ok(match value {
        "none" => Vec::new(),
        "cr" => b"\r".to_vec(),
        "lf" => b"\n".to_vec(),
        "crlf" => b"\r\n".to_vec(),
        "mix" => b"\n\r".to_vec(),
        _ => return Err(refuse("end", value, "none, cr, lf, crlf or mix")),
    })
}

fn bits(value: &str) -> Result<ModeBits, QuirkError> {
    Ok(match value {
        "cc-cv" => ModeBits::CurrentThenVoltage,
        "cv-cc" => ModeBits::VoltageThenCurrent,
        "oper" => ModeBits::Operation,
        "none" => ModeBits::None,
        _ => return Err(refuse("bits", value, "cc-cv, cv-cc, oper or none")),
    })
}

fn decimals(value: &str) -> Result<(usize, usize), QuirkError> {
    let count = |text: &str| text.parse::<usize>().ok().filter(|count| *count <= 6);
    value
        .split_once('/')
        .and_then(|(volts, amps)| Some((count(volts)?, count(amps)?)))
        .ok_or_else(|| refuse("decimals", value, "two numbers from 0 to 6, such as 2/3"))
}

fn factor(quirk: &str, value: &str) -> Result<f64, QuirkError> {
    let number = value.parse::<f64>().ok().filter(|factor| (0.1..=10.0).contains(factor));
    number.ok_or_else(|| refuse(quirk, value, "a factor from 0.1 to 10"))
}

fn milliseconds(quirk: &str, value: &str) -> Result<f64, QuirkError> {
    let number = value.strip_suffix("ms").unwrap_or(value).parse::<f64>().ok();
    number
        .filter(|ms| (0.0..=60_000.0).contains(ms))
        .map(|ms| ms / 1e3)
        .ok_or_else(|| refuse(quirk, value, "milliseconds from 0 to 60000"))
}

fn refuse(quirk: &str, found: &str, expected: &'static str) -> QuirkError {
    QuirkError::Value { quirk: quirk.to_owned(), found: found.to_owned(), expected }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_set_what_they_say() {
        let manners: Manners = "suffix, end=crlf, delay=20ms, bits=oper, no-compound".parse().unwrap();
        let expected = Manners {
            unit_suffix: true,
            ends_with: b"\r\n".to_vec(),
            device_s: 0.02,
            mode_bits: ModeBits::Operation,
            compound: false,
            ..Manners::default()
        };
        assert_eq!(manners, expected);
    }

    #[test]
    fn every_listed_word_is_understood() {
        for (word, _) in QUIRKS {
            let (name, values) = word.split_once('=').unwrap_or((word, ""));
            let quirk = match values.split('|').next().unwrap() {
                "" => name.to_owned(),
                "MS" => format!("{name}=5"),
                "V/A" => format!("{name}=2/3"),
                "FACTOR" => format!("{name}=1.5"),
                value => format!("{name}={value}"),
            };
            assert!(Manners::default().set(&quirk).is_ok(), "{quirk}");
        }
    }

    #[test]
    fn an_unknown_word_and_a_bad_value_are_named() {
        assert!(
            "loud".parse::<Manners>().unwrap_err().to_string().starts_with("no quirk loud; there are cr-in")
        );
        assert_eq!(
            "delay=soon".parse::<Manners>().unwrap_err().to_string(),
            "quirk delay=soon: expected milliseconds from 0 to 60000"
        );
        for bad in ["decimals=2", "decimals=2/x", "high=0", "high=big", "end=tab", "bits=both"] {
            let message = bad.parse::<Manners>().unwrap_err().to_string();
            assert!(message.starts_with(&format!("quirk {bad}: expected ")), "{message}");
        }
    }
}
