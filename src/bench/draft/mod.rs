//! A first bench sheet, guessed from a folder of captures.

mod endings;
mod error;
mod guess_sheet;
mod records;
mod shaft;
mod text;

pub use error::DraftError;
pub use guess_sheet::{RecordGuess, guess_sheet, guess_sheet_of};
pub use records::has_capture_ending;
pub use shaft::DraftShaft;
pub use text::{Draft, DraftCapture, DraftChannel, draft_text};
