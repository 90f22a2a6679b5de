//! One instrument.

use super::quantity::{CURRENT, INDUCTANCE, RATIO, RESISTANCE, SPEED, Units, VOLTAGE, accuracy_at};
use super::table::Table;
use crate::bench::accuracy::Accuracy;
use crate::bench::error::BenchError;
use crate::bench::setup::Certificate;
use crate::quantity::units::Quantity;

#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum InstrumentKind {
    #[default]
    Oscilloscope,
    VoltageProbe,
    CurrentProbe,
    Shunt,
    Meter,
    Tachometer,
}

#[derive(Clone, Debug, Default)]
pub struct TypedInstrument {
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
    pub certificate: Option<Certificate>,
    /// Accuracies of a meter or tachometer.
    reads: Vec<(Quantity, Accuracy)>,
}

impl TypedInstrument {
    /// An instrument of which only the kind is known.
    pub fn unstated(name: &str, kind: InstrumentKind) -> Self {
        TypedInstrument {
            name: name.to_string(),
            kind,
            ..TypedInstrument::default()
        }
    }

    /// The accuracy with which a meter or tachometer reads a quantity.
    pub fn reads(&self, quantity: Quantity) -> Option<Accuracy> {
        let mut known = self.reads.iter();
        known.find(|(q, _)| *q == quantity).map(|(_, a)| *a)
    }

    fn read_accuracies(&mut self, table: &Table<'_>, of: &[Units]) -> Result<(), BenchError> {
        for units in of {
            let accuracy = accuracy_at(table, &units.quantity.to_string(), *units, false)?;
            self.reads.extend(accuracy.map(|a| (units.quantity, a)));
        }
        Ok(())
    }
}

pub fn read_instrument(name: &str, table: &Table<'_>) -> Result<TypedInstrument, BenchError> {
    use InstrumentKind::*;
    let kinds = [
        ("oscilloscope", Oscilloscope),
        ("voltage-probe", VoltageProbe),
        ("current-probe", CurrentProbe),
        ("shunt", Shunt),
        ("meter", Meter),
        ("tachometer", Tachometer),
    ];
    let kind = table.kind("instrument kind", &kinds)?;
    let mut instrument = TypedInstrument::unstated(name, kind);
    // Each kind knows its own keys, so that a clamp's zero typed at a shunt is refused.
    match kind {
        Oscilloscope => {
            instrument.bits = table.count("bits")?;
            if let Some(bits) = instrument.bits.filter(|bits| *bits > MOST_BITS) {
                let text = format!(
                    "`bits` is {bits}, expected those of the converter, at most {MOST_BITS}"
                );
                return table.invalid("bits", text);
            }
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
        Meter => instrument.read_accuracies(table, &[RESISTANCE, INDUCTANCE, VOLTAGE, CURRENT])?,
        Tachometer => instrument.read_accuracies(table, &[SPEED])?,
    }
    instrument.certificate = certificate(name, table)?;
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

/// Most bits of a converter that a sheet may state: records hold 32-bit codes at most.
const MOST_BITS: u32 = 32;

/// Number and date of the calibration certificate.
fn certificate(name: &str, table: &Table<'_>) -> Result<Option<Certificate>, BenchError> {
    let (number, date) = (table.text("certificate")?, table.date("calibrated")?);
    if let (None, Some(_)) = (&number, &date) {
        return Err(table.missing(
            "certificate",
            "the number of the certificate of that date, e.g. certificate = \"K-2291\"",
        ));
    }
    Ok(number.map(|number| Certificate {
        instrument: name.to_string(),
        number,
        date,
    }))
}
