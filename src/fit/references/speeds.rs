//! Speeds and constants that were read, as terms of the least squares.

use super::speed_on_voltage::OnVoltage;
use super::term::{Term, of_speed};
use crate::bench::{Role, Stated};
use crate::fit::model::{CaptureModel, Number, Prediction};
use crate::fit::unknowns::{Entry, Layout, Parameter, ParameterKind};
use nalgebra::DVector;

/// How far the state in which a speed was read may differ from that in the capture, relative: the motor does not run
/// exactly alike twice. Common practice, no source.
const REPEATABILITY: f64 = 0.003;

/// Least relative standard uncertainty of a speed or of a constant.
const LEAST_SD: f64 = 1e-5;

/// ln ω + ln K against ln e of a capture.
#[derive(Clone, Copy, Debug)]
pub struct SpeedTerm {
    pub rad_s: f64,
    pub relative_sd: f64,
    pub constant: Entry,
    pub model: usize,
    /// For a speed at an instant, from the ripple of the capture's current: which of its probes.
    pub probe: Option<usize>,
}

/// ln ω + ln K against ln e at a stated terminal voltage.
#[derive(Clone, Debug)]
pub struct SpeedOnVoltageTerm {
    pub rad_s: f64,
    pub relative_sd: f64,
    pub constant: Entry,
    pub on: OnVoltage,
}

/// ln(V/ω) of a motor that something else drives, against ln K.
#[derive(Clone, Copy, Debug)]
pub struct BackEmfTerm {
    pub v_s_per_rad: f64,
    pub relative_sd: f64,
    pub constant: Entry,
}

/// ln K from a capture's voltage alone (ripple of a run-down, a driven record) with the errors of its voltage channel.
#[derive(Clone, Debug)]
pub struct ConstantTerm {
    pub v_s_per_rad: f64,
    pub relative_sd: f64,
    pub constant: Entry,
    /// Entries that shift ln of what the channel shows, and by how much.
    pub shift: Vec<(Entry, f64)>,
    pub model: usize,
    /// For ripple: cycles a revolution.
    pub cycles_per_revolution: Option<u32>,
}

/// The entry of ln K, which starts from `guess` (V·s/rad) where it is new.
pub fn constant_entry(layout: &mut Layout, guess: f64) -> Entry {
    layout.add(Parameter::free(ParameterKind::LogBackEmfConstant, guess.ln()).stepping(1.0))
}

/// As [`constant_entry`], from what may be no guess at all.
fn rough_constant_entry(layout: &mut Layout, guess: f64) -> Entry {
    constant_entry(layout, guess.max(1e-12))
}

/// The captures in which a motor runs freely on its supply, best first.
fn running_capture(models: &[CaptureModel]) -> Option<usize> {
    [Role::RunDown, Role::Steady, Role::Brake, Role::Start]
        .iter()
        .find_map(|role| models.iter().position(|m| m.role == *role))
}

/// A tachometer's reading.
pub struct TachometerReading<'a> {
    /// Place among the readings of the bench.
    pub index: usize,
    pub speed_rad_s: Stated,
    /// Name of the capture that shows the state in which it was read.
    pub capture: Option<&'a str>,
    pub current_a: Option<Stated>,
}

impl TachometerReading<'_> {
    /// Its term against a state that a capture shows. `supply_v`: for a first guess.
    ///
    /// # Errors
    /// Why it cannot be used.
    pub fn in_capture(
        &self,
        supply_v: Option<f64>,
        models: &[CaptureModel],
        layout: &mut Layout,
    ) -> Result<SpeedTerm, String> {
        let named = self
            .capture
            .and_then(|name| models.iter().position(|m| m.name == name));
        let Some(model) = named.or_else(|| running_capture(models)) else {
            return Err(format!(
                "speed reading {}: no capture shows the motor running freely on its supply, so the reading meets no back-EMF; not used",
                self.index + 1
            ));
        };
        let speed = self.speed_rad_s;
        let repeats = if named.is_some() { 0.0 } else { REPEATABILITY };
        Ok(SpeedTerm {
            rad_s: speed.value,
            relative_sd: relative(speed).hypot(repeats).max(LEAST_SD),
            constant: rough_constant_entry(layout, supply_v.unwrap_or(10.0) / speed.value),
            model,
            probe: None,
        })
    }

    /// Its term at a stated terminal voltage; none while no motor is among the unknowns.
    ///
    /// # Errors
    /// Why it cannot be used.
    pub fn on_voltage(
        &self,
        voltage: Stated,
        layout: &mut Layout,
    ) -> Result<Option<SpeedOnVoltageTerm>, String> {
        let speed = self.speed_rad_s;
        let current = self.current_a.map(|c| c.value);
        let Some(on) = OnVoltage::new(layout, voltage.value, current) else {
            return Ok(None);
        };
        let Some((emf, _)) = on.back_emf(&layout.start()) else {
            return Err(format!(
                "speed reading {}: on {} V the motor would not turn by the captures' first look, so the reading meets no back-EMF; not used. \
                 Check its voltage and current",
                self.index + 1,
                voltage.value
            ));
        };
        let resistance_ohm = layout
            .find(&ParameterKind::LogResistance)
            .map_or(0.0, |entry| layout[entry].start.exp());
        let by_current =
            on.per_ampere(resistance_ohm) * self.current_a.map_or(0.0, |c| c.standard_uncertainty);
        // Without a current the motor runs freely, and does not run twice alike.
        let repeats = if self.current_a.is_some() {
            0.0
        } else {
            REPEATABILITY
        };
        let relative_sd = relative(speed)
            .hypot(voltage.standard_uncertainty.hypot(by_current) / emf)
            .hypot(repeats)
            .max(LEAST_SD);
        Ok(Some(SpeedOnVoltageTerm {
            rad_s: speed.value,
            relative_sd,
            constant: rough_constant_entry(layout, emf / speed.value),
            on,
        }))
    }
}

fn relative(stated: Stated) -> f64 {
    stated.standard_uncertainty / stated.value
}

impl SpeedTerm {
    /// Its residual at `x`; `None` where its capture shows no such state.
    pub fn evaluate<S: Number>(
        &self,
        x: &DVector<f64>,
        predictions: &[Prediction<S>],
    ) -> Option<Term> {
        let met = predictions[self.model].back_emf(self.probe)?;
        of_speed(
            x[self.constant],
            self.constant,
            self.rad_s,
            self.relative_sd,
            met,
        )
    }
}

impl SpeedOnVoltageTerm {
    /// Its residual at `x`; `None` where the rotor would stand still.
    pub fn evaluate(&self, x: &DVector<f64>) -> Option<Term> {
        let met = self.on.back_emf(x)?;
        of_speed(
            x[self.constant],
            self.constant,
            self.rad_s,
            self.relative_sd,
            met,
        )
    }
}

impl BackEmfTerm {
    /// Of an open-terminal voltage at a speed.
    pub fn new(voltage_v: Stated, speed_rad_s: Stated, layout: &mut Layout) -> Self {
        let k = voltage_v.value / speed_rad_s.value;
        BackEmfTerm {
            v_s_per_rad: k,
            relative_sd: relative(voltage_v)
                .hypot(relative(speed_rad_s))
                .max(LEAST_SD),
            constant: rough_constant_entry(layout, k),
        }
    }

    /// Its residual at `x`.
    pub fn evaluate(&self, x: &DVector<f64>) -> Term {
        Term {
            residual: (x[self.constant] - self.v_s_per_rad.ln()) / self.relative_sd,
            gradient: vec![(self.constant, 1.0 / self.relative_sd)],
        }
    }
}

impl ConstantTerm {
    /// Its residual at `x`.
    pub fn evaluate(&self, x: &DVector<f64>) -> Term {
        let shift = self.shift.iter();
        let shifted: f64 = shift
            .clone()
            .map(|&(entry, factor)| factor * x[entry])
            .sum();
        let mut gradient = vec![(self.constant, 1.0 / self.relative_sd)];
        gradient.extend(shift.map(|&(entry, factor)| (entry, factor / self.relative_sd)));
        Term {
            residual: (x[self.constant] + shifted - self.v_s_per_rad.ln()) / self.relative_sd,
            gradient,
        }
    }
}
