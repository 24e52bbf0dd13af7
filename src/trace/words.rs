//! Event words, and the escapes that keep any text on one line.
//!
//! In header values and event words a backslash starts an escape: `\\` is a backslash, `\;` a semicolon, `\n` a line
//! feed, `\r` a carriage return, `\:` a colon (in header keys), and `\u{20}` any character by its code point, used
//! for control characters and for blanks at either end. A backslash before anything else stands for itself.

use super::model::EventKind;
use crate::units::{Amps, Volts};
use std::fmt::Write as _;

/// `text` on one line: escaped, with `also` escaped as well (`;` in event words, `:` in header keys).
pub(super) fn escape(text: &str, also: char) -> String {
    let inner = text.trim();
    let start = text.len() - text.trim_start().len();
    let mut escaped = String::with_capacity(text.len());
    for (at, c) in text.char_indices() {
        let outer_blank = at < start || at >= start + inner.len();
        match c {
            '\\' => escaped.push_str("\\\\"),
            '\n' => escaped.push_str("\\n"),
            '\r' => escaped.push_str("\\r"),
            c if c == also => escaped.extend(['\\', c]),
            c if c.is_control() || outer_blank => {
                // Writing to a string cannot fail.
                let _ = write!(escaped, "\\u{{{:x}}}", u32::from(c));
            }
            c => escaped.push(c),
        }
    }
    escaped
}

/// Undoes [`escape`].
pub(super) fn unescape(escaped: &str) -> String {
    let mut text = String::with_capacity(escaped.len());
    let mut rest = escaped;
    while let Some(at) = rest.find('\\') {
        text.push_str(&rest[..at]);
        let (c, length) = escape_sequence(&rest[at..]).unwrap_or(('\\', 1));
        text.push(c);
        rest = &rest[at + length..];
    }
    text.push_str(rest);
    text
}

/// The character that an escape at the start of `text` stands for, and how many bytes it takes.
fn escape_sequence(text: &str) -> Option<(char, usize)> {
    match text.as_bytes().get(1)? {
        b'\\' => Some(('\\', 2)),
        b';' => Some((';', 2)),
        b':' => Some((':', 2)),
        b'n' => Some(('\n', 2)),
        b'r' => Some(('\r', 2)),
        b'u' => {
            let digits = text.get(2..)?.strip_prefix('{')?;
            let end = digits.find('}').filter(|end| (1..=6).contains(end))?;
            let c = u32::from_str_radix(&digits[..end], 16).ok().and_then(char::from_u32)?;
            Some((c, end + 4))
        }
        _ => None,
    }
}

/// Splits `text` at every `separator` that no backslash precedes.
pub(super) fn split_unescaped(text: &str, separator: u8) -> Vec<&str> {
    let bytes = text.as_bytes();
    let (mut parts, mut start, mut at) = (Vec::new(), 0, 0);
    while at < bytes.len() {
        if bytes[at] == b'\\' {
            at += 2;
            continue;
        }
        if bytes[at] == separator {
            parts.push(&text[start..at]);
            start = at + 1;
        }
        at += 1;
    }
    parts.push(&text[start..]);
    parts
}

/// The word for an event in the `event` column.
pub(super) fn word(kind: &EventKind) -> String {
    match kind {
        EventKind::OutputOn => "output-on".into(),
        EventKind::OutputOff => "output-off".into(),
        EventKind::Mark(text) => format!("mark={}", escape_value(text)),
        EventKind::SetVolts(volts) => format!("set_v={}", volts.value()),
        EventKind::Limit(amps) => format!("limit_a={}", amps.value()),
        EventKind::Gap => "gap".into(),
        EventKind::LinkLost => "link-lost".into(),
        EventKind::LinkBack => "link-back".into(),
        EventKind::Trip(text) => format!("trip={}", escape_value(text)),
        EventKind::Other(text) => escape(text, ';'),
    }
}

fn escape_value(text: &str) -> String {
    escape(text, ';')
}

/// The events of one cell of the `event` column; words left empty say nothing and are passed over.
///
/// # Errors
/// The word whose value is not the number that it has to be.
pub(super) fn events(cell: &str) -> Result<Vec<EventKind>, String> {
    split_unescaped(cell, b';')
        .into_iter()
        .map(str::trim)
        .filter(|word| !word.is_empty())
        .map(|word| kind(word).ok_or_else(|| word.to_owned()))
        .collect()
}

fn kind(word: &str) -> Option<EventKind> {
    let kind = match word.split_once('=') {
        Some(("mark", text)) => EventKind::Mark(unescape(text.trim())),
        Some(("trip", text)) => EventKind::Trip(unescape(text.trim())),
        Some(("set_v", volts)) => EventKind::SetVolts(Volts::new(super::number::parse(volts).ok()?).ok()?),
        Some(("limit_a", amps)) => EventKind::Limit(Amps::new(super::number::parse(amps).ok()?).ok()?),
        _ => match word {
            "output-on" => EventKind::OutputOn,
            "output-off" => EventKind::OutputOff,
            "gap" => EventKind::Gap,
            "link-lost" => EventKind::LinkLost,
            "link-back" => EventKind::LinkBack,
            other => EventKind::Other(unescape(other)),
        },
    };
    Some(kind)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_text_survives_escaping() {
        for text in [
            "power button",
            "a;b",
            "line\nbreak",
            "\\n",
            "tab\tand bell\u{7}",
            " blanks ",
            "\\",
            "",
            "µ\u{85}",
        ] {
            let escaped = escape(text, ';');
            assert!(!escaped.contains(char::is_control), "{escaped:?}");
            assert_eq!(escaped.trim(), escaped);
            assert_eq!(unescape(&escaped), text);
        }
    }

    #[test]
    fn a_backslash_before_anything_else_stands_for_itself() {
        assert_eq!(unescape(r"C:\logs\u{zz}\u{110000}\"), r"C:\logs\u{zz}\u{110000}\");
    }

    #[test]
    fn words_are_separated_by_semicolons_that_are_not_escaped() {
        let read = events(r"output-on; mark=a\;b ;;set_v=12.8;odd").unwrap();
        let expected = [
            EventKind::OutputOn,
            EventKind::Mark("a;b".into()),
            EventKind::SetVolts(Volts::constant(12.8)),
            EventKind::Other("odd".into()),
        ];
        assert_eq!(read, expected);
        assert_eq!(events("gap;limit_a=plenty").unwrap_err(), "limit_a=plenty");
    }
}
