//! What a person types to name a supply: `/dev/ttyUSB0?baud=115200`, `COM3`, `tcp:HOST:PORT`.

use std::fmt;
use std::ops::RangeInclusive;
use std::str::FromStr;

/// Baud rate where none is given: common practice for bench supplies, no source.
const USUAL_BAUD: u32 = 9600;
/// The settings that may stand behind the question mark of a serial path.
const SERIAL_KEYS: [&str; 6] = ["baud", "bits", "parity", "stop", "flow", "speed"];
/// The settings that may stand behind the question mark of a TCP address.
const TCP_KEYS: [&str; 1] = ["speed"];

/// How many times faster than real time a simulated bench may run: beyond, times in seconds no longer fit the clock's.
pub const SPEEDS: RangeInclusive<f64> = 1e-3..=1e4;

/// Parity of a serial line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Parity {
    /// No parity bit.
    #[default]
    None,
    /// Odd parity.
    Odd,
    /// Even parity.
    Even,
}

/// How a serial line is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SerialSettings {
    /// Bits a second on the wire.
    pub baud: u32,
    /// Data bits a byte, 7 or 8.
    pub data_bits: u8,
    /// Parity bit.
    pub parity: Parity,
    /// Stop bits, 1 or 2.
    pub stop_bits: u8,
    /// Flow control by the RTS and CTS lines.
    pub hardware_flow: bool,
}

impl Default for SerialSettings {
    fn default() -> Self {
        Self { baud: USUAL_BAUD, data_bits: 8, parity: Parity::None, stop_bits: 1, hardware_flow: false }
    }
}

impl SerialSettings {
    /// Bits on the wire for one byte: start, data, parity and stop bits.
    #[must_use]
    pub fn bits_per_byte(&self) -> u32 {
        1 + u32::from(self.data_bits) + u32::from(self.parity != Parity::None) + u32::from(self.stop_bits)
    }

    /// How long one byte takes on the wire.
    #[must_use]
    pub fn byte_time(&self) -> std::time::Duration {
        std::time::Duration::from_secs_f64(f64::from(self.bits_per_byte()) / f64::from(self.baud.max(1)))
    }
}

/// Where the supply is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// A serial port of this machine.
    Serial {
        /// Device path or port name.
        path: String,
        /// How the line is set.
        settings: SerialSettings,
    },
    /// A TCP server.
    Tcp {
        /// Host name or address.
        host: String,
        /// Port number.
        port: u16,
    },
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Serial { path, .. } => f.write_str(path),
            Self::Tcp { host, port } if host.contains(':') => write!(f, "tcp:[{host}]:{port}"),
            Self::Tcp { host, port } => write!(f, "tcp:{host}:{port}"),
        }
    }
}

/// The address of a supply.
#[derive(Debug, Clone, PartialEq)]
pub struct Address {
    place: Place,
    speed: Option<f64>,
    baud_given: bool,
}

impl Address {
    /// Where the supply is.
    #[must_use]
    pub fn place(&self) -> &Place {
        &self.place
    }

    /// How many times faster than real time the clock of a simulated bench runs, if the address says so. Nothing
    /// here acts on it: whoever stamps readings multiplies by it.
    #[must_use]
    pub fn speed(&self) -> Option<f64> {
        self.speed
    }

    /// Whether the address itself gives a baud rate.
    #[must_use]
    pub fn gives_baud(&self) -> bool {
        self.baud_given
    }

    /// The serial port `path` with the settings of this address; `None` for a TCP address, which has no such settings.
    #[must_use]
    pub fn at_port(&self, path: &str) -> Option<Self> {
        let mut other = self.clone();
        match &mut other.place {
            Place::Serial { path: old, .. } => path.clone_into(old),
            Place::Tcp { .. } => return None,
        }
        Some(other)
    }

    /// The same address with another baud rate; a TCP address stays as it is.
    #[must_use]
    pub fn with_baud(&self, baud: u32) -> Self {
        let mut other = self.clone();
        if let Place::Serial { settings, .. } = &mut other.place {
            settings.baud = baud;
            other.baud_given = true;
        }
        other
    }
}

/// Why a text is no address.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum AddressError {
    /// Nothing there.
    #[error("empty address; give a device path such as /dev/ttyUSB0 or COM3, or tcp:HOST:PORT")]
    Empty,
    /// A TCP address without host or port.
    #[error("'{found}' is not tcp:HOST:PORT with a port number from 1 to 65535, e.g. tcp:192.168.1.20:5025")]
    Tcp {
        /// What was given.
        found: String,
    },
    /// A setting that there is not.
    #[error("unknown setting '{key}' in '{address}'{}; known are {known}", nearest(.near.as_ref()))]
    UnknownSetting {
        /// The setting.
        key: String,
        /// The whole address.
        address: String,
        /// The nearest known setting, if any is near.
        near: Option<&'static str>,
        /// All known settings.
        known: String,
    },
    /// A setting with a value that it cannot have.
    #[error("setting '{key}={found}' in '{address}': expected {expected}")]
    BadSetting {
        /// The setting.
        key: String,
        /// Its value.
        found: String,
        /// The whole address.
        address: String,
        /// What it may be.
        expected: &'static str,
    },
}

fn nearest(near: Option<&&'static str>) -> String {
    near.map_or_else(String::new, |key| format!(" (did you mean '{key}'?)"))
}

impl FromStr for Address {
    type Err = AddressError;

    fn from_str(text: &str) -> Result<Self, AddressError> {
        let text = text.trim();
        let (place, settings) = text.split_once('?').unwrap_or((text, ""));
        if place.is_empty() {
            return Err(AddressError::Empty);
        }
        let mut address = Self { place: parse_place(place)?, speed: None, baud_given: false };
        for setting in settings.split('&').filter(|setting| !setting.is_empty()) {
            let (key, value) = setting.split_once('=').unwrap_or((setting, ""));
            address.apply(key, value, text)?;
        }
        Ok(address)
    }
}

fn parse_place(place: &str) -> Result<Place, AddressError> {
    let Some(rest) = place.strip_prefix("tcp:") else {
        return Ok(Place::Serial { path: place.to_owned(), settings: SerialSettings::default() });
    };
    let bad = || AddressError::Tcp { found: place.to_owned() };
    let (host, port) = rest.trim_start_matches("//").rsplit_once(':').ok_or_else(bad)?;
    let host = host.strip_prefix('[').and_then(|host| host.strip_suffix(']')).unwrap_or(host);
    let port = port.parse().ok().filter(|port| *port != 0).ok_or_else(bad)?;
    if host.is_empty() {
        return Err(bad());
    }
    Ok(Place::Tcp { host: host.to_owned(), port })
}

impl Address {
    fn apply(&mut self, key: &str, value: &str, address: &str) -> Result<(), AddressError> {
        let bad = |expected| AddressError::BadSetting {
            key: key.to_owned(),
            found: value.to_owned(),
            address: address.to_owned(),
            expected,
        };
        match (&mut self.place, key) {
            (_, "speed") => {
                let speed = value.parse().ok().filter(|speed| SPEEDS.contains(speed));
                self.speed = Some(speed.ok_or_else(|| bad("a number from 0.001 to 10000"))?);
            }
            (Place::Tcp { .. }, _) => return Err(unknown(key, address, &TCP_KEYS)),
            (Place::Serial { settings, .. }, _) if SERIAL_KEYS.contains(&key) => {
                settings.apply(key, value).map_err(bad)?;
                self.baud_given |= key == "baud";
            }
            (Place::Serial { .. }, _) => return Err(unknown(key, address, &SERIAL_KEYS)),
        }
        Ok(())
    }
}

impl SerialSettings {
    /// Takes the setting `key`; else says what its value may be.
    fn apply(&mut self, key: &str, value: &str) -> Result<(), &'static str> {
        match key {
            "baud" => {
                let rate = value.parse().ok().filter(|rate| *rate > 0);
                self.baud = rate.ok_or("a whole number of bits a second, e.g. 115200")?;
            }
            "bits" => self.data_bits = one_of(value, &[("7", 7), ("8", 8)]).ok_or("7 or 8")?,
            "stop" => self.stop_bits = one_of(value, &[("1", 1), ("2", 2)]).ok_or("1 or 2")?,
            "parity" => {
                let known = [("none", Parity::None), ("odd", Parity::Odd), ("even", Parity::Even)];
                self.parity = one_of(value, &known).ok_or("none, odd or even")?;
            }
            // `flow`, the last of `SERIAL_KEYS` that is of the line.
            _ => {
                let known = [("none", false), ("hardware", true)];
                self.hardware_flow = one_of(value, &known).ok_or("none or hardware")?;
            }
        }
        Ok(())
    }
}

fn one_of<T: Copy>(value: &str, known: &[(&str, T)]) -> Option<T> {
    known.iter().find(|(name, _)| *name == value).map(|(_, meaning)| *meaning)
}

fn unknown(key: &str, address: &str, known: &'static [&'static str]) -> AddressError {
    let near = known.iter().copied().min_by_key(|name| strsim::damerau_levenshtein(name, key));
    AddressError::UnknownSetting {
        key: key.to_owned(),
        address: address.to_owned(),
        near: near.filter(|name| strsim::damerau_levenshtein(name, key) <= 2),
        known: known.join(", "),
    }
}

impl fmt::Display for Address {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut settings = Vec::new();
        if let Place::Serial { settings: line, .. } = &self.place {
            settings.extend(settings_that_differ(*line, self.baud_given));
        }
        settings.extend(self.speed.map(|speed| format!("speed={speed}")));
        let mark = if settings.is_empty() { "" } else { "?" };
        write!(f, "{}{mark}{}", self.place, settings.join("&"))
    }
}

fn settings_that_differ(line: SerialSettings, baud_given: bool) -> Vec<String> {
    let usual = SerialSettings::default();
    let parity = match line.parity {
        Parity::None => "none",
        Parity::Odd => "odd",
        Parity::Even => "even",
    };
    [
        (baud_given || line.baud != usual.baud, format!("baud={}", line.baud)),
        (line.data_bits != usual.data_bits, format!("bits={}", line.data_bits)),
        (line.parity != usual.parity, format!("parity={parity}")),
        (line.stop_bits != usual.stop_bits, format!("stop={}", line.stop_bits)),
        (line.hardware_flow, "flow=hardware".to_owned()),
    ]
    .into_iter()
    .filter_map(|(differs, text)| differs.then_some(text))
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn parse(text: &str) -> Address {
        text.parse().unwrap()
    }

    #[test]
    fn a_path_alone_is_a_serial_port_with_usual_settings() {
        for path in ["/dev/ttyUSB0", "COM3", "/tmp/bench"] {
            let expected = Place::Serial { path: path.into(), settings: SerialSettings::default() };
            assert_eq!(parse(path).place(), &expected);
        }
    }

    #[test]
    fn settings_stand_behind_the_question_mark() {
        let address = parse("/dev/ttyUSB0?baud=115200&bits=7&parity=even&stop=2&flow=hardware&speed=20");
        let Place::Serial { settings, .. } = address.place() else { panic!("a serial place") };
        assert_eq!((settings.baud, settings.data_bits, settings.stop_bits), (115_200, 7, 2));
        assert_eq!((settings.parity, settings.hardware_flow), (Parity::Even, true));
        assert_eq!((address.speed(), settings.bits_per_byte()), (Some(20.0), 11));
    }

    #[test]
    fn tcp_addresses_know_hosts_and_bracketed_addresses() {
        let place = |text: &str| parse(text).place().clone();
        assert_eq!(place("tcp:127.0.0.1:5025"), Place::Tcp { host: "127.0.0.1".into(), port: 5025 });
        assert_eq!(place("tcp:[::1]:5025?speed=2"), Place::Tcp { host: "::1".into(), port: 5025 });
    }

    #[test]
    fn bad_addresses_say_what_is_wrong() {
        let error = |text: &str| text.parse::<Address>().unwrap_err().to_string();
        assert_eq!(
            error("/dev/ttyS0?buad=9600"),
            "unknown setting 'buad' in '/dev/ttyS0?buad=9600' (did you mean 'baud'?); known are baud, bits, parity, stop, flow, speed"
        );
        assert_eq!(
            error("COM3?baud=fast"),
            "setting 'baud=fast' in 'COM3?baud=fast': expected a whole number of bits a second, e.g. 115200"
        );
        for bad in ["tcp:host", "tcp::5025", "tcp:host:0", "tcp:host:70000", "tcp:"] {
            assert!(matches!(bad.parse::<Address>(), Err(AddressError::Tcp { .. })), "{bad}");
        }
        assert!(matches!("tcp:h:1?baud=9600".parse::<Address>(), Err(AddressError::UnknownSetting { .. })));
        for bad in [
            "a?speed=0",
            "a?speed=nan",
            "a?speed=1e-300",
            "a?speed=1e300",
            "a?bits=9",
            "a?stop=3",
            "a?parity=x",
            "a?flow=xon",
            "a?baud=0",
        ] {
            assert!(matches!(bad.parse::<Address>(), Err(AddressError::BadSetting { .. })), "{bad}");
        }
        assert_eq!("".parse::<Address>(), Err(AddressError::Empty));
    }

    proptest! {
        #[test]
        fn what_is_displayed_parses_to_the_same(
            baud in 1_u32..10_000_000, bits in 7_u8..9, stop in 1_u8..3, speed in proptest::option::of(0.1..1e3_f64),
            flow in any::<bool>(),
        ) {
            let flow = if flow { "hardware" } else { "none" };
            let speed = speed.map_or_else(String::new, |speed| format!("&speed={speed}"));
            let text = format!("/dev/ttyACM1?baud={baud}&bits={bits}&stop={stop}&flow={flow}{speed}");
            let address = parse(&text);
            prop_assert_eq!(parse(&address.to_string()), address);
        }

        #[test]
        fn no_text_panics(text in ".*") {
            let _ = text.parse::<Address>();
        }
    }
}
