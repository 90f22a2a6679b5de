//! One scalar reading.

use super::quantity::{
    CURRENT, INDUCTANCE, Quantity, RESISTANCE, SPEED, TEMPERATURE, VOLTAGE, accuracy_at,
    quantity_at, size_at,
};
use super::table::Table;
use crate::bench::accuracy::Accuracy;
use crate::bench::error::{BenchError, Place};

#[derive(Clone, Debug)]
pub(in crate::bench) struct TypedReading {
    pub place: Place,
    /// Instrument the reading was taken with.
    pub with: Option<String>,
    pub what: TypedReadingKind,
}

#[derive(Clone, Debug)]
pub(in crate::bench) enum TypedReadingKind {
    Ohmmeter(TypedOhmmeter),
    InductanceMeter {
        inductance: Quantity,
        frequency_hz: Option<f64>,
    },
    Tachometer {
        speed: Quantity,
        capture: Option<String>,
        terminal_voltage: Option<Quantity>,
        current: Option<Quantity>,
    },
    SpunBackEmf {
        voltage: Quantity,
        speed: Quantity,
    },
    /// A known voltage or current on a channel, and what the channel showed.
    GainCheck {
        channel: String,
        /// In the column's SI unit.
        per_division: Option<f64>,
        applied: Quantity,
        read: Quantity,
        is_current: bool,
    },
}

#[derive(Clone, Debug)]
pub(in crate::bench) struct TypedOhmmeter {
    pub readings_ohm: Vec<f64>,
    /// True when only the range was noted and the readings were spread over it.
    pub from_range: bool,
    pub accuracy: Option<Accuracy>,
    pub leads: Option<Quantity>,
    pub temperature: Option<Quantity>,
}

pub(super) fn read_reading(table: &Table<'_>) -> Result<TypedReading, BenchError> {
    #[derive(Clone, Copy)]
    enum Kind {
        Ohmmeter,
        InductanceMeter,
        Tachometer,
        SpunBackEmf,
        GainCheck,
    }
    let kind = table.choice(
        "kind",
        "kind of reading",
        &[
            ("ohmmeter", Kind::Ohmmeter),
            ("inductance-meter", Kind::InductanceMeter),
            ("tachometer", Kind::Tachometer),
            ("spun-back-emf", Kind::SpunBackEmf),
            ("gain-check", Kind::GainCheck),
        ],
    )?;
    let kind = table.require(
        "kind",
        kind,
        "one of ohmmeter, inductance-meter, tachometer, spun-back-emf, gain-check",
    )?;
    let with = table.text("with")?;
    table.free_text("note")?;
    let what = match kind {
        Kind::Ohmmeter => TypedReadingKind::Ohmmeter(read_ohmmeter(table)?),
        Kind::InductanceMeter => {
            let inductance = size_at(table, "inductance", INDUCTANCE)?;
            let frequency_hz = table.positive("frequency_hz")?;
            table.finish()?;
            TypedReadingKind::InductanceMeter {
                inductance: table.require(
                    "inductance",
                    inductance,
                    "e.g. inductance = { mh = 0.42, limit_percent = 2 }",
                )?,
                frequency_hz,
            }
        }
        Kind::Tachometer => {
            let speed = size_at(table, "speed", SPEED)?;
            let capture = table.text("capture")?;
            let terminal_voltage = size_at(table, "terminal_voltage", VOLTAGE)?;
            let current = quantity_at(table, "current", CURRENT)?;
            table.finish()?;
            if capture.is_none() && terminal_voltage.is_none() {
                return table.invalid(
                    "speed",
                    "a speed says nothing without the state it was read in: name the `capture` that shows it, or give the `terminal_voltage`",
                );
            }
            TypedReadingKind::Tachometer {
                speed: table.require("speed", speed, "e.g. speed = { rpm = 5160 }")?,
                capture,
                terminal_voltage,
                current,
            }
        }
        Kind::SpunBackEmf => {
            let voltage = size_at(table, "voltage", VOLTAGE)?;
            let speed = size_at(table, "speed", SPEED)?;
            table.finish()?;
            TypedReadingKind::SpunBackEmf {
                voltage: table.require("voltage", voltage, "e.g. voltage = { v = 4.12 }")?,
                speed: table.require("speed", speed, "e.g. speed = { rpm = 1500 }")?,
            }
        }
        Kind::GainCheck => read_gain_check(table)?,
    };
    Ok(TypedReading {
        place: table.place(),
        with,
        what,
    })
}

fn read_gain_check(table: &Table<'_>) -> Result<TypedReadingKind, BenchError> {
    let channel = table.text("channel")?;
    let per_division = table.positive("per_division")?;
    // The unit of the applied value decides what the channel reads.
    let keys = table
        .table("applied")?
        .map(|t| t.keys())
        .unwrap_or_default();
    let is_current = keys.iter().any(|key| key == "a" || key == "ma");
    let units = if is_current { CURRENT } else { VOLTAGE };
    let applied = quantity_at(table, "applied", units)?;
    let read = quantity_at(table, "read", units)?;
    table.finish()?;
    let example = "e.g. applied = { v = 5.000, limit_percent = 0.1 } and read = { v = 4.93, standard_v = 0.005 }";
    let applied = table.require("applied", applied, example)?;
    if applied.value == 0.0 {
        return table.invalid(
            "applied",
            format!("a gain cannot be checked with nothing applied; {example}"),
        );
    }
    Ok(TypedReadingKind::GainCheck {
        channel: table.require("channel", channel, "the scope channel that was checked")?,
        per_division,
        applied,
        read: table.require("read", read, example)?,
        is_current,
    })
}

fn read_ohmmeter(table: &Table<'_>) -> Result<TypedOhmmeter, BenchError> {
    let readings = table.numbers("readings_ohm")?;
    let range = table.numbers("range_ohm")?;
    let positions = table.count("positions")?;
    let accuracy = accuracy_at(table, "accuracy", RESISTANCE, false)?;
    let leads = size_at(table, "leads", RESISTANCE)?;
    let temperature = quantity_at(table, "winding_temperature", TEMPERATURE)?;
    table.finish()?;
    let (readings_ohm, from_range) = match (readings, range) {
        (Some(_), Some(_)) => {
            return table.invalid(
                "range_ohm",
                "give either `readings_ohm` or `range_ohm` with `positions`, not both",
            );
        }
        (Some(readings), None) => (readings, false),
        (None, Some(range)) => match (range.as_slice(), positions) {
            ([low, high], Some(n)) if low <= high && n >= 2 => {
                let step = (high - low) / f64::from(n - 1);
                ((0..n).map(|k| low + f64::from(k) * step).collect(), true)
            }
            _ => {
                return table.invalid(
                    "range_ohm",
                    "`range_ohm` holds the lowest and the highest reading, and `positions` how many (2 or more) were read",
                );
            }
        },
        (None, None) => {
            return Err(table.missing(
                "readings_ohm",
                "the readings over the rotor positions, or `range_ohm` with `positions`",
            ));
        }
    };
    if let Some(bad) = readings_ohm.iter().find(|r| **r <= 0.0) {
        return table.invalid(
            if from_range {
                "range_ohm"
            } else {
                "readings_ohm"
            },
            format!("an ohmmeter cannot have read {bad} Ω across a motor"),
        );
    }
    Ok(TypedOhmmeter {
        readings_ohm,
        from_range,
        accuracy,
        leads,
        temperature,
    })
}
