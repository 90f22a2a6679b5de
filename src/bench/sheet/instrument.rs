//! One instrument.

use super::quantity::{CURRENT, INDUCTANCE, RATIO, RESISTANCE, SPEED, VOLTAGE, accuracy_at};
use super::table::Table;
use crate::bench::accuracy::Accuracy;
use crate::bench::error::BenchError;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::bench) enum InstrumentKind {
    Oscilloscope,
    VoltageProbe,
    CurrentProbe,
    Shunt,
    Meter,
    Tachometer,
}

#[derive(Clone, Debug)]
pub(in crate::bench) struct TypedInstrument {
    pub name: String,
    pub kind: InstrumentKind,
    pub bits: Option<u32>,
    pub divisions: Option<u32>,
    /// Gain of a scope or probe, tolerance of a shunt.
    pub gain: Option<Accuracy>,
    /// Part of an oscilloscope's gain error that each vertical range has for itself.
    pub range_gain: Option<Accuracy>,
    pub zero: Option<Accuracy>,
    pub time_base: Option<Accuracy>,
    pub bandwidth_hz: Option<f64>,
    pub skew_s: Option<f64>,
    pub resistance_ohm: Option<f64>,
    /// Accuracies of a meter or tachometer.
    pub reads_resistance: Option<Accuracy>,
    pub reads_inductance: Option<Accuracy>,
    pub reads_voltage: Option<Accuracy>,
    pub reads_current: Option<Accuracy>,
    pub reads_speed: Option<Accuracy>,
}

impl TypedInstrument {
    /// An instrument of which only the kind is known.
    pub fn unstated(name: &str, kind: InstrumentKind) -> Self {
        TypedInstrument {
            name: name.to_string(),
            kind,
            bits: None,
            divisions: None,
            gain: None,
            range_gain: None,
            zero: None,
            time_base: None,
            bandwidth_hz: None,
            skew_s: None,
            resistance_ohm: None,
            reads_resistance: None,
            reads_inductance: None,
            reads_voltage: None,
            reads_current: None,
            reads_speed: None,
        }
    }
}

pub(super) fn read_instrument(
    name: &str,
    table: &Table<'_>,
) -> Result<TypedInstrument, BenchError> {
    use InstrumentKind::*;
    let kind = table.choice(
        "kind",
        "instrument kind",
        &[
            ("oscilloscope", Oscilloscope),
            ("voltage-probe", VoltageProbe),
            ("current-probe", CurrentProbe),
            ("shunt", Shunt),
            ("meter", Meter),
            ("tachometer", Tachometer),
        ],
    )?;
    let kind = table.require(
        "kind",
        kind,
        "one of oscilloscope, voltage-probe, current-probe, shunt, meter, tachometer",
    )?;
    let mut instrument = TypedInstrument::unstated(name, kind);
    // Each kind knows its own keys, so that a clamp's zero typed at a shunt is refused.
    match kind {
        Oscilloscope => {
            instrument.bits = table.count("bits")?;
            instrument.divisions = table.count("divisions")?;
            instrument.gain = accuracy_at(table, "gain", RATIO, true)?;
            instrument.range_gain = accuracy_at(table, "range_gain", RATIO, true)?;
            instrument.zero = accuracy_at(table, "zero", RATIO, true)?;
            instrument.time_base = accuracy_at(table, "time_base", RATIO, false)?;
            instrument.bandwidth_hz = table.positive("bandwidth_hz")?;
            instrument.skew_s = table.positive("skew_s")?;
        }
        VoltageProbe => {
            instrument.gain = accuracy_at(table, "gain", RATIO, false)?;
            instrument.zero = accuracy_at(table, "zero", VOLTAGE, false)?;
            instrument.bandwidth_hz = table.positive("bandwidth_hz")?;
        }
        CurrentProbe => {
            instrument.gain = accuracy_at(table, "gain", RATIO, false)?;
            instrument.zero = accuracy_at(table, "zero", CURRENT, false)?;
            instrument.bandwidth_hz = table.positive("bandwidth_hz")?;
            instrument.skew_s = table.positive("skew_s")?;
        }
        Shunt => {
            instrument.resistance_ohm = table.positive("resistance_ohm")?;
            instrument.gain = accuracy_at(table, "tolerance", RESISTANCE, false)?;
            instrument.bandwidth_hz = table.positive("bandwidth_hz")?;
        }
        Meter => {
            instrument.reads_resistance = accuracy_at(table, "resistance", RESISTANCE, false)?;
            instrument.reads_inductance = accuracy_at(table, "inductance", INDUCTANCE, false)?;
            instrument.reads_voltage = accuracy_at(table, "voltage", VOLTAGE, false)?;
            instrument.reads_current = accuracy_at(table, "current", CURRENT, false)?;
        }
        Tachometer => instrument.reads_speed = accuracy_at(table, "speed", SPEED, false)?,
    }
    table.free_text("note")?;
    table.finish()?;
    if kind == Shunt {
        table.require(
            "resistance_ohm",
            instrument.resistance_ohm,
            "the shunt's resistance, e.g. resistance_ohm = 0.05",
        )?;
    }
    Ok(instrument)
}
