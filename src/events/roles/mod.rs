//! What a capture shows, from its waveform alone, and whether that agrees with what was stated.

mod both_channels;
mod check;
mod guess;
mod quiet;
mod role_guess;
mod single_channel;
mod stepped;
mod switched;

pub use check::{Mismatch, mismatch};
pub use guess::guess_role;
pub(crate) use guess::guess_role_in;
pub use role_guess::RoleGuess;
