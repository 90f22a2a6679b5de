//! The times of the rows: held small while they are read, judged as even or listed, with gaps, repeats and steps back.

mod axis;
mod judge;
mod times;

pub use axis::time_axis;
pub use judge::TimeFault;
pub use times::{Packed, Times};
