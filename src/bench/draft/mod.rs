//! A first bench sheet, guessed from a folder of captures.

mod doubts;
mod guess_sheet;
mod record_guess;
mod records;
mod tables;
mod text;

pub use guess_sheet::{guess_sheet, guess_sheet_of};
pub use record_guess::RecordGuess;
pub use records::{DraftError, has_capture_ending};
pub use tables::DraftTable;
pub use text::{Draft, DraftCapture, DraftChannel, DraftShaft, draft_text, questions};
