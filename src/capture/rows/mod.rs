//! The rows of the table, streamed into columns of numbers: regular tables in chunks, everything else row by row.

mod chunk;
mod chunks;
mod column;
mod last_rows;
mod row_by_row;
mod table;
mod table_warnings;

pub use chunks::{ChunkRules, is_regular, read_chunks};
pub use column::{BadCells, RawColumn};
pub use row_by_row::{RowRules, read_rows};
pub use table::Table;
pub use table_warnings::warn_of_table;
