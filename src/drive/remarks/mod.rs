//! What a sizing says beside its numbers: notes on its assumptions, and cautions.

pub mod cautions;
pub mod notes;
