//! Which channel of a record is the motor's voltage, which its current, and which way round they stand.

mod candidate;
mod column_guess;
mod column_kind;
mod direction;
mod guess;
mod pair_votes;
mod pulses;
mod sheet_guess;

pub use column_guess::ColumnGuess;
pub use column_kind::{ColumnKind, OtherColumn};
pub use guess::{Guessed, guess, guess_columns};
pub use sheet_guess::sheet_guess;
