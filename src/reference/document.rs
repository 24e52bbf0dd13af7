//! A TOML document walked table by table, with the line of every key at hand for the message.

use super::error::{ProfileFault, ProfileProblem};
use std::ops::Range;
use toml::de::{DeTable, DeValue};

/// A name this similar (Jaro-Winkler, 0 to 1) to an unknown one is suggested for it. Trials with one or two letters
/// dropped, doubled or swapped in a profile's own keys score 0.9 and more, unrelated keys less than 0.75.
const SUGGEST_FROM: f64 = 0.8;

/// A single slip of the finger is always suggested: Jaro-Winkler underrates it in words of three letters.
const ONE_SLIP: usize = 1;

type Result<T> = std::result::Result<T, ProfileFault>;

/// One table of the document.
#[derive(Clone)]
pub(super) struct Section<'a> {
    text: &'a str,
    table: &'a DeTable<'a>,
    span: Range<usize>,
    /// What messages call it.
    pub(super) place: String,
}

/// A text value with its line in the file.
#[derive(Clone)]
pub(super) struct Text {
    pub(super) value: String,
    pub(super) line: usize,
}

/// Parses `text`; `read` gets the document's root.
pub(super) fn parse<T>(text: &str, read: impl FnOnce(&Section) -> Result<T>) -> Result<T> {
    let document = DeTable::parse(text).map_err(|error| {
        let line = error.span().map_or(1, |span| line_at(text, span.start));
        ProfileFault::new(line, ProfileProblem::Syntax { message: error.message().replace('\n', "; ") })
    })?;
    read(&Section { text, table: document.get_ref(), span: 0..0, place: "the profile".to_owned() })
}

fn line_at(text: &str, offset: usize) -> usize {
    1 + text.as_bytes().iter().take(offset).filter(|byte| **byte == b'\n').count()
}

/// The one of `known` that is most like `found`, if it is like enough to be meant.
pub(super) fn nearest<'k>(found: &str, known: impl IntoIterator<Item = &'k str>) -> Option<String> {
    let found = found.to_lowercase();
    let likeness = |name: &str| {
        let name = name.to_lowercase();
        let one_slip = strsim::osa_distance(&found, &name) <= ONE_SLIP;
        if one_slip { 1.0 } else { strsim::jaro_winkler(&found, &name) }
    };
    known
        .into_iter()
        .map(|name| (likeness(name), name))
        .filter(|(likeness, _)| *likeness >= SUGGEST_FROM)
        .max_by(|(a, _), (b, _)| a.total_cmp(b))
        .map(|(_, name)| name.to_owned())
}

fn kind_of(value: &DeValue) -> &'static str {
    match value {
        DeValue::String(_) => "text",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// The number in `value`; `None` if it is no number, or one too large for an `f64`.
fn number_of(value: &DeValue) -> Option<f64> {
    match value {
        #[expect(clippy::cast_precision_loss, reason = "no quantity of a profile needs 16 figures")]
        DeValue::Integer(whole) => i64::from_str_radix(whole.as_str(), whole.radix()).ok().map(|n| n as f64),
        DeValue::Float(float) => float.as_str().parse().ok(),
        _ => None,
    }
}

impl<'a> Section<'a> {
    /// A fault in the line where the table starts.
    pub(super) fn fault(&self, problem: ProfileProblem) -> ProfileFault {
        ProfileFault::new(self.line(), problem)
    }

    /// A fault in the line of `key`, or of the table if the key is not there.
    pub(super) fn fault_of(&self, key: &str, problem: ProfileProblem) -> ProfileFault {
        ProfileFault::new(self.line_of(key), problem)
    }

    /// Line in which the table starts.
    pub(super) fn line(&self) -> usize {
        line_at(self.text, self.span.start)
    }

    /// Line of `key`, or of the table if the key is not there.
    pub(super) fn line_of(&self, key: &str) -> usize {
        self.entry(key).map_or(self.line(), |(_, span)| line_at(self.text, span.start))
    }

    fn entry(&self, key: &str) -> Option<(&'a DeValue<'a>, Range<usize>)> {
        let (name, value) = self.table.iter().find(|(name, _)| name.get_ref() == key)?;
        Some((value.get_ref(), name.span()))
    }

    /// Whether the table has `key`.
    pub(super) fn has(&self, key: &str) -> bool {
        self.entry(key).is_some()
    }

    /// Refuses every key but `known`, the first in the file first.
    pub(super) fn only(&self, known: &[&str]) -> Result<()> {
        let unknown = self
            .table
            .iter()
            .map(|(name, _)| name)
            .filter(|name| !known.contains(&name.get_ref().as_ref()))
            .min_by_key(|name| name.span().start);
        let Some(name) = unknown else { return Ok(()) };
        Err(self.fault_of(
            name.get_ref(),
            ProfileProblem::UnknownKey {
                key: name.get_ref().to_string(),
                place: self.place.clone(),
                nearest: nearest(name.get_ref(), known.iter().copied()),
                known: known.iter().map(ToString::to_string).collect(),
            },
        ))
    }

    /// The fault of a `key` that must be there and is not.
    pub(super) fn missing(&self, key: &str, meaning: &str) -> ProfileFault {
        self.fault(ProfileProblem::MissingKey {
            key: key.to_owned(),
            place: self.place.clone(),
            meaning: meaning.to_owned(),
        })
    }

    fn wrong_type(&self, key: &str, found: &DeValue, expected: &str) -> ProfileFault {
        self.fault_of(
            key,
            ProfileProblem::WrongType {
                key: key.to_owned(),
                place: self.place.clone(),
                found: kind_of(found).to_owned(),
                expected: expected.to_owned(),
            },
        )
    }

    /// The fault of a number that `key` must not have.
    pub(super) fn out_of_range(&self, key: &str, found: &str, expected: &str) -> ProfileFault {
        self.fault_of(
            key,
            ProfileProblem::OutOfRange {
                key: key.to_owned(),
                place: self.place.clone(),
                found: found.to_owned(),
                expected: expected.to_owned(),
            },
        )
    }

    /// A finite number, if the key is there.
    pub(super) fn number(&self, key: &str) -> Result<Option<f64>> {
        let Some((value, _)) = self.entry(key) else { return Ok(None) };
        match value {
            DeValue::Integer(_) | DeValue::Float(_) => match number_of(value) {
                Some(number) if number.is_finite() => Ok(Some(number)),
                Some(number) => Err(self.out_of_range(key, &number.to_string(), "a finite number")),
                None => Err(self.out_of_range(key, "too large", "a finite number")),
            },
            other => Err(self.wrong_type(key, other, "a number")),
        }
    }

    /// A whole number from 0 on, if the key is there.
    pub(super) fn count(&self, key: &str) -> Result<Option<usize>> {
        /// More boards or captures than anyone will learn from; below it every whole number is exact in an `f64`.
        const MOST: f64 = 1e9;
        let Some(number) = self.number(key)? else { return Ok(None) };
        if !(0.0..=MOST).contains(&number) || number.fract() != 0.0 {
            return Err(self.out_of_range(key, &number.to_string(), "a whole number from 0 on"));
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked above")]
        Ok(Some(number as usize))
    }

    /// True or false, if the key is there.
    pub(super) fn flag(&self, key: &str) -> Result<Option<bool>> {
        match self.entry(key) {
            None => Ok(None),
            Some((DeValue::Boolean(flag), _)) => Ok(Some(*flag)),
            Some((other, _)) => Err(self.wrong_type(key, other, "true or false (no quotes)")),
        }
    }

    /// A text, if the key is there.
    pub(super) fn text(&self, key: &str) -> Result<Option<Text>> {
        match self.entry(key) {
            None => Ok(None),
            Some((DeValue::String(text), span)) => {
                Ok(Some(Text { value: text.trim().to_owned(), line: line_at(self.text, span.start) }))
            }
            Some((other, _)) => Err(self.wrong_type(key, other, "text in double quotes")),
        }
    }

    /// A text that must be there and say something.
    pub(super) fn needed_text(&self, key: &str, meaning: &str) -> Result<Text> {
        let text = self.text(key)?.ok_or_else(|| self.missing(key, meaning))?;
        if text.value.is_empty() {
            let (key, place) = (key.to_owned(), self.place.clone());
            let expected = format!("it gives {meaning}");
            return Err(ProfileFault::new(text.line, ProfileProblem::Empty { key, place, expected }));
        }
        Ok(text)
    }

    /// A list of texts; empty if the key is not there.
    pub(super) fn texts(&self, key: &str) -> Result<Vec<Text>> {
        const EXPECTED: &str = "a list of texts in double quotes, as in [\"one\", \"two\"]";
        let Some((value, _)) = self.entry(key) else { return Ok(Vec::new()) };
        let DeValue::Array(items) = value else { return Err(self.wrong_type(key, value, EXPECTED)) };
        items
            .iter()
            .map(|item| match item.get_ref() {
                DeValue::String(text) => {
                    let line = line_at(self.text, item.span().start);
                    Ok(Text { value: text.trim().to_owned(), line })
                }
                other => {
                    let mut fault = self.wrong_type(key, other, EXPECTED);
                    fault.line = line_at(self.text, item.span().start);
                    Err(fault)
                }
            })
            .collect()
    }

    /// The table under `key`, if it is there; messages call it `place`.
    pub(super) fn table(&self, key: &str, place: String) -> Result<Option<Section<'a>>> {
        let Some((value, span)) = self.entry(key) else { return Ok(None) };
        let DeValue::Table(table) = value else {
            return Err(self.wrong_type(key, value, "a table"));
        };
        Ok(Some(Section { text: self.text, table, span, place }))
    }

    /// The tables of the list under `key`; none if it is not there. Messages call them `[[key]] number`.
    pub(super) fn tables(&self, key: &str) -> Result<Vec<Section<'a>>> {
        let Some((value, _)) = self.entry(key) else { return Ok(Vec::new()) };
        let DeValue::Array(items) = value else {
            return Err(self.wrong_type(key, value, &format!("a list of tables, each under [[{key}]]")));
        };
        items
            .iter()
            .enumerate()
            .map(|(index, item)| match item.get_ref() {
                DeValue::Table(table) => {
                    let place = format!("[[{key}]] {}", index + 1);
                    Ok(Section { text: self.text, table, span: item.span(), place })
                }
                other => Err(self.wrong_type(key, other, &format!("a table under [[{key}]]"))),
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_finger_finds_the_key_that_was_meant() {
        let known = ["mean_power_w", "peak_power_w", "activity_w", "duration_s", "energy_j", "name"];
        for (typo, meant) in [
            ("mean_pwoer_w", "mean_power_w"),
            ("peakpower_w", "peak_power_w"),
            ("duration", "duration_s"),
            ("Energy_J", "energy_j"),
            ("nmae", "name"),
        ] {
            assert_eq!(nearest(typo, known).as_deref(), Some(meant), "{typo}");
        }
        assert_eq!(nearest("colour", known), None);
    }

    #[test]
    fn lines_are_those_of_the_key() {
        let fault = parse("a = 1\n\n[b]\nc = 'x'\n", |root| {
            root.table("b", "[b]".into())?.expect("b is there").number("c")
        })
        .unwrap_err();
        assert_eq!(fault.to_string(), "line 4: `c` in [b] is text; a number is needed");
    }
}
