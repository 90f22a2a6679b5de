//! A whole sheet, read key by key.

use super::capture::{TypedCapture, read_capture};
use super::channel::{TypedChannel, read_channel};
use super::import_keys::read_import;
use super::instrument::{TypedInstrument, read_instrument};
use super::motor::{TypedSupply, read_motor, read_supply};
use super::quantity::Quantity;
use super::reading::{TypedReading, read_reading};
use super::table::Table;
use crate::bench::error::BenchError;
use crate::bench::setup::MotorFacts;
use crate::capture::ReadOptions;

/// A whole sheet as typed.
#[derive(Clone, Debug)]
pub(in crate::bench) struct TypedSheet {
    pub motor: MotorFacts,
    pub winding_temperature: Option<Quantity>,
    pub supply: Option<TypedSupply>,
    pub instruments: Vec<TypedInstrument>,
    pub channels: Vec<TypedChannel>,
    pub captures: Vec<TypedCapture>,
    pub readings: Vec<TypedReading>,
}

pub(in crate::bench) fn read_typed(root: &Table<'_>) -> Result<TypedSheet, BenchError> {
    let motor = root.table("motor")?;
    let supply = root.table("supply")?;
    let instruments = root.named_tables("instruments")?;
    let channels = root.named_tables("channels")?;
    let captures = root.tables("captures")?;
    let readings = root.tables("readings")?;
    let import = read_import(root, &ReadOptions::default())?;
    root.finish()?;
    let motor = root.require("motor", motor, "a table [motor] with at least its name")?;
    let (motor, winding_temperature) = read_motor(&motor)?;
    let supply = supply.map(|table| read_supply(&table)).transpose()?;
    let sheet = TypedSheet {
        motor,
        winding_temperature,
        supply,
        instruments: instruments
            .iter()
            .map(|(name, table)| read_instrument(name, table))
            .collect::<Result<_, _>>()?,
        channels: channels
            .iter()
            .map(|(name, table)| read_channel(name, table))
            .collect::<Result<_, _>>()?,
        captures: captures
            .iter()
            .map(|table| read_capture(table, &import))
            .collect::<Result<_, _>>()?,
        readings: readings
            .iter()
            .map(read_reading)
            .collect::<Result<_, _>>()?,
    };
    Ok(sheet)
}
