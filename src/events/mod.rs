//! Make, bounce, release, arc, short, standstill: the phases of a waveform.
//!
//! [`find`] cuts a capture of known role into phases; [`guess_role`] tells the role from the shape alone; [`guess_columns`]
//! tells which channel is voltage and which current.

mod asked;
mod brake;
mod columns;
mod contact;
mod current_stretch;
mod cuts;
mod deviation;
mod draft;
mod find;
mod held;
mod open_stretch;
mod phase;
mod polarity;
mod release;
mod remarks;
mod rise;
mod role;
mod role_alone;
mod role_check;
mod role_switched;
mod row_times;
mod rundown;
mod series;
mod shape;
mod standstill;
mod start;
mod switching;
mod top_codes;
mod turnoff;
mod view;

pub use columns::{ColumnGuess, Guessed, guess, guess_columns};
pub use current_stretch::{CurrentStretch, Motion, current_stretches};
pub use find::find;
pub use open_stretch::{OpenStretch, open_stretch};
pub use phase::{Phase, PhaseKind, Timeline};
pub use role::{RoleGuess, guess_role};
pub use role_check::{Mismatch, channels_swapped, contradiction, mismatch};
pub use row_times::RowTimes;
pub use switching::{Switching, switching};

#[cfg(test)]
mod invented_tests;
#[cfg(test)]
mod stand_in;
#[cfg(test)]
mod tests;
