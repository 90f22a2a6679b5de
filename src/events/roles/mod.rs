//! What a capture shows, from its waveform alone, and whether that agrees with what was stated.

mod both_channels;
mod ground;
mod guess;
mod quiet;
mod role_guess;
mod single_channel;
mod stepped;

pub use ground::Ground;
pub(crate) use guess::guess_role_in;
pub use guess::{Mismatch, guess_role, mismatch};
pub use role_guess::RoleGuess;
