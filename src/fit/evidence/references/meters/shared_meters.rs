//! Meters with which several readings were taken: their error is one number, which the number of readings does not shrink.

use crate::bench::{Reading, ReadingTable};
use crate::fit::unknowns::{Entry, Layout, MeterQuantity, Parameter, ParameterKind, Source};
use crate::quantity::units::Quantity;
use std::collections::BTreeMap;

/// Share of the variance of a meter's stated accuracy that all its readings have in common; the rest, digits and connections, differs
/// from one to the next (common practice, no source).
const SHARED: f64 = 0.8;

/// How many readings each meter made of each quantity. Readings that name no meter were made with the one that is there.
#[derive(Debug, Default)]
pub struct SharedMeters(BTreeMap<(MeterQuantity, Option<String>), usize>);

/// An entry, and the shift of a logarithm when it rises by one.
pub type SharedError = (Entry, f64);

impl SharedMeters {
    /// Counts the readings.
    pub fn of(readings: &[Reading], tables: &[ReadingTable]) -> Self {
        let mut out = SharedMeters::default();
        for column in tables.iter().flat_map(|table| &table.columns) {
            if let Some(quantity) = meter_quantity(column.quantity) {
                // A table's rows always have their meter in common.
                *out.0.entry((quantity, column.meter.clone())).or_default() += column.values.len();
            }
        }
        for reading in readings {
            match reading {
                Reading::Ohmmeter { meter, .. } => out.count(MeterQuantity::Resistance, meter),
                Reading::InductanceMeter { .. } => {}
                Reading::Speed {
                    meter,
                    capture,
                    terminal_voltage_v,
                    current_a,
                    ..
                } => {
                    out.count(MeterQuantity::Speed, meter);
                    if capture.is_none() && terminal_voltage_v.is_some() {
                        out.count(MeterQuantity::Voltage, &None);
                        if current_a.is_some() {
                            out.count(MeterQuantity::Current, &None);
                        }
                    }
                }
                Reading::SpunBackEmf { meter, .. } => {
                    out.count(MeterQuantity::Voltage, meter);
                    out.count(MeterQuantity::Speed, &None);
                }
            }
        }
        out
    }

    fn count(&mut self, quantity: MeterQuantity, meter: &Option<String>) {
        *self.0.entry((quantity, meter.clone())).or_default() += 1;
    }

    /// Splits the relative standard uncertainty `sd` of one reading into its own part and what it shares with the meter's other readings;
    /// all of it is its own where there is no other.
    pub fn split(
        &self,
        layout: &mut Layout,
        quantity: MeterQuantity,
        meter: Option<&str>,
        sd: f64,
    ) -> (f64, Option<SharedError>) {
        let key = (quantity, meter.map(str::to_owned));
        if self.0.get(&key).is_none_or(|count| *count < 2) || sd <= 0.0 {
            return (sd, None);
        }
        let entry = layout.add(gain(quantity, key.1));
        let (own, shared) = own_and_shared(sd);
        (own, Some((entry, shared)))
    }
}

/// Of the standard uncertainty `sd` of a meter's gain or zero: what one reading has alone, and what all have in common.
pub fn own_and_shared(sd: f64) -> (f64, f64) {
    ((1.0 - SHARED).sqrt() * sd, SHARED.sqrt() * sd)
}

/// The gain error that all readings of a meter share, in its stated standard uncertainties.
pub fn gain(quantity: MeterQuantity, meter: Option<String>) -> Parameter {
    let kind = ParameterKind::MeterError { quantity, meter };
    Parameter::free(kind, 0.0).with_prior(0.0, 1.0, source(quantity))
}

/// The zero that all readings of a meter share, likewise.
pub fn zero(quantity: MeterQuantity, meter: Option<String>) -> Parameter {
    let kind = ParameterKind::MeterZero { quantity, meter };
    Parameter::free(kind, 0.0).with_prior(0.0, 1.0, source(quantity))
}

fn source(quantity: MeterQuantity) -> Source {
    match quantity {
        MeterQuantity::Resistance => Source::Meter,
        _ => Source::SpeedReference,
    }
}

/// What the meter of a table's column reads, where its error matters.
pub fn meter_quantity(quantity: Quantity) -> Option<MeterQuantity> {
    Some(match quantity {
        Quantity::Voltage => MeterQuantity::Voltage,
        Quantity::Current => MeterQuantity::Current,
        Quantity::Speed => MeterQuantity::Speed,
        Quantity::Torque => MeterQuantity::Torque,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::Stated;

    fn speed(meter: Option<&str>) -> Reading {
        Reading::Speed {
            speed_rad_s: Stated {
                value: 540.0,
                standard_uncertainty: 0.5,
            },
            capture: Some("coast".into()),
            terminal_voltage_v: None,
            current_a: None,
            meter: meter.map(str::to_owned),
        }
    }

    #[test]
    fn twelve_readings_of_one_tachometer_share_most_of_its_error() {
        let twelve = vec![speed(Some("tacho")); 12];
        let meters = SharedMeters::of(&twelve, &[]);
        let mut layout = Layout::default();
        let (own, shared) = meters.split(&mut layout, MeterQuantity::Speed, Some("tacho"), 1e-3);
        let (entry, factor) = shared.expect("a shared error");
        let again = meters.split(&mut layout, MeterQuantity::Speed, Some("tacho"), 1e-3);
        assert_eq!(again.1, Some((entry, factor)), "one entry for all of them");
        assert!((own.hypot(factor) - 1e-3).abs() < 1e-12);
        // The mean of all twelve is hardly better known than one of them.
        assert!((own / 12f64.sqrt()).hypot(factor) > 0.85e-3);
    }

    #[test]
    fn a_single_reading_keeps_its_whole_uncertainty() {
        let meters = SharedMeters::of(&[speed(Some("tacho")), speed(None)], &[]);
        let mut layout = Layout::default();
        for meter in [Some("tacho"), None] {
            let split = meters.split(&mut layout, MeterQuantity::Speed, meter, 1e-3);
            assert_eq!(split, (1e-3, None));
        }
        assert!(layout.is_empty());
    }
}
