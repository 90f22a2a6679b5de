//! A drawn bench: what the oscilloscope recorded, what the person writes on the sheet, and the truth behind both.

use super::record::ShotKind;
use super::scenario::MotorFacts;
use super::stated::Stated;
use super::truth::{CaptureTruth, Truth};

/// One channel as the oscilloscope shows it, V or A.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    pub values: Vec<f64>,
    /// Step between the codes of the converter.
    pub step: f64,
    /// Rows at the first or last code.
    pub clipped: Vec<bool>,
}

/// Both channels of one record; its rows are `step_s` apart.
#[derive(Clone, Debug, PartialEq)]
pub struct Waveform {
    pub start_s: f64,
    pub step_s: f64,
    /// Absent where no voltage channel was connected.
    pub voltage_v: Option<Trace>,
    pub current_a: Trace,
}

impl Waveform {
    pub fn rows(&self) -> usize {
        self.current_a.values.len()
    }

    pub fn time_s(&self, row: usize) -> f64 {
        self.start_s + row as f64 * self.step_s
    }
}

/// One capture and what the sheet states of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Capture {
    pub name: String,
    pub kind: ShotKind,
    pub waveform: Waveform,
    /// Resistance outside the motor, for a capture without a voltage channel.
    pub loop_resistance_ohm: Option<Stated>,
    /// Open-circuit voltage of the source, likewise.
    pub source_v: Option<Stated>,
    pub added_inertia_kg_m2: Option<Stated>,
    pub load_torque_nm: Option<Stated>,
    pub driven_speed_rad_s: Option<Stated>,
}

/// A record of the open terminals while the shaft is driven; its mean is among the readings.
#[derive(Clone, Debug, PartialEq)]
pub struct DrivenRecord {
    pub name: String,
    pub waveform: Waveform,
    pub speed_rad_s: Stated,
}

/// A scalar reading.
#[derive(Clone, Debug, PartialEq)]
pub enum Reading {
    /// Ohmmeter across the terminals at several rotor positions, resistance of the leads still inside.
    Ohmmeter {
        readings_ohm: Vec<f64>,
        leads_ohm: Stated,
        relative_uncertainty: f64,
        winding_temperature_c: Stated,
    },
    /// Tachometer while running freely as `capture` shows it.
    Tachometer {
        speed_rad_s: Stated,
        capture: String,
    },
    /// Voltmeter across the open terminals while driven at a known speed.
    SpunBackEmf {
        voltage_v: Stated,
        speed_rad_s: Stated,
    },
}

impl Reading {
    /// Whether it gives a speed.
    pub fn is_speed(&self) -> bool {
        !matches!(self, Reading::Ohmmeter { .. })
    }
}

/// A bench and the truth behind it.
#[derive(Clone, Debug, PartialEq)]
pub struct DrawnBench {
    pub motor: MotorFacts,
    /// Winding temperature at the beginning of each capture, as the sheet states it.
    pub winding_temperature_c: Stated,
    pub captures: Vec<Capture>,
    pub readings: Vec<Reading>,
    /// Driven records, which the sheet carries only as readings.
    pub driven: Vec<DrivenRecord>,
    pub truth: Truth,
}

impl DrawnBench {
    /// The truth behind the capture or driven record of that name.
    pub fn truth_of(&self, name: &str) -> Option<&CaptureTruth> {
        self.truth.captures.iter().find(|truth| truth.name == name)
    }

    /// The bench with capture `index` alone, without readings.
    pub fn alone(&self, index: usize) -> DrawnBench {
        DrawnBench {
            motor: self.motor.clone(),
            winding_temperature_c: self.winding_temperature_c,
            captures: vec![self.captures[index].clone()],
            readings: Vec::new(),
            driven: Vec::new(),
            truth: self.truth.clone(),
        }
    }

    /// Adds the captures of another bench behind those of this one, with the truth behind them.
    pub fn append(&mut self, other: DrawnBench) {
        self.captures.extend(other.captures);
        self.truth.captures.extend(other.truth.captures);
    }

    /// Puts the capture of the same place of another bench in the place of one of this bench, as somebody mixes up two files.
    pub fn replace_capture(&mut self, index: usize, other: &DrawnBench) {
        let name = &other.captures[index].name;
        let mine = self.truth.captures.iter_mut().find(|t| t.name == *name);
        if let (Some(mine), Some(theirs)) = (mine, other.truth_of(name)) {
            *mine = theirs.clone();
        }
        self.captures[index] = other.captures[index].clone();
    }

    /// Without the readings that give a speed.
    pub fn forget_speeds(&mut self) {
        self.readings.retain(|reading| !reading.is_speed());
    }

    /// Puts the driven records among the captures, in place of the readings that give a speed.
    pub fn list_driven_records(&mut self) {
        self.forget_speeds();
        for record in self.driven.drain(..) {
            self.captures.push(Capture {
                name: record.name,
                kind: ShotKind::Driven,
                waveform: record.waveform,
                loop_resistance_ohm: None,
                source_v: None,
                added_inertia_kg_m2: None,
                load_torque_nm: None,
                driven_speed_rad_s: Some(record.speed_rad_s),
            });
        }
    }
}
