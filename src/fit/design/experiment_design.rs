//! What a measurement that nobody has made yet would add to a solved problem: the bounds expected after it.
//!
//! With N the information (Gauss-Newton) matrix of a fit and ΔN that of further rows, readings or sharper priors, the
//! covariance after them is `(N + ΔN)⁻¹`, no matter what they will read (linear optimal design: Fedorov 1972, *Theory of
//! Optimal Experiments*, chapter 2; Pukelsheim 1993, *Optimal Design of Experiments*, section 3). ΔN comes from the model's own derivatives
//! along a planned capture that was simulated at the fitted point; gains and zeros of the instruments are the same unknowns
//! as before, the capture's own nuisances are new ones with their priors. Nothing is fitted again, so the answer holds as far
//! as the problem is linear between the present estimate and the next.
//!
//! An entry that is held at its bound or was dropped on evidence keeps its present credible size: it takes part with a
//! pseudo-prior that gives it just that size. So `N` only grows, and no addition can widen a bound.

use super::expected_uncertainty::{Outlook, uncertainty};
use super::noise_model::Learned;
use crate::bench::{Bench, Capture, Reading, Waveform};
use crate::capture::TimeAxis;
use crate::events::Timeline;
use crate::fit::data::{Leg, legs};
use crate::fit::estimate::Estimate;
use crate::fit::model::{CaptureModel, Prediction, Shared, direction};
use crate::fit::problem::Problem;
use crate::fit::references::{ReadingTerm, readings, turn_volt_seconds};
use crate::fit::uncertainty::{Reported, inverse_over, monomials};
use crate::fit::unknowns::{Layout, Parameter, Slot, position_sd};
use crate::motor::TerminalParameters;
use nalgebra::DMatrix;

/// Information below which nothing touches an entry, as in the covariance.
const NO_INFORMATION: f64 = 1e-200;

/// A capture that could be made: simulated without noise at the fitted point.
#[derive(Clone, Debug)]
pub struct PlannedCapture {
    pub capture: Capture,
    pub timeline: Timeline,
    /// Back-EMF at its beginning, V.
    pub initial_emf_v: f64,
    /// Relative standard uncertainty of the K that its commutation ripple is hoped to tell; `None` where it tells none.
    pub ripple_relative: Option<f64>,
}

/// What could be done in addition to what the estimate has.
#[derive(Clone, Debug, Default)]
pub struct Addition {
    pub captures: Vec<PlannedCapture>,
    /// A speed names its capture; its value counts for nothing but its relative uncertainty.
    pub readings: Vec<Reading>,
    /// Instruments (index) whose gain would be known to this relative standard uncertainty, in all records.
    pub gains: Vec<(usize, f64)>,
    /// Relative standard uncertainty of a K that an existing capture (index) would tell through its ripple.
    pub ripple: Vec<(usize, f64)>,
    /// K to evaluate at where the estimate has none, V·s/rad.
    pub assumed_constant_v_s_per_rad: f64,
}

/// The bounds expected after an addition.
#[derive(Clone, Debug, PartialEq)]
pub struct Expected {
    /// In the order of the motor file.
    pub outlooks: Vec<Outlook>,
    /// True where the noise of a channel had to be assumed, since no capture shows it.
    pub noise_assumed: bool,
}

/// A solved problem that can be asked what more would bring.
pub struct Forecaster<'a> {
    pub(crate) estimate: &'a Estimate,
    /// The bench without its waveforms.
    bench: Bench,
    learned: Learned,
    /// Information at the solution with the pseudo-priors of held entries.
    normal: DMatrix<f64>,
    pub(crate) reported: Vec<Reported>,
    /// Relative (two-sided logs) or absolute standard uncertainty of each parameter by that matrix.
    pub(crate) before: Vec<Option<f64>>,
    /// Usable readings of the bench.
    readings: usize,
}

impl<'a> Forecaster<'a> {
    /// `bench` is the one that `estimate` was made from.
    pub fn new(bench: &Bench, estimate: &'a Estimate) -> Self {
        let problem = &estimate.problem;
        let learned = Learned::of(bench, estimate);
        let bench = without_waveforms(bench);
        let mut normal = estimate.solution.equations.normal.clone();
        for (k, parameter) in problem.layout.parameters.iter().enumerate() {
            if estimate.covariance.free[k] {
                continue;
            }
            if normal[(k, k)] <= NO_INFORMATION || !parameter.lower.is_finite() {
                clear(&mut normal, k);
                continue;
            }
            let (information, second_moment) = estimate.covariance.held_moments(k, parameter.lower);
            let pseudo = (1.0 / second_moment.max(1e-300) - information).max(0.0);
            normal[(k, k)] += pseudo;
        }
        let readings = readings::prepare(
            &bench,
            &problem.models,
            &mut problem.layout.clone(),
            estimate.temperature_c.map(|t| t.0),
        )
        .0
        .len();
        let covariance = inverted(&normal);
        let before = monomials()
            .iter()
            .map(|m| uncertainty(m, &problem.layout, &estimate.solution.x, &covariance))
            .collect();
        Forecaster {
            estimate,
            bench,
            learned,
            normal,
            reported: estimate.reported(),
            before,
            readings,
        }
    }

    /// The parameters as they stand.
    pub fn reported(&self) -> &[Reported] {
        &self.reported
    }

    /// The motor at the fitted point, as the terminals see it.
    pub fn motor(&self) -> TerminalParameters {
        let value = |slot: Slot| self.estimate.value(&slot).unwrap_or(0.0);
        TerminalParameters {
            terminal_resistance_ohm: value(Slot::LogResistance).exp(),
            armature_inductance_h: value(Slot::LogInductance).exp(),
            inertia_capacitance_f: value(Slot::LogCapacitance).exp(),
            friction_current_a: value(Slot::FrictionCurrent),
            viscous_conductance_s: value(Slot::ViscousConductance),
            windage_a_per_v2: value(Slot::Windage),
            brush_drop_v: value(Slot::BrushDrop),
            brush_scale_a: value(Slot::LogBrushScale).exp(),
            saturation_per_a: value(Slot::Saturation).max(0.0).sqrt(),
            armature_reaction_per_a: value(Slot::Reaction),
            eddy_share: value(Slot::EddyShare),
            eddy_resistance_ohm: value(Slot::LogEddyResistance).exp(),
        }
    }

    /// The bounds expected after `addition`; `None` where the model cannot be evaluated along it, or a reading meets no
    /// back-EMF.
    pub fn expect(&self, addition: &Addition) -> Option<Expected> {
        let old = &self.estimate.problem;
        let mut bench = self.bench.clone();
        let mut layout = old.layout.clone();
        let mut models = old.models.clone();
        let shared = self.shared(&layout);
        for planned in &addition.captures {
            let index = bench.captures.len();
            let legs: Vec<Leg> = legs(&planned.capture, &planned.timeline, None);
            bench.captures.push(planned.capture.clone());
            models.push(CaptureModel::new(&bench, index, legs, &shared, &mut layout));
        }
        bench.readings.extend(addition.readings.iter().cloned());
        let reference_c = self.estimate.temperature_c.map(|t| t.0);
        let (prepared, _) = readings::prepare(&bench, &models, &mut layout, reference_c);
        let mut new_readings: Vec<ReadingTerm> = prepared.into_iter().skip(self.readings).collect();
        if new_readings.len() < addition.readings.len() {
            return None;
        }
        let first = old.models.len();
        let with_ripple = addition
            .captures
            .iter()
            .enumerate()
            .filter_map(|(k, planned)| Some((first + k, planned.ripple_relative?)));
        for (model, relative_sd) in with_ripple.chain(addition.ripple.iter().copied()) {
            let k = addition.assumed_constant_v_s_per_rad;
            let constant =
                layout.add(Parameter::free(Slot::LogBackEmfConstant, k.ln()).stepping(1.0));
            new_readings.push(ReadingTerm::Constant {
                v_s_per_rad: k,
                relative_sd,
                constant,
                shift: models[model].links[direction::VOLTAGE_GAIN].clone(),
                model,
                cycles_per_revolution: None,
            });
        }
        let n = old.layout.len();
        let mut x = layout.start();
        x.rows_mut(0, n).copy_from(&self.estimate.solution.x);
        if let Some(k) = layout.find(&Slot::LogBackEmfConstant).filter(|&k| k >= n) {
            x[k] = addition.assumed_constant_v_s_per_rad.ln();
        }
        for (k, planned) in addition.captures.iter().enumerate() {
            let slot = Slot::InitialEmf {
                capture: first + k,
                piece: 0,
            };
            if let Some(entry) = layout.find(&slot) {
                x[entry] = planned.initial_emf_v;
            }
        }
        let mut problem = Problem::new(layout, models, Vec::new());
        let mut normal = self.normal.clone().resize(x.len(), x.len(), 0.0);
        let mut predictions: Vec<Prediction> = self
            .estimate
            .predictions
            .iter()
            .map(Prediction::without_rows)
            .collect();
        let mut noise_assumed = false;
        for k in first..problem.models.len() {
            let first_look = problem.models[k].predict(&x, &mut 0)?;
            problem.models[k].lay_waves(&first_look);
            let prediction = problem.models[k].predict(&x, &mut 0)?;
            let (deviations, assumed) = self
                .learned
                .deviations(&problem.models[k], &prediction.rows);
            noise_assumed |= assumed;
            problem.deviations[k] = deviations;
            normal += problem.capture_equations(k, &prediction).normal;
            predictions.push(prediction);
        }
        for reading in &new_readings {
            let term = reading.evaluate(&x, &predictions)?;
            for &(a, ga) in &term.gradient {
                for &(b, gb) in &term.gradient {
                    normal[(a, b)] += ga * gb;
                }
            }
        }
        for (k, parameter) in problem.layout.parameters.iter().enumerate().skip(n) {
            if let Some((_, sd)) = parameter.prior {
                normal[(k, k)] += 1.0 / (sd * sd);
            }
        }
        for &(instrument, sharper) in &addition.gains {
            for (k, parameter) in problem.layout.parameters.iter().enumerate() {
                if let (Slot::Gain { instrument: i, .. }, Some((_, sd))) =
                    (&parameter.slot, parameter.prior)
                    && *i == instrument
                    && sharper < sd
                {
                    normal[(k, k)] += 1.0 / (sharper * sharper) - 1.0 / (sd * sd);
                }
            }
        }
        // An entry that takes no part now takes none after: it is frozen without a size of its own.
        for k in 0..n {
            if self.normal[(k, k)] <= NO_INFORMATION
                && (old.frozen(k) || self.estimate.solution.active[k])
            {
                clear(&mut normal, k);
            }
        }
        let covariance = inverted(&normal);
        Some(Expected {
            outlooks: self.outlooks(&problem.layout, &x, &covariance, addition),
            noise_assumed,
        })
    }

    /// Where the shared parameters stand in the layout, as `estimate` placed them.
    fn shared(&self, layout: &Layout) -> Shared {
        use direction as d;
        let places = [
            (d::RESISTANCE, Slot::LogResistance),
            (d::INDUCTANCE, Slot::LogInductance),
            (d::CAPACITANCE, Slot::LogCapacitance),
            (d::FRICTION, Slot::FrictionCurrent),
            (d::VISCOUS, Slot::ViscousConductance),
            (d::WINDAGE, Slot::Windage),
            (d::BRUSH_DROP, Slot::BrushDrop),
            (d::BRUSH_SCALE, Slot::LogBrushScale),
            (d::SATURATION, Slot::Saturation),
            (d::REACTION, Slot::Reaction),
            (d::EDDY_SHARE, Slot::EddyShare),
            (d::EDDY_RESISTANCE, Slot::LogEddyResistance),
        ];
        Shared {
            entries: places
                .iter()
                .filter_map(|(which, slot)| Some((*which, layout.find(slot)?)))
                .collect(),
            reference_temperature_c: self.estimate.temperature_c.map(|t| t.0),
            with_eddy: self.estimate.problem.models.iter().any(|m| m.with_eddy),
            position_sd: position_sd(&self.bench),
            resistance_guess_ohm: self.motor().terminal_resistance_ohm,
            turn_v_s: turn_volt_seconds(&self.estimate.ripple),
        }
    }
}

/// Inverse over every entry that anything touches.
fn inverted(normal: &DMatrix<f64>) -> DMatrix<f64> {
    let touched: Vec<usize> = (0..normal.nrows())
        .filter(|&k| normal[(k, k)] > NO_INFORMATION)
        .collect();
    inverse_over(normal, &touched, 1e-14).0
}

/// Takes an entry out of the information.
fn clear(normal: &mut DMatrix<f64>, entry: usize) {
    normal.row_mut(entry).fill(0.0);
    normal.column_mut(entry).fill(0.0);
}

fn nothing_recorded() -> Waveform {
    Waveform {
        time: TimeAxis::Absent { len: 0 },
        voltage_v: None,
        current_a: None,
    }
}

/// Names, roles and instruments of a bench; a forecast needs no samples.
fn without_waveforms(bench: &Bench) -> Bench {
    Bench {
        path: None,
        sha256: None,
        motor: bench.motor.clone(),
        instruments: bench.instruments.clone(),
        captures: bench
            .captures
            .iter()
            .map(|c| Capture {
                name: c.name.clone(),
                path: c.path.clone(),
                sha256: String::new(),
                role: c.role,
                waveform: nothing_recorded(),
                voltage_chain: c.voltage_chain.clone(),
                current_chain: c.current_chain.clone(),
                series_in_voltage: c.series_in_voltage,
                loop_resistance_ohm: c.loop_resistance_ohm,
                source_v: c.source_v,
                winding_temperature_c: c.winding_temperature_c,
                added_inertia_kg_m2: c.added_inertia_kg_m2,
                load_torque_nm: c.load_torque_nm,
                driven_speed_rad_s: c.driven_speed_rad_s,
                ac_coupled: c.ac_coupled,
            })
            .collect(),
        readings: bench.readings.clone(),
        remarks: Vec::new(),
        doubts: Vec::new(),
    }
}
