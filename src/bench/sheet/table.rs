//! A table of the sheet, read key by key with its places.
//!
//! The keys asked for are the known keys: [`Table::finish`] names every other key together with the nearest known
//! one. Ask for all keys first, call `finish`, and only then report a missing one, so that a misspelt key is
//! reported as misspelt and not as missing.

use super::source::Source;
use super::value::{article, bare_number, each, example, finite, string, whole};
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

    /// The value of a key as `convert` has it; an error where that is `None`, which means that it is not as `expected`.
    fn value<T>(
        &self,
        key: &str,
        expected: &str,
        convert: impl Fn(&DeValue<'t>) -> Option<T>,
    ) -> Result<Option<T>, BenchError> {
        let Some(value) = self.get(key) else {
            return Ok(None);
        };
        match convert(value.get_ref()) {
            Some(converted) => Ok(Some(converted)),
            None => self.wrong(key, value, expected),
        }
    }

    fn wrong<T>(
        &self,
        key: &str,
        value: &Spanned<DeValue<'_>>,
        expected: &str,
    ) -> Result<T, BenchError> {
        let text = self.source.text.get(value.span()).unwrap_or("");
        let excerpt = match text.chars().count() > 40 || text.contains('\n') {
            true => String::new(),
            false => format!("({text})"),
        };
        let found = format!("{} {excerpt}", article(value.get_ref()));
        let number = (expected.contains("number") && !expected.contains("list"))
            .then(|| value.get_ref().as_str());
        let bare = number.flatten().and_then(bare_number);
        let text = format!(
            "`{key}` in {} is {found}, expected {expected}{}",
            self.name,
            bare.map_or(String::new(), |bare| format!(
                ": write {bare} without quotes"
            ))
        );
        Err(BenchError::at(&self.source.place(value.span().start), text))
    }

    /// A text of one line that shows every character it holds.
    pub fn text(&self, key: &str) -> Result<Option<String>, BenchError> {
        let text = self.free_text(key)?;
        match text.as_deref().map(one_line) {
            Some(Cow::Owned(shown)) => self.invalid(
                key,
                format!("`{key}` is \"{shown}\", expected one line without invisible characters"),
            ),
            Some(text) if key == "name" && text.trim().is_empty() => {
                self.invalid(key, "`name` is empty; give it a name")
            }
            _ => Ok(text),
        }
    }

    /// A text that may have several lines.
    pub fn free_text(&self, key: &str) -> Result<Option<String>, BenchError> {
        self.value(key, "a text in quotes", string)
    }

    /// A day of the calendar, in quotes or not, as YYYY-MM-DD.
    pub fn date(&self, key: &str) -> Result<Option<String>, BenchError> {
        self.value(key, "a day, e.g. 2026-02-11", |v| {
            let text = match v {
                DeValue::Datetime(day) => day.to_string(),
                other => string(other)?,
            };
            let day: toml::value::Datetime = text.parse().ok()?;
            (day.date.is_some() && day.time.is_none()).then_some(text)
        })
    }

    /// A finite number, whole or not.
    pub fn number(&self, key: &str) -> Result<Option<f64>, BenchError> {
        self.value(key, "a finite number", finite)
    }

    /// A number above zero.
    pub fn positive(&self, key: &str) -> Result<Option<f64>, BenchError> {
        self.number(key)?;
        self.value(key, "a number above zero", |v| {
            finite(v).filter(|n| *n > 0.0)
        })
    }

    pub fn count(&self, key: &str) -> Result<Option<u32>, BenchError> {
        self.value(key, "a whole number from 1", |v| whole(v).map(|n| n as u32))
    }

    pub fn flag(&self, key: &str) -> Result<Option<bool>, BenchError> {
        self.value(key, "true or false", DeValue::as_bool)
    }

    pub fn numbers(&self, key: &str) -> Result<Option<Vec<f64>>, BenchError> {
        self.value(key, "a list of numbers in [ ]", |v| {
            each(v, finite).filter(|numbers| !numbers.is_empty())
        })
    }

    /// A list of pairs of numbers.
    pub fn pairs(&self, key: &str) -> Result<Option<Vec<(f64, f64)>>, BenchError> {
        let expected = "a list of pairs of numbers, e.g. [[0.01, 0.02]]";
        let pair = |value: &DeValue<'_>| match each(value, finite)?[..] {
            [from, to] => Some((from, to)),
            _ => None,
        };
        self.value(key, expected, |v| each(v, pair))
    }

    /// A text, or a list of texts.
    pub fn texts(&self, key: &str) -> Result<Option<Vec<String>>, BenchError> {
        self.value(key, "a text, or a list of texts in [ ]", |v| {
            string(v).map(|t| vec![t]).or_else(|| each(v, string))
        })
    }

    /// A column by name or number, or a list of such from which the first found is taken.
    pub fn columns(&self, key: &str) -> Result<Option<Vec<NameOrNumber>>, BenchError> {
        let expected = "a column name in quotes, a column number from 1, or a list of such";
        let one = |value: &DeValue<'_>| {
            let number = || whole(value).map(|n| NameOrNumber::Number(n as usize));
            string(value).map(NameOrNumber::Name).or_else(number)
        };
        self.value(key, expected, |v| {
            let columns = one(v).map(|c| vec![c]).or_else(|| each(v, one));
            columns.filter(|columns| !columns.is_empty())
        })
    }

    /// Whether the key is there.
    pub fn has(&self, key: &str) -> bool {
        self.get(key).is_some()
    }

    /// Whether the key is there with a text.
    pub fn is_text(&self, key: &str) -> bool {
        self.get(key).is_some_and(|v| v.get_ref().is_str())
    }

    pub fn table(&self, key: &str) -> Result<Option<Table<'t>>, BenchError> {
        let expected = format!(
            "a table with its keys, e.g. {key} = {{ {} }}; see docs/bench_sheet.md",
            example(key)
        );
        self.table_as(key, &expected)
    }

    /// As [`Self::table`], where messages expect this.
    pub fn table_as(&self, key: &str, expected: &str) -> Result<Option<Table<'t>>, BenchError> {
        let Some(value) = self.get(key) else {
            return Ok(None);
        };
        let inside = |name: &'_ str| Some(name.strip_prefix('[')?.strip_suffix(']')?.to_owned());
        let name = || match inside(&self.name) {
            Some(parent) => format!("[{parent}.{key}]"),
            None if self.name == "the sheet" => format!("[{key}]"),
            None => format!("`{key}` of {}", self.name),
        };
        self.as_table(key, value, expected, name).map(Some)
    }

    fn as_table(
        &self,
        key: &str,
        value: &'t Spanned<DeValue<'t>>,
        expected: &str,
        name: impl Fn() -> String,
    ) -> Result<Table<'t>, BenchError> {
        match value.get_ref().as_table() {
            Some(entries) => Ok(Table::new(self.source, name(), entries, value.span().start)),
            None => self.wrong(key, value, expected),
        }
    }

    /// The tables of `[[key]]`, in order.
    pub fn tables(&self, key: &str) -> Result<Vec<Table<'t>>, BenchError> {
        let Some(value) = self.get(key) else {
            return Ok(Vec::new());
        };
        let Some(array) = value.get_ref().as_array() else {
            let expected = format!("a list of tables, each under [[{key}]]");
            return self.wrong(key, value, &expected);
        };
        let tables = array.iter().enumerate().map(|(index, item)| {
            let name = || format!("[[{key}]] number {}", index + 1);
            self.as_table(key, item, "a table", name)
        });
        tables.collect()
    }

    /// The named tables `[key.NAME]`, in the order of the sheet.
    pub fn named_tables(&self, key: &str) -> Result<Vec<(String, Table<'t>)>, BenchError> {
        let Some(parent) = self.table(key)? else {
            return Ok(Vec::new());
        };
        let mut tables = Vec::new();
        for name in parent.keys() {
            if let Cow::Owned(shown) = one_line(&name) {
                let text = "is a name, expected one line without invisible characters";
                return parent.invalid(&name, format!("\"{shown}\" {text}"));
            }
            if let Some(table) = parent.table(&name)? {
                tables.push((name, table));
            }
        }
        Ok(tables)
    }

    /// The keys that stand in the table, in the order of the sheet.
    pub fn keys(&self) -> Vec<String> {
        let keys = self.entries.keys();
        let mut keys: Vec<_> = keys.map(|k| (k.span().start, k.get_ref())).collect();
        keys.sort();
        keys.into_iter().map(|(_, key)| key.to_string()).collect()
    }

    /// Reports the first key that nobody asked for.
    pub fn finish(&self) -> Result<(), BenchError> {
        let asked = self.asked.borrow();
        let keys = self.entries.keys();
        let unknown = keys.filter(|k| !asked.iter().any(|a| a == k.get_ref()));
        let Some(key) = unknown.min_by_key(|k| k.span().start) else {
            return Ok(());
        };
        let known: Vec<&str> = asked.iter().map(String::as_str).collect();
        let near = nearest(key.get_ref(), &known);
        let near = near.map(|near| format!("; the nearest known key is `{near}`"));
        // An accuracy is stated in one of four ways, each in the same units.
        let is_other = |key: &&str| {
            let ways = ["half_width_", "coverage_95_", "standard_"];
            ways.iter().any(|way| key.starts_with(way)) && known.contains(&"limit_percent")
        };
        let mut listed: Vec<&str> = known.iter().copied().filter(|k| !is_other(k)).collect();
        if listed.len() < known.len() {
            listed.push("and half_width_, coverage_95_ or standard_ in place of limit_");
        }
        let text = format!(
            "unknown key `{}` in {}{}. Known here: {}",
            key.get_ref(),
            self.name,
            near.unwrap_or_default(),
            listed.join(", ")
        );
        Err(BenchError::at(&self.source.place(key.span().start), text))
    }

    /// The error of a key that is not there.
    pub fn missing(&self, key: &str, hint: &str) -> BenchError {
        let text = format!("{} lacks the key `{key}`: {hint}", self.name);
        BenchError::at(&self.place(), text)
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
        let names = choices.iter().map(|(name, _)| *name);
        Err(BenchError::unknown(
            &self.place_of(key),
            what,
            &found,
            names,
        ))
    }

    /// As [`Self::choice`], for the key `kind`, without which no other key can be read.
    pub fn kind<T: Clone>(&self, what: &str, choices: &[(&str, T)]) -> Result<T, BenchError> {
        let kind = self.choice("kind", what, choices)?;
        let names: Vec<&str> = choices.iter().map(|(name, _)| *name).collect();
        self.require("kind", kind, &format!("one of {}", names.join(", ")))
    }

    pub fn invalid<T>(&self, key: &str, text: impl Into<String>) -> Result<T, BenchError> {
        Err(BenchError::at(&self.place_of(key), text))
    }
}
