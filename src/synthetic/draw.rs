//! One bench out of a scenario and a seed.

use super::SyntheticError;
use super::chance::Dice;
use super::commutation::Commutation;
use super::instruments::{InstrumentErrors, Instruments};
use super::machine::Machine;
use super::rig::{CurrentSensor, Rig};
use super::screen::Vertical;
use super::shot::{self, Shot, ShotKind, Shown, Wiring};
use super::truth::{CaptureTruth, Truth};
use crate::bench::{Bench, Capture, MotorFacts, Reading, Stated, Trace, Waveform};
use crate::capture::TimeAxis;
use sha2::{Digest, Sha256};
use std::f64::consts::TAU;
use std::path::PathBuf;

/// Limit of error of the voltmeter that reads a driven motor's EMF, relative.
const VOLTMETER_LIMIT: f64 = 0.005;

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
        rig,
        shunt_ohm: shunt_ohm.unwrap_or(0.0),
        time_base: errors.time_base,
        skew_s: errors.skew_s,
        added_inertia_kg_m2,
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
    };
    let mut truths = Vec::new();
    let mut driven = Vec::new();
    let mut warmth = Vec::new();
    for shot in &scenario.plan {
        let mut dice = Dice::new(seed, &format!("capture {}", shot.name));
        let winding_c = winding_c + rig.temperature.scatter_k * dice.normal();
        warmth.push(winding_c);
        let shown = shot::take(
            shot,
            machine,
            &commutation,
            &wiring,
            winding_c,
            magnets_c,
            instruments.high_resolution,
            &mut dice,
        )?;
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
                    let uncertainty = if instruments.perfect { 0.0 } else { 0.05 };
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
                        standard_uncertainty: libm::hypot(
                            rig.temperature.winding_uncertainty_k,
                            rig.temperature.scatter_k,
                        ),
                    }),
                    added_inertia_kg_m2: (shot.kind == ShotKind::RunDownWithDisc).then(|| Stated {
                        value: rig.added_inertia_kg_m2,
                        standard_uncertainty: 0.5
                            * rig.added_inertia_limit
                            * rig.added_inertia_kg_m2,
                    }),
                    load_torque_nm: None,
                    ac_coupled: false,
                });
            }
            None => {
                let speed = shown.steady.map_or(0.0, |(speed, _)| speed);
                let stated = tachometer(speed, instruments, &mut dice);
                let count = shown.tape.voltage_v.len().max(1) as f64;
                let mean = shown.tape.voltage_v.iter().sum::<f64>() / count;
                bench.readings.push(Reading::SpunBackEmf {
                    voltage_v: Stated {
                        value: mean
                            * (1.0 + 0.5 * VOLTMETER_LIMIT * dice.normal().clamp(-2.0, 2.0)),
                        standard_uncertainty: 0.5 * VOLTMETER_LIMIT * mean,
                    },
                    speed_rad_s: stated,
                });
                driven.push(DrivenRecord {
                    name: shot.name.clone(),
                    waveform,
                    speed_rad_s: stated,
                });
            }
        }
    }
    let mean_winding_c = warmth.iter().sum::<f64>() / warmth.len().max(1) as f64;
    bench
        .readings
        .extend(readings(scenario, &truths, &commutation, mean_winding_c, seed));
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

/// Averaging over the sampling interval gives four bits more.
fn shown_bits(instruments: &Instruments) -> u32 {
    if instruments.high_resolution {
        instruments.bits + 4
    } else {
        instruments.bits
    }
}

/// Resistance of the loop outside the motor and the shunt, for a capture without a voltage channel.
fn loop_resistance(kind: ShotKind, rig: &Rig) -> f64 {
    match kind {
        ShotKind::Brake => rig.short_resistance_ohm,
        _ => rig.source_resistance_ohm,
    }
}

/// What the person makes fit on the screen: the voltage to be expected, kicks left to run off, and the current seen.
fn ranges(kind: ShotKind, rig: &Rig, shown: &Shown) -> ((f64, f64), (f64, f64)) {
    let supply = rig.supply_v;
    let voltage = match kind {
        ShotKind::TurnOffUnclamped => (-9.0 * supply, 6.0 * supply),
        ShotKind::TurnOff | ShotKind::Pwm | ShotKind::PwmLocked => {
            (-1.5 * rig.diode.forward_v, 1.03 * supply)
        }
        _ => (0.0, 1.03 * supply),
    };
    let (low, high) = shown
        .tape
        .current_a
        .iter()
        .fold((0.0_f64, 0.0_f64), |(low, high), &value| {
            (low.min(value), high.max(value))
        });
    let current = if high > low {
        (1.03 * low, 1.03 * high)
    } else {
        (0.0, 0.1 * rig.supply_v)
    };
    (voltage, current)
}

/// Both channels of one capture.
struct Screens<'a> {
    instruments: &'a Instruments,
    errors: &'a InstrumentErrors,
    voltage_vertical: Vertical,
    current_vertical: Vertical,
    zeros: (f64, f64),
}

impl Screens<'_> {
    fn show(&self, shown: &Shown, dice: &mut Dice) -> Waveform {
        let quieter = if self.instruments.high_resolution {
            0.35
        } else {
            1.0
        };
        let gain_v = self.errors.voltage_gain();
        let hum_phase = dice.uniform(0.0, TAU);
        let voltage: Vec<f64> = shown
            .tape
            .voltage_v
            .iter()
            .enumerate()
            .map(|(row, value)| {
                let hum = self.instruments.hum.map_or(0.0, |hum| {
                    let angle = TAU * hum.frequency_hz * shown.rows.true_time(row) + hum_phase;
                    hum.amplitude_v * libm::sin(angle)
                });
                (value + hum) * gain_v + self.zeros.0
            })
            .collect();
        let gain_i = self.errors.current_gain();
        let current: Vec<f64> = shown
            .tape
            .current_a
            .iter()
            .map(|value| value * gain_i + self.zeros.1)
            .collect();
        let noise_v = quieter * self.instruments.noise_div * self.voltage_vertical.per_division;
        let noise_i = quieter
            * libm::hypot(
                self.instruments.noise_div * self.current_vertical.per_division,
                self.instruments.sensor_noise_a,
            );
        Waveform {
            time: TimeAxis::Uniform {
                start_s: shown.rows.start_s,
                step_s: shown.rows.step_s,
                len: shown.rows.count,
            },
            voltage_v: Some(self.voltage_vertical.trace(&voltage, noise_v, dice)),
            current_a: Some(self.current_vertical.trace(&current, noise_i, dice)),
        }
    }
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
fn readings(
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
        readings.push(Reading::Speed {
            speed_rad_s: tachometer(speed, instruments, &mut dice),
            capture: Some(truth.name.clone()),
            terminal_voltage_v: None,
            current_a: None,
        });
    }
    if let Some(limit) = instruments.ohmmeter_limit {
        let gain = 1.0 + 0.5 * limit * dice.normal().clamp(-2.0, 2.0);
        let readings_ohm = (0..4)
            .map(|_| {
                let (_, position) = commutation.at(dice.uniform(0.0, TAU));
                let contact = machine.ohmmeter_contact_ohm * dice.uniform(0.7, 1.3);
                gain * (machine.resistance_at(winding_c) * position
                    + contact
                    + instruments.ohmmeter_leads_ohm)
            })
            .collect();
        readings.push(Reading::Ohmmeter {
            readings_ohm,
            leads_ohm: Some(Stated {
                value: instruments.ohmmeter_leads_ohm,
                standard_uncertainty: 0.01,
            }),
            relative_uncertainty: 0.5 * limit,
            temperature_c: Some(Stated {
                value: rig.temperature.winding_c,
                standard_uncertainty: libm::hypot(
                    rig.temperature.winding_uncertainty_k,
                    rig.temperature.scatter_k,
                ),
            }),
        });
    }
    readings
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
