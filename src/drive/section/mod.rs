//! A section of the answer as its topic fills it: rows, tables and remarks, once for the estimate and once for each drawn motor.

pub mod figures;

use crate::drive::Note;
use crate::motor_file::ParameterName;
use figures::Def;
pub use figures::{Unit, Worst};

/// Why a number is not there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// The motor file does not determine this.
    Undetermined(ParameterName),
    /// The user did not tell what it needs.
    NotGiven(&'static str),
    /// It does not exist for this motor in this order.
    Physics(&'static str),
    /// Nobody needs it here, and nothing is wrong.
    Moot(&'static str),
}

/// A number, or why there is none.
pub type Known<T = f64> = Result<T, Why>;

/// What an option states.
pub fn given(value: Option<f64>, option: &'static str) -> Known {
    value.ok_or(Why::NotGiven(option))
}

/// Head of a table's column.
#[derive(Clone, Copy, Debug, serde::Serialize)]
pub struct Column {
    /// What it holds.
    pub words: &'static str,
    /// Unit of its numbers.
    pub unit: Unit,
    /// The bound of them to design for.
    #[serde(skip)]
    pub worst: Worst,
}

/// A column.
pub(super) const fn column(words: &'static str, unit: Unit, worst: Worst) -> Column {
    Column { words, unit, worst }
}

/// A cell of a table under way.
#[derive(Clone, Copy, Debug)]
pub enum Cell {
    /// Chosen by the program or the user.
    Exact(f64),
    /// Place among the values of the topic.
    Drawn(usize),
}

/// A table.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Table<C> {
    /// Its key.
    pub key: &'static str,
    /// In words.
    pub title: String,
    /// Section of `docs/drive.md`.
    pub formula: &'static str,
    /// Heads.
    pub columns: Vec<Column>,
    /// Cells, line by line.
    pub lines: Vec<Vec<C>>,
}

/// Takes what a topic computes for one motor. Layout is kept only for the estimate: a topic must hand over the same
/// number of values for every motor.
#[derive(Debug, Default)]
pub struct Section {
    pub values: Vec<Known>,
    pub rows: Vec<(Def, usize)>,
    pub tables: Vec<Table<Cell>>,
    pub remarks: Vec<Note>,
    /// Whether the layout is kept.
    pub estimate: bool,
}

impl Section {
    /// The figure of a key.
    pub fn row(&mut self, key: &str, value: Known) {
        if self.estimate {
            let def = Def::of(key).unwrap_or_else(|| unreachable!("no figure {key}"));
            self.rows.push((def, self.values.len()));
        }
        self.values.push(value);
    }

    /// Opens a table; lines and cells follow.
    pub fn table(
        &mut self,
        key: &'static str,
        title: impl FnOnce() -> String,
        formula: &'static str,
        columns: &[Column],
    ) {
        if self.estimate {
            self.tables.push(Table {
                key,
                title: title(),
                formula,
                columns: columns.to_vec(),
                lines: Vec::new(),
            });
        }
    }

    /// Opens a line of the last table with what the line stands for.
    pub fn line(&mut self, exact: &[f64]) {
        if let (true, Some(table)) = (self.estimate, self.tables.last_mut()) {
            table
                .lines
                .push(exact.iter().map(|value| Cell::Exact(*value)).collect());
        }
    }

    /// A cell of the last line.
    pub fn cell(&mut self, value: Known) {
        if self.estimate
            && let Some(line) = self
                .tables
                .last_mut()
                .and_then(|table| table.lines.last_mut())
        {
            line.push(Cell::Drawn(self.values.len()));
        }
        self.values.push(value);
    }

    /// A remark under the topic; kept for the estimate only.
    pub fn remark(&mut self, note: impl FnOnce() -> Note) {
        if self.estimate {
            self.remarks.push(note());
        }
    }
}
