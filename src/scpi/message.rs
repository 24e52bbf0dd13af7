//! Program messages: what is sent to an instrument.

use std::fmt;

/// Longest mnemonic of a header: IEEE 488.2-1992, 7.6.1.4.1 (program mnemonics have at most twelve characters).
const LONGEST_MNEMONIC: usize = 12;

/// Why a text is no program message unit.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SyntaxError {
    /// No text at all.
    #[error("empty command")]
    Empty,
    /// A character that a message cannot carry.
    #[error("character {found:?} in '{command}'; a command is printable ASCII without ';' outside of quotes")]
    Character {
        /// The command.
        command: String,
        /// The character.
        found: char,
    },
    /// A part of the header that is no mnemonic.
    #[error(
        "'{mnemonic}' in '{command}' is not a mnemonic: a letter, then letters, digits and '_', at most 12 characters (IEEE 488.2, 7.6.1.4)"
    )]
    Mnemonic {
        /// The command.
        command: String,
        /// The part.
        mnemonic: String,
    },
}

/// One program message unit: a header, perhaps a question mark, perhaps parameters.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unit {
    /// Mnemonics of the header from the root; one element with its `*` for a common command.
    nodes: Vec<String>,
    /// `?` and parameters, as they are to be sent.
    tail: String,
    query: bool,
    verbatim: bool,
}

impl Unit {
    /// A unit after SCPI-1999 vol. 1, 6.2: `MEAS:VOLT?`, `:OUTP ON`, `*IDN?`.
    ///
    /// # Errors
    /// [`SyntaxError`] with the offending part.
    pub fn parse(text: &str) -> Result<Self, SyntaxError> {
        let text = text.trim();
        check_characters(text)?;
        let header_end = text.find(|c: char| c == '?' || c.is_ascii_whitespace()).unwrap_or(text.len());
        let (header, tail) = text.split_at(header_end);
        let header = header.strip_prefix(':').unwrap_or(header);
        let nodes: Vec<String> = header.split(':').map(str::to_owned).collect();
        let bad = nodes.iter().find(|node| !is_mnemonic(node, nodes.len() == 1));
        if let Some(mnemonic) = bad {
            return Err(SyntaxError::Mnemonic { command: text.to_owned(), mnemonic: mnemonic.clone() });
        }
        Ok(Self { nodes, query: tail.starts_with('?'), tail: tail.to_owned(), verbatim: false })
    }

    /// A unit sent exactly as it stands, for instruments that do not keep to the standard syntax. It counts as a
    /// query if its first word ends in a question mark.
    ///
    /// # Errors
    /// [`SyntaxError`] for what no message can carry.
    pub fn verbatim(text: &str) -> Result<Self, SyntaxError> {
        let text = text.trim();
        check_characters(text)?;
        let query = text.split_ascii_whitespace().next().is_some_and(|word| word.ends_with('?'));
        Ok(Self { nodes: vec![text.to_owned()], tail: String::new(), query, verbatim: true })
    }

    /// Whether the unit asks for an answer.
    #[must_use]
    pub fn is_query(&self) -> bool {
        self.query
    }

    fn is_common(&self) -> bool {
        self.verbatim || self.nodes[0].starts_with('*')
    }

    /// The unit on its own, from the root.
    fn absolute(&self) -> String {
        format!("{}{}", self.nodes.join(":"), self.tail)
    }
}

fn check_characters(text: &str) -> Result<(), SyntaxError> {
    if text.is_empty() {
        return Err(SyntaxError::Empty);
    }
    let mut quote = None;
    for found in text.chars() {
        match (quote, found) {
            (None, '"' | '\'') => quote = Some(found),
            (Some(open), _) if open == found => quote = None,
            _ => {}
        }
        let separates = quote.is_none() && found == ';';
        if separates || !(found == ' ' || found.is_ascii_graphic()) {
            return Err(SyntaxError::Character { command: text.to_owned(), found });
        }
    }
    Ok(())
}

fn is_mnemonic(node: &str, may_be_common: bool) -> bool {
    let word = if may_be_common { node.strip_prefix('*').unwrap_or(node) } else { node };
    word.len() <= LONGEST_MNEMONIC
        && word.starts_with(|c: char| c.is_ascii_alphabetic())
        && word.chars().all(|c| c.is_ascii_alphanumeric() || c == '_')
}

/// A program message: units joined by `;`, each header as short as the header path lets it be.
///
/// The path rules are those of SCPI-1999 vol. 1, 6.2.4: a message starts at the root; each unit sets the path to its
/// header less the last mnemonic, and the next header starts there; a leading `:` starts at the root; a common
/// command neither uses nor changes the path. So `MEAS:VOLT?` and `MEAS:CURR?` are sent as `MEAS:VOLT?;CURR?`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    text: String,
    queries: usize,
    only_asks: bool,
}

impl Message {
    /// Joins `units` in order.
    #[must_use]
    pub fn of(units: &[Unit]) -> Self {
        let mut text = String::new();
        let mut path: &[String] = &[];
        for (index, unit) in units.iter().enumerate() {
            if index > 0 {
                text.push(';');
            }
            if unit.is_common() {
                text.push_str(&unit.absolute());
                continue;
            }
            text.push_str(&relative(unit, path));
            path = &unit.nodes[..unit.nodes.len() - 1];
        }
        let queries = units.iter().filter(|unit| unit.query).count();
        Self { text, queries, only_asks: queries == units.len() }
    }

    /// The message without its terminator.
    #[must_use]
    pub fn text(&self) -> &str {
        &self.text
    }

    /// How many of its units ask for an answer.
    #[must_use]
    pub fn queries(&self) -> usize {
        self.queries
    }

    /// Whether every unit is a query, so that nothing is set.
    #[must_use]
    pub fn only_asks(&self) -> bool {
        self.only_asks
    }
}

impl fmt::Display for Message {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

/// The unit as seen from `path`.
fn relative(unit: &Unit, path: &[String]) -> String {
    let same = |a: &String, b: &String| a.eq_ignore_ascii_case(b);
    let below = unit.nodes.len() > path.len() && path.iter().zip(&unit.nodes).all(|(a, b)| same(a, b));
    if below {
        format!("{}{}", unit.nodes[path.len()..].join(":"), unit.tail)
    } else {
        format!(":{}", unit.absolute())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn join(units: &[&str]) -> String {
        let units: Vec<_> = units.iter().map(|unit| Unit::parse(unit).unwrap()).collect();
        Message::of(&units).to_string()
    }

    /// The cases of SCPI-1999 vol. 1, 6.2.4, and IEEE 488.2 for common commands.
    #[test]
    fn a_header_starts_where_the_path_stands() {
        assert_eq!(join(&["MEAS:VOLT?", "MEAS:CURR?"]), "MEAS:VOLT?;CURR?");
        assert_eq!(join(&["MEAS:VOLT?", "*STB?", "MEAS:CURR?"]), "MEAS:VOLT?;*STB?;CURR?");
        assert_eq!(join(&["MEAS:VOLT?", "STAT:QUES:COND?"]), "MEAS:VOLT?;:STAT:QUES:COND?");
        assert_eq!(join(&["VOLT?", "CURR?", "OUTP?"]), "VOLT?;CURR?;OUTP?");
        assert_eq!(join(&["STAT:QUES:COND?", "STAT:OPER:COND?"]), "STAT:QUES:COND?;:STAT:OPER:COND?");
        assert_eq!(join(&["SOUR:VOLT 1", "SOUR:VOLT:PROT 2"]), "SOUR:VOLT 1;VOLT:PROT 2");
        assert_eq!(join(&["meas:volt?", "MEAS:CURR?"]), "meas:volt?;CURR?");
    }

    #[test]
    fn a_message_knows_whether_it_only_asks() {
        let message = |units: &[&str]| {
            Message::of(&units.iter().map(|unit| Unit::parse(unit).unwrap()).collect::<Vec<_>>())
        };
        let asks = message(&["MEAS:VOLT? (@2)", "*IDN?"]);
        assert_eq!((asks.queries(), asks.only_asks()), (2, true));
        let sets = message(&["VOLT?", "OUTP ON"]);
        assert_eq!((sets.queries(), sets.only_asks()), (1, false));
        // A question mark in a parameter asks nothing.
        assert!(!message(&["DISP:TEXT \"on?\""]).only_asks());
        assert!(!Message::of(&[Unit::verbatim("OUT1 ?").unwrap()]).only_asks());
    }

    #[test]
    fn what_is_no_command_is_refused() {
        let error = |text: &str| Unit::parse(text).unwrap_err();
        assert_eq!(error("  "), SyntaxError::Empty);
        assert!(matches!(error("VOLT?;OUTP ON"), SyntaxError::Character { found: ';', .. }));
        assert!(matches!(error("VOLT?\nOUTP ON"), SyntaxError::Character { found: '\n', .. }));
        assert!(matches!(Unit::verbatim("A?\rB"), Err(SyntaxError::Character { found: '\r', .. })));
        for bad in ["1VOLT?", "MEAS::VOLT?", "MEASUREVOLTAGE?", "A:*IDN?", "?", "VÖLT?"] {
            assert!(Unit::parse(bad).is_err(), "{bad}");
        }
    }
}
