//! A table of the sheet, read key by key with its places.
//!
//! The keys asked for are the known keys: [`Table::finish`] names every other key together with the nearest known
//! one. Ask for all keys first, call `finish`, and only then report a missing one, so that a misspelt key is
//! reported as misspelt and not as missing.

use super::source::{Source, article, finite};
use crate::bench::error::{BenchError, Place};
use crate::quantity::{nearest, one_line};
use std::borrow::Cow;
use std::cell::RefCell;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// One table and the keys asked of it.
pub struct Table<'t> {
    source: &'t Source<'t>,
    /// As messages name it, e.g. `[instruments.scope]`.
    pub name: String,
    entries: &'t DeTable<'t>,
    offset: usize,
    asked: RefCell<Vec<String>>,
}

/// A string or a whole number, for columns named either way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NameOrNumber {
    Name(String),
    /// 1-based.
    Number(usize),
}

impl<'t> Table<'t> {
    pub fn root(source: &'t Source<'t>, entries: &'t DeTable<'t>) -> Self {
        Table::new(source, "the sheet".into(), entries, 0)
    }

    fn new(source: &'t Source<'t>, name: String, entries: &'t DeTable<'t>, offset: usize) -> Self {
        Table {
            source,
            name,
            entries,
            offset,
            asked: RefCell::default(),
        }
    }

    /// Where the table begins.
    pub fn place(&self) -> Place {
        self.source.place(self.offset)
    }

    /// Where the value of a key stands, or the table where the key is absent.
    pub fn place_of(&self, key: &str) -> Place {
        match self.entries.get_key_value(key) {
            Some((_, value)) => self.source.place(value.span().start),
            None => self.place(),
        }
    }

    fn get(&self, key: &str) -> Option<&'t Spanned<DeValue<'t>>> {
        if !self.asked.borrow().iter().any(|k| k == key) {
            self.asked.borrow_mut().push(key.to_string());
        }
        self.entries.get(key)
    }

    fn wrong<T>(
        &self,
        key: &str,
        value: &Spanned<DeValue<'_>>,
        expected: &str,
    ) -> Result<T, BenchError> {
        Err(BenchError::WrongType {
            place: self.source.place(value.span().start),
            key: key.to_string(),
            table: self.name.as_str().into(),
            found: format!("{} {}", article(value.get_ref()), self.excerpt(value)),
            expected: expected.to_string(),
        })
    }

    fn excerpt(&self, value: &Spanned<DeValue<'_>>) -> String {
        let text = self.source.text.get(value.span()).unwrap_or("");
        let short: String = text.chars().take(40).collect();
        if text.chars().count() > 40 || short.contains('\n') {
            String::new()
        } else {
            format!("({short})")
        }
    }

    /// A text of one line that shows every character it holds.
    pub fn text(&self, key: &str) -> Result<Option<String>, BenchError> {
        let text = self.free_text(key)?;
        match text.as_deref().map(one_line) {
            Some(Cow::Owned(shown)) => self.invalid(
                key,
                format!("`{key}` is \"{shown}\", expected one line without invisible characters"),
            ),
            _ => Ok(text),
        }
    }

    /// A text that may have several lines.
    pub fn free_text(&self, key: &str) -> Result<Option<String>, BenchError> {
        match self.get(key) {
            None => Ok(None),
            Some(value) => match value.get_ref().as_str() {
                Some(text) => Ok(Some(text.to_string())),
                None => self.wrong(key, value, "a text in quotes"),
            },
        }
    }

    /// A finite number, whole or not.
    pub fn number(&self, key: &str) -> Result<Option<f64>, BenchError> {
        match self.get(key) {
            None => Ok(None),
            Some(value) => match finite(value.get_ref()) {
                Some(number) => Ok(Some(number)),
                None => self.wrong(key, value, "a finite number"),
            },
        }
    }

    /// A number above zero.
    pub fn positive(&self, key: &str) -> Result<Option<f64>, BenchError> {
        match (self.number(key)?, self.entries.get(key)) {
            (Some(number), Some(value)) if number <= 0.0 => {
                self.wrong(key, value, "a number above zero")
            }
            (number, _) => Ok(number),
        }
    }

    pub fn count(&self, key: &str) -> Result<Option<u32>, BenchError> {
        match self.get(key) {
            None => Ok(None),
            Some(value) => match finite(value.get_ref()) {
                Some(n) if n.fract() == 0.0 && (1.0..=1e6).contains(&n) => Ok(Some(n as u32)),
                _ => self.wrong(key, value, "a whole number from 1"),
            },
        }
    }

    pub fn flag(&self, key: &str) -> Result<Option<bool>, BenchError> {
        match self.get(key) {
            None => Ok(None),
            Some(value) => match value.get_ref().as_bool() {
                Some(flag) => Ok(Some(flag)),
                None => self.wrong(key, value, "true or false"),
            },
        }
    }

    pub fn numbers(&self, key: &str) -> Result<Option<Vec<f64>>, BenchError> {
        let Some(value) = self.get(key) else {
            return Ok(None);
        };
        let numbers = value.get_ref().as_array().and_then(|array| {
            let numbers: Option<Vec<f64>> = array.iter().map(|v| finite(v.get_ref())).collect();
            numbers
        });
        match numbers {
            Some(numbers) if !numbers.is_empty() => Ok(Some(numbers)),
            _ => self.wrong(key, value, "a list of numbers in [ ]"),
        }
    }

    /// A list of pairs of numbers.
    pub fn pairs(&self, key: &str) -> Result<Option<Vec<(f64, f64)>>, BenchError> {
        let Some(value) = self.get(key) else {
            return Ok(None);
        };
        let pair = |value: &DeValue<'_>| {
            let mut ends = value.as_array()?.iter().map(|v| finite(v.get_ref()));
            let pair = (ends.next()??, ends.next()??);
            ends.next().is_none().then_some(pair)
        };
        let pairs = value.get_ref().as_array().and_then(|array| {
            let pairs: Option<Vec<_>> = array.iter().map(|v| pair(v.get_ref())).collect();
            pairs
        });
        match pairs {
            Some(pairs) => Ok(Some(pairs)),
            None => self.wrong(
                key,
                value,
                "a list of pairs of numbers, e.g. [[0.01, 0.02]]",
            ),
        }
    }

    /// A text, or a list of texts.
    pub fn texts(&self, key: &str) -> Result<Option<Vec<String>>, BenchError> {
        let Some(value) = self.get(key) else {
            return Ok(None);
        };
        if let Some(text) = value.get_ref().as_str() {
            return Ok(Some(vec![text.to_string()]));
        }
        let texts = value.get_ref().as_array().and_then(|array| {
            let texts: Option<Vec<String>> = array
                .iter()
                .map(|v| v.get_ref().as_str().map(str::to_string))
                .collect();
            texts
        });
        match texts {
            Some(texts) => Ok(Some(texts)),
            None => self.wrong(key, value, "a text, or a list of texts in [ ]"),
        }
    }

    /// A column by name or number, or a list of such from which the first found is taken.
    pub fn columns(&self, key: &str) -> Result<Option<Vec<NameOrNumber>>, BenchError> {
        let expected = "a column name in quotes, a column number from 1, or a list of such";
        let one = |value: &DeValue<'_>| -> Option<NameOrNumber> {
            if let Some(text) = value.as_str() {
                return Some(NameOrNumber::Name(text.to_string()));
            }
            finite(value)
                .filter(|n| n.fract() == 0.0 && (1.0..=1e6).contains(n))
                .map(|n| NameOrNumber::Number(n as usize))
        };
        let Some(value) = self.get(key) else {
            return Ok(None);
        };
        let columns = match value.get_ref().as_array() {
            Some(array) => array.iter().map(|v| one(v.get_ref())).collect(),
            None => one(value.get_ref()).map(|c| vec![c]),
        };
        match columns {
            Some(columns) if !columns.is_empty() => Ok(Some(columns)),
            _ => self.wrong(key, value, expected),
        }
    }

    pub fn table(&self, key: &str) -> Result<Option<Table<'t>>, BenchError> {
        match self.get(key) {
            None => Ok(None),
            Some(value) => match value.get_ref().as_table() {
                Some(entries) => Ok(Some(Table::new(
                    self.source,
                    self.child_name(key),
                    entries,
                    value.span().start,
                ))),
                None => self.wrong(key, value, "a table, e.g. { … }"),
            },
        }
    }

    /// The tables of `[[key]]`, in order.
    pub fn tables(&self, key: &str) -> Result<Vec<Table<'t>>, BenchError> {
        let Some(value) = self.get(key) else {
            return Ok(Vec::new());
        };
        let Some(array) = value.get_ref().as_array() else {
            return self.wrong(
                key,
                value,
                &format!("a list of tables, each under [[{key}]]"),
            );
        };
        let mut tables = Vec::with_capacity(array.len());
        for (index, item) in array.iter().enumerate() {
            match item.get_ref().as_table() {
                Some(entries) => tables.push(Table::new(
                    self.source,
                    format!("[[{key}]] number {}", index + 1),
                    entries,
                    item.span().start,
                )),
                None => return self.wrong(key, item, "a table"),
            }
        }
        Ok(tables)
    }

    /// The named tables `[key.NAME]`, in the order of the sheet.
    pub fn named_tables(&self, key: &str) -> Result<Vec<(String, Table<'t>)>, BenchError> {
        let Some(parent) = self.table(key)? else {
            return Ok(Vec::new());
        };
        let mut names: Vec<(usize, String)> = parent
            .entries
            .keys()
            .map(|k| (k.span().start, k.get_ref().to_string()))
            .collect();
        names.sort();
        let mut tables = Vec::with_capacity(names.len());
        for (_, name) in names {
            if let Cow::Owned(shown) = one_line(&name) {
                return parent.invalid(
                    &name,
                    format!(
                        "\"{shown}\" is a name, expected one line without invisible characters"
                    ),
                );
            }
            if let Some(table) = parent.table(&name)? {
                tables.push((name, table));
            }
        }
        Ok(tables)
    }

    fn child_name(&self, key: &str) -> String {
        match self
            .name
            .strip_prefix('[')
            .and_then(|n| n.strip_suffix(']'))
        {
            Some(parent) => format!("[{parent}.{key}]"),
            None if self.name == "the sheet" => format!("[{key}]"),
            None => format!("`{key}` of {}", self.name),
        }
    }

    /// The keys that stand in the table, in the order of the sheet.
    pub fn keys(&self) -> Vec<String> {
        let mut keys: Vec<(usize, String)> = self
            .entries
            .keys()
            .map(|k| (k.span().start, k.get_ref().to_string()))
            .collect();
        keys.sort();
        keys.into_iter().map(|(_, key)| key).collect()
    }

    /// Reports the first key that nobody asked for.
    pub fn finish(&self) -> Result<(), BenchError> {
        let asked = self.asked.borrow();
        let mut unknown: Vec<_> = self
            .entries
            .keys()
            .filter(|k| !asked.iter().any(|a| a == k.get_ref()))
            .collect();
        unknown.sort_by_key(|k| k.span().start);
        let Some(key) = unknown.first() else {
            return Ok(());
        };
        let known: Vec<&str> = asked.iter().map(String::as_str).collect();
        Err(BenchError::UnknownKey {
            place: self.source.place(key.span().start),
            key: key.get_ref().to_string(),
            table: self.name.as_str().into(),
            nearest: nearest(key.get_ref(), &known).unwrap_or("").to_string(),
            known: asked.clone(),
        })
    }

    /// The error of a key that is not there.
    pub fn missing(&self, key: &str, hint: &str) -> BenchError {
        BenchError::Missing {
            place: self.place(),
            key: key.to_string(),
            table: self.name.as_str().into(),
            hint: hint.to_string(),
        }
    }

    /// The value, or an error that names the missing key and what it should hold.
    pub fn require<T>(&self, key: &str, value: Option<T>, hint: &str) -> Result<T, BenchError> {
        value.ok_or_else(|| self.missing(key, hint))
    }

    /// Looks a word up among named values.
    pub fn choice<T: Clone>(
        &self,
        key: &str,
        what: &str,
        choices: &[(&str, T)],
    ) -> Result<Option<T>, BenchError> {
        let Some(found) = self.text(key)? else {
            return Ok(None);
        };
        if let Some((_, value)) = choices.iter().find(|(name, _)| *name == found) {
            return Ok(Some(value.clone()));
        }
        let names: Vec<&str> = choices.iter().map(|(name, _)| *name).collect();
        Err(unknown_name(self.place_of(key), what, &found, &names))
    }

    pub fn invalid<T>(&self, key: &str, text: impl Into<String>) -> Result<T, BenchError> {
        Err(BenchError::Invalid {
            place: self.place_of(key),
            text: text.into(),
        })
    }
}

/// The error of a name that is not among the known ones.
pub fn unknown_name(place: Place, what: &str, found: &str, known: &[&str]) -> BenchError {
    BenchError::UnknownName {
        place,
        what: what.into(),
        found: found.to_string(),
        nearest: nearest(found, known).map(str::to_string),
        known: known.iter().map(|k| k.to_string()).collect(),
    }
}
