//! From an estimate to the motor file.

mod confrontations;
mod health;
mod nuisances;
mod validity;
mod warnings;

use super::{
    AtTemperature, ConstantCandidate, Coordinate, Covariance, Distribution, FORMAT,
    InductanceAtFrequency, Input, ModelTerms, MotorFacts, MotorFile, OneSided, Parameter,
    ParameterName, Program, SHEET_ROLE, Status, Term, TermName, draw,
};
use crate::bench::Bench;
use crate::events::Timeline;
use crate::fit::{self, Estimate, ParameterKind, RippleFinding};
use confrontations::confrontations;
use health::health;
use std::collections::BTreeMap;
use std::path::Path;
use validity::validity;
use warnings::warnings;

/// The motor file of an estimate; `timelines` in the order of the bench's captures.
pub fn assemble(bench: &Bench, timelines: &[Timeline], estimate: &Estimate) -> MotorFile {
    let reported = estimate.reported();
    // An unknown of which nothing is known still has its first guess.
    let is_known = |r: &fit::Reported| r.name == "back_emf_constant" && r.estimate.is_some();
    let constant = estimate
        .value(&ParameterKind::LogBackEmfConstant)
        .filter(|_| reported.iter().any(is_known))
        .map(f64::exp);
    let mut parameters = BTreeMap::new();
    for r in &reported {
        if let Some(name) = ParameterName::from_key(r.name) {
            let mut parameter = parameter(name, r, estimate.options.level);
            parameter.at_speed_rad_s = r.at_back_emf_v.zip(constant).map(|(emf, k)| emf / k);
            parameters.insert(name, parameter);
        }
    }
    let mut file = MotorFile {
        format: FORMAT.to_owned(),
        program: Program::this(),
        motor: Some(MotorFacts {
            name: bench.motor.name.clone(),
            commutator_segments: bench.motor.commutator_segments,
            poles: bench.motor.poles,
            brush_count: bench.motor.brush_count,
            brushes: bench.motor.brushes,
            magnets: bench.motor.magnets,
            supply_v: bench.motor.supply_v,
        }),
        inputs: inputs(bench),
        certificates: bench.certificates.clone(),
        parameters,
        model: Some(model_terms(estimate)),
        distribution: distribution(estimate),
        operating: None,
        inductance_at: inductance_at(estimate),
        constant_candidates: constant_candidates(bench, estimate, constant),
        covariance: covariance(&reported, estimate),
        confrontations: confrontations(bench, timelines, estimate),
        thermal: None,
        fit: health(bench, timelines, estimate),
        warnings: warnings(bench, timelines, estimate),
        validity: validity(bench, estimate, constant),
        content_sha256: None,
    };
    let supply_v = bench.motor.supply_v.map(f64::abs).filter(|v| *v > 0.0);
    file.operating =
        supply_v.and_then(|v| draw::operating_points(&file, v, estimate.options.level));
    file.content_sha256 = Some(file.content_sha256());
    file
}

/// The fit's distribution of the motor's own unknowns, under the names of the file.
fn distribution(estimate: &Estimate) -> Option<Distribution> {
    let found = estimate.motor_distribution();
    let coordinates: Option<Vec<Coordinate>> = found.kinds.iter().map(coordinate).collect();
    let n = found.at.len();
    Some(Distribution {
        coordinates: coordinates.filter(|names| !names.is_empty())?,
        at: found.at.iter().copied().collect(),
        information: (0..n)
            .map(|row| found.information.row(row).iter().copied().collect())
            .collect(),
        pull: found.pull.iter().copied().collect(),
        may_be_absent: found.may_be_absent.iter().filter_map(coordinate).collect(),
    })
}

/// The name of an unknown in the file's distribution; `None` for what is no property of the motor.
fn coordinate(kind: &ParameterKind) -> Option<Coordinate> {
    use Coordinate::{Parameter, Term};
    Some(match kind {
        ParameterKind::LogResistance => Parameter(ParameterName::TerminalResistance),
        ParameterKind::LogInductance => Parameter(ParameterName::ArmatureInductance),
        ParameterKind::LogCapacitance => Parameter(ParameterName::InertiaCapacitance),
        ParameterKind::FrictionCurrent => Parameter(ParameterName::FrictionCurrent),
        ParameterKind::ViscousConductance => Parameter(ParameterName::ViscousConductance),
        ParameterKind::BrushDrop => Parameter(ParameterName::BrushDrop),
        ParameterKind::LogBackEmfConstant => Parameter(ParameterName::BackEmfConstant),
        ParameterKind::Windage => Term(TermName::WindageAPerV2),
        ParameterKind::LogBrushScale => Term(TermName::BrushScaleA),
        ParameterKind::Saturation => Term(TermName::SaturationPerA2),
        ParameterKind::Reaction => Term(TermName::ArmatureReactionPerA),
        ParameterKind::EddyShare => Term(TermName::EddyShare),
        ParameterKind::LogEddyResistance => Term(TermName::EddyResistanceOhm),
        _ => return None,
    })
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
        fit::Status::InConflict => Status::InConflict,
        fit::Status::Undetermined => Status::Undetermined,
    };
    out.temperature_c = r.temperature_c;
    out.at_back_emf_v = r.at_back_emf_v;
    out.one_sided = r.one_sided.then_some(OneSided::Upper);
    out.budget = r.budget.iter().cloned().collect();
    out.note = match r.status {
        fit::Status::InConflict => Some("the interval holds both sides of a conflict".to_owned()),
        _ => r.profiled.then(|| "profile-likelihood interval".to_owned()),
    };
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

/// The inductance at the frequencies asked for.
fn inductance_at(estimate: &Estimate) -> Vec<InductanceAtFrequency> {
    let asked = estimate.options.inductance_at_hz.iter();
    asked
        .filter_map(|&hz| estimate.inductance_at(hz))
        .map(|at| InductanceAtFrequency {
            frequency_hz: at.frequency_hz,
            value: at.interval.value,
            standard_uncertainty: at.interval.standard_uncertainty,
            lower: at.interval.lower,
            upper: at.interval.upper,
            level: estimate.options.level,
        })
        .collect()
}

/// What the ripple of run-downs leaves of the back-EMF constant where nothing settles it.
fn constant_candidates(
    bench: &Bench,
    estimate: &Estimate,
    constant: Option<f64>,
) -> Vec<ConstantCandidate> {
    if constant.is_some() {
        return Vec::new();
    }
    let of_finding = |f: &RippleFinding| {
        let capture = &bench.captures[f.capture];
        let chain = capture.voltage_chain.iter().flat_map(|c| &c.gains);
        let gain = chain.map(|&k| bench.instruments[k].gain_relative_uncertainty);
        let gain = gain.fold(0.0, f64::hypot);
        let rivals = f.result.rivals().into_iter();
        rivals.map(move |c| ConstantCandidate {
            capture: capture.name.clone(),
            segments: c.commutator.segments,
            poles: c.commutator.poles,
            brushes: c.commutator.brushes,
            cycles_per_revolution: c.cycles_per_revolution,
            value: c.back_emf_constant_v_s_per_rad,
            standard_uncertainty: c
                .standard_uncertainty
                .hypot(gain * c.back_emf_constant_v_s_per_rad),
            probability: c.constant_probability,
        })
    };
    let settled = estimate.ripple.iter().filter(|f| f.result.fit_settled);
    settled.flat_map(of_finding).collect()
}

fn inputs(bench: &Bench) -> Vec<Input> {
    let sheet = bench.path.as_deref().zip(bench.sha256.as_deref());
    let sheet = sheet.map(|(path, sha256)| (path, sha256, SHEET_ROLE.to_owned()));
    let input = |(path, sha256, role): (&Path, &str, String)| Input {
        path: path.display().to_string(),
        sha256: sha256.to_owned(),
        role: Some(role),
    };
    sheet.into_iter().chain(bench.files()).map(input).collect()
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
                            let linearised = ga.transpose() * &estimate.covariance.total * gb;
                            linearised[(0, 0)] * (ra.spread * rb.spread)
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
