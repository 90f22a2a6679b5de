//! The layout of a file, found by structure: delimiter, first row of numbers, preamble, names, units, the column of time.

mod channel_facts;
mod columns;
mod dialect;
mod find_layout;
mod header;
mod other_axis;
mod preamble;
mod roles;
mod sniff;
mod survey;
mod words;

pub use channel_facts::{StatedChannel, TableChannel, of_channels};
#[cfg(test)]
pub use columns::Column;
pub use columns::{Cells, Layout, Role, too_many_columns};
pub use dialect::{Dialect, dialect_of_row, joined_at_decimals};
pub use find_layout::read_layout;
pub use preamble::RecordFacts;
pub use sniff::{Line, find_table};
pub use words::{is_horizontal_unit, tokens};
