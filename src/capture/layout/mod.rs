//! The layout of a file, found by structure: delimiter, first row of numbers, preamble, names, units, the column of time.

mod find_layout;
mod header;
mod preamble;
mod roles;
mod sniff;

#[cfg(test)]
pub use find_layout::Column;
pub use find_layout::{Layout, Role, read_layout};
pub use preamble::{RecordFacts, Seat, of_channels};
pub use sniff::{Dialect, Line, dialect_of_row, find_table};
