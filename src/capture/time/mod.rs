//! The times of the rows: held small while they are read, judged as even or listed, with gaps, repeats and steps back.

mod axis;
mod backwards;
mod chunk;
mod column;
mod even;
mod fault;
mod judge;
mod judged;
mod repeats;
mod steps;
mod times;

pub use axis::{TimeFacts, shift};
pub use backwards::BackwardsPattern;
pub use chunk::TimeChunk;
pub use column::TimeColumn;
pub use fault::TimeFault;
