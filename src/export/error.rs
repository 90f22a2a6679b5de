//! Why an export cannot be made.

use crate::motor_file::draw::{CornerError, DrawError};

/// Fault of an export.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ExportError {
    /// A parameter that the format needs has no value, or nothing can be drawn.
    #[error("{format} needs every parameter of the model: {source}")]
    Needs {
        /// Format that was asked for.
        format: &'static str,
        /// What it needs.
        source: DrawError,
    },
    /// There is no such corner.
    #[error(transparent)]
    Corner(#[from] CornerError),
    /// No supply voltage is known.
    #[error(
        "{format} needs the supply voltage, which the motor file does not contain; state it with --supply, e.g. --supply 12V"
    )]
    NoSupply {
        /// Format that needs it.
        format: &'static str,
    },
    /// Friction holds the motor.
    #[error("the motor would not turn at {supply_v} V: friction holds it; give a larger --supply")]
    WouldNotTurn {
        /// At this voltage.
        supply_v: f64,
    },
    /// A constant is beyond 32 bits.
    #[error("{what} = {value:e} does not fit a 32-bit constant with a scale of 0 to 60 bits")]
    DoesNotFit {
        /// Which constant.
        what: &'static str,
        /// Its value.
        value: f64,
    },
    /// The table could not be written.
    #[error("the table could not be written: {0}")]
    Table(#[from] polars::error::PolarsError),
    /// The archive could not be written.
    #[error("the unit could not be written: {0}")]
    Archive(String),
}
