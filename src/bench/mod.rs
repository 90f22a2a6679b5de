//! Bench sheet and instruments: a record becomes a [`Waveform`] in volts and amperes with stated accuracy.

mod accuracy;
mod capture_warning;
mod captures;
mod channels;
mod draft;
mod error;
mod hardware;
mod quick;
mod read_sheet;
mod readings;
mod setup;
mod sheet;
mod stated;
mod waveform;

pub use capture_warning::CaptureWarning;
pub use draft::{
    Draft, DraftCapture, DraftChannel, DraftError, RecordGuess, draft_text, guess_sheet,
};
pub use error::{BenchError, Place};
pub use quick::{QuickRun, quick_bench};
pub use read_sheet::{LoadOptions, read_sheet, read_sheet_bytes, read_sheet_for, read_sheet_of};
pub use setup::{
    Bench, BrushKind, Capture, ChannelChain, ErrorDistribution, Instrument, MagnetKind, MotorFacts,
    Reading, Role, Stated,
};
pub use waveform::{Trace, Waveform};
