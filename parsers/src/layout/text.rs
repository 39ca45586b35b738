//! The TOML text of a layout, with the line of everything in it.
//!
//! A [`Section`] is asked for its keys one by one; what was never asked for is unknown, and the
//! keys that were asked for are what it is compared with.

use super::error::LayoutError;
use crate::notation;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Where a layout came from, to say where something is wrong.
#[derive(Clone, Copy)]
pub(super) struct Source<'t> {
    pub text: &'t str,
    pub origin: &'t str,
}

impl<'t> Source<'t> {
    /// The whole layout.
    pub fn parse(self) -> Result<Section<'t>, LayoutError> {
        match DeTable::parse(self.text) {
            Ok(table) => Ok(Section::new(self, "the layout", table.span(), table.into_inner())),
            Err(error) => {
                let at = error.span().unwrap_or(0..0);
                Err(self.error(at, error.message().replace('\n', "; "), "a TOML file"))
            }
        }
    }

    pub fn error(
        &self,
        at: Range<usize>,
        wrong: impl Into<String>,
        expected: impl Into<String>,
    ) -> LayoutError {
        let before = self.text.get(..at.start).unwrap_or(self.text);
        LayoutError {
            origin: self.origin.to_owned(),
            line: 1 + before.bytes().filter(|byte| *byte == b'\n').count(),
            wrong: wrong.into(),
            expected: expected.into(),
            suggestion: None,
        }
    }

    /// The same, where `found` may be one of `names` misspelt.
    pub fn misspelt(&self, at: Range<usize>, what: &str, found: &str, names: &[&str]) -> LayoutError {
        let mut error = self.error(at, format!("{found:?} is not {what}"), one_of(names));
        error.suggestion = nearest(found, names).map(str::to_owned);
        error
    }
}

/// A value with its place in the text.
pub(super) type At<T> = (T, Range<usize>);

/// Byte strings and what they mean.
pub(super) type Codes<T> = Vec<(Vec<u8>, T)>;

/// One table of the layout.
pub(super) struct Section<'t> {
    pub source: Source<'t>,
    /// What it is called in messages.
    what: &'static str,
    /// Where it begins.
    pub at: Range<usize>,
    table: DeTable<'t>,
    asked: Vec<&'static str>,
}

impl<'t> Section<'t> {
    fn new(source: Source<'t>, what: &'static str, at: Range<usize>, table: DeTable<'t>) -> Self {
        Self { source, what, at, table, asked: Vec::new() }
    }

    fn take(&mut self, key: &'static str) -> Option<Spanned<DeValue<'t>>> {
        self.asked.push(key);
        self.table.remove(key)
    }

    /// Refuses what was never asked for.
    pub fn finish(self) -> Result<(), LayoutError> {
        match self.table.iter().next() {
            None => Ok(()),
            Some((key, _)) => {
                let what = format!("a key of {}", self.what);
                Err(self.source.misspelt(key.span(), &what, key.get_ref(), &self.asked))
            }
        }
    }

    /// An error about this section as a whole.
    pub fn error(&self, wrong: impl Into<String>, expected: impl Into<String>) -> LayoutError {
        self.source.error(self.at.clone(), wrong, expected)
    }

    fn kind(&self, key: &str, value: &Spanned<DeValue<'_>>, expected: &str) -> LayoutError {
        let wrong = format!("{key} is a TOML {}", value.get_ref().type_str());
        self.source.error(value.span(), wrong, expected)
    }

    pub fn text(&mut self, key: &'static str) -> Result<Option<At<String>>, LayoutError> {
        let Some(value) = self.take(key) else { return Ok(None) };
        match value.get_ref().as_str() {
            Some(text) => Ok(Some((text.to_owned(), value.span()))),
            None => Err(self.kind(key, &value, "a text in quotes")),
        }
    }

    pub fn needed_text(&mut self, key: &'static str) -> Result<At<String>, LayoutError> {
        match self.text(key)? {
            Some((text, at)) if text.trim().is_empty() => {
                Err(self.source.error(at, format!("{key} is empty"), "a text"))
            }
            Some(found) => Ok(found),
            None => Err(self.error(format!("{} has no {key}", self.what), format!("{key} = \"...\""))),
        }
    }

    /// Bytes in the notation.
    pub fn bytes(&mut self, key: &'static str) -> Result<Option<At<Vec<u8>>>, LayoutError> {
        let Some((text, at)) = self.text(key)? else { return Ok(None) };
        Ok(Some((self.notation(key, &text, &at)?, at)))
    }

    /// One byte string or a list of them, in the notation.
    pub fn byte_list(&mut self, key: &'static str) -> Result<Option<At<Vec<Vec<u8>>>>, LayoutError> {
        let Some(value) = self.take(key) else { return Ok(None) };
        let expected = "a text in quotes, or a list of them in brackets";
        let mut list = Vec::new();
        match value.get_ref() {
            DeValue::String(text) => list.push(self.notation(key, text, &value.span())?),
            DeValue::Array(items) => {
                for item in items.iter() {
                    let text = item.get_ref().as_str().ok_or_else(|| self.kind(key, item, expected))?;
                    list.push(self.notation(key, text, &item.span())?);
                }
            }
            _ => return Err(self.kind(key, &value, expected)),
        }
        Ok(Some((list, value.span())))
    }

    fn notation(&self, key: &str, text: &str, at: &Range<usize>) -> Result<Vec<u8>, LayoutError> {
        notation::from_text(text).map_err(|error| {
            let wrong = format!("{key} has {:?} at its character {}", error.found, error.at);
            self.source.error(
                at.clone(),
                wrong,
                "printable ASCII, a control name such as <CR>, or two hex digits such as <3C>",
            )
        })
    }

    /// A whole number within `range`.
    pub fn count(&mut self, key: &'static str, range: Range<u32>) -> Result<Option<At<u32>>, LayoutError> {
        let Some(value) = self.take(key) else { return Ok(None) };
        let number = value.get_ref().as_integer().and_then(|digits| {
            u32::from_str_radix(digits.as_str(), digits.radix()).ok().filter(|number| range.contains(number))
        });
        match number {
            Some(number) => Ok(Some((number, value.span()))),
            None => {
                let expected = format!("a whole number from {} to {}", range.start, range.end - 1);
                Err(self.source.error(value.span(), format!("{key} is out of range or no number"), expected))
            }
        }
    }

    pub fn flag(&mut self, key: &'static str) -> Result<Option<At<bool>>, LayoutError> {
        let Some(value) = self.take(key) else { return Ok(None) };
        match value.get_ref().as_bool() {
            Some(flag) => Ok(Some((flag, value.span()))),
            None => Err(self.kind(key, &value, "true or false")),
        }
    }

    /// One of the named choices.
    pub fn choice<T: Copy>(
        &mut self,
        key: &'static str,
        choices: &[(&str, T)],
    ) -> Result<Option<At<T>>, LayoutError> {
        let Some((text, at)) = self.text(key)? else { return Ok(None) };
        Ok(Some((self.chosen(key, &text, &at, choices)?, at)))
    }

    fn chosen<T: Copy>(
        &self,
        key: &str,
        text: &str,
        at: &Range<usize>,
        choices: &[(&str, T)],
    ) -> Result<T, LayoutError> {
        let names: Vec<&str> = choices.iter().map(|(name, _)| *name).collect();
        choices
            .iter()
            .find(|(name, _)| *name == text)
            .map(|(_, choice)| *choice)
            .ok_or_else(|| self.source.misspelt(at.clone(), &format!("a value of {key}"), text, &names))
    }

    /// A table from byte strings in the notation to named choices.
    pub fn map<T: Copy>(
        &mut self,
        key: &'static str,
        choices: &[(&str, T)],
    ) -> Result<Option<At<Codes<T>>>, LayoutError> {
        let Some(value) = self.take(key) else { return Ok(None) };
        let expected = "a table such as { R = \"right\", L = \"left\" }";
        let DeValue::Table(table) = value.get_ref() else { return Err(self.kind(key, &value, expected)) };
        if table.is_empty() {
            return Err(self.source.error(
                value.span(),
                format!("{key} is empty: nothing can match"),
                expected,
            ));
        }
        let mut map = Vec::new();
        for (code, meaning) in table.iter() {
            let name = meaning.get_ref().as_str().ok_or_else(|| self.kind(key, meaning, expected))?;
            let choice = self.chosen(key, name, &meaning.span(), choices)?;
            map.push((self.notation(key, code.get_ref(), &code.span())?, choice));
        }
        Ok(Some((map, value.span())))
    }

    /// The table of this name; an empty one where there is none.
    pub fn section(&mut self, key: &'static str, what: &'static str) -> Result<Self, LayoutError> {
        match self.take(key) {
            None => Ok(Self::new(self.source, what, self.at.clone(), DeTable::new())),
            Some(value) => self.as_section(key, what, value),
        }
    }

    /// Every table of the list of this name.
    pub fn sections(&mut self, key: &'static str, what: &'static str) -> Result<Vec<Self>, LayoutError> {
        let Some(value) = self.take(key) else { return Ok(Vec::new()) };
        let span = value.span();
        match value.into_inner() {
            DeValue::Array(items) => items.into_iter().map(|item| self.as_section(key, what, item)).collect(),
            _ => Err(self.source.error(
                span,
                format!("{key} is no list"),
                format!("[[{key}]] in double brackets"),
            )),
        }
    }

    pub fn is_empty(&self) -> bool {
        self.table.is_empty()
    }

    fn as_section(
        &self,
        key: &'static str,
        what: &'static str,
        value: Spanned<DeValue<'t>>,
    ) -> Result<Self, LayoutError> {
        let span = value.span();
        match value.into_inner() {
            DeValue::Table(table) => Ok(Self::new(self.source, what, span, table)),
            other => {
                let wrong = format!("{key} is a TOML {}", other.type_str());
                Err(self.source.error(span, wrong, format!("a table [{key}]")))
            }
        }
    }
}

/// `one of "a", "b", "c"`, for messages.
pub(super) fn one_of(names: &[&str]) -> String {
    let quoted: Vec<String> = names.iter().map(|name| format!("{name:?}")).collect();
    match quoted.as_slice() {
        [] => "nothing here".to_owned(),
        [one] => one.clone(),
        _ => format!("one of {}", quoted.join(", ")),
    }
}

/// The name that `found` most likely misspells: at most a third of its letters are wrong.
fn nearest<'n>(found: &str, names: &[&'n str]) -> Option<&'n str> {
    let near =
        names.iter().map(|name| (distance(found, name), *name)).min_by_key(|(distance, _)| *distance)?;
    (near.0 <= 1 + found.len() / 3).then_some(near.1)
}

/// The number of single-character edits between two words (Levenshtein 1966).
fn distance(from: &str, to: &str) -> usize {
    let to: Vec<char> = to.chars().collect();
    let mut row: Vec<usize> = (0..=to.len()).collect();
    for (i, a) in from.chars().enumerate() {
        let mut diagonal = std::mem::replace(&mut row[0], i + 1);
        for (j, b) in to.iter().enumerate() {
            let changed = diagonal + usize::from(a != *b);
            diagonal = row[j + 1];
            row[j + 1] = changed.min(diagonal + 1).min(row[j] + 1);
        }
    }
    row[to.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edits_are_counted() {
        assert_eq!(distance("spher", "sphere"), 1);
        assert_eq!(distance("axsi", "axis"), 2);
        assert_eq!(distance("", "pd"), 2);
        assert_eq!(nearest("cilinder", &["sphere", "cylinder"]), Some("cylinder"));
        assert_eq!(nearest("banana", &["sphere", "cylinder"]), None);
    }

    #[test]
    fn an_error_names_the_line_of_what_it_is_about() {
        let source = Source { text: "a = 1\n\n[[part]]\nlenght = 2\n", origin: "x.toml" };
        let mut section = source.parse().unwrap();
        section.count("a", 0..9).unwrap();
        let mut parts = section.sections("part", "a part").unwrap();
        let mut part = parts.remove(0);
        assert_eq!(part.error("", "").line, 3);
        part.count("length", 0..9).unwrap();
        let error = part.finish().unwrap_err();
        assert_eq!(
            error.to_string(),
            "x.toml, line 4: \"lenght\" is not a key of a part; expected \"length\"; did you mean \"length\"?"
        );
    }
}
