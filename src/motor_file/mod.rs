//! The written result: one JSON file a motor, with its schema in `docs/motor_file.schema.json`.
//!
//! * [`ParameterName`]: the fixed names, their UCUM units and the words for them.
//! * [`Parameter`], [`MotorFile`] and its parts: what the file holds.
//! * [`read`], [`write()`]: bytes to a checked [`MotorFile`] and back, exact to the last bit.
//! * [`table`]: the readable table.
//! * [`draw`]: motors drawn from the covariance.

// Others write whole files by this name.
pub use crate::files::write_atomically;

mod assemble;
mod budget;
mod check;
mod confrontation;
mod distribution;
mod document;
pub mod draw;
mod error;
mod health;
mod inductance;
mod model;
mod name;
mod operating;
mod parameter;
mod store;
pub mod table;
mod thermal;

pub use crate::fit::Agreement;
pub use assemble::assemble;
pub use budget::{BudgetLine, budget_lines};
pub use confrontation::{Confrontation, ResultState};
pub use distribution::{Coordinate, Distribution, TermName};
pub use document::{
    ConstantCandidate, Covariance, FORMAT, Input, MotorFacts, MotorFile, Program, Range,
    SHEET_ROLE, Severity, Validity, Warning,
};
pub use error::MotorFileError;
pub use health::{
    CaptureHealth, Cut, Fit, Identifiability, Nuisance, RunsTest, Stop, StopReason, TermDecision,
};
pub use inductance::{InductanceAtFrequency, words as inductance_words};
pub use model::{ModelTerms, Term};
pub use name::ParameterName;
pub use operating::{OperatingPoint, OperatingPoints};
pub use parameter::{AtTemperature, OneSided, Parameter, Status};
pub use store::{Overwrite, check_target, from_text, read, to_text, write};
pub use thermal::{Thermal, ThermalName};
