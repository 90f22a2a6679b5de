//! The answer: every figure with its bounds, SI units.

use super::section::Unit;

/// A number with its bounds, SI.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Bounded {
    /// Of the estimates.
    pub middle: f64,
    pub lower: f64,
    pub upper: f64,
    /// The end to design for; absent where neither hurts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub worst: Option<f64>,
    /// Share of the drawn motors for which it does not exist.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub undefined_share: Option<f64>,
}

/// Why a number is absent.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Absent {
    /// The motor file does not determine what it needs.
    Undetermined(String),
    /// An option was not given.
    NotGiven(String),
    /// It does not exist for this motor under this order.
    DoesNotExist(String),
    /// Nobody needs it here.
    Needless(String),
}

impl Absent {
    /// As the table prints it.
    pub fn text(&self) -> &str {
        match self {
            Absent::Undetermined(text)
            | Absent::NotGiven(text)
            | Absent::DoesNotExist(text)
            | Absent::Needless(text) => text,
        }
    }
}

/// A number, or why there is none.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
#[serde(untagged)]
pub enum Figure {
    Known(Bounded),
    Absent { absent: Absent },
}

/// One row.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Row {
    pub key: &'static str,
    pub words: &'static str,
    #[serde(rename = "unit", serialize_with = "si")]
    pub unit: Unit,
    /// SizedSection of `docs/drive.md`.
    pub formula: &'static str,
    #[serde(flatten)]
    pub figure: Figure,
}

/// One table.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Table {
    pub key: &'static str,
    pub title: String,
    pub formula: &'static str,
    pub columns: Vec<Head>,
    pub lines: Vec<Vec<Entry>>,
}

/// Head of a column.
#[derive(Clone, Copy, Debug, serde::Serialize)]
pub struct Head {
    pub words: &'static str,
    #[serde(serialize_with = "si")]
    pub unit: Unit,
}

/// A cell.
#[derive(Clone, Debug, serde::Serialize)]
#[serde(untagged)]
pub enum Entry {
    Exact(f64),
    Figure(Figure),
}

/// One topic.
#[derive(Clone, Debug, serde::Serialize)]
pub struct SizedSection {
    pub key: &'static str,
    pub title: &'static str,
    pub rows: Vec<Row>,
    pub tables: Vec<Table>,
    pub remarks: Vec<String>,
    pub cautions: Vec<&'static str>,
}

/// The whole answer.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Sizing {
    pub motor: String,
    pub supply_v: f64,
    pub draws: usize,
    pub seed: u64,
    pub level: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub winding_temperature_c: Option<f64>,
    /// Whether the fit behind the motor file converged.
    pub fit_converged: bool,
    /// What was taken for granted.
    pub assumptions: Vec<String>,
    pub warnings: Vec<String>,
    pub sections: Vec<SizedSection>,
}

impl Sizing {
    /// Whether the fit converged and every result is there, or only waits for an option. Extrapolation is a warning.
    pub fn stands(&self) -> bool {
        self.fit_converged
            && !self
                .absent()
                .any(|absent| matches!(absent, Absent::Undetermined(_) | Absent::DoesNotExist(_)))
    }

    fn absent(&self) -> impl Iterator<Item = &Absent> {
        self.sections
            .iter()
            .flat_map(|section| &section.rows)
            .filter_map(|row| match &row.figure {
                Figure::Absent { absent } => Some(absent),
                Figure::Known(_) => None,
            })
    }
}

fn si<S: serde::Serializer>(unit: &Unit, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(unit.si())
}
