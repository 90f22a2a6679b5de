//! The rows of the table, streamed into columns of numbers.

mod alike;
mod block;
mod bulk;
mod digits;
mod piece;
mod table;

pub use bulk::{read_blocks, suits};
pub use digits::EXACT;
#[cfg(test)]
pub use digits::printed;
pub use table::{BadCells, LineMap, RawColumn, Table, empty, read_rows};
