//! The `# key: value` lines at the head of a log.

use super::fault::Fault;
use super::model::Header;
use super::number;
use super::words::{escape, split_unescaped, unescape};
use chrono::{DateTime, FixedOffset};
use std::fmt::Write as _;

/// The version of the log format that is written, and the only one that is read.
const FORMAT: &str = "1";

/// Header lines as they are read, with the line that each key was in.
#[derive(Debug, Default)]
pub(super) struct HeaderReader {
    pub(super) header: Header,
    seen: Vec<(String, u64)>,
}

impl HeaderReader {
    /// Takes in one line, which starts with `#`.
    pub(super) fn line(&mut self, text: &str, number: u64) -> Result<(), Fault> {
        let content = text.strip_prefix('#').unwrap_or(text).trim();
        let parts = split_unescaped(content, b':');
        let [key, _, ..] = parts.as_slice() else {
            return Err(Fault::HeaderWithoutColon(text.to_owned()));
        };
        let value = content[key.len() + 1..].trim();
        let key = unescape(key.trim());
        if key.is_empty() {
            return Err(Fault::HeaderWithoutColon(text.to_owned()));
        }
        if let Some((_, first_line)) = self.seen.iter().find(|(seen, _)| *seen == key) {
            return Err(Fault::HeaderTwice { key, first_line: *first_line });
        }
        self.seen.push((key.clone(), number));
        self.set(key, value)
    }

    fn set(&mut self, key: String, value: &str) -> Result<(), Fault> {
        let header = &mut self.header;
        let word = || Some(unescape(value)).filter(|word| !word.is_empty());
        match key.as_str() {
            "log" => return format_version(value),
            "board" => header.board = word(),
            "serial" => header.serial = word(),
            "ticket" => header.ticket = word(),
            "feed_point" => header.feed_point = word(),
            "supply" => header.supply = word(),
            "set_v" => header.set_volts = quantity(&key, value, "volts, a plain number")?,
            "limit_a" => header.limit = quantity(&key, value, "amperes, a plain number")?,
            "started" => header.started = moment(&key, value)?,
            _ => header.other.push((key, unescape(value))),
        }
        Ok(())
    }
}

fn value_fault(key: &str, found: &str, expected: &'static str) -> Fault {
    Fault::HeaderValue { key: key.to_owned(), found: found.to_owned(), expected }
}

fn format_version(value: &str) -> Result<(), Fault> {
    if value == FORMAT {
        Ok(())
    } else {
        Err(value_fault("log", value, "1, the only version of the log format that this program reads"))
    }
}

fn quantity<T: TryFrom<f64>>(key: &str, value: &str, expected: &'static str) -> Result<Option<T>, Fault> {
    if value.is_empty() {
        return Ok(None);
    }
    let number = number::parse(value).ok().and_then(|number| T::try_from(number).ok());
    number.map(Some).ok_or_else(|| value_fault(key, value, expected))
}

fn moment(key: &str, value: &str) -> Result<Option<DateTime<FixedOffset>>, Fault> {
    if value.is_empty() {
        return Ok(None);
    }
    let expected = "a date and time like 2026-03-02T09:00:00Z";
    DateTime::parse_from_rfc3339(value).map(Some).map_err(|_| value_fault(key, value, expected))
}

/// The header lines for `header`, each with its line feed. Fields that are missing get no line.
pub(super) fn lines(header: &Header) -> String {
    let mut text = format!("# log: {FORMAT}\n");
    let mut line = |key: &str, value: &str| {
        // Writing to a string cannot fail.
        let _ = writeln!(text, "{}", format!("# {}: {}", escape(key, ':'), escape(value, '\n')).trim_end());
    };
    let words = [
        ("board", &header.board),
        ("serial", &header.serial),
        ("ticket", &header.ticket),
        ("feed_point", &header.feed_point),
        ("supply", &header.supply),
    ];
    for (key, value) in words {
        if let Some(value) = value {
            line(key, value);
        }
    }
    let settings = [
        ("set_v", header.set_volts.map(|volts| volts.value().to_string())),
        ("limit_a", header.limit.map(|amps| amps.value().to_string())),
        ("started", header.started.map(rfc3339)),
    ];
    for (key, value) in settings {
        if let Some(value) = value {
            line(key, &value);
        }
    }
    for (key, value) in &header.other {
        line(key, value);
    }
    text
}

/// RFC 3339 with `Z` for UTC and as many decimals as the moment has.
fn rfc3339(moment: DateTime<FixedOffset>) -> String {
    moment.to_rfc3339_opts(chrono::SecondsFormat::AutoSi, true)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Volts;

    fn read(text: &str) -> Result<Header, Fault> {
        let mut reader = HeaderReader::default();
        for (number, line) in (1..).zip(text.lines()) {
            reader.line(line, number)?;
        }
        Ok(reader.header)
    }

    #[test]
    fn known_keys_fill_fields_and_others_are_kept() {
        let header =
            read("# log: 1\n#board:fenwick-14\n# set_v: 12.8\n# serial:\n# bench: left: by the window")
                .unwrap();
        assert_eq!(header.board.as_deref(), Some("fenwick-14"));
        assert_eq!((header.set_volts, header.serial), (Some(Volts::constant(12.8)), None));
        assert_eq!(header.other, [("bench".to_owned(), "left: by the window".to_owned())]);
    }

    #[test]
    fn a_wrong_value_is_named_with_what_was_expected() {
        let message = |text| read(text).unwrap_err().to_string();
        assert_eq!(
            message("# set_v: 12.8 V"),
            r#"header value set_v is "12.8 V"; expected volts, a plain number"#
        );
        assert_eq!(
            message("# started: yesterday"),
            r#"header value started is "yesterday"; expected a date and time like 2026-03-02T09:00:00Z"#
        );
        assert_eq!(message("# a: 1\n# a: 2"), r#"header key "a" was given in line 1 already"#);
        assert!(message("# log: 2").contains("only version"));
        assert_eq!(message("# fenwick"), "\"# fenwick\" is not a header line; expected `# key: value`");
    }

    #[test]
    fn odd_keys_and_values_survive() {
        let other = vec![
            ("a:b".into(), " x\ny ".into()),
            ("empty".into(), String::new()),
            ("#n\\".into(), "#".into()),
        ];
        let header = Header { supply: Some("a,b, c \\n".into()), other, ..Header::default() };
        assert_eq!(read(&lines(&header)).unwrap(), header);
    }
}
