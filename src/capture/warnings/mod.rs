//! The wording of every warning that does not stop the reading: place, found, effect, next step.

mod kind;
mod numbers;
mod table;
mod time;
mod warning;

pub use kind::WarningKind;
pub use table::{bad_cells, codes, of_channel, of_table, record_length};
pub(super) use time::time_unit;
pub use time::{
    interval_contradicts, interval_unit, intervals_disagree, of_time, time_absent, time_missing,
    times_aligned,
};
pub use warning::{Place, Warning};
