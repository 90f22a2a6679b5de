//! The rows of the table, streamed into columns of numbers: regular tables in chunks, everything else row by row.

mod block;
mod chunk;
mod chunks;
mod column;
mod last_rows;
mod line_map;
mod row_by_row;
mod table;

pub use chunks::{ChunkRules, is_regular, read_chunks};
pub use column::{BadCells, RawColumn};
pub use line_map::LineMap;
pub use row_by_row::{RowRules, read_rows};
pub use table::{Table, TimeDifference};
