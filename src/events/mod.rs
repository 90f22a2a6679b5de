//! Make, bounce, release, arc, short, standstill: the phases of a waveform.
//!
//! [`find`] cuts a capture of known role into phases; [`guess_role`] tells the role from the shape alone; [`guess_columns`]
//! tells which channel is voltage and which current.

mod by_hand;
mod columns;
mod find;
mod phase;
mod phases;
mod polarity;
mod remarks;
mod roles;
mod stretches;
mod timeline;
mod trace;

pub use by_hand::find_in_capture;
pub use columns::{
    ColumnGround, ColumnGuess, ColumnKind, Guessed, OtherColumn, OtherGround, guess, guess_columns,
    sheet_guess,
};
pub use find::find;
pub use phase::{Event, EventKind, Exclusion, Phase, PhaseKind};
pub use phases::switching::Switching;
pub use remarks::{Remark, Signal};
pub use roles::{Ground, Mismatch, RoleGuess, guess_role, mismatch};
pub use stretches::{
    CurrentStretch, Motion, OpenStretch, RowTimes, current_stretches, open_stretch,
};
pub use timeline::Timeline;
