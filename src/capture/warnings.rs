//! Faults that did not stop the reading: place, found, effect, next step.

use serde::ser::{Serialize, SerializeStruct, Serializer};
use std::path::Path;

/// What a [`Warning`] is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct WarningKind {
    name: &'static str,
    weight: Weight,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Weight {
    /// Nothing is asked of the reader.
    Note,
    Plain,
    /// The record should not be trusted without a look.
    Doubtful,
}

const fn note(name: &'static str) -> WarningKind {
    let weight = Weight::Note;
    WarningKind { name, weight }
}

const fn plain(name: &'static str) -> WarningKind {
    let weight = Weight::Plain;
    WarningKind { name, weight }
}

const fn doubtful(name: &'static str) -> WarningKind {
    let weight = Weight::Doubtful;
    WarningKind { name, weight }
}

impl WarningKind {
    pub(super) const TIME_COARSE: Self = doubtful("time-coarse");
    pub(super) const TIME_REPEATED: Self = plain("time-repeated");
    pub(super) const TIME_GAP: Self = plain("time-gap");
    pub(super) const TIME_BACKWARDS: Self = doubtful("time-backwards");
    pub(super) const TIME_UNEVEN: Self = plain("time-uneven");
    pub(super) const TIME_CUT: Self = plain("time-cut");
    pub(super) const TIME_ABSENT: Self = doubtful("time-absent");
    pub(super) const TIME_MISSING: Self = plain("time-missing");
    pub(super) const TIME_UNIT_ASSUMED: Self = doubtful("time-unit-assumed");
    pub(super) const TIME_UNIT_INFERRED: Self = note("time-unit-inferred");
    /// Every time occurs twice, or many rows share their time; all rows are kept.
    pub(super) const TIME_SHARED: Self = plain("time-shared");
    pub(super) const TIME_SORTED: Self = note("time-sorted");
    /// The times of files of one capture differ.
    pub(super) const TIMES_ALIGNED: Self = plain("times-aligned");
    pub(super) const INTERVALS_DISAGREE: Self = doubtful("intervals-disagree");
    pub(super) const TIME_COLUMNS_DIFFER: Self = plain("time-columns-differ");
    pub(super) const TIME_PACES_DIFFER: Self = doubtful("time-paces-differ");
    pub(super) const INTERVAL_CONTRADICTS: Self = plain("interval-contradicts");
    pub(super) const RECORD_LENGTH: Self = plain("record-length");
    pub(super) const ROW_TRUNCATED: Self = plain("row-truncated");
    pub(super) const LAYOUT_CHANGE: Self = doubtful("layout-change");
    pub(super) const BAD_ROWS: Self = doubtful("bad-rows");
    pub(super) const TEXT_ROWS: Self = note("text-rows");
    pub(super) const PADDING: Self = plain("padding");
    pub(super) const FOOTER: Self = note("footer");
    pub(super) const NO_NUMBERS: Self = plain("no-numbers");
    /// Judged where events are found.
    pub(super) const OVERRANGE: Self = note("overrange");
    pub(super) const NOT_A_NUMBER: Self = doubtful("not-a-number");
    pub(super) const HEADER_WIDER: Self = doubtful("header-wider");
    /// Numbers that are codes of a converter by what the preamble states.
    pub(super) const CODES: Self = doubtful("codes");

    /// Stable short name, e.g. `time-gap`.
    pub fn name(self) -> &'static str {
        self.name
    }

    /// True where nothing is asked of the reader.
    pub fn is_note(self) -> bool {
        self.weight == Weight::Note
    }

    /// True when the record should not be trusted without a look.
    pub fn is_doubtful(self) -> bool {
        self.weight == Weight::Doubtful
    }
}

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

/// Code and place; the text is for the person.
impl Serialize for Warning {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut fields = serializer.serialize_struct("Warning", 3)?;
        fields.serialize_field("code", self.kind.name)?;
        fields.serialize_field("line", &self.line)?;
        fields.serialize_field("column", &self.column)?;
        fields.end()
    }
}

impl Warning {
    pub(super) fn new(
        path: &Path,
        kind: WarningKind,
        line: Option<usize>,
        column: Option<usize>,
        text: &str,
    ) -> Warning {
        let mut place = path.display().to_string();
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

/// The warnings about one file.
pub(super) struct Warnings<'p> {
    pub path: &'p Path,
    pub all: Vec<Warning>,
}

impl Warnings<'_> {
    pub fn push(
        &mut self,
        kind: WarningKind,
        line: impl Into<Option<usize>>,
        column: impl Into<Option<usize>>,
        text: impl AsRef<str>,
    ) {
        let (line, column) = (line.into(), column.into());
        let warning = Warning::new(self.path, kind, line, column, text.as_ref());
        self.all.push(warning);
    }
}

/// A number of seconds (or any quantity) with the digits a person needs.
pub(super) fn short(value: f64) -> String {
    let rounded: f64 = format!("{value:.9e}").parse().unwrap_or(value);
    match value == 0.0 || (1e-3..1e5).contains(&value.abs()) {
        true => format!("{rounded}"),
        false => format!("{rounded:e}"),
    }
}

/// A length of time, to four digits.
pub(super) fn brief(value: f64) -> String {
    short(format!("{value:.3e}").parse().unwrap_or(value))
}
