//! Bytes of an exported file to a [`Record`]: decoding, layout found by structure, numbers, units, faults with positions.

mod record;

pub use record::{Channel, ChannelFacts, PreambleFact, Record, Remark, TimeAxis};
