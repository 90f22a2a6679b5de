//! One bench out of a scenario and a seed.

use super::bench::{Capture, DrawnBench, DrivenRecord, Waveform};
use super::chance::Dice;
use super::error::DrawError;
use super::motor::Commutation;
use super::record::{Recording, Shot, ShotKind, Wiring, take};
use super::rig::CurrentSensor;
use super::scenario::Scenario;
use super::scope::{InstrumentErrors, Screens, driven_reading, meter_readings};
use super::stated::Stated;
use super::truth::{CaptureTruth, Truth};

/// Draws one bench: errors of the instruments, segments, bounce and noise are fresh with every `seed`.
///
/// # Errors
/// When a part of the scenario describes nothing real, or the motor would not start.
pub fn draw(scenario: &Scenario, seed: u64) -> Result<DrawnBench, DrawError> {
    scenario.validate()?;
    let specimen = Specimen::draw(scenario, seed);
    let temperature = scenario.rig.temperature;
    let (mut captures, mut readings, mut driven) = (Vec::new(), Vec::new(), Vec::new());
    let (mut truths, mut warmth) = (Vec::new(), Vec::new());
    for shot in &scenario.plan {
        let mut dice = Dice::new(seed, &format!("capture {}", shot.name));
        let winding_c = specimen.winding_c + temperature.scatter_k * dice.normal();
        warmth.push(winding_c);
        let wiring = specimen.wiring(scenario);
        let recording = take(shot, &wiring, winding_c, &mut dice)?;
        let screens = Screens::set(shot.kind, scenario, &specimen.errors, &recording, &mut dice);
        let mut waveform = screens.show(&recording, &mut dice);
        truths.push(truth_of(shot, scenario, winding_c, &recording, &screens));
        if shot.kind == ShotKind::Driven {
            let (reading, speed_rad_s) =
                driven_reading(&recording, &scenario.instruments, &mut dice);
            readings.push(reading);
            driven.push(DrivenRecord {
                name: shot.name.clone(),
                waveform,
                speed_rad_s,
            });
        } else {
            if !shot.voltage_recorded {
                waveform.voltage_v = None;
            }
            captures.push(capture_of(shot, scenario, &wiring, waveform, &mut dice));
        }
    }
    let mean_winding_c = warmth.iter().sum::<f64>() / warmth.len().max(1) as f64;
    readings.extend(meter_readings(
        scenario,
        &truths,
        &specimen.commutation,
        mean_winding_c,
        seed,
    ));
    Ok(DrawnBench {
        motor: scenario.facts.clone(),
        winding_temperature_c: temperature.stated_winding_c(),
        captures,
        readings,
        driven,
        truth: Truth {
            scenario: scenario.facts.name.clone(),
            seed,
            machine_at_25_c: scenario.machine.clone(),
            rig: scenario.rig.clone(),
            instruments: scenario.instruments.clone(),
            instrument_errors: specimen.errors,
            winding_c: mean_winding_c,
            magnets_c: specimen.magnets_c,
            shunt_ohm: specimen.shunt_ohm,
            added_inertia_kg_m2: specimen.added_inertia_kg_m2,
            captures: truths,
        },
    })
}

/// What is drawn once for all captures of a bench.
struct Specimen {
    errors: InstrumentErrors,
    commutation: Commutation,
    winding_c: f64,
    magnets_c: f64,
    added_inertia_kg_m2: f64,
    shunt_ohm: Option<f64>,
}

impl Specimen {
    fn draw(scenario: &Scenario, seed: u64) -> Self {
        let (machine, rig) = (&scenario.machine, &scenario.rig);
        let instruments = &scenario.instruments;
        let errors = instruments.draw(rig, &mut Dice::new(seed, "instruments"));
        let commutation = Commutation::draw(machine, &mut Dice::new(seed, "segments"));
        let mut dice = Dice::new(seed, "bench");
        let temperature = rig.temperature;
        let winding_c = temperature.winding_c + temperature.winding_uncertainty_k * dice.normal();
        let added_inertia_kg_m2 = rig.added_inertia_kg_m2
            * (1.0 + 0.5 * rig.added_inertia_limit * dice.normal().clamp(-2.0, 2.0));
        let shunt_ohm = match rig.sensor {
            CurrentSensor::Shunt { nominal_ohm, .. } => Some(nominal_ohm * errors.sensor_gain),
            CurrentSensor::Clamp { .. } => None,
        };
        Specimen {
            errors,
            commutation,
            winding_c,
            magnets_c: temperature.room_c + temperature.magnets_above_room_k,
            added_inertia_kg_m2,
            shunt_ohm,
        }
    }

    fn wiring<'a>(&'a self, scenario: &'a Scenario) -> Wiring<'a> {
        Wiring {
            machine: &scenario.machine,
            commutation: &self.commutation,
            rig: &scenario.rig,
            shunt_ohm: self.shunt_ohm.unwrap_or(0.0),
            time_base: self.errors.time_base,
            skew_s: self.errors.skew_s,
            added_inertia_kg_m2: self.added_inertia_kg_m2,
            magnets_c: self.magnets_c,
            averaged: scenario.instruments.high_resolution,
        }
    }
}

fn truth_of(
    shot: &Shot,
    scenario: &Scenario,
    winding_c: f64,
    recording: &Recording,
    screens: &Screens<'_>,
) -> CaptureTruth {
    let tape = &recording.tape;
    CaptureTruth {
        name: shot.name.clone(),
        kind: shot.kind,
        event_s: recording.event_s,
        contacts_s: recording.contacts_s.clone(),
        winding_c_start: winding_c,
        winding_c_end: recording.winding_c_end,
        resistance_start_ohm: scenario.machine.resistance_at(winding_c),
        held_position_resistance: recording.held_position_resistance,
        speed_first_rad_s: tape.speed_rad_s.first().copied().unwrap_or(0.0),
        speed_last_rad_s: tape.speed_rad_s.last().copied().unwrap_or(0.0),
        steady_speed_rad_s: recording.steady.map(|(speed, _)| speed),
        steady_current_a: recording.steady.map(|(_, current)| current),
        peak_current_a: tape.peak_a,
        current_stopped_s: tape.current_stopped_s,
        rest_s: tape.rest_s,
        voltage_vertical: screens.voltage_vertical,
        current_vertical: screens.current_vertical,
        voltage_zero_v: screens.zeros.0,
        current_zero_a: screens.zeros.1,
        range_gains: screens.range_gains,
        speed_rad_s: tape.speed_rad_s.clone(),
    }
}

/// The capture with what the person states of it.
fn capture_of(
    shot: &Shot,
    scenario: &Scenario,
    wiring: &Wiring<'_>,
    waveform: Waveform,
    dice: &mut Dice,
) -> Capture {
    let rig = &scenario.rig;
    let unseen = (!shot.voltage_recorded).then(|| {
        let true_ohm = wiring.loop_resistance_ohm(shot.kind);
        let uncertainty = if scenario.instruments.perfect {
            1e-6
        } else {
            0.05
        };
        Stated {
            value: true_ohm * (1.0 + uncertainty * dice.normal()),
            standard_uncertainty: true_ohm * uncertainty,
        }
    });
    let with_disc = shot.kind == ShotKind::RunDownWithDisc;
    Capture {
        name: shot.name.clone(),
        kind: shot.kind,
        waveform,
        loop_resistance_ohm: unseen,
        source_v: unseen.map(|_| Stated {
            value: rig.supply_v,
            standard_uncertainty: 0.0025 * rig.supply_v,
        }),
        added_inertia_kg_m2: with_disc.then_some(Stated {
            value: rig.added_inertia_kg_m2,
            // Never nought, so that one may weight with it.
            standard_uncertainty: (0.5 * rig.added_inertia_limit).max(1e-6)
                * rig.added_inertia_kg_m2,
        }),
        load_torque_nm: None,
        driven_speed_rad_s: None,
    }
}
