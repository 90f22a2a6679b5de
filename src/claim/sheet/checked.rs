//! A checked sheet and what may be wrong with one.

use crate::claim::conformity::Limits;
use crate::claim::entry::Entry;
use crate::quantity::units::Unit;
use std::collections::BTreeMap;
use std::path::PathBuf;

/// Fault of a sheet, with its place.
#[derive(Debug, thiserror::Error)]
pub enum SheetError {
    #[error("{}: cannot be read: {source}", path.display())]
    Read {
        path: PathBuf,
        source: std::io::Error,
    },
    #[error("{}:{line}:{column}: {text}", path.display())]
    Content {
        path: PathBuf,
        line: usize,
        column: usize,
        text: String,
    },
}

/// How stall values were found.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Stall {
    /// From the straight line of speed against torque near no load, winding at the reference temperature.
    Extrapolated,
    /// On a held rotor, winding at this temperature in °C.
    Measured { winding_temperature_c: f64 },
}

/// One printed entry.
#[derive(Clone, Debug, PartialEq)]
pub struct Claim {
    pub entry: Entry,
    /// As printed, with limits, for tables.
    pub printed: String,
    /// Unit in which it is printed.
    pub unit: &'static Unit,
    /// Printed value in SI; absent where only a limit is printed.
    pub value: Option<f64>,
    /// Ends of what rounds to the printed digits, SI, rising; absent without a value.
    pub rounding: Option<(f64, f64)>,
    /// Limits in SI; absent where the sheet prints neither tolerance nor limit.
    pub limits: Option<Limits>,
    /// 1-based line in the sheet.
    pub line: usize,
}

/// A checked sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    pub name: Option<String>,
    pub nominal_voltage_v: Option<f64>,
    pub reference_temperature_c: f64,
    pub rated_torque_nm: Option<f64>,
    pub stall: Stall,
    pub claims: BTreeMap<Entry, Claim>,
    /// What was taken for granted because the sheet does not say it.
    pub assumptions: Vec<String>,
}
