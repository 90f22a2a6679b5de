//! One bench out of a scenario and a seed.

use super::SyntheticError;
use super::chance::Dice;
use super::channels::{Screens, ranges, shown_bits};
use super::commutation::Commutation;
use super::instruments::Instruments;
use super::machine::Machine;
use super::readings;
use super::rig::{CurrentSensor, Rig};
use super::screen::Vertical;
use super::shot::{Shot, ShotKind};
use super::take::take;
use super::truth::{CaptureTruth, Truth};
use super::wiring::Wiring;
use crate::bench::{Bench, Capture, MotorFacts, Stated, Trace, Waveform};
use sha2::{Digest, Sha256};
use std::path::PathBuf;

/// A motor on a bench and what is to be captured of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Scenario {
    pub machine: Machine,
    pub rig: Rig,
    pub instruments: Instruments,
    pub plan: Vec<Shot>,
    /// What the person knows of the motor; supply and room are filled in from the rig.
    pub facts: MotorFacts,
}

impl Scenario {
    /// The same bench as the plain model has it, for studies against the Cramér-Rao bound: no ripple, one make, no error of
    /// gain, zero, time or temperature; white noise only. Captures that need a diode or chopper stay as they are.
    pub fn clean(&self) -> Scenario {
        Scenario {
            machine: self.machine.plain(),
            rig: self.rig.clean(),
            instruments: self.instruments.clean(),
            plan: self.plan.clone(),
            facts: self.facts.clone(),
        }
    }

    /// The same bench with another plan.
    pub fn with_plan(&self, kinds: &[(&str, ShotKind)]) -> Scenario {
        Scenario {
            plan: kinds
                .iter()
                .map(|(name, kind)| Shot::new(name, *kind))
                .collect(),
            ..self.clone()
        }
    }
}

/// A record of the open terminals while the shaft is driven; its mean is among the readings.
#[derive(Clone, Debug, PartialEq)]
pub struct DrivenRecord {
    pub name: String,
    pub waveform: Waveform,
    pub speed_rad_s: Stated,
}

/// A bench and the truth behind it.
#[derive(Clone, Debug, PartialEq)]
pub struct SyntheticBench {
    pub bench: Bench,
    pub truth: Truth,
    /// Driven records, which the bench carries only as readings.
    pub driven: Vec<DrivenRecord>,
}

/// Draws one bench: errors of the instruments, segments, bounce and noise are fresh with every `seed`.
///
/// # Errors
/// When a part of the scenario describes nothing real, or the motor would not start.
pub fn draw(scenario: &Scenario, seed: u64) -> Result<SyntheticBench, SyntheticError> {
    check(scenario)?;
    let Scenario {
        machine,
        rig,
        instruments,
        ..
    } = scenario;
    let errors = instruments.draw(rig, &mut Dice::new(seed, "instruments"));
    let commutation = Commutation::draw(machine, &mut Dice::new(seed, "segments"));
    let mut dice = Dice::new(seed, "bench");
    let winding_c =
        rig.temperature.winding_c + rig.temperature.winding_uncertainty_k * dice.normal();
    let magnets_c = rig.temperature.room_c + rig.temperature.magnets_above_room_k;
    let added_inertia_kg_m2 = rig.added_inertia_kg_m2
        * (1.0 + 0.5 * rig.added_inertia_limit * dice.normal().clamp(-2.0, 2.0));
    let shunt_ohm = match rig.sensor {
        CurrentSensor::Shunt { nominal_ohm, .. } => Some(nominal_ohm * errors.sensor_gain),
        CurrentSensor::Clamp { .. } => None,
    };
    let wiring = Wiring {
        machine,
        commutation: &commutation,
        rig,
        shunt_ohm: shunt_ohm.unwrap_or(0.0),
        time_base: errors.time_base,
        skew_s: errors.skew_s,
        added_inertia_kg_m2,
        magnets_c,
        averaged: instruments.high_resolution,
    };

    let mut bench = Bench {
        path: None,
        sha256: None,
        motor: MotorFacts {
            supply_v: Some(rig.supply_v),
            room_temperature_c: Some(rig.temperature.room_c),
            ..scenario.facts.clone()
        },
        instruments: instruments.sheet(rig),
        captures: Vec::new(),
        readings: Vec::new(),
        remarks: Vec::new(),
        doubts: Vec::new(),
    };
    let mut truths = Vec::new();
    let mut driven = Vec::new();
    let mut warmth = Vec::new();
    for shot in &scenario.plan {
        let mut dice = Dice::new(seed, &format!("capture {}", shot.name));
        let winding_c = winding_c + rig.temperature.scatter_k * dice.normal();
        warmth.push(winding_c);
        let shown = take(shot, &wiring, winding_c, &mut dice)?;
        let (voltage_range, current_range) = ranges(shot.kind, rig, &shown);
        let voltage_vertical =
            Vertical::fit(voltage_range.0, voltage_range.1, shown_bits(instruments));
        let current_vertical =
            Vertical::fit(current_range.0, current_range.1, shown_bits(instruments));
        let zeros = instruments.zeros(
            &errors,
            voltage_vertical.per_division,
            current_vertical.per_division,
            &mut dice,
        );
        let measured = Screens {
            instruments,
            errors: &errors,
            voltage_vertical,
            current_vertical,
            zeros,
        };
        let waveform = measured.show(&shown, &mut dice);
        truths.push(CaptureTruth {
            name: shot.name.clone(),
            kind: shot.kind,
            event_s: shown.event_s,
            contacts_s: shown.contacts_s.clone(),
            winding_c_start: winding_c,
            winding_c_end: shown.winding_c_end,
            resistance_start_ohm: machine.resistance_at(winding_c),
            held_position_resistance: shown.held_position_resistance,
            speed_first_rad_s: shown.tape.speed_rad_s.first().copied().unwrap_or(0.0),
            speed_last_rad_s: shown.tape.speed_rad_s.last().copied().unwrap_or(0.0),
            steady_speed_rad_s: shown.steady.map(|(speed, _)| speed),
            steady_current_a: shown.steady.map(|(_, current)| current),
            peak_current_a: shown.tape.peak_a,
            current_stopped_s: shown.tape.current_stopped_s,
            rest_s: shown.tape.rest_s,
            voltage_vertical,
            current_vertical,
            voltage_zero_v: zeros.0,
            current_zero_a: zeros.1,
            speed_rad_s: shown.tape.speed_rad_s.clone(),
        });
        match shot.kind.role() {
            Some(role) => {
                let (voltage_chain, current_chain) = instruments.chains(
                    rig,
                    voltage_vertical.per_division,
                    current_vertical.per_division,
                );
                let inside = match (rig.sensor, shot.voltage_recorded) {
                    (
                        CurrentSensor::Shunt {
                            nominal_ohm,
                            inside_voltage_channel: true,
                            ..
                        },
                        true,
                    ) => Some((nominal_ohm, (!instruments.perfect).then_some(2))),
                    _ => None,
                };
                let unseen = (!shot.voltage_recorded).then(|| {
                    let true_ohm = loop_resistance(shot.kind, rig) + wiring.shunt_ohm;
                    let uncertainty = if instruments.perfect { 1e-6 } else { 0.05 };
                    Stated {
                        value: true_ohm * (1.0 + uncertainty * dice.normal()),
                        standard_uncertainty: true_ohm * uncertainty,
                    }
                });
                bench.captures.push(Capture {
                    name: shot.name.clone(),
                    path: PathBuf::from(format!("{}.csv", shot.name)),
                    sha256: fingerprint(&waveform),
                    role,
                    waveform: Waveform {
                        voltage_v: waveform.voltage_v.filter(|_| shot.voltage_recorded),
                        ..waveform
                    },
                    voltage_chain: shot.voltage_recorded.then_some(voltage_chain),
                    current_chain: Some(current_chain),
                    series_in_voltage: inside,
                    loop_resistance_ohm: unseen,
                    source_v: unseen.map(|_| Stated {
                        value: rig.supply_v,
                        standard_uncertainty: 0.0025 * rig.supply_v,
                    }),
                    winding_temperature_c: Some(Stated {
                        value: rig.temperature.winding_c,
                        standard_uncertainty: rig.temperature.winding_standard_k(),
                    }),
                    added_inertia_kg_m2: (shot.kind == ShotKind::RunDownWithDisc).then_some(
                        Stated {
                            value: rig.added_inertia_kg_m2,
                            // Never nought, so that one may weight with it.
                            standard_uncertainty: (0.5 * rig.added_inertia_limit).max(1e-6)
                                * rig.added_inertia_kg_m2,
                        },
                    ),
                    load_torque_nm: None,
                    driven_speed_rad_s: None,
                    ac_coupled: false,
                });
            }
            None => {
                let (reading, stated) = readings::driven(&shown, instruments, &mut dice);
                bench.readings.push(reading);
                driven.push(DrivenRecord {
                    name: shot.name.clone(),
                    waveform,
                    speed_rad_s: stated,
                });
            }
        }
    }
    let mean_winding_c = warmth.iter().sum::<f64>() / warmth.len().max(1) as f64;
    bench.readings.extend(readings::meters(
        scenario,
        &truths,
        &commutation,
        mean_winding_c,
        seed,
    ));
    Ok(SyntheticBench {
        bench,
        truth: Truth {
            scenario: scenario.facts.name.clone(),
            seed,
            machine_at_25_c: machine.clone(),
            rig: rig.clone(),
            instruments: instruments.clone(),
            instrument_errors: errors,
            winding_c: mean_winding_c,
            magnets_c,
            shunt_ohm,
            added_inertia_kg_m2,
            captures: truths,
        },
        driven,
    })
}

fn check(scenario: &Scenario) -> Result<(), SyntheticError> {
    scenario.machine.validate()?;
    scenario.rig.validate()?;
    scenario.instruments.validate()?;
    if scenario.plan.is_empty() {
        return Err(SyntheticError::NoCaptures);
    }
    for (index, shot) in scenario.plan.iter().enumerate() {
        if scenario.plan[..index].iter().any(|s| s.name == shot.name) {
            return Err(SyntheticError::SameName {
                name: shot.name.clone(),
            });
        }
        let plain = |c: char| c.is_alphanumeric() || matches!(c, ' ' | '-' | '_');
        if shot.name.trim().is_empty() || !shot.name.chars().all(plain) {
            return Err(SyntheticError::BadName {
                name: shot.name.clone(),
            });
        }
        if shot.rows < 100 || !(shot.span > 0.0 && shot.span.is_finite()) {
            return Err(SyntheticError::Field {
                part: "plan",
                field: "rows",
                value: shot.rows as f64,
                need: "at least 100, over a positive span",
            });
        }
    }
    Ok(())
}

/// Resistance of the loop outside the motor and the shunt, for a capture without a voltage channel.
fn loop_resistance(kind: ShotKind, rig: &Rig) -> f64 {
    match kind {
        ShotKind::Brake => rig.short_resistance_ohm,
        _ => rig.source_resistance_ohm,
    }
}

/// SHA-256 over the numbers shown, as there is no file yet.
fn fingerprint(waveform: &Waveform) -> String {
    let mut hasher = Sha256::new();
    let mut feed = |trace: &Option<Trace>| {
        if let Some(trace) = trace {
            let bytes: Vec<u8> = trace.values.iter().flat_map(|v| v.to_le_bytes()).collect();
            hasher.update(bytes);
        }
    };
    feed(&waveform.voltage_v);
    feed(&waveform.current_a);
    let digest = hasher.finalize();
    digest.iter().map(|byte| format!("{byte:02x}")).collect()
}
