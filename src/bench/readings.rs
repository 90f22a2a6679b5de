//! Scalar readings with the accuracy of their own, of the instrument they were taken with, or an assumed one.

use super::accuracy::{Accuracy, Quantity};
use super::error::BenchError;
use super::read_sheet::winding_temperature;
use super::setup::{Reading, Stated};
use super::sheet::{InstrumentKind, TypedInstrument, TypedReading, TypedReadingKind, unknown_name};
use crate::quantity::units::RPM;

/// One reading, validated.
pub(super) fn reading(
    typed: &TypedReading,
    instruments: &[TypedInstrument],
    captures: &[String],
    remarks: &mut Vec<String>,
) -> Result<Reading, BenchError> {
    let with = typed
        .with
        .as_ref()
        .map(|name| find(name, typed, instruments))
        .transpose()?;
    let line = typed.place.line;
    match &typed.what {
        TypedReadingKind::Ohmmeter {
            readings_ohm,
            from_range,
            accuracy,
            leads,
            temperature,
        } => {
            let accuracy = accuracy
                .or(with.and_then(|w| w.reads_resistance))
                .unwrap_or_else(|| {
                    remarks.push(format!(
                        "line {line}: no accuracy of the ohmmeter stated; assumed a limit of 1 %, read as two standard deviations"
                    ));
                    Accuracy::limit_relative(0.01)
                });
            if *from_range {
                remarks.push(format!(
                    "line {line}: only the range of the ohmmeter readings was noted; taken as {} readings spread evenly over it",
                    readings_ohm.len()
                ));
            }
            let mean = readings_ohm.iter().sum::<f64>() / readings_ohm.len() as f64;
            Ok(Reading::Ohmmeter {
                readings_ohm: readings_ohm.clone(),
                leads_ohm: leads.as_ref().map(|l| l.stated_or(accuracy)),
                relative_uncertainty: accuracy.standard_uncertainty(mean, 0.0) / mean,
                temperature_c: temperature
                    .as_ref()
                    .map(|t| winding_temperature(t, remarks))
                    .transpose()?,
            })
        }
        TypedReadingKind::InductanceMeter {
            inductance,
            frequency_hz,
        } => Ok(Reading::InductanceMeter {
            inductance_h: by(
                inductance,
                with.and_then(|w| w.reads_inductance),
                "inductance",
            )?,
            frequency_hz: *frequency_hz,
        }),
        TypedReadingKind::Tachometer {
            speed,
            capture,
            terminal_voltage,
            current,
        } => {
            if let Some(name) = capture.as_ref().filter(|c| !captures.contains(c)) {
                let known: Vec<&str> = captures.iter().map(String::as_str).collect();
                return Err(unknown_name(typed.place.clone(), "capture", name, &known));
            }
            Ok(Reading::Speed {
                speed_rad_s: tachometer(speed, with, line, remarks),
                capture: capture.clone(),
                terminal_voltage_v: terminal_voltage
                    .as_ref()
                    .map(|v| v.stated("terminal_voltage"))
                    .transpose()?,
                current_a: current.as_ref().map(|c| c.stated("current")).transpose()?,
            })
        }
        TypedReadingKind::SpunBackEmf { voltage, speed } => Ok(Reading::SpunBackEmf {
            voltage_v: by(voltage, with.and_then(|w| w.reads_voltage), "voltage")?,
            speed_rad_s: tachometer(speed, None, line, remarks),
        }),
    }
}

fn find<'i>(
    name: &str,
    typed: &TypedReading,
    instruments: &'i [TypedInstrument],
) -> Result<&'i TypedInstrument, BenchError> {
    let readers: Vec<&TypedInstrument> = instruments
        .iter()
        .filter(|i| matches!(i.kind, InstrumentKind::Meter | InstrumentKind::Tachometer))
        .collect();
    let known: Vec<&str> = readers.iter().map(|i| i.name.as_str()).collect();
    readers
        .iter()
        .find(|i| i.name == name)
        .copied()
        .ok_or_else(|| unknown_name(typed.place.clone(), "meter or tachometer", name, &known))
}

fn by(quantity: &Quantity, meter: Option<Accuracy>, key: &str) -> Result<Stated, BenchError> {
    match meter {
        Some(accuracy) => Ok(quantity.stated_or(accuracy)),
        None => quantity.stated(key),
    }
}

pub(super) fn tachometer(
    speed: &Quantity,
    with: Option<&TypedInstrument>,
    line: u32,
    remarks: &mut Vec<String>,
) -> Stated {
    let stated = with.and_then(|w| w.reads_speed);
    if stated.is_none() && speed.accuracy.is_empty() {
        remarks.push(format!(
            "line {line}: no accuracy of the speed stated; assumed a limit of 0.1 % and 1 rpm, read as two standard deviations"
        ));
    }
    let assumed = Accuracy::limit_relative(1e-3).and_limit_absolute(RPM);
    speed.stated_or(stated.unwrap_or(assumed))
}
