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

use super::addition::Addition;
use super::expected_uncertainty::{ExpectedUncertainty, Present};
use super::noise_model::NoiseModel;
use super::outline::without_waveforms;
use crate::bench::Bench;
use crate::fit::data::{position_sd, segments};
use crate::fit::estimate::Estimate;
use crate::fit::model::{CaptureModel, Prediction};
use crate::fit::problem::Problem;
use crate::fit::references::{
    ConstantTerm, Group, ReadingTerm, constant_entry, prepare_readings, turn_volt_seconds,
};
use crate::fit::uncertainty::Reported;
use crate::fit::unknowns::{Direction, Entry, Layout, ParameterKind, SharedEntries};
use crate::motor::TerminalParameters;
use crate::stats::arrow::Inverse;
use nalgebra::{DMatrix, DVector};

/// Information below which nothing touches an entry, as in the covariance.
const NO_INFORMATION: f64 = 1e-200;

/// The bounds expected after an addition.
#[derive(Clone, Debug, PartialEq)]
pub struct Expected {
    /// In the order of the motor file.
    pub uncertainties: Vec<ExpectedUncertainty>,
    /// True where the noise of a channel had to be assumed, since no capture shows it.
    pub noise_assumed: bool,
}

/// A solved problem that can be asked what more would bring.
pub struct ExperimentDesign<'a> {
    /// The bench without its waveforms.
    bench: Bench,
    noise: NoiseModel,
    /// Information at the solution with the pseudo-priors of held entries.
    normal: DMatrix<f64>,
    present: Present<'a>,
    /// Usable single readings of the bench.
    readings: usize,
}

/// The present problem with what is added to it.
struct Extended {
    problem: Problem,
    /// Index of the first capture that is added.
    first: usize,
    /// Readings that are added.
    readings: Vec<ReadingTerm>,
    /// The unknowns at which all is evaluated.
    x: DVector<f64>,
}

impl<'a> ExperimentDesign<'a> {
    /// `bench` is the one that `estimate` was made from.
    pub fn new(bench: &Bench, estimate: &'a Estimate) -> Self {
        let problem = &estimate.problem;
        let noise = NoiseModel::of(bench, estimate);
        let bench = without_waveforms(bench);
        let normal = with_bounds(estimate);
        let mut layout = problem.layout.clone();
        let reference_c = estimate.temperature_c.map(|t| t.value);
        let (readings, _) = prepare_readings(&bench, &problem.models, &mut layout, reference_c);
        ExperimentDesign {
            bench,
            noise,
            present: Present::new(estimate, &inverted(&normal)),
            normal,
            readings: readings.iter().filter(|r| r.group().is_none()).count(),
        }
    }

    /// The parameters as they stand.
    pub fn reported(&self) -> &[Reported] {
        &self.present.reported
    }

    /// The motor at the fitted point, as the terminals see it.
    pub fn motor(&self) -> TerminalParameters {
        let value = |kind: ParameterKind| self.present.estimate.value(&kind).unwrap_or(0.0);
        TerminalParameters {
            terminal_resistance_ohm: value(ParameterKind::LogResistance).exp(),
            armature_inductance_h: value(ParameterKind::LogInductance).exp(),
            inertia_capacitance_f: value(ParameterKind::LogCapacitance).exp(),
            friction_current_a: value(ParameterKind::FrictionCurrent),
            viscous_conductance_s: value(ParameterKind::ViscousConductance),
            windage_a_per_v2: value(ParameterKind::Windage),
            brush_drop_v: value(ParameterKind::BrushDrop),
            brush_scale_a: value(ParameterKind::LogBrushScale).exp(),
            saturation_per_a: value(ParameterKind::Saturation).max(0.0).sqrt(),
            armature_reaction_per_a: value(ParameterKind::Reaction),
            eddy_share: value(ParameterKind::EddyShare),
            eddy_resistance_ohm: value(ParameterKind::LogEddyResistance).exp(),
        }
    }

    /// The bounds expected after `addition`; `None` where the model cannot be evaluated along it, or a reading meets no
    /// back-EMF.
    pub fn expect(&self, addition: &Addition) -> Option<Expected> {
        let mut extended = self.extend(addition)?;
        let n = extended.x.len();
        let mut normal = self.normal.clone().resize(n, n, 0.0);
        let (predictions, noise_assumed) = self.add_captures(&mut extended, &mut normal)?;
        add_readings(&extended, &predictions, &mut normal)?;
        self.add_priors(&extended.problem.layout, addition, &mut normal);
        self.clear_absent(&mut normal);
        let covariance = inverted(&normal);
        let layout = &extended.problem.layout;
        Some(Expected {
            uncertainties: self
                .present
                .after(layout, &extended.x, &covariance, addition),
            noise_assumed,
        })
    }

    /// Adds the captures, readings and constants; `None` where a reading meets no back-EMF.
    fn extend(&self, addition: &Addition) -> Option<Extended> {
        let old = &self.present.estimate.problem;
        let mut bench = self.bench.clone();
        let mut layout = old.layout.clone();
        let mut models = old.models.clone();
        let shared = self.shared(&layout);
        for planned in &addition.captures {
            let index = bench.captures.len();
            let segments = segments(&planned.capture, &planned.timeline, None);
            bench.captures.push(planned.capture.clone());
            models.push(CaptureModel::new(
                &bench,
                index,
                segments,
                &shared,
                &mut layout,
            ));
        }
        bench.readings.extend(addition.readings.iter().cloned());
        let tables = bench.tables.len();
        bench.tables.extend(addition.tables.iter().cloned());
        let (prepared, _) =
            prepare_readings(&bench, &models, &mut layout, shared.reference_temperature_c);
        let (rows, single): (Vec<ReadingTerm>, Vec<ReadingTerm>) = prepared
            .into_iter()
            .partition(|term| term.group().is_some());
        let mut readings: Vec<ReadingTerm> = single.into_iter().skip(self.readings).collect();
        if readings.len() < addition.readings.len() {
            return None;
        }
        let added = |group| matches!(group, Some(Group::Table(k)) if k >= tables);
        readings.extend(rows.into_iter().filter(|term| added(term.group())));
        let first = old.models.len();
        let planned = addition.captures.iter().enumerate();
        let with_ripple = planned.filter_map(|(k, p)| Some((first + k, p.ripple_relative?)));
        for (model, relative_sd) in with_ripple.chain(addition.ripple.iter().copied()) {
            let k = addition.assumed_constant_v_s_per_rad;
            readings.push(ReadingTerm::Constant(ConstantTerm {
                v_s_per_rad: k,
                relative_sd,
                constant: constant_entry(&mut layout, k),
                shift: models[model].links[Direction::VOLTAGE_GAIN].clone(),
                model,
                cycles_per_revolution: None,
            }));
        }
        Some(Extended {
            x: self.point(&layout, first, addition),
            problem: Problem::new(layout, models, Vec::new()),
            first,
            readings,
        })
    }

    /// The fitted point, with what is new where it is expected. `first`: index of the first capture that is added.
    fn point(&self, layout: &Layout, first: usize, addition: &Addition) -> DVector<f64> {
        let fitted = &self.present.estimate.solution.x;
        let mut x = layout.start();
        x.rows_mut(0, fitted.len()).copy_from(fitted);
        let constant = layout.find(&ParameterKind::LogBackEmfConstant);
        if let Some(entry) = constant.filter(|entry| entry.index() >= fitted.len()) {
            x[entry] = addition.assumed_constant_v_s_per_rad.ln();
        }
        for (k, planned) in addition.captures.iter().enumerate() {
            let kind = ParameterKind::InitialEmf {
                capture: first + k,
                piece: 0,
            };
            if let Some(entry) = layout.find(&kind) {
                x[entry] = planned.initial_emf_v;
            }
        }
        x
    }

    /// Adds the information of the new captures. Gives the predictions of all, those of the old ones without rows, and whether the noise of a
    /// channel had to be assumed; `None` where the model cannot be evaluated.
    fn add_captures(
        &self,
        extended: &mut Extended,
        normal: &mut DMatrix<f64>,
    ) -> Option<(Vec<Prediction>, bool)> {
        let Extended {
            problem, first, x, ..
        } = extended;
        let old = self.present.estimate.predictions.iter();
        let mut predictions: Vec<Prediction> = old.map(Prediction::without_rows).collect();
        let mut noise_assumed = false;
        for k in *first..problem.models.len() {
            let first_look = problem.models[k].predict(x, &mut 0)?;
            problem.models[k].update_waves(&first_look);
            let prediction = problem.models[k].predict(x, &mut 0)?;
            let (deviations, assumed) = self.noise.deviations(&problem.models[k], &prediction.rows);
            noise_assumed |= assumed;
            problem.deviations[k] = deviations;
            *normal += problem.capture_equations(k, &prediction).normal;
            predictions.push(prediction);
        }
        Some((predictions, noise_assumed))
    }

    /// Adds the priors of new entries, and what sharper gains add to theirs.
    fn add_priors(&self, layout: &Layout, addition: &Addition, normal: &mut DMatrix<f64>) {
        let priors = || {
            layout
                .entries()
                .filter_map(|(e, p)| Some((e, p, p.prior?.1)))
        };
        for (entry, _, sd) in priors().filter(|(entry, ..)| entry.index() >= self.normal.nrows()) {
            normal[entry.diagonal()] += 1.0 / (sd * sd);
        }
        for &(sharper_instrument, sharper) in &addition.gains {
            for (entry, parameter, sd) in priors() {
                if let ParameterKind::Gain { instrument, .. } = parameter.kind
                    && instrument == sharper_instrument
                    && sharper < sd
                {
                    normal[entry.diagonal()] += 1.0 / (sharper * sharper) - 1.0 / (sd * sd);
                }
            }
        }
    }

    /// An entry that takes no part now takes none after: it is frozen without a size of its own.
    fn clear_absent(&self, normal: &mut DMatrix<f64>) {
        let estimate = self.present.estimate;
        for (entry, _) in estimate.problem.layout.entries() {
            let stays = estimate.problem.frozen(entry) || estimate.solution.active[entry.index()];
            if self.normal[entry.diagonal()] <= NO_INFORMATION && stays {
                clear(normal, entry);
            }
        }
    }

    /// Where the shared parameters stand in the layout, as `estimate` placed them.
    fn shared(&self, layout: &Layout) -> SharedEntries {
        let estimate = self.present.estimate;
        SharedEntries {
            entries: SharedEntries::find(layout),
            reference_temperature_c: estimate.temperature_c.map(|t| t.value),
            with_eddy: estimate.problem.models.iter().any(|m| m.with_eddy),
            position_sd: position_sd(&self.bench),
            resistance_guess_ohm: self.motor().terminal_resistance_ohm,
            turn_v_s: turn_volt_seconds(&estimate.ripple),
        }
    }
}

/// Adds the information of the new readings; `None` where one meets no back-EMF.
fn add_readings(
    extended: &Extended,
    predictions: &[Prediction],
    normal: &mut DMatrix<f64>,
) -> Option<()> {
    for reading in &extended.readings {
        let term = reading.evaluate(&extended.x, predictions)?;
        for &(a, ga) in &term.gradient {
            for &(b, gb) in &term.gradient {
                normal[a.with(b)] += ga * gb;
            }
        }
    }
    Some(())
}

/// The information at the solution; that of physical bounds nearby is part of it.
fn with_bounds(estimate: &Estimate) -> DMatrix<f64> {
    let mut normal = estimate.solution.equations.normal.clone();
    let bounds = &estimate.covariance.possible().site_information;
    for (entry, _) in estimate.problem.layout.entries() {
        if estimate.covariance.is_touched(entry) {
            normal[entry.diagonal()] += bounds[entry.index()];
        } else {
            clear(&mut normal, entry);
        }
    }
    normal
}

/// Inverse over every entry that anything touches.
fn inverted(normal: &DMatrix<f64>) -> DMatrix<f64> {
    let touched: Vec<usize> = (0..normal.nrows())
        .filter(|&k| normal[(k, k)] > NO_INFORMATION)
        .collect();
    Inverse::over(normal, &touched, 1e-14).matrix()
}

/// Takes an entry out of the information.
fn clear(normal: &mut DMatrix<f64>, entry: Entry) {
    normal.row_mut(entry.index()).fill(0.0);
    normal.column_mut(entry.index()).fill(0.0);
}
