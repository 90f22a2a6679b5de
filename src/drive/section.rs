//! A section of the answer as its topic fills it: rows, tables and remarks, once for the estimate and once for each drawn motor.

use crate::motor_file::ParameterName;

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

/// Unit of a result.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    /// A.
    Ampere,
    /// V.
    Volt,
    /// s.
    Second,
    /// J.
    Joule,
    /// W.
    Watt,
    /// Hz.
    Hertz,
    /// Printed in percent.
    Share,
    /// Printed in rpm.
    Speed,
    /// N·m.
    NewtonMetre,
    /// Ω.
    Ohm,
    /// F.
    Farad,
    /// °C.
    Celsius,
    /// K.
    Kelvin,
    /// A²·s, for the let-through of a fuse.
    AmpereSquaredSecond,
    /// A plain ratio.
    One,
}

impl Unit {
    /// SI, as JSON tells it.
    pub fn si(self) -> &'static str {
        match self {
            Unit::Ampere => "A",
            Unit::Volt => "V",
            Unit::Second => "s",
            Unit::Joule => "J",
            Unit::Watt => "W",
            Unit::Hertz => "Hz",
            Unit::Share | Unit::One => "1",
            Unit::Speed => "rad/s",
            Unit::NewtonMetre => "N.m",
            Unit::Ohm => "Ohm",
            Unit::Farad => "F",
            Unit::Celsius => "Cel",
            Unit::Kelvin => "K",
            Unit::AmpereSquaredSecond => "A2.s",
        }
    }
}

/// Which end of the interval is the one to design for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Worst {
    High,
    Low,
    /// Neither end hurts.
    Neither,
}

/// What a row is. `formula` is the number of its section in `docs/drive.md`.
#[derive(Clone, Copy, Debug)]
pub struct Def {
    pub key: &'static str,
    pub words: &'static str,
    pub unit: Unit,
    pub worst: Worst,
    pub formula: &'static str,
}

/// Shorthand for a row that hurts at its high end.
pub const fn high(
    key: &'static str,
    words: &'static str,
    unit: Unit,
    formula: &'static str,
) -> Def {
    Def {
        key,
        words,
        unit,
        worst: Worst::High,
        formula,
    }
}

/// The same for the low end.
pub const fn low(key: &'static str, words: &'static str, unit: Unit, formula: &'static str) -> Def {
    Def {
        worst: Worst::Low,
        ..high(key, words, unit, formula)
    }
}

/// The same where neither end hurts.
pub const fn plain(
    key: &'static str,
    words: &'static str,
    unit: Unit,
    formula: &'static str,
) -> Def {
    Def {
        worst: Worst::Neither,
        ..high(key, words, unit, formula)
    }
}

/// Head of a table's column.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    pub words: &'static str,
    pub unit: Unit,
    pub worst: Worst,
}

/// A column that hurts at its high end, or not at all where `worst` says so.
pub const fn column(words: &'static str, unit: Unit, worst: Worst) -> Column {
    Column { words, unit, worst }
}

/// A cell of a table.
#[derive(Clone, Copy, Debug)]
pub enum Cell {
    /// Chosen by the program or the user.
    Exact(f64),
    /// Place among the values of the topic.
    Drawn(usize),
}

/// A table under way.
#[derive(Clone, Debug)]
pub struct TableDraft {
    pub key: &'static str,
    pub title: String,
    pub formula: &'static str,
    pub columns: Vec<Column>,
    pub lines: Vec<Vec<Cell>>,
}

/// Takes what a topic computes for one motor. Layout is kept only for the estimate: a topic must hand over the same
/// number of values for every motor.
#[derive(Debug, Default)]
pub struct Section {
    pub values: Vec<Known>,
    pub rows: Vec<(Def, usize)>,
    pub tables: Vec<TableDraft>,
    pub remarks: Vec<String>,
    /// Whether the layout is kept.
    pub estimate: bool,
}

impl Section {
    /// A row.
    pub fn row(&mut self, def: Def, value: Known) {
        if self.estimate {
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
            self.tables.push(TableDraft {
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
    pub fn remark(&mut self, text: impl FnOnce() -> String) {
        if self.estimate {
            self.remarks.push(text());
        }
    }
}
