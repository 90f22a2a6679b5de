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
mod document;
pub mod draw;
mod error;
mod state;
mod store;
pub mod table;

pub use crate::fit::Agreement;
pub use assemble::assemble;
pub use budget::{BudgetLine, budget_lines};
pub use document::*;
pub use error::MotorFileError;
pub use state::ResultState;
pub use store::{Overwrite, check_target, from_text, read, to_text, write};
