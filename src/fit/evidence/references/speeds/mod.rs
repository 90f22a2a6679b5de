//! Speeds and constants that were read, as terms of the least squares.

mod constant_ratio;
mod speed_on_voltage;

pub use constant_ratio::Ratio;

use super::meters::shared_meters::{SharedError, SharedMeters};
use super::term::{Term, of_speed};
use crate::bench::{Role, Stated};
use crate::fit::model::{CaptureModel, Number, Prediction};
use crate::fit::unknowns::{Direction, Entry, Layout, MeterQuantity, Parameter, ParameterKind};
use crate::fit::wording::RemarkKind;
use nalgebra::DVector;
use speed_on_voltage::OnVoltage;

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
    /// Error shared with the tachometer's other readings.
    pub shared: Option<SharedError>,
}

/// ln ω + ln K against ln e at a stated terminal voltage.
#[derive(Clone, Debug)]
pub struct SpeedOnVoltageTerm {
    pub rad_s: f64,
    pub relative_sd: f64,
    pub constant: Entry,
    pub on: OnVoltage,
    /// Errors shared with other readings of tachometer, voltmeter and ammeter.
    pub shared: [Option<SharedError>; 3],
}

/// ln(V/ω) of a motor that something else drives, against ln K.
#[derive(Clone, Copy, Debug)]
pub struct BackEmfTerm {
    pub v_s_per_rad: f64,
    pub relative_sd: f64,
    pub constant: Entry,
    /// Errors shared with other readings of voltmeter and tachometer.
    shared: [Option<SharedError>; 2],
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

/// The term of a reading that names a capture.
pub enum SpeedOfCapture {
    /// The capture shows the state.
    Shown(SpeedTerm),
    /// The steady speed after a start, on the voltage with which it ends.
    AfterStart(SpeedOnVoltageTerm),
}

/// A tachometer's reading.
pub struct TachometerReading<'a> {
    pub speed_rad_s: Stated,
    /// Name of the capture that shows the state in which it was read.
    pub capture: Option<&'a str>,
    pub current_a: Option<Stated>,
    /// Name of the tachometer.
    pub meter: Option<&'a str>,
    pub meters: &'a SharedMeters,
}

impl TachometerReading<'_> {
    /// Its term against a state that a capture shows. `supply_v`: for a first guess.
    ///
    /// A tachometer cannot follow a start: its reading belongs to the steady speed on the voltage with which the start ends.
    ///
    /// # Errors
    /// Why it cannot be used.
    pub fn in_capture(
        &self,
        supply_v: Option<f64>,
        models: &[CaptureModel],
        layout: &mut Layout,
    ) -> Result<SpeedOfCapture, RemarkKind> {
        let named = self
            .capture
            .and_then(|name| models.iter().position(|m| m.name == name));
        let Some(model) = named.or_else(|| running_capture(models)) else {
            return Err(RemarkKind::NoRunningCapture);
        };
        let shows = &models[model];
        if !matches!(
            shows.role,
            Role::RunDown | Role::Steady | Role::Brake | Role::Start
        ) {
            return Err(RemarkKind::NoSteadyRunning {
                capture: shows.name.clone(),
                role: shows.role.name(),
            });
        }
        if shows.role == Role::Start
            && let Some(term) = self.after_a_start(shows, layout)
        {
            return Ok(SpeedOfCapture::AfterStart(term));
        }
        let speed = self.speed_rad_s;
        let repeats = if named.is_some() { 0.0 } else { REPEATABILITY };
        let (own, shared) = self.split(layout);
        Ok(SpeedOfCapture::Shown(SpeedTerm {
            rad_s: speed.value,
            relative_sd: own.hypot(repeats).max(LEAST_SD),
            shared: negative(shared),
            constant: rough_constant_entry(layout, supply_v.unwrap_or(10.0).abs() / speed.value),
            model,
            probe: None,
        }))
    }

    /// Its term on the voltage with which a start ends; none where nothing but the motor's own friction may be said to hold it.
    fn after_a_start(
        &self,
        start: &CaptureModel,
        layout: &mut Layout,
    ) -> Option<SpeedOnVoltageTerm> {
        let voltage_v = start.final_voltage_v()?;
        let gain = &start.links[Direction::VOLTAGE_GAIN];
        let on = OnVoltage::new(layout, voltage_v, None)?.recorded_with(gain);
        let (emf, _) = on.back_emf(&layout.start())?;
        let (own, shared) = self.split(layout);
        let speed = self.speed_rad_s.value;
        Some(SpeedOnVoltageTerm {
            rad_s: speed,
            relative_sd: own.hypot(REPEATABILITY).max(LEAST_SD),
            constant: rough_constant_entry(layout, emf / speed),
            on,
            shared: [negative(shared), None, None],
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
    ) -> Result<Option<SpeedOnVoltageTerm>, RemarkKind> {
        let speed = self.speed_rad_s;
        let current = self.current_a.map(|c| c.value);
        let Some(on) = OnVoltage::new(layout, voltage.value, current) else {
            return Ok(None);
        };
        let Some((emf, _)) = on.back_emf(&layout.start()) else {
            return Err(RemarkKind::WouldNotTurn {
                voltage_v: voltage.value,
            });
        };
        let resistance_ohm = layout
            .find(&ParameterKind::LogResistance)
            .map_or(0.0, |entry| layout[entry].start.exp());
        let by_current =
            on.per_ampere(resistance_ohm) * self.current_a.map_or(0.0, |c| c.standard_uncertainty);
        let (own, of_speed) = self.split(layout);
        let mut split = |quantity, sd| self.meters.split(layout, quantity, None, sd);
        let (own_v, of_voltage) = split(MeterQuantity::Voltage, voltage.standard_uncertainty / emf);
        let (own_a, of_current) = split(MeterQuantity::Current, by_current / emf);
        // Without a current the motor runs freely, and does not run twice alike.
        let repeats = if self.current_a.is_some() {
            0.0
        } else {
            REPEATABILITY
        };
        let relative_sd = own.hypot(own_v).hypot(own_a).hypot(repeats).max(LEAST_SD);
        Ok(Some(SpeedOnVoltageTerm {
            rad_s: speed.value,
            relative_sd,
            constant: rough_constant_entry(layout, emf / speed.value),
            on,
            // A meter that reads too much makes speed and current too large, and the voltage behind e.
            shared: [negative(of_speed), of_voltage, negative(of_current)],
        }))
    }

    /// The tachometer's own error, and what it shares with its other readings.
    fn split(&self, layout: &mut Layout) -> (f64, Option<SharedError>) {
        let sd = relative(self.speed_rad_s);
        self.meters
            .split(layout, MeterQuantity::Speed, self.meter, sd)
    }
}

fn negative(shared: Option<SharedError>) -> Option<SharedError> {
    shared.map(|(entry, factor)| (entry, -factor))
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
        let term = of_speed(
            x[self.constant],
            self.constant,
            self.rad_s,
            self.relative_sd,
            met,
        )?;
        Some(term.shifted(x, self.shared, self.relative_sd))
    }
}

impl SpeedOnVoltageTerm {
    /// Its residual at `x`; `None` where the rotor would stand still.
    pub fn evaluate(&self, x: &DVector<f64>) -> Option<Term> {
        let met = self.on.back_emf(x)?;
        let term = of_speed(
            x[self.constant],
            self.constant,
            self.rad_s,
            self.relative_sd,
            met,
        )?;
        let shared = self.shared.iter().flatten().copied();
        Some(term.shifted(x, shared, self.relative_sd))
    }
}

impl BackEmfTerm {
    /// Of an open-terminal voltage at a speed; `meter`: name of the voltmeter.
    pub fn new(
        voltage_v: Stated,
        speed_rad_s: Stated,
        meter: Option<&str>,
        meters: &SharedMeters,
        layout: &mut Layout,
    ) -> Self {
        let k = voltage_v.value / speed_rad_s.value;
        let (of_v, of_rad_s) = (relative(voltage_v), relative(speed_rad_s));
        let (own_v, shared_v) = meters.split(layout, MeterQuantity::Voltage, meter, of_v);
        let (own_rad_s, shared_rad_s) = meters.split(layout, MeterQuantity::Speed, None, of_rad_s);
        BackEmfTerm {
            v_s_per_rad: k,
            relative_sd: own_v.hypot(own_rad_s).max(LEAST_SD),
            constant: rough_constant_entry(layout, k),
            shared: [shared_v, negative(shared_rad_s)],
        }
    }

    /// Its residual at `x`.
    pub fn evaluate(&self, x: &DVector<f64>) -> Term {
        let term = Term {
            residual: (x[self.constant] - self.v_s_per_rad.ln()) / self.relative_sd,
            gradient: vec![(self.constant, 1.0 / self.relative_sd)],
        };
        let shared = self.shared.iter().flatten().copied();
        term.shifted(x, shared, self.relative_sd)
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
