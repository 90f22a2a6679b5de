//! The answer: every figure with its bounds, SI units.

use super::remarks::notes::Note;
use super::section::{Table, Unit};

/// A number with its bounds, SI.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
pub struct Bounded {
    /// Mean of the drawn motors; of what is simulated, and of a parameter of the motor file, that of the estimates.
    pub middle: f64,
    /// Lower bound.
    pub lower: f64,
    /// Upper bound.
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
#[non_exhaustive]
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
    /// With its bounds.
    Known(Bounded),
    /// Not there.
    Absent {
        /// Why.
        absent: Absent,
    },
}

impl Figure {
    /// Whether there is a number.
    pub(in crate::drive) fn is_known(&self) -> bool {
        matches!(self, Figure::Known(_))
    }
}

/// Stands behind an extrapolated number.
pub(in crate::drive) const MARK: &str = "*";

/// One row.
#[derive(Clone, Debug, serde::Serialize)]
pub struct Row {
    /// Its key.
    pub key: &'static str,
    /// In words.
    pub words: &'static str,
    /// Unit of its numbers.
    pub unit: Unit,
    /// SizedSection of `docs/drive.md`.
    pub formula: &'static str,
    /// Whether it takes a current or a speed that the captures do not reach.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub extrapolated: bool,
    /// The number.
    #[serde(flatten)]
    pub figure: Figure,
}

/// A cell.
#[derive(Clone, Debug, serde::Serialize)]
#[serde(untagged)]
pub enum Entry {
    /// Chosen by the program or the user.
    Exact(f64),
    /// Worked out.
    Figure(Figure),
}

/// One topic.
#[derive(Clone, Debug, serde::Serialize)]
pub struct SizedSection {
    /// Its key.
    pub key: &'static str,
    /// In words.
    pub title: &'static str,
    /// Monte Carlo draws it took.
    pub draws: usize,
    /// Digits of the standard uncertainties to which all of its numbers are stable (JCGM 101:2008, 7.9): 2, 1 or 0.
    pub stable_digits: u32,
    /// Single numbers.
    pub rows: Vec<Row>,
    /// Tables.
    pub tables: Vec<Table<Entry>>,
    /// What to know of them.
    pub remarks: Vec<String>,
    /// The same as codes and numbers.
    pub notes: Vec<Note>,
    /// Dangers that belong to them.
    pub cautions: Vec<&'static str>,
}

/// Which limit a profile meets first.
#[derive(Clone, Debug, PartialEq, serde::Serialize)]
pub struct Verdict {
    /// Whether every limit holds in the worst case.
    pub holds: bool,
    /// Key of the row of the limit that is met first.
    pub first: &'static str,
    /// In words.
    pub text: String,
}

/// The whole answer.
#[derive(Clone, Debug, serde::Serialize)]
#[non_exhaustive]
pub struct Sizing {
    /// Name of the motor.
    pub motor: String,
    /// Voltage of the supply.
    pub supply_v: f64,
    /// Most Monte Carlo draws for what is simulated; each section has its own number.
    pub draws: usize,
    /// Seed of the draws.
    pub seed: u64,
    /// Probability that an interval covers the true value.
    pub level: f64,
    /// Winding temperature of everything computed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub winding_temperature_c: Option<f64>,
    /// Whether the fit behind the motor file converged.
    pub fit_converged: bool,
    /// PWM frequency, Hz.
    pub frequency_hz: f64,
    /// PWM duty.
    pub duty: f64,
    /// Ripple wanted, peak to peak as a share of the mean current.
    pub ripple_share: f64,
    /// Winding temperature that must not be passed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub winding_limit_c: Option<f64>,
    /// Which limit a profile meets first; absent without a profile or a limit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub profile: Option<Verdict>,
    /// What was assumed.
    pub assumptions: Vec<String>,
    /// What makes the answer doubtful.
    pub warnings: Vec<String>,
    /// One a topic.
    pub sections: Vec<SizedSection>,
}

impl Sizing {
    /// A row by its key.
    pub fn row(&self, key: &str) -> Option<&Row> {
        let mut rows = self.sections.iter().flat_map(|section| &section.rows);
        rows.find(|row| row.key == key)
    }

    /// Whether a profile was asked for.
    pub(in crate::drive) fn has_profile(&self) -> bool {
        self.sections.iter().any(|section| section.key == "profile")
    }

    /// A table by its key.
    pub fn table(&self, key: &str) -> Option<&Table<Entry>> {
        let mut tables = self.sections.iter().flat_map(|section| &section.tables);
        tables.find(|table| table.key == key)
    }

    /// Bounds of a row that has a number.
    pub(in crate::drive) fn bounded(&self, key: &str) -> Option<&Bounded> {
        match &self.row(key)?.figure {
            Figure::Known(bounded) => Some(bounded),
            Figure::Absent { .. } => None,
        }
    }

    /// What the mark of extrapolated rows means; `None` where no row has it.
    pub(in crate::drive) fn mark_words(&self) -> Option<String> {
        // With a profile only its own rows are shown.
        let shown = |section: &&SizedSection| !self.has_profile() || section.key == "profile";
        let shown = self.sections.iter().filter(shown);
        let mut rows = shown.flat_map(|section| &section.rows);
        rows.any(|row| row.extrapolated)
            .then(|| format!("{MARK} beyond the currents or speeds of the captures: extrapolated"))
    }

    /// Whether the fit converged, a profile holds every limit, and every result is there or only waits for an option. Extrapolation is a warning.
    pub fn stands(&self) -> bool {
        self.fit_converged
            && self.profile.as_ref().is_none_or(|verdict| verdict.holds)
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
