//! A first bench sheet, guessed from a folder of captures.

mod guess_sheet;
mod text;

pub use guess_sheet::{RecordGuess, guess_sheet};
pub use text::{Draft, DraftCapture, DraftChannel, draft_text};
