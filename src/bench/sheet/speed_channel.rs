//! A channel that shows speed, position or pulses of the shaft.

use super::quantity::{
    MOTOR_CONSTANT, Quantity, RATIO, SPEED, TIME, VOLTAGE, accuracy_at, read_accuracy, size_at,
};
use super::table::{NameOrNumber, Table};
use crate::bench::accuracy::Accuracy;
use crate::bench::capture::SpeedSignal;
use crate::bench::error::{BenchError, Place};

/// A speed channel as typed.
#[derive(Clone, Debug)]
pub struct TypedSpeedChannel {
    pub name: String,
    pub place: Place,
    pub signal: SpeedSignal,
    pub column: Option<Vec<NameOrNumber>>,
    pub through: Vec<String>,
    pub reversed: bool,
    /// Unit of a column that states none.
    pub unit: Option<String>,
    /// Volts of a tachogenerator over its speed, V·s/rad.
    pub volts_per_speed: Option<Quantity>,
    /// Accuracy of a speed that is one already.
    pub gain: Option<Accuracy>,
    /// In V behind a tachogenerator, else in rad/s.
    pub zero: Option<Accuracy>,
    pub counts_per_turn: Option<f64>,
    /// Count at which the counter begins again.
    pub rollover: Option<f64>,
    pub pulses_per_turn: Option<u32>,
    pub delay: Option<Quantity>,
    /// Turns of the motor in a turn of the sensor's shaft, with its relative accuracy.
    pub gear: Option<(f64, Accuracy)>,
}

/// What a capture says of its speed channel.
#[derive(Clone, Debug)]
pub struct SpeedOverride {
    pub place: Place,
    pub recorded: bool,
    pub channel: Option<String>,
}

pub fn read_speed_channel(
    name: &str,
    signal: SpeedSignal,
    table: &Table<'_>,
) -> Result<TypedSpeedChannel, BenchError> {
    let mut out = TypedSpeedChannel {
        name: name.to_string(),
        place: table.place(),
        signal,
        column: table.columns("column")?,
        through: table.texts("through")?.unwrap_or_default(),
        reversed: table.flag("reversed")?.unwrap_or(false),
        unit: None,
        volts_per_speed: None,
        gain: None,
        zero: None,
        counts_per_turn: None,
        rollover: None,
        pulses_per_turn: None,
        delay: size_at(table, "delay", TIME)?,
        gear: gear(table)?,
    };
    match signal {
        SpeedSignal::Speed => {
            out.unit = table.text("unit")?;
            out.volts_per_speed = size_at(table, "volts_per_speed", MOTOR_CONSTANT)?;
            let zero = match out.volts_per_speed {
                Some(_) => VOLTAGE,
                None => SPEED,
            };
            out.gain = accuracy_at(table, "gain", RATIO, false)?;
            out.zero = accuracy_at(table, "zero", zero, false)?;
        }
        SpeedSignal::Position => {
            out.unit = table.text("unit")?;
            out.counts_per_turn = table.positive("counts_per_turn")?;
            out.rollover = table.positive("rollover")?;
        }
        SpeedSignal::Pulses => out.pulses_per_turn = table.count("pulses_per_turn")?,
    }
    table.free_text("note")?;
    table.finish()?;
    match signal {
        SpeedSignal::Speed if out.volts_per_speed.is_some() && out.gain.is_some() => table.invalid(
            "gain",
            "the accuracy of a tachogenerator belongs beside its constant: volts_per_speed = { v_per_krpm = …, limit_percent = … }",
        ),
        SpeedSignal::Position if out.counts_per_turn.is_none() && out.unit.is_none() => {
            Err(table.missing(
                "counts_per_turn",
                "the counts in a turn (four times the lines where all edges are counted), or `unit` where the column holds an angle",
            ))
        }
        SpeedSignal::Pulses => {
            table.require(
                "pulses_per_turn",
                out.pulses_per_turn,
                "how many pulses the pickup gives in a turn",
            )?;
            Ok(out)
        }
        _ => Ok(out),
    }
}

fn gear(parent: &Table<'_>) -> Result<Option<(f64, Accuracy)>, BenchError> {
    let Some(table) = parent.table("gear")? else {
        return Ok(None);
    };
    let turns = table.positive("motor_turns")?;
    let accuracy = read_accuracy(&table, RATIO, false)?;
    table.finish()?;
    let turns = table.require(
        "motor_turns",
        turns,
        "turns of the motor in one turn of the sensor's shaft, e.g. gear = { motor_turns = 30, limit_percent = 0.1 }",
    )?;
    Ok(Some((turns, accuracy)))
}

pub fn read_speed_override(parent: &Table<'_>) -> Result<Option<SpeedOverride>, BenchError> {
    let Some(table) = parent.table("speed")? else {
        return Ok(None);
    };
    let recorded = table.flag("recorded")?.unwrap_or(true);
    let channel = table.text("channel")?;
    table.finish()?;
    Ok(Some(SpeedOverride {
        place: parent.place_of("speed"),
        recorded,
        channel,
    }))
}
