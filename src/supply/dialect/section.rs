//! Reads a TOML document key by key, so that every slip can be named by file, line and key.

use std::cell::RefCell;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A key counts as meant by a misspelt one when at most this many letters differ.
const NEAR: usize = 3;

/// Why a dialect file is refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DialectError {
    /// The file cannot be read.
    #[error("{path}: cannot read the dialect: {detail}")]
    Unreadable {
        /// The file.
        path: String,
        /// What the operating system said.
        detail: String,
    },
    /// Not TOML.
    #[error("{path}:{line}: not valid TOML: {detail}")]
    Syntax {
        /// The file.
        path: String,
        /// Line, from 1.
        line: usize,
        /// What the parser said.
        detail: String,
    },
    /// A key that a dialect does not have.
    #[error("{path}:{line}: unknown key '{key}'{}", did_you_mean(.near.as_ref()))]
    UnknownKey {
        /// The file.
        path: String,
        /// Line, from 1.
        line: usize,
        /// The key, with its section.
        key: String,
        /// The nearest key that there is.
        near: Option<String>,
    },
    /// A key with a value that it cannot have.
    #[error("{path}:{line}: key '{key}': {found}; expected {expected}")]
    Value {
        /// The file.
        path: String,
        /// Line, from 1.
        line: usize,
        /// The key, with its section.
        key: String,
        /// What is wrong with the value.
        found: String,
        /// What it may be.
        expected: String,
    },
    /// A key that must be there.
    #[error("{path}:{line}: key '{key}' is missing: {why}")]
    Missing {
        /// The file.
        path: String,
        /// Line of the section, from 1.
        line: usize,
        /// The key, with its section.
        key: String,
        /// What needs it.
        why: String,
    },
}

fn did_you_mean(near: Option<&String>) -> String {
    near.map_or_else(String::new, |near| format!("; did you mean '{near}'?"))
}

/// The text of a dialect and where it came from.
pub(super) struct Source<'a> {
    pub(super) path: &'a str,
    pub(super) text: &'a str,
}

impl Source<'_> {
    /// Line of a byte, from 1.
    fn line(&self, at: usize) -> usize {
        1 + self.text.bytes().take(at).filter(|byte| *byte == b'\n').count()
    }
}

/// Parses the document.
pub(super) fn parse<'a>(source: &Source<'a>) -> Result<Spanned<DeTable<'a>>, DialectError> {
    DeTable::parse(source.text).map_err(|error| DialectError::Syntax {
        path: source.path.to_owned(),
        line: source.line(error.span().map_or(0, |span| span.start)),
        detail: error.message().to_owned(),
    })
}

/// One table of the document. Keys that were never asked for are refused by [`Section::finish`].
pub(in crate::supply) struct Section<'a> {
    source: &'a Source<'a>,
    name: String,
    line: usize,
    table: Option<&'a DeTable<'a>>,
    asked: RefCell<Vec<&'static str>>,
}

impl<'a> Section<'a> {
    pub(super) fn root(source: &'a Source<'a>, table: &'a DeTable<'a>) -> Self {
        Self { source, name: String::new(), line: 1, table: Some(table), asked: RefCell::default() }
    }

    /// A table within this one; one that is not there has no keys.
    pub(in crate::supply) fn section(&self, key: &'static str) -> Result<Section<'a>, DialectError> {
        let found = self.find(key);
        let table = match found.map(Spanned::get_ref) {
            Some(DeValue::Table(table)) => Some(table),
            None => None,
            Some(other) => return Err(self.wrong(key, &describe(other), &format!("a table [{key}]"))),
        };
        let line = found.map_or(self.line, |value| self.source.line(value.span().start));
        Ok(Self { source: self.source, name: self.full(key), line, table, asked: RefCell::default() })
    }

    /// Whether the table is in the file.
    pub(in crate::supply) fn is_there(&self) -> bool {
        self.table.is_some()
    }

    fn find(&self, key: &'static str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.asked.borrow_mut().push(key);
        self.table?.iter().find(|(name, _)| name.get_ref() == key).map(|(_, value)| value)
    }

    fn full(&self, key: &str) -> String {
        if self.name.is_empty() { key.to_owned() } else { format!("{}.{key}", self.name) }
    }

    fn line_of(&self, key: &str) -> usize {
        let entry = self.table.and_then(|table| table.iter().find(|(name, _)| name.get_ref() == key));
        entry.map_or(self.line, |(_, value)| self.source.line(value.span().start))
    }

    /// The error for a value that `key` cannot have.
    pub(in crate::supply) fn wrong(&self, key: &str, found: &str, expected: &str) -> DialectError {
        DialectError::Value {
            path: self.source.path.to_owned(),
            line: self.line_of(key),
            key: self.full(key),
            found: found.to_owned(),
            expected: expected.to_owned(),
        }
    }

    /// The error for a key that should be there.
    pub(in crate::supply) fn missing(&self, key: &str, why: &str) -> DialectError {
        DialectError::Missing {
            path: self.source.path.to_owned(),
            line: self.line,
            key: self.full(key),
            why: why.to_owned(),
        }
    }

    /// A text.
    pub(in crate::supply) fn text(&self, key: &'static str) -> Result<Option<&'a str>, DialectError> {
        match self.find(key).map(Spanned::get_ref) {
            None => Ok(None),
            Some(DeValue::String(text)) => Ok(Some(text.as_ref())),
            Some(other) => Err(self.wrong(key, &describe(other), "a text in quotes")),
        }
    }

    /// A switch.
    pub(in crate::supply) fn switch(&self, key: &'static str, usual: bool) -> Result<bool, DialectError> {
        match self.find(key).map(Spanned::get_ref) {
            None => Ok(usual),
            Some(DeValue::Boolean(value)) => Ok(*value),
            Some(other) => Err(self.wrong(key, &describe(other), "true or false")),
        }
    }

    /// A number within `low..=high`.
    pub(in crate::supply) fn number(
        &self,
        key: &'static str,
        (low, high): (f64, f64),
    ) -> Result<Option<f64>, DialectError> {
        let text = match self.find(key).map(Spanned::get_ref) {
            None => return Ok(None),
            Some(DeValue::Integer(number)) => number.to_string(),
            Some(DeValue::Float(number)) => number.to_string(),
            Some(other) => return Err(self.wrong(key, &describe(other), "a number")),
        };
        match text.replace('_', "").parse::<f64>() {
            Ok(value) if (low..=high).contains(&value) => Ok(Some(value)),
            _ => Err(self.wrong(key, &text, &format!("a number from {low} to {high}"))),
        }
    }

    /// A whole number within `low..=high`.
    pub(in crate::supply) fn whole(
        &self,
        key: &'static str,
        (low, high): (u32, u32),
    ) -> Result<Option<u32>, DialectError> {
        let Some(value) = self.number(key, (low.into(), high.into()))? else { return Ok(None) };
        if value.fract() != 0.0 {
            return Err(self.wrong(key, &value.to_string(), "a whole number"));
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole, within u32")]
        Ok(Some(value as u32))
    }

    /// One of several words.
    pub(in crate::supply) fn one_of<T: Copy>(
        &self,
        key: &'static str,
        words: &[(&str, T)],
    ) -> Result<Option<T>, DialectError> {
        let Some(text) = self.text(key)? else { return Ok(None) };
        self.word(key, text, words).map(Some)
    }

    /// A list of words, each one of several.
    pub(in crate::supply) fn list_of<T: Copy>(
        &self,
        key: &'static str,
        words: &[(&str, T)],
    ) -> Result<Option<Vec<T>>, DialectError> {
        let items = match self.find(key).map(Spanned::get_ref) {
            None => return Ok(None),
            Some(DeValue::Array(items)) => items,
            Some(other) => return Err(self.wrong(key, &describe(other), "a list of texts")),
        };
        let read = items.iter().map(|item| match item.get_ref() {
            DeValue::String(text) => self.word(key, text, words),
            other => Err(self.wrong(key, &describe(other), "a list of texts")),
        });
        read.collect::<Result<_, _>>().map(Some)
    }

    fn word<T: Copy>(&self, key: &str, text: &str, words: &[(&str, T)]) -> Result<T, DialectError> {
        words.iter().find(|(word, _)| *word == text).map(|(_, meaning)| *meaning).ok_or_else(|| {
            let known: Vec<_> = words.iter().map(|(word, _)| format!("'{word}'")).collect();
            self.wrong(key, &format!("'{text}'"), &known.join(", "))
        })
    }

    /// Refuses the first key that nothing asked for.
    pub(in crate::supply) fn finish(&self) -> Result<(), DialectError> {
        let asked = self.asked.borrow();
        let mut unknown: Vec<_> = self
            .table
            .into_iter()
            .flat_map(|table| table.iter())
            .filter(|(key, _)| !asked.contains(&key.get_ref().as_ref()))
            .map(|(key, _)| (key.span().start, key.get_ref().as_ref()))
            .collect();
        unknown.sort_unstable();
        let Some((at, key)) = unknown.first() else { return Ok(()) };
        let near = asked.iter().map(|known| (strsim::damerau_levenshtein(known, key), *known)).min();
        Err(DialectError::UnknownKey {
            path: self.source.path.to_owned(),
            line: self.source.line(*at),
            key: self.full(key),
            near: near.filter(|(distance, _)| *distance <= NEAR).map(|(_, known)| self.full(known)),
        })
    }
}

fn describe(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => format!("'{text}'"),
        DeValue::Integer(number) => number.to_string(),
        DeValue::Float(number) => number.to_string(),
        DeValue::Boolean(value) => value.to_string(),
        DeValue::Datetime(value) => value.to_string(),
        DeValue::Array(_) => "a list".to_owned(),
        DeValue::Table(_) => "a table".to_owned(),
    }
}
