//! Files that other tools read: one file a format, each with value, uncertainty, temperature and provenance.
//!
//! * [`instance`]: one concrete motor: the estimate, a corner, or a draw from the covariance.
//! * [`spice`]: subcircuit with electrical and mechanical ports, and a half-bridge deck.
//! * [`modelica`]: record for the standard library's permanent-magnet DC machine.
//! * [`c_header`]: constants and fixed-point helpers for firmware.
//! * [`fmu`]: Functional Mock-up Unit for simulators.
//! * [`script`]: Python and Octave snippets that simulate a start.
//! * [`state_space`]: continuous and exact discrete matrices as JSON.
//! * `tables`: [`budget`], [`load_line`] and [`rows`] as CSV and Parquet.

pub mod c_header;
mod error;
pub mod fmu;
pub mod instance;
pub mod modelica;
pub mod script;
pub mod spice;
pub mod state_space;
mod tables;

pub use error::ExportError;
pub use instance::{End, Instance};
pub use tables::{budget, columns, load_line, rows, table};
