//! What a capture shows, from its waveform alone, and whether that agrees with what was stated.

mod check;
pub(crate) mod guess;
mod single_channel;
mod switched;

pub use check::{Mismatch, mismatch};
pub use guess::{RoleGuess, guess_role};
