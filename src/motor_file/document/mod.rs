//! What a motor file holds: `file` the whole, the others its parts.

mod confrontation;
mod distribution;
mod file;
mod health;
mod inductance;
mod model;
mod name;
mod operating;
mod parameter;
mod thermal;

pub use confrontation::Confrontation;
pub use distribution::{Coordinate, Distribution, TermName};
pub use file::{
    ConstantCandidate, Covariance, FORMAT, Input, MotorFacts, MotorFile, Program, Range,
    SHEET_ROLE, Severity, Validity, Warning,
};
pub use health::{
    CaptureHealth, Cut, Fit, Identifiability, Nuisance, RunsTest, Stop, StopReason, TermDecision,
};
pub use inductance::{InductanceAtFrequency, words as inductance_words};
pub use model::{ModelTerms, Term};
pub use name::ParameterName;
pub use operating::{OperatingPoint, OperatingPoints};
pub use parameter::{AtTemperature, OneSided, Parameter, Status};
pub use thermal::{Thermal, ThermalName};
