//! A checked sheet.

use crate::claim::conformity::Limits;
use crate::claim::entry::Entry;
use crate::quantity::units::Unit;
use std::collections::BTreeMap;

/// How stall values were found.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Stall {
    /// From the straight line of speed against torque near no load, winding at the reference temperature.
    Extrapolated,
    /// On a held rotor, winding at this temperature in °C.
    Measured {
        /// Of the winding when they were measured.
        winding_temperature_c: f64,
    },
}

/// One printed entry.
#[derive(Clone, Debug, PartialEq)]
pub struct Claim {
    /// What is claimed.
    pub entry: Entry,
    /// As printed, with limits, for tables.
    pub printed: String,
    /// Unit in which it is printed.
    pub unit: &'static Unit,
    /// Printed value in SI; absent where only a limit is printed.
    pub value: Option<f64>,
    /// Ends of what rounds to the printed digits, SI, rising; absent without a value.
    pub rounding: Option<(f64, f64)>,
    /// Frequency of the meter, of an inductance that states it, Hz.
    pub frequency_hz: Option<f64>,
    /// Limits in SI; absent where the sheet prints neither tolerance nor limit.
    pub limits: Option<Limits>,
}

/// A checked sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// Name of the sheet.
    pub name: Option<String>,
    /// Voltage of the claims that need one.
    pub nominal_voltage_v: Option<f64>,
    /// Temperature of the claims.
    pub reference_temperature_c: f64,
    /// Load of the rated values.
    pub rated_torque_nm: Option<f64>,
    /// Winding temperature and room of the continuous values, °C.
    pub winding_limit_c: Option<f64>,
    /// Temperature of the room for them, °C.
    pub ambient_c: f64,
    /// How stall values were found.
    pub stall: Stall,
    /// The printed entries.
    pub claims: BTreeMap<Entry, Claim>,
    /// What was taken for granted because the sheet does not say it.
    pub assumptions: Vec<String>,
}
