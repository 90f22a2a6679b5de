//! Scalar readings: tachometer, ohmmeter, and the EMF of the driven motor.

use super::instruments::Instruments;
use crate::bench::Reading;
use crate::chance::Dice;
use crate::motor::Commutation;
use crate::record::{Recording, ShotKind};
use crate::scenario::Scenario;
use crate::stated::Stated;
use crate::truth::CaptureTruth;
use std::f64::consts::TAU;

/// Limit of error of the voltmeter that reads a driven motor's EMF, relative.
const VOLTMETER_LIMIT: f64 = 0.005;

/// Voltmeter and tachometer on the driven motor; the speed is given apart, too.
pub(crate) fn driven_reading(
    recording: &Recording,
    instruments: &Instruments,
    dice: &mut Dice,
) -> (Reading, Stated) {
    let speed_rad_s = tachometer(
        recording.steady.map_or(0.0, |(speed, _)| speed),
        instruments,
        dice,
    );
    let count = recording.tape.voltage_v.len().max(1) as f64;
    let mean = recording.tape.voltage_v.iter().sum::<f64>() / count;
    let error = 0.5 * VOLTMETER_LIMIT * dice.normal().clamp(-2.0, 2.0);
    let reading = Reading::SpunBackEmf {
        voltage_v: Stated {
            value: mean * (1.0 + error),
            standard_uncertainty: 0.5 * VOLTMETER_LIMIT * mean,
        },
        speed_rad_s,
    };
    (reading, speed_rad_s)
}

/// A tachometer's display of `speed`, whole revolutions a minute.
fn tachometer(speed: f64, instruments: &Instruments, dice: &mut Dice) -> Stated {
    let limit = instruments.tachometer_limit.unwrap_or(0.0);
    let rpm = TAU / 60.0;
    let seen = speed * (1.0 + 0.5 * limit * dice.normal().clamp(-2.0, 2.0));
    Stated {
        value: (seen / rpm).round() * rpm,
        standard_uncertainty: libm::hypot(0.5 * limit * speed, rpm / 12.0_f64.sqrt()),
    }
}

/// Tachometer and ohmmeter.
pub(crate) fn meter_readings(
    scenario: &Scenario,
    truths: &[CaptureTruth],
    commutation: &Commutation,
    winding_c: f64,
    seed: u64,
) -> Vec<Reading> {
    let Scenario {
        machine,
        rig,
        instruments,
        ..
    } = scenario;
    let mut dice = Dice::new(seed, "readings");
    let mut readings = Vec::new();
    let steadily = [ShotKind::Steady, ShotKind::RunDown, ShotKind::Brake];
    let shown = steadily
        .iter()
        .find_map(|kind| truths.iter().find(|truth| truth.kind == *kind));
    if let (Some(_), Some(truth)) = (instruments.tachometer_limit, shown)
        && let Some(speed) = truth.steady_speed_rad_s
    {
        readings.push(Reading::Tachometer {
            speed_rad_s: tachometer(speed, instruments, &mut dice),
            capture: truth.name.clone(),
        });
    }
    if let Some(limit) = instruments.ohmmeter_limit {
        let gain = 1.0 + 0.5 * limit * dice.normal().clamp(-2.0, 2.0);
        let readings_ohm = (0..4)
            .map(|_| {
                let (_, position, _) = commutation.at(dice.uniform(0.0, TAU));
                let contact = machine.ohmmeter_contact_ohm * dice.uniform(0.7, 1.3);
                gain * (machine.resistance_at(winding_c) * position
                    + contact
                    + instruments.ohmmeter_leads_ohm)
            })
            .collect();
        readings.push(Reading::Ohmmeter {
            readings_ohm,
            leads_ohm: Stated {
                value: instruments.ohmmeter_leads_ohm,
                standard_uncertainty: 0.01,
            },
            relative_uncertainty: 0.5 * limit,
            winding_temperature_c: rig.temperature.stated_winding_c(),
        });
    }
    readings
}
