//! Meters with which several readings were taken: their error is one number, which the number of readings does not shrink.

use crate::bench::Reading;
use crate::fit::unknowns::{Entry, Layout, MeterQuantity, Parameter, ParameterKind, Source};
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
    pub fn of(readings: &[Reading]) -> Self {
        let mut out = SharedMeters::default();
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
        let source = match quantity {
            MeterQuantity::Resistance => Source::Meter,
            _ => Source::SpeedReference,
        };
        let kind = ParameterKind::MeterError {
            quantity,
            meter: key.1,
        };
        let entry = layout.add(Parameter::free(kind, 0.0).with_prior(0.0, 1.0, source));
        let (shared, own) = (SHARED.sqrt() * sd, (1.0 - SHARED).sqrt() * sd);
        (own, Some((entry, shared)))
    }
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
        let meters = SharedMeters::of(&twelve);
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
        let meters = SharedMeters::of(&[speed(Some("tacho")), speed(None)]);
        let mut layout = Layout::default();
        for meter in [Some("tacho"), None] {
            let split = meters.split(&mut layout, MeterQuantity::Speed, meter, 1e-3);
            assert_eq!(split, (1e-3, None));
        }
        assert!(layout.is_empty());
    }
}
