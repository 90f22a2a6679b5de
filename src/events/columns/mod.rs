//! Which channel of a record is the motor's voltage, which its current, and which way round they stand.

mod candidate;
mod column_kind;
mod computed;
mod ground;
mod guess;
mod kind;
mod pair_votes;

pub use column_kind::OtherColumn;
pub use ground::{ColumnGround, OtherGround};
pub use guess::{ColumnGuess, Guessed, guess, guess_columns, sheet_guess};
pub use kind::ColumnKind;
