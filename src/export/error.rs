//! Why an export cannot be made.

use crate::motor_file::draw::{CornerError, DrawError};

/// Fault of an export.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// A parameter that the format needs has no value, or nothing can be drawn.
    #[error("{format} needs every parameter of the model: {source}")]
    Needs {
        format: &'static str,
        source: DrawError,
    },
    #[error(transparent)]
    Corner(#[from] CornerError),
    #[error(
        "{format} needs the supply voltage, which the motor file does not tell; give it with --supply, e.g. --supply 12V"
    )]
    NoSupply { format: &'static str },
    #[error("the motor would not turn at {supply_v} V: friction holds it; give a larger --supply")]
    WouldNotTurn { supply_v: f64 },
    #[error("{what} = {value:e} does not fit a 32-bit constant with a scale of 0 to 60 bits")]
    DoesNotFit { what: &'static str, value: f64 },
    #[error("the table could not be written: {0}")]
    Table(String),
}
