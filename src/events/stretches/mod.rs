//! Stretches of a capture from which the ripple is read.

mod current_stretch;
mod open_stretch;
mod row_times;

pub use current_stretch::{CurrentStretch, Motion, current_stretches};
pub(crate) use open_stretch::open_rows;
pub use open_stretch::{OpenStretch, open_stretch};
pub use row_times::RowTimes;
