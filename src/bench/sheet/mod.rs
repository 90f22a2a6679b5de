//! The bench sheet as typed: every key read and checked for its form, nothing looked up or opened yet.

mod capture;
mod channel;
mod import_keys;
mod instrument;
mod motor;
mod quantity;
mod reading;
mod source;
mod table;
mod typed_sheet;

pub(super) use capture::TypedCapture;
pub(super) use channel::{ChannelKeys, ChannelOverride, Measures, TypedChannel};
pub(super) use instrument::{InstrumentKind, TypedInstrument};
pub(super) use quantity::Quantity;
pub(super) use reading::{TypedOhmmeter, TypedReading, TypedReadingKind};
pub(super) use source::Source;
pub(super) use table::{NameOrNumber, Table, unknown_name};
pub(super) use typed_sheet::{TypedSheet, read_typed};
