//! The kinds of channel beside voltage and current.

use std::fmt;

/// A kind of channel that is neither the voltage nor the current of a motor.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
#[non_exhaustive]
pub enum ColumnKind {
    /// Speed of a shaft, as a number or in volts of a tachogenerator.
    Speed,
    /// Position of a shaft: angle or counts of an encoder.
    Position,
    /// Pulses of a shaft: Hall sensor, optical mark.
    Pulses,
    /// What a controller commands: duty, set point.
    Command,
    /// A state or logic level.
    State,
    /// It never changes.
    Constant,
    /// Another quantity.
    Other,
}

impl fmt::Display for ColumnKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            ColumnKind::Speed => "speed",
            ColumnKind::Position => "position",
            ColumnKind::Pulses => "pulses",
            ColumnKind::Command => "command",
            ColumnKind::State => "state or logic level",
            ColumnKind::Constant => "constant",
            ColumnKind::Other => "another quantity",
        })
    }
}
