//! The message syntax, seen from the device: IEEE 488.2-1992 §7 and SCPI-1999 volume 1 §6.

/// An error number of SCPI-1999 volume 2 §21.8, with its standard text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Complaint(pub(super) i16);

impl Complaint {
    pub(super) const INVALID_CHARACTER: Self = Self(-101);
    pub(super) const SYNTAX: Self = Self(-102);
    pub(super) const DATA_TYPE: Self = Self(-104);
    pub(super) const PARAMETER_NOT_ALLOWED: Self = Self(-108);
    pub(super) const MISSING_PARAMETER: Self = Self(-109);
    pub(super) const UNDEFINED_HEADER: Self = Self(-113);
    pub(super) const HEADER_SUFFIX: Self = Self(-114);
    pub(super) const INVALID_IN_NUMBER: Self = Self(-121);
    pub(super) const INVALID_SUFFIX: Self = Self(-131);
    pub(super) const SUFFIX_NOT_ALLOWED: Self = Self(-138);
    pub(super) const INVALID_CHARACTER_DATA: Self = Self(-141);
    pub(super) const INVALID_STRING: Self = Self(-151);
    pub(super) const SETTINGS_CONFLICT: Self = Self(-221);
    pub(super) const OUT_OF_RANGE: Self = Self(-222);
    pub(super) const QUEUE_OVERFLOW: Self = Self(-350);
    pub(super) const INPUT_OVERRUN: Self = Self(-363);
    pub(super) const AFTER_INDEFINITE: Self = Self(-440);

    /// The standard text.
    pub(super) const fn text(self) -> &'static str {
        match self.0 {
            0 => "No error",
            -101 => "Invalid character",
            -102 => "Syntax error",
            -104 => "Data type error",
            -108 => "Parameter not allowed",
            -109 => "Missing parameter",
            -113 => "Undefined header",
            -114 => "Header suffix out of range",
            -121 => "Invalid character in number",
            -131 => "Invalid suffix",
            -138 => "Suffix not allowed",
            -141 => "Invalid character data",
            -151 => "Invalid string data",
            -221 => "Settings conflict",
            -222 => "Data out of range",
            -350 => "Queue overflow",
            -363 => "Input buffer overrun",
            -440 => "Query UNTERMINATED after indefinite response",
            _ => "Command error",
        }
    }

    /// Whether the rest of the message cannot be trusted any more: a command error, -100 to -199.
    pub(super) const fn is_command_error(self) -> bool {
        self.0 <= -100 && self.0 > -200
    }
}

/// One unit of a message: a header and its data.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Unit {
    /// The words of the header, in capitals, as written; a common header is one word that starts with `*`.
    pub(super) header: Vec<String>,
    /// Whether the header starts at the root (`:` or `*`).
    pub(super) from_root: bool,
    /// Whether it ends in `?`.
    pub(super) query: bool,
    /// Its data, separated at the commas.
    pub(super) data: Vec<Datum>,
}

/// A piece of data.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Datum {
    /// A decimal number, with its suffix in capitals if it has one.
    Number(f64, String),
    /// A word, in capitals.
    Word(String),
    /// A quoted string.
    Text(String),
}

/// Cuts a message, without its terminator, into its units at the `;` outside of strings.
pub(super) fn units(message: &str) -> Vec<&str> {
    split_outside_strings(message, ';')
}

fn split_outside_strings(text: &str, at: char) -> Vec<&str> {
    let (mut pieces, mut quote, mut start) = (Vec::new(), None, 0);
    for (index, character) in text.char_indices() {
        match quote {
            Some(open) if character == open => quote = None,
            None if character == '"' || character == '\'' => quote = Some(character),
            None if character == at => {
                pieces.push(&text[start..index]);
                start = index + character.len_utf8();
            }
            Some(_) | None => {}
        }
    }
    pieces.push(&text[start..]);
    pieces
}

/// Parses a unit. An empty one is allowed and is `None` (IEEE 488.2 §7.3.3 lets a message be empty).
pub(super) fn unit(text: &str) -> Result<Option<Unit>, Complaint> {
    let text = text.trim_matches(is_white);
    if text.is_empty() {
        return Ok(None);
    }
    let end = text.find(is_white).unwrap_or(text.len());
    let (header, rest) = text.split_at(end);
    let (header, query) = header.strip_suffix('?').map_or((header, false), |header| (header, true));
    let (header, from_root) = match header.strip_prefix(':') {
        Some(header) => (header, true),
        None => (header, header.starts_with('*')),
    };
    let words = header.split(':').map(word_of_header).collect::<Result<Vec<_>, _>>()?;
    let rest = rest.trim_matches(is_white);
    let data = match rest {
        "" => Vec::new(),
        _ => split_outside_strings(rest, ',').into_iter().map(datum).collect::<Result<Vec<_>, _>>()?,
    };
    Ok(Some(Unit { header: words, from_root, query, data }))
}

/// White space of IEEE 488.2 §7.4.1.2: every control character but the new line, and the space.
fn is_white(character: char) -> bool {
    character <= ' ' && character != '\n'
}

fn word_of_header(word: &str) -> Result<String, Complaint> {
    let letters = word.strip_prefix('*').unwrap_or(word);
    let starts_well = letters.starts_with(|c: char| c.is_ascii_alphabetic());
    if let Some(bad) = letters.chars().find(|c| !(c.is_ascii_alphanumeric() || *c == '_')) {
        return Err(if bad.is_ascii_graphic() { Complaint::SYNTAX } else { Complaint::INVALID_CHARACTER });
    }
    if starts_well { Ok(word.to_ascii_uppercase()) } else { Err(Complaint::SYNTAX) }
}

fn datum(text: &str) -> Result<Datum, Complaint> {
    let text = text.trim_matches(is_white);
    match text.chars().next() {
        None => Err(Complaint::SYNTAX),
        Some(quote @ ('"' | '\'')) => string(text, quote),
        Some(first) if first.is_ascii_alphabetic() => word_of_data(text),
        Some(first) if first.is_ascii_digit() || "+-.".contains(first) => number(text),
        Some(first) if first.is_ascii_graphic() => Err(Complaint::DATA_TYPE),
        Some(_) => Err(Complaint::INVALID_CHARACTER),
    }
}

fn word_of_data(text: &str) -> Result<Datum, Complaint> {
    if text.chars().all(|c| c.is_ascii_alphanumeric() || c == '_') {
        Ok(Datum::Word(text.to_ascii_uppercase()))
    } else {
        Err(Complaint::INVALID_CHARACTER_DATA)
    }
}

fn string(text: &str, quote: char) -> Result<Datum, Complaint> {
    let inner = text[1..].strip_suffix(quote).ok_or(Complaint::INVALID_STRING)?;
    Ok(Datum::Text(inner.replace(&format!("{quote}{quote}"), &quote.to_string())))
}

/// A decimal number (IEEE 488.2 §7.7.2): mantissa, exponent, and a suffix that white space may set apart.
fn number(text: &str) -> Result<Datum, Complaint> {
    let end = end_of_number(text);
    let (digits, suffix) = text.split_at(end);
    let value: f64 = digits.parse().map_err(|_| Complaint::INVALID_IN_NUMBER)?;
    let suffix = suffix.trim_matches(is_white);
    if suffix.chars().all(|c| c.is_ascii_alphabetic()) {
        Ok(Datum::Number(value, suffix.to_ascii_uppercase()))
    } else {
        Err(Complaint::INVALID_IN_NUMBER)
    }
}

/// Where the number ends and its suffix may begin; an `E` that no digit follows is the suffix's.
fn end_of_number(text: &str) -> usize {
    let bytes = text.as_bytes();
    let digits = |mut at: usize| {
        while bytes.get(at).is_some_and(|byte| byte.is_ascii_digit() || *byte == b'.') {
            at += 1;
        }
        at
    };
    let mantissa = digits(usize::from(bytes.first().is_some_and(|byte| b"+-".contains(byte))));
    let Some(b'E' | b'e') = bytes.get(mantissa) else { return mantissa };
    let sign = usize::from(bytes.get(mantissa + 1).is_some_and(|byte| b"+-".contains(byte)));
    let exponent = digits(mantissa + 1 + sign);
    if exponent > mantissa + 1 + sign { exponent } else { mantissa }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn parsed(text: &str) -> Unit {
        unit(text).unwrap().unwrap()
    }

    #[test]
    fn headers_come_in_any_case_with_their_words_apart() {
        let unit = parsed(" :meas:Volt? ");
        assert_eq!(
            (unit.header, unit.from_root, unit.query),
            (vec!["MEAS".into(), "VOLT".into()], true, true)
        );
        assert!(parsed("*idn?").from_root && !parsed("VOLT 5").from_root);
    }

    #[test]
    fn numbers_come_with_exponents_and_suffixes() {
        // Forms of NRf and suffix after IEEE 488.2 §7.7.2 and §7.7.3.
        let number = |text: &str| match &parsed(&format!("VOLT {text}")).data[..] {
            [Datum::Number(value, suffix)] => (*value, suffix.clone()),
            other => panic!("{other:?}"),
        };
        assert_eq!(number("5"), (5.0, String::new()));
        assert_eq!(number("+1.25E1"), (12.5, String::new()));
        assert_eq!(number("-.5"), (-0.5, String::new()));
        assert_eq!(number("500 mV"), (500.0, "MV".into()));
        assert_eq!(number("2e-1V"), (0.2, "V".into()));
    }

    #[test]
    fn strings_hide_separators() {
        assert_eq!(units("A \"x;y\";B"), ["A \"x;y\"", "B"]);
        assert_eq!(parsed("A 'x,y',2").data, [Datum::Text("x,y".into()), Datum::Number(2.0, String::new())]);
        assert_eq!(unit("A 'open"), Err(Complaint::INVALID_STRING));
    }

    #[test]
    fn slips_get_their_standard_numbers() {
        assert_eq!(unit("VOLT 1.2.3"), Err(Complaint::INVALID_IN_NUMBER));
        assert_eq!(unit("VOLT ,5"), Err(Complaint::SYNTAX));
        assert_eq!(unit("MEAS::VOLT?"), Err(Complaint::SYNTAX));
        assert_eq!(unit("V\u{7f}LT 5"), Err(Complaint::INVALID_CHARACTER));
        assert_eq!(unit("VOLT #15hello"), Err(Complaint::DATA_TYPE));
        assert_eq!(unit("  "), Ok(None));
    }
}
