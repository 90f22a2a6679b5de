//! The bench sheet as typed: every key read and checked for its form, nothing looked up or opened yet.

mod bridge;
mod by_hand;
mod capture;
mod channel;
mod heat;
mod import_keys;
mod instrument;
mod motor;
mod quantity;
mod reading;
mod reading_table;
mod source;
mod speed_channel;
mod table;
mod typed_sheet;

pub(super) use capture::TypedCapture;
pub(super) use channel::{ChannelKeys, ChannelOverride, Measures, TypedChannel};
pub(super) use heat::{TypedHeat, TypedSeries};
pub(super) use instrument::{InstrumentKind, TypedInstrument};
pub(super) use quantity::Quantity;
pub(super) use reading::{TypedOhmmeter, TypedReading, TypedReadingKind};
pub(super) use reading_table::{TypedColumn, TypedReadingTable};
pub(super) use source::Source;
pub(super) use speed_channel::TypedSpeedChannel;
pub(super) use table::{NameOrNumber, Table, unknown_name};
pub(super) use typed_sheet::{TypedSheet, read_typed};
