//! The times of the rows: held small while they are read, judged as even or listed, with gaps, repeats and steps back.

mod axis;
mod chunk;
mod column;
mod even;
mod judge;
mod judged;
mod repeats;
mod steps;
mod time_unit;
mod times;

pub use axis::{TimeFacts, shift};
pub use chunk::TimeChunk;
pub use column::TimeColumn;
pub use judged::TimeFault;
pub(super) use time_unit::{TimeUnit, of_column as unit_of_column};
