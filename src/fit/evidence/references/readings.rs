//! The readings of a bench prepared for the fit.

use super::meters::shared_meters::SharedMeters;
use super::meters::{InductanceTerm, OhmmeterReading};
use super::reading_term::ReadingTerm;
use super::speeds::{BackEmfTerm, SpeedOfCapture, TachometerReading};
use super::tables::table_terms;
use crate::bench::{Bench, Reading};
use crate::fit::model::CaptureModel;
use crate::fit::unknowns::Layout;
use crate::fit::wording::{Remark, RemarkKind};

/// Prepares every reading; returns the terms and doubts about readings that could not be used.
pub fn prepare_readings(
    bench: &Bench,
    models: &[CaptureModel],
    layout: &mut Layout,
    reference_c: Option<f64>,
) -> (Vec<ReadingTerm>, Vec<Remark>) {
    let (mut terms, mut remarks) = (Vec::new(), Vec::new());
    let meters = SharedMeters::of(&bench.readings, &bench.tables);
    // Before the single readings, so that those added to a bench stand last.
    for index in 0..bench.tables.len() {
        let rows = table_terms(bench, index, layout, reference_c);
        terms.extend(rows.into_iter().map(ReadingTerm::Row));
    }
    for index in 0..bench.readings.len() {
        match prepare_one(bench, index, &meters, models, layout, reference_c) {
            Ok(term) => terms.extend(term),
            Err(kind) => {
                let what = match bench.readings[index] {
                    Reading::Ohmmeter { .. } => "ohmmeter",
                    _ => "speed",
                };
                remarks.push(kind.about(format!("{what} reading {}", index + 1)));
            }
        }
    }
    (terms, remarks)
}

/// The term of one reading, none where the unknowns have nothing that it could meet.
fn prepare_one(
    bench: &Bench,
    index: usize,
    meters: &SharedMeters,
    models: &[CaptureModel],
    layout: &mut Layout,
    reference_c: Option<f64>,
) -> Result<Option<ReadingTerm>, RemarkKind> {
    match &bench.readings[index] {
        Reading::Ohmmeter {
            readings_ohm,
            leads_ohm,
            relative_uncertainty,
            temperature_c,
            meter,
        } => {
            let of_this =
                |r: &Reading| matches!(r, Reading::Ohmmeter { meter: m, .. } if m == meter);
            let first = bench.readings.iter().position(of_this);
            let reading = OhmmeterReading {
                first: first.unwrap_or(index),
                readings_ohm,
                leads_ohm: *leads_ohm,
                relative_uncertainty: *relative_uncertainty,
                temperature_c: *temperature_c,
                meter: meter.as_deref(),
                meters,
            };
            let term = reading.term(bench.motor.brushes, reference_c, layout)?;
            Ok(term.map(ReadingTerm::Resistance))
        }
        Reading::InductanceMeter {
            inductance_h,
            frequency_hz,
        } => {
            let is_inductance = |r: &Reading| matches!(r, Reading::InductanceMeter { .. });
            let first = bench.readings.iter().position(is_inductance);
            let first = first.unwrap_or(index);
            let term = InductanceTerm::new(*inductance_h, *frequency_hz, first, layout);
            Ok(term.map(ReadingTerm::Inductance))
        }
        Reading::Speed {
            speed_rad_s,
            capture,
            terminal_voltage_v,
            current_a,
            meter,
        } => {
            let reading = TachometerReading {
                speed_rad_s: *speed_rad_s,
                capture: capture.as_deref(),
                current_a: *current_a,
                meter: meter.as_deref(),
                meters,
            };
            match terminal_voltage_v.filter(|_| capture.is_none()) {
                Some(voltage) => {
                    let term = reading.on_voltage(voltage, layout)?;
                    Ok(term.map(ReadingTerm::SpeedOnVoltage))
                }
                None => {
                    let term = reading.in_capture(bench.motor.supply_v, models, layout)?;
                    Ok(Some(match term {
                        SpeedOfCapture::Shown(term) => ReadingTerm::Speed(term),
                        SpeedOfCapture::AfterStart(term) => ReadingTerm::SpeedOnVoltage(term),
                    }))
                }
            }
        }
        Reading::SpunBackEmf {
            voltage_v,
            speed_rad_s,
            meter,
        } => {
            let meter = meter.as_deref();
            let term = BackEmfTerm::new(*voltage_v, *speed_rad_s, meter, meters, layout);
            Ok(Some(ReadingTerm::BackEmf(term)))
        }
    }
}
