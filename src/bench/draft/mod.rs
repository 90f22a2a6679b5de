//! A first bench sheet, guessed from a folder of captures.

mod guess_sheet;
mod records;
mod text;

pub use guess_sheet::{RecordGuess, guess_sheet, guess_sheet_of};
pub use records::{DraftError, has_capture_ending};
pub use text::{Draft, DraftCapture, DraftChannel, DraftShaft, draft_text};
