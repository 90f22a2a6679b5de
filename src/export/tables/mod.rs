//! Tables, as CSV and Parquet.
//!
//! * [`load_line`]: torque, current, power and efficiency over speed, and over voltage and torque.
//! * [`budget`]: the uncertainty budget.
//! * [`rows`]: one row a motor, of [`columns`].
//! * [`table`]: the writers, also batch by batch.

pub mod budget;
pub mod columns;
pub mod load_line;
pub mod rows;
pub mod table;
