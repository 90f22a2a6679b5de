//! A warning and the place that it begins with.

use super::kind::WarningKind;
use std::path::Path;

/// A fault that did not stop the reading, worded for the person, with its place.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Warning {
    /// 1-based line in the file, where one exists.
    pub line: Option<usize>,
    /// 1-based column, where one exists.
    pub column: Option<usize>,
    /// What kind of fault it is, for programs.
    pub kind: WarningKind,
    /// Place, found, expected, effect, next step.
    pub text: String,
}

/// The file, as messages name it.
pub struct Place(String);

impl Place {
    pub fn new(path: &Path) -> Place {
        Place(path.display().to_string())
    }

    pub(super) fn warning(
        &self,
        kind: WarningKind,
        line: Option<usize>,
        column: Option<usize>,
        text: String,
    ) -> Warning {
        let mut place = self.0.clone();
        for part in [line, column].into_iter().flatten() {
            place.push_str(&format!(":{part}"));
        }
        Warning {
            line,
            column,
            kind,
            text: format!("{place}: {text}"),
        }
    }
}
