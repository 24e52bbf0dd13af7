//! Replies other than plain numbers: identification, error queue, registers, and the parts of a compound reply.

use super::number::Number;

/// How much of a reply that was not understood a message shows.
const SHOWN: usize = 40;

/// Why a reply is not what was asked for.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("'{found}' is not {expected}")]
pub struct ResponseError {
    /// The reply, or its start.
    pub found: String,
    /// What was asked for.
    pub expected: &'static str,
}

/// The start of a reply for a message, with what cannot be printed escaped.
#[must_use]
pub fn shown(reply: &[u8]) -> String {
    let start = reply.escape_ascii().to_string().replace("\\\"", "\"").replace("\\'", "'");
    match start.char_indices().nth(SHOWN) {
        Some((end, _)) => format!("{}…", &start[..end]),
        None => start,
    }
}

/// The response message units of a reply, which are joined by `;` (IEEE 488.2, 8.4.1).
#[must_use]
pub fn response_units(reply: &str) -> Vec<&str> {
    split_outside_quotes(reply, ';')
}

/// The data elements of a response message unit, which are joined by `separator` (`,` in IEEE 488.2, 8.4.2).
#[must_use]
pub fn data_elements(unit: &str, separator: char) -> Vec<&str> {
    split_outside_quotes(unit, separator)
}

fn split_outside_quotes(text: &str, separator: char) -> Vec<&str> {
    let (mut parts, mut start, mut quoted) = (Vec::new(), 0, false);
    for (at, found) in text.char_indices() {
        if found == '"' {
            quoted = !quoted;
        } else if found == separator && !quoted {
            parts.push(text[start..at].trim());
            start = at + found.len_utf8();
        }
    }
    parts.push(text[start..].trim());
    parts
}

/// Text without the quotes around it; doubled quotes inside stand for one (IEEE 488.2, 8.7.8).
fn unquoted(text: &str) -> String {
    let text = text.trim();
    match text.strip_prefix('"').map(|rest| rest.strip_suffix('"').unwrap_or(rest)) {
        Some(inside) => inside.replace("\"\"", "\""),
        None => text.to_owned(),
    }
}

/// The answer to `*IDN?`: four fields (IEEE 488.2, 10.14), of which devices leave some empty or out.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Identity {
    /// Who made it.
    pub maker: String,
    /// What it is called.
    pub model: String,
    /// Serial number; devices without one send `0` or nothing.
    pub serial: String,
    /// Firmware level.
    pub firmware: String,
}

impl Identity {
    /// Reads the fields; those that are missing stay empty, commas past the third belong to the last.
    ///
    /// # Errors
    /// [`ResponseError`] for an empty reply and for a bare number, which is the late reply of a measurement.
    pub fn parse(reply: &str) -> Result<Self, ResponseError> {
        let reply = reply.trim();
        let is_reading = response_units(reply).iter().all(|unit| Number::parse(unit).is_ok());
        if reply.is_empty() || is_reading {
            return Err(ResponseError { found: shown(reply.as_bytes()), expected: "an identification" });
        }
        let mut fields = reply.splitn(4, ',').map(unquoted);
        let mut next = || fields.next().unwrap_or_default();
        Ok(Self { maker: next(), model: next(), serial: next(), firmware: next() })
    }
}

impl std::fmt::Display for Identity {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{},{},{},{}", self.maker, self.model, self.serial, self.firmware)
    }
}

/// One entry of the error queue (SCPI-1999 vol. 1, 21.8): a standard code from -100 to -440 or the device's own
/// positive one, and its text. 0 means that the queue is empty.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ErrorEntry {
    /// The number.
    pub code: i32,
    /// The text, without quotes.
    pub text: String,
}

impl ErrorEntry {
    /// Reads `code,"text"` as leniently as devices write it: `+0,"No error"`, `0, No Error`, `-113`.
    ///
    /// # Errors
    /// [`ResponseError`] if it does not start with a whole number.
    pub fn parse(reply: &str) -> Result<Self, ResponseError> {
        let (code, text) = reply.trim().split_once(',').unwrap_or((reply.trim(), ""));
        match code.trim().parse() {
            Ok(code) => Ok(Self { code, text: unquoted(text) }),
            Err(_) => Err(ResponseError {
                found: shown(reply.as_bytes()),
                expected: "an error number and its text",
            }),
        }
    }

    /// Whether this entry says that there is no error.
    #[must_use]
    pub fn is_none(&self) -> bool {
        self.code == 0
    }
}

impl std::fmt::Display for ErrorEntry {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.code, self.text)
    }
}

/// A switch: `1` or `0` by the standard, `ON` or `OFF` from devices that send words.
///
/// # Errors
/// [`ResponseError`] for anything else.
pub fn boolean(reply: &str) -> Result<bool, ResponseError> {
    match reply.trim_matches(|c: char| c <= ' ').to_ascii_uppercase().as_str() {
        "1" | "+1" | "ON" => Ok(true),
        "0" | "+0" | "OFF" => Ok(false),
        _ => Err(ResponseError { found: shown(reply.as_bytes()), expected: "0, 1, OFF or ON" }),
    }
}

/// A status register: a whole number of at most 32 bits, which is what integer registers hold.
///
/// # Errors
/// [`ResponseError`] for anything else.
pub fn register(reply: &str) -> Result<u32, ResponseError> {
    let text = reply.trim_matches(|c: char| c <= ' ');
    let digits = text.strip_prefix('+').unwrap_or(text);
    let plain = !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit());
    plain
        .then(|| digits.parse().ok())
        .flatten()
        .ok_or_else(|| ResponseError { found: shown(reply.as_bytes()), expected: "a status register" })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_compound_reply_falls_apart_at_semicolons_outside_quotes() {
        assert_eq!(response_units("12.8;0.024"), ["12.8", "0.024"]);
        assert_eq!(response_units("\"a;b\"; 1"), ["\"a;b\"", "1"]);
        assert_eq!(data_elements("12.8V, 0.024A", ','), ["12.8V", "0.024A"]);
    }

    /// IEEE 488.2-1992, 10.14: four fields; a field that is not known is `0`. Devices also leave it empty.
    #[test]
    fn an_identification_has_four_fields_of_which_some_are_empty() {
        let identity = Identity::parse("BENCHWORKS,LP-60,,1.04").unwrap();
        assert_eq!((identity.model.as_str(), identity.serial.as_str()), ("LP-60", ""));
        assert_eq!(identity.to_string(), "BENCHWORKS,LP-60,,1.04");
        assert_eq!(Identity::parse("LP-60 V1.0").unwrap().maker, "LP-60 V1.0");
        assert_eq!(Identity::parse("a,b,c,d,e").unwrap().firmware, "d,e");
        assert!(Identity::parse("").is_err());
        assert!(Identity::parse("12.800;0.0240").is_err());
    }

    /// SCPI-1999 vol. 1, 21.8.8 gives `<error number>,"<description>[;<device-dependent info>]"`.
    #[test]
    fn error_queue_entries_are_read_leniently() {
        let read = |text: &str| ErrorEntry::parse(text).map(|entry| (entry.code, entry.text)).unwrap();
        assert_eq!(
            read("-113,\"Undefined header;MEAS:CURR?\""),
            (-113, "Undefined header;MEAS:CURR?".into())
        );
        assert_eq!(read("+0,\"No error\""), (0, "No error".into()));
        assert_eq!(read("0, No Error"), (0, "No Error".into()));
        assert_eq!(read("-350,\"Queue \"\"full\"\"\""), (-350, "Queue \"full\"".into()));
        assert_eq!(read("-222"), (-222, String::new()));
        assert!(ErrorEntry::parse("12.8").is_err() && ErrorEntry::parse("ERR").is_err());
    }

    #[test]
    fn switches_and_registers_are_read_strictly() {
        assert_eq!(boolean(" ON\r"), Ok(true));
        assert_eq!(boolean("0"), Ok(false));
        assert!(boolean("12.8").is_err() && boolean("").is_err());
        assert_eq!(register("+256"), Ok(256));
        assert!(register("-1").is_err() && register("2.5").is_err() && register("99999999999").is_err());
        assert!(register("++1").is_err() && register("").is_err());
    }

    #[test]
    fn what_is_shown_is_short_and_printable() {
        assert_eq!(shown(b"\x00\xff ok"), "\\x00\\xff ok");
        assert_eq!(shown(&[b'x'; 50]), format!("{}…", "x".repeat(40)));
    }

    proptest! {
        #[test]
        fn no_reply_panics(text in ".*") {
            let _ = (Identity::parse(&text), ErrorEntry::parse(&text), boolean(&text), register(&text));
            for unit in response_units(&text) {
                let _ = data_elements(unit, ',');
            }
        }
    }
}
