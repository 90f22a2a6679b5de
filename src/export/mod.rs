//! Files that other tools read: one file a format, each with value, uncertainty, temperature and provenance.
//!
//! * [`instance`]: one concrete motor: the estimate, a corner, or a draw from the covariance.
//! * [`spice`]: subcircuit with electrical and mechanical ports, and a half-bridge deck.
//! * [`modelica`]: record for the standard library's permanent-magnet DC machine.
//! * [`c_header`]: constants and fixed-point helpers for firmware.
//! * [`fmu`]: Functional Mock-up Unit for simulators.
//! * [`load_line`]: torque, current, power and efficiency over speed, and over voltage and torque.
//! * [`script`]: Python and Octave snippets that simulate a start.
//! * [`state_space`]: continuous and exact discrete matrices as JSON.
//! * [`budget`]: the uncertainty budget as CSV.
//! * [`rows`]: CSV and Parquet, one row a motor.
//! * [`columns`], [`table`]: columns of a table with a row a motor; tables as CSV and Parquet, also batch by batch.

pub mod budget;
pub mod c_header;
pub mod columns;
mod error;
pub mod fmu;
pub mod instance;
pub mod load_line;
pub mod modelica;
pub mod rows;
pub mod script;
pub mod spice;
pub mod state_space;
pub mod table;

pub use error::ExportError;
pub use instance::{End, Instance};
