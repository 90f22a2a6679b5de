//! Bench sheet and instruments: a record becomes a [`Waveform`] in volts and amperes with stated accuracy.

mod captures;
mod channels;
mod contents;
mod draft;
mod error;
mod hardware;
mod quick;
mod read_sheet;
mod readings;
mod remarks;
mod sheet;

use contents::{accuracy, capture, setup};

pub use accuracy::{ErrorDistribution, Stated};
pub use capture::{
    ByHand, Capture, CaptureWarning, ChannelChain, CoastingBridge, HandEvent, Role, SpeedChannel,
    SpeedSignal, Trace, Waveform,
};
pub use captures::{Kept, stem as capture_name};
pub use draft::{
    Draft, DraftCapture, DraftChannel, DraftError, DraftShaft, DraftTable, RecordGuess, draft_text,
    guess_sheet, guess_sheet_of, has_capture_ending, questions,
};
pub use error::{BenchError, Place};
pub use quick::{QuickRun, quick_bench};
pub use read_sheet::{
    LoadOptions, check_sheet, read_sheet, read_sheet_bytes, read_sheet_for, read_sheet_kept,
    read_sheet_of,
};
pub(crate) use readings::table::unit_of as unit_of_column;
pub use remarks::{Assumption, BenchRemark, BenchRemarkKind};
pub use setup::{
    Bench, BrushKind, Certificate, HeatKind, HeatRecord, HeatSeries, Instrument, MagnetKind,
    MotorFacts, Reading, ReadingColumn, ReadingTable, TableKind,
};
pub(crate) use sheet::{Source, Table};
