//! Bench sheet and instruments: a record becomes a [`Waveform`] in volts and amperes with stated accuracy.

mod accuracy;
mod channel;
mod codes;
mod convert;
mod doubt;
mod doubts;
mod draft;
mod error;
mod guess_sheet;
mod hardware;
mod load;
mod quick;
mod read_sheet;
mod readings;
mod setup;
mod table;
mod typed;
mod waveform;

pub use doubt::Doubt;
pub use draft::{Draft, DraftCapture, DraftChannel, draft_text, role_name};
pub use error::{BenchError, Place, nearest};
pub use guess_sheet::{RecordGuess, guess_sheet};
pub use quick::{QuickRun, quick_bench};
pub use read_sheet::{LoadOptions, read_sheet, read_sheet_bytes, read_sheet_for, read_sheet_of};
pub use setup::{
    Bench, BrushKind, Capture, ChannelChain, Instrument, MagnetKind, MotorFacts, Reading, Role,
    Stated,
};
pub use waveform::{Trace, Waveform};
