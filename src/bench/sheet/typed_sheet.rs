//! A whole sheet, read key by key.

use super::capture::{TypedCapture, read_capture};
use super::channel::{AnyChannel, TypedChannel, read_channel};
use super::heat::{TypedHeat, read_heat};
use super::import_keys::read_import;
use super::instrument::{TypedInstrument, read_instrument};
use super::motor::{TypedSupply, read_motor, read_supply};
use super::quantity::Quantity;
use super::reading::{TypedReading, read_reading};
use super::reading_table::{TypedReadingTable, read_reading_table};
use super::speed_channel::TypedSpeedChannel;
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
    pub speed_channels: Vec<TypedSpeedChannel>,
    pub captures: Vec<TypedCapture>,
    pub readings: Vec<TypedReading>,
    pub heat: Vec<TypedHeat>,
    pub tables: Vec<TypedReadingTable>,
}

/// Most captures and readings of one sheet. The fit holds matrices over its unknowns, some eight a capture and one a reading: at these numbers they take
/// half a gigabyte.
const MOST_CAPTURES: usize = 250;
const MOST_READINGS: usize = 500;

/// Refuses more tables of a kind than one fit can take.
fn bounded(tables: &[Table<'_>], what: &str, most: usize) -> Result<(), BenchError> {
    match tables.get(most) {
        Some(beyond) => Err(BenchError::Invalid {
            place: beyond.place(),
            text: format!(
                "the sheet has {} {what}, expected at most {most}: the fit takes all of them together. Split them over several sheets of the same motor, each with a speed reference, and \
                 compare these with `rundown lot`",
                tables.len()
            ),
        }),
        None => Ok(()),
    }
}

pub(in crate::bench) fn read_typed(root: &Table<'_>) -> Result<TypedSheet, BenchError> {
    let motor = root.table("motor")?;
    let supply = root.table("supply")?;
    let instruments = root.named_tables("instruments")?;
    let channels = root.named_tables("channels")?;
    let captures = root.tables("captures")?;
    let readings = root.tables("readings")?;
    bounded(&captures, "captures", MOST_CAPTURES)?;
    bounded(&readings, "readings", MOST_READINGS)?;
    let heat = root.tables("heat")?;
    bounded(&heat, "heat records", MOST_CAPTURES)?;
    let tables = root.tables("tables")?;
    let import = read_import(root, &ReadOptions::default())?;
    root.finish()?;
    let motor = root.require("motor", motor, "a table [motor] with at least its name")?;
    let (motor, winding_temperature) = read_motor(&motor)?;
    let supply = supply.map(|table| read_supply(&table)).transpose()?;
    let (mut electrical, mut of_shaft) = (Vec::new(), Vec::new());
    for (name, table) in &channels {
        match read_channel(name, table)? {
            AnyChannel::Electrical(channel) => electrical.push(*channel),
            AnyChannel::Shaft(channel) => of_shaft.push(*channel),
        }
    }
    let sheet = TypedSheet {
        motor,
        winding_temperature,
        supply,
        instruments: instruments
            .iter()
            .map(|(name, table)| read_instrument(name, table))
            .collect::<Result<_, _>>()?,
        channels: electrical,
        speed_channels: of_shaft,
        captures: captures
            .iter()
            .map(|table| read_capture(table, &import))
            .collect::<Result<_, _>>()?,
        readings: readings
            .iter()
            .map(read_reading)
            .collect::<Result<_, _>>()?,
        heat: heat
            .iter()
            .map(|table| read_heat(table, &import))
            .collect::<Result<_, _>>()?,
        tables: tables
            .iter()
            .map(|table| read_reading_table(table, &import))
            .collect::<Result<_, _>>()?,
    };
    Ok(sheet)
}
