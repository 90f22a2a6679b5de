//! The motor and its source.

use super::quantity::{CAPACITANCE, Quantity, TEMPERATURE, VOLTAGE, quantity_at, size_at};
use super::table::Table;
use crate::bench::error::BenchError;
use crate::bench::setup::{BrushKind, MagnetKind, MotorFacts};

/// Most field poles that a sheet may state.
const MOST_POLES: u32 = 24;

/// The source of the bench.
#[derive(Clone, Debug)]
pub struct TypedSupply {
    /// Open-circuit voltage.
    pub voltage: Option<Quantity>,
    pub current_limit_a: Option<f64>,
}

pub fn read_motor(table: &Table<'_>) -> Result<(MotorFacts, Option<Quantity>), BenchError> {
    let name = table.text("name")?;
    let commutator_segments = table.count("commutator_segments")?;
    let poles = table.count("poles")?;
    let brush_count = table.count("brush_count")?;
    let brushes = table.choice(
        "brushes",
        "brush kind",
        &[
            ("carbon", BrushKind::Carbon),
            ("metal-carbon", BrushKind::MetalCarbon),
            ("metal", BrushKind::Metal),
        ],
    )?;
    let magnets = table.choice(
        "magnets",
        "magnet kind",
        &[
            ("ferrite", MagnetKind::Ferrite),
            ("neodymium", MagnetKind::Neodymium),
            ("samarium-cobalt", MagnetKind::SamariumCobalt),
        ],
    )?;
    let room_temperature_c = table.number("room_temperature_c")?;
    let winding_temperature = quantity_at(table, "winding_temperature", TEMPERATURE)?;
    let capacitor = size_at(table, "capacitor", CAPACITANCE)?;
    table.free_text("note")?;
    table.finish()?;
    if let Some(room) = room_temperature_c.filter(|t| !(-60.0..=150.0).contains(t)) {
        return table.invalid(
            "room_temperature_c",
            format!("the room is said to be at {room} °C; expected -60 to 150 °C"),
        );
    }
    if let Some(n) = poles.filter(|n| !n.is_multiple_of(2) || *n > MOST_POLES) {
        return table.invalid(
            "poles",
            format!("{n} field poles; poles come in pairs of north and south: expected an even number, 2 to {MOST_POLES}"),
        );
    }
    if let Some(n) = brush_count
        && n != 2
        && poles.map_or(!n.is_multiple_of(2) || n > MOST_POLES, |p| n != p)
    {
        let expected = poles.map_or("2, or the number of poles".to_owned(), |p| {
            format!("2 or {p}")
        });
        return table.invalid(
            "brush_count",
            format!("{n} brushes; expected {expected}. Count brushes that lie side by side as one"),
        );
    }
    let name = table.require("name", name, "a few words that describe the motor")?;
    Ok((
        MotorFacts {
            name,
            commutator_segments,
            poles,
            brush_count,
            brushes,
            magnets,
            supply_v: None,
            room_temperature_c,
            capacitor_f: capacitor.map(|c| c.value),
        },
        winding_temperature,
    ))
}

pub fn read_supply(table: &Table<'_>) -> Result<TypedSupply, BenchError> {
    let supply = TypedSupply {
        voltage: size_at(table, "voltage", VOLTAGE)?,
        current_limit_a: table.positive("current_limit_a")?,
    };
    table.free_text("note")?;
    table.finish()?;
    Ok(supply)
}
