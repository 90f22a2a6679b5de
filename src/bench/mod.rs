//! Bench sheet and instruments: a record becomes a [`Waveform`] in volts and amperes with stated accuracy.

mod setup;
mod waveform;

pub use setup::{
    Bench, BrushKind, Capture, ChannelChain, Instrument, MagnetKind, MotorFacts, Reading, Role,
    Stated,
};
pub use waveform::{Trace, Waveform};
