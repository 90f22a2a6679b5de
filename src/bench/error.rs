//! Why a bench sheet could not become a bench: each error names place, found, expected and next step.

use crate::quantity::nearest;
use std::fmt;
use std::path::Path;
use std::sync::Arc;

/// A position in a bench sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The bench sheet.
    pub path: Arc<Path>,
    /// 1-based line.
    pub line: u32,
    /// 1-based column, counted in characters.
    pub column: u32,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:{}", self.path.display(), self.line, self.column)
    }
}

/// Why a bench could not be built.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct BenchError {
    /// Position in the sheet; `None` without one.
    pub place: Option<Place>,
    /// The capture whose file cannot be read or used.
    pub capture: Option<String>,
    /// What was found, what was expected, what to do.
    pub text: String,
}

impl fmt::Display for BenchError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(place) = &self.place {
            write!(f, "{place}: ")?;
        }
        if let Some(name) = &self.capture {
            write!(f, "capture \"{name}\"")?;
        }
        f.write_str(&self.text)
    }
}

impl std::error::Error for BenchError {}

impl BenchError {
    pub(crate) fn new(text: impl Into<String>) -> BenchError {
        BenchError {
            place: None,
            capture: None,
            text: text.into(),
        }
    }

    pub(crate) fn at(place: &Place, text: impl Into<String>) -> BenchError {
        BenchError {
            place: Some(place.clone()),
            ..BenchError::new(text)
        }
    }

    /// Of a capture's file; `text` goes on behind the name of the capture.
    pub(super) fn in_capture(place: Option<&Place>, name: &str, text: String) -> BenchError {
        BenchError {
            place: place.cloned(),
            capture: Some(name.to_owned()),
            text,
        }
    }

    /// A name that is not among the known ones (of a role, an instrument, a capture: `what`).
    pub(super) fn unknown<'k>(
        place: &Place,
        what: &str,
        found: &str,
        known: impl IntoIterator<Item = &'k str>,
    ) -> BenchError {
        let known: Vec<&str> = known.into_iter().collect();
        // A comma among commas.
        let shown = |name: &&str| match name.contains(char::is_alphanumeric) {
            true => (*name).to_owned(),
            false => format!("\"{name}\""),
        };
        let near = nearest(found, &known).map(|name| format!("; the nearest is `{name}`"));
        let all = match known.is_empty() {
            true => "none".to_owned(),
            false => known.iter().map(shown).collect::<Vec<_>>().join(", "),
        };
        let near = near.unwrap_or_default();
        let text = format!("`{found}` is no known {what}{near}. Known: {all}");
        BenchError::at(place, text)
    }
}
