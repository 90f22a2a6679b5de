//! Tables of readings: several states of the motor, each read with the same meters.

use super::setup::Stated;
use crate::quantity::units::Quantity;
use std::path::PathBuf;

/// What the rows of a table show.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum TableKind {
    /// The motor runs freely: its own friction is all that loads it.
    NoLoad,
    /// The motor drives a load. A row of speed zero is a held rotor.
    LoadLine,
    /// The rotor is held.
    HeldRotor,
    /// A small alternating current through the resting motor, at several frequencies.
    Impedance,
}

impl TableKind {
    /// Every kind.
    pub const ALL: [Self; 4] = [
        TableKind::NoLoad,
        TableKind::LoadLine,
        TableKind::HeldRotor,
        TableKind::Impedance,
    ];

    /// As sheets and messages name it.
    pub fn name(self) -> &'static str {
        match self {
            TableKind::NoLoad => "no-load",
            TableKind::LoadLine => "load-line",
            TableKind::HeldRotor => "held-rotor",
            TableKind::Impedance => "impedance",
        }
    }
}

/// What one meter read in every row.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingColumn {
    /// Voltage, current, speed, torque, frequency or inductance.
    pub quantity: Quantity,
    /// One reading a row, in the SI unit.
    pub values: Vec<f64>,
    /// Relative standard uncertainty of the meter's gain.
    pub gain_uncertainty: f64,
    /// Standard uncertainty of its zero, in the SI unit.
    pub zero_uncertainty: f64,
    /// Name of the meter; columns and readings without a name share the one that is there.
    pub meter: Option<String>,
}

/// A table of readings, validated, in SI units.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingTable {
    /// Unique among the tables of a bench.
    pub name: String,
    /// What its rows show.
    pub kind: TableKind,
    /// One a quantity, all of the same length.
    pub columns: Vec<ReadingColumn>,
    /// Winding temperature in the first row, °C.
    pub winding_temperature_c: Option<Stated>,
    /// Most by which the winding warmed from the first row to the last, K.
    pub warmed_k: Option<f64>,
    /// The file it was read from, with the SHA-256 of its bytes; `None` where the sheet holds it.
    pub file: Option<(PathBuf, String)>,
}

impl ReadingTable {
    /// The column of a quantity.
    pub fn column(&self, quantity: Quantity) -> Option<&ReadingColumn> {
        self.columns.iter().find(|c| c.quantity == quantity)
    }

    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.columns.first().map_or(0, |c| c.values.len())
    }
}
