//! From an estimate to the motor file.

use super::{
    AtTemperature, CaptureHealth, Covariance, Cut, FORMAT, Fit, Identifiability, Input, ModelTerms,
    MotorFacts, MotorFile, Nuisance, OneSided, OperatingPoint, OperatingPoints, Parameter,
    ParameterName, Program, Range, RunsTest, SHEET_ROLE, Status, Stop, StopReason, Term,
    TermDecision, Validity, Warning,
};
use crate::bench::{Bench, Capture, Role};
use crate::events::{PhaseKind, Timeline};
use crate::fit::{self, Estimate, ParameterKind, Quantity};
use crate::stats::quantiles::chi_squared_upper_tail;
use std::collections::BTreeMap;

/// The motor file of an estimate; `timelines` in the order of the bench's captures.
pub fn assemble(bench: &Bench, timelines: &[Timeline], estimate: &Estimate) -> MotorFile {
    let reported = estimate.reported();
    let mut parameters = BTreeMap::new();
    for r in &reported {
        if let Some(name) = ParameterName::from_key(r.name) {
            parameters.insert(name, parameter(name, r, estimate.options.level));
        }
    }
    MotorFile {
        format: FORMAT.to_owned(),
        program: Program::this(),
        motor: Some(MotorFacts {
            name: bench.motor.name.clone(),
            commutator_segments: bench.motor.commutator_segments,
            brushes: bench.motor.brushes,
            magnets: bench.motor.magnets,
            supply_v: bench.motor.supply_v,
        }),
        inputs: inputs(bench),
        parameters,
        model: Some(model_terms(estimate)),
        operating: operating(bench, estimate),
        covariance: covariance(&reported, estimate),
        fit: health(bench, timelines, estimate),
        warnings: warnings(bench, timelines, estimate),
        validity: validity(bench, estimate),
    }
}

fn parameter(name: ParameterName, r: &fit::Reported, level: f64) -> Parameter {
    let Some(at) = r.estimate else {
        return Parameter::undetermined(name, r.settled_by.clone().unwrap_or_default());
    };
    let mut out = Parameter::measured(
        name,
        at.value,
        at.standard_uncertainty,
        (at.lower, at.upper),
        level,
    );
    out.status = match r.status {
        fit::Status::Measured => Status::Measured,
        fit::Status::FromPrior => Status::FromPrior,
        fit::Status::Undetermined => Status::Undetermined,
    };
    out.temperature_c = r.temperature_c;
    out.one_sided = r.one_sided.then_some(OneSided::Upper);
    out.budget = r.budget.iter().cloned().collect();
    out.note = r
        .profiled
        .then(|| "interval by profile likelihood".to_owned());
    out.suggestion = r.settled_by.clone();
    out.at_25_c = r.at_25_c.map(|at| AtTemperature {
        value: at.value,
        unit: name.ucum().to_owned(),
        standard_uncertainty: at.standard_uncertainty,
        lower: at.lower,
        upper: at.upper,
        level,
        status: out.status,
        temperature_c: crate::motor::temperature::REFERENCE_C,
    });
    out
}

/// The finer terms that take part in the fitted model.
fn model_terms(estimate: &Estimate) -> ModelTerms {
    let layout = &estimate.problem.layout;
    let term = |slot: ParameterKind, log: bool| {
        let k = layout
            .find(&slot)
            .filter(|&k| estimate.covariance.is_free(k))?;
        let (x, u) = (
            estimate.solution.x[k],
            estimate.covariance.total[k.diagonal()].max(0.0).sqrt(),
        );
        let value = if log { x.exp() } else { x };
        Some(Term {
            value,
            standard_uncertainty: Some(if log { value * u } else { u }),
        })
    };
    let eddy = term(ParameterKind::EddyShare, false);
    ModelTerms {
        windage_a_per_v2: term(ParameterKind::Windage, false),
        brush_scale_a: term(ParameterKind::BrushDrop, false)
            .and_then(|_| term(ParameterKind::LogBrushScale, true)),
        saturation_per_a: term(ParameterKind::Saturation, false)
            .filter(|t| t.value > 0.0)
            .map(|t| {
                let value = t.value.sqrt();
                Term {
                    value,
                    standard_uncertainty: t.standard_uncertainty.map(|u| 0.5 * u / value),
                }
            }),
        armature_reaction_per_a: term(ParameterKind::Reaction, false),
        eddy_share: eddy,
        eddy_resistance_ohm: eddy.and_then(|_| term(ParameterKind::LogEddyResistance, true)),
    }
}

/// No-load and stall values at the stated supply.
fn operating(bench: &Bench, estimate: &Estimate) -> Option<OperatingPoints> {
    let voltage_v = bench.motor.supply_v.map(f64::abs).filter(|v| *v > 0.0)?;
    let found = estimate.operating(voltage_v);
    let point = |name: &str| {
        let one = found.iter().find(|one| one.name == name)?;
        Some(OperatingPoint {
            value: one.interval.value,
            unit: one.unit.to_owned(),
            standard_uncertainty: one.interval.standard_uncertainty,
            lower: one.interval.lower,
            upper: one.interval.upper,
        })
    };
    (!found.is_empty()).then(|| OperatingPoints {
        voltage_v,
        level: estimate.options.level,
        trials: fit::TRIALS as u64,
        no_load_speed: point("no_load_speed"),
        no_load_current: point("no_load_current"),
        stall_torque: point("stall_torque"),
        stall_current: point("stall_current"),
    })
}

fn inputs(bench: &Bench) -> Vec<Input> {
    let sheet = bench
        .path
        .iter()
        .zip(&bench.sha256)
        .map(|(path, sha256)| Input {
            path: path.display().to_string(),
            sha256: sha256.clone(),
            role: Some(SHEET_ROLE.into()),
        });
    let captures = bench.captures.iter().map(|c| Input {
        path: c.path.display().to_string(),
        sha256: c.sha256.clone(),
        role: Some(c.role.words().into()),
    });
    sheet.chain(captures).collect()
}

fn covariance(reported: &[fit::Reported], estimate: &Estimate) -> Covariance {
    let known: Vec<(ParameterName, &fit::Reported)> = reported
        .iter()
        .filter(|r| r.estimate.is_some())
        .filter_map(|r| ParameterName::from_key(r.name).map(|name| (name, r)))
        .collect();
    let matrix = known
        .iter()
        .map(|(a, ra)| {
            known
                .iter()
                .map(|(b, rb)| {
                    if a == b {
                        return ra
                            .estimate
                            .map_or(0.0, |at| at.standard_uncertainty.powi(2));
                    }
                    match (&ra.gradient, &rb.gradient) {
                        // A one-sided quantity is no Gaussian: its covariances with others are left out.
                        (Some(ga), Some(gb)) if !ra.one_sided && !rb.one_sided => {
                            // Symmetric to the last bit whichever is named first.
                            let (ga, gb) = if a < b { (ga, gb) } else { (gb, ga) };
                            (ga.transpose() * &estimate.covariance.total * gb)[(0, 0)]
                        }
                        _ => 0.0,
                    }
                })
                .collect()
        })
        .collect();
    Covariance {
        order: known.iter().map(|(name, _)| *name).collect(),
        matrix,
    }
}

fn health(bench: &Bench, timelines: &[Timeline], estimate: &Estimate) -> Fit {
    use crate::fit::solve::StopReason as Solver;
    let reason = match estimate.reason() {
        Solver::GradientSmall | Solver::StepSmall | Solver::CostFlat => StopReason::Converged,
        Solver::IterationLimit => StopReason::IterationLimit,
        Solver::NoDescent => StopReason::Stalled,
        Solver::NotFinite => StopReason::ModelFailed,
    };
    let rows: usize = estimate.predictions.iter().map(|p| p.rows.len()).sum();
    let free = estimate.covariance.free.iter().filter(|f| **f).count();
    let left_out = &estimate.leave_one_out;
    Fit {
        stop: Stop {
            reason,
            text: estimate.reason().to_string(),
            iterations: Some(estimate.solution.iterations as u64),
        },
        chi_squared: Some(2.0 * estimate.solution.equations.cost),
        degrees_of_freedom: Some(rows as f64 - free as f64),
        assumption: Some(
            "each row is weighed by its own residuals, widened by their autocorrelation, so chi-squared is below the degrees of freedom by construction; priors are Gaussian".into(),
        ),
        identifiability: Some(Identifiability {
            rank: free as u64,
            size: estimate.problem.layout.len() as u64,
            condition_number: estimate.covariance.condition,
            threshold: 1e-14,
            text: None,
        }),
        captures: bench
            .captures
            .iter()
            .enumerate()
            .map(|(k, c)| {
                let left_out = left_out.iter().find(|l| l.capture == k);
                capture_health(c, k, timelines, estimate, left_out)
            })
            .collect(),
        terms: estimate
            .terms
            .iter()
            .map(|t| TermDecision {
                term: t.name.into(),
                kept: t.kept,
                information_criterion_change: t.likelihood_ratio.map(|r| 2.0 - r),
                likelihood_ratio: t.likelihood_ratio.map(|r| r.max(0.0)),
                p_value: t.likelihood_ratio.map(|r| chi_squared_upper_tail(r.max(0.0), 1.0)),
                reason: t.note.clone(),
            })
            .collect(),
        nuisances: nuisances(bench, estimate),
    }
}

fn capture_health(
    capture: &Capture,
    k: usize,
    timelines: &[Timeline],
    estimate: &Estimate,
    left_out: Option<&fit::LeaveOneOut>,
) -> CaptureHealth {
    let rows = &estimate.predictions[k].rows;
    let plain: Vec<(f64, f64, Quantity)> = rows
        .iter()
        .zip(&estimate.problem.deviations[k])
        .filter(|(r, _)| r.zero_uncertainty.is_none())
        .map(|(r, sd)| (r.recorded - r.predicted.value, *sd, r.quantity))
        .collect();
    let rms = |quantity: Quantity| {
        let squares: Vec<f64> = plain
            .iter()
            .filter(|r| r.2 == quantity)
            .map(|r| r.0 * r.0)
            .collect();
        (!squares.is_empty()).then(|| (squares.iter().sum::<f64>() / squares.len() as f64).sqrt())
    };
    let standard: Vec<f64> = plain.iter().map(|r| r.0 / r.1).collect();
    let energy: f64 = standard.iter().map(|r| r * r).sum();
    let lag_one = standard.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / energy;
    CaptureHealth {
        name: capture.name.clone(),
        role: capture.role.words().into(),
        samples: rows.iter().map(|r| r.samples as u64).sum(),
        points: rows.len() as u64,
        chi_squared_per_point: (!standard.is_empty()).then(|| energy / standard.len() as f64),
        current_residual_rms_a: rms(Quantity::Current),
        voltage_residual_rms_v: rms(Quantity::Voltage),
        autocorrelation_lag_one: (energy > 0.0).then_some(lag_one),
        runs_test: crate::stats::whiteness::runs_test(&standard, 0.0)
            .ok()
            .map(|t| RunsTest {
                runs: t.runs as u64,
                expected: t.expected,
                z: t.z,
            }),
        pull: left_out.map(|l| l.pull),
        pull_parameter: left_out.map(|l| l.parameter.to_owned()),
        cuts: timelines[k]
            .phases
            .iter()
            .filter_map(|p| match p.kind {
                PhaseKind::Excluded(reason) if p.end > p.first => Some(Cut {
                    start_s: capture.waveform.time.at(p.first)?,
                    end_s: capture.waveform.time.at(p.end - 1)?,
                    reason: reason.to_string(),
                }),
                _ => None,
            })
            .collect(),
    }
}

fn nuisances(bench: &Bench, estimate: &Estimate) -> Vec<Nuisance> {
    let capture = |k: usize| bench.captures[k].name.as_str();
    let name = |slot: &ParameterKind| -> Option<(String, &'static str)> {
        Some(match slot {
            ParameterKind::Gain { instrument, column } => {
                let instrument = &bench.instruments[*instrument].name;
                match column {
                    Some(column) => (format!("gain error of {instrument}, {column}"), "1"),
                    None => (format!("gain error of {instrument}"), "1"),
                }
            }
            ParameterKind::VoltageZero { capture: k } => {
                (format!("voltage zero in {}", capture(*k)), "V")
            }
            ParameterKind::CurrentZero { capture: k } => {
                (format!("current zero in {}", capture(*k)), "A")
            }
            ParameterKind::Position { capture: k } => (
                format!(
                    "resistance at the rotor position of {}, relative",
                    capture(*k)
                ),
                "1",
            ),
            ParameterKind::ProbeLag { instrument } => (
                format!(
                    "time constant of {} over that of its stated bandwidth, ln",
                    bench.instruments[*instrument].name
                ),
                "1",
            ),
            ParameterKind::Skew { instrument } => (
                format!(
                    "delay of the current through {}",
                    bench.instruments[*instrument].name
                ),
                "s",
            ),
            ParameterKind::Source { capture: k } => {
                (format!("source voltage in {}, departure", capture(*k)), "V")
            }
            ParameterKind::Loop { capture: k } => (
                format!("loop resistance in {}, departure", capture(*k)),
                "Ohm",
            ),
            ParameterKind::Saturation => {
                ("reciprocal square of the saturation current".into(), "A-2")
            }
            ParameterKind::Reaction => (
                "armature reaction, relative loss of flux per ampere".into(),
                "A-1",
            ),
            ParameterKind::EddyShare => (
                "share of the inductance screened by eddy currents".into(),
                "1",
            ),
            ParameterKind::InverseHeatCapacity => {
                ("reciprocal of the winding's heat capacity".into(), "K.J-1")
            }
            ParameterKind::LogBrushScale => {
                ("ln of the brush drop's current scale in ampere".into(), "1")
            }
            _ => return None,
        })
    };
    let layout = &estimate.problem.layout;
    layout
        .entries()
        .filter(|(entry, _)| estimate.covariance.is_free(*entry))
        .filter_map(|(entry, p)| {
            let (name, unit) = name(&p.kind)?;
            Some(Nuisance {
                name,
                value: estimate.solution.x[entry],
                unit: unit.into(),
                standard_uncertainty: estimate.covariance.total[entry.diagonal()].max(0.0).sqrt(),
                prior_value: p.prior.map(|p| p.0),
                prior_standard_uncertainty: p.prior.map(|p| p.1),
            })
        })
        .collect()
}

fn warnings(bench: &Bench, timelines: &[Timeline], estimate: &Estimate) -> Vec<Warning> {
    let warning = |kind: &str, subject: Option<&str>, text: &str| Warning {
        kind: kind.into(),
        subject: subject.map(Into::into),
        text: text.into(),
    };
    let mut out: Vec<Warning> = bench
        .remarks
        .iter()
        .map(|text| warning("bench", None, text))
        .collect();
    for (capture, timeline) in bench.captures.iter().zip(timelines) {
        out.extend(
            timeline
                .remarks
                .iter()
                .map(|remark| warning("capture", Some(&capture.name), &remark.to_string())),
        );
    }
    out.extend(
        estimate
            .remarks
            .iter()
            .map(|text| warning("reading", None, text)),
    );
    out.extend(
        estimate
            .findings
            .iter()
            .map(|text| warning(super::table::FINDING, None, text)),
    );
    for (k, text) in estimate.disagreements() {
        out.push(warning(
            "disagreement",
            Some(&bench.captures[k].name),
            &text,
        ));
    }
    if !estimate.converged() {
        out.push(warning(
            "fit",
            None,
            &format!("{}; no value here should be trusted", estimate.reason()),
        ));
    }
    out
}

fn validity(bench: &Bench, estimate: &Estimate) -> Validity {
    let range = |values: &mut dyn Iterator<Item = f64>| {
        let mut out: Option<Range> = None;
        for v in values.filter(|v| v.is_finite()) {
            out = Some(out.map_or(Range { lower: v, upper: v }, |r| Range {
                lower: r.lower.min(v),
                upper: r.upper.max(v),
            }));
        }
        out
    };
    let rows = || {
        estimate
            .predictions
            .iter()
            .flat_map(|p| &p.rows)
            .filter(|r| r.zero_uncertainty.is_none())
    };
    let of = |quantity: Quantity| {
        rows()
            .filter(move |r| r.quantity == quantity)
            .map(|r| r.recorded)
    };
    let back_emf_v = range(&mut of(Quantity::Voltage));
    let constant = estimate
        .value(&ParameterKind::LogBackEmfConstant)
        .map(f64::exp);
    Validity {
        current_a: range(&mut of(Quantity::Current)),
        speed_rad_s: back_emf_v.zip(constant).map(|(e, k)| Range {
            lower: e.lower / k,
            upper: e.upper / k,
        }),
        back_emf_v,
        temperature_c: range(
            &mut bench
                .captures
                .iter()
                .filter_map(|c| c.winding_temperature_c)
                .map(|t| t.value),
        ),
    }
}

impl Role {
    /// As tables and files write it.
    pub fn words(self) -> &'static str {
        match self {
            Role::Start => "start",
            Role::RunDown => "run-down",
            Role::Brake => "brake",
            Role::LockedRotor => "locked-rotor",
            Role::TurnOff => "turn-off",
            Role::Pwm => "pwm",
            Role::PwmLocked => "pwm-locked",
            Role::Steady => "steady",
            Role::Driven => "driven",
        }
    }
}
