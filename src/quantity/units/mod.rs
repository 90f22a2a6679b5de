//! Common units of motor data: how sheets and workshops write quantities, and their SI values.
//!
//! Conversion happens only at the edges: what is typed or printed.
//!
//! * [`Quantity`]: the kinds of quantity. [`Unit`]: one unit, and values to and from SI.
//! * [`UNITS`]: the table of units. `factor`: SI value of one of its units, for tables of the crate.
//! * [`find`]: a unit however it is written. [`parse`], [`parse_si`]: a number with its unit.

mod error;
mod parse;
mod quantity;
mod spelling;
mod table;
mod unit;

pub use error::UnitError;
pub use parse::{parse, parse_si};
pub use quantity::Quantity;
pub use spelling::find;
pub use table::{RPM, UNITS, of, si};
pub use unit::Unit;

pub(crate) use parse::split_number;
pub(crate) use table::factor;

#[cfg(test)]
mod tests;
