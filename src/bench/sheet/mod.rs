//! What the tables of a sheet are read with: [`Table`] key by key, quantities with their accuracies, and those tables that nothing but
//! their form can be said of before a file is opened.

mod channel;
mod heat;
mod import_keys;
mod instrument;
mod motor;
mod quantity;
mod reading_table;
mod source;
mod speed_channel;
mod table;
mod value;

pub(super) use channel::{
    ChannelKeys, ChannelOverride, Measures, TypedChannel, read_channels, read_override,
};
pub(super) use heat::{TypedHeat, TypedSeries, read_heat};
pub(super) use import_keys::read_import;
pub(super) use instrument::{InstrumentKind, TypedInstrument, read_instrument};
pub(super) use motor::{TypedSupply, read_motor, read_supply};
pub(super) use quantity::*;
pub(super) use reading_table::{TypedColumn, TypedReadingTable, read_reading_table};
pub(crate) use source::Source;
pub(super) use speed_channel::{SpeedOverride, TypedSpeedChannel, read_speed_override};
pub(super) use table::NameOrNumber;
pub(crate) use table::Table;
